//! One open web socket: sends text, reads what the page asks, and finds out when nobody is there any more.
//!
//! Who answers no ping for 30 s is dropped, and so is who takes no byte for that long. A reader that falls behind
//! holds up only its own task: it asks for the next message when the last one has left, and gets the newest. A message is
//! written from where it lies for all: a socket has no buffer of its own to send from, which would keep the size of the
//! longest message for as long as somebody watches.

use std::io::{self, ErrorKind, IoSlice};
use std::sync::Arc;
use std::time::Duration;

use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use base64::Engine as _;
use hyper::upgrade::{OnUpgrade, Upgraded};
use hyper_util::rt::TokioIo;
use sha1::{Digest as _, Sha1};
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;
use tokio::time::{Instant, Interval, MissedTickBehavior, interval, timeout};

use super::crowd::{Rest, Seat};
use super::frames::{self, Head, Incoming, Said};
use super::problem::Refusal;
use super::room::Place;
use crate::messages::{Ask, Message, Pong};
use crate::shared::Shared;

/// A socket that has sent nothing for so long is dropped.
const DROP_AFTER: Duration = Duration::from_secs(30);
/// How often a ping is sent.
const PING_EVERY: Duration = Duration::from_secs(10);
/// Most bytes read at once: a page asks in fewer than a hundred.
const PIECE_BYTES: usize = 512;
/// What is hashed with a client's key (RFC 6455, section 1.3).
const GUID: &str = "258EAFA5-E914-47DA-95CA-C5AB0DC85B11";

/// A request that wants to become a socket (RFC 6455, section 4.2).
#[derive(Debug)]
pub(super) struct Opening {
    upgrade: OnUpgrade,
    accept: HeaderValue,
    /// The connection's place among all: kept for as long as the socket lives.
    place: Option<Arc<Place>>,
}

impl<S: Sync> FromRequestParts<S> for Opening {
    type Rejection = Refusal;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Refusal> {
        let says = |name: HeaderName, word: &str| has_word(&parts.headers, &name, word);
        let key = parts.headers.get(header::SEC_WEBSOCKET_KEY).cloned();
        let whole = parts.method == Method::GET
            && says(header::CONNECTION, "upgrade")
            && says(header::UPGRADE, "websocket")
            && says(header::SEC_WEBSOCKET_VERSION, "13");
        match (parts.extensions.remove::<OnUpgrade>(), key) {
            (Some(upgrade), Some(key)) if whole => {
                let place = parts.extensions.get::<Arc<Place>>().cloned();
                Ok(Self { upgrade, accept: accept(&key), place })
            }
            _ => Err(Refusal::new(
                StatusCode::UPGRADE_REQUIRED,
                "This address is a web socket.",
                "Nothing was changed.",
                "Open it with a WebSocket of version 13 (RFC 6455), as pages do.",
            )),
        }
    }
}

/// Whether a header lists a word, in any letters.
fn has_word(headers: &HeaderMap, name: &HeaderName, word: &str) -> bool {
    let values = headers.get_all(name).into_iter().filter_map(|value| value.to_str().ok());
    values.flat_map(|value| value.split(',')).any(|part| part.trim().eq_ignore_ascii_case(word))
}

/// The answer to a client's key.
fn accept(key: &HeaderValue) -> HeaderValue {
    let mut hash = Sha1::new();
    hash.update(key.as_bytes());
    hash.update(GUID);
    let text = base64::engine::general_purpose::STANDARD.encode(hash.finalize());
    // Base64 is always a header's value.
    HeaderValue::from_str(&text).unwrap_or_else(|_| HeaderValue::from_static(""))
}

impl Opening {
    /// Answers, and hands the open socket on.
    pub(super) fn open<Talk: Future<Output = ()> + Send + 'static>(
        self,
        talk: impl FnOnce(Line) -> Talk + Send + 'static,
    ) -> Response {
        let Self { upgrade, accept, place } = self;
        tokio::spawn(async move {
            match upgrade.await {
                // Boxed: what waits for the handshake would else be as large as the talk for good.
                Ok(upgraded) => Box::pin(talk(Line::new(upgraded, place))).await,
                Err(error) => tracing::debug!(%error, "a socket was not opened"),
            }
        });
        let headers = [
            (header::CONNECTION, HeaderValue::from_static("upgrade")),
            (header::UPGRADE, HeaderValue::from_static("websocket")),
            (header::SEC_WEBSOCKET_ACCEPT, accept),
        ];
        (StatusCode::SWITCHING_PROTOCOLS, headers).into_response()
    }
}

/// An open socket.
#[derive(Debug)]
pub(super) struct Line {
    wire: Wire,
    incoming: Incoming,
    /// No message is half sent.
    whole: bool,
    heard: Instant,
    pings: Interval,
    _place: Option<Arc<Place>>,
}

/// What a socket's bytes go through.
#[derive(Debug)]
enum Wire {
    /// TCP as it is.
    Plain(Arc<Seat>),
    /// With something around it: TLS.
    Wrapped(TokioIo<Upgraded>),
}

impl Wire {
    async fn read(&mut self, piece: &mut [u8]) -> io::Result<usize> {
        match self {
            Self::Wrapped(stream) => stream.read(piece).await,
            Self::Plain(seat) => loop {
                seat.stream.readable().await?;
                match seat.stream.try_read(piece) {
                    Err(error) if error.kind() == ErrorKind::WouldBlock => {}
                    read => return read,
                }
            },
        }
    }

    async fn write(&mut self, slices: &[IoSlice<'_>]) -> io::Result<usize> {
        match self {
            Self::Wrapped(stream) => stream.write_vectored(slices).await,
            Self::Plain(seat) => loop {
                match seat.stream.try_write_vectored(slices) {
                    Err(error) if error.kind() == ErrorKind::WouldBlock => seat.stream.writable().await?,
                    written => return written,
                }
            },
        }
    }

    async fn flush(&mut self) -> io::Result<()> {
        match self {
            Self::Wrapped(stream) => stream.flush().await,
            Self::Plain(_) => Ok(()),
        }
    }
}

/// What happened on a socket.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Heard {
    /// To be sent.
    Answer(Frame),
    /// The page asks for something else than the time.
    Ask(Ask),
    /// Nothing to act on.
    Nothing,
}

/// Something to be sent.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Frame {
    kind: u8,
    payload: Vec<u8>,
}

/// The socket has ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Gone;

impl Line {
    /// Takes over an open socket.
    fn new(upgraded: Upgraded, place: Option<Arc<Place>>) -> Self {
        match upgraded.downcast::<TokioIo<TcpStream>>() {
            Ok(parts) => Self {
                _place: place,
                ..Self::over(Wire::Plain(Arc::new(Seat::new(parts.io.into_inner()))), &parts.read_buf)
            },
            Err(upgraded) => Self { _place: place, ..Self::over(Wire::Wrapped(TokioIo::new(upgraded)), &[]) },
        }
    }

    /// Plain TCP that speaks as a socket from its first byte on.
    #[cfg(test)]
    pub(super) fn plain(stream: TcpStream) -> Self {
        Self::over(Wire::Plain(Arc::new(Seat::new(stream))), &[])
    }

    /// `read` was read of it already.
    fn over(wire: Wire, read: &[u8]) -> Self {
        let mut pings = interval(PING_EVERY);
        pings.set_missed_tick_behavior(MissedTickBehavior::Delay);
        let mut incoming = Incoming::default();
        incoming.push(read);
        Self { wire, incoming, whole: true, heard: Instant::now(), pings, _place: None }
    }

    /// Its seat, where it can have one in the crowd.
    pub(super) fn seat(&self) -> Option<Arc<Seat>> {
        match &self.wire {
            Wire::Plain(seat) => Some(Arc::clone(seat)),
            Wire::Wrapped(_) => None,
        }
    }

    /// Sends what is left of a text.
    pub(super) async fn send_rest(&mut self, rest: &Rest) -> Result<(), Gone> {
        self.write(frames::TEXT, rest.text.as_bytes(), rest.done).await
    }

    /// Sends one text.
    pub(super) async fn send(&mut self, text: &str) -> Result<(), Gone> {
        self.write(frames::TEXT, text.as_bytes(), 0).await
    }

    /// Waits for the page, or for the next ping to be due. Can be dropped while it waits without losing anything.
    pub(super) async fn next(&mut self, shared: &Shared) -> Result<Heard, Gone> {
        loop {
            match self.incoming.next() {
                Ok(Some(Said::Text(text))) => return Ok(heard(&text, shared)),
                Ok(Some(Said::Ping(payload))) => {
                    return Ok(Heard::Answer(Frame { kind: frames::PONG, payload }));
                }
                Ok(Some(Said::Nothing)) => return Ok(Heard::Nothing),
                Ok(Some(Said::Close)) => {
                    self.close(None).await;
                    return Err(Gone);
                }
                Ok(None) => {}
                Err(broken) => {
                    tracing::debug!(code = broken.0, "a socket broke the protocol");
                    self.close(Some(broken.0)).await;
                    return Err(Gone);
                }
            }
            let mut piece = [0; PIECE_BYTES];
            tokio::select! {
                read = self.wire.read(&mut piece) => match read {
                    Ok(0) | Err(_) => return Err(Gone),
                    Ok(count) => {
                        self.heard = Instant::now();
                        self.incoming.push(&piece[..count]);
                    }
                },
                _ = self.pings.tick() => {
                    if self.heard.elapsed() > DROP_AFTER {
                        return Err(Gone);
                    }
                    return Ok(Heard::Answer(Frame { kind: frames::PING, payload: Vec::new() }));
                }
            }
        }
    }

    /// Says that the station ends.
    pub(super) async fn goodbye(mut self) {
        self.close(Some(frames::AWAY)).await;
    }

    /// Says goodbye, unless a message is half sent: its rest is what the page would take it for.
    async fn close(&mut self, code: Option<u16>) {
        let begun = self.seat().is_some_and(|seat| seat.take_pen().is_some());
        if self.whole && !begun {
            let payload = code.map(u16::to_be_bytes);
            let payload = payload.as_ref().map_or(&[][..], |code| &code[..]);
            let _ = timeout(Duration::from_secs(1), self.write(frames::CLOSE, payload, 0)).await;
        }
    }

    /// Sends one frame.
    pub(super) async fn put(&mut self, frame: Frame) -> Result<(), Gone> {
        self.write(frame.kind, &frame.payload, 0).await
    }

    /// Writes one frame, of which `done` bytes were sent.
    async fn write(&mut self, kind: u8, payload: &[u8], done: usize) -> Result<(), Gone> {
        self.whole = false;
        let head = Head::new(kind, payload.len());
        let mut slices = [IoSlice::new(head.as_bytes()), IoSlice::new(payload)];
        let write = async {
            let mut left = &mut slices[..];
            IoSlice::advance_slices(&mut left, done);
            while !left.is_empty() {
                let count = self.wire.write(left).await?;
                if count == 0 {
                    return Err(ErrorKind::WriteZero.into());
                }
                IoSlice::advance_slices(&mut left, count);
            }
            self.wire.flush().await
        };
        match timeout(DROP_AFTER, write).await {
            Ok(Ok(())) => {
                self.whole = true;
                Ok(())
            }
            Ok(Err(_)) | Err(_) => Err(Gone),
        }
    }
}

/// What a text asks for.
fn heard(text: &str, shared: &Shared) -> Heard {
    match serde_json::from_str(text) {
        Ok(Ask::Ping { id, sent_ms }) => {
            let t_s = (shared.clock.now_ns() as f64 / 1e6).round() / 1e3;
            let pong = Message::Pong(Pong { id, sent_ms, t_s });
            Heard::Answer(Frame { kind: frames::TEXT, payload: crate::hub::json_text(&pong).into_bytes() })
        }
        Ok(ask) => Heard::Ask(ask),
        Err(error) => {
            tracing::debug!(%error, "a socket said what was not understood");
            Heard::Nothing
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_answer_to_the_key_of_rfc_6455() {
        // Section 1.3.
        let key = HeaderValue::from_static("dGhlIHNhbXBsZSBub25jZQ==");
        assert_eq!(accept(&key), "s3pPLMBiTxaQ9kYGzzhZRbK+xOo=");
    }

    #[test]
    fn a_header_lists_words_in_any_letters() {
        let mut headers = HeaderMap::new();
        headers.append(header::CONNECTION, HeaderValue::from_static("keep-alive, Upgrade"));
        assert!(has_word(&headers, &header::CONNECTION, "upgrade"));
        assert!(!has_word(&headers, &header::CONNECTION, "up"));
    }
}
