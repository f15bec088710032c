//! What a packet radio puts around a payload: an AX.25 UI frame, or the line of text that a monitor makes of one.
//!
//! AX.25 (Amateur Packet-Radio Link-Layer Protocol, version 2.2, 1998, section 3): addresses of seven bytes, six
//! characters shifted left by one and a byte with the station number (SSID) in bits 1 to 4, whose lowest bit marks the
//! last address; then a control byte, 0x03 for unnumbered information with the poll bit (0x10) aside; then a protocol
//! byte, 0xF0 for none. A monitor line is `SOURCE>DESTINATION,PATH:content` (APRS Protocol Reference 1.0.1, chapter 20
//! uses the same form for third-party traffic). Limits: only UI frames; at most eight digipeaters.

use std::fmt::Write as _;

use serde::{Deserialize, Serialize};

/// Bytes of one address.
const ADDRESS: usize = 7;
/// Most addresses: destination, source and eight digipeaters (AX.25 2.0; 2.2 allows two).
const MOST_ADDRESSES: usize = 10;
/// Unnumbered information, and the bit that does not matter.
const UI: u8 = 0x03;
const POLL: u8 = 0x10;

/// What is around a payload.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Envelope {
    /// Its kind.
    pub carrier: Carrier,
    /// The only source that counts, such as `N0CALL-11`; any, if not told.
    pub from: Option<String>,
}

/// Kinds of envelope.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Carrier {
    /// The bytes of an AX.25 frame without its checksum, as KISS hands them over.
    Ax25,
    /// A line of text.
    Monitor,
}

/// A payload taken out of its envelope.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Opened<'a> {
    pub(super) source: String,
    pub(super) destination: String,
    pub(super) content: &'a [u8],
}

impl Envelope {
    /// Takes the payload out; none if there is no such envelope, or it is from somebody else.
    pub(super) fn open<'a>(&self, payload: &'a [u8]) -> Option<Opened<'a>> {
        self.open_any(payload).filter(|opened| self.is_wanted(&opened.source))
    }

    /// The sender of a payload in such an envelope, if it is somebody else.
    pub(super) fn foreign(&self, payload: &[u8]) -> Option<String> {
        let source = self.open_any(payload)?.source;
        (!self.is_wanted(&source)).then_some(source)
    }

    fn open_any<'a>(&self, payload: &'a [u8]) -> Option<Opened<'a>> {
        match self.carrier {
            Carrier::Ax25 => ax25(payload),
            Carrier::Monitor => monitor(payload),
        }
    }

    fn is_wanted(&self, source: &str) -> bool {
        let own = |name: &str| name.trim_end_matches("-0").to_ascii_uppercase();
        self.from.as_deref().is_none_or(|from| own(from) == own(source))
    }
}

fn ax25(frame: &[u8]) -> Option<Opened<'_>> {
    let last = frame.chunks_exact(ADDRESS).take(MOST_ADDRESSES).position(|address| address[6] & 1 == 1)?;
    if last == 0 {
        return None;
    }
    let (control, content) = frame[ADDRESS * (last + 1)..].split_at_checked(2)?;
    if control[0] & !POLL != UI {
        return None;
    }
    Some(Opened {
        destination: address(&frame[..ADDRESS])?,
        source: address(&frame[ADDRESS..2 * ADDRESS])?,
        content,
    })
}

/// A call sign with its station number, if that is not 0.
fn address(bytes: &[u8]) -> Option<String> {
    let mut name: String = bytes[..6].iter().map(|byte| char::from(byte >> 1)).collect();
    let good =
        bytes[..6].iter().all(|byte| byte & 1 == 0 && matches!(byte >> 1, b' ' | b'0'..=b'9' | b'A'..=b'Z'));
    name.truncate(name.trim_end().len());
    let number = bytes[6] >> 1 & 0x0f;
    if number > 0 {
        let _ = write!(name, "-{number}");
    }
    (good && !name.is_empty() && !name.starts_with(['-', ' '])).then_some(name)
}

fn monitor(line: &[u8]) -> Option<Opened<'_>> {
    let colon = memchr::memchr(b':', line)?;
    let head = std::str::from_utf8(&line[..colon]).ok()?;
    let (source, path) = head.split_once('>')?;
    let destination = path.split(',').next()?;
    let named = |name: &str| {
        (1..=9).contains(&name.len()) && name.bytes().all(|byte| byte.is_ascii_alphanumeric() || byte == b'-')
    };
    (named(source) && named(destination)).then(|| Opened {
        source: source.to_owned(),
        destination: destination.to_owned(),
        content: &line[colon + 1..],
    })
}

#[cfg(test)]
#[path = "envelope/tests.rs"]
mod tests;
