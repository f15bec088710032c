//! The command line.

use std::net::SocketAddr;
use std::path::PathBuf;

use clap::{Args, Parser, Subcommand};

use crate::relay::PassOn;

/// A ground station for amateur high-power rocketry: it listens, keeps every byte, decodes, estimates and predicts,
/// and shows it live to everyone on the range who has a browser. It never transmits to the vehicle.
#[derive(Debug, Parser)]
#[command(name = "loftwatch", version, after_help = CODES, disable_help_subcommand = true)]
pub(crate) struct Cli {
    #[command(subcommand)]
    pub(crate) command: Command,
}

const CODES: &str = "\
Exit codes: 0 done; 2 the command line or the setup file is wrong; 3 the data (store or recording) cannot be used; \
4 a port or an address cannot be used; 1 anything else.
Logs go to standard error; LOFTWATCH_LOG=debug says more.
Every prediction is advice: the range's own officers, the local code and licensed practice decide.";

#[derive(Debug, Subcommand)]
pub(crate) enum Command {
    /// Run the station: open the links of a setup file, record, compute, show.
    Serve(Serve),
    /// Play an invented flight through a pseudo-terminal and show it.
    Demo(Demo),
    /// Compute a recording or stored inputs again, as fast as possible; JSON Lines to standard output.
    Rerun(Rerun),
    /// List the stored flights.
    Flights(Flights),
    /// Write files of a stored flight or day: tables, tracks, captions, audits, the flight sheet, a bundle of all.
    Export(Export),
    /// Lay a log from the vehicle's own memory over its flight; with --keep the smoother hears it, too.
    Log(Log),
    /// Read a data folder whole: is it undamaged, is anything missing, are the outputs what the inputs lead to?
    Check(Flights),
    /// Compute all stored outputs again from the inputs; with --setup from a setup that was mended afterwards.
    Rebuild(Rebuild),
    /// Write a flight into one file, to be taken into another station.
    Pack(Pack),
    /// Take a flight file into a data folder that no station uses at the moment.
    Unpack(Unpack),
    /// Guess the framing of raw bytes: from a file, or from the newest stored bytes of a link.
    Guess(Guess),
    /// Make a file with a new key for a remote receiver; copy it to both ends.
    Key {
        /// The file to make.
        #[arg(value_name = "FILE")]
        file: PathBuf,
    },
    /// List the serial ports found.
    Ports,
    /// Before a flight: margins, and conditions for cues, from a setup file alone.
    Prepare(Prepare),
    /// Look at setup files.
    Setup {
        #[command(subcommand)]
        what: SetupCommand,
    },
}

#[derive(Debug, Args)]
pub(crate) struct Serve {
    /// The setup file. It is read again when it changes.
    #[arg(long, value_name = "FILE")]
    pub(crate) setup: PathBuf,
    /// Where inputs and outputs are kept.
    #[arg(long, value_name = "DIR", default_value = "loftwatch-data")]
    pub(crate) data: PathBuf,
    /// Where the pages are served. The default lets everyone on the local network look.
    #[arg(long, value_name = "ADDRESS:PORT", default_value = "0.0.0.0:8080")]
    pub(crate) listen: SocketAddr,
    /// A PMTiles archive (version 3) of map tiles that the pages may lay under the ground plan.
    #[arg(long, value_name = "FILE")]
    pub(crate) map: Option<PathBuf>,
    /// Rename whatever is in the data folder and start afresh.
    #[arg(long)]
    pub(crate) set_aside: bool,
    /// Be a remote receiver: pass what is kept of a link on to the relay link of another station. May stand several times.
    #[arg(long, value_name = "[LINK=]HOST:PORT", requires = "key")]
    pub(crate) pass_on: Vec<PassOn>,
    /// The file with the key that the other station has too.
    #[arg(long, value_name = "FILE", requires = "pass_on")]
    pub(crate) key: Option<PathBuf>,
}

#[derive(Debug, Args)]
pub(crate) struct Demo {
    /// Which invented flight.
    #[arg(long, value_name = "NAME", default_value = "tall-order")]
    pub(crate) flight: String,
    /// How fast it is played; 1 is real time.
    #[arg(long, value_name = "N", default_value_t = 1.0)]
    pub(crate) speed: f64,
    /// Where inputs and outputs are kept; a new temporary folder if not given.
    #[arg(long, value_name = "DIR")]
    pub(crate) data: Option<PathBuf>,
    /// Where the pages are served; another port is taken if this one is in use.
    #[arg(long, value_name = "ADDRESS:PORT", default_value = "0.0.0.0:8080")]
    pub(crate) listen: SocketAddr,
    /// A PMTiles archive (version 3) of map tiles that the pages may lay under the ground plan.
    #[arg(long, value_name = "FILE")]
    pub(crate) map: Option<PathBuf>,
    /// Play it once instead of again and again.
    #[arg(long)]
    pub(crate) once: bool,
}

#[derive(Debug, Args)]
pub(crate) struct Rerun {
    /// A recording: JSON Lines of {"t_receive": UTC seconds, "link": name, "bytes": base64}; `-` is standard input.
    #[arg(value_name = "RECORDING", required_unless_present = "data", conflicts_with = "data")]
    pub(crate) recording: Option<PathBuf>,
    /// The setup file: needed for a recording, instead of the recorded setup for stored inputs.
    #[arg(long, value_name = "FILE", required_unless_present = "data")]
    pub(crate) setup: Option<PathBuf>,
    /// A data folder whose stored inputs are computed again.
    #[arg(long, value_name = "DIR")]
    pub(crate) data: Option<PathBuf>,
    /// Only the outputs of this flight.
    #[arg(long, value_name = "N", requires = "data")]
    pub(crate) flight: Option<u32>,
    /// Also flights, silences, frames and readings.
    #[arg(long)]
    pub(crate) all: bool,
}

#[derive(Debug, Args)]
pub(crate) struct Prepare {
    /// The setup file.
    #[arg(value_name = "FILE")]
    pub(crate) file: PathBuf,
    /// Print all of it as JSON, in SI units.
    #[arg(long)]
    pub(crate) json: bool,
    /// Plan this cue only; else all that the setup has, as it has them.
    #[arg(long, value_name = "NAME")]
    pub(crate) cue: Option<String>,
    /// Wanted so many seconds before apogee; negative is after it.
    #[arg(long, value_name = "SECONDS", requires = "cue", allow_negative_numbers = true)]
    pub(crate) lead: Option<f64>,
    /// Lag of the electronics' vertical speed, s, instead of the setup's.
    #[arg(long, value_name = "SECONDS", requires = "cue")]
    pub(crate) lag: Option<f64>,
}

#[derive(Debug, Args)]
pub(crate) struct Pack {
    /// The data folder; a station may be using it.
    #[arg(long, value_name = "DIR", default_value = "loftwatch-data")]
    pub(crate) data: PathBuf,
    /// Which flight.
    #[arg(long, value_name = "N")]
    pub(crate) flight: u32,
    /// The file to make, such as `second-try.loftflight`.
    #[arg(value_name = "FILE")]
    pub(crate) file: PathBuf,
}

#[derive(Debug, Args)]
pub(crate) struct Unpack {
    /// The data folder.
    #[arg(long, value_name = "DIR", default_value = "loftwatch-data")]
    pub(crate) data: PathBuf,
    /// The flight file.
    #[arg(value_name = "FILE")]
    pub(crate) file: PathBuf,
}

#[derive(Debug, Args)]
pub(crate) struct Guess {
    /// A file of raw bytes, as the receiver sends them.
    #[arg(value_name = "FILE", required_unless_present = "data", conflicts_with = "data")]
    pub(crate) file: Option<PathBuf>,
    /// The data folder whose stored bytes are looked at.
    #[arg(long, value_name = "DIR")]
    pub(crate) data: Option<PathBuf>,
    /// Which link; needed where there are several.
    #[arg(long, value_name = "NAME", requires = "data")]
    pub(crate) link: Option<String>,
    /// The baud rate that they were read at; that of the stored setup if left out.
    #[arg(long, value_name = "BAUD")]
    pub(crate) baud: Option<u32>,
}

#[derive(Debug, Args)]
pub(crate) struct Export {
    /// What to write: `estimates.csv`, `readings.parquet`, `track.kml`, `sheet.pdf`, `bundle.zip` and so on; an unknown name
    /// is answered with all there are.
    #[arg(value_name = "FILE", required = true)]
    pub(crate) files: Vec<String>,
    /// The data folder.
    #[arg(long, value_name = "DIR", default_value = "loftwatch-data")]
    pub(crate) data: PathBuf,
    /// The flight, by its number.
    #[arg(long, value_name = "N", conflicts_with = "day", required_unless_present = "day")]
    pub(crate) flight: Option<u32>,
    /// All flights of a date, such as 2026-06-12, where this machine stands.
    #[arg(long, value_name = "DATE")]
    pub(crate) day: Option<jiff::civil::Date>,
    /// The folder to write to.
    #[arg(long, value_name = "DIR", default_value = ".")]
    pub(crate) to: PathBuf,
    /// `si` (default) or `imperial`.
    #[arg(long, value_name = "UNITS")]
    pub(crate) units: Option<String>,
    /// Columns of a table, with commas between, instead of all.
    #[arg(long, value_name = "NAMES")]
    pub(crate) columns: Option<String>,
    /// Rows a second of `estimates` and `smoothed`, instead of those that are stored: straight lines between neighbours.
    #[arg(long, value_name = "HZ")]
    pub(crate) rate_hz: Option<String>,
    /// Captions: flight time, in seconds since liftoff, at the footage's zero.
    #[arg(long, value_name = "S", allow_hyphen_values = true)]
    pub(crate) starts_s: Option<String>,
    /// Captions: seconds of footage for a second of flight.
    #[arg(long, value_name = "RATE")]
    pub(crate) clock_rate: Option<String>,
    /// The flight sheet's paper: `a4` (default) or `letter`.
    #[arg(long, value_name = "PAPER")]
    pub(crate) paper: Option<String>,
}

#[derive(Debug, Args)]
pub(crate) struct Log {
    /// The log: CSV with a header row.
    #[arg(value_name = "LOG")]
    pub(crate) file: PathBuf,
    /// What its columns are: a small TOML file.
    #[arg(long, value_name = "FILE")]
    pub(crate) columns: PathBuf,
    /// The data folder.
    #[arg(long, value_name = "DIR", default_value = "loftwatch-data")]
    pub(crate) data: PathBuf,
    /// The flight, by its number.
    #[arg(long, value_name = "N")]
    pub(crate) flight: u32,
    /// Keep it with the flight.
    #[arg(long)]
    pub(crate) keep: bool,
}

#[derive(Debug, Args)]
pub(crate) struct Rebuild {
    /// The data folder. No station may be using it.
    #[arg(long, value_name = "DIR", default_value = "loftwatch-data")]
    pub(crate) data: PathBuf,
    /// A setup file to compute with from now on, instead of the setups that were told when the bytes came. That is written
    /// down beside them; what was received and told stays as it is.
    #[arg(long, value_name = "FILE")]
    pub(crate) setup: Option<PathBuf>,
    /// Only in place of setups that held at or after this instant, such as 2026-06-12T09:00:00Z.
    #[arg(long, value_name = "INSTANT", requires = "setup")]
    pub(crate) from: Option<jiff::Timestamp>,
    /// Only in place of setups that held at or before this instant.
    #[arg(long, value_name = "INSTANT", requires = "setup")]
    pub(crate) to: Option<jiff::Timestamp>,
}

#[derive(Debug, Args)]
pub(crate) struct Flights {
    /// The data folder.
    #[arg(long, value_name = "DIR", default_value = "loftwatch-data")]
    pub(crate) data: PathBuf,
}

#[derive(Debug, Subcommand)]
pub(crate) enum SetupCommand {
    /// Print what a setup file means, or every mistake in it.
    Check {
        /// The setup file.
        #[arg(value_name = "FILE")]
        file: PathBuf,
        /// Print all of it as JSON, in SI units: {"setup": ..., "notes": [...]}.
        #[arg(long)]
        json: bool,
    },
    /// Print a C header that packs and frames what a link carries, for the flight electronics.
    Header(Packets),
    /// Print a reference of what a link carries, in Markdown, for people.
    Sheet(Packets),
}

#[derive(Debug, Args)]
pub(crate) struct Packets {
    /// The setup file.
    #[arg(value_name = "FILE")]
    pub(crate) file: PathBuf,
    /// Which link; needed where there are several with layouts.
    #[arg(long, value_name = "NAME")]
    pub(crate) link: Option<String>,
}
