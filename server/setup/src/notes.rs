//! What is noted on the way from told to meant: mistakes, and defaults that were taken.
//!
//! A number that is wrong goes on as NaN, so that sums made of it are silent (every comparison with it is
//! false) while everything else is still checked. A setup with a note of a mistake is never handed out.

use std::fmt::Display;
use std::ops::Range;

use toml::Spanned;
use toml::de::DeValue;

use crate::mistake::{Mistake, clean};
use crate::mixup;
use crate::nearest::{listed, nearest};
use crate::tree::{Field, Place, described};

/// The most mistakes that are kept.
const KEPT: usize = 1000;

/// The range a number may have.
#[derive(Clone, Copy)]
pub(crate) struct Want {
    pub(crate) low: f64,
    pub(crate) high: f64,
    /// Unit in words, for the sentence.
    pub(crate) unit: &'static str,
}

/// A range.
pub(crate) const fn want(low: f64, high: f64, unit: &'static str) -> Want {
    Want { low, high, unit }
}

impl Display for Want {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(out, "{} to {} {}", self.low, self.high, self.unit)
    }
}

/// Guesses at a number out of range.
pub(crate) type Guess = fn(f64) -> Option<String>;

/// No guess.
pub(crate) fn no_guess(_: f64) -> Option<String> {
    None
}

/// Mistakes and defaults.
pub(crate) struct Notes {
    pub(crate) mistakes: Vec<Mistake>,
    pub(crate) defaults: Vec<(String, String)>,
}

impl Notes {
    pub(crate) fn new() -> Self {
        Self { mistakes: Vec::new(), defaults: Vec::new() }
    }

    /// Notes a mistake.
    pub(crate) fn refuse(
        &mut self,
        place: &Place,
        expected: impl Into<String>,
        found: impl Into<String>,
        hint: Option<String>,
    ) {
        self.push(place.key.clone(), place.span.clone(), expected.into(), found.into(), hint, false);
    }

    /// Notes that something needed is not there.
    pub(crate) fn missing(&mut self, place: &Place, expected: impl Into<String>, hint: Option<String>) {
        self.push(place.key.clone(), place.span.clone(), expected.into(), "nothing".to_owned(), hint, true);
    }

    fn push(
        &mut self,
        key: String,
        span: Range<usize>,
        expected: String,
        found: String,
        hint: Option<String>,
        missing: bool,
    ) {
        if self.mistakes.len() < KEPT {
            self.mistakes.push(Mistake { line: 1, column: 1, key, expected, found, hint, span, missing });
        }
    }

    /// Notes that a default is taken, with the value in words, and hands it on.
    pub(crate) fn default<T>(&mut self, place: &Place, words: impl Display, value: T) -> T {
        self.defaults.push((place.key.clone(), words.to_string()));
        value
    }

    /// Notes keys that a table may not hold; `None` if it is no table at all.
    pub(crate) fn keys(
        &mut self,
        value: &Spanned<DeValue<'_>>,
        place: &Place,
        allowed: &[&str],
    ) -> Option<()> {
        let Some(table) = value.get_ref().as_table() else {
            let hint =
                value.get_ref().is_array().then(|| format!("write it with one bracket: [{}]", place.key));
            self.refuse(place, "a table", described(value.get_ref()), hint);
            return None;
        };
        for (key, _) in table.iter().filter(|(key, _)| !allowed.contains(&key.get_ref().as_ref())) {
            let word = key.get_ref();
            let hint = mixup::key(word, allowed).map(ToOwned::to_owned).or_else(|| {
                nearest(word, allowed.iter().copied()).map(|near| format!("did you mean `{near}`?"))
            });
            let at = place.below(word, key.span());
            self.refuse(
                &at,
                format!("one of {}", listed(allowed.iter().copied())),
                format!("the unknown key `{}`", clean(word, 60)),
                hint,
            );
        }
        Some(())
    }

    /// A number within its range: `None` if absent, NaN if refused.
    pub(crate) fn number(&mut self, field: &Field<f64>, want: Want, guess: Guess) -> Option<f64> {
        match field {
            Field::Absent(_) => None,
            Field::Wrong(_) => Some(f64::NAN),
            Field::Is(at) if at.value >= want.low && at.value <= want.high => Some(at.value),
            Field::Is(at) => {
                self.refuse(&at.at, want.to_string(), format!("{}", at.value), guess(at.value));
                Some(f64::NAN)
            }
        }
    }

    /// A number, or its default.
    pub(crate) fn number_or(&mut self, field: &Field<f64>, want: Want, guess: Guess, default: f64) -> f64 {
        self.number(field, want, guess).unwrap_or_else(|| {
            self.default(field.place(), format!("{default} {}", want.unit).trim_end(), default)
        })
    }

    /// A number that must be told.
    pub(crate) fn number_required(
        &mut self,
        field: &Field<f64>,
        want: Want,
        guess: Guess,
        hint: &str,
    ) -> f64 {
        self.number(field, want, guess).unwrap_or_else(|| {
            self.missing(field.place(), want.to_string(), Some(hint.to_owned()));
            f64::NAN
        })
    }

    /// A whole number within its range: `None` if absent or refused.
    pub(crate) fn whole(&mut self, field: &Field<i64>, low: i64, high: i64, unit: &str) -> Option<i64> {
        let at = field.get()?;
        if (low..=high).contains(&at.value) {
            return Some(at.value);
        }
        self.refuse(
            &at.at,
            format!("a whole number, {low} to {high} {unit}").trim_end(),
            at.value.to_string(),
            None,
        );
        None
    }

    /// Text fit for a name: `None` if absent or refused.
    pub(crate) fn name(&mut self, field: &Field<String>) -> Option<String> {
        let at = field.get()?;
        let text = at.value.trim();
        if text.is_empty() || text.chars().count() > 100 || text.chars().any(char::is_control) {
            let found =
                if text.is_empty() { "an empty text".to_owned() } else { format!("\"{}\"", clean(text, 40)) };
            self.refuse(&at.at, "a text of 1 to 100 characters on one line", found, None);
            return None;
        }
        Some(text.to_owned())
    }

    /// One word of a list: `None` if absent or refused.
    pub(crate) fn choice<T: Copy>(&mut self, field: &Field<String>, allowed: &[(&str, T)]) -> Option<T> {
        let at = field.get()?;
        let found = allowed.iter().find(|(word, _)| *word == at.value);
        if found.is_none() {
            let words: Vec<&str> = allowed.iter().map(|a| a.0).collect();
            let near =
                || nearest(&at.value, words.iter().copied()).map(|near| format!("did you mean \"{near}\"?"));
            let hint = mixup::word(&at.value, &words).map(ToOwned::to_owned).or_else(near);
            let found = format!("\"{}\"", clean(&at.value, 60));
            self.refuse(&at.at, listed(words), found, hint);
        }
        found.map(|(_, value)| *value)
    }

    /// One word of a list that must be told.
    pub(crate) fn choice_required<T: Copy>(
        &mut self,
        field: &Field<String>,
        allowed: &[(&str, T)],
    ) -> Option<T> {
        if field.absent() {
            self.missing(field.place(), listed(allowed.iter().map(|a| a.0)), None);
        }
        self.choice(field, allowed)
    }

    /// One word of a list, or the default.
    pub(crate) fn choice_or<T: Copy>(
        &mut self,
        field: &Field<String>,
        allowed: &[(&str, T)],
        default: (&str, T),
    ) -> T {
        if field.absent() {
            return self.default(field.place(), default.0, default.1);
        }
        self.choice(field, allowed).unwrap_or(default.1)
    }

    /// The number of a named thing: `None` if absent or unknown.
    pub(crate) fn reference(&mut self, field: &Field<String>, names: &[String], what: &str) -> Option<usize> {
        let at = field.get()?;
        self.named(&at.value, &at.at, names, what)
    }

    /// The number of the thing that is called `word`.
    pub(crate) fn named(&mut self, word: &str, place: &Place, names: &[String], what: &str) -> Option<usize> {
        let found = names.iter().position(|name| name == word.trim());
        if found.is_none() {
            let known = names.iter().filter(|n| !n.is_empty()).map(String::as_str);
            let expected = match known.clone().next() {
                None => format!("the name of a {what} (there is none in this file)"),
                Some(_) => format!("the name of a {what}: {}", listed(known.clone())),
            };
            let hint = nearest(word, known).map(|near| format!("did you mean \"{near}\"?"));
            self.refuse(place, expected, format!("\"{}\"", clean(word, 60)), hint);
        }
        found
    }

    /// Names of a list of things: each must have one, no two the same. An unusable name is empty.
    pub(crate) fn names<'a>(
        &mut self,
        fields: impl Iterator<Item = &'a Field<String>>,
        what: &str,
    ) -> Vec<String> {
        let mut names: Vec<String> = Vec::new();
        for field in fields {
            if field.absent() {
                self.missing(field.place(), format!("a name for this {what}"), None);
            }
            let name = self.name(field).unwrap_or_default();
            if !name.is_empty() && names.contains(&name) {
                let found = format!("a second {what} called \"{name}\"");
                self.refuse(field.place(), format!("a name that no other {what} has"), found, None);
            }
            names.push(name);
        }
        names
    }
}
