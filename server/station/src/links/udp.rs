//! Bytes over UDP: each datagram is one piece. Anybody who reaches the port can send, so the link says that it is
//! unauthenticated.
//!
//! What comes while the socket's buffer is full the system throws away and counts (`SO_RXQ_OVFL`, socket(7)). It tells the
//! count with the next datagram that it takes; what is thrown away after the last one is not known.

use std::io::IoSliceMut;
use std::os::fd::AsRawFd as _;

use nix::sys::socket::{ControlMessageOwned, MsgFlags, recvmsg, setsockopt, sockopt};
use socket2::SockRef;
use tokio::io::Interest;
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
                if let Err(error) = setsockopt(&socket, sockopt::RxqOvfl, &1) {
                    tracing::debug!("datagrams without room are not counted: {error}");
                }
                port.up(&format!("listening on {address}, unauthenticated"));
                let mut thrown_away = 0;
                loop {
                    match receive(&socket, &mut piece).await {
                        Ok((n, count)) => {
                            if count != thrown_away && say_lost(port, address, count, thrown_away) {
                                thrown_away = count;
                            }
                            // An empty datagram carries nothing.
                            if n > 0 {
                                port.bytes(&piece[..n]);
                                pause.reset();
                            }
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

/// A datagram's length, and how many the system had thrown away since the socket was opened when this one came. The
/// count wraps at 32 bits.
async fn receive(socket: &UdpSocket, piece: &mut [u8]) -> std::io::Result<(usize, u32)> {
    let mut control = nix::cmsg_space!(u32);
    socket
        .async_io(Interest::READABLE, || {
            let mut into = [IoSliceMut::new(piece)];
            let got = recvmsg::<()>(socket.as_raw_fd(), &mut into, Some(&mut control), MsgFlags::empty())?;
            let count = got.cmsgs()?.find_map(|told| match told {
                ControlMessageOwned::RxqOvfl(count) => Some(count),
                _ => None,
            });
            // The system says nothing of a zero.
            Ok((got.bytes, count.unwrap_or(0)))
        })
        .await
}

/// Writes down that datagrams are missing, and shows it; `false`: there was no room for that.
fn say_lost(port: &Port, address: &str, count: u32, before: u32) -> bool {
    let new = count.wrapping_sub(before);
    let said = port
        .lost(format!("{new} datagrams found the socket's buffer full and were thrown away by the system"));
    if said {
        tracing::warn!(
            link = port.name(),
            "{new} datagrams were thrown away by the system: its buffer was full"
        );
        port.show(&format!(
            "listening on {address}, unauthenticated; {count} datagrams were lost, as the machine was too slow to take them"
        ));
    }
    said
}
