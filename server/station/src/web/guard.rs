//! What every request passes first: Host and Origin are checked, and the headers that hold a browser to our own
//! pages are set.
//!
//! Host against a page elsewhere whose name is pointed at this machine (DNS rebinding): only names that are ours, and
//! the address that was in fact reached, are answered. Origin against a page elsewhere that opens a socket here or
//! posts: it must be the same host. Scripts send no Origin; that is no hole, as they could send any.

use std::collections::BTreeSet;
use std::net::IpAddr;
use std::sync::Arc;

use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse as _, Response};

use super::listen::Ends;
use super::problem::Refusal;
use crate::mdns;

/// Names under which this station may be asked for, lower case.
#[derive(Clone, Debug, Default)]
pub(super) struct Names(BTreeSet<String>);

impl Names {
    /// The machine's own name, alone and with `.local`, and those in the environment variable `LOFTWATCH_NAMES`
    /// (separated by commas).
    pub(super) fn of_this_machine() -> Self {
        let mut names = Self::default();
        let host =
            std::fs::read_to_string("/proc/sys/kernel/hostname").or_else(|_| std::env::var("HOSTNAME"));
        if let Ok(host) = host {
            let host = host.trim();
            names.add(host);
            names.add(&format!("{}.local", host.split('.').next().unwrap_or(host)));
        }
        for name in std::env::var("LOFTWATCH_NAMES").unwrap_or_default().split(',') {
            names.add(name.trim());
        }
        names
    }

    /// Adds a name.
    pub(super) fn add(&mut self, name: &str) {
        if !name.is_empty() {
            self.0.insert(name.to_ascii_lowercase());
        }
    }

    /// Whether a host (without port) is ours, on a connection that reached `local`.
    fn allow(&self, host: &str, local: Option<IpAddr>) -> bool {
        let bare = host.strip_prefix('[').and_then(|rest| rest.strip_suffix(']')).unwrap_or(host);
        if let Ok(address) = bare.parse::<IpAddr>() {
            let address = address.to_canonical();
            return address.is_loopback() || local.is_some_and(|local| local.to_canonical() == address);
        }
        let host = host.strip_suffix('.').unwrap_or(host).to_ascii_lowercase();
        host == "localhost" || host == mdns::NAME || self.0.contains(&host)
    }
}

/// The guard.
pub(super) async fn check(State(names): State<Arc<Names>>, request: Request, next: Next) -> Response {
    let local = request.extensions().get::<Ends>().map(|ends| ends.local.ip());
    let immutable = request.uri().path().starts_with("/assets/");
    let mut response = if let Some(refusal) = refuse(&names, &request, local) {
        refusal.into_response()
    } else {
        next.run(request).await
    };
    if immutable && response.status().is_success() {
        // Their names hold a hash of their contents.
        let forever = HeaderValue::from_static("public, max-age=31536000, immutable");
        response.headers_mut().insert(header::CACHE_CONTROL, forever);
    }
    protect(response.headers_mut());
    response
}

fn refuse(names: &Names, request: &Request, local: Option<IpAddr>) -> Option<Refusal> {
    let headers = request.headers();
    let one = |name: HeaderName| {
        let mut values = headers.get_all(name).iter();
        let first = values.next();
        if values.next().is_some() { None } else { first.and_then(|value| value.to_str().ok()) }
    };
    let authority =
        one(header::HOST).or_else(|| request.uri().authority().map(axum::http::uri::Authority::as_str));
    let Some(authority) = authority.filter(|authority| names.allow(host_of(authority), local)) else {
        return Some(Refusal::new(
            StatusCode::MISDIRECTED_REQUEST,
            "This station is not known by that name.",
            "Nothing was changed.",
            "Use one of the addresses that the station prints when it starts; other names are told in LOFTWATCH_NAMES.",
        ));
    };
    let upgrade = headers.contains_key(header::UPGRADE) || request.method() == Method::CONNECT;
    let reads = matches!(*request.method(), Method::GET | Method::HEAD);
    if (upgrade || !reads) && !same_origin(headers, authority) {
        return Some(Refusal::new(
            StatusCode::FORBIDDEN,
            "This was asked by a page from elsewhere.",
            "Nothing was changed.",
            "Only pages of this station may open its sockets or act.",
        ));
    }
    None
}

/// The host of `host:port`, brackets of an IPv6 address included.
fn host_of(authority: &str) -> &str {
    if authority.starts_with('[') {
        return authority.find(']').map_or(authority, |end| &authority[..=end]);
    }
    authority.rsplit_once(':').map_or(authority, |(host, _)| host)
}

fn same_origin(headers: &HeaderMap, authority: &str) -> bool {
    let mut origins = headers.get_all(header::ORIGIN).iter();
    let Some(origin) = origins.next() else {
        // No Origin: not a browser, or one that says by itself that the page is ours.
        let site = headers.get("sec-fetch-site").map(HeaderValue::as_bytes);
        return matches!(site, None | Some(b"same-origin" | b"none"));
    };
    if origins.next().is_some() {
        return false;
    }
    let Ok(origin) = origin.to_str() else { return false };
    let host = origin.strip_prefix("http://").or_else(|| origin.strip_prefix("https://"));
    host.is_some_and(|host| host.eq_ignore_ascii_case(authority))
}

/// What a browser may do with our pages: load from here alone, run no script in the text of a page, guess no types,
/// tell no other site, and show them in no foreign frame. An answer that holds itself to less than that keeps its own word.
fn protect(headers: &mut HeaderMap) {
    const ALL: [(&str, &str); 5] = [
        (
            "content-security-policy",
            "default-src 'self'; img-src 'self' data: blob:; media-src 'self' blob:; object-src 'none'; base-uri 'none'; \
             form-action 'self'; frame-ancestors 'self'",
        ),
        ("x-content-type-options", "nosniff"),
        ("referrer-policy", "no-referrer"),
        ("cross-origin-opener-policy", "same-origin"),
        ("cross-origin-resource-policy", "same-origin"),
    ];
    for (name, value) in ALL {
        headers.entry(HeaderName::from_static(name)).or_insert(HeaderValue::from_static(value));
    }
}

#[cfg(test)]
mod tests {
    use axum::body::Body;

    use super::*;

    fn asks(method: &str, local: &str, headers: &[(&str, &str)]) -> Option<StatusCode> {
        let mut names = Names::default();
        names.add("range-laptop.local");
        let mut request = axum::http::Request::builder().method(method).uri("/api/act");
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        let request = request.body(Body::empty()).unwrap();
        refuse(&names, &request, Some(local.parse().unwrap())).map(|refusal| refusal.into_response().status())
    }

    const WRONG_NAME: Option<StatusCode> = Some(StatusCode::MISDIRECTED_REQUEST);
    const FORBIDDEN: Option<StatusCode> = Some(StatusCode::FORBIDDEN);

    #[test]
    fn only_our_own_names_and_the_address_that_was_reached_are_answered() {
        for host in [
            "localhost",
            "localhost:8080",
            "LOCALHOST:1",
            "127.0.0.1:8080",
            "[::1]:8080",
            "192.168.4.1",
            "range-laptop.local:80",
            "loftwatch.local:8080",
            "Range-Laptop.Local.",
        ] {
            assert_eq!(asks("GET", "192.168.4.1", &[("host", host)]), None, "{host}");
        }
        for host in [
            "evil.example",
            "evil.example:8080",
            "192.168.4.2",
            "localhost.evil.example",
            "127.0.0.1.evil.example",
            "",
            "[::2]",
            "[",
            "user@localhost",
        ] {
            assert_eq!(asks("GET", "192.168.4.1", &[("host", host)]), WRONG_NAME, "{host}");
        }
        assert_eq!(asks("GET", "192.168.4.1", &[]), WRONG_NAME, "no Host at all");
        assert_eq!(
            asks("GET", "192.168.4.1", &[("host", "localhost"), ("host", "evil.example")]),
            WRONG_NAME
        );
        assert_eq!(asks("GET", "::ffff:192.168.4.1", &[("host", "192.168.4.1")]), None);
    }

    #[test]
    fn a_page_from_elsewhere_opens_no_socket_and_posts_nothing() {
        let host = ("host", "localhost:8080");
        let socket = ("upgrade", "websocket");
        assert_eq!(asks("GET", "127.0.0.1", &[host, socket]), None, "a script");
        assert_eq!(asks("GET", "127.0.0.1", &[host, socket, ("origin", "http://localhost:8080")]), None);
        assert_eq!(asks("POST", "127.0.0.1", &[host, ("origin", "http://localhost:8080")]), None);
        for origin in [
            "http://evil.example",
            "http://localhost:9999",
            "http://localhost",
            "null",
            "file://",
            "http://localhost:8080.evil.example",
        ] {
            assert_eq!(asks("GET", "127.0.0.1", &[host, socket, ("origin", origin)]), FORBIDDEN, "{origin}");
            assert_eq!(asks("POST", "127.0.0.1", &[host, ("origin", origin)]), FORBIDDEN, "{origin}");
        }
        assert_eq!(asks("POST", "127.0.0.1", &[host, ("sec-fetch-site", "cross-site")]), FORBIDDEN);
        let twice = [host, ("origin", "http://localhost:8080"), ("origin", "http://evil.example")];
        assert_eq!(asks("POST", "127.0.0.1", &twice), FORBIDDEN);
    }
}
