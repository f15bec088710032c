//! `loftwatch guess`: what framing some bytes look like, offered as lines for the setup.

use std::fmt::Write as _;
use std::io::Read as _;
use std::path::Path;

use loftwatch_engine::setup::{Link, Source};
use loftwatch_radio::{CrcCovers, Cut, Guess, LengthCounts, LengthField, LineChecksum, Rate, guess, rate};

use crate::cli;
use crate::failure::Failure;
use crate::store::{StoreError, inputs};
use crate::{lists, meant};

/// Bytes that are looked at.
pub(crate) const LOOKED_AT: usize = 16 * 1024;
/// Guesses that are told.
const TOLD: usize = 3;
/// Rates that serial radios are commonly set to, baud. Common practice, no source.
const RATES: [u32; 12] =
    [1200, 2400, 4800, 9600, 19_200, 38_400, 57_600, 115_200, 230_400, 460_800, 500_000, 921_600];

pub(crate) async fn run(wanted: &cli::Guess) -> Result<(), Failure> {
    let (bytes, baud) = match (&wanted.file, &wanted.data) {
        (Some(file), _) => (read(file)?, wanted.baud),
        (None, Some(data)) => {
            let (bytes, baud) = stored(data, wanted.link.as_deref()).await?;
            (bytes, wanted.baud.or(baud))
        }
        (None, None) => return Err(Failure::usage("give a file of raw bytes, or --data DIR")),
    };
    lists::print(&words(bytes.len(), &Look::at(&bytes, baud)))
}

/// What some bytes look like, in words: offered, never assumed.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Look {
    /// Framings that fit, the likeliest first.
    pub(crate) offers: Vec<Offer>,
    /// What they say of the baud rate, where no framing fits.
    pub(crate) rate: Option<String>,
}

/// One framing that fits.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Offer {
    /// "This looks like COBS, CRC-16/...: 40 of 41 frames fit."
    pub(crate) words: String,
    /// The lines for the setup.
    pub(crate) keys: String,
}

impl Look {
    /// Looks at bytes, the newest of a link. `baud`: the rate that they were read at, for a serial line.
    pub(crate) fn at(bytes: &[u8], baud: Option<u32>) -> Self {
        let bytes = &bytes[bytes.len().saturating_sub(LOOKED_AT)..];
        let offers: Vec<Offer> =
            guess(bytes).iter().take(TOLD).enumerate().map(|(nth, guess)| offer(nth, guess)).collect();
        let rate = if offers.is_empty() { rate_words(rate(bytes), baud) } else { None };
        Self { offers, rate }
    }
}

/// The rate that a link reads at, if it is a serial port.
pub(crate) fn baud(link: &Link) -> Option<u32> {
    match &link.source {
        Source::Serial { baud, .. } => Some(*baud),
        _ => None,
    }
}

fn rate_words(rate: Rate, baud: Option<u32>) -> Option<String> {
    match rate {
        Rate::TimesTooFast(times) => {
            let sent = baud.map(|baud| f64::from(baud) / f64::from(times));
            let near = |rate: &&u32| sent.is_some_and(|sent| (f64::from(**rate) / sent - 1.0).abs() < 0.02);
            let remedy = match (RATES.iter().find(near), sent) {
                (Some(rate), _) => format!("try `baud = {rate}`"),
                (None, Some(sent)) => format!("try a rate near {sent:.0}"),
                (None, None) => format!("try a {times} times lower baud rate"),
            };
            Some(format!(
                "Nearly every pulse in them lasts {times} bits or a multiple of that, as if they had been sent {times} times \
                 slower than they were read: {remedy}."
            ))
        }
        Rate::FarTooFast => Some(
            "Nearly all of them are zeros, as if they had been sent far slower than they were read, most often more than eight \
             times, or as if the line were held low: try a lower baud rate, and look at the wires."
                .to_owned(),
        ),
        Rate::Unknown => None,
    }
}

fn read(file: &Path) -> Result<Vec<u8>, Failure> {
    let mut bytes = Vec::new();
    std::fs::File::open(file)
        .and_then(|open| open.take(LOOKED_AT as u64).read_to_end(&mut bytes))
        .map_err(|error| Failure::data(format!("`{}` cannot be read: {error}", file.display())))?;
    Ok(bytes)
}

/// The newest bytes of a link, and the rate that it reads at.
async fn stored(data: &Path, link: Option<&str>) -> Result<(Vec<u8>, Option<u32>), Failure> {
    let (pool, file) = inputs::readers_of_stored(data).await?;
    let failed = |error| Failure::from(StoreError::sql(&file, "being read")(error));
    let links: Vec<String> = inputs::stored_bytes(&pool).await.map_err(failed)?.into_keys().collect();
    let link = match (link, &links[..]) {
        (Some(link), links) if links.iter().any(|known| known == link) => link.to_owned(),
        (None, [only]) => only.clone(),
        _ => return Err(Failure::usage(format!("name one of the links with --link: {}", links.join(", ")))),
    };
    let newest = inputs::newest_bytes(&pool, &link, LOOKED_AT).await.map_err(failed)?;
    let setup = inputs::last_setup(&pool).await.map_err(failed)?;
    let told = setup.and_then(|(_, setup)| setup.links.iter().find(|told| told.name == link).and_then(baud));
    pool.close().await;
    Ok((newest, told))
}

fn offer(nth: usize, guess: &Guess) -> Offer {
    let front = if nth == 0 { "This looks like" } else { "It could also be" };
    let framing = meant::framing(&guess.framing);
    Offer {
        words: format!("{front} {framing}: {} of {} frames fit.", guess.fit, guess.frames),
        keys: keys(guess),
    }
}

fn words(looked_at: usize, look: &Look) -> String {
    let mut text = String::new();
    if look.offers.is_empty() {
        let rate = look.rate.as_deref().unwrap_or(
            "Are there several seconds of them? With a wrong baud rate everything looks like noise: try the link with another \
             one.",
        );
        let _ = writeln!(
            text,
            "{looked_at} bytes that look like no framing known here. {rate} Frames of fixed length without a sync word are not \
             guessed at."
        );
    }
    for offer in &look.offers {
        let _ = writeln!(text, "{}\n\n{}", offer.words, offer.keys);
    }
    if !look.offers.is_empty() {
        text.push_str("A guess, from the bytes alone: try it and look at the count of wrong frames.\n");
    }
    text
}

/// The lines for the setup.
fn keys(guess: &Guess) -> String {
    let mut text = "[link.framing]\n".to_owned();
    let mut key = |key: &str, value: &str| {
        let _ = writeln!(text, "{key} = \"{value}\"");
    };
    let hex = |sync: &[u8]| sync.iter().map(|byte| format!("{byte:02X}")).collect::<Vec<_>>().join(" ");
    let covers = |covers: &CrcCovers| match covers {
        CrcCovers::Payload => "payload",
        CrcCovers::LengthAndPayload => "length+payload",
        CrcCovers::All => "all",
    };
    let mut number = None;
    match &guess.framing.cut {
        Cut::Lines { checksum } => {
            key("kind", "lines");
            key("checksum", if *checksum == LineChecksum::Xor { "xor" } else { "none" });
        }
        Cut::Cobs => key("kind", "cobs"),
        Cut::Slip => key("kind", "slip"),
        Cut::Kiss => key("kind", "kiss"),
        Cut::Sync { sync, length, counts, crc_covers } => {
            key("kind", "sync");
            key("sync", &hex(sync));
            key(
                "length",
                match length {
                    LengthField::U8 => "u8",
                    LengthField::U16Le => "u16le",
                    LengthField::U16Be => "u16be",
                },
            );
            key(
                "length_counts",
                match counts {
                    LengthCounts::Payload => "payload",
                    LengthCounts::PayloadAndCrc => "payload+crc",
                    LengthCounts::Whole => "whole",
                },
            );
            if guess.framing.crc.is_some() {
                key("crc_covers", covers(crc_covers));
            }
        }
        Cut::Fixed { length, sync, crc_covers } => {
            key("kind", "fixed");
            key("sync", &hex(sync));
            if guess.framing.crc.is_some() {
                key("crc_covers", covers(crc_covers));
            }
            number = Some(*length);
        }
    }
    if let Some(crc) = &guess.framing.crc {
        key("crc", &crc.name);
        key("crc_order", if crc.big_endian { "big" } else { "little" });
    }
    if let Some(length) = number {
        let _ = writeln!(text, "length = {length}");
    }
    text
}
