//! A flat JSON object whose fields stand in the order in which they were put.

use std::borrow::Cow;

use loftwatch_flight::Quantiles;
use serde::ser::{Serialize, SerializeMap, Serializer};

use crate::output::Value;

/// One line. Serialises as a JSON object; a number that is not finite is left out.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    fields: Vec<(Cow<'static, str>, Datum)>,
}

#[derive(Clone, Debug, PartialEq)]
enum Datum {
    Number(f64),
    Count(u64),
    Flag(bool),
    Text(String),
    Values(Vec<(String, Value)>),
}

impl Line {
    pub(super) fn new(kind: &'static str) -> Self {
        Self { fields: vec![(Cow::Borrowed("kind"), Datum::Text(kind.into()))] }
    }
    /// The line's kind.
    pub fn kind(&self) -> &str {
        match self.fields.first() {
            Some((_, Datum::Text(kind))) => kind,
            _ => "",
        }
    }
    pub(super) fn number(&mut self, name: impl Into<Cow<'static, str>>, value: f64) {
        if value.is_finite() {
            self.fields.push((name.into(), Datum::Number(value)));
        }
    }
    pub(super) fn maybe(&mut self, name: &'static str, value: Option<f64>) {
        if let Some(value) = value {
            self.number(name, value);
        }
    }
    pub(super) fn count(&mut self, name: &'static str, value: u64) {
        self.fields.push((name.into(), Datum::Count(value)));
    }
    pub(super) fn flag(&mut self, name: &'static str, value: bool) {
        self.fields.push((name.into(), Datum::Flag(value)));
    }
    pub(super) fn text(&mut self, name: &'static str, value: &str) {
        self.fields.push((name.into(), Datum::Text(value.into())));
    }
    pub(super) fn maybe_text(&mut self, name: &'static str, value: Option<&str>) {
        if let Some(value) = value {
            self.text(name, value);
        }
    }
    pub(super) fn values(&mut self, name: &'static str, values: &[(String, String, Value)]) {
        let named = values.iter().map(|(field, _, value)| (field.clone(), value.clone())).collect();
        self.fields.push((name.into(), Datum::Values(named)));
    }
    /// A distribution: the median under the plain name, the other quantiles beside it.
    pub(super) fn spread(&mut self, name: &'static str, q: &Quantiles) {
        self.spread_of(name, q, &|v| v);
    }
    pub(super) fn maybe_spread(&mut self, name: &'static str, q: Option<&Quantiles>) {
        if let Some(q) = q {
            self.spread(name, q);
        }
    }
    /// The same of a rising function of it.
    pub(super) fn spread_of(&mut self, name: &'static str, q: &Quantiles, of: &impl Fn(f64) -> f64) {
        self.number(name, of(q.p50));
        for (rank, value) in [("p05", q.p05), ("p25", q.p25), ("p75", q.p75), ("p95", q.p95)] {
            self.number(format!("{name}_{rank}"), of(value));
        }
    }
}

impl Serialize for Line {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(Some(self.fields.len()))?;
        for (name, datum) in &self.fields {
            match datum {
                Datum::Number(v) => map.serialize_entry(name, v)?,
                Datum::Count(v) => map.serialize_entry(name, v)?,
                Datum::Flag(v) => map.serialize_entry(name, v)?,
                Datum::Text(v) => map.serialize_entry(name, v)?,
                Datum::Values(v) => map.serialize_entry(name, &Values(v))?,
            }
        }
        map.end()
    }
}

struct Values<'a>(&'a [(String, Value)]);

impl Serialize for Values<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_map(self.0.iter().map(|(name, value)| (name, value)))
    }
}
