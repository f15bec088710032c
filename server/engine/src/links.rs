//! Links: where bytes become frames, and frames find their layout.

use std::collections::BTreeMap;

use loftwatch_radio::{
    Cut as CutBy, Decoded, Framing, Hints, LineChecksum, NOT_TAKEN, Splitter, Sums, Wrong,
};
use serde::{Deserialize, Serialize};

use crate::Setup;
use crate::output::Frame;

/// One link's stream.
#[derive(Clone, Debug, Serialize, Deserialize)]
pub(crate) struct LinkStream {
    splitter: Splitter,
    /// Added to the splitter's own count: it begins anew with a new framing or after lost bytes.
    first_offset: u64,
    /// What the splitter was made from.
    cut_as: Option<(Framing, Hints)>,
    /// Whether lines come with checksums.
    sums: Sums,
    /// Frames so far that gave no reading, by reason.
    pub(crate) wrong: BTreeMap<String, u64>,
    /// First and newest bytes since a frame ended, good or wrong, station time ns. Noise ends none.
    open: Option<(i64, i64)>,
}

/// What came in over a link, as far as the bytes alone tell.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LinkCount {
    /// Name.
    pub link: String,
    /// Bytes received so far.
    pub bytes: u64,
    /// Bytes have been coming for seconds, and no frame ended.
    pub no_frame: bool,
    /// Wrong frames so far.
    pub wrong: u64,
}

/// Bytes that come for so long without the end of a frame are told, ns. Common practice, no source: a frame of 600 bytes
/// at 1200 baud takes as long.
const NO_FRAME_NS: i64 = 5_000_000_000;

/// A frame as far as the bytes alone tell.
pub(crate) struct Cut {
    /// What is said of it. The layout's name is in it if one fits.
    pub(crate) frame: Frame,
    /// When its last byte came, station time ns.
    pub(crate) t_ns: i64,
    /// Layout index and what it holds, if one fits.
    pub(crate) decoded: Option<(usize, Decoded)>,
    /// Bytes of the frame as received.
    pub(crate) bytes: usize,
}

impl LinkStream {
    /// A link at the start of its stream, or at a place in it.
    pub(crate) fn new(
        setup: &Setup,
        link: &crate::setup::Link,
        first_offset: u64,
        wrong: BTreeMap<String, u64>,
    ) -> Self {
        let cut_as = Some((link.framing.clone(), hints(setup, link)));
        Self {
            splitter: Splitter::with_hints(&link.framing, hints(setup, link)),
            first_offset,
            cut_as,
            sums: Sums::default(),
            wrong,
            open: None,
        }
    }

    /// A link that no setup has named yet: its bytes are counted, not cut.
    pub(crate) fn unknown(first_offset: u64) -> Self {
        let cut = CutBy::Lines { checksum: LineChecksum::Optional };
        let framing = Framing { cut, crc: None, max_length: 1 };
        Self {
            splitter: Splitter::new(&framing),
            first_offset,
            cut_as: None,
            sums: Sums::default(),
            wrong: BTreeMap::new(),
            open: None,
        }
    }

    /// Whether the link's bytes are already cut as a setup wants them.
    pub(crate) fn is_cut_as(&self, setup: &Setup, link: &crate::setup::Link) -> bool {
        self.cut_as
            .as_ref()
            .is_some_and(|(framing, with)| *framing == link.framing && *with == hints(setup, link))
    }

    /// Bytes received so far.
    pub(crate) fn bytes(&self) -> u64 {
        self.first_offset + self.splitter.bytes()
    }

    /// Takes bytes in; hands out the frames that they complete.
    pub(crate) fn push(
        &mut self,
        setup: &Setup,
        link: &crate::setup::Link,
        bytes: &[u8],
        t_ns: i64,
        cuts: &mut Vec<Cut>,
    ) {
        let Self { splitter, first_offset, sums, .. } = self;
        let mut ended = false;
        let mut take = |frame: loftwatch_radio::Frame<'_>| {
            ended |= !matches!(frame.payload, Err(Wrong::Garbage { .. } | Wrong::TooLong { .. }));
            cuts.push(cut(setup, link, *first_offset, sums, &frame));
        };
        splitter.push(bytes, t_ns, &mut take);
        if link.is_in_datagrams() {
            splitter.end_piece(&mut take);
        }
        self.open = match self.open {
            _ if ended => None,
            Some((first_ns, _)) => Some((first_ns, t_ns)),
            None => Some((t_ns, t_ns)),
        };
    }

    /// How it stands.
    pub(crate) fn count(&self, link: &str) -> LinkCount {
        let no_frame = self.open.is_some_and(|(first_ns, newest_ns)| newest_ns - first_ns >= NO_FRAME_NS);
        LinkCount { link: link.to_owned(), bytes: self.bytes(), no_frame, wrong: self.wrong_frames() }
    }

    /// Wrong frames so far. A packet that is somebody else's is a good one.
    pub(crate) fn wrong_frames(&self) -> u64 {
        let wrong = |kind: &str| kind.replace('_', " ") != NOT_TAKEN;
        self.wrong.iter().filter(|(kind, _)| wrong(kind)).map(|(_, count)| count).sum()
    }

    /// The link restarts: half a frame is void.
    pub(crate) fn reset(&mut self, setup: &Setup, link: &crate::setup::Link, cuts: &mut Vec<Cut>) {
        let Self { splitter, first_offset, sums, .. } = self;
        splitter.reset(&mut |frame| cuts.push(cut(setup, link, *first_offset, sums, &frame)));
        self.open = None;
    }

    /// Bytes were received and lost: offsets go on after the gap.
    pub(crate) fn skip(&mut self, bytes: u64) {
        self.first_offset += bytes;
    }
}

fn hints(setup: &Setup, link: &crate::setup::Link) -> Hints {
    Hints::of(link.layouts.iter().filter_map(|i| setup.layouts.get(*i)))
}

fn cut(
    setup: &Setup,
    link: &crate::setup::Link,
    first_offset: u64,
    sums: &mut Sums,
    frame: &loftwatch_radio::Frame<'_>,
) -> Cut {
    let mut said = Frame {
        link: link.name.clone(),
        offset: first_offset + frame.offset,
        length: frame.raw.len() as u32,
        layout: None,
        wrong: None,
        wrong_kind: None,
    };
    let mut decoded = None;
    match &frame.payload {
        Err(wrong) => {
            said.wrong = Some(wrong.to_string());
            said.wrong_kind = Some(wrong.reason().replace(' ', "_"));
            if let Wrong::Garbage { bytes } | Wrong::TooLong { bytes, .. } | Wrong::Partial { bytes } = wrong
            {
                said.length = u32::try_from(*bytes).unwrap_or(u32::MAX);
            }
        }
        Ok(payload) => {
            let layouts = || link.layouts.iter().filter(|i| **i < setup.layouts.len());
            match loftwatch_radio::take(layouts().map(|i| &setup.layouts[*i]), payload) {
                Ok((at, read)) => {
                    if let Some(index) = layouts().nth(at).copied() {
                        let name = &setup.layouts[index].name;
                        if sums.note(&link.framing, name, frame.checked) {
                            decoded = Some((index, read));
                        } else {
                            said.wrong = Some(Sums::MISSING.into());
                            said.wrong_kind = Some(Wrong::NoChecksum.reason().replace(' ', "_"));
                        }
                        said.layout = Some(name.clone());
                    }
                }
                Err(misfit) => {
                    said.wrong = Some(misfit.to_string());
                    said.wrong_kind = Some(misfit.reason().replace(' ', "_"));
                }
            }
        }
    }
    Cut { bytes: said.length as usize, frame: said, t_ns: frame.t_ns, decoded }
}
