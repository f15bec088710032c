//! Where in a payload each field stands, for people who look at the bytes.

use super::{Form, Layout, binary, text};

/// A field's bytes in a payload.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Placed {
    /// Index of the field.
    pub field: u16,
    /// Which of its values, from 0.
    pub item: u16,
    /// First byte.
    pub from: usize,
    /// One past the last byte.
    pub to: usize,
}

impl Layout {
    /// The places of the fields of a payload that matches, in its order. Values with keys and reports that bring their
    /// own fields have none.
    pub fn places(&self, payload: &[u8]) -> Vec<Placed> {
        of(&self.form, payload)
    }
}

fn of(form: &Form, payload: &[u8]) -> Vec<Placed> {
    match form {
        Form::Binary { big_endian, fields, .. } => binary::places(*big_endian, fields, payload),
        Form::Text { separator, starts_with, fields } => {
            text::places(separator, starts_with.is_some(), fields, payload)
        }
        Form::In { envelope, form } => {
            let Some(opened) = envelope.open(payload) else { return Vec::new() };
            // What is inside stands at the end.
            let before = payload.len() - opened.content.len();
            let mut places = of(form, opened.content);
            for place in &mut places {
                place.from += before;
                place.to += before;
            }
            places
        }
        Form::Keyed { .. } | Form::Nmea { .. } | Form::Aprs { .. } => Vec::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Field, Repeat, Stored};

    fn layout(form: Form) -> Layout {
        Layout { name: "p".to_owned(), form, body: None, rate_hz: None }
    }

    fn spans(layout: &Layout, payload: &[u8]) -> Vec<(u16, u16, usize, usize)> {
        layout.places(payload).iter().map(|place| (place.field, place.item, place.from, place.to)).collect()
    }

    #[test]
    fn fields_of_bytes_and_columns() {
        let x = Field { repeat: Some(Repeat::times(2)), ..Field::new("x", Stored::Signed(2)) };
        let fields = vec![Field::new("id", Stored::Unsigned(1)), x, Field::new("gap", Stored::Skip(1))];
        let binary = layout(Form::Binary { big_endian: false, length: None, fields });
        assert_eq!(
            spans(&binary, &[1, 2, 2, 3, 3, 0, 9]),
            [(0, 0, 0, 1), (1, 0, 1, 3), (1, 1, 3, 5), (2, 0, 5, 6)]
        );
        let fields = vec![Field::new("a", Stored::Number), Field::new("b", Stored::Text)];
        let text =
            layout(Form::Text { separator: ",".to_owned(), starts_with: Some("LW".to_owned()), fields });
        assert_eq!(spans(&text, b"$LW, 12,x"), [(0, 0, 5, 7), (1, 0, 8, 9)]);
        assert_eq!(spans(&text, b"$LW,1"), [(0, 0, 4, 5)]);
    }
}
