//! KISS: what a terminal node controller sends to its computer.
//!
//! Chepponis and Karn, "The KISS TNC: a simple host-to-TNC communications protocol", 1987: frames between 0xC0 bytes with
//! the two escapes of SLIP; the first byte of a frame has the port in its upper four bits and a command in its lower
//! four. Command 0 is data; controllers send no other. The port is not looked at: a controller with several ports brings
//! all of them.

use super::Wrong;
use super::look::{Around, Look, Payload};

/// Looks at the bytes not yet cut.
pub(super) fn look(bytes: &[u8], mut around: Around<'_>) -> Look {
    match super::slip::look(bytes, &mut around) {
        Look::Frame { raw, used, payload: Ok(Payload::Scratch(length)) } => {
            let payload = match around.scratch.first() {
                _ if length < 2 => Err(Wrong::TooShort { length, least: 2 }),
                kind => match kind.map_or(0, |kind| kind & 0x0f) {
                    0 => {
                        around.scratch.copy_within(1..length, 0);
                        Ok(Payload::Scratch(length - 1))
                    }
                    command => Err(Wrong::KissCommand { command }),
                },
            };
            Look::Frame { raw, used, payload }
        }
        other => other,
    }
}

#[cfg(test)]
#[path = "kiss/tests.rs"]
mod tests;
