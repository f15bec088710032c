//! Frames of a web socket (RFC 6455, section 5), as a server sends and takes them. Pure.
//!
//! What is sent is never masked and never in fragments, so that a message is its head and its own bytes: they are shared by all
//! sockets and copied for none. What comes in is small; no extension is spoken, so that every reserved bit is an error.

/// Longest message that is taken, bytes: what pages ask is far shorter.
const MOST_BYTES: usize = 4 * 1024;

/// Kinds of frames (section 5.2).
pub(super) const TEXT: u8 = 1;
pub(super) const CLOSE: u8 = 8;
pub(super) const PING: u8 = 9;
pub(super) const PONG: u8 = 10;
const CONTINUATION: u8 = 0;
const BINARY: u8 = 2;

/// Reasons to close (section 7.4.1).
pub(super) const AWAY: u16 = 1001;

/// What stands before a payload.
#[derive(Clone, Copy, Debug)]
pub(super) struct Head {
    bytes: [u8; 10],
    length: usize,
}

impl Head {
    /// Of a whole message.
    pub(super) fn new(kind: u8, payload: usize) -> Self {
        let mut bytes = [0; 10];
        bytes[0] = 0x80 | kind;
        let length = if payload < 126 {
            bytes[1] = payload as u8;
            2
        } else if let Ok(short) = u16::try_from(payload) {
            bytes[1] = 126;
            bytes[2..4].copy_from_slice(&short.to_be_bytes());
            4
        } else {
            bytes[1] = 127;
            bytes[2..].copy_from_slice(&(payload as u64).to_be_bytes());
            10
        };
        Self { bytes, length }
    }

    /// As sent.
    pub(super) fn as_bytes(&self) -> &[u8] {
        &self.bytes[..self.length]
    }
}

/// What a page said.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Said {
    /// A text.
    Text(String),
    /// A ping, to be answered with the same bytes.
    Ping(Vec<u8>),
    /// Nothing to act on: a pong, bytes that are no text.
    Nothing,
    /// It goes.
    Close,
}

/// The protocol was broken: the code to close with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Broken(pub(super) u16);

const PROTOCOL: Broken = Broken(1002);
const NOT_TEXT: Broken = Broken(1007);
const TOO_LONG: Broken = Broken(1009);

/// Takes what comes in apart.
#[derive(Debug, Default)]
pub(super) struct Incoming {
    buffer: Vec<u8>,
    /// Kind and payload of a message of which more fragments are to come.
    begun: Option<(u8, Vec<u8>)>,
}

impl Incoming {
    /// Takes bytes in.
    pub(super) fn push(&mut self, bytes: &[u8]) {
        self.buffer.extend_from_slice(bytes);
    }

    /// The next thing said, if it is all there. After an error nothing more is to be taken.
    pub(super) fn next(&mut self) -> Result<Option<Said>, Broken> {
        loop {
            let Some((head, payload)) = self.frame()? else {
                // An idle socket holds no memory for what it once got.
                if self.buffer.is_empty() {
                    self.buffer = Vec::new();
                }
                return Ok(None);
            };
            let (last, kind) = (head & 0x80 != 0, head & 0x0f);
            let said = match kind {
                PING => Said::Ping(payload),
                PONG => Said::Nothing,
                CLOSE => Said::Close,
                TEXT | BINARY if self.begun.is_none() => {
                    if !last {
                        self.begun = Some((kind, payload));
                        continue;
                    }
                    whole(kind, payload)?
                }
                CONTINUATION => {
                    let Some((kind, mut all)) = self.begun.take() else { return Err(PROTOCOL) };
                    if all.len() + payload.len() > MOST_BYTES {
                        return Err(TOO_LONG);
                    }
                    all.extend_from_slice(&payload);
                    if !last {
                        self.begun = Some((kind, all));
                        continue;
                    }
                    whole(kind, all)?
                }
                _ => return Err(PROTOCOL),
            };
            return Ok(Some(said));
        }
    }

    /// The next frame: its first byte and its payload, unmasked.
    fn frame(&mut self) -> Result<Option<(u8, Vec<u8>)>, Broken> {
        let [head, second, rest @ ..] = &self.buffer[..] else { return Ok(None) };
        let (head, short) = (*head, second & 0x7f);
        // Reserved bits belong to extensions, and a client always masks (sections 5.1 and 5.2).
        if head & 0x70 != 0 || second & 0x80 == 0 {
            return Err(PROTOCOL);
        }
        // Frames about the connection are short and whole (section 5.5).
        if head & 0x08 != 0 && (head & 0x80 == 0 || short > 125) {
            return Err(PROTOCOL);
        }
        let wide = match short {
            126 => 2,
            127 => 8,
            _ => 0,
        };
        let Some((length, rest)) = rest.split_at_checked(wide) else { return Ok(None) };
        let length = if wide == 0 {
            u64::from(short)
        } else {
            length.iter().fold(0, |length, byte| length << 8 | u64::from(*byte))
        };
        let length = usize::try_from(length).ok().filter(|length| *length <= MOST_BYTES).ok_or(TOO_LONG)?;
        let Some((mask, rest)) = rest.split_first_chunk::<4>() else { return Ok(None) };
        let Some(masked) = rest.get(..length) else { return Ok(None) };
        let payload = masked.iter().zip(mask.iter().cycle()).map(|(byte, mask)| byte ^ mask).collect();
        let whole = 2 + wide + 4 + length;
        self.buffer.drain(..whole);
        Ok(Some((head, payload)))
    }
}

fn whole(kind: u8, payload: Vec<u8>) -> Result<Said, Broken> {
    if kind == TEXT {
        String::from_utf8(payload).map(Said::Text).map_err(|_| NOT_TEXT)
    } else {
        Ok(Said::Nothing)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// As a page sends it.
    fn frame(head: u8, payload: &[u8], mask: [u8; 4]) -> Vec<u8> {
        let mut out = Head::new(head & 0x0f, payload.len()).as_bytes().to_vec();
        out[0] = head;
        out[1] |= 0x80;
        out.extend_from_slice(&mask);
        out.extend(payload.iter().zip(mask.iter().cycle()).map(|(byte, mask)| byte ^ mask));
        out
    }

    fn take(bytes: &[u8], piece: usize) -> (Vec<Said>, Option<Broken>) {
        let (mut incoming, mut all) = (Incoming::default(), Vec::new());
        for piece in bytes.chunks(piece.max(1)) {
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

    #[test]
    fn the_examples_of_rfc_6455() {
        // Section 5.7: a masked "Hello", and its fragments as a client would mask them.
        let hello = [0x81, 0x85, 0x37, 0xfa, 0x21, 0x3d, 0x7f, 0x9f, 0x4d, 0x51, 0x58];
        assert_eq!(take(&hello, 3), (vec![Said::Text("Hello".into())], None));
        assert_eq!(Head::new(TEXT, 5).as_bytes(), [0x81, 0x05]);
        assert_eq!(Head::new(BINARY, 256).as_bytes(), [0x82, 0x7e, 0x01, 0x00]);
        assert_eq!(Head::new(BINARY, 65_536).as_bytes(), [0x82, 0x7f, 0, 0, 0, 0, 0, 1, 0, 0]);
        let mask = [1, 2, 3, 4];
        let parts = [frame(1, b"Hel", mask), frame(0x89, b"Hello", mask), frame(0x80, b"lo", mask)].concat();
        assert_eq!(take(&parts, 1), (vec![Said::Ping(b"Hello".to_vec()), Said::Text("Hello".into())], None));
    }

    #[test]
    fn what_breaks_the_protocol_is_told_by_its_code() {
        let mask = [9, 8, 7, 6];
        let long = vec![b'a'; MOST_BYTES + 1];
        let half = vec![b'a'; MOST_BYTES / 2 + 1];
        let unmasked = [0x81, 0x01, b'a'];
        for (bytes, broken) in [
            (frame(0xc1, b"a", mask), PROTOCOL),
            (unmasked.to_vec(), PROTOCOL),
            (frame(0x80, b"a", mask), PROTOCOL),
            (frame(0x83, b"a", mask), PROTOCOL),
            (frame(0x09, b"a", mask), PROTOCOL),
            (frame(0x89, &[0; 126], mask), PROTOCOL),
            ([frame(0x01, b"a", mask), frame(0x81, b"b", mask)].concat(), PROTOCOL),
            (frame(0x81, b"\xff\xfe", mask), NOT_TEXT),
            (frame(0x81, &long, mask), TOO_LONG),
            ([frame(0x01, &half, mask), frame(0x80, &half, mask)].concat(), TOO_LONG),
            (vec![0x81, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff], TOO_LONG),
        ] {
            assert_eq!(take(&bytes, 7), (Vec::new(), Some(broken)), "{bytes:?}");
        }
        let close = frame(0x88, &[0x03, 0xe8], mask);
        assert_eq!(take(&close, 4), (vec![Said::Close], None));
    }

    proptest! {
        #[test]
        fn texts_come_out_as_they_went_in_however_they_are_cut(
            texts in prop::collection::vec("\\PC{0,60}", 0..8), mask: [u8; 4], piece in 1usize..200, cut in 1usize..40,
        ) {
            let mut sent = Vec::new();
            for text in &texts {
                let parts: Vec<&[u8]> = text.as_bytes().chunks(cut).collect();
                let count = parts.len().max(1);
                for at in 0..count {
                    let kind = if at == 0 { TEXT } else { CONTINUATION };
                    let last = if at + 1 == count { 0x80 } else { 0 };
                    sent.extend(frame(last | kind, parts.get(at).copied().unwrap_or_default(), mask));
                }
            }
            let said: Vec<Said> = texts.into_iter().map(Said::Text).collect();
            prop_assert_eq!(take(&sent, piece), (said, None));
        }

        #[test]
        fn any_bytes_are_taken_or_refused_and_never_held_for_long(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
            let (all, _) = take(&bytes, 16);
            prop_assert!(all.len() <= bytes.len());
        }
    }
}
