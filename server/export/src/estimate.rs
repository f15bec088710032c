//! Estimates from the text in which they are stored. A day has millions of them, so the usual form is read by its known order
//! of fields, without building a tree; anything else goes through serde.

use loftwatch_engine::Said;
use loftwatch_flight::{DescentState, Estimate, Phase, Quantiles};

use crate::ExportError;
use crate::block::{Column, Kind};
use crate::units::Unit;

/// Figures of an estimate in the order of its columns; NaN is none.
pub const FIGURES: usize = 39;

/// One estimate, flat.
#[derive(Clone, Copy, Debug)]
pub struct Row {
    /// Body index.
    pub body: usize,
    /// Instant, s on the axis inside outputs.
    pub t_s: f64,
    /// Phase, by its name.
    pub phase: &'static str,
    /// Descent state, by its name.
    pub descent: Option<&'static str>,
    /// Everything else.
    pub figures: [f64; FIGURES],
}

/// Quantities with an interval, in the order in which the text has them.
const INTERVALS: [(&str, Unit, usize, &str); 6] = [
    ("height_above_pad", Unit::Metre, 2, "height above the pad"),
    ("climb", Unit::MetrePerSecond, 3, "vertical speed, up positive"),
    ("airspeed_through_air", Unit::MetrePerSecond, 3, "speed through the air"),
    ("ground_speed_over_ground", Unit::MetrePerSecond, 3, "speed over the ground"),
    ("lean_through_air_from_vertical", Unit::Radian, 5, "path angle through the air from vertical"),
    ("drag_k", Unit::PerMetre, 9, "specific drag at the pad's density, rho0 Cd A / (2 m), subsonic"),
];

/// Columns of the figures.
pub fn columns(into: &mut Vec<Column>) {
    let mut real = |name: &str, part, unit, decimals, about| {
        into.push(Column { name: name.to_owned(), part, kind: Kind::Real(unit, decimals), about });
    };
    real("carried", "", Unit::Second, 3, "seconds since the newest measurement that was used");
    for (name, unit, decimals, about) in INTERVALS {
        for part in ["", "_p05", "_p25", "_p75", "_p95"] {
            real(name, part, unit, decimals, about);
        }
    }
    real("east_of_pad", "", Unit::Metre, 2, "east of the pad");
    real("north_of_pad", "", Unit::Metre, 2, "north of the pad");
    real("position_radius_p90", "", Unit::Metre, 2, "90 % radius of that position");
    real("east_over_ground", "", Unit::MetrePerSecond, 3, "velocity over the ground, east");
    real("north_over_ground", "", Unit::MetrePerSecond, 3, "velocity over the ground, north");
    real("mach", "", Unit::One, 4, "Mach number, median");
    real("dynamic_pressure", "", Unit::Pascal, 2, "dynamic pressure, median");
    real(
        "height_above_sea_level",
        "",
        Unit::Metre,
        2,
        "the pad's told elevation and the height above it, median",
    );
}

fn flat(body: usize, e: &Estimate) -> Row {
    let mut figures = [f64::NAN; FIGURES];
    figures[0] = e.carried_s;
    let all = [
        Some(e.height_m),
        Some(e.climb_mps),
        Some(e.airspeed_mps),
        Some(e.ground_speed_mps),
        e.lean_rad,
        Some(e.drag_k_per_m),
    ];
    for (place, q) in all.into_iter().enumerate() {
        if let Some(Quantiles { p05, p25, p50, p75, p95 }) = q {
            figures[1 + 5 * place..6 + 5 * place].copy_from_slice(&[p50, p05, p25, p75, p95]);
        }
    }
    if let Some([east, north]) = e.east_north_m {
        figures[31..33].copy_from_slice(&[east, north]);
    }
    figures[33] = e.position_radius_m.unwrap_or(f64::NAN);
    if let Some([east, north]) = e.east_north_mps {
        figures[34..36].copy_from_slice(&[east, north]);
    }
    (figures[36], figures[37]) = (e.mach, e.dynamic_pressure_pa);
    Row { body, t_s: e.t_s, phase: phase(e.phase), descent: e.descent.map(descent), figures }
}

const fn phase(phase: Phase) -> &'static str {
    match phase {
        Phase::Waiting => "waiting",
        Phase::Joined => "joined",
        Phase::Powered => "powered",
        Phase::Coasting => "coasting",
        Phase::Descending => "descending",
        Phase::Down => "down",
    }
}

const fn descent(state: DescentState) -> &'static str {
    match state {
        DescentState::Drogue => "drogue",
        DescentState::Main => "main",
        DescentState::Streamer => "streamer",
        DescentState::Tumbling => "tumbling",
        DescentState::Bare => "bare",
        DescentState::Ballistic => "ballistic",
    }
}

/// Reads a stored estimate. `None`: the text is another output.
pub fn read(text: &str) -> Result<Option<Row>, ExportError> {
    if let Some(row) = quick(text) {
        return Ok(Some(row));
    }
    Ok(match serde_json::from_str::<Said>(text)? {
        Said::Estimate { body, estimate } | Said::Smoothed { body, estimate } => Some(flat(body, &estimate)),
        _ => None,
    })
}

/// Reads an estimate that is stored without saying whose it is, as the path with hindsight is.
pub fn read_bare(body: usize, text: &str) -> Result<Row, ExportError> {
    let mut at = At { left: text };
    if let Some(row) = quick_fields(&mut at, body)
        && at.left == "}"
    {
        return Ok(row);
    }
    Ok(flat(body, &serde_json::from_str(text)?))
}

/// A place in the text.
struct At<'a> {
    left: &'a str,
}

impl<'a> At<'a> {
    fn skip(&mut self, what: &str) -> Option<()> {
        self.left = self.left.strip_prefix(what)?;
        Some(())
    }

    /// A value up to the next comma or brace.
    fn word(&mut self) -> Option<&'a str> {
        let end = self.left.bytes().position(|byte| matches!(byte, b',' | b'}' | b']'))?;
        let (word, left) = self.left.split_at(end);
        self.left = left;
        Some(word)
    }

    fn number(&mut self) -> Option<f64> {
        match self.left.bytes().next()? {
            b'n' => self.skip("null").map(|()| f64::NAN),
            // To find the figure's end first and then to read it would be to go over it twice; what this takes for a figure
            // beyond JSON's is left to serde.
            b'0'..=b'9' | b'-' => {
                let (value, length) = fast_float2::parse_partial::<f64, _>(self.left).ok()?;
                self.left = self.left.get(length..)?;
                value.is_finite().then_some(value)
            }
            _ => None,
        }
    }

    fn quantiles(&mut self, name: &str, to: &mut [f64]) -> Option<()> {
        self.skip(name)?;
        if self.left.starts_with("null") {
            return self.skip("null");
        }
        self.skip("{\"p05\":")?;
        to[1] = self.number()?;
        self.skip(",\"p25\":")?;
        to[2] = self.number()?;
        self.skip(",\"p50\":")?;
        to[0] = self.number()?;
        self.skip(",\"p75\":")?;
        to[3] = self.number()?;
        self.skip(",\"p95\":")?;
        to[4] = self.number()?;
        self.skip("}")
    }

    fn pair(&mut self, name: &str, to: &mut [f64]) -> Option<()> {
        self.skip(name)?;
        if self.left.starts_with("null") {
            return self.skip("null");
        }
        self.skip("[")?;
        to[0] = self.number()?;
        self.skip(",")?;
        to[1] = self.number()?;
        self.skip("]")
    }
}

/// The form in which this program writes it.
fn quick(text: &str) -> Option<Row> {
    let mut at = At { left: text };
    if at.skip("{\"estimate\":{\"body\":").is_none() {
        at.skip("{\"smoothed\":{\"body\":")?;
    }
    let body = at.word()?.parse().ok()?;
    at.skip(",\"estimate\":")?;
    let row = quick_fields(&mut at, body)?;
    (at.left == "}}}").then_some(row)
}

/// The estimate itself, up to and without its last brace.
fn quick_fields(at: &mut At<'_>, body: usize) -> Option<Row> {
    at.skip("{\"t_s\":")?;
    let t_s = at.number()?;
    at.skip(",\"phase\":")?;
    let phase = match at.word()? {
        "\"waiting\"" => "waiting",
        "\"joined\"" => "joined",
        "\"powered\"" => "powered",
        "\"coasting\"" => "coasting",
        "\"descending\"" => "descending",
        "\"down\"" => "down",
        _ => return None,
    };
    at.skip(",\"descent\":")?;
    let descent = match at.word()? {
        "null" => None,
        "\"drogue\"" => Some("drogue"),
        "\"main\"" => Some("main"),
        "\"streamer\"" => Some("streamer"),
        "\"tumbling\"" => Some("tumbling"),
        "\"bare\"" => Some("bare"),
        "\"ballistic\"" => Some("ballistic"),
        _ => return None,
    };
    let mut figures = [f64::NAN; FIGURES];
    at.skip(",\"carried_s\":")?;
    figures[0] = at.number()?;
    at.quantiles(",\"height_m\":", &mut figures[1..6])?;
    at.quantiles(",\"climb_mps\":", &mut figures[6..11])?;
    at.quantiles(",\"airspeed_mps\":", &mut figures[11..16])?;
    at.quantiles(",\"ground_speed_mps\":", &mut figures[16..21])?;
    at.quantiles(",\"lean_rad\":", &mut figures[21..26])?;
    at.pair(",\"east_north_m\":", &mut figures[31..33])?;
    at.skip(",\"position_radius_m\":")?;
    figures[33] = at.number()?;
    at.pair(",\"east_north_mps\":", &mut figures[34..36])?;
    at.quantiles(",\"drag_k_per_m\":", &mut figures[26..31])?;
    at.skip(",\"mach\":")?;
    figures[36] = at.number()?;
    at.skip(",\"dynamic_pressure_pa\":")?;
    figures[37] = at.number()?;
    Some(Row { body, t_s, phase, descent, figures })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn quantiles() -> impl Strategy<Value = Quantiles> {
        prop::array::uniform5(-1e5_f64..1e5).prop_map(|[p05, p25, p50, p75, p95]| Quantiles {
            p05,
            p25,
            p50,
            p75,
            p95,
        })
    }

    fn estimates() -> impl Strategy<Value = Estimate> {
        let of =
            (quantiles(), quantiles(), quantiles(), quantiles(), prop::option::of(quantiles()), quantiles());
        let descents = prop::option::of(prop::sample::select(vec![
            DescentState::Drogue,
            DescentState::Main,
            DescentState::Streamer,
            DescentState::Tumbling,
            DescentState::Bare,
            DescentState::Ballistic,
        ]));
        let phases = prop::sample::select(vec![
            Phase::Waiting,
            Phase::Joined,
            Phase::Powered,
            Phase::Coasting,
            Phase::Descending,
            Phase::Down,
        ]);
        let pair = || prop::option::of(prop::array::uniform2(-1e5_f64..1e5));
        (of, descents, phases, pair(), pair(), prop::option::of(0.0..1e4_f64), 0.0..1e6_f64).prop_map(
            |(of, descent, phase, east_north_m, east_north_mps, position_radius_m, t_s)| Estimate {
                t_s,
                phase,
                descent,
                carried_s: 0.25,
                height_m: of.0,
                climb_mps: of.1,
                airspeed_mps: of.2,
                ground_speed_mps: of.3,
                lean_rad: of.4,
                east_north_m,
                position_radius_m,
                east_north_mps,
                drag_k_per_m: of.5,
                mach: 0.5,
                dynamic_pressure_pa: 1234.5,
            },
        )
    }

    proptest! {
        #[test]
        fn the_quick_way_reads_what_serde_reads(estimate in estimates(), body in 0_usize..8) {
            let text = serde_json::to_string(&Said::Estimate { body, estimate }).unwrap();
            let quick = quick(&text).expect("the stored form is the usual one");
            let flat = flat(body, &estimate);
            prop_assert_eq!((quick.body, quick.phase, quick.descent), (flat.body, flat.phase, flat.descent));
            prop_assert_eq!(quick.t_s.to_bits(), flat.t_s.to_bits());
            for (a, b) in quick.figures.iter().zip(flat.figures) {
                prop_assert!(a.to_bits() == b.to_bits() || (a.is_nan() && b.is_nan()));
            }
            let bare = read_bare(body, &serde_json::to_string(&estimate).unwrap()).unwrap();
            prop_assert_eq!(bare.figures.map(f64::to_bits), quick.figures.map(f64::to_bits));
        }
    }

    #[test]
    fn other_outputs_and_other_texts_are_told_apart() {
        assert!(read("{\"silence\":{\"since_ns\":1}}").unwrap().is_none());
        assert!(read("{\"estimate\":{\"body\":0,").is_err());
    }
}
