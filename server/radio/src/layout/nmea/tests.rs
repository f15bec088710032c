use proptest::prelude::*;

use super::*;
use crate::layout::{Layout, testing::texts};

fn layout(position: PositionFrom, velocity: VelocityFrom) -> Layout {
    Layout { name: "gnss".to_owned(), form: Form::nmea(position, velocity), body: None, rate_hz: None }
}

fn usual() -> Layout {
    layout(PositionFrom::Gga, VelocityFrom::Rmc)
}

fn near(found: Option<f64>, expected: f64) {
    assert!((found.unwrap() - expected).abs() < 1e-12, "{found:?} where {expected} is expected");
}

// The sentences that descriptions of NMEA 0183 print again and again, from memory; their checksums hold (see
// `framing/lines`, which has taken `*47` and the like off before).
const GGA: &[u8] = b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,";
const RMC: &[u8] = b"$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W";
const VTG: &[u8] = b"$GPVTG,054.7,T,034.4,M,005.5,N,010.2,K";

#[test]
fn the_layout_is_one_that_can_be_used() {
    assert_eq!(usual().check(), []);
}

#[test]
fn the_checksums_of_the_examples_hold() {
    let sum = |line: &[u8]| line[1..].iter().fold(0_u8, |sum, byte| sum ^ byte);
    assert_eq!((sum(GGA), sum(RMC), sum(VTG)), (0x47, 0x6a, 0x48));
}

#[test]
fn position_from_one_sentence_and_velocity_from_one() {
    let layout = usual();
    let decoded = layout.decode(GGA);
    near(layout.number(&decoded, Meaning::Latitude), (48.0 + 7.038 / 60.0) * DEGREE);
    near(layout.number(&decoded, Meaning::Longitude), (11.0 + 31.0 / 60.0) * DEGREE);
    near(layout.number(&decoded, Meaning::HeightAmsl), 545.4);
    near(layout.number(&decoded, Meaning::FixValid), 1.0);
    near(layout.number(&decoded, Meaning::Satellites), 8.0);
    near(layout.number(&decoded, Meaning::HorizontalDilution), 0.9);
    assert_eq!(decoded.complaints, []);
    let said = texts(&layout, &decoded);
    assert!(
        said.contains(&"time of day 45319".to_owned())
            && said.contains(&"geoid above ellipsoid 46.9".to_owned())
    );
    let decoded = layout.decode(RMC);
    assert_eq!(layout.number(&decoded, Meaning::Latitude), None);
    near(layout.number(&decoded, Meaning::GroundSpeed), 22.4 * KNOT);
    near(layout.number(&decoded, Meaning::Course), 84.4 * DEGREE);
    let decoded = layout.decode(VTG);
    assert_eq!(layout.number(&decoded, Meaning::GroundSpeed), None);
}

#[test]
fn other_choices() {
    let layout = layout(PositionFrom::Rmc, VelocityFrom::Vtg);
    let decoded = layout.decode(RMC);
    near(layout.number(&decoded, Meaning::Latitude), (48.0 + 7.038 / 60.0) * DEGREE);
    assert_eq!(layout.number(&decoded, Meaning::GroundSpeed), None);
    near(layout.number(&layout.decode(VTG), Meaning::GroundSpeed), 5.5 * KNOT);
    assert_eq!(layout.number(&layout.decode(GGA), Meaning::Latitude), None);
}

#[test]
fn without_a_fix_there_is_no_position() {
    let layout = usual();
    for line in [
        &b"$GNGGA,123519,4807.038,N,01131.000,E,0,00,99.9,545.4,M,46.9,M,,"[..],
        b"$GNGGA,,,,,,0,00,,,M,,M,,",
        b"$GNRMC,123519,V,4807.038,N,01131.000,E,022.4,084.4,230394,,,N",
    ] {
        let decoded = layout.decode(line);
        assert_eq!(layout.number(&decoded, Meaning::Latitude), None, "{line:?}");
        assert_eq!(layout.number(&decoded, Meaning::GroundSpeed), None, "{line:?}");
        near(layout.number(&decoded, Meaning::FixValid), 0.0);
    }
}

#[test]
fn any_talker_and_sentences_that_say_nothing_here() {
    let layout = usual();
    assert!(layout.decode(b"$GLGGA,123519,4807.038,S,01131.000,W,1,08,0.9,545.4,M,,M,,").values.len() > 5);
    for line in ["$GPGSV,3,1,11,03,03,111,00", "$PUBX,00,081350.00", "$GPTXT,01,01,02,hello"] {
        assert!(layout.matches(line.as_bytes()), "{line}");
        assert_eq!(texts(&layout, &layout.decode(line.as_bytes())).len(), 1, "{line}");
    }
    for line in ["GPGGA,1", "$", "$G,1", "$GP GA,1", "!AIVDM,1"] {
        assert!(!layout.matches(line.as_bytes()), "{line}");
    }
}

#[test]
fn columns_that_are_none_are_complained_of() {
    let layout = usual();
    let decoded = layout.decode(b"$GPGGA,999999,48x7.038,N,01131.000,E,1,eight,0.9,545.4,M,46.9,M,,");
    assert_eq!(decoded.complaints.len(), 3, "{:?}", decoded.complaints);
    let decoded = layout.decode(b"$GPGGA,123519,4867.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,");
    assert_eq!(layout.number(&decoded, Meaning::Latitude), None, "67 minutes");
    // The second side of nothing.
    assert_eq!(
        layout.number(&layout.decode(b"$GPGGA,123519,4807.038,X,01131.000,E,1,08"), Meaning::Latitude),
        None
    );
}

proptest! {
    #[test]
    fn what_is_written_is_read(latitude in -90.0..90.0_f64, longitude in -180.0..180.0_f64) {
        let text = |degrees: f64, width: usize, sides: [&str; 2]| {
            let ten_thousandths = (degrees.abs() * 600_000.0).floor() as u64;
            let (whole, minutes) = (ten_thousandths / 600_000, ten_thousandths % 600_000);
            format!("{whole:0width$}{:02}.{:04},{}", minutes / 10_000, minutes % 10_000, sides[usize::from(degrees < 0.0)])
        };
        let line = format!("$GNGGA,000000.00,{},{},4,12,0.5,-3.2,M,,M,,", text(latitude, 2, ["N", "S"]), text(longitude, 3, ["E", "W"]));
        let layout = usual();
        let decoded = layout.decode(line.as_bytes());
        let found = layout.number(&decoded, Meaning::Latitude).unwrap() / DEGREE;
        prop_assert!((found - latitude).abs() < 1.01 / 600_000.0, "{} {}", found, latitude);
        let found = layout.number(&decoded, Meaning::Longitude).unwrap() / DEGREE;
        prop_assert!((found - longitude).abs() < 1.01 / 600_000.0);
    }

    #[test]
    fn no_text_panics(sentence in prop::sample::select(vec!["GGA", "GNS", "GLL", "RMC", "VTG"]), columns in prop::collection::vec("[0-9.NSEWA,-]{0,12}|\\PC{0,4}", 0..16)) {
        let layout = usual();
        let line = format!("$GN{sentence},{}", columns.join(","));
        prop_assert!(layout.matches(line.as_bytes()));
        let decoded = layout.decode(line.as_bytes());
        if let Some(latitude) = layout.number(&decoded, Meaning::Latitude) {
            prop_assert!(latitude.abs() <= 1.58);
        }
    }
}
