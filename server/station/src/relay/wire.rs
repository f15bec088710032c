//! How two ends of a relay speak: messages with a length and a number in front and a MAC behind, pure.
//!
//! A message is the length of its body (u32, little-endian), its number (u64, little-endian), the body, and HMAC-SHA256
//! (RFC 2104, FIPS 180-4) over all three. Each direction of each connection has a key of its own, made from the shared
//! one and a random number of either end, and counts its messages from 0: what is forged, heard before, left out or out
//! of order, also what was recorded from another connection, is refused, and the connection with it.

use hmac::{Hmac, KeyInit as _, Mac as _};
use sha2::Sha256;

/// What the near end says first: what this is, and the version.
pub(super) const GREETING: [u8; 8] = *b"LWRELAY1";
/// Bytes of a random number.
pub(super) const NONCE_BYTES: usize = 32;

const HEAD_BYTES: usize = 12;
const MAC_BYTES: usize = 32;

/// A key of one direction of one connection.
pub(super) type Key = [u8; 32];

/// The keys of a connection: far end to near end, and back.
pub(super) fn keys(shared: &[u8], near: &[u8; NONCE_BYTES], far: &[u8; NONCE_BYTES]) -> (Key, Key) {
    let key = |direction: &[u8]| -> Key {
        let mut mac = keyed(shared);
        for part in [direction, near, far] {
            mac.update(part);
        }
        mac.finalize().into_bytes().into()
    };
    (key(b"loftwatch relay 1, far to near"), key(b"loftwatch relay 1, near to far"))
}

fn keyed(key: &[u8]) -> Hmac<Sha256> {
    #[expect(clippy::expect_used, reason = "HMAC takes keys of any length (RFC 2104)")]
    Hmac::new_from_slice(key).expect("a key of any length")
}

/// Why a message is not taken.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub(super) enum Refused {
    /// Longer than any that is meant.
    #[error("a message of {0} bytes, which is none of ours")]
    TooLong(usize),
    /// Not the next one.
    #[error("message {found} where {wanted} was due: left out, heard before, or not ours")]
    Number { found: u64, wanted: u64 },
    /// The MAC does not fit.
    #[error("a message whose MAC does not fit: the keys of both ends differ, or somebody else speaks")]
    Forged,
}

/// Makes the messages of one direction.
#[derive(Debug)]
pub(super) struct Seal {
    key: Key,
    next: u64,
}

impl Seal {
    pub(super) const fn new(key: Key) -> Self {
        Self { key, next: 0 }
    }

    /// Appends the message with this body.
    pub(super) fn seal(&mut self, body: &[u8], out: &mut Vec<u8>) {
        let from = out.len();
        let length = u32::try_from(body.len()).unwrap_or(u32::MAX);
        out.extend_from_slice(&length.to_le_bytes());
        out.extend_from_slice(&self.next.to_le_bytes());
        out.extend_from_slice(body);
        let mut mac = keyed(&self.key);
        mac.update(&out[from..]);
        out.extend_from_slice(&mac.finalize().into_bytes());
        self.next += 1;
    }
}

/// Takes the messages of one direction out of its bytes.
#[derive(Debug)]
pub(super) struct Open {
    key: Key,
    next: u64,
    most: usize,
    /// Bytes not yet taken.
    pub(super) buffer: Vec<u8>,
}

impl Open {
    /// `most`: bytes of the longest body.
    pub(super) const fn new(key: Key, most: usize) -> Self {
        Self { key, next: 0, most, buffer: Vec::new() }
    }

    /// From now on bodies may be so long.
    pub(super) const fn allow(&mut self, most: usize) {
        self.most = most;
    }

    /// The body of the next message, if it is all there. After a refusal nothing more is to be taken.
    pub(super) fn next(&mut self) -> Result<Option<Vec<u8>>, Refused> {
        let Some((head, rest)) = self.buffer.split_first_chunk::<HEAD_BYTES>() else { return Ok(None) };
        let [a, b, c, d, number @ ..] = *head;
        let length = u32::from_le_bytes([a, b, c, d]) as usize;
        let found = u64::from_le_bytes(number);
        if length > self.most {
            return Err(Refused::TooLong(length));
        }
        if found != self.next {
            return Err(Refused::Number { found, wanted: self.next });
        }
        let Some(mac) = rest.get(length..length + MAC_BYTES) else { return Ok(None) };
        let mut wanted = keyed(&self.key);
        wanted.update(&self.buffer[..HEAD_BYTES + length]);
        // In constant time.
        wanted.verify_slice(mac).map_err(|_| Refused::Forged)?;
        let body = rest[..length].to_vec();
        self.buffer.drain(..HEAD_BYTES + length + MAC_BYTES);
        self.next += 1;
        Ok(Some(body))
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const KEY: Key = [7; 32];

    fn sealed(bodies: &[Vec<u8>]) -> Vec<Vec<u8>> {
        let mut seal = Seal::new(KEY);
        bodies
            .iter()
            .map(|body| {
                let mut out = Vec::new();
                seal.seal(body, &mut out);
                out
            })
            .collect()
    }

    /// What is taken before the end or a refusal.
    fn opened(bytes: &[u8], piece: usize) -> (Vec<Vec<u8>>, Option<Refused>) {
        let mut open = Open::new(KEY, 4096);
        let mut taken = Vec::new();
        for piece in bytes.chunks(piece.max(1)) {
            open.buffer.extend_from_slice(piece);
            loop {
                match open.next() {
                    Ok(Some(body)) => taken.push(body),
                    Ok(None) => break,
                    Err(refused) => return (taken, Some(refused)),
                }
            }
        }
        (taken, None)
    }

    fn bodies() -> impl Strategy<Value = Vec<Vec<u8>>> {
        prop::collection::vec(prop::collection::vec(any::<u8>(), 0..200), 2..12)
    }

    #[test]
    fn the_mac_is_that_of_rfc_4231() {
        // Test case 2 of RFC 4231.
        let mut mac = keyed(b"Jefe");
        mac.update(b"what do ya want for nothing?");
        let (first, last) =
            (0x5bdc_c146_bf60_754e_6a04_2426_0895_75c7_u128, 0x5a00_3f08_9d27_3983_9dec_58b9_64ec_3843_u128);
        let wanted = [first.to_be_bytes(), last.to_be_bytes()].concat();
        assert_eq!(mac.finalize().into_bytes()[..], wanted);
    }

    #[test]
    fn each_direction_and_each_connection_has_its_own_key() {
        let (a, b) = ([1; NONCE_BYTES], [2; NONCE_BYTES]);
        let all = [keys(b"shared", &a, &b), keys(b"shared", &b, &a), keys(b"other", &a, &b)];
        let mut keys: Vec<Key> = all.into_iter().flat_map(|(to, back)| [to, back]).collect();
        keys.sort_unstable();
        keys.dedup();
        assert_eq!(keys.len(), 6);
    }

    proptest! {
        #[test]
        fn messages_come_out_as_they_went_in_however_they_are_cut(bodies in bodies(), piece in 1usize..300) {
            prop_assert_eq!(opened(&sealed(&bodies).concat(), piece), (bodies, None));
        }

        #[test]
        fn one_changed_bit_anywhere_is_refused(bodies in bodies(), at: prop::sample::Index, bit in 0u8..8) {
            let mut bytes = sealed(&bodies).concat();
            let at = at.index(bytes.len());
            bytes[at] ^= 1 << bit;
            // A length that became greater waits for more: let it come.
            bytes.resize(bytes.len() + 8192, 0);
            let (taken, refused) = opened(&bytes, 64);
            prop_assert!(taken.len() < bodies.len());
            prop_assert!(refused.is_some());
            prop_assert_eq!(&taken[..], &bodies[..taken.len()]);
        }

        #[test]
        fn a_message_again_or_out_of_order_or_left_out_is_refused(
            bodies in bodies(), one: prop::sample::Index, other: prop::sample::Index, how in 0u8..3,
        ) {
            let mut all = sealed(&bodies);
            let (one, other) = (one.index(all.len()), other.index(all.len()));
            match how {
                0 => all.insert(one + 1, all[one].clone()),
                1 => {
                    prop_assume!(one != other);
                    all.swap(one, other);
                }
                _ => {
                    prop_assume!(one + 1 < all.len());
                    all.remove(one);
                }
            }
            let (taken, refused) = opened(&all.concat(), 97);
            prop_assert!(matches!(refused, Some(Refused::Number { .. })), "{refused:?}");
            prop_assert_eq!(&taken[..], &bodies[..taken.len()]);
        }

        #[test]
        fn another_key_opens_nothing(body in prop::collection::vec(any::<u8>(), 0..100), byte in 0usize..32) {
            let mut key = KEY;
            key[byte] ^= 1;
            let mut open = Open::new(key, 4096);
            open.buffer = sealed(&[body]).concat();
            prop_assert_eq!(open.next(), Err(Refused::Forged));
        }

        #[test]
        fn any_bytes_are_taken_or_refused_without_a_panic(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
            let (taken, _) = opened(&bytes, 13);
            prop_assert!(taken.is_empty());
        }
    }
}
