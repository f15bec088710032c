//! The crew's code: eight letters and digits that can be read across a table and typed with gloves.

use std::fmt;

use serde::{Deserialize, Serialize};

/// No two that look alike in any hand or font: no 0 O, 1 I L, 2 Z, 5 S, 6 G, 8 B, U V, and no Q.
const ALPHABET: &[u8; 21] = b"ACDEFHJKMNPRTUWXY3479";
/// 21^8 is 38 thousand million: with the limiter's one try in two seconds at most, a chance below 1 in 20,000 a month.
const LENGTH: usize = 8;

/// A code.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub(crate) struct Code(String);

impl Code {
    /// A code by chance; `None` where the system gives none.
    pub(crate) fn new() -> Option<Self> {
        let mut letters = String::with_capacity(LENGTH);
        let mut bytes = [0; 32];
        while letters.len() < LENGTH {
            getrandom::fill(&mut bytes).ok()?;
            // Of 256 values the last four would favour the first letters: they are not used.
            let usable =
                bytes.iter().filter(|byte| usize::from(**byte) < 256 / ALPHABET.len() * ALPHABET.len());
            letters.extend(
                usable
                    .take(LENGTH - letters.len())
                    .map(|byte| char::from(ALPHABET[usize::from(*byte) % ALPHABET.len()])),
            );
        }
        Some(Self(letters))
    }

    /// The letters alone, as they go into a link.
    pub(crate) fn letters(&self) -> &str {
        &self.0
    }

    /// What somebody typed, without what does not matter: case, spaces, dashes.
    pub(crate) fn typed(text: &str) -> String {
        let letters = text.chars().filter(|c| !c.is_whitespace() && *c != '-');
        letters.map(|c| c.to_ascii_uppercase()).take(LENGTH + 1).collect()
    }
}

/// In two groups, for eyes and voices.
impl fmt::Display for Code {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "{}-{}", &self.0[..LENGTH / 2], &self.0[LENGTH / 2..])
    }
}

impl TryFrom<String> for Code {
    type Error = &'static str;

    fn try_from(text: String) -> Result<Self, Self::Error> {
        let good = text.len() == LENGTH && text.bytes().all(|byte| ALPHABET.contains(&byte));
        if good { Ok(Self(text)) } else { Err("this is no crew's code") }
    }
}

impl From<Code> for String {
    fn from(code: Code) -> Self {
        code.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_differ_and_use_every_letter() {
        let codes: std::collections::BTreeSet<String> =
            (0..1000).map(|_| Code::new().unwrap().letters().to_owned()).collect();
        assert_eq!(codes.len(), 1000);
        let used: std::collections::BTreeSet<u8> = codes.iter().flat_map(|code| code.bytes()).collect();
        assert_eq!(used, ALPHABET.iter().copied().collect());
    }

    #[test]
    fn it_may_be_typed_as_it_is_shown_or_without_care() {
        let code = Code::try_from("K7MXA4PH".to_owned()).unwrap();
        assert_eq!(code.to_string(), "K7MX-A4PH");
        for typed in ["K7MX-A4PH", "k7mx a4ph", " k7mxa4ph\n"] {
            assert_eq!(Code::typed(typed), code.letters());
        }
        for other in ["K7MX-A4P", "K7MX-A4PHH", ""] {
            assert_ne!(Code::typed(other), code.letters());
        }
        assert!(Code::try_from("K7MXA4P0".to_owned()).is_err() && Code::try_from("ÄÄÄÄ".to_owned()).is_err());
    }
}
