//! What the crew wrote about a flight: its name, notes, marks, and why something beyond its limit was accepted.

use serde::{Deserialize, Serialize};

/// What kind of remark.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// What the flight is called.
    Name,
    /// Notes.
    Notes,
    /// A mark: something that somebody saw.
    Mark,
    /// That something beyond its limit was accepted before the flight.
    Acceptance,
}

/// One remark that holds; what was overwritten or taken back is in the record of inputs only.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Written {
    /// The instant that a mark is about, else when it was written; station time, ns.
    pub t_ns: i64,
    /// What kind.
    pub kind: Kind,
    /// Name of the body that it is about, empty if none.
    pub body: String,
    /// Who wrote it, empty if that is not known.
    pub who: String,
    /// Their words.
    pub words: String,
    /// Of an acceptance: what was accepted, and its figure and limit as they stood then.
    pub accepted: Option<[String; 3]>,
}

impl Written {
    /// The notes, if this is them.
    pub fn notes(&self) -> Option<&str> {
        (self.kind == Kind::Notes && !self.words.trim().is_empty()).then_some(self.words.as_str())
    }

    /// ` by NAME`, as it stands behind what was done; empty where nobody is known.
    pub fn by(&self) -> String {
        told(&self.who, " by ")
    }

    /// An acceptance as a sentence, if this is one.
    pub fn acceptance(&self) -> Option<String> {
        let [what, figure, limit] = self.accepted.as_ref()?;
        Some(format!(
            "{what}{}{}: accepted{}{}.",
            told(figure, ", "),
            told(limit, ", limit "),
            self.by(),
            told(&self.words, ", because "),
        ))
    }
}

/// Words with what leads to them, if there are any.
fn told(words: &str, before: &str) -> String {
    if words.is_empty() { String::new() } else { format!("{before}{words}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_acceptance_is_said_as_far_as_it_was_told() {
        let mut one = Written {
            t_ns: 0,
            kind: Kind::Acceptance,
            body: String::new(),
            who: "Mo".into(),
            words: "the pad is dry".into(),
            accepted: Some(["Wind".into(), "9 m/s".into(), "8 m/s".into()]),
        };
        let said = "Wind, 9 m/s, limit 8 m/s: accepted by Mo, because the pad is dry.";
        assert_eq!(one.acceptance().as_deref(), Some(said));
        one.accepted = Some(["Wind".into(), String::new(), String::new()]);
        (one.who, one.words) = (String::new(), String::new());
        assert_eq!(one.acceptance().as_deref(), Some("Wind: accepted."));
        assert_eq!(one.notes(), None);
    }
}
