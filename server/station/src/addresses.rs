//! The addresses under which the pages can be reached, for printing: the first one that another device can use, as
//! a QR code too.

use std::net::{IpAddr, Ipv4Addr, SocketAddr};

use fast_qr::QRBuilder;
use nix::ifaddrs::getifaddrs;

use crate::crew::Code;
use crate::tls;

/// Addresses of the pages, the best for others first, loopback last. `scheme` is `http` or `https`.
pub(crate) fn reachable(scheme: &str, listening: SocketAddr) -> Vec<String> {
    let port = listening.port();
    let hosts = if listening.ip().is_unspecified() {
        let mut own = own();
        own.push(IpAddr::V4(Ipv4Addr::LOCALHOST));
        own
    } else {
        vec![listening.ip()]
    };
    hosts.into_iter().map(|host| format!("{scheme}://{}", SocketAddr::new(host, port))).collect()
}

/// Those of them for which a certificate can be made.
pub(crate) fn reachable_securely(listening: SocketAddr) -> Vec<String> {
    let scheme = "https://";
    let private = |address: &String| {
        let host = address.strip_prefix(scheme).and_then(|host| host.parse::<SocketAddr>().ok());
        host.is_some_and(|host| tls::is_private(&host.ip()))
    };
    reachable("https", listening).into_iter().filter(private).collect()
}

/// This machine's own IPv4 addresses but loopback.
pub(crate) fn own() -> Vec<IpAddr> {
    let Ok(interfaces) = getifaddrs() else { return Vec::new() };
    let mut own: Vec<IpAddr> = interfaces
        .filter_map(|interface| Some(IpAddr::V4(interface.address?.as_sockaddr_in()?.ip())))
        .filter(|ip| !ip.is_loopback() && !ip.is_unspecified())
        .collect();
    own.dedup();
    own
}

/// The link by which crew join. The code is in the fragment, which a browser sends to nobody.
pub(crate) fn crew_link(address: &str, code: &Code) -> String {
    format!("{address}/#crew={}", code.letters())
}

/// The address as a QR code of half blocks, for a terminal, with the quiet zone that readers need; `None` if it is
/// too long for one.
pub(crate) fn qr(address: &str) -> Option<String> {
    let code = QRBuilder::new(address).build().ok()?;
    let quiet = 4_isize;
    let size = code.size as isize;
    // White on a dark terminal would be read inverted by some phones, so colours are set: black on white.
    let dark = |row: isize, column: isize| {
        (0..size).contains(&row) && (0..size).contains(&column) && code[row as usize][column as usize].value()
    };
    let mut text = String::new();
    for row in (-quiet..size + quiet).step_by(2) {
        text.push_str("  \x1b[30;107m");
        for column in -quiet..size + quiet {
            text.push(match (dark(row, column), dark(row + 1, column)) {
                (true, true) => '\u{2588}',
                (true, false) => '\u{2580}',
                (false, true) => '\u{2584}',
                (false, false) => ' ',
            });
        }
        text.push_str("\x1b[0m\n");
    }
    Some(text)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_qr_code_has_its_quiet_zone_and_is_square() {
        let text = qr("http://192.168.4.1:8080").unwrap();
        let lines: Vec<Vec<char>> = text
            .lines()
            .map(|line| {
                line.trim_start()
                    .trim_start_matches("\x1b[30;107m")
                    .trim_end_matches("\x1b[0m")
                    .chars()
                    .collect()
            })
            .collect();
        let width = lines[0].len();
        assert!(lines.iter().all(|line| line.len() == width));
        assert_eq!(lines.len(), width.div_ceil(2));
        assert!(lines[0].iter().all(|c| *c == ' '), "the quiet zone is empty");
        // The finder pattern's upper edge: seven dark modules over six light and a border.
        let finder: String = lines[2][4..11].iter().collect();
        assert_eq!(finder, "\u{2588}\u{2580}\u{2580}\u{2580}\u{2580}\u{2580}\u{2588}");
    }

    #[test]
    fn one_told_address_is_the_only_one() {
        assert_eq!(reachable("http", "127.0.0.1:81".parse().unwrap()), ["http://127.0.0.1:81"]);
        assert_eq!(reachable_securely("127.0.0.1:81".parse().unwrap()), ["https://127.0.0.1:81"]);
        assert_eq!(reachable_securely("8.8.8.8:81".parse().unwrap()), [""; 0]);
        assert_eq!(reachable("http", "0.0.0.0:81".parse().unwrap()).last().unwrap(), "http://127.0.0.1:81");
    }
}
