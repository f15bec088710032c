//! Rows on their way out, by column: a block of a few thousand at a time, so that memory does not grow with a day.

use crate::units::{Unit, Units};

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A figure in a unit, with so many decimals where it is written as text.
    Real(Unit, usize),
    /// A figure with all its digits, in the unit that its name tells.
    Free,
    /// A whole number.
    Whole,
    /// An instant: UTC, ns since 1970.
    Utc,
    /// A duration or an instant of station time, ns; handed out in seconds.
    Ns,
    /// Text.
    Text,
}

/// Decimals of a figure that is written with all its digits.
pub const ALL_DIGITS: usize = 99;

/// A column.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Column {
    /// Name without its unit; what a person asks for.
    pub name: String,
    /// Comes between name and unit, such as `_p05`.
    pub part: &'static str,
    /// What it holds.
    pub kind: Kind,
    /// What it means, for a reader of the file's own description.
    pub about: &'static str,
}

impl Column {
    /// A column.
    pub fn new(name: impl Into<String>, kind: Kind, about: &'static str) -> Self {
        Self { name: name.into(), part: "", kind, about }
    }

    /// The name in the header row: with its unit.
    pub fn header(&self, units: Units) -> String {
        let unit = match self.kind {
            Kind::Real(unit, _) => unit.suffix(units),
            Kind::Ns => "s",
            _ => "",
        };
        match (unit, self.kind) {
            ("", _) => format!("{}{}", self.name, self.part),
            // Names of the setup's own fields hold spaces and brackets; the unit stands behind them as people write it.
            (_, Kind::Real(unit, ALL_DIGITS)) => format!("{} [{}]", self.name, unit.symbol(units)),
            _ => format!("{}_{unit}{}", self.name, self.part),
        }
    }
}

/// The values of one column.
#[derive(Clone, Debug)]
pub enum Values {
    /// NaN is none.
    Real(Vec<f64>),
    /// `i64::MIN` is none.
    Whole(Vec<i64>),
    /// Index into the words; `u32::MAX` is none.
    Text {
        /// Each word once, as far as that is cheap to tell.
        words: Vec<String>,
        /// One a row.
        index: Vec<u32>,
    },
}

/// No whole number.
pub const NO_WHOLE: i64 = i64::MIN;
/// No text.
pub const NO_TEXT: u32 = u32::MAX;
/// Words that are looked through for one that is there already.
const LOOKED_AT: usize = 24;

/// Some rows, by column.
#[derive(Clone, Debug)]
pub struct Block {
    /// One for each column.
    pub columns: Vec<Values>,
    rows: usize,
    at: usize,
}

impl Block {
    /// An empty one for those columns.
    pub fn new(columns: &[Column]) -> Self {
        let empty = |column: &Column| match column.kind {
            Kind::Real(..) | Kind::Free => Values::Real(Vec::new()),
            Kind::Whole | Kind::Utc | Kind::Ns => Values::Whole(Vec::new()),
            Kind::Text => Values::Text { words: Vec::new(), index: Vec::new() },
        };
        Self { columns: columns.iter().map(empty).collect(), rows: 0, at: 0 }
    }

    /// How many rows are whole.
    pub const fn rows(&self) -> usize {
        self.rows
    }

    /// Whether there is none.
    pub const fn is_empty(&self) -> bool {
        self.rows == 0
    }

    /// Forgets the rows and keeps the room.
    pub fn clear(&mut self) {
        for values in &mut self.columns {
            match values {
                Values::Real(of) => of.clear(),
                Values::Whole(of) => of.clear(),
                Values::Text { words, index } => {
                    words.clear();
                    index.clear();
                }
            }
        }
        (self.rows, self.at) = (0, 0);
    }

    /// The next value of the row: a figure.
    pub fn real(&mut self, value: f64) {
        if let Some(Values::Real(of)) = self.columns.get_mut(self.at) {
            of.push(value);
        }
        self.at += 1;
    }

    /// The next value of the row: a figure, if there is one.
    pub fn maybe(&mut self, value: Option<f64>) {
        self.real(value.unwrap_or(f64::NAN));
    }

    /// The next value of the row: a whole number.
    pub fn whole(&mut self, value: Option<i64>) {
        if let Some(Values::Whole(of)) = self.columns.get_mut(self.at) {
            of.push(value.unwrap_or(NO_WHOLE));
        }
        self.at += 1;
    }

    /// The next value of the row: text.
    pub fn text(&mut self, value: Option<&str>) {
        if let Some(Values::Text { words, index }) = self.columns.get_mut(self.at) {
            index.push(value.map_or(NO_TEXT, |value| {
                let known = words.iter().take(LOOKED_AT).position(|word| word == value);
                known.unwrap_or_else(|| {
                    words.push(value.to_owned());
                    words.len() - 1
                }) as u32
            }));
        }
        self.at += 1;
    }

    /// The row is whole. One that lacks values gets none for them, so that columns stay of one length.
    pub fn end_row(&mut self) {
        while self.at < self.columns.len() {
            match self.columns[self.at] {
                Values::Real(_) => self.real(f64::NAN),
                Values::Whole(_) => self.whole(None),
                Values::Text { .. } => self.text(None),
            }
        }
        self.rows += 1;
        self.at = 0;
    }
}
