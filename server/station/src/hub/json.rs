//! JSON as it goes over the socket: whole numbers without `.0`, which saves a tenth of a message.

use std::io;

use serde::Serialize;
use serde_json::ser::{Formatter, Serializer};

struct Short;

impl Formatter for Short {
    fn write_f64<W: ?Sized + io::Write>(&mut self, writer: &mut W, value: f64) -> io::Result<()> {
        if value.fract() == 0.0 && value.abs() < 9.0e15 {
            write!(writer, "{}", value as i64)
        } else {
            write!(writer, "{value}")
        }
    }
}

/// The JSON text of a message.
pub(crate) fn text(value: &impl Serialize) -> String {
    let mut bytes = Vec::with_capacity(4096);
    let mut serializer = Serializer::with_formatter(&mut bytes, Short);
    if let Err(error) = value.serialize(&mut serializer) {
        // Message types have text keys only and a Vec takes every byte, so no error is possible.
        tracing::error!(%error, "a message could not be written as JSON");
        return String::from("null");
    }
    String::from_utf8(bytes).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whole_numbers_are_short_and_all_numbers_read_back_the_same() {
        let values = [0.0, 1.0, -3.0, 0.1, 1_795_600_000.123, 1.0e-7, 9.1e15, f64::MAX, f64::MIN_POSITIVE];
        let written = text(&values);
        assert!(written.starts_with("[0,1,-3,0.1,1795600000.123,0.0000001,"), "{written}");
        let back: Vec<f64> = serde_json::from_str(&written).unwrap();
        assert_eq!(back, values);
    }

    #[test]
    fn what_is_not_a_number_is_null() {
        assert_eq!(text(&[f64::NAN, f64::INFINITY]), "[null,null]");
    }
}
