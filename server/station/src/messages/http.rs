//! The answers of the HTTP interface, and the bodies that a crew member's page sends.

use loftwatch_engine::setup::AreaKind;
use serde::{Deserialize, Serialize};
use ts_rs::TS;

use super::now::{CueKindName, LevelName, names};

/// `GET /api/about`.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct About {
    /// Version of the program.
    pub(crate) version: String,
    /// Version of the engine that made the figures.
    pub(crate) engine: String,
    /// Sentences that stand on every page that could be taken for more than advice.
    pub(crate) cautions: Vec<String>,
    /// Whether this browser may act (mark, name, end, change the setup), or only look.
    pub(crate) can_act: bool,
    /// Under which name it has joined as crew; `null` when it has not.
    pub(crate) who: Option<String>,
    /// Whether it runs on the station's own machine: it then joins without the code, and may see it.
    pub(crate) own_machine: bool,
    /// Whether there are map tiles, at `/map.pmtiles`.
    pub(crate) map: bool,
}

/// `GET /api/network`: how the station is reached.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, TS)]
pub(crate) struct Network {
    /// Addresses over plain HTTP, the best for others first.
    pub(crate) http: Vec<String>,
    /// Those that are served over HTTPS, too: private ones alone; empty where there is none.
    pub(crate) https: Vec<String>,
    /// Host and port by name, where the network carries names; `null` where only the station's own machine can reach it.
    pub(crate) name: Option<String>,
    /// SHA-256 of the authority's certificate, as pairs of hexadecimal digits.
    pub(crate) fingerprint: Option<String>,
    /// Whether this was asked over HTTPS.
    pub(crate) secure: bool,
}

/// `GET /api/site`: what was told.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct SiteInfo {
    /// Name of the site.
    pub(crate) site: String,
    /// Name of the vehicle.
    pub(crate) vehicle: String,
    /// The pad, WGS84, degrees, north positive.
    pub(crate) latitude_deg: f64,
    /// The pad, WGS84, degrees, east positive.
    pub(crate) longitude_deg: f64,
    /// The pad above mean sea level, m.
    pub(crate) elevation_m: f64,
    /// Named areas on the ground.
    pub(crate) areas: Vec<AreaInfo>,
    /// The bodies in order.
    pub(crate) bodies: Vec<BodyInfo>,
    /// Keys whose value is a default, with the value in words.
    pub(crate) defaults: Vec<(String, String)>,
    /// The cues in order.
    pub(crate) cues: Vec<CueInfo>,
}

/// A named area.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct AreaInfo {
    /// Name.
    pub(crate) name: String,
    /// What it is for.
    pub(crate) kind: AreaKindName,
    /// East and north of the pad, m.
    pub(crate) points_m: Vec<[f64; 2]>,
    /// Whether it is a polygon (else a line).
    pub(crate) closed: bool,
}

/// A body.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct BodyInfo {
    /// Name.
    pub(crate) name: String,
    /// Index of the body it is attached to until freed; `null` for the vehicle.
    pub(crate) parent: Option<u32>,
}

/// A cue.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct CueInfo {
    /// Name.
    pub(crate) name: String,
    /// What it does.
    #[serde(rename = "kind")]
    pub(crate) does: CueKindName,
}

/// One flight, as listed by `GET /api/flights`.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct FlightInfo {
    /// Number.
    pub(crate) number: u32,
    /// Name, empty if not named.
    pub(crate) name: String,
    /// Name of the vehicle.
    pub(crate) vehicle: String,
    /// Date of its liftoff, or of its opening without one, where the station stands: `2026-06-12`.
    pub(crate) day: String,
    /// When it opened, station time.
    pub(crate) opened_s: f64,
    /// First motion, station time.
    pub(crate) liftoff_s: Option<f64>,
    /// When it ended, station time; `null` while it is open.
    pub(crate) ended_s: Option<f64>,
    /// Greatest height of the vehicle above the pad, m: apogee as last predicted once it had passed.
    pub(crate) apogee_m: Option<f64>,
    /// From first motion to the vehicle's landing (to its end, or to now, when no landing was seen), s.
    pub(crate) duration_s: Option<f64>,
    /// What it is called: its name, or the vehicle and the number. It is typed to delete the flight.
    pub(crate) label: String,
    /// Name of the site.
    pub(crate) site_name: String,
    /// Notes of the crew; empty when there are none.
    pub(crate) notes: String,
    /// The weather as told.
    pub(crate) weather: WeatherInfo,
    /// What happened to the vehicle, what came free, and the crew's marks, by time.
    pub(crate) events: Vec<EventBrief>,
    /// Heads-ups that held at some time after liftoff, the urgent ones first.
    pub(crate) headsups: Vec<HeadsUpBrief>,
    /// Some points of the vehicle's height: s since first motion, m above the pad.
    pub(crate) line: Vec<[f64; 2]>,
    /// Whether it is deleted: it can be had back until the station is next started.
    pub(crate) deleted: bool,
    /// Whether it came in a flight file from another station.
    pub(crate) from_elsewhere: bool,
}

/// The weather at the pad, as told.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct WeatherInfo {
    /// Degrees Celsius; `null` where a default was taken.
    pub(crate) temperature_c: Option<f64>,
    /// Station pressure, hPa; `null` where a default was taken.
    pub(crate) pressure_hpa: Option<f64>,
    /// Mean wind, m/s; `null` where none was told.
    pub(crate) wind_mps: Option<f64>,
    /// Where it comes from, degrees from true north; `null` where none was told.
    pub(crate) wind_from_deg: Option<f64>,
}

/// Something that happened, for lists.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct EventBrief {
    /// As in `EventNow`.
    pub(crate) event: String,
    /// The trade's word, a cue's name, or what the crew wrote.
    pub(crate) label: String,
    /// Index of the body.
    pub(crate) body: u32,
    /// Station time.
    pub(crate) t_s: f64,
}

/// A heads-up that held, for lists.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct HeadsUpBrief {
    /// The most urgent that it was.
    pub(crate) level: LevelName,
    /// Its newest words.
    pub(crate) words: String,
}

/// How one camera's footage stands in time; the film itself stays on its owner's machine.
#[derive(Clone, Debug, PartialEq, Deserialize, Serialize, TS)]
pub(crate) struct FootageInfo {
    /// What the camera is called.
    pub(crate) camera: String,
    /// Name of the file.
    pub(crate) file: String,
    /// Frames a second as a fraction: numerator and denominator.
    pub(crate) rate: [u32; 2],
    /// One or two moments: seconds of footage, and the station time that they show. Two tell its clock's drift.
    pub(crate) moments: Vec<[f64; 2]>,
}

/// `POST /api/flights/N/remark`: something about a flight beside its figures. Crew only.
#[derive(Clone, Debug, PartialEq, Deserialize, TS)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub(crate) enum RemarkWanted {
    /// What it is called.
    Name {
        /// The name.
        name: String,
    },
    /// Notes; they replace those before.
    Notes {
        /// The text.
        notes: String,
    },
    /// Footage; it replaces what was before.
    Footage {
        /// One a camera.
        footage: Vec<FootageInfo>,
    },
    /// Delete it.
    Delete {
        /// Its `label`, typed.
        label: String,
    },
    /// Do not delete it after all.
    Restore,
}

/// `GET /api/flights/N`.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct FlightDetail {
    /// As listed.
    #[serde(flatten)]
    pub(crate) info: FlightInfo,
    /// What was told for this flight.
    pub(crate) site: SiteInfo,
    /// How footage of it stands in time.
    pub(crate) footage: Vec<FootageInfo>,
    /// First instant that can be gone to, station time.
    pub(crate) from_s: f64,
    /// The last one.
    pub(crate) to_s: f64,
}

/// `GET /api/flights/N/track?from_s=&to_s=&most=`: the past, decimated so that extremes are kept.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct Track {
    /// One a body that has estimates.
    pub(crate) bodies: Vec<TrackBody>,
}

/// An ended flight's path with hindsight.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct HindsightTrack {
    /// How many states it has; `null`: it is being computed now, ask again in a second.
    pub(crate) states: Option<u32>,
    /// The path, decimated as a track is.
    pub(crate) track: Option<Track>,
}

/// The past of one body, column by column. A `null` is a gap in the line.
#[derive(Clone, Debug, Default, PartialEq, Serialize, TS)]
pub(crate) struct TrackBody {
    /// Index of the body.
    pub(crate) body: u32,
    /// Station time.
    pub(crate) t_s: Vec<f64>,
    /// Median height above the pad, m.
    pub(crate) height_m: Vec<Option<f64>>,
    /// Median vertical speed, m/s.
    pub(crate) climb_mps: Vec<Option<f64>>,
    /// Median airspeed, m/s.
    pub(crate) airspeed_mps: Vec<Option<f64>>,
    /// East of the pad, m.
    pub(crate) east_m: Vec<Option<f64>>,
    /// North of the pad, m.
    pub(crate) north_m: Vec<Option<f64>>,
}

/// Any answer that is an error: what happened, what was kept, what to do.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, TS)]
pub(crate) struct Problem {
    /// What happened.
    pub(crate) error: String,
    /// What was kept.
    pub(crate) kept: String,
    /// What to do.
    pub(crate) hint: String,
}

/// `POST /api/act`: what a crew member does. `who` counts from the station's own machine only; who has joined acts under
/// the name given then.
#[derive(Clone, Debug, PartialEq, Deserialize, Serialize, TS)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub(crate) enum Act {
    /// Marks an event.
    Mark {
        /// What happened, in a few words.
        label: String,
        /// When, station time; now if left out.
        #[serde(default)]
        t_s: Option<f64>,
        /// Who marks it; may be empty.
        #[serde(default)]
        who: String,
    },
    /// Corrects a mark of the flight that is open, or was the last.
    Correct {
        /// Number of the flight.
        flight: u32,
        /// Number of the mark, as its event has it.
        id: u32,
        /// What happened, in a few words.
        label: String,
        /// When, station time.
        t_s: f64,
        /// Who corrects it; may be empty.
        #[serde(default)]
        who: String,
    },
    /// Takes a mark back.
    Withdraw {
        /// Number of the flight.
        flight: u32,
        /// Number of the mark.
        id: u32,
        /// Who takes it back; may be empty.
        #[serde(default)]
        who: String,
    },
    /// Names the flight.
    Name {
        /// The name.
        name: String,
        /// Who names it; may be empty.
        #[serde(default)]
        who: String,
    },
    /// Accepts, for the flight that is on the pad, what is not within limits; or takes that back.
    Accept {
        /// Key of the check, or of the margin.
        key: String,
        /// Whether it is accepted; else the acceptance is taken back.
        on: bool,
        /// Why, in a few words; may be empty where it is taken back.
        #[serde(default)]
        why: String,
        /// Who accepts it; may be empty.
        #[serde(default)]
        who: String,
    },
    /// Ends the flight.
    End {
        /// Number of the flight, so that a press that comes late ends no other one; any if left out.
        #[serde(default)]
        flight: Option<u32>,
        /// Who ends it; may be empty.
        #[serde(default)]
        who: String,
    },
}

/// `POST /api/crew/join`: answered with a cookie that makes the browser crew.
#[derive(Clone, Debug, PartialEq, Deserialize, Serialize, TS)]
pub(crate) struct Join {
    /// The code that is shown at the station; not asked on the station's own machine.
    #[serde(default)]
    pub(crate) code: String,
    /// The name that stands beside what is done.
    pub(crate) who: String,
}

/// `GET /api/crew/code`, and the answer of `POST /api/crew/new-code`; on the station's own machine only.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct CrewCode {
    /// The code, in two groups.
    pub(crate) code: String,
    /// Those who have joined.
    pub(crate) crew: Vec<CrewMember>,
}

/// A browser that has joined.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct CrewMember {
    /// The name given.
    pub(crate) who: String,
    /// When, station time.
    pub(crate) joined_s: f64,
}

/// One thing that the crew did, as listed by `GET /api/crew/log`, newest first.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct Deed {
    /// When, UTC, s since 1970.
    pub(crate) utc_s: f64,
    /// Who; empty where no name was given.
    pub(crate) who: String,
    /// What.
    pub(crate) did: DeedKind,
    /// Label of the mark, name of the flight; else empty.
    pub(crate) what: String,
}

/// What the crew can do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, TS)]
#[serde(rename_all = "snake_case")]
pub(crate) enum DeedKind {
    /// Marked an event.
    Mark,
    /// Corrected a mark.
    Correct,
    /// Took a mark back.
    Withdraw,
    /// Named the flight.
    Name,
    /// Ended the flight.
    End,
    /// Changed the setup.
    Setup,
    /// Accepted what is not within limits.
    Accept,
    /// Took an acceptance back.
    TakeBack,
    /// Wrote a flight's notes.
    Notes,
    /// Aligned a flight's footage.
    Footage,
    /// Deleted a flight.
    Delete,
    /// Took the deletion of a flight back.
    Restore,
}

/// `GET /api/setup`, for crew: the setup file.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct SetupText {
    /// Its name, without the folder.
    pub(crate) name: String,
    /// All of its text.
    pub(crate) text: String,
    /// Tells this state of it from others.
    pub(crate) edition: String,
    /// Whether the text is wrong and an earlier one holds.
    pub(crate) wrong: bool,
}

/// `POST /api/setup/check` and `POST /api/setup`: a text that is to become the setup file.
#[derive(Clone, Debug, PartialEq, Deserialize, Serialize, TS)]
pub(crate) struct SetupWanted {
    /// All of its text.
    pub(crate) text: String,
    /// The `edition` of the text that it was made from.
    pub(crate) edition: String,
    /// Who wants it; counts from the station's own machine only, like that of an act.
    #[serde(default)]
    pub(crate) who: String,
}

/// What a setup text comes to.
#[derive(Clone, Debug, Default, PartialEq, Serialize, TS)]
pub(crate) struct SetupVerdict {
    /// All mistakes, in the order of the lines; nothing of a text with mistakes is taken.
    pub(crate) mistakes: Vec<SetupMistake>,
    /// What differs from the setup in force.
    pub(crate) changes: Vec<SetupDifference>,
    /// What may not be meant.
    pub(crate) remarks: Vec<String>,
}

/// A mistake in a setup text.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, TS)]
pub(crate) struct SetupMistake {
    /// Line, from 1.
    pub(crate) line: usize,
    /// Column in characters, from 1.
    pub(crate) column: usize,
    /// Dotted key; empty where there is none.
    pub(crate) key: String,
    /// What was expected.
    pub(crate) expected: String,
    /// What was found.
    pub(crate) found: String,
    /// What it probably is, or what to do.
    pub(crate) hint: Option<String>,
}

impl From<loftwatch_setup::Mistake> for SetupMistake {
    fn from(mistake: loftwatch_setup::Mistake) -> Self {
        let loftwatch_setup::Mistake { line, column, key, expected, found, hint, .. } = mistake;
        Self { line, column, key, expected, found, hint }
    }
}

/// A key whose value differs.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, TS)]
pub(crate) struct SetupDifference {
    /// Dotted key.
    pub(crate) key: String,
    /// Value before, in words; empty if there was none.
    pub(crate) old: String,
    /// Value after, in words; empty if there is none.
    pub(crate) new: String,
    /// Whether it does not change between liftoff and landing: then it holds afterwards.
    pub(crate) on_the_ground: bool,
}

impl From<loftwatch_setup::Changed> for SetupDifference {
    fn from(changed: loftwatch_setup::Changed) -> Self {
        let on_the_ground = changed.change == loftwatch_setup::Change::OnTheGround;
        Self { key: changed.key, old: changed.old, new: changed.new, on_the_ground }
    }
}

/// `GET /api/radio/frames`: the newest frames of every link, cut and decoded with the setup in force.
#[derive(Clone, Debug, Default, PartialEq, Serialize, TS)]
pub(crate) struct RadioFrames {
    /// At most a hundred of each link, the newest first.
    pub(crate) frames: Vec<RadioFrame>,
}

/// `GET /api/radio/guess`: what the newest bytes of every link look like. Offered, never assumed.
#[derive(Clone, Debug, Default, PartialEq, Serialize, TS)]
pub(crate) struct RadioGuesses {
    /// In the order of the setup.
    pub(crate) links: Vec<RadioGuess>,
}

/// What the newest bytes of a link look like.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct RadioGuess {
    /// Name of the link.
    pub(crate) link: String,
    /// How many bytes were looked at.
    pub(crate) bytes: u32,
    /// Framings that fit, the likeliest first; none if they look like nothing known.
    pub(crate) framings: Vec<FramingGuess>,
    /// What the bytes say of the baud rate, where no framing fits and they say something.
    pub(crate) rate: Option<String>,
}

/// A framing that some bytes fit.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct FramingGuess {
    /// What they look like, for people.
    pub(crate) words: String,
    /// The lines for the setup file.
    pub(crate) keys: String,
}

/// Bytes between two delimiters, and what became of them.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct RadioFrame {
    /// Name of the link.
    pub(crate) link: String,
    /// When its last byte came, station time.
    pub(crate) t_s: f64,
    /// Its bytes in hexadecimal digits: of a good frame the payload, of a wrong one as received; the first 512.
    pub(crate) hex: String,
    /// How many bytes there are.
    pub(crate) length: u32,
    /// Name of the layout that fits, if one does.
    pub(crate) layout: Option<String>,
    /// Why it is wrong; `null` for a good one.
    pub(crate) wrong: Option<String>,
    /// What it says.
    pub(crate) fields: Vec<FrameField>,
    /// What could not be read.
    pub(crate) complaints: Vec<String>,
}

/// A value of a frame.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct FrameField {
    /// Name, with its place in a row in brackets.
    pub(crate) name: String,
    /// Value with its unit: SI for known meanings (angles in degrees), as declared for free ones. Empty for what is passed
    /// over.
    pub(crate) value: String,
    /// First byte in the payload; `null` where it has no place of its own.
    pub(crate) from: Option<u32>,
    /// One past its last byte.
    pub(crate) to: Option<u32>,
}

/// `POST /api/radio/try`: a text for the setup file, to be tried on the newest frames. Nothing is changed.
#[derive(Clone, Debug, PartialEq, Deserialize, TS)]
pub(crate) struct RadioTry {
    /// All of it.
    pub(crate) text: String,
}

/// What a text for the setup file makes of the newest frames.
#[derive(Clone, Debug, Default, PartialEq, Serialize, TS)]
pub(crate) struct RadioTried {
    /// What is wrong with the text; then there are no frames.
    pub(crate) mistakes: Vec<SetupMistake>,
    /// As in `RadioFrames`.
    pub(crate) frames: Vec<RadioFrame>,
}

/// `POST /api/flights/N/log`: a log from the vehicle's own memory. Crew only.
#[derive(Clone, Debug, PartialEq, Deserialize, TS)]
pub(crate) struct LogWanted {
    /// Name of its file.
    pub(crate) name: String,
    /// All of it: CSV with a header row.
    pub(crate) text: String,
    /// Whose memory it is; the vehicle's if not told.
    pub(crate) body: Option<String>,
    /// Between columns.
    pub(crate) separator: String,
    /// The column with its clock.
    pub(crate) time: LogTime,
    /// The columns that are used.
    pub(crate) columns: Vec<LogColumn>,
    /// Whether it is kept with the flight; else it is only looked at.
    pub(crate) keep: bool,
}

/// The column with the clock of a log.
#[derive(Clone, Debug, PartialEq, Deserialize, TS)]
pub(crate) struct LogTime {
    /// As in the header row.
    pub(crate) column: String,
    /// Its unit, such as `ms`.
    pub(crate) unit: String,
}

/// A column of a log.
#[derive(Clone, Debug, PartialEq, Deserialize, TS)]
pub(crate) struct LogColumn {
    /// As in the header row.
    pub(crate) column: String,
    /// `pressure`, `axial specific force`, `own height`, `own climb rate` or `tilt`.
    pub(crate) means: String,
    /// Its unit.
    pub(crate) unit: String,
    /// What stands for no value.
    pub(crate) missing: Option<f64>,
}

/// A log as the station understands it.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct LogSeen {
    /// What it holds, in words.
    pub(crate) about: String,
    /// Whose memory it is.
    pub(crate) body: String,
    /// Rows that cannot be used.
    #[ts(type = "number")]
    pub(crate) unusable: u64,
    /// The first rows, in SI.
    pub(crate) preview: Vec<String>,
    /// How it lies over the flight.
    pub(crate) fit: Option<LogFit>,
    /// Why it lies nowhere.
    pub(crate) problem: Option<String>,
    /// Whether it is kept: the path with hindsight is then computed with it.
    pub(crate) kept: bool,
}

/// How a log lies over its flight.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct LogFit {
    /// Liftoff on its own clock, s.
    pub(crate) liftoff_s: f64,
    /// Correlation of its vertical speed with the flight's, 1 at best.
    pub(crate) correlation: f64,
    /// The greatest one more than two seconds away.
    pub(crate) next_best: f64,
    /// How far its height is off the flight's, root mean square, m.
    pub(crate) height_rms_m: f64,
}

/// `GET /api/flights/N/files/NAME?progress`: how far a file is.
#[derive(Clone, Debug, PartialEq, Serialize, TS)]
pub(crate) struct FileState {
    /// Rows done.
    pub(crate) done: u64,
    /// Rows in all, as far as is known.
    pub(crate) total: u64,
    /// Whether it is whole.
    pub(crate) ready: bool,
    /// Its length, bytes, once it is.
    pub(crate) bytes: Option<u64>,
    /// SHA-256 of it, in hexadecimal, once it is.
    pub(crate) digest: Option<String>,
}

names! {
    /// What an area is for.
    #[ts(rename = "AreaKind")]
    AreaKindName of AreaKind {
        /// People; a line is the crowd line, people on the side away from the pad.
        People,
        /// Parked cars.
        Cars,
        /// A road.
        Road,
        /// Allowed landing area.
        Landing,
    }
}
