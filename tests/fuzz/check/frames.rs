//! What must hold for any bytes from a page's socket: however they are cut, the same is taken out of them, and the same
//! breaks the protocol; no text is longer than one may be.

use super::{Broken, Incoming, Said};

fn taken(bytes: &[u8], piece: usize) -> (Vec<Said>, Option<Broken>) {
    let (mut incoming, mut all) = (Incoming::default(), Vec::new());
    for piece in bytes.chunks(piece) {
        incoming.push(piece);
        loop {
            match incoming.next() {
                Ok(Some(said)) => all.push(said),
                Ok(None) => break,
                Err(broken) => return (all, Some(broken)),
            }
        }
    }
    (all, None)
}

/// Panics if something does not hold.
pub(crate) fn frames(data: &[u8]) {
    let whole = taken(data, data.len().max(1));
    assert_eq!(whole, taken(data, 1));
    assert_eq!(whole, taken(data, 7));
    for said in &whole.0 {
        if let Said::Text(text) = said {
            assert!(text.len() <= 4096);
        }
    }
}
