//! A recording: JSON Lines, one piece of received bytes a line, as `loftwatch rerun` takes them.
//!
//! `{"t_receive": UTC seconds, "link": name, "bytes": base64, "t_mono": seconds}`; `t_mono`, a clock that never
//! steps, may be absent. Station time follows `t_mono` where it was kept, else `t_receive`; it never goes back,
//! whatever the file says. Other keys are passed over. `link` may be absent if the setup has exactly one.

use base64::Engine as _;
use base64::alphabet::STANDARD;
use base64::engine::{DecodePaddingMode, GeneralPurpose, GeneralPurposeConfig};
use serde::Deserialize;

use crate::{Input, Setup, What};

/// Standard alphabet, padding or not.
const BASE64: GeneralPurpose = GeneralPurpose::new(
    &STANDARD,
    GeneralPurposeConfig::new().with_decode_padding_mode(DecodePaddingMode::Indifferent),
);

/// Latest time taken for UTC seconds: the year 2255, far inside what 64 bits of nanoseconds hold.
const LATEST_S: f64 = 9.0e9;

/// Why a line of a recording cannot be used.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum RecordingError {
    /// Not JSON of the form asked for.
    #[error(
        "line {line} of the recording: {why}\nhint: each line is {{\"t_receive\": UTC seconds, \"link\": name, \"bytes\": base64}}"
    )]
    Form {
        /// Line number, from 1.
        line: u64,
        /// What the parser found.
        why: String,
    },
    /// A time that is no UTC time in seconds.
    #[error(
        "line {line} of the recording: `{key}` is {found:e}, expected seconds from 0 to {LATEST_S:e}\nhint: times are seconds, not milliseconds"
    )]
    Time {
        /// Line number, from 1.
        line: u64,
        /// Which key.
        key: &'static str,
        /// What was found.
        found: f64,
    },
    /// The bytes are not base64.
    #[error("line {line} of the recording: `bytes` is not base64: {why}")]
    Base64 {
        /// Line number, from 1.
        line: u64,
        /// What the decoder found.
        why: String,
    },
    /// A link that the setup does not have.
    #[error(
        "line {line} of the recording: link `{link}` is not in the setup, which has {known}\nhint: {hint}"
    )]
    Link {
        /// Line number, from 1.
        line: u64,
        /// The name found.
        link: String,
        /// The names that there are.
        known: String,
        /// What to do.
        hint: String,
    },
}

#[derive(Deserialize)]
struct Row {
    t_receive: f64,
    #[serde(default)]
    link: Option<String>,
    bytes: String,
    #[serde(default)]
    t_mono: Option<f64>,
}

/// Reads a recording line by line.
#[derive(Clone, Debug)]
pub struct Recording {
    links: Vec<String>,
    line: u64,
    number: u64,
    newest_ns: i64,
    /// Lines whose time lies before that of a line above them.
    back: u64,
    /// Station time minus `t_mono`, ns, and the newest `t_mono`, ns.
    mono: Option<(i64, i64)>,
}

impl Recording {
    /// A reader of recordings of these links.
    pub fn new(setup: &Setup) -> Self {
        let links = setup.links.iter().map(|l| l.name.clone()).collect();
        Self { links, line: 0, number: 0, newest_ns: i64::MIN, back: 0, mono: None }
    }

    /// The input on the next line; `None` for a blank one. After an error the next line may be tried.
    pub fn line(&mut self, text: &str) -> Result<Option<Input>, RecordingError> {
        self.line += 1;
        let line = self.line;
        // The parser would take the end of a line that was cut short for a character inside of it.
        let text = text.trim_end_matches(['\n', '\r']);
        let text = if line == 1 { text.trim_start_matches('\u{feff}') } else { text };
        if text.trim().is_empty() {
            return Ok(None);
        }
        let row: Row =
            serde_json::from_str(text).map_err(|e| RecordingError::Form { line, why: plain(&e) })?;
        let utc_ns = nanoseconds(line, "t_receive", row.t_receive)?;
        let mono_ns = row.t_mono.map(|t| nanoseconds(line, "t_mono", t)).transpose()?;
        let bytes =
            BASE64.decode(&row.bytes).map_err(|e| RecordingError::Base64 { line, why: e.to_string() })?;
        let link = self.link(row.link)?;
        let t_ns = self.station_time(utc_ns, mono_ns);
        self.number += 1;
        Ok(Some(Input { number: self.number, t_ns, utc_ns, what: What::Bytes { link, bytes } }))
    }

    /// Lines so far that lie in time before a line above them: they were taken as of its time.
    pub fn lines_back(&self) -> u64 {
        self.back
    }

    /// Number of the line that was read last, from 1.
    pub fn line_number(&self) -> u64 {
        self.line
    }

    fn link(&self, told: Option<String>) -> Result<String, RecordingError> {
        match (told, self.links.as_slice()) {
            (Some(name), _) if self.links.contains(&name) => Ok(name),
            (_, [only]) => Ok(only.clone()),
            (told, all) => {
                let link = told.unwrap_or_default();
                let known = if all.is_empty() { "none".into() } else { format!("`{}`", all.join("`, `")) };
                let near = all.iter().find(|l| l.eq_ignore_ascii_case(link.trim()));
                let hint = match near {
                    Some(n) => format!("did you mean `{n}`?"),
                    None => "name a link of the setup, or give the setup a [[link]] of that name".into(),
                };
                Err(RecordingError::Link { line: self.line, link, known, hint })
            }
        }
    }

    /// Follows the clock that never steps; a `t_mono` that goes back means another run of it, joined by UTC.
    fn station_time(&mut self, utc_ns: i64, mono_ns: Option<i64>) -> i64 {
        let wanted = match (mono_ns, self.mono) {
            (None, _) => utc_ns,
            (Some(m), Some((offset, newest))) if m >= newest => {
                self.mono = Some((offset, m));
                m + offset
            }
            (Some(m), _) => {
                let start = utc_ns.max(self.newest_ns);
                self.mono = Some((start - m, m));
                start
            }
        };
        self.back += u64::from(wanted < self.newest_ns);
        self.newest_ns = wanted.max(self.newest_ns);
        self.newest_ns
    }
}

/// Seconds to nanoseconds, such that dividing again gives the same seconds.
fn nanoseconds(line: u64, key: &'static str, t_s: f64) -> Result<i64, RecordingError> {
    if !(0.0..=LATEST_S).contains(&t_s) {
        return Err(RecordingError::Time { line, key, found: t_s });
    }
    let whole = libm::trunc(t_s);
    Ok(whole as i64 * 1_000_000_000 + libm::round((t_s - whole) * 1e9) as i64)
}

/// Nanoseconds to seconds, to the last bit what [`nanoseconds`] came from.
pub(crate) fn seconds(t_ns: i64) -> f64 {
    t_ns.div_euclid(1_000_000_000) as f64 + t_ns.rem_euclid(1_000_000_000) as f64 * 1e-9
}

/// What the parser says, without the line it counts itself: that one is always the first.
fn plain(error: &serde_json::Error) -> String {
    let text = error.to_string();
    let end = format!(" at line {} column {}", error.line(), error.column());
    match text.strip_suffix(&end) {
        Some(what) if error.is_eof() => format!("it ends too soon ({what})"),
        Some(what) => format!("{what} at column {}", error.column()),
        None => text,
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn reader(links: &[&str]) -> Recording {
        Recording {
            links: links.iter().map(ToString::to_string).collect(),
            line: 0,
            number: 0,
            newest_ns: i64::MIN,
            back: 0,
            mono: None,
        }
    }

    #[test]
    fn a_line_becomes_an_input() {
        let mut r = reader(&["mast", "table"]);
        let input =
            r.line(r#"{"t_receive": 1700000000.25, "link": "table", "bytes": "AAEC"}"#).unwrap().unwrap();
        assert_eq!(input.number, 1);
        assert_eq!(input.t_ns, 1_700_000_000_250_000_000);
        assert_eq!(input.utc_ns, input.t_ns);
        assert_eq!(input.what, What::Bytes { link: "table".into(), bytes: vec![0, 1, 2] });
        assert_eq!(r.line("  ").unwrap(), None);
    }

    #[test]
    fn unpadded_base64_and_other_keys_are_taken() {
        let mut r = reader(&["mast"]);
        let line = r#"{"t_receive": 1.0, "link": "mast", "bytes": "AA", "note": [1]}"#;
        assert_eq!(r.line(line).unwrap().unwrap().what, What::Bytes { link: "mast".into(), bytes: vec![0] });
    }

    #[test]
    fn a_clock_that_steps_back_does_not_turn_time_back() {
        let mut r = reader(&["m"]);
        let at = |r: &mut Recording, t: f64, mono: &str| {
            r.line(&format!(r#"{{"t_receive": {t}, "bytes": ""{mono}}}"#)).unwrap().unwrap().t_ns
        };
        assert_eq!(at(&mut r, 100.0, r#", "t_mono": 5"#), 100_000_000_000);
        assert_eq!(at(&mut r, 40.0, r#", "t_mono": 6"#), 101_000_000_000);
        assert_eq!(r.lines_back(), 0, "the clock that never steps did not go back");
        assert_eq!(at(&mut r, 41.0, ""), 101_000_000_000);
        assert_eq!(r.lines_back(), 1);
        // Another run of the monotonic clock, an hour later by UTC.
        assert_eq!(at(&mut r, 3700.0, r#", "t_mono": 1"#), 3_700_000_000_000);
    }

    #[test]
    fn errors_name_line_and_remedy() {
        let mut r = reader(&["mast", "table"]);
        assert_eq!(r.line("").unwrap(), None);
        let e = r.line("{nonsense").unwrap_err().to_string();
        assert!(e.starts_with("line 2 of the recording") && e.contains("hint"), "{e}");
        let e = r.line("{\"t_receive\": 1.0, \"link\": \"ma\r\n").unwrap_err().to_string();
        assert!(e.contains("it ends too soon"), "{e}");
        let e = r.line(r#"{"t_receive": 1.0, "link": "Mast", "bytes": ""}"#).unwrap_err().to_string();
        assert!(e.contains("did you mean `mast`?"), "{e}");
        let e = r.line(r#"{"t_receive": 1.7e12, "link": "mast", "bytes": ""}"#).unwrap_err().to_string();
        assert!(e.contains("not milliseconds"), "{e}");
        let e = r.line(r#"{"t_receive": 1.0, "link": "mast", "bytes": "%"}"#).unwrap_err().to_string();
        assert!(e.contains("base64"), "{e}");
        assert!(r.line(r#"{"t_receive": 1.0, "bytes": ""}"#).is_err(), "two links, none named");
        assert!(r.line(r#"{"t_receive": 1.0, "link": "mast", "bytes": ""}"#).unwrap().is_some());
    }

    #[test]
    fn an_only_link_takes_every_name() {
        let mut r = reader(&["mast"]);
        let input = r.line(r#"{"t_receive": 1.0, "link": "else", "bytes": ""}"#).unwrap().unwrap();
        assert_eq!(input.what, What::Bytes { link: "mast".into(), bytes: vec![] });
    }

    proptest! {
        #[test]
        fn times_come_back_to_the_bit(t in 1.0e9..9.0e9f64) {
            prop_assert_eq!(seconds(nanoseconds(1, "t_receive", t).unwrap()), t);
        }
        #[test]
        fn no_line_panics_and_time_never_goes_back(lines in prop::collection::vec(".{0,80}|\\{\"t_receive\": [0-9]{1,12}, \"bytes\": \"[A-Za-z0-9+/=]{0,8}\"(, \"t_mono\": [0-9]{1,6})?\\}", 0..20)) {
            let mut r = reader(&["m"]);
            let mut last = i64::MIN;
            for line in lines {
                if let Ok(Some(input)) = r.line(&line) {
                    prop_assert!(input.t_ns >= last);
                    last = input.t_ns;
                }
            }
        }
    }
}
