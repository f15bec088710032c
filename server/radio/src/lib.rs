//! Framings, layouts, decoding and link statistics: from bytes to values.
//!
//! The way of the bytes of one link:
//!
//! - [`Splitter`] cuts the stream into [`Frame`]s, good or [`Wrong`], as a [`Framing`] says;
//! - [`Layout`] turns the payload of a good frame into [`Decoded`] values, each with a [`Meaning`], in SI units;
//! - [`merge::Merger`] tells copies of one packet at several receivers, [`stats::LinkStats`] counts what is lost;
//! - [`electronics`] writes what the other end needs to send such packets;
//! - [`clock::OnboardClock`] says when a packet's measurements were made, by the station's clock.
//!
//! ```
//! use loftwatch_radio::{Cut, Framing, LineChecksum, Splitter};
//!
//! let framing = Framing { cut: Cut::Lines { checksum: LineChecksum::Optional }, crc: None, max_length: 1024 };
//! let mut splitter = Splitter::new(&framing);
//! let mut texts = Vec::new();
//! // The exclusive or of "LW1,42" by hand: 4C^57=1B, ^31=2A, ^2C=06, ^34=32, ^32=00.
//! for bytes in [&b"$LW1,"[..], b"42*00\r\nLW1,", b"43\n"] {
//!     splitter.push(bytes, 0, &mut |frame| texts.push(String::from_utf8_lossy(frame.payload.unwrap()).into_owned()));
//! }
//! assert_eq!(texts, ["$LW1,42", "LW1,43"]);
//! ```
//!
//! Everything is pure, bounded in memory and serialisable to the bit. This crate must not know clocks, files, threads,
//! the environment or the flight; its `clippy.toml` holds it to that.

pub mod clock;
pub mod electronics;
mod framing;
mod layout;
mod meaning;
pub mod merge;
pub mod spelling;
pub mod stats;

pub use framing::*;
pub use layout::*;
pub use meaning::*;
