//! The station's name on the local network: `loftwatch.local`, by multicast DNS (RFC 6762), and the pages as a service
//! (RFC 6763). It is a convenience: networks that carry no multicast have the addresses and their QR code.

use std::net::SocketAddr;

use mdns_sd::{ServiceDaemon, ServiceInfo};

/// The name, without port.
pub(crate) const NAME: &str = "loftwatch.local";

/// What is announced; taken back when dropped.
pub(crate) struct Announced {
    daemon: ServiceDaemon,
    service: String,
}

impl std::fmt::Debug for Announced {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        out.debug_struct("Announced").field("service", &self.service).finish_non_exhaustive()
    }
}

impl Announced {
    /// Announces pages that are served at an address; nothing where only this machine can reach them.
    pub(crate) fn new(listening: SocketAddr) -> Option<Self> {
        if listening.ip().is_loopback() {
            return None;
        }
        match announce(listening) {
            Ok(announced) => Some(announced),
            Err(error) => {
                tracing::warn!(
                    "`{NAME}` is not announced on the network: {error}; the addresses and the QR code hold"
                );
                None
            }
        }
    }
}

fn announce(listening: SocketAddr) -> Result<Announced, mdns_sd::Error> {
    let daemon = ServiceDaemon::new()?;
    let at = if listening.ip().is_unspecified() { String::new() } else { listening.ip().to_string() };
    let host = format!("{NAME}.");
    let service = ServiceInfo::new(
        "_http._tcp.local.",
        "Loftwatch",
        &host,
        at.as_str(),
        listening.port(),
        &[("path", "/")][..],
    )?;
    let service = if at.is_empty() { service.enable_addr_auto() } else { service };
    let name = service.get_fullname().to_owned();
    daemon.register(service)?;
    Ok(Announced { daemon, service: name })
}

impl Drop for Announced {
    fn drop(&mut self) {
        // A goodbye, so that the name is not looked for here any more; whoever misses it finds out by itself.
        let _ = self.daemon.unregister(&self.service);
        let _ = self.daemon.shutdown();
    }
}
