//! For tests: what a framing makes of some bytes, tried in one call and in many.

use super::{Framing, Hints, Splitter, Wrong};

/// A frame that outlives the call.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Kept {
    pub(crate) raw: Vec<u8>,
    pub(crate) payload: Result<Vec<u8>, Wrong>,
    pub(crate) t_ns: i64,
    pub(crate) offset: u64,
}

/// Pushes pieces; the time of each is the place of its last byte, so that times do not depend on the cutting.
pub(crate) fn push(splitter: &mut Splitter, pieces: &[&[u8]]) -> Vec<Kept> {
    let mut kept = Vec::new();
    for piece in pieces {
        let t_ns = (splitter.bytes() + piece.len() as u64) as i64;
        splitter.push(piece, t_ns, &mut |f| {
            kept.push(Kept {
                raw: f.raw.to_vec(),
                payload: f.payload.map(<[u8]>::to_vec),
                t_ns: f.t_ns,
                offset: f.offset,
            });
        });
    }
    kept
}

/// What a framing makes of bytes: the same in one piece and byte by byte, the state kept to the bit on the way.
pub(crate) fn run(framing: &Framing, bytes: &[u8]) -> Vec<Kept> {
    run_with(framing, &Hints::default(), bytes)
}

pub(crate) fn run_with(framing: &Framing, hints: &Hints, bytes: &[u8]) -> Vec<Kept> {
    let mut whole = Splitter::with_hints(framing, hints.clone());
    let mut frames = push(&mut whole, &[bytes]);
    let mut single = Splitter::with_hints(framing, hints.clone());
    let mut single_frames = Vec::new();
    for (at, byte) in bytes.iter().enumerate() {
        if at % 7 == 3 {
            let text = serde_json::to_string(&single).unwrap();
            let again: Splitter = serde_json::from_str(&text).unwrap();
            assert_eq!(again, single);
            single = again;
        }
        single_frames.extend(push(&mut single, &[std::slice::from_ref(byte)]));
    }
    for (a, b) in frames.iter_mut().zip(&single_frames) {
        assert!(a.t_ns >= b.t_ns);
        a.t_ns = b.t_ns;
    }
    assert_eq!(frames, single_frames);
    frames
}

/// Payloads of the good frames.
pub(crate) fn good(framing: &Framing, bytes: &[u8]) -> Vec<Vec<u8>> {
    run(framing, bytes).into_iter().filter_map(|frame| frame.payload.ok()).collect()
}
