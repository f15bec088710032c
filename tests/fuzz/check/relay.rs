//! What must hold for whatever comes over a relay's connection. The first byte says how it is cut into pieces. Bytes of
//! somebody without the key are never taken; what the other end seals comes out as it went in, and whatever it holds is a
//! message or is refused.

use super::said::{About, FromFar, FromNear};
use super::wire::{Key, Open, Seal};

const KEY: Key = [7; 32];

/// Panics if something does not hold.
pub(crate) fn relay(data: &[u8]) {
    let [cut, bytes @ ..] = data else { return };
    let pieces =
        |bytes: &[u8]| -> Vec<Vec<u8>> { bytes.chunks(usize::from(*cut) + 1).map(<[u8]>::to_vec).collect() };
    let mut stranger = Open::new(KEY, 4096);
    for piece in pieces(bytes) {
        stranger.buffer.extend(piece);
        match stranger.next() {
            Ok(None) => {}
            Ok(Some(body)) => panic!("taken without the key: {body:?}"),
            Err(_) => break,
        }
    }

    let (mut seal, mut sent) = (Seal::new(KEY), Vec::new());
    let bodies = pieces(bytes);
    for body in &bodies {
        seal.seal(body, &mut sent);
    }
    let (mut open, mut got) = (Open::new(KEY, 4096), Vec::new());
    for piece in sent.chunks(usize::from(*cut) * 3 + 1) {
        open.buffer.extend_from_slice(piece);
        while let Some(body) = open.next().expect("sealed with the same key") {
            got.push(body);
        }
    }
    assert_eq!(got, bodies);
    assert!(open.buffer.is_empty());

    let far: Result<(About, FromFar), _> = postcard::from_bytes(bytes);
    if let Ok(said) = far {
        let again = postcard::to_stdvec(&said).expect("what was read can be written");
        assert_eq!(postcard::from_bytes::<(About, FromFar)>(&again), Ok(said));
    }
    let near: Result<(About, FromNear), _> = postcard::from_bytes(bytes);
    if let Ok(said) = near {
        let again = postcard::to_stdvec(&said).expect("what was read can be written");
        assert_eq!(postcard::from_bytes::<(About, FromNear)>(&again), Ok(said));
    }
}
