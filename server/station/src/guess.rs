//! `loftwatch guess`: what framing some bytes look like, offered as lines for the setup.

use std::fmt::Write as _;
use std::io::Read as _;
use std::path::Path;

use loftwatch_radio::{CrcCovers, Cut, Guess, LengthCounts, LengthField, LineChecksum, guess};

use crate::cli;
use crate::failure::Failure;
use crate::store::{StoreError, inputs};
use crate::{lists, meant};

/// Bytes that are looked at.
const LOOKED_AT: usize = 16 * 1024;
/// Guesses that are told.
const TOLD: usize = 3;

pub(crate) async fn run(wanted: &cli::Guess) -> Result<(), Failure> {
    let bytes = match (&wanted.file, &wanted.data) {
        (Some(file), _) => read(file)?,
        (None, Some(data)) => stored(data, wanted.link.as_deref()).await?,
        (None, None) => return Err(Failure::usage("give a file of raw bytes, or --data DIR")),
    };
    lists::print(&words(bytes.len(), &guess(&bytes)))
}

fn read(file: &Path) -> Result<Vec<u8>, Failure> {
    let mut bytes = Vec::new();
    std::fs::File::open(file)
        .and_then(|open| open.take(LOOKED_AT as u64).read_to_end(&mut bytes))
        .map_err(|error| Failure::data(format!("`{}` cannot be read: {error}", file.display())))?;
    Ok(bytes)
}

/// The newest bytes of a link.
async fn stored(data: &Path, link: Option<&str>) -> Result<Vec<u8>, Failure> {
    let (pool, file) = inputs::readers_of_stored(data).await?;
    let failed = |error| Failure::from(StoreError::sql(&file, "being read")(error));
    let links: Vec<String> = inputs::stored_bytes(&pool).await.map_err(failed)?.into_keys().collect();
    let link = match (link, &links[..]) {
        (Some(link), links) if links.iter().any(|known| known == link) => link.to_owned(),
        (None, [only]) => only.clone(),
        _ => return Err(Failure::usage(format!("name one of the links with --link: {}", links.join(", ")))),
    };
    let newest = inputs::newest_bytes(&pool, &link, LOOKED_AT).await.map_err(failed)?;
    pool.close().await;
    Ok(newest)
}

fn words(looked_at: usize, guesses: &[Guess]) -> String {
    let mut text = String::new();
    if guesses.is_empty() {
        let _ = writeln!(
            text,
            "{looked_at} bytes that look like no framing known here. Are there several seconds of them? With a wrong baud rate \
             everything looks like noise: try the link with another one. Frames of fixed length without a sync word are not \
             guessed at."
        );
    }
    for (nth, guess) in guesses.iter().take(TOLD).enumerate() {
        let front = if nth == 0 { "This looks like" } else { "It could also be" };
        let _ = writeln!(
            text,
            "{front} {}: {} of {} frames fit.\n\n{}",
            meant::framing(&guess.framing),
            guess.fit,
            guess.frames,
            keys(guess)
        );
    }
    if !guesses.is_empty() {
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
