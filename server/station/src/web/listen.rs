//! Takes connections, plain and encrypted at one port: a limit for each address, a limit on the time for headers, no
//! delay of small packets.
//!
//! The send buffer is kept small, so that a phone behind a bad radio gets the newest message next and not the ones
//! of half a minute ago.

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use axum::{Extension, Router};
use hyper::server::conn::http1::Builder;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;
use tokio::task::JoinSet;
use tokio_rustls::TlsAcceptor;
use tokio_rustls::server::TlsStream;
use tower::Layer as _;

use super::room::{Place, Room};
use crate::tls::Tls;

/// Send buffer of a connection, bytes (the kernel doubles it). Larger: a slow reader gets older messages. Smaller:
/// downloads over long round trips slow down (32 KiB a round trip). By judgement, no source.
const SEND_BUFFER_BYTES: usize = 32 * 1024;
/// A browser sends its headers at once; whoever takes longer holds a connection for nothing.
const HEADER_TIME: Duration = Duration::from_secs(10);
/// Greatest size of a request's headers, and of what is read ahead, bytes.
const MOST_HEADER_BYTES: usize = 16 * 1024;
/// Content type of a TLS record that opens a handshake (RFC 8446, section 5.1). No HTTP request begins with it.
const TLS_HANDSHAKE: u8 = 22;
/// How long running requests may take once the station ends.
const GRACE: Duration = Duration::from_secs(2);

/// The two ends of a connection.
#[derive(Clone, Copy, Debug)]
pub(super) struct Ends {
    /// Who asks.
    pub(super) peer: SocketAddr,
    /// Which of our addresses was asked.
    pub(super) local: SocketAddr,
    /// Whether the connection is encrypted.
    pub(super) secure: bool,
}

impl Ends {
    /// Whether the request comes from the station's own machine.
    pub(super) fn own_machine(&self) -> bool {
        let (peer, local) = (self.peer.ip().to_canonical(), self.local.ip().to_canonical());
        peer.is_loopback() || peer == local
    }
}

/// Takes connections until `ending` turns true.
pub(super) async fn accept(
    listener: TcpListener,
    app: Router,
    tls: Option<Arc<Tls>>,
    mut ending: watch::Receiver<bool>,
) -> std::io::Result<()> {
    let room = Room::new();
    let mut running = JoinSet::new();
    let mut server = Builder::new();
    server.timer(TokioTimer::new()).header_read_timeout(HEADER_TIME).max_buf_size(MOST_HEADER_BYTES);
    loop {
        let accepted = tokio::select! {
            accepted = listener.accept() => accepted,
            _ = ending.wait_for(|ending| *ending) => break,
        };
        let (stream, peer) = match accepted {
            Ok(accepted) => accepted,
            Err(error) => {
                // Too many open files, or the peer has gone: neither is a reason to end, both to slow down.
                tracing::warn!(%error, "a connection could not be taken");
                tokio::time::sleep(Duration::from_millis(100)).await;
                continue;
            }
        };
        let Some(place) = room.enter(peer.ip()).map(Arc::new) else {
            tracing::debug!(%peer, "too many connections from this address: refused");
            continue;
        };
        let Ok(ends) = prepare(&stream, peer) else { continue };
        let (app, server, tls, mut ending) = (app.clone(), server.clone(), tls.clone(), ending.clone());
        running.spawn(async move {
            let first = tokio::select! {
                first = tokio::time::timeout(HEADER_TIME, first_byte(&stream)) => first.unwrap_or(None),
                _ = ending.wait_for(|ending| *ending) => None,
            };
            match (first, tls) {
                (Some(TLS_HANDSHAKE), Some(tls)) => {
                    let ends = Ends { secure: true, ..ends };
                    if let Some(stream) = encrypted(stream, &tls, ends).await {
                        converse(&server, stream, app, (ends, place), ending).await;
                    }
                }
                (Some(_), _) => converse(&server, stream, app, (ends, place), ending).await,
                (None, _) => {}
            }
        });
        while running.try_join_next().is_some() {}
    }
    let all_ended = async { while running.join_next().await.is_some() {} };
    // Who takes longer is cut off when the set is dropped.
    let _ = tokio::time::timeout(GRACE, all_ended).await;
    Ok(())
}

/// The first byte of a connection, left where it is: both protocols are served at one port, so that an address is one
/// address. `None`: nothing came.
async fn first_byte(stream: &TcpStream) -> Option<u8> {
    let mut first = [0; 1];
    (stream.peek(&mut first).await.ok()? == 1).then_some(first[0])
}

/// A stream that has shaken hands; `None` where that did not come about in time.
async fn encrypted(stream: TcpStream, tls: &Tls, ends: Ends) -> Option<TlsStream<TcpStream>> {
    let config = match tls.config(ends.local.ip()) {
        Ok(config) => config,
        Err(error) => {
            tracing::warn!("a connection was not encrypted: {error}");
            return None;
        }
    };
    match tokio::time::timeout(HEADER_TIME, TlsAcceptor::from(config).accept(stream)).await {
        Ok(Ok(stream)) => Some(stream),
        Ok(Err(error)) => {
            // Mostly a browser that does not trust the authority yet.
            tracing::debug!(%error, peer = %ends.peer, "no handshake");
            None
        }
        Err(_) => None,
    }
}

/// Serves one connection to its end.
async fn converse<Stream>(
    server: &Builder,
    stream: Stream,
    app: Router,
    (ends, place): (Ends, Arc<Place>),
    mut ending: watch::Receiver<bool>,
) where
    Stream: AsyncRead + AsyncWrite + Unpin + Send + 'static,
{
    // A web socket lives on when its connection is done with as one of HTTP, and keeps the place.
    let service = TowerToHyperService::new(Extension(place).layer(Extension(ends).layer(app)));
    let connection = server.serve_connection(TokioIo::new(stream), service).with_upgrades();
    let mut connection = std::pin::pin!(connection);
    // Not inside the arm: what `wait_for` returns must not be held across a wait.
    let ended = tokio::select! {
        ended = connection.as_mut() => Some(ended),
        _ = ending.wait_for(|ending| *ending) => None,
    };
    let ended = if let Some(ended) = ended {
        ended
    } else {
        connection.as_mut().graceful_shutdown();
        connection.await
    };
    if let Err(error) = ended {
        tracing::debug!(%error, peer = %ends.peer, "a connection ended badly");
    }
}

fn prepare(stream: &TcpStream, peer: SocketAddr) -> std::io::Result<Ends> {
    socket2::SockRef::from(stream).set_send_buffer_size(SEND_BUFFER_BYTES)?;
    // Without it a small message waits for the acknowledgement of the one before.
    stream.set_nodelay(true)?;
    Ok(Ends { peer, local: stream.local_addr()?, secure: false })
}
