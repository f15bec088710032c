//! Sentences of a GNSS receiver: NMEA 0183.
//!
//! An address of a talker (two letters, whichever constellation) and a sentence (three letters), then columns. Read are
//! GGA, GNS, GLL, RMC and VTG after the field lists of NMEA 0183 version 4; every other sentence is a good frame that
//! says nothing here. A receiver repeats position and velocity in several sentences of one epoch: to use each once, the
//! position is taken from one kind of sentence only, and so is the velocity.

use serde::{Deserialize, Serialize};

use super::decoded::{Complaint, Decoded, Value};
use super::{Field, Form, Stored, number};
use crate::meaning::Meaning;

const DEGREE: f64 = core::f64::consts::PI / 180.0;
/// One knot, m/s (a nautical mile of 1852 m an hour).
const KNOT: f64 = 1852.0 / 3600.0;

/// The sentence whose position is used.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PositionFrom {
    /// With height, satellites and dilution.
    Gga,
    /// The same of several constellations.
    Gns,
    /// Without a height.
    Rmc,
    /// Without a height.
    Gll,
}

/// The sentence whose velocity is used.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum VelocityFrom {
    /// Recommended minimum.
    Rmc,
    /// Track and ground speed.
    Vtg,
}

/// What the fields of [`Form::nmea`] are, by index.
mod at {
    pub(super) const SENTENCE: usize = 0;
    pub(super) const TIME: usize = 1;
    pub(super) const LATITUDE: usize = 2;
    pub(super) const LONGITUDE: usize = 3;
    pub(super) const HEIGHT: usize = 4;
    pub(super) const GEOID: usize = 5;
    pub(super) const FIX: usize = 6;
    pub(super) const SATELLITES: usize = 7;
    pub(super) const DILUTION: usize = 8;
    pub(super) const SPEED: usize = 9;
    pub(super) const COURSE: usize = 10;
}

impl Form {
    /// The form of a GNSS receiver's sentences: its fields are what is read from them.
    pub fn nmea(position_from: PositionFrom, velocity_from: VelocityFrom) -> Self {
        let field = Field::fixed;
        let fields = vec![
            field("sentence", Stored::Text, "", Meaning::Free),
            field("time of day", Stored::Number, "s", Meaning::Free),
            field("latitude", Stored::Number, "rad", Meaning::Latitude),
            field("longitude", Stored::Number, "rad", Meaning::Longitude),
            field("height", Stored::Number, "m", Meaning::HeightAmsl),
            field("geoid above ellipsoid", Stored::Number, "m", Meaning::Free),
            field("fix", Stored::Number, "", Meaning::FixValid),
            field("satellites", Stored::Number, "", Meaning::Satellites),
            field("dilution", Stored::Number, "", Meaning::HorizontalDilution),
            field("speed", Stored::Number, "m/s", Meaning::GroundSpeed),
            field("course", Stored::Number, "rad", Meaning::Course),
        ];
        Self::Nmea { position_from, velocity_from, fields }
    }
}

/// Talker and sentence, and the columns that follow.
fn split(payload: &[u8]) -> Option<(&str, std::str::Split<'_, char>)> {
    let line = std::str::from_utf8(payload).ok()?.strip_prefix('$')?;
    let mut columns = line.split(',');
    let address = columns.next()?;
    let good = (4..=10).contains(&address.len()) && address.bytes().all(|byte| byte.is_ascii_alphanumeric());
    good.then_some((address, columns))
}

/// Whether it is a sentence at all.
pub(super) fn matches(payload: &[u8]) -> bool {
    split(payload).is_some()
}

/// Reads a sentence. Values have the index of their field in [`Form::nmea`].
pub(super) fn decode(
    position_from: PositionFrom,
    velocity_from: VelocityFrom,
    fields: &[Field],
    payload: &[u8],
    decoded: &mut Decoded,
) {
    let Some((address, columns)) = split(payload) else { return };
    let columns: Vec<&str> = columns.take(20).map(str::trim_ascii).collect();
    let column = |at: usize| columns.get(at).copied().unwrap_or("");
    decoded.put(at::SENTENCE, None, 0, Value::Text(address.to_owned()));
    // Proprietary sentences have an address of their own making.
    let sentence = if address.starts_with('P') || address.len() != 5 { "" } else { &address[2..] };
    let mut read = Reader { fields, decoded };
    match sentence {
        "GGA" | "GNS" => {
            read.time(column(0));
            let from = if sentence == "GGA" { PositionFrom::Gga } else { PositionFrom::Gns };
            // A mode letter for each constellation: N is no fix.
            let fix = if sentence == "GGA" {
                read.whole(at::FIX, column(5))
            } else {
                read.flag(at::FIX, !column(5).is_empty() && column(5).bytes().any(|mode| mode != b'N'))
            };
            if position_from == from && fix {
                read.position([column(1), column(2), column(3), column(4)]);
                read.number(at::HEIGHT, column(8), 1.0);
            }
            read.number(at::SATELLITES, column(6), 1.0);
            read.number(at::DILUTION, column(7), 1.0);
            read.number(at::GEOID, column(if sentence == "GGA" { 10 } else { 9 }), 1.0);
        }
        "GLL" => {
            read.time(column(4));
            let fix = read.flag(at::FIX, column(5) == "A");
            if position_from == PositionFrom::Gll && fix {
                read.position([column(0), column(1), column(2), column(3)]);
            }
        }
        "RMC" => {
            read.time(column(0));
            let fix = read.flag(at::FIX, column(1) == "A");
            if position_from == PositionFrom::Rmc && fix {
                read.position([column(2), column(3), column(4), column(5)]);
            }
            if velocity_from == VelocityFrom::Rmc && fix {
                read.number(at::SPEED, column(6), KNOT);
                read.number(at::COURSE, column(7), DEGREE);
            }
        }
        "VTG" => {
            // Sentences before version 2.3 have no mode; without a fix they are empty.
            let fix = read.flag(at::FIX, !column(4).is_empty() && column(8) != "N");
            if velocity_from == VelocityFrom::Vtg && fix {
                read.number(at::SPEED, column(4), KNOT);
                read.number(at::COURSE, column(0), DEGREE);
            }
        }
        _ => {}
    }
}

/// Puts columns into values.
struct Reader<'a> {
    fields: &'a [Field],
    decoded: &'a mut Decoded,
}

impl Reader<'_> {
    fn put(&mut self, index: usize, value: f64) {
        if let Some(field) = self.fields.get(index) {
            self.decoded.put_number(index, 0, field, value);
        }
    }

    fn complain(&mut self, index: usize, text: &str) {
        let text = text.chars().take(40).collect();
        self.decoded.complaints.push(Complaint::NoNumber { field: index as u16, text });
    }

    /// An empty column is no value.
    fn number(&mut self, index: usize, text: &str, scale: f64) {
        if text.is_empty() {
            return;
        }
        match number::parse(text) {
            Some(value) => self.put(index, value * scale),
            None => self.complain(index, text),
        }
    }

    /// A number of which 0 is no. True if it is another.
    fn whole(&mut self, index: usize, text: &str) -> bool {
        self.number(index, text, 1.0);
        number::parse(text).is_some_and(|value| value >= 0.5)
    }

    fn flag(&mut self, index: usize, value: bool) -> bool {
        self.put(index, f64::from(u8::from(value)));
        value
    }

    /// `hhmmss.ss`, UTC.
    fn time(&mut self, text: &str) {
        if text.is_empty() {
            return;
        }
        let parts = (|| Some([text.get(..2)?, text.get(2..4)?, text.get(4..)?]))();
        match parts.map(|parts| parts.map(number::parse)) {
            Some([Some(h), Some(m), Some(s)]) if h < 24.0 && m < 60.0 && s < 61.0 => {
                self.put(at::TIME, h * 3600.0 + m * 60.0 + s);
            }
            _ => self.complain(at::TIME, text),
        }
    }

    /// Latitude, its side, longitude, its side: both or none.
    fn position(&mut self, [latitude, north, longitude, east]: [&str; 4]) {
        if latitude.is_empty() || longitude.is_empty() {
            return;
        }
        let found = (angle(latitude, north, ["N", "S"], 90.0), angle(longitude, east, ["E", "W"], 180.0));
        match found {
            (Some(latitude), Some(longitude)) => {
                self.put(at::LATITUDE, latitude * DEGREE);
                self.put(at::LONGITUDE, longitude * DEGREE);
            }
            (None, _) => self.complain(at::LATITUDE, latitude),
            (_, None) => self.complain(at::LONGITUDE, longitude),
        }
    }
}

/// `dddmm.mmmm` and the letter of the side, degrees.
fn angle(text: &str, side: &str, sides: [&str; 2], most: f64) -> Option<f64> {
    let point = text.find('.').unwrap_or(text.len());
    let (degrees, minutes) = text.split_at_checked(point.checked_sub(2)?)?;
    let degrees = if degrees.is_empty() { 0.0 } else { number::parse(degrees)? };
    let minutes = number::parse(minutes)?;
    let value = degrees + minutes / 60.0;
    let good = degrees >= 0.0 && (0.0..60.0).contains(&minutes) && value <= most;
    let sign = sides.iter().position(|known| *known == side)?;
    good.then_some(if sign == 0 { value } else { -value })
}

#[cfg(test)]
#[path = "nmea/tests.rs"]
mod tests;
