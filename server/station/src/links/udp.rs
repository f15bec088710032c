//! Bytes over UDP: each datagram is one piece. Anybody who reaches the port can send, so the link says that it is
//! unauthenticated.

use socket2::SockRef;
use tokio::net::UdpSocket;

use super::Port;
use super::pause::Pause;

/// Room that the system is asked for, bytes: bursts wait there, not in the air.
const SOCKET_BUFFER_BYTES: usize = 4 * 1024 * 1024;

pub(super) async fn run(address: &str, port: &mut Port) {
    let mut pause = Pause::new();
    let mut piece = vec![0; 65_536];
    loop {
        match UdpSocket::bind(address).await {
            Ok(socket) => {
                if let Err(error) = SockRef::from(&socket).set_recv_buffer_size(SOCKET_BUFFER_BYTES) {
                    tracing::debug!("the socket keeps its small buffer: {error}");
                }
                port.up(&format!("listening on {address}, unauthenticated"));
                loop {
                    match socket.recv_from(&mut piece).await {
                        // An empty datagram carries nothing.
                        Ok((0, _)) => {}
                        Ok((n, _)) => {
                            port.bytes(&piece[..n]);
                            pause.reset();
                        }
                        Err(error) => {
                            port.down(&format!("receiving on {address} failed: {error}; trying again"));
                            break;
                        }
                    }
                }
            }
            Err(error) => port.down(&format!("cannot listen on {address}: {error}; trying again")),
        }
        pause.wait().await;
    }
}
