//! What some bytes look like: a guess at their framing, offered and never assumed.
//!
//! Each way of cutting is tried, and every CRC of the catalogue in both byte orders on what it cuts. A guess with a CRC has
//! fitted so many frames that chance gives one in some 2^40 tries; one without rests on the look alone and comes after those.
//! Not guessed at: frames of fixed length without a sync word, and sync words that begin with the same byte twice.

use std::collections::{BTreeMap, BTreeSet};

use super::crc::Check;
use super::{Crc, CrcCovers, Cut, Frame, Framing, LengthCounts, LengthField, LineChecksum, Splitter};

/// Bytes that are looked at.
const LOOKED_AT: usize = 16 * 1024;
/// Frames on which CRCs are tried.
const TRIED: usize = 24;
/// Fewest frames that are worth a guess.
const FEWEST: usize = 6;
/// Lines with a checksum that settle that they have one, if they are more than half.
const MANY: usize = 20;
/// Bits that must fit by more than chance.
const BITS: usize = 40;
/// Greatest length taken, bytes: that of a setup that tells none.
const MAX_LENGTH: usize = 1024;
/// Frequent pairs of bytes that are tried as a sync word.
const PAIRS: usize = 12;

/// A framing that the bytes fit.
#[derive(Clone, Debug, PartialEq)]
pub struct Guess {
    /// The framing.
    pub framing: Framing,
    /// Whole frames that were looked at.
    pub frames: usize,
    /// How many of them fit, the checksum too where there is one.
    pub fit: usize,
}

/// What the bytes look like, the likeliest first; empty if like nothing known.
pub fn guess(bytes: &[u8]) -> Vec<Guess> {
    let bytes = &bytes[..bytes.len().min(LOOKED_AT)];
    let checks = Checks::new();
    let mut all: Vec<Guess> = Vec::new();
    all.extend(lines(bytes));
    all.extend(delimited(bytes, 0x00, &checks));
    all.extend(delimited(bytes, 0xc0, &checks));
    all.extend(marked(bytes, &checks));
    // What was counted in passing may overlap: only what a receiver would really cut out is offered.
    all.retain(|guess| cuts_out_of(bytes, &guess.framing));
    // Stable: within a class as tried.
    all.sort_by_key(|guess| (!is_checked(&guess.framing), std::cmp::Reverse(guess.fit)));
    // Beside one that a checksum bears out, a mere look is worth nothing.
    if all.first().is_some_and(|guess| is_checked(&guess.framing)) {
        all.retain(|guess| is_checked(&guess.framing));
    }
    all.dedup_by(|a, b| a.framing == b.framing);
    all
}

fn cuts_out_of(bytes: &[u8], framing: &Framing) -> bool {
    let mut good = false;
    let mut splitter = Splitter::new(framing);
    let mut see = |frame: Frame<'_>| good |= frame.payload.is_ok();
    splitter.push(bytes, 0, &mut see);
    splitter.reset(&mut see);
    good
}

fn is_checked(framing: &Framing) -> bool {
    framing.crc.is_some() || matches!(framing.cut, Cut::Lines { checksum: LineChecksum::Xor })
}

/// Every CRC of whole bytes, ready.
struct Checks(Vec<(&'static str, Check)>);

impl Checks {
    fn new() -> Self {
        let ready = |name: &'static str| {
            let check = Check::new(&Crc { name: name.to_owned(), big_endian: true })?;
            // Narrower ones say too little, and nobody stores them in whole bytes.
            (check.width.is_multiple_of(8)).then_some((name, check))
        };
        Self(Crc::names().filter_map(ready).collect())
    }

    /// The CRC that fits most of the frames, and more than half of them: the others may be damaged. Each frame as what it
    /// covers with its stored CRC behind.
    fn find(&self, frames: &[Vec<u8>], stored: Option<usize>) -> Option<(Crc, usize)> {
        let tried = samples(frames);
        let mut best: Option<(Crc, usize)> = None;
        for (name, check) in self.0.iter().filter(|(_, c)| stored.is_none_or(|stored| c.stored == stored)) {
            for big_endian in [true, false] {
                let check = check.with_order(big_endian);
                // Many frames fit, or it is not this one: a few settle that.
                if tried.iter().take(8).filter(|frame| check.strip(frame).is_ok()).count() < 3 {
                    continue;
                }
                let fit = tried.iter().filter(|frame| check.strip(frame).is_ok()).count();
                let enough = fit * 2 > tried.len() && (fit - 1) * usize::from(check.width) >= BITS;
                if enough && best.as_ref().is_none_or(|(_, most)| fit > *most) {
                    let all = frames.iter().filter(|frame| check.strip(frame).is_ok()).count();
                    best = Some((Crc { name: (*name).to_owned(), big_endian }, all));
                }
            }
        }
        best
    }
}

/// Some of the frames that differ, from all over the stream: the first in any order may be the damaged ones.
fn samples(frames: &[Vec<u8>]) -> Vec<&Vec<u8>> {
    let mut seen = BTreeSet::new();
    let different: Vec<&Vec<u8>> = frames.iter().filter(|frame| seen.insert(*frame)).collect();
    let step = different.len().div_ceil(TRIED).max(1);
    different.into_iter().step_by(step).collect()
}

fn lines(bytes: &[u8]) -> Option<Guess> {
    let mut lines: Vec<&[u8]> = bytes.split(|byte| matches!(byte, b'\r' | b'\n')).collect();
    // The first may have begun before, the last goes on.
    lines.pop();
    let whole: Vec<&[u8]> = lines.into_iter().skip(1).filter(|line| !line.is_empty()).collect();
    let text = |line: &&&[u8]| {
        std::str::from_utf8(line).is_ok_and(|text| text.chars().all(|c| c == '\t' || !c.is_control()))
    };
    let fit = whole.iter().filter(text).count();
    let summed = whole.iter().filter(|line| has_sum(line)).count();
    if whole.len() < FEWEST {
        return None;
    }
    // Chance gives one line in 256 its checksum: where more than half of them have it, the others are damaged.
    let (checksum, fit) = if summed * 10 >= whole.len() * 8 || (summed * 2 > whole.len() && summed > MANY) {
        (LineChecksum::Xor, summed)
    } else if fit * 10 >= whole.len() * 9 {
        (LineChecksum::None, fit)
    } else {
        return None;
    };
    let framing = Framing { cut: Cut::Lines { checksum }, crc: None, max_length: MAX_LENGTH };
    Some(Guess { framing, frames: whole.len(), fit })
}

/// Whether a line ends in its exclusive or.
fn has_sum(line: &[u8]) -> bool {
    let Some((body, [b'*', high, low])) = line.split_last_chunk::<3>() else { return false };
    let body = body.strip_prefix(b"$").or_else(|| body.strip_prefix(b"!")).unwrap_or(body);
    let sum = body.iter().fold(0, |sum, byte| sum ^ byte);
    format!("{sum:02x}").as_bytes().eq_ignore_ascii_case(&[*high, *low])
}

/// COBS between zeros, SLIP and KISS between C0.
fn delimited(bytes: &[u8], delimiter: u8, checks: &Checks) -> Vec<Guess> {
    let mut chunks: Vec<&[u8]> = bytes.split(|byte| *byte == delimiter).collect();
    chunks.pop();
    let whole: Vec<&[u8]> = chunks.into_iter().skip(1).filter(|chunk| !chunk.is_empty()).collect();
    let open = |chunk: &&[u8]| if delimiter == 0 { cobs(chunk) } else { slip(chunk) };
    let frames: Vec<Vec<u8>> = whole.iter().filter_map(open).collect();
    let opened = frames.iter().filter(|frame| frame.len() >= 4).count();
    if opened < FEWEST || opened * 2 < whole.len() {
        return Vec::new();
    }
    let crc = checks.find(&frames, None);
    // Without a CRC to bear it out, nearly all must look like it.
    if crc.is_none() && opened * 10 < whole.len() * 8 {
        return Vec::new();
    }
    let fit = crc.as_ref().map_or(frames.len(), |(_, fit)| *fit);
    let guess = |cut: Cut| Guess {
        framing: Framing { cut, crc: crc.as_ref().map(|(crc, _)| crc.clone()), max_length: MAX_LENGTH },
        frames: whole.len(),
        fit,
    };
    if delimiter == 0 {
        return vec![guess(Cut::Cobs)];
    }
    // Data frames of one port: all begin alike, and with command 0.
    let first = frames[0].first().copied();
    let kiss = first.is_some_and(|byte| byte % 16 == 0) && frames.iter().all(|f| f.first().copied() == first);
    if kiss { vec![guess(Cut::Kiss), guess(Cut::Slip)] } else { vec![guess(Cut::Slip)] }
}

fn cobs(chunk: &[u8]) -> Option<Vec<u8>> {
    let mut out = Vec::with_capacity(chunk.len());
    let mut rest = chunk;
    while let Some((code, behind)) = rest.split_first() {
        let (run, next) = behind.split_at_checked(usize::from(*code) - 1)?;
        out.extend_from_slice(run);
        if *code < 0xff && !next.is_empty() {
            out.push(0);
        }
        rest = next;
    }
    Some(out)
}

fn slip(chunk: &[u8]) -> Option<Vec<u8>> {
    let mut out = Vec::with_capacity(chunk.len());
    let mut bytes = chunk.iter();
    while let Some(byte) = bytes.next() {
        out.push(match byte {
            0xdb => match bytes.next()? {
                0xdc => 0xc0,
                0xdd => 0xdb,
                _ => return None,
            },
            other => *other,
        });
    }
    Some(out)
}

/// Frames that begin with a sync word: with a length behind it, or all of one length.
fn marked(bytes: &[u8], checks: &Checks) -> Vec<Guess> {
    let mut count: BTreeMap<[u8; 2], usize> = BTreeMap::new();
    for pair in bytes.windows(2) {
        *count.entry([pair[0], pair[1]]).or_default() += 1;
    }
    let mut pairs: Vec<([u8; 2], usize)> =
        count.into_iter().filter(|(pair, n)| *n >= FEWEST && pair[0] != pair[1]).collect();
    pairs.sort_by_key(|(_, n)| std::cmp::Reverse(*n));
    let mut all = Vec::new();
    for (pair, _) in pairs.into_iter().take(PAIRS) {
        for sync in words(bytes, pair) {
            all.extend(counted(bytes, &sync, checks));
            all.extend(fixed(bytes, &sync, checks));
        }
    }
    all
}

/// The pair, and the longer words that begin with it and are as frequent.
fn words(bytes: &[u8], pair: [u8; 2]) -> Vec<Vec<u8>> {
    let mut words = vec![pair.to_vec()];
    let places = places(bytes, &pair);
    for length in 3..=4 {
        let behind = places.first().and_then(|at| bytes.get(*at..at + length));
        match behind {
            Some(word)
                if places.iter().filter(|at| bytes[**at..].starts_with(word)).count() + 1 >= places.len() =>
            {
                words.push(word.to_vec());
            }
            _ => break,
        }
    }
    words
}

fn places(bytes: &[u8], word: &[u8]) -> Vec<usize> {
    (0..bytes.len()).filter(|at| bytes[*at..].starts_with(word)).collect()
}

fn covered(frame: &[u8], sync: usize, head: usize, covers: CrcCovers) -> Vec<u8> {
    match covers {
        CrcCovers::Payload => frame[head..].to_vec(),
        CrcCovers::LengthAndPayload => frame[sync..].to_vec(),
        CrcCovers::All => frame.to_vec(),
    }
}

fn counted(bytes: &[u8], sync: &[u8], checks: &Checks) -> Vec<Guess> {
    let places = places(bytes, sync);
    let mut all = Vec::new();
    for (length, wide) in [(LengthField::U8, 1), (LengthField::U16Le, 2), (LengthField::U16Be, 2)] {
        let head = sync.len() + wide;
        for (counts, stored) in [
            (LengthCounts::Payload, Some(1)),
            (LengthCounts::Payload, Some(2)),
            (LengthCounts::Payload, Some(3)),
            (LengthCounts::Payload, Some(4)),
            (LengthCounts::Payload, Some(8)),
            (LengthCounts::PayloadAndCrc, None),
            (LengthCounts::Whole, None),
        ] {
            let frame = |at: &usize| {
                let field = bytes.get(at + sync.len()..at + head)?;
                let told = match length {
                    LengthField::U8 => usize::from(field[0]),
                    LengthField::U16Le => usize::from(u16::from_le_bytes([field[0], field[1]])),
                    LengthField::U16Be => usize::from(u16::from_be_bytes([field[0], field[1]])),
                };
                let whole = match counts {
                    LengthCounts::Payload => head + told + stored.unwrap_or(0),
                    LengthCounts::PayloadAndCrc => head + told,
                    LengthCounts::Whole => told,
                };
                let frame = bytes.get(*at..at + whole).filter(|_| whole > head)?;
                // The next one follows, or the bytes end there.
                let next = &bytes[at + whole..];
                (next.starts_with(sync) || next.is_empty()).then(|| frame.to_vec())
            };
            let frames: Vec<Vec<u8>> = places.iter().filter_map(frame).collect();
            if frames.len() < FEWEST || frames.iter().map(Vec::len).sum::<usize>() * 10 < bytes.len() * 6 {
                continue;
            }
            let cut = |crc_covers| Cut::Sync { sync: sync.to_vec(), length, counts, crc_covers };
            let found = with_crc(&frames, sync.len(), head, stored, checks);
            if let Some((covers, crc, fit)) = found {
                let framing = Framing { cut: cut(covers), crc: Some(crc), max_length: MAX_LENGTH };
                all.push(Guess { framing, frames: places.len().max(fit), fit });
            } else if stored.is_none() {
                // Without a CRC the payload is all that is left of the frame.
                let counts_payload = counts == LengthCounts::PayloadAndCrc;
                let counts = if counts_payload { LengthCounts::Payload } else { counts };
                let cut = Cut::Sync { sync: sync.to_vec(), length, counts, crc_covers: CrcCovers::Payload };
                let framing = Framing { cut, crc: None, max_length: MAX_LENGTH };
                all.push(Guess { framing, frames: places.len(), fit: frames.len() });
            }
        }
    }
    all
}

fn with_crc(
    frames: &[Vec<u8>],
    sync: usize,
    head: usize,
    stored: Option<usize>,
    checks: &Checks,
) -> Option<(CrcCovers, Crc, usize)> {
    [CrcCovers::Payload, CrcCovers::LengthAndPayload, CrcCovers::All].into_iter().find_map(|covers| {
        let covered: Vec<Vec<u8>> = frames.iter().map(|frame| covered(frame, sync, head, covers)).collect();
        checks.find(&covered, stored).map(|(crc, fit)| (covers, crc, fit))
    })
}

fn fixed(bytes: &[u8], sync: &[u8], checks: &Checks) -> Option<Guess> {
    let places = places(bytes, sync);
    let mut gaps: BTreeMap<usize, usize> = BTreeMap::new();
    for pair in places.windows(2) {
        *gaps.entry(pair[1] - pair[0]).or_default() += 1;
    }
    let (length, often) = gaps.into_iter().max_by_key(|(_, often)| *often)?;
    if often < FEWEST || often * length * 10 < bytes.len() * 6 || length < sync.len() + 2 {
        return None;
    }
    let frames: Vec<Vec<u8>> = places
        .iter()
        .filter(|at| bytes.get(**at + length..).is_some_and(|next| next.starts_with(sync) || next.is_empty()))
        .map(|at| bytes[*at..at + length].to_vec())
        .collect();
    let found = [CrcCovers::Payload, CrcCovers::All].into_iter().find_map(|covers| {
        let covered: Vec<Vec<u8>> =
            frames.iter().map(|f| covered(f, sync.len(), sync.len(), covers)).collect();
        checks.find(&covered, None).map(|(crc, fit)| (covers, crc, fit))
    });
    let (crc_covers, crc, fit) = match found {
        Some((covers, crc, fit)) => (covers, Some(crc), fit),
        None => (CrcCovers::Payload, None, frames.len()),
    };
    let cut = Cut::Fixed { length, sync: sync.to_vec(), crc_covers };
    Some(Guess { framing: Framing { cut, crc, max_length: MAX_LENGTH }, frames: frames.len(), fit })
}
