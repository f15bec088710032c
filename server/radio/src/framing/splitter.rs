//! Carries a link's bytes from one call to the next and hands out frames.
//!
//! The frames depend on the bytes alone: any cutting of the stream into calls gives the same ones, each with the time
//! of the call that brought its last byte. Memory is bounded by the greatest frame length and one piece of 16 KiB.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use super::crc::Check;
use super::look::{Around, Look, Payload};
use super::recent::Recent;
use super::run::Run;
use super::{Cut, Framing, Wrong, cobs, fixed, kiss, lines, slip, sync};
use crate::layout::{Encoding, Form, Layout, Packet};

/// Bytes taken in at once. Larger costs memory, smaller costs a look at the unfinished frame more often.
const PIECE: usize = 16 * 1024;

/// Bytes cut out of a stream, good or wrong.
#[derive(Clone, Debug, PartialEq)]
pub struct Frame<'a> {
    /// Exactly as received, delimiters not included. Of a long run of bytes that belong to no frame, the first ones.
    pub raw: &'a [u8],
    /// What it carries, checksum and framing taken off, or what is wrong.
    pub payload: Result<&'a [u8], Wrong>,
    /// Whether a checksum or a CRC was there and held. Of lines it may be optional.
    pub checked: bool,
    /// Time of the call that brought its last byte, as given to [`Splitter::push`].
    pub t_ns: i64,
    /// Place of its first byte in the link's stream, counted from the first byte ever pushed.
    pub offset: u64,
}

/// What layouts say about frames, so that one glued to noise can be found again.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Hints {
    /// What every line begins with. Empty if some layout does not say.
    pub starts: Vec<String>,
    /// Likely lengths of payloads, CRC not included, beside those that the layouts say.
    pub lengths: Vec<usize>,
    /// Packets of the layouts.
    pub packets: Vec<Packet>,
}

impl Hints {
    /// What the layouts of a link say.
    pub fn of<'a>(layouts: impl IntoIterator<Item = &'a Layout>) -> Self {
        let mut hints = Self::default();
        let mut all_start = true;
        for layout in layouts {
            hints.packets.extend(Packet::of(layout));
            match &layout.form {
                Form::Text { starts_with: Some(start), .. } if !start.is_empty() => {
                    hints.starts.push(start.clone());
                }
                Form::Keyed { encoding: Encoding::Json, .. } => hints.starts.push("{".to_owned()),
                Form::Nmea { .. } => hints.starts.push("$".to_owned()),
                _ => all_start = false,
            }
        }
        if !all_start {
            hints.starts.clear();
        }
        hints
    }
}

/// Cuts one link's stream into frames. See [`Framing`].
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(from = "State", into = "State")]
pub struct Splitter {
    state: State,
    check: Option<Check>,
    scratch: Vec<u8>,
}

/// All that must outlive a restart.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct State {
    framing: Framing,
    starts: Vec<String>,
    packets: Vec<Packet>,
    recent: Recent,
    /// Bytes not yet cut.
    pending: Vec<u8>,
    /// Bytes at the front of `pending` that hold no delimiter.
    searched: usize,
    /// Place of the first byte of `pending` in the stream.
    offset: u64,
    /// Where in the stream each call's bytes end, and its time.
    marks: VecDeque<(u64, i64)>,
    run: Run,
    in_step: bool,
}

impl From<State> for Splitter {
    fn from(state: State) -> Self {
        let check = state.framing.crc.as_ref().and_then(Check::new);
        Self { state, check, scratch: Vec::new() }
    }
}

impl From<Splitter> for State {
    fn from(splitter: Splitter) -> Self {
        splitter.state
    }
}

impl PartialEq for Splitter {
    fn eq(&self, other: &Self) -> bool {
        self.state == other.state
    }
}

impl Splitter {
    /// A splitter at the start of a stream. A framing with problems ([`Framing::check`]) is cut as well as it can be:
    /// an unknown CRC is not checked.
    pub fn new(framing: &Framing) -> Self {
        Self::with_hints(framing, Hints::default())
    }

    /// The same with what the link's layouts say about its frames.
    pub fn with_hints(framing: &Framing, hints: Hints) -> Self {
        let mut splitter = Self::from(State {
            framing: framing.clone(),
            starts: hints.starts,
            packets: hints.packets,
            recent: Recent::default(),
            pending: Vec::new(),
            searched: 0,
            offset: 0,
            marks: VecDeque::new(),
            run: Run::default(),
            in_step: false,
        });
        let stored = splitter.check.as_ref().map_or(0, |check| check.stored);
        let front = framing.cut.front();
        for length in hints.lengths.into_iter().rev() {
            splitter.state.recent.add(front + length + stored);
        }
        splitter
    }

    /// Takes bytes in and hands out the frames that they complete, in the stream's order.
    pub fn push(&mut self, bytes: &[u8], t_ns: i64, sink: &mut impl FnMut(Frame<'_>)) {
        for piece in bytes.chunks(PIECE) {
            self.state.pending.extend_from_slice(piece);
            let end = self.state.offset + self.state.pending.len() as u64;
            match self.state.marks.back_mut() {
                Some(mark) if mark.1 == t_ns => mark.0 = end,
                _ => self.state.marks.push_back((end, t_ns)),
            }
            self.cut(false, sink);
        }
    }

    /// The piece that was pushed last was whole, such as a datagram: where frames end with a delimiter, its end ends the
    /// last one, as the delimiter would, which many senders leave out. The stream's count goes on without one. Frames
    /// that say their length themselves go on in the next piece.
    pub fn end_piece(&mut self, sink: &mut impl FnMut(Frame<'_>)) {
        let Some(delimiter) = self.state.framing.cut.delimiter() else { return };
        if self.state.pending.is_empty() {
            return;
        }
        self.state.pending.push(delimiter);
        self.cut(false, sink);
        // The delimiter was taken with the frame, and was never received.
        self.state.offset -= 1;
    }

    /// The link restarted: what is left of an unfinished frame is void, and is handed out as wrong. The stream's
    /// count goes on.
    pub fn reset(&mut self, sink: &mut impl FnMut(Frame<'_>)) {
        self.cut(true, sink);
        self.state.in_step = false;
    }

    /// Bytes taken in so far.
    pub fn bytes(&self) -> u64 {
        self.state.offset + self.state.pending.len() as u64
    }

    /// Bytes of a frame not yet finished.
    pub fn unfinished_bytes(&self) -> usize {
        self.state.pending.len()
    }

    fn cut(&mut self, ended: bool, sink: &mut impl FnMut(Frame<'_>)) {
        let Self { state, check, scratch } = self;
        let State { framing, starts, packets, recent, pending, searched, offset, marks, run, in_step } =
            state;
        let limit = framing.max_length.max(1);
        let mut at = 0;
        let mut out = Out { marks, start: *offset, limit, sink };
        while at < pending.len() {
            let bytes = &pending[at..];
            let mut around = Around {
                check: check.as_ref(),
                max_length: limit,
                torn: run.is_open(),
                in_step: *in_step,
                ended,
                recent,
                packets,
                front: framing.cut.front(),
                starts,
                scratch,
                searched: *searched,
            };
            let look = match &framing.cut {
                Cut::Lines { checksum } => lines::look(*checksum, bytes, &around),
                Cut::Cobs => cobs::look(bytes, around),
                Cut::Slip => slip::look(bytes, &mut around),
                Cut::Kiss => kiss::look(bytes, around),
                Cut::Sync { sync, length, counts, crc_covers } => sync::look(
                    &sync::Shape { sync, length: *length, counts: *counts, covers: *crc_covers },
                    bytes,
                    &around,
                ),
                Cut::Fixed { length, sync, crc_covers } => {
                    fixed::look(*length, sync, *crc_covers, bytes, &around)
                }
            };
            *searched = 0;
            match look {
                Look::More => {
                    *searched = bytes.len();
                    break;
                }
                Look::Delimiter(used) => at += used,
                Look::Drop(count, suspect) => {
                    *in_step = false;
                    if let Some(suspect) = suspect {
                        if run.wants_break() {
                            out.part(run, at);
                        }
                        run.suspect(suspect.why, suspect.length);
                    } else if framing.cut.is_delimited() {
                        run.mark_too_long();
                    }
                    at = out.pass_over(run, pending, at, count);
                }
                Look::Void { bytes, used } => {
                    *in_step = false;
                    out.pass_over(run, pending, at, bytes);
                    out.part(run, at + bytes);
                    run.close();
                    at += used;
                }
                Look::Frame { raw, used, payload } => {
                    out.pass_over(run, pending, at, raw.start);
                    out.part(run, at + raw.start);
                    run.close();
                    let body = match payload {
                        Ok(Payload::Raw(range)) => Ok(&pending[at + range.start..at + range.end]),
                        Ok(Payload::Scratch(length)) => Ok(&scratch[..length]),
                        Err(why) => Err(why),
                    };
                    if let Ok(body) = &body {
                        let stored = check.as_ref().map_or(0, |check| check.stored);
                        recent.add(framing.cut.front() + body.len() + stored);
                    }
                    *in_step = true;
                    // Of a line, the checksum is what stands behind the payload.
                    let summed = matches!(framing.cut, Cut::Lines { .. })
                        && body.as_ref().is_ok_and(|body| body.len() < raw.len());
                    let checked = body.is_ok() && (check.is_some() || summed);
                    let whole = &pending[at + raw.start..at + raw.end];
                    out.frame(whole, body, checked, (at + raw.start, at + used));
                    at += used;
                }
            }
        }
        if ended {
            out.part(run, at);
            run.close();
        }
        pending.drain(..at);
        *offset += at as u64;
        while marks.front().is_some_and(|mark| mark.0 <= *offset) {
            marks.pop_front();
        }
    }
}

impl Cut {
    /// Bytes before the payload that the CRC of a delimited frame covers with it.
    const fn front(&self) -> usize {
        matches!(self, Self::Kiss) as usize
    }

    /// Whether frames end with a delimiter.
    const fn is_delimited(&self) -> bool {
        self.delimiter().is_some()
    }

    /// The byte that ends a frame, if one does.
    const fn delimiter(&self) -> Option<u8> {
        match self {
            Self::Lines { .. } => Some(b'\n'),
            Self::Cobs => Some(0),
            Self::Slip | Self::Kiss => Some(slip::END),
            Self::Sync { .. } | Self::Fixed { .. } => None,
        }
    }
}

/// Where frames go out, with their times and places.
struct Out<'a, S> {
    marks: &'a VecDeque<(u64, i64)>,
    /// Place in the stream of the first pending byte.
    start: u64,
    limit: usize,
    sink: &'a mut S,
}

impl<S: FnMut(Frame<'_>)> Out<'_, S> {
    fn frame(
        &mut self,
        raw: &[u8],
        payload: Result<&[u8], Wrong>,
        checked: bool,
        (from, to): (usize, usize),
    ) {
        let t_ns = self.time(self.start + to as u64);
        (self.sink)(Frame { raw, payload, checked, t_ns, offset: self.start + from as u64 });
    }

    /// Time of the call that brought the byte before this place.
    fn time(&self, end: u64) -> i64 {
        match self.marks.front() {
            Some(first) if first.0 >= end => first.1,
            _ => {
                let later = self.marks.partition_point(|mark| mark.0 < end);
                self.marks.get(later).or(self.marks.back()).map_or(0, |mark| mark.1)
            }
        }
    }

    /// Accounts for bytes that belong to no frame; gives the place after them.
    fn pass_over(&mut self, run: &mut Run, pending: &[u8], mut at: usize, count: usize) -> usize {
        let end = at + count;
        while at < end {
            let some = (end - at).min(usize::try_from(run.room(self.limit)).unwrap_or(usize::MAX));
            let full = run.take(&pending[at..at + some], self.limit);
            at += some;
            if full {
                self.part(run, at);
            }
        }
        at
    }

    /// Hands out what the run holds, if anything.
    fn part(&mut self, run: &mut Run, at: usize) {
        if let Some(part) = run.part(self.limit) {
            let end = self.start + at as u64;
            let t_ns = self.time(end);
            (self.sink)(Frame {
                raw: &part.head,
                payload: Err(part.why),
                checked: false,
                t_ns,
                offset: end - part.bytes,
            });
        }
    }
}

#[cfg(test)]
#[path = "splitter/tests.rs"]
mod tests;
