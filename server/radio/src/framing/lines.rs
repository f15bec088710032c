//! Lines of text, ending in CR, LF or both, with or without a checksum after `*`.
//!
//! The checksum is that of NMEA 0183: the exclusive or of all characters between a leading `$` or `!` and `*`, as two
//! hexadecimal digits. Where the framing names a CRC, the digits after `*` are that CRC's instead. A line that does
//! not hold is searched for the last `$`, `!` or told beginning in it: noise before a line is not its end.
//! Limits: text is UTF-8 without control characters other than the tab.

use std::ops::Range;

use super::crc::Check;
use super::look::{Around, Look, Payload, Suspect};
use super::{LineChecksum, Wrong};

/// How many places in one bad line are tried. More only matters for lines made to be bad.
const TRIES: usize = 8;

/// Looks at the bytes not yet cut.
pub(super) fn look(checksum: LineChecksum, bytes: &[u8], around: &Around<'_>) -> Look {
    let Some(end) =
        memchr::memchr2(b'\r', b'\n', &bytes[around.searched..]).map(|found| found + around.searched)
    else {
        return unfinished(bytes, around);
    };
    if end == 0 {
        return if around.torn { Look::Void { bytes: 0, used: 1 } } else { Look::Delimiter(1) };
    }
    if end > around.max_length {
        return Look::Drop(end - around.max_length, None);
    }
    let line = &bytes[..end];
    let whole = if around.torn { Err(None) } else { verify(line, checksum, around.check).map_err(Some) };
    let begins = |at: usize| begins(&line[at..], around.starts);
    if let Ok(text) = &whole
        && (around.starts.is_empty() || begins(0))
    {
        return Look::Frame { raw: 0..end, used: end + 1, payload: Ok(Payload::Raw(text.clone())) };
    }
    if let Some(from) = recover(line, checksum, around)
        && let Ok(text) = verify(&line[from..], checksum, around.check)
    {
        let payload = Ok(Payload::Raw(from + text.start..from + text.end));
        return Look::Frame { raw: from..end, used: end + 1, payload };
    }
    match whole {
        Ok(text) => Look::Frame { raw: 0..end, used: end + 1, payload: Ok(Payload::Raw(text)) },
        Err(Some(why)) => Look::Frame { raw: 0..end, used: end + 1, payload: Err(why) },
        Err(None) => Look::Void { bytes: end, used: end + 1 },
    }
}

/// What can be said without a delimiter; the same for all delimited framings.
pub(super) fn unfinished(bytes: &[u8], around: &Around<'_>) -> Look {
    if around.ended {
        let why = Wrong::Partial { bytes: bytes.len() as u64 };
        Look::Drop(bytes.len(), Some(Suspect { why, length: None }))
    } else if bytes.len() > around.max_length {
        Look::Drop(bytes.len() - around.max_length, None)
    } else {
        Look::More
    }
}

/// The text of a good line: what stands before the checksum.
fn verify(line: &[u8], checksum: LineChecksum, check: Option<&Check>) -> Result<Range<usize>, Wrong> {
    if let Some(at) = first_that_is_no_text(line) {
        return Err(Wrong::NotText { at, byte: line[at] });
    }
    // Two marks in a row leave the exclusive or as it is: the first is noise.
    if checksum != LineChecksum::None && line.len() > 1 && is_mark(line[0]) && is_mark(line[1]) {
        return Err(Wrong::NotText { at: 0, byte: line[0] });
    }
    let star = match checksum {
        LineChecksum::None => None,
        LineChecksum::Optional | LineChecksum::Xor => memchr::memrchr(b'*', line),
    };
    let Some(star) = star else {
        let needed = checksum == LineChecksum::Xor || (checksum == LineChecksum::Optional && check.is_some());
        return if needed { Err(Wrong::NoChecksum) } else { Ok(0..line.len()) };
    };
    let covered = &line[usize::from(is_mark(line[0]))..star.max(1)];
    let covered = if star == 0 { &[][..] } else { covered };
    let digits = line[star + 1..].trim_ascii_end();
    let bytes = check.map_or(1, |check| check.stored);
    if digits.len() != 2 * bytes {
        return Err(Wrong::NoChecksum);
    }
    let mut stored = [0_u8; 16];
    for (byte, pair) in stored.iter_mut().zip(digits.chunks_exact(2)) {
        *byte = hex(pair[0]).zip(hex(pair[1])).map(|(high, low)| high << 4 | low).ok_or(Wrong::NoChecksum)?;
    }
    if let Some(check) = check {
        check.verify(covered, &stored[..bytes])?;
    } else {
        let expected = covered.iter().fold(0, |sum, byte| sum ^ byte);
        if expected != stored[0] {
            return Err(Wrong::Checksum { expected: expected.into(), found: stored[0].into(), digits: 2 });
        }
    }
    Ok(0..star)
}

/// Where in a bad line a good one begins.
fn recover(line: &[u8], checksum: LineChecksum, around: &Around<'_>) -> Option<usize> {
    let marked =
        |at: usize| is_mark(line[at]) || (!around.starts.is_empty() && begins(&line[at..], around.starts));
    let holds = |at: &usize| verify(&line[*at..], checksum, around.check).is_ok();
    let places = (1..line.len()).filter(|at| marked(*at));
    // Objects have others inside: the first brace opens the outermost one.
    let found = if around.starts.iter().any(|start| start == "{") {
        places.take(TRIES).find(holds)
    } else {
        places.rev().take(TRIES).find(holds)
    };
    // `$` belongs to a told beginning that follows it, but noise may look like one.
    if let Some(at) = found {
        let with_dollar =
            at > 1 && line[at - 1] == b'$' && verify(&line[at - 1..], checksum, around.check).is_ok();
        return Some(if with_dollar { at - 1 } else { at });
    }
    // No mark to go by: a checksum that holds after the last noise byte will do, or noise of zero bytes alone, which is
    // what a line at rest or a port being opened gives.
    let noise = line.iter().rposition(|byte| is_no_text(*byte)).map_or(0, |at| at + 1);
    let checked = memchr::memchr(b'*', &line[noise..]).is_some() && checksum != LineChecksum::None;
    let zeros = !around.torn && around.starts.is_empty() && line[..noise].iter().all(|byte| *byte == 0);
    ((1..line.len()).contains(&noise) && (checked || zeros)).then_some(noise)
}

/// Whether a line begins in one of the told ways, a leading `$` or `!` apart.
fn begins(line: &[u8], starts: &[String]) -> bool {
    let bare = line.strip_prefix(b"$").or(line.strip_prefix(b"!")).unwrap_or(line);
    starts.iter().any(|start| line.starts_with(start.as_bytes()) || bare.starts_with(start.as_bytes()))
}

const fn is_mark(byte: u8) -> bool {
    matches!(byte, b'$' | b'!')
}

fn first_that_is_no_text(line: &[u8]) -> Option<usize> {
    // Without an early way out the compiler looks at many bytes at once.
    if !line.iter().fold(false, |found, byte| found | is_no_text(*byte)) {
        return None;
    }
    let control = line.iter().position(|byte| is_control(*byte));
    match std::str::from_utf8(line) {
        Ok(_) => control,
        Err(error) => Some(control.map_or(error.valid_up_to(), |at| at.min(error.valid_up_to()))),
    }
}

const fn is_control(byte: u8) -> bool {
    (byte < 0x20 && byte != b'\t') || byte == 0x7f
}

/// No plain text: a control character, or part of a longer one.
const fn is_no_text(byte: u8) -> bool {
    is_control(byte) || byte >= 0x80
}

const fn hex(digit: u8) -> Option<u8> {
    match digit {
        b'0'..=b'9' => Some(digit - b'0'),
        b'a'..=b'f' => Some(digit - b'a' + 10),
        b'A'..=b'F' => Some(digit - b'A' + 10),
        _ => None,
    }
}

#[cfg(test)]
#[path = "lines/tests.rs"]
mod tests;
