//! JSON Lines: one flat object a line. The first says what the file is; a value that is not known is left out.

use std::io::Write;

use crate::ExportError;
use crate::block::{ALL_DIGITS, Block, Column, Kind, NO_TEXT, NO_WHOLE, Values};
use crate::csv::put_decimals;
use crate::time::{put_seconds, put_utc};
use crate::units::Units;

const PIECE_BYTES: usize = 64 * 1024;

/// Writes a table.
#[derive(Debug)]
pub struct JsonLines<W: Write> {
    to: W,
    columns: Vec<Column>,
    chosen: Vec<usize>,
    /// Names as JSON text, with the colon.
    keys: Vec<Vec<u8>>,
    units: Units,
    bytes: Vec<u8>,
}

impl<W: Write> JsonLines<W> {
    /// Begins with a line about the file: `{"about": {...}}`.
    pub fn new(
        to: W,
        columns: &[Column],
        chosen: &[usize],
        units: Units,
        about: &[(String, String)],
    ) -> Result<Self, ExportError> {
        let about: serde_json::Map<_, _> =
            about.iter().map(|(key, value)| (key.clone(), serde_json::Value::from(value.as_str()))).collect();
        let mut bytes = serde_json::to_vec(&serde_json::json!({ "about": about }))?;
        bytes.push(b'\n');
        let keys = columns
            .iter()
            .map(|column| {
                let mut key = serde_json::to_vec(&column.header(units))?;
                key.push(b':');
                Ok(key)
            })
            .collect::<Result<_, ExportError>>()?;
        Ok(Self { to, columns: columns.to_vec(), chosen: chosen.to_vec(), keys, units, bytes })
    }

    /// Adds rows.
    pub fn block(&mut self, block: &Block) -> Result<(), ExportError> {
        for row in 0..block.rows() {
            self.bytes.push(b'{');
            let mut first = true;
            for index in &self.chosen {
                let begin = self.bytes.len();
                if !first {
                    self.bytes.push(b',');
                }
                self.bytes.extend_from_slice(&self.keys[*index]);
                let value = self.bytes.len();
                let kind = self.columns[*index].kind;
                match &block.columns[*index] {
                    Values::Real(of) => match kind {
                        Kind::Real(unit, ALL_DIGITS) if of[row].is_finite() => {
                            serde_json::to_writer(&mut self.bytes, &unit.convert(of[row], self.units))?;
                        }
                        Kind::Real(unit, decimals) => put_decimals(
                            &mut self.bytes,
                            unit.convert(of[row], self.units),
                            unit.decimals(decimals, self.units),
                        ),
                        _ if of[row].is_finite() => serde_json::to_writer(&mut self.bytes, &of[row])?,
                        _ => {}
                    },
                    Values::Whole(of) if of[row] == NO_WHOLE => {}
                    Values::Whole(of) => match kind {
                        Kind::Utc => {
                            self.bytes.push(b'"');
                            put_utc(&mut self.bytes, of[row]);
                            self.bytes.push(b'"');
                        }
                        Kind::Ns => put_seconds(&mut self.bytes, of[row]),
                        _ => serde_json::to_writer(&mut self.bytes, &of[row])?,
                    },
                    Values::Text { words, index } => {
                        if index[row] != NO_TEXT {
                            serde_json::to_writer(&mut self.bytes, &words[index[row] as usize])?;
                        }
                    }
                }
                if self.bytes.len() == value {
                    self.bytes.truncate(begin);
                } else {
                    first = false;
                }
            }
            self.bytes.extend_from_slice(b"}\n");
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
