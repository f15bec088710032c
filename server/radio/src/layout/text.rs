//! Columns of text. An empty column says "no value", and so does what C prints for no number; spaces around a column do not
//! count. A column that is missing, or no number where one should be, is complained of: `taken.rs` takes such a line for
//! damaged.

use super::decoded::{Complaint, Decoded, Value};
use super::{Field, Placed, Stored, number, slots};

/// Most of a bad column that a complaint quotes, characters.
const QUOTED: usize = 40;

/// Whether the first column and all `is` columns fit.
pub(super) fn matches(separator: &str, starts_with: Option<&str>, fields: &[Field], payload: &[u8]) -> bool {
    let Ok(line) = std::str::from_utf8(payload) else { return false };
    let mut columns = Columns::new(line, separator);
    if let Some(start) = starts_with {
        let Some(first) = columns.next() else { return false };
        if first != start && first.strip_prefix(['$', '!']) != Some(start) {
            return false;
        }
    }
    if fields.iter().all(|field| field.is.is_none() && field.is_text.is_none() && field.repeat.is_none()) {
        return true;
    }
    let mut first = starts_with.is_none();
    slots::each(fields, |index, _| {
        let field = &fields[index];
        let column = columns.next().unwrap_or("");
        let column = if std::mem::take(&mut first) { bare(column) } else { column };
        let raw = || number::parse(column);
        let fits = field.is.is_none_or(|is| raw() == Some(is))
            && field.is_text.as_deref().is_none_or(|is| column == is);
        fits.then(|| raw().filter(|raw| *raw >= 0.0).map(|raw| raw as u64))
    })
}

/// What C's `printf` writes for not-a-number and infinity (ISO C17, 7.21.6.1), in either case.
fn says_no_number(column: &str) -> bool {
    let bare = column.strip_prefix(['-', '+']).unwrap_or(column);
    ["nan", "inf", "infinity"].iter().any(|word| bare.eq_ignore_ascii_case(word))
}

/// Reads the columns.
pub(super) fn decode(
    separator: &str,
    has_start: bool,
    fields: &[Field],
    payload: &[u8],
    decoded: &mut Decoded,
) {
    let Ok(line) = std::str::from_utf8(payload) else { return };
    let mut columns = Columns::new(line, separator);
    let mut found = 0_usize;
    if has_start {
        columns.next();
        found += 1;
    }
    let mut expected = found;
    slots::each(fields, |index, item| {
        expected += 1;
        let Some(column) = columns.next() else { return Some(None) };
        found += 1;
        let column = if found == 1 { bare(column) } else { column };
        if column.is_empty() {
            return Some(None);
        }
        let field = &fields[index];
        match field.stored {
            Stored::Skip(_) => Some(None),
            Stored::Text => {
                decoded.put(index, None, item, Value::Text(column.to_owned()));
                Some(None)
            }
            _ if says_no_number(column) => Some(None),
            _ => Some(read(index, item, found, field, column, decoded)),
        }
    });
    let (expected_u16, found_u16) = (expected as u16, found.min(usize::from(u16::MAX)) as u16);
    if found < expected {
        decoded.complaints.push(Complaint::MissingColumns { expected: expected_u16, found: found_u16 });
    } else {
        let extra = columns.count();
        if extra > 0 {
            let found = (found + extra).min(usize::from(u16::MAX)) as u16;
            decoded.complaints.push(Complaint::ExtraColumns { expected: expected_u16, found });
        }
    }
}

/// Where the columns stand.
pub(super) fn places(separator: &str, has_start: bool, fields: &[Field], payload: &[u8]) -> Vec<Placed> {
    let Ok(line) = std::str::from_utf8(payload) else { return Vec::new() };
    let mut columns = Columns::new(line, separator);
    let mut first = !has_start;
    if has_start {
        columns.next();
    }
    let mut places = Vec::new();
    slots::each(fields, |index, item| {
        let column = columns.next()?;
        let column = if std::mem::take(&mut first) { bare(column) } else { column };
        let from = column.as_ptr() as usize - line.as_ptr() as usize;
        places.push(Placed { field: index as u16, item, from, to: from + column.len() });
        Some(number::parse(column).filter(|raw| *raw >= 0.0).map(|raw| raw as u64))
    });
    places
}

/// Takes a number in; gives it if it may be a count.
#[inline]
fn read(
    index: usize,
    item: u16,
    column: usize,
    field: &Field,
    text: &str,
    decoded: &mut Decoded,
) -> Option<u64> {
    // Counts and states are printed in hexadecimal, quantities are not: there it is what damage made of a digit.
    let quantity_in_hex =
        !field.unit.is_empty() && text.as_bytes().iter().any(|byte| matches!(byte, b'x' | b'X'));
    let Some(raw) = number::parse(text).filter(|_| !quantity_in_hex) else {
        decoded.complaints.push(Complaint::NotANumber {
            field: index as u16,
            column: column as u16,
            text: text.chars().take(QUOTED).collect(),
        });
        return None;
    };
    decoded.put_written(index, item, field, raw);
    (raw >= 0.0).then_some(raw as u64)
}

/// A leading `$` or `!` belongs to the line, not to its first column.
fn bare(column: &str) -> &str {
    column.strip_prefix(['$', '!']).unwrap_or(column)
}

/// The columns of a line, without the spaces around them.
struct Columns<'a> {
    rest: Option<&'a str>,
    separator: &'a str,
}

impl<'a> Columns<'a> {
    fn new(line: &'a str, separator: &'a str) -> Self {
        Self { rest: Some(line), separator: if separator.is_empty() { "," } else { separator } }
    }
}

impl<'a> Iterator for Columns<'a> {
    type Item = &'a str;

    fn next(&mut self) -> Option<&'a str> {
        let rest = self.rest?;
        let found = match self.separator.as_bytes() {
            [one] => memchr::memchr(*one, rest.as_bytes()),
            _ => rest.find(self.separator),
        };
        let column = if let Some(at) = found {
            self.rest = Some(&rest[at + self.separator.len()..]);
            &rest[..at]
        } else {
            self.rest = None;
            rest
        };
        Some(column.trim_ascii())
    }
}

#[cfg(test)]
#[path = "text/tests.rs"]
mod tests;
