//! Values of the form: as one types them, and as they stand in the file.

use toml_edit::{Array, RawString, Value};

use super::rows::Sort;

/// The longest value, characters; of pairs.
const LONGEST: usize = 300;
const LONGEST_PAIRS: usize = 100_000;

/// A value as one types it.
pub(super) fn plain(value: &Value) -> String {
    match value {
        Value::String(text) => text.value().clone(),
        Value::Array(list) => pairs_of(list).unwrap_or_else(|| as_written(value)),
        other => as_written(other),
    }
}

/// Digits and all.
fn as_written(value: &Value) -> String {
    value.clone().decorated("", "").to_string().trim().to_owned()
}

/// `0, 0; 0.1, 900`, if it is a list of pairs.
fn pairs_of(list: &Array) -> Option<String> {
    let pair = |value: &Value| {
        let pair = value.as_array().filter(|pair| pair.len() == 2)?;
        Some(pair.iter().map(as_written).collect::<Vec<_>>().join(", "))
    };
    Some(list.iter().map(pair).collect::<Option<Vec<_>>>()?.join("; "))
}

/// The remark behind a value.
pub(super) fn source(value: &Value) -> String {
    let suffix = value.decor().suffix().and_then(RawString::as_str).unwrap_or_default();
    suffix.split_once('#').map(|(_, remark)| remark.trim().to_owned()).unwrap_or_default()
}

/// A remark behind a value: one line, not endless.
pub(super) fn remark(words: &str) -> String {
    let line: String = words.chars().filter(|c| !c.is_control()).take(LONGEST).collect();
    let line = line.trim();
    if line.is_empty() { String::new() } else { format!("  # {line}") }
}

/// What a figure must be typed as.
pub(super) fn expected(sort: Sort) -> &'static str {
    match sort {
        Sort::Number => "a number, with a decimal point",
        Sort::Words | Sort::One(_) | Sort::NameOf(_) => "a line of text",
        Sort::Flag => "true or false",
        Sort::Pairs => "pairs of numbers, such as 0, -120; 40.5, -120",
    }
}

/// A value of what was typed.
pub(super) fn typed(text: &str, sort: Sort) -> Option<Value> {
    let longest = if sort == Sort::Pairs { LONGEST_PAIRS } else { LONGEST };
    if text.chars().count() > longest {
        return None;
    }
    match sort {
        Sort::Pairs => pairs(text).map(Value::Array),
        _ if text.chars().any(char::is_control) => None,
        Sort::Number => number(text),
        Sort::Flag => text.parse::<bool>().ok().map(Value::from),
        Sort::Words | Sort::One(_) | Sort::NameOf(_) => Some(Value::from(text)),
    }
}

fn number(text: &str) -> Option<Value> {
    text.parse::<f64>().ok().filter(|n| n.is_finite())?;
    // As it was typed, where that is TOML; `.5` and `+3` are not quite.
    let value: Value = text.parse().ok().or_else(|| text.parse::<f64>().ok().map(Value::from))?;
    (value.is_float() || value.is_integer()).then_some(value)
}

/// Pairs: a line or a semicolon between them, a comma or a space within; or as TOML writes them.
fn pairs(text: &str) -> Option<Array> {
    let text = text.trim();
    let loose = if text.starts_with('[') {
        let list = text.parse::<Value>().ok().filter(|value| !value.to_string().contains('#'))?;
        pairs_of(list.as_array()?)?
    } else {
        text.to_owned()
    };
    let mut list = Array::new();
    for line in loose.split([';', '\n']).map(str::trim).filter(|line| !line.is_empty()) {
        let numbers: Vec<&str> =
            line.split(|c: char| c == ',' || c.is_whitespace()).filter(|n| !n.is_empty()).collect();
        let [first, second] = numbers.as_slice() else { return None };
        let mut pair = Array::new();
        pair.push_formatted(number(first)?.decorated("", ""));
        pair.push_formatted(number(second)?.decorated(" ", ""));
        list.push_formatted(Value::Array(pair).decorated(if list.is_empty() { "" } else { " " }, ""));
    }
    Some(list)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pairs_are_typed_with_lines_or_semicolons_and_keep_their_digits() {
        let list = |text: &str| typed(text, Sort::Pairs).map(|value| value.to_string());
        assert_eq!(list("0, 0; 0.10, 900").as_deref(), Some("[[0, 0], [0.10, 900]]"));
        assert_eq!(list("0 0\n0.10\t900\n").as_deref(), Some("[[0, 0], [0.10, 900]]"));
        assert_eq!(
            list("[[ -420.0, 60.0 ],\n [-60.0, -120.0]]").as_deref(),
            Some("[[-420.0, 60.0], [-60.0, -120.0]]")
        );
        for wrong in ["1", "1, 2, 3", "a, b", "1, nan", "[[1, 2], 3]", "[1, 2]", "[[1, 2] # x\n]"] {
            assert_eq!(list(wrong), None, "{wrong}");
        }
        let value = typed("0, 0; 0.10, 900", Sort::Pairs).unwrap();
        assert_eq!(plain(&value), "0, 0; 0.10, 900");
    }
}
