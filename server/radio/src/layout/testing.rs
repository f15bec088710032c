//! For tests: fields and values in few words.

use super::{Decoded, Field, Layout, Stored, Value};
use crate::meaning::Meaning;

pub(crate) fn field(name: &str, stored: Stored) -> Field {
    Field {
        name: name.to_owned(),
        stored,
        scale: 1.0,
        offset: 0.0,
        unit: String::new(),
        si_scale: 1.0,
        si_offset: 0.0,
        meaning: Meaning::Free,
        channel: None,
        is: None,
        missing: None,
        values: Vec::new(),
        bits: Vec::new(),
        big_endian: None,
    }
}

pub(crate) fn named(names: &[(i64, &str)]) -> Vec<(i64, String)> {
    names.iter().map(|(value, name)| (*value, (*name).to_owned())).collect()
}

/// Names and values as a person would say them.
pub(crate) fn texts(layout: &Layout, decoded: &Decoded) -> Vec<String> {
    let text = |entry| {
        let name = layout.spec(entry).unwrap().name;
        match &entry.value {
            Value::Number(number) => format!("{name} {number}"),
            Value::Text(text) => format!("{name} {text}"),
            Value::Flag(flag) => format!("{name} {flag}"),
            Value::Named { raw, .. } => {
                format!("{name} {}", layout.value_name(entry).unwrap_or(&raw.to_string()))
            }
        }
    };
    decoded.values.iter().map(text).collect()
}
