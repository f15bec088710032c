//! The tables: which there are, their columns, and how a stored output becomes a row.

use std::collections::BTreeMap;

use loftwatch_engine::Said;
use loftwatch_engine::output::Value;
use loftwatch_flight::geodesy::Frame as Local;
use loftwatch_flight::{Area, LimitOf, Quantiles};
use loftwatch_radio::{Field, Meaning, Quantity};

use crate::ExportError;
use crate::block::{ALL_DIGITS, Block, Column, Kind};
use crate::estimate;
use crate::flight::{Flight, word};
use crate::units::Unit;

/// A table.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Table {
    /// The state of each body as it was shown live.
    Estimates,
    /// The state of each body with hindsight.
    Smoothed,
    /// Predictions of apogee.
    Predictions,
    /// Predictions of cues.
    Cues,
    /// Predicted landing areas.
    Landings,
    /// What happened.
    Events,
    /// What was said for eyes and voices.
    Headsups,
    /// Decoded frames.
    Readings,
    /// Frames with their verdict and their bytes.
    Frames,
    /// What the crew wrote.
    Remarks,
}

/// All of them.
pub const TABLES: [Table; 10] = [
    Table::Estimates,
    Table::Smoothed,
    Table::Predictions,
    Table::Cues,
    Table::Landings,
    Table::Events,
    Table::Headsups,
    Table::Readings,
    Table::Frames,
    Table::Remarks,
];

impl Table {
    /// Its name, in addresses and files.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Estimates => "estimates",
            Self::Smoothed => "smoothed",
            Self::Predictions => "predictions",
            Self::Cues => "cues",
            Self::Landings => "landings",
            Self::Events => "events",
            Self::Headsups => "headsups",
            Self::Readings => "readings",
            Self::Frames => "frames",
            Self::Remarks => "remarks",
        }
    }

    /// The kind of output that it is made of; remarks are made of inputs, too, so the caller gathers them with the flight.
    pub const fn kind(self) -> &'static str {
        match self {
            Self::Estimates => "estimate",
            Self::Smoothed => "smoothed",
            Self::Predictions => "prediction",
            Self::Cues => "cue",
            Self::Landings => "landing",
            Self::Events => "event",
            Self::Headsups => "heads_up",
            Self::Readings => "reading",
            Self::Frames => "frame",
            Self::Remarks => "remark",
        }
    }

    /// What it holds, in words.
    pub const fn about(self) -> &'static str {
        match self {
            Self::Estimates => "state of each body as it was shown live, with intervals",
            Self::Smoothed => {
                "state of each body with hindsight: every measurement of the flight was used for every row"
            }
            Self::Predictions => "what was predicted of apogee, and when",
            Self::Cues => "what was predicted of each cue, and when",
            Self::Landings => "where and when each body was predicted to land, and when that was predicted",
            Self::Events => "what happened, with every correction",
            Self::Headsups => "what was said for eyes and voices",
            Self::Readings => "every decoded frame, a row each",
            Self::Frames => "every frame as it came, with its verdict and its bytes",
            Self::Remarks => {
                "what the crew wrote: the flight's name, notes, marks, and what was accepted beyond its limit; what holds, not what was overwritten"
            }
        }
    }

    /// By its name.
    pub fn named(name: &str) -> Option<Self> {
        TABLES.into_iter().find(|table| table.name() == name)
    }
}

/// A stored output as a row of the store has it.
#[derive(Clone, Copy, Debug)]
pub struct Stored<'a> {
    /// Flight number.
    pub flight: u32,
    /// Station time, ns.
    pub t_ns: i64,
    /// Receive time of the newest packet used, station time, ns.
    pub t_receive_ns: i64,
    /// UTC minus station time, ns.
    pub utc_offset_ns: i64,
    /// JSON.
    pub data: &'a str,
    /// Of a frame: its bytes, where they are stored.
    pub bytes: Option<&'a [u8]>,
}

/// Fields of readings by name and meaning, each with its column.
type Fields = BTreeMap<(String, String), usize>;

/// Turns stored outputs of one or several flights into rows.
#[derive(Debug)]
pub struct Filler {
    table: Table,
    flights: Vec<Flight>,
    columns: Vec<Column>,
    fields: Fields,
    /// Where the pad of each flight is.
    pads: Vec<Option<Local>>,
}

/// Columns of a quantity with its interval.
fn interval(columns: &mut Vec<Column>, name: &str, unit: Unit, decimals: usize, about: &'static str) {
    for part in ["", "_p05", "_p25", "_p75", "_p95"] {
        columns.push(Column { name: name.to_owned(), part, kind: Kind::Real(unit, decimals), about });
    }
}

impl Filler {
    /// For a table of those flights.
    pub fn new(table: Table, flights: Vec<Flight>) -> Self {
        let mut fields = Fields::new();
        let columns = columns(table, &flights, &mut fields);
        let pads = flights
            .iter()
            .map(|flight| {
                let site = &flight.setup.plan.site;
                flight.has_place().then(|| {
                    Local::at(site.latitude_rad, site.longitude_rad, site.elevation_m + site.geoid_m)
                })
            })
            .collect();
        Self { table, flights, columns, fields, pads }
    }

    /// The columns, in order.
    pub fn columns(&self) -> &[Column] {
        &self.columns
    }

    /// The flights.
    pub fn flights(&self) -> &[Flight] {
        &self.flights
    }

    fn flight(&self, number: u32) -> Option<usize> {
        self.flights.iter().position(|flight| flight.number == number)
    }

    /// An estimate as a row.
    pub fn estimate(&self, flight: u32, utc_offset_ns: i64, row: &estimate::Row, block: &mut Block) {
        let Some(index) = self.flight(flight) else { return };
        let flight = &self.flights[index];
        let t_ns = flight.station_ns(row.t_s);
        front(block, flight, t_ns, utc_offset_ns, flight.body(row.body));
        block.text(Some(row.phase));
        block.text(row.descent);
        for figure in &row.figures[..estimate::FIGURES - 1] {
            block.real(*figure);
        }
        block.real(row.figures[1] + flight.setup.plan.site.elevation_m);
        block.end_row();
    }

    /// The remarks of a flight as rows.
    pub fn remarks(flight: &Flight, block: &mut Block) {
        for one in &flight.written {
            front(block, flight, one.t_ns, flight.utc_offset_ns, &one.body);
            block.text(Some(&word(&one.kind)));
            block.text((!one.who.is_empty()).then_some(&one.who));
            block.text(Some(&one.words));
            for part in 0..3 {
                block.text(
                    one.accepted
                        .as_ref()
                        .map(|accepted| accepted[part].as_str())
                        .filter(|told| !told.is_empty()),
                );
            }
            block.end_row();
        }
    }

    /// Adds the row of a stored output. What is of another table or flight is passed over.
    pub fn push(&self, stored: &Stored<'_>, block: &mut Block) -> Result<(), ExportError> {
        if matches!(self.table, Table::Estimates | Table::Smoothed) {
            if let Some(row) = estimate::read(stored.data)? {
                self.estimate(stored.flight, stored.utc_offset_ns, &row, block);
            }
            return Ok(());
        }
        let Some(index) = self.flight(stored.flight) else { return Ok(()) };
        let flight = &self.flights[index];
        let offset_ns = stored.utc_offset_ns;
        let since = |t_s: f64| flight.liftoff_s().map(|liftoff_s| t_s - liftoff_s);
        match (self.table, serde_json::from_str::<Said>(stored.data)?) {
            (Table::Predictions, Said::Prediction { body, prediction: p }) => {
                front(block, flight, flight.station_ns(p.t_s), offset_ns, flight.body(body));
                spread(block, Some(&p.apogee_height_m));
                spread(block, shifted(&p.apogee_t_s, flight.liftoff_s()).as_ref());
                spread(block, Some(&p.airspeed_at_apogee_mps));
                spread(block, Some(&p.ground_speed_at_apogee_mps));
                block.real(p.hand_height_m);
                block.maybe(since(p.hand_t_s));
                block.end_row();
            }
            (Table::Cues, Said::Cue(p)) => {
                let Some(told) = flight.setup.plan.cues.get(p.cue) else { return Ok(()) };
                front(block, flight, flight.station_ns(p.t_s), offset_ns, flight.body(told.body));
                block.text(Some(&told.name));
                block.text(Some(&word(&told.kind)));
                spread(block, shifted(&p.cue_t_s, flight.liftoff_s()).as_ref());
                spread(block, Some(&p.height_m));
                spread(block, Some(&p.climb_mps));
                spread(block, Some(&p.airspeed_mps));
                spread(block, Some(&p.dynamic_pressure_pa));
                spread(block, p.opening_load_n.as_ref());
                block.maybe(p.over_limit);
                for of in [LimitOf::Airspeed, LimitOf::DynamicPressure, LimitOf::OpeningLoad] {
                    block.maybe(told.limit.as_ref().filter(|limit| limit.of == of).map(|limit| limit.value));
                }
                block.text(told.limit.as_ref().map(|limit| limit.from.as_str()));
                block.whole(Some(i64::from(p.passed)));
                block.end_row();
            }
            (Table::Landings, Said::Landing(l)) => {
                front(block, flight, flight.station_ns(l.t_s), offset_ns, flight.body(l.body));
                block.text(Some(&word(&l.case)));
                spread(block, shifted(&l.landing_t_s, flight.liftoff_s()).as_ref());
                spread(block, Some(&l.descent_mps));
                let (area, centre, ellipse, ring) = match l.area {
                    Area::Ellipse { centre_m, covariance_m2 } => {
                        ("ellipse", centre_m, Some(axes(covariance_m2)), None)
                    }
                    Area::Ring { centre_m, radius_m } => ("ring", centre_m, None, Some(radius_m)),
                };
                block.text(Some(area));
                block.real(centre[0]);
                block.real(centre[1]);
                let place = self.pads[index].map(|pad| pad.geodetic([centre[0], centre[1], 0.0]));
                block.maybe(place.map(|place| place.0.to_degrees()));
                block.maybe(place.map(|place| place.1.to_degrees()));
                for axis in 0..3 {
                    block.maybe(ellipse.map(|axes| axes[axis]));
                }
                spread(block, ring.as_ref());
                block.end_row();
            }
            (Table::Events, Said::Event { event: e, label, who }) => {
                front(block, flight, flight.station_ns(e.t_s), offset_ns, flight.body(e.body));
                block.whole(Some(i64::from(e.id)));
                block.whole(Some(i64::from(e.revision)));
                block.whole(Some(i64::from(e.withdrawn)));
                block.text(Some(&word(&e.kind)));
                block.text(Some(&label));
                block.text(Some(&word(&e.origin)));
                block.text(who.as_deref());
                block.real(e.sd_s);
                block.end_row();
            }
            (Table::Headsups, Said::HeadsUp(h)) => {
                front(block, flight, stored.t_ns, offset_ns, flight.body(h.body));
                block.text(Some(&h.key));
                block.text(Some(&word(&h.level)));
                block.whole(Some(i64::from(h.on)));
                block.text(h.cue.map(|cue| flight.cue(cue)));
                block.real(h.mass_kg);
                block.real(h.figure);
                block.maybe(h.limit);
                block.text(Some(&h.unit));
                block.text(Some(&h.limit_from));
                block.text(Some(&h.words));
                block.end_row();
            }
            (Table::Readings, Said::Reading(r)) => {
                front(block, flight, stored.t_receive_ns, offset_ns, flight.body(r.body));
                block.whole(Some(r.t_measured_ns));
                block.text(Some(&r.link));
                block.text(Some(&r.receiver));
                block.text(Some(&r.layout));
                block.whole(Some(i64::from(r.again)));
                block.whole(r.sequence.map(|sequence| sequence as i64));
                block.whole(Some(i64::from(r.instant)));
                let mut row: Vec<Option<&Value>> = vec![None; self.fields.len()];
                let mut other = Vec::new();
                for (field, meaning, value) in &r.values {
                    match self.fields.get(&(field.clone(), meaning.clone())) {
                        Some(place) => row[*place] = Some(value),
                        // Of a layout that came with a later setup, or was changed since.
                        None => other.push(format!("{field} ({meaning}) = {}", in_words(value))),
                    }
                }
                let first = self.columns.len() - 2 - row.len();
                for (value, column) in row.iter().zip(&self.columns[first..]) {
                    match (column.kind, value) {
                        (Kind::Text, value) => block.text(value.map(in_words).as_deref()),
                        (_, Some(Value::Number(value))) => block.real(*value),
                        (_, Some(Value::Flag(flag))) => block.real(f64::from(u8::from(*flag))),
                        (_, Some(Value::Text(text))) => {
                            other.push(format!("{} = {text}", column.name));
                            block.real(f64::NAN);
                        }
                        (_, None) => block.real(f64::NAN),
                    }
                }
                block.text((!other.is_empty()).then(|| other.join("; ")).as_deref());
                block.text((!r.complaints.is_empty()).then(|| r.complaints.join("; ")).as_deref());
                block.end_row();
            }
            (Table::Frames, Said::Frame(f)) => {
                front(block, flight, stored.t_receive_ns, offset_ns, "");
                block.text(Some(&f.link));
                block.whole(Some(f.offset as i64));
                block.whole(Some(i64::from(f.length)));
                block.text(f.layout.as_deref());
                block.text(f.wrong_kind.as_deref());
                block.text(f.wrong.as_deref());
                block.text(stored.bytes.map(hex).as_deref());
                block.end_row();
            }
            _ => {}
        }
        Ok(())
    }
}

fn front(block: &mut Block, flight: &Flight, t_ns: i64, utc_offset_ns: i64, body: &str) {
    block.whole(Some(i64::from(flight.number)));
    block.whole(Some(t_ns + utc_offset_ns));
    block.whole(flight.liftoff_ns.map(|liftoff_ns| t_ns - liftoff_ns));
    block.whole(Some(t_ns));
    block.text((!body.is_empty()).then_some(body));
}

fn spread(block: &mut Block, q: Option<&Quantiles>) {
    match q {
        Some(q) => [q.p50, q.p05, q.p25, q.p75, q.p95].into_iter().for_each(|value| block.real(value)),
        None => (0..5).for_each(|_| block.real(f64::NAN)),
    }
}

fn shifted(q: &Quantiles, liftoff_s: Option<f64>) -> Option<Quantiles> {
    let by = liftoff_s?;
    Some(Quantiles { p05: q.p05 - by, p25: q.p25 - by, p50: q.p50 - by, p75: q.p75 - by, p95: q.p95 - by })
}

fn in_words(value: &Value) -> String {
    match value {
        Value::Flag(flag) => u8::from(*flag).to_string(),
        Value::Number(value) => value.to_string(),
        Value::Text(text) => text.clone(),
    }
}

fn hex(bytes: &[u8]) -> String {
    const DIGITS: [char; 16] =
        ['0', '1', '2', '3', '4', '5', '6', '7', '8', '9', 'a', 'b', 'c', 'd', 'e', 'f'];
    bytes.iter().flat_map(|byte| [DIGITS[usize::from(byte >> 4)], DIGITS[usize::from(byte & 15)]]).collect()
}

/// Semi-axes of the 90 % ellipse, m, and the azimuth of the longer one, rad clockwise from north. The radius that holds
/// 90 % of a Gaussian in the plane is 2.146 standard deviations.
pub fn axes([xx, xy, yy]: [f64; 3]) -> [f64; 3] {
    let (mean, half) = (f64::midpoint(xx, yy), (xx - yy) / 2.0);
    let root = libm::hypot(half, xy);
    let radius = |variance: f64| 2.146 * libm::sqrt(variance.max(0.0));
    let azimuth = libm::atan2(2.0 * xy, yy - xx) / 2.0;
    [radius(mean + root), radius(mean - root), azimuth.rem_euclid(std::f64::consts::PI)]
}

fn columns(table: Table, flights: &[Flight], fields: &mut Fields) -> Vec<Column> {
    let text = |name: &str, about| Column::new(name, Kind::Text, about);
    let whole = |name: &str, about| Column::new(name, Kind::Whole, about);
    let real = |name: &str, unit, decimals, about| Column::new(name, Kind::Real(unit, decimals), about);
    let received = matches!(table, Table::Readings | Table::Frames);
    let mut all = vec![
        whole("flight", "number of the flight"),
        Column::new(
            if received { "utc_received" } else { "utc" },
            Kind::Utc,
            if received { "receive time, UTC" } else { "instant that the row is about, UTC" },
        ),
        Column::new(
            if received { "received_since_liftoff" } else { "since_liftoff" },
            Kind::Ns,
            "the same since liftoff; negative before",
        ),
        Column::new(
            if received { "station_time_received" } else { "station_time" },
            Kind::Ns,
            "the same on the station's own clock, which never steps",
        ),
        text("body", "name of the body"),
    ];
    let c = &mut all;
    match table {
        Table::Estimates | Table::Smoothed => {
            c.push(text("phase", "waiting, joined, powered, coasting, descending, down"));
            c.push(text("descent", "planned descent state that the fall fits best"));
            estimate::columns(c);
        }
        Table::Predictions => {
            interval(c, "apogee_height_above_pad", Unit::Metre, 2, "predicted apogee, height above the pad");
            interval(c, "apogee_since_liftoff", Unit::Second, 3, "predicted time of apogee");
            interval(
                c,
                "airspeed_through_air_at_apogee",
                Unit::MetrePerSecond,
                3,
                "speed through the air there",
            );
            interval(
                c,
                "ground_speed_over_ground_at_apogee",
                Unit::MetrePerSecond,
                3,
                "speed over the ground there",
            );
            c.push(real("hand_apogee_height_above_pad", Unit::Metre, 2, "the drag-free sum"));
            c.push(real("hand_apogee_since_liftoff", Unit::Second, 3, "the drag-free sum"));
        }
        Table::Cues => {
            c.push(text("cue", "name of the cue"));
            c.push(text("cue_kind", "release, separation, chute, staging"));
            interval(c, "cue_since_liftoff", Unit::Second, 3, "predicted moment of the cue");
            interval(c, "height_above_pad", Unit::Metre, 2, "height above the pad then");
            interval(c, "climb", Unit::MetrePerSecond, 3, "vertical speed then, up positive");
            interval(c, "airspeed_through_air", Unit::MetrePerSecond, 3, "speed through the air then");
            interval(c, "dynamic_pressure", Unit::Pascal, 2, "dynamic pressure then");
            interval(c, "opening_load", Unit::Newton, 1, "of a parachute");
            c.push(real("over_limit", Unit::One, 4, "probability of exceeding the limit"));
            c.push(real(
                "limit_airspeed_through_air",
                Unit::MetrePerSecond,
                2,
                "the limit, if it is one of airspeed",
            ));
            c.push(real(
                "limit_dynamic_pressure",
                Unit::Pascal,
                1,
                "the limit, if it is one of dynamic pressure",
            ));
            c.push(real("limit_opening_load", Unit::Newton, 1, "the limit, if it is one of opening load"));
            c.push(text("limit_from", "where the limit comes from"));
            c.push(whole("passed", "1: its moment has passed, as far as is known"));
        }
        Table::Landings => {
            c.push(text("case", "what is assumed to come out"));
            interval(c, "landing_since_liftoff", Unit::Second, 2, "predicted time of landing");
            interval(c, "descent_over_ground", Unit::MetrePerSecond, 2, "downward speed at the ground");
            c.push(text("area", "ellipse, or ring where the heading is not known"));
            c.push(real("east_of_pad", Unit::Metre, 1, "middle of the area"));
            c.push(real("north_of_pad", Unit::Metre, 1, "middle of the area"));
            c.push(real("latitude", Unit::Degree, 7, "middle of the area, WGS84"));
            c.push(real("longitude", Unit::Degree, 7, "middle of the area, WGS84"));
            c.push(real("ellipse_major_p90", Unit::Metre, 1, "longer semi-axis of the 90 % ellipse"));
            c.push(real("ellipse_minor_p90", Unit::Metre, 1, "shorter semi-axis"));
            c.push(real("ellipse_azimuth", Unit::Radian, 4, "of the longer one, clockwise from true north"));
            interval(
                c,
                "ring_radius",
                Unit::Metre,
                1,
                "distance from the middle; bounds of the rings of least area",
            );
        }
        Table::Events => {
            c.push(whole("id", "number within the flight; a correction has the same"));
            c.push(whole("revision", "counts corrections"));
            c.push(whole("withdrawn", "1: taken back"));
            c.push(text("event", "what happened"));
            c.push(text("label", "in words"));
            c.push(text("origin", "reported by the vehicle, detected on the ground, marked by the crew"));
            c.push(text("who", "who marked it"));
            c.push(real("time_sd", Unit::Second, 3, "one standard deviation of its time"));
        }
        Table::Headsups => {
            c.push(text("key", "the same as long as it lasts"));
            c.push(text("level", "look or act"));
            c.push(whole("on", "0: it ends"));
            c.push(text("cue", "the cue it is about"));
            c.push(real("mass", Unit::Kilogram, 3, "mass that depends on it"));
            c.push(Column::new("figure", Kind::Free, "what was found, in the unit beside, SI"));
            c.push(Column::new("limit", Kind::Free, "what it is held against, in the unit beside, SI"));
            c.push(text("unit", "unit of both"));
            c.push(text("limit_from", "where the limit comes from"));
            c.push(text("words", "what was said"));
        }
        Table::Readings => {
            c.push(Column::new("station_time_measured", Kind::Ns, "of the measurement, by the clock aboard"));
            c.push(text("link", "name of the link"));
            c.push(text("receiver", "name of the receiver"));
            c.push(text("layout", "name of the layout"));
            c.push(whole("heard_again", "1: another receiver had it first"));
            c.push(whole("sequence", "number of the packet"));
            c.push(whole("instant", "which of the instants in its packet, from 0"));
            reading_columns(flights, c, fields);
            c.push(text("other_values", "of a layout that was changed since"));
            c.push(text("complaints", "about single values"));
        }
        Table::Frames => {
            c.push(text("link", "name of the link"));
            c.push(whole("offset", "of its first byte among all bytes of the link"));
            c.push(whole("length", "bytes"));
            c.push(text("layout", "that fits"));
            c.push(text("wrong_kind", "why it is wrong, one word"));
            c.push(text("wrong", "why it is wrong"));
            c.push(text("bytes_hex", "as received"));
        }
        Table::Remarks => {
            c.push(text("remark", "name, notes, mark, acceptance"));
            c.push(text("who", "who wrote it"));
            c.push(text("words", "as written; of an acceptance the reason"));
            c.push(text("accepted", "what was accepted beyond its limit"));
            c.push(text("accepted_figure", "its figure then"));
            c.push(text("accepted_limit", "its limit then"));
        }
    }
    all
}

/// One column for each field that a layout of the flights declares; the same field of two layouts shares one.
fn reading_columns(flights: &[Flight], columns: &mut Vec<Column>, fields: &mut Fields) {
    let mut add = |name: &str, meaning: Meaning, declared: &str, is_text: bool, columns: &mut Vec<Column>| {
        let next = fields.len();
        fields.entry((name.to_owned(), meaning.name().to_owned())).or_insert_with(|| {
            columns.push(reading_column(name, meaning, declared, is_text));
            next
        });
    };
    for layout in flights.iter().flat_map(|flight| &flight.setup.layouts) {
        for field in layout.fields() {
            let Field { name, meaning, unit, bits, repeat, .. } = field;
            // An array has a column for each of its values; samples of several instants have a row for each.
            let items = match repeat {
                Some(repeat) if repeat.every_s.is_none() => (0..repeat.count).map(Some).collect(),
                _ => vec![None],
            };
            let is_text = is_text(field);
            for item in items {
                let named =
                    |name: &str| item.map_or_else(|| name.to_owned(), |item| format!("{name}[{item}]"));
                add(&named(name), *meaning, unit, is_text, columns);
                for bits in bits {
                    add(&named(&bits.name), bits.meaning, &bits.unit, !bits.values.is_empty(), columns);
                }
            }
        }
    }
}

/// Whether a field's values are words: text as such, and numbers that have names.
fn is_text(field: &Field) -> bool {
    matches!(field.stored, loftwatch_radio::Stored::Text | loftwatch_radio::Stored::Chars(_))
        || !field.values.is_empty()
}

/// The unit in which values of a meaning are kept; of free ones none.
pub fn unit_of(meaning: Meaning) -> Unit {
    match (meaning, meaning.quantity()) {
        (Meaning::Rssi, _) => Unit::Dbm,
        (_, Quantity::Plain) => Unit::One,
        (_, Quantity::Time) => Unit::Second,
        (_, Quantity::Pressure) => Unit::Pascal,
        (_, Quantity::Temperature) => Unit::Kelvin,
        (_, Quantity::Acceleration) => Unit::MetrePerSecond2,
        (_, Quantity::AngularRate) => Unit::RadianPerSecond,
        (_, Quantity::Angle) => Unit::Radian,
        (_, Quantity::Length) => Unit::Metre,
        (_, Quantity::Speed) => Unit::MetrePerSecond,
        (_, Quantity::Voltage) => Unit::Volt,
        (_, Quantity::Decibel) => Unit::Db,
    }
}

/// The field's name, its meaning and its unit: of a known meaning the one asked for, of a free field as declared.
fn reading_column(name: &str, meaning: Meaning, declared: &str, is_text: bool) -> Column {
    let about = match meaning {
        Meaning::GroundSpeed
        | Meaning::Course
        | Meaning::VelocityEast
        | Meaning::VelocityNorth
        | Meaning::VelocityUp
        | Meaning::VelocityDown => "over the ground",
        Meaning::OwnHeight => "above the vehicle's own zero",
        Meaning::Free => "as declared in the layout",
        other => other.name(),
    };
    let over_ground = match meaning {
        Meaning::OwnHeight => " above its own zero",
        _ if about == "over the ground" => " over ground",
        _ => "",
    };
    if meaning == Meaning::Free {
        let unit = if declared.is_empty() { String::new() } else { format!(" [{declared}]") };
        let kind = if is_text { Kind::Text } else { Kind::Free };
        return Column::new(format!("{name}{unit}"), kind, about);
    }
    let kind = if is_text { Kind::Text } else { Kind::Real(unit_of(meaning), ALL_DIGITS) };
    Column::new(format!("{name} ({}{over_ground})", meaning.name()), kind, about)
}
