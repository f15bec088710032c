use proptest::prelude::*;

use super::*;
use crate::layout::{Carrier, Layout};

fn layout() -> Layout {
    let envelope = Envelope { carrier: Carrier::Monitor, from: None };
    Layout { name: "aprs".to_owned(), form: Form::aprs(envelope), body: None, rate_hz: None }
}

fn read(content: &str, destination: &str) -> Option<Report> {
    let source = "N0CALL".to_owned();
    report(&Opened { source, destination: destination.to_owned(), content: content.as_bytes() })
}

fn near(found: f64, expected: f64, within: f64) {
    assert!((found - expected).abs() <= within, "{found} where {expected} is expected");
}

#[test]
fn the_layout_is_one_that_can_be_used() {
    assert_eq!(layout().check(), []);
}

// All examples: APRS Protocol Reference 1.0.1, chapter named at each, from memory.

#[test]
fn plain_positions() {
    // Chapter 6: 49 degrees 3.50 minutes north, 72 degrees 1.75 minutes west.
    let report = read("!4903.50N/07201.75W-Test 001234", "APRS").unwrap();
    near(report.latitude_deg, 49.0 + 3.5 / 60.0, 1e-12);
    near(report.longitude_deg, -72.0 - 1.75 / 60.0, 1e-12);
    assert_eq!((report.height_m, report.course_deg, report.speed_mps), (None, None, None));
    let report = read("!4903.50N/07201.75W-Test /A=001234", "APRS").unwrap();
    near(report.height_m.unwrap(), 1234.0 * 0.3048, 1e-9);
    // Chapter 7: course 88 degrees, 36 knots, behind a time stamp.
    let report = read("@092345z4903.50N/07201.75W>088/036", "APRS").unwrap();
    assert_eq!(report.course_deg, Some(88.0));
    near(report.speed_mps.unwrap(), 36.0 * 1852.0 / 3600.0, 1e-12);
}

#[test]
fn digits_that_are_kept_back_widen_the_spread() {
    // Chapter 6: 4903.5_N is to a tenth of a minute, 49__.__N to a degree.
    let report = read("!4903.5 N/07201.7 W-", "APRS").unwrap();
    assert_eq!(report.open_min, Some(0.1));
    near(report.latitude_deg, 49.0 + 3.55 / 60.0, 1e-12);
    let report = read("!49  .  N/072  .  W-", "APRS").unwrap();
    assert_eq!(report.open_min, Some(60.0));
    near(report.latitude_deg, 49.5, 1e-12);
    let layout = layout();
    let decoded = layout.decode(b"N0CALL>APRS:!4903.50N/07201.75W-");
    // sqrt(5^2 + (18.52 m)^2 / 12).
    near(layout.number(&decoded, Meaning::HorizontalSpread).unwrap(), 7.320, 1e-3);
}

#[test]
fn compressed_positions() {
    // Chapter 9: 49 degrees 30 minutes north, 72 degrees 45 minutes west; 88 degrees at 36.2 knots; 10004 feet.
    let report = read("=/5L!!<*e7>7P[", "APRS").unwrap();
    near(report.latitude_deg, 49.5, 1e-5);
    near(report.longitude_deg, -72.75, 1e-5);
    assert_eq!(report.course_deg, Some(88.0));
    near(report.speed_mps.unwrap() / (1852.0 / 3600.0), 36.2, 0.05);
    let report = read("=/5L!!<*e7OS]S", "APRS").unwrap();
    near(report.height_m.unwrap() / 0.3048, 10_004.0, 0.6);
    assert_eq!(report.course_deg, None);
    // A blank says that there is neither.
    let report = read("=/5L!!<*e7> sTComment", "APRS").unwrap();
    assert_eq!((report.course_deg, report.height_m), (None, None));
}

#[test]
fn mic_e() {
    // Chapter 10: S32U6T is 33 degrees 25.64 minutes north, longitude west and not moved by a hundred degrees... the fifth
    // letter is a digit; (_f is then 12 degrees 7.74 minutes; n"O is 20 knots at 251 degrees; "4T} is 61 m.
    let report = read("`(_fn\"Oj/\"4T}", "S32U6T").unwrap();
    near(report.latitude_deg, 33.0 + 25.64 / 60.0, 1e-12);
    near(report.longitude_deg, -(12.0 + 7.74 / 60.0), 1e-12);
    near(report.speed_mps.unwrap() / (1852.0 / 3600.0), 20.0, 1e-9);
    assert_eq!(report.course_deg, Some(251.0));
    assert_eq!(report.height_m, Some(61.0));
    // With a hundred degrees more, as in the chapter's example of longitude: 112 degrees 7.74 minutes.
    let report = read("`(_fn\"Oj/", "S32UVT").unwrap();
    near(report.longitude_deg, -(112.0 + 7.74 / 60.0), 1e-12);
    assert_eq!(read("`(_fn\"Oj/", "S32U6").map(|_| ()), None);
}

#[test]
fn what_is_no_position_of_the_sender() {
    for content in [
        "",
        "!",
        ">status",
        ";LEADER   *092345z4903.50N/07201.75W>",
        ")AIDV#2!4903.50N/07201.75W!",
        "}W1AW>APRS:!4903.50N/07201.75W-",
        "!4903.50N/07201.75",
        "!4963.50N/07201.75W-",
        "!4903.50X/07201.75W-",
        "!49A3.50N/07201.75W-",
        "!9903.50N/07201.75W-",
    ] {
        assert_eq!(read(content, "APRS"), None, "{content}");
    }
}

/// Degrees and minutes as a plain position writes them.
fn plain_text(degrees: f64, width: usize, sides: [char; 2]) -> String {
    let hundredths = (degrees.abs() * 6000.0).round() as u32;
    let side = if degrees < 0.0 { sides[1] } else { sides[0] };
    format!("{:0width$}{:02}.{:02}{side}", hundredths / 6000, hundredths % 6000 / 100, hundredths % 100)
}

fn base_91(mut value: u32) -> String {
    let mut text = [b'!'; 4];
    for digit in text.iter_mut().rev() {
        *digit = b'!' + (value % 91) as u8;
        value /= 91;
    }
    String::from_utf8(text.to_vec()).unwrap()
}

proptest! {
    #[test]
    fn what_is_written_is_read(latitude in -89.9..89.9_f64, longitude in -179.9..179.9_f64, feet in 0..200_000_u32) {
        let text = format!("!{}/{}-/A={feet:06}", plain_text(latitude, 2, ['N', 'S']), plain_text(longitude, 3, ['E', 'W']));
        let report = read(&text, "APRS").unwrap();
        // Half a hundredth of a minute.
        prop_assert!((report.latitude_deg - latitude).abs() < 0.0051 / 60.0);
        prop_assert!((report.longitude_deg - longitude).abs() < 0.0051 / 60.0);
        prop_assert!((report.height_m.unwrap() - f64::from(feet) * 0.3048).abs() < 1e-6);
        let text = format!(
            "!/{}{}> s ",
            base_91(((90.0 - latitude) * 380_926.0).round() as u32),
            base_91(((180.0 + longitude) * 190_463.0).round() as u32)
        );
        let report = read(&text, "APRS").unwrap();
        prop_assert!((report.latitude_deg - latitude).abs() < 0.51 / 380_926.0);
        prop_assert!((report.longitude_deg - longitude).abs() < 0.51 / 190_463.0);
    }

    #[test]
    fn no_bytes_panic(content: Vec<u8>, kind in prop::sample::select(b"!=/@`'".to_vec()), destination in "[A-Z0-9-]{0,9}") {
        let content = [&[kind][..], &content].concat();
        if let Some(report) = report(&Opened { source: String::new(), destination, content: &content }) {
            prop_assert!(report.latitude_deg.abs() <= 90.0 && report.longitude_deg.abs() <= 181.0);
        }
    }
}
