//! Consistent overhead byte stuffing, frames ended by a zero byte.
//!
//! Source: Cheshire & Baker, "Consistent overhead byte stuffing", IEEE/ACM Transactions on Networking 7(2), 1999:
//! a code byte n says that n - 1 bytes follow as they are, and then a zero, which is left out after the code 255 and
//! at the end. A frame glued to noise, for want of a zero between them, is found again where the codes lead to its end
//! (`search.rs`).

use super::Wrong;
use super::look::{Around, Look, Payload};
use super::search;

/// Looks at the bytes not yet cut.
pub(super) fn look(bytes: &[u8], around: Around<'_>) -> Look {
    let Some(end) = memchr::memchr(0, &bytes[around.searched..]).map(|found| found + around.searched) else {
        return super::lines::unfinished(bytes, &around);
    };
    if end == 0 {
        return if around.torn { Look::Void { bytes: 0, used: 1 } } else { Look::Delimiter(1) };
    }
    if end > around.max_length {
        return Look::Drop(end - around.max_length, None);
    }
    let mut around = around;
    let whole = if around.torn { Err(None) } else { decode(&bytes[..=end], &mut around).map_err(Some) };
    match whole {
        Ok(length) => Look::Frame { raw: 0..end, used: end + 1, payload: Ok(Payload::Scratch(length)) },
        Err(why) => {
            if let Some((from, length)) = recover(&bytes[..=end], &mut around) {
                return Look::Frame { raw: from..end, used: end + 1, payload: Ok(Payload::Scratch(length)) };
            }
            match why {
                Some(why) => Look::Frame { raw: 0..end, used: end + 1, payload: Err(why) },
                None => Look::Void { bytes: end, used: end + 1 },
            }
        }
    }
}

/// Decodes a frame with its final zero into the scratch buffer and takes the CRC off.
fn decode(frame: &[u8], around: &mut Around<'_>) -> Result<usize, Wrong> {
    let length = unstuff(frame, around.scratch)?;
    match around.check {
        Some(check) => check.strip(&around.scratch[..length]).map(<[u8]>::len),
        None => Ok(length),
    }
}

fn unstuff(frame: &[u8], scratch: &mut Vec<u8>) -> Result<usize, Wrong> {
    if scratch.len() < frame.len() {
        scratch.resize(frame.len(), 0);
    }
    corncobs::decode_buf(frame, scratch).map_err(|_| Wrong::Cobs { at: dangling(frame) })
}

/// The code that points past the end.
fn dangling(frame: &[u8]) -> usize {
    let mut at = 0;
    while at + usize::from(frame[at]) < frame.len() && frame[at] != 0 {
        at += usize::from(frame[at]);
    }
    at
}

/// Where in a bad frame a good one begins, and its payload's length.
fn recover(frame: &[u8], around: &mut Around<'_>) -> Option<(usize, usize)> {
    let last = frame.len() - 1;
    // For each place, how many bytes a frame that begins there decodes to; none if its codes do not lead to the end.
    let mut decoded: Vec<Option<usize>> = vec![None; frame.len()];
    for at in (0..last).rev() {
        let code = usize::from(frame[at]);
        let next = at + code;
        decoded[at] = match next.cmp(&last) {
            std::cmp::Ordering::Equal => Some(code - 1),
            std::cmp::Ordering::Less => decoded[next].map(|rest| code - 1 + usize::from(code != 255) + rest),
            std::cmp::Ordering::Greater => None,
        };
    }
    search::find(around, &decoded, |at, scratch| unstuff(&frame[at..], scratch))
}

#[cfg(test)]
#[path = "cobs/tests.rs"]
mod tests;
