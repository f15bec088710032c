//! Bytes over TCP: connecting to a server, or waiting for a client. Keep-alive probes find a peer that vanished
//! without a word after about 25 s. Of several clients the newest is heard: the older one is most likely dead.

use std::time::Duration;

use socket2::{SockRef, TcpKeepalive};
use tokio::io::AsyncReadExt;
use tokio::net::{TcpListener, TcpStream};

use super::Port;
use super::pause::Pause;

/// Longest wait for a connection.
const PATIENCE: Duration = Duration::from_secs(5);
/// Most bytes in one piece.
const PIECE_BYTES: usize = 65_536;

pub(super) async fn connect(address: &str, port: &mut Port) {
    let mut pause = Pause::new();
    loop {
        match tokio::time::timeout(PATIENCE, TcpStream::connect(address)).await {
            Ok(Ok(mut stream)) => {
                port.up(&format!("connected to {address}"));
                let reason = read(&mut stream, port, &mut pause).await;
                port.down(&format!("{address}: {reason}; trying again"));
            }
            Ok(Err(error)) => port.down(&format!("{address} cannot be reached: {error}; trying again")),
            Err(_) => port.down(&format!("{address} does not answer; trying again")),
        }
        pause.wait().await;
    }
}

pub(super) async fn listen(address: &str, port: &mut Port) {
    let mut pause = Pause::new();
    let listener = loop {
        match TcpListener::bind(address).await {
            Ok(listener) => break listener,
            Err(error) => port.down(&format!("cannot listen on {address}: {error}; trying again")),
        }
        pause.wait().await;
    };
    port.down(&format!("waiting for a client on {address}"));
    let mut client: Option<(TcpStream, std::net::SocketAddr)> = None;
    loop {
        let newest = match &mut client {
            None => listener.accept().await,
            Some((stream, peer)) => {
                tokio::select! {
                    newest = listener.accept() => {
                        port.down(&format!("{peer} is replaced by a newer client"));
                        newest
                    }
                    reason = read(stream, port, &mut pause) => {
                        port.down(&format!("{peer}: {reason}; waiting for a client on {address}"));
                        client = None;
                        continue;
                    }
                }
            }
        };
        match newest {
            Ok((stream, peer)) => {
                port.up(&format!("{peer} is connected"));
                client = Some((stream, peer));
            }
            Err(error) => {
                // Out of file handles, most likely: it passes, and a busy loop would not help.
                port.down(&format!("a client could not be taken: {error}"));
                pause.wait().await;
            }
        }
    }
}

/// Reads to the end; says why it ended.
async fn read(stream: &mut TcpStream, port: &Port, pause: &mut Pause) -> String {
    let probes = TcpKeepalive::new().with_time(Duration::from_secs(10)).with_interval(Duration::from_secs(5));
    if let Err(error) = SockRef::from(&*stream).set_tcp_keepalive(&probes) {
        tracing::warn!("keep-alive could not be set, a peer that vanishes may not be noticed: {error}");
    }
    let mut piece = vec![0; PIECE_BYTES];
    loop {
        match stream.read(&mut piece).await {
            Ok(0) => return "closed by the other side".to_owned(),
            Ok(n) => {
                port.bytes(&piece[..n]);
                pause.reset();
            }
            Err(error) => return format!("lost ({error})"),
        }
    }
}
