//! Serial line IP framing, RFC 1055 (Romkey 1988): frames end with 0xC0; a 0xC0 inside is sent as 0xDB 0xDC and a 0xDB
//! as 0xDB 0xDD. Empty frames are passed over, as the RFC advises, so that a sender may begin with an end byte too.
//!
//! A frame glued to noise, for want of an end byte between them, is found again (`search.rs`). The RFC leaves a wrong
//! escape to the implementation; here the frame is wrong.

use super::Wrong;
use super::look::{Around, Look, Payload};
use super::search;

/// End of a frame (RFC 1055, END).
pub(super) const END: u8 = 0xc0;
/// Escape (ESC).
const ESCAPE: u8 = 0xdb;
/// Follows the escape in place of an end byte (ESC_END).
const ESCAPED_END: u8 = 0xdc;
/// Follows the escape in place of an escape (ESC_ESC).
const ESCAPED_ESCAPE: u8 = 0xdd;

/// Looks at the bytes not yet cut.
pub(super) fn look(bytes: &[u8], around: &mut Around<'_>) -> Look {
    let Some(end) = memchr::memchr(END, &bytes[around.searched..]).map(|found| found + around.searched)
    else {
        return super::lines::unfinished(bytes, around);
    };
    if end == 0 {
        return if around.torn { Look::Void { bytes: 0, used: 1 } } else { Look::Delimiter(1) };
    }
    if end > around.max_length {
        return Look::Drop(end - around.max_length, None);
    }
    let frame = &bytes[..end];
    let whole = if around.torn { Err(None) } else { decode(frame, around).map_err(Some) };
    match whole {
        Ok(length) => Look::Frame { raw: 0..end, used: end + 1, payload: Ok(Payload::Scratch(length)) },
        Err(why) => {
            if let Some((from, length)) = recover(frame, around) {
                return Look::Frame { raw: from..end, used: end + 1, payload: Ok(Payload::Scratch(length)) };
            }
            match why {
                Some(why) => Look::Frame { raw: 0..end, used: end + 1, payload: Err(why) },
                None => Look::Void { bytes: end, used: end + 1 },
            }
        }
    }
}

/// Decodes a frame into the scratch buffer and takes the CRC off.
fn decode(frame: &[u8], around: &mut Around<'_>) -> Result<usize, Wrong> {
    let length = unescape(frame, around.scratch)?;
    match around.check {
        Some(check) => check.strip(&around.scratch[..length]).map(<[u8]>::len),
        None => Ok(length),
    }
}

fn unescape(frame: &[u8], scratch: &mut Vec<u8>) -> Result<usize, Wrong> {
    scratch.clear();
    let mut at = 0;
    while let Some(found) = memchr::memchr(ESCAPE, &frame[at..]) {
        let escape = at + found;
        scratch.extend_from_slice(&frame[at..escape]);
        scratch.push(match frame.get(escape + 1) {
            Some(&ESCAPED_END) => END,
            Some(&ESCAPED_ESCAPE) => ESCAPE,
            other => return Err(Wrong::Slip { at: escape, found: other.copied() }),
        });
        at = escape + 2;
    }
    scratch.extend_from_slice(&frame[at..]);
    Ok(scratch.len())
}

/// Where in a bad frame a good one begins, and its payload's length.
fn recover(frame: &[u8], around: &mut Around<'_>) -> Option<(usize, usize)> {
    // For each place, how many bytes a frame that begins there decodes to; none where an escape that is none follows.
    // An escape may be noise and what follows it the frame's first byte: that place is one like others.
    let mut decoded: Vec<Option<usize>> = vec![None; frame.len() + 1];
    decoded[frame.len()] = Some(0);
    for at in (0..frame.len()).rev() {
        let next = match (frame[at], frame.get(at + 1)) {
            (ESCAPE, Some(&(ESCAPED_END | ESCAPED_ESCAPE))) => at + 2,
            (ESCAPE, _) => continue,
            _ => at + 1,
        };
        decoded[at] = decoded[next].map(|rest| rest + 1);
    }
    search::find(around, &decoded, |at, scratch| unescape(&frame[at..], scratch))
}

#[cfg(test)]
#[path = "slip/tests.rs"]
mod tests;
