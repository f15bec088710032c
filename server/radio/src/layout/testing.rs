//! For tests: names and values in few words.

use super::{Decoded, Layout, Value};

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
