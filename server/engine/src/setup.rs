//! The setup as meant: checked, resolved, in SI. The station reads the file (as told) into this.

use loftwatch_flight::Plan;
use serde::{Deserialize, Serialize};

use crate::preparation::Preparation;

/// Everything told, resolved: defaults written out, contents of files that it names included.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Setup {
    /// Name of the vehicle.
    pub vehicle_name: String,
    /// Name of the site.
    pub site_name: String,
    /// Site, weather, vehicle, motors, bodies, cues.
    pub plan: Plan,
    /// Transmitter numbers of the bodies, by body index.
    pub transmitters: Vec<Option<i64>>,
    /// Named areas on the ground.
    pub areas: Vec<Area>,
    /// Where the wind figure comes from, in words.
    pub wind_source: String,
    /// Receivers' names.
    pub receivers: Vec<String>,
    /// Links.
    pub links: Vec<Link>,
    /// Layouts.
    pub layouts: Vec<loftwatch_radio::Layout>,
    /// What is told for the time before a flight alone. Stores of before schema 6 have none.
    #[serde(default)]
    pub preparation: Preparation,
    /// Keys (dotted, as in the file) whose value is a default, with the value in words.
    pub defaults: Vec<(String, String)>,
}

/// A named area.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Area {
    /// Name.
    pub name: String,
    /// What it is for.
    pub kind: AreaKind,
    /// East and north of the pad, m.
    pub points_m: Vec<[f64; 2]>,
    /// Whether it is a polygon (else a line).
    pub closed: bool,
}

/// What an area is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum AreaKind {
    /// People; a line is the crowd line, people on the side away from the pad.
    People,
    /// Parked cars.
    Cars,
    /// A road.
    Road,
    /// Allowed landing area.
    Landing,
}

/// A source of bytes.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Link {
    /// Name.
    pub name: String,
    /// Receiver whose bytes it carries.
    pub receiver: String,
    /// Where the bytes come from.
    pub source: Source,
    /// How frames are cut.
    pub framing: loftwatch_radio::Framing,
    /// Indices of layouts to try, in order.
    pub layouts: Vec<usize>,
    /// What the quickest packet takes from measurement to receipt, s: onto the air, through it and out of buffers. No clock shows it.
    #[serde(default = "usual_delay_s")]
    pub delay_s: f64,
}

/// Delay of a quick radio, s: taken as nothing it would be wrong one way only. It lies between a hundredth and a tenth of a second (common
/// practice, no source); the estimator takes what is left open as a spread.
pub const USUAL_DELAY_S: f64 = 0.045;

const fn usual_delay_s() -> f64 {
    USUAL_DELAY_S
}

/// Where a link's bytes come from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Source {
    /// A serial port.
    Serial {
        /// Device path.
        path: String,
        /// Baud.
        baud: u32,
        /// 5 to 8.
        data_bits: u8,
        /// none, even, odd.
        parity: Parity,
        /// 1 or 2.
        stop_bits: u8,
        /// Flow control.
        flow: Flow,
    },
    /// Connect to a TCP server.
    TcpConnect {
        /// host:port
        address: String,
    },
    /// Wait for TCP clients.
    TcpListen {
        /// address:port
        address: String,
    },
    /// Receive UDP datagrams (each datagram is one piece of bytes).
    Udp {
        /// address:port
        address: String,
        /// Whether a datagram's end ends a frame; not where they are pieces of a stream that goes on in the next one.
        #[serde(default = "yes")]
        datagrams: bool,
    },
    /// Read a file to its end and on, as it grows.
    File {
        /// Path.
        path: String,
    },
    /// Standard input.
    Stdin,
    /// Wait for a remote receiver that passes on what it keeps.
    Relay {
        /// address:port
        address: String,
        /// File with the key that both ends share.
        key_file: String,
        /// Whether the far end's pieces are datagrams whose end ends a frame.
        #[serde(default)]
        datagrams: bool,
    },
}

const fn yes() -> bool {
    true
}

impl Link {
    /// Whether the end of each piece of bytes ends a frame.
    pub const fn is_in_datagrams(&self) -> bool {
        match self.source {
            Source::Udp { datagrams, .. } | Source::Relay { datagrams, .. } => datagrams,
            _ => false,
        }
    }
}

/// Serial parity.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Parity {
    /// None.
    None,
    /// Even.
    Even,
    /// Odd.
    Odd,
}

/// Serial flow control.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Flow {
    /// None.
    None,
    /// XON/XOFF.
    Software,
    /// RTS/CTS.
    Hardware,
}
