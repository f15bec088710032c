//! Names and comments in C, from words that may be anything.

use std::collections::BTreeSet;

/// Words of C and C++ that no name may be.
const TAKEN: &[&str] = &[
    "alignas",
    "alignof",
    "and",
    "asm",
    "auto",
    "bool",
    "break",
    "case",
    "catch",
    "char",
    "class",
    "const",
    "continue",
    "default",
    "delete",
    "do",
    "double",
    "else",
    "enum",
    "explicit",
    "export",
    "extern",
    "false",
    "float",
    "for",
    "friend",
    "goto",
    "if",
    "inline",
    "int",
    "long",
    "mutable",
    "namespace",
    "new",
    "not",
    "operator",
    "or",
    "private",
    "protected",
    "public",
    "register",
    "restrict",
    "return",
    "short",
    "signed",
    "sizeof",
    "static",
    "struct",
    "switch",
    "template",
    "this",
    "throw",
    "true",
    "try",
    "typedef",
    "typename",
    "union",
    "unsigned",
    "using",
    "virtual",
    "void",
    "volatile",
    "while",
    "xor",
];

/// Names in use.
#[derive(Debug, Default)]
pub(super) struct Names {
    used: BTreeSet<String>,
}

impl Names {
    /// A name like the given words that is in use nowhere else.
    pub(super) fn unique(&mut self, words: &str) -> String {
        let plain = plain(words);
        let mut name = plain.clone();
        let mut number = 2;
        while !self.used.insert(name.clone()) {
            name = format!("{plain}_{number}");
            number += 1;
        }
        name
    }
}

/// Small letters, digits and single underscores.
fn plain(words: &str) -> String {
    let mut name = String::new();
    for c in words.chars().take(60) {
        if c.is_ascii_alphanumeric() {
            name.push(c.to_ascii_lowercase());
        } else if !name.is_empty() && !name.ends_with('_') {
            name.push('_');
        }
    }
    let name = name.trim_end_matches('_');
    if name.is_empty() {
        "x".to_owned()
    } else if name.starts_with(|c: char| c.is_ascii_digit())
        || TAKEN.contains(&name)
        || name.starts_with("lw_")
    {
        format!("x_{name}")
    } else {
        name.to_owned()
    }
}

/// Words that can stand in a comment or in a string: plain characters, no end of either, no trigraph.
pub(super) fn comment(words: &str) -> String {
    let plain = words.replace('\u{b0}', "deg").replace(['\u{b5}', '\u{3bc}'], "u").replace('\u{b2}', "2");
    let mut out = String::new();
    for c in plain.chars().take(200) {
        match c {
            ' '..='~' if !matches!(c, '\\' | '"') => out.push(c),
            _ => out.push('.'),
        }
    }
    out.replace("*/", "* /").replace("/*", "/ *").replace("??", "? ?")
}

/// Bytes as the inside of braces.
pub(super) fn bytes(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("0x{byte:02x}")).collect::<Vec<_>>().join(", ")
}

/// A number that C reads back to the bit.
pub(super) fn number(value: f64) -> String {
    let text = format!("{value:?}");
    if value < 0.0 { format!("({text})") } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn any_words_become_names() {
        let mut names = Names::default();
        for (words, name) in [
            ("flight: fast", "flight_fast"),
            ("Flight Fast", "flight_fast_2"),
            ("int", "x_int"),
            ("9 volts", "x_9_volts"),
            ("\u{e9}", "x"),
            ("  ", "x_2"),
        ] {
            assert_eq!(names.unique(words), name);
        }
    }
}
