//! CSV as in RFC 4180 (Shafranovich, 2005): commas, double quotes, CRLF, one header row.
//!
//! Names in the header carry the unit and say what a height is above and what a speed is through or over. Text from radios,
//! names and notes is hostile: a cell that a spreadsheet would take for a formula gets an apostrophe in front.

use std::borrow::Cow;
use std::io::Write;

use crate::ExportError;
use crate::block::{ALL_DIGITS, Block, Column, Kind, NO_TEXT, NO_WHOLE, Values};
use crate::time::{put_seconds, put_utc};
use crate::units::Units;

/// Bytes that are put together before they are passed on.
const PIECE_BYTES: usize = 64 * 1024;

/// Text as a cell: what a spreadsheet would take for a formula is defused.
pub fn defused(text: &str) -> Cow<'_, str> {
    if text
        .starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '\u{ff1d}', '\u{ff0b}', '\u{ff0d}', '\u{ff20}'])
    {
        Cow::Owned(format!("'{text}"))
    } else {
        Cow::Borrowed(text)
    }
}

fn put_text(out: &mut Vec<u8>, text: &str) {
    let text = defused(text);
    if text.contains(['"', ',', '\r', '\n']) {
        out.push(b'"');
        out.extend_from_slice(text.replace('"', "\"\"").as_bytes());
        out.push(b'"');
    } else {
        out.extend_from_slice(text.as_bytes());
    }
}

/// A figure with so many decimals. Correctly rounded to half a unit of the last place, as far as a double goes.
pub fn put_decimals(out: &mut Vec<u8>, value: f64, decimals: usize) {
    const POWERS: [f64; 13] = [1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12];
    if !value.is_finite() {
        return;
    }
    let scaled = value.abs() * POWERS.get(decimals).copied().unwrap_or(f64::INFINITY);
    if !(scaled < 9e15) {
        let _ = write!(out, "{value:.decimals$}");
        return;
    }
    let mut whole = (scaled + 0.5) as u64;
    if value < 0.0 && whole > 0 {
        out.push(b'-');
    }
    let mut digits = [b'0'; 24];
    let mut at = digits.len();
    for place in 0.. {
        if place == decimals && decimals > 0 {
            at -= 1;
            digits[at] = b'.';
        }
        if place > decimals && whole == 0 {
            break;
        }
        at -= 1;
        digits[at] = b'0' + (whole % 10) as u8;
        whole /= 10;
    }
    out.extend_from_slice(&digits[at..]);
}

/// Writes a table.
#[derive(Debug)]
pub struct Csv<W: Write> {
    to: W,
    columns: Vec<Column>,
    chosen: Vec<usize>,
    units: Units,
    bytes: Vec<u8>,
}

impl<W: Write> Csv<W> {
    /// Begins with the header row.
    pub fn new(to: W, columns: &[Column], chosen: &[usize], units: Units) -> Self {
        let mut bytes = Vec::with_capacity(PIECE_BYTES + 4096);
        for (place, index) in chosen.iter().enumerate() {
            if place > 0 {
                bytes.push(b',');
            }
            put_text(&mut bytes, &columns[*index].header(units));
        }
        bytes.extend_from_slice(b"\r\n");
        Self { to, columns: columns.to_vec(), chosen: chosen.to_vec(), units, bytes }
    }

    /// Adds rows.
    pub fn block(&mut self, block: &Block) -> Result<(), ExportError> {
        for row in 0..block.rows() {
            for (place, index) in self.chosen.iter().enumerate() {
                if place > 0 {
                    self.bytes.push(b',');
                }
                let kind = self.columns[*index].kind;
                match &block.columns[*index] {
                    Values::Real(of) => match kind {
                        Kind::Real(unit, ALL_DIGITS) if of[row].is_finite() => {
                            let _ = write!(self.bytes, "{}", unit.convert(of[row], self.units));
                        }
                        Kind::Real(unit, decimals) => put_decimals(
                            &mut self.bytes,
                            unit.convert(of[row], self.units),
                            unit.decimals(decimals, self.units),
                        ),
                        _ if of[row].is_finite() => {
                            let _ = write!(self.bytes, "{}", of[row]);
                        }
                        _ => {}
                    },
                    Values::Whole(of) if of[row] == NO_WHOLE => {}
                    Values::Whole(of) => match kind {
                        Kind::Utc => put_utc(&mut self.bytes, of[row]),
                        Kind::Ns => put_seconds(&mut self.bytes, of[row]),
                        _ => {
                            let _ = write!(self.bytes, "{}", of[row]);
                        }
                    },
                    Values::Text { words, index } => {
                        if index[row] != NO_TEXT {
                            put_text(&mut self.bytes, &words[index[row] as usize]);
                        }
                    }
                }
            }
            self.bytes.extend_from_slice(b"\r\n");
            if self.bytes.len() >= PIECE_BYTES {
                self.to.write_all(&self.bytes)?;
                self.bytes.clear();
            }
        }
        Ok(())
    }

    /// Writes what is left.
    pub fn finish(mut self) -> Result<(), ExportError> {
        self.to.write_all(&self.bytes)?;
        self.to.flush()?;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn only_the_beginning_of_a_text_makes_a_formula() {
        for hostile in ["=1", "+1", "-1", "@a", "\t=1", "\r=1", "\n=1", "\u{ff1d}1"] {
            assert_eq!(defused(hostile), format!("'{hostile}"));
        }
        for plain in ["", "a=1", "Mast", "'=1", "5-3", " =1"] {
            assert_eq!(defused(plain), plain);
        }
    }

    #[test]
    fn decimals_are_written_as_people_read_them() {
        let said = |value: f64, decimals: usize| {
            let mut out = Vec::new();
            put_decimals(&mut out, value, decimals);
            String::from_utf8(out).unwrap()
        };
        assert_eq!(said(0.0, 2), "0.00");
        assert_eq!(said(-0.001, 2), "0.00");
        assert_eq!(said(-0.005, 2), "-0.01");
        assert_eq!(said(1234.5678, 2), "1234.57");
        assert_eq!(said(0.05, 3), "0.050");
        assert_eq!(said(7.6, 0), "8");
        assert_eq!(said(f64::NAN, 2), "");
        assert_eq!(said(1e300, 1).len(), 303);
    }

    proptest! {
        #[test]
        fn a_written_figure_is_within_half_of_its_last_place(value in -1e9_f64..1e9, decimals in 0_usize..7) {
            let mut out = Vec::new();
            put_decimals(&mut out, value, decimals);
            let back: f64 = String::from_utf8(out).unwrap().parse().unwrap();
            prop_assert!((back - value).abs() <= 0.500_001 * 10f64.powi(-(decimals as i32)) + 1e-6 * value.abs() * 1e-9);
        }
    }
}
