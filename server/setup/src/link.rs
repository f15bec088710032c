//! Receivers, and the links that carry their bytes.

use std::net::IpAddr;

use loftwatch_engine::setup::{Flow, Link, Parity, Source, USUAL_DELAY_S};
use loftwatch_radio::{Envelope, Form, Layout};

use crate::added;
use crate::fixed;
use crate::framing;
use crate::mistake::clean;
use crate::mixup;
use crate::notes::{Notes, want};
use crate::told;
use crate::tree::{At, Field, Place};

/// The most links, and the most receivers.
const MOST: usize = 32;

#[derive(Clone, Copy, PartialEq)]
enum Kind {
    Serial,
    Tcp,
    Udp,
    File,
    Stdin,
    Relay,
}

const KINDS: &[(&str, Kind)] = &[
    ("serial", Kind::Serial),
    ("tcp", Kind::Tcp),
    ("udp", Kind::Udp),
    ("file", Kind::File),
    ("stdin", Kind::Stdin),
    ("relay", Kind::Relay),
];

const PARITIES: &[(&str, Parity)] = &[("none", Parity::None), ("even", Parity::Even), ("odd", Parity::Odd)];
const FLOWS: &[(&str, Flow)] =
    &[("none", Flow::None), ("software", Flow::Software), ("hardware", Flow::Hardware)];

/// Checks receivers and links.
pub(crate) fn mean(
    receivers: &[At<told::Receiver>],
    links: &[At<told::Link>],
    told_layouts: &[At<told::Layout>],
    layouts: &mut Vec<Layout>,
    told_as: &[usize],
    notes: &mut Notes,
) -> (Vec<String>, Vec<Link>) {
    for (extra, what) in
        [(receivers.get(MOST).map(|r| &r.at), "receivers"), (links.get(MOST).map(|l| &l.at), "links")]
    {
        if let Some(at) = extra {
            notes.refuse(at, format!("at most {MOST} {what}"), "more", None);
        }
    }
    let declared = notes.names(receivers.iter().map(|r| &r.value.name), "receiver");
    let names = notes.names(links.iter().map(|link| &link.value.name), "link");
    let layout_names: Vec<String> = told_layouts
        .iter()
        .map(|layout| layout.value.name.get().map(|at| at.value.trim().to_owned()).unwrap_or_default())
        .collect();
    let mut all = declared.clone();
    let mut meant: Vec<Link> = Vec::new();
    for (At { value: told, .. }, name) in links.iter().zip(names).take(MOST) {
        let receiver = match &told.receiver {
            Field::Absent(place) => {
                notes.default(place, format!("{name}, the link's own name"), name.clone())
            }
            field if declared.is_empty() => notes.name(field).unwrap_or_default(),
            field => {
                notes.reference(field, &declared, "receiver").map(|r| declared[r].clone()).unwrap_or_default()
            }
        };
        if !receiver.is_empty() && !all.contains(&receiver) {
            all.push(receiver.clone());
        }
        let source = source(told, notes);
        if let Some(source) = &source
            && meant.iter().any(|other| same(&other.source, source))
        {
            let place = [&told.path, &told.listen]
                .into_iter()
                .find(|f| !f.absent())
                .map_or(told.kind.place(), Field::place);
            notes.refuse(place, "bytes that no other link takes", "the same source again", None);
        }
        // A layout with cases is all of them.
        let tried: Vec<usize> = tried(told, &layout_names, notes)
            .into_iter()
            .flat_map(|told| (0..told_as.len()).filter(move |&index| told_as[index] == told))
            .collect();
        let tried = added::with(told, &name, tried, layouts, notes);
        hidden(&tried, layouts, told.layouts.place(), notes);
        let natural =
            framing::natural(&tried.iter().map(|&layout| &layouts[layout].form).collect::<Vec<_>>());
        let before = notes.mistakes.len();
        let framing = framing::mean(&told.framing, natural, notes);
        if notes.mistakes.len() == before {
            fixed::fits(told, &framing, &tried, layouts, notes);
        }
        let delay_s = notes.number_or(&told.delay_s, want(0.0, 10.0, "s"), mixup::delay_s, USUAL_DELAY_S);
        let source = source.unwrap_or(Source::Stdin);
        meant.push(Link { name, receiver, source, framing, layouts: tried, delay_s });
    }
    (all, meant)
}

/// Whether two links would take each other's bytes.
fn same(a: &Source, b: &Source) -> bool {
    match (a, b) {
        (Source::Serial { path: a, .. }, Source::Serial { path: b, .. })
        | (Source::File { path: a }, Source::File { path: b })
        | (Source::Udp { address: a, .. }, Source::Udp { address: b, .. })
        | (
            Source::Relay { address: a, .. } | Source::TcpListen { address: a },
            Source::Relay { address: b, .. } | Source::TcpListen { address: b },
        ) => a == b,
        (Source::Stdin, Source::Stdin) => true,
        _ => false,
    }
}

/// Indices of the layouts to try.
fn tried(told: &told::Link, names: &[String], notes: &mut Notes) -> Vec<usize> {
    match &told.layouts {
        Field::Is(list) => {
            let mut tried = Vec::new();
            for layout in &list.value {
                if let Some(index) = notes.named(&layout.value, &layout.at, names, "layout") {
                    if tried.contains(&index) {
                        notes.refuse(
                            &layout.at,
                            "each layout once",
                            format!("\"{}\" again", clean(&layout.value, 60)),
                            None,
                        );
                    }
                    tried.push(index);
                }
            }
            tried
        }
        field => {
            let words = if names.is_empty() {
                "none: frames are kept, not decoded".to_owned()
            } else {
                format!("all: {}", names.join(", "))
            };
            notes.default(field.place(), words, (0..names.len()).collect())
        }
    }
}

/// A layout that is never tried, as one before it fits whatever it fits.
fn hidden(tried: &[usize], layouts: &[Layout], place: &Place, notes: &mut Notes) {
    for (nth, &later) in tried.iter().enumerate() {
        let (later, before) = (&layouts[later], &tried[..nth]);
        if let Some(&first) = before.iter().find(|&&first| hides(&layouts[first], later)) {
            let found =
                format!("\"{}\" behind \"{}\", which fits whatever it fits", later.name, layouts[first].name);
            let hint = "give one of its fields a value with `is`, a text layout `starts_with`, or change their order";
            notes.refuse(place, "layouts that can be told apart", found, Some(hint.to_owned()));
        }
    }
}

/// Whether whatever fits `later` fits `first` too: neither length nor a fixed value tells them apart.
fn hides(first: &Layout, later: &Layout) -> bool {
    if first.fields().iter().any(|field| field.is.is_some() || field.is_text.is_some()) {
        return false;
    }
    hides_form(&first.form, &later.form)
}

fn hides_form(first: &Form, later: &Form) -> bool {
    let bytes = |form: &Form| loftwatch_radio::least(form.fields());
    let same = |a: &Envelope, b: &Envelope| a.carrier == b.carrier && (a.from.is_none() || a.from == b.from);
    let lines = |form: &Form| form.is_lines() && !matches!(form, Form::Text { .. });
    match (first, later) {
        (Form::Text { starts_with: None, .. }, later) if lines(later) => true,
        (Form::Keyed { encoding: a, fields: first }, Form::Keyed { encoding: b, fields: later }) => {
            a == b && later.iter().all(|field| first.iter().any(|other| other.key() == field.key()))
        }
        (Form::Aprs { envelope: a, .. }, Form::Aprs { envelope: b, .. }) => same(a, b),
        (Form::In { envelope: a, form: first }, Form::In { envelope: b, form: later }) => {
            same(a, b) && hides_form(first, later)
        }
        (Form::Nmea { .. }, Form::Nmea { .. })
        | (Form::Text { starts_with: None, .. }, Form::Text { .. }) => true,
        (Form::Text { starts_with: Some(a), .. }, Form::Text { starts_with: Some(b), .. }) => a == b,
        (Form::Binary { length: None, .. }, Form::Binary { length, .. }) => {
            bytes(first) <= length.unwrap_or_else(|| bytes(later))
        }
        (Form::Binary { length: Some(a), .. }, Form::Binary { length: Some(b), .. }) => a == b,
        _ => false,
    }
}

fn source(told: &told::Link, notes: &mut Notes) -> Option<Source> {
    let Some(kind) = notes.choice_required(&told.kind, KINDS) else {
        kindless(told, notes);
        return None;
    };
    astray(told, kind, notes);
    match kind {
        Kind::Serial => {
            let path = path(told, "the device, such as \"/dev/serial/by-id/...\"", notes);
            let (baud, data_bits, parity, stop_bits, flow) = line(told, notes);
            Some(Source::Serial { path: path?, baud, data_bits, parity, stop_bits, flow })
        }
        Kind::File => Some(Source::File { path: path(told, "the file's path", notes)? }),
        Kind::Stdin => Some(Source::Stdin),
        Kind::Udp => {
            let address = listen(told, true, notes);
            let datagrams = datagrams(told, true, notes);
            Some(Source::Udp { address: address?, datagrams })
        }
        Kind::Relay => {
            // Whoever has not the key is not heard: it may wait where the network reaches it.
            let address = listen(told, false, notes);
            let key_file = written(&told.key_file, "the path of a file that `loftwatch key` made", notes);
            let datagrams = datagrams(told, false, notes);
            Some(Source::Relay { address: address?, key_file: key_file?, datagrams })
        }
        Kind::Tcp => match (&told.connect, &told.listen) {
            (Field::Absent(place), Field::Absent(_)) => {
                notes.missing(place, "connect = \"host:port\" or listen = \"127.0.0.1:port\"", None);
                None
            }
            (Field::Is(_), Field::Is(listen)) => {
                notes.refuse(&listen.at, "either `connect` or `listen`", "both", None);
                None
            }
            (Field::Is(connect), _) => {
                let (host, port) = host_and_port(connect, notes)?;
                if port == 0 {
                    notes.refuse(&connect.at, "a port from 1 to 65535", "0", None);
                }
                Some(Source::TcpConnect { address: join(&host, port) })
            }
            _ => Some(Source::TcpListen { address: listen(told, true, notes)? }),
        },
    }
}

/// Whether the end of each piece ends a frame.
fn datagrams(told: &told::Link, default: bool, notes: &mut Notes) -> bool {
    match &told.datagrams {
        Field::Is(at) => at.value,
        field if default => notes.default(field.place(), "true: the end of a datagram ends a frame", true),
        field => notes.default(field.place(), "false: only the framing ends a frame", false),
    }
}

/// How a serial line is set.
fn line(told: &told::Link, notes: &mut Notes) -> (u32, u8, Parity, u8, Flow) {
    (
        whole_or(&told.baud, 50, 10_000_000, "baud", 115_200, notes) as u32,
        whole_or(&told.data_bits, 5, 8, "bits", 8, notes) as u8,
        notes.choice_or(&told.parity, PARITIES, ("none", Parity::None)),
        whole_or(&told.stop_bits, 1, 2, "bits", 1, notes) as u8,
        notes.choice_or(&told.flow, FLOWS, ("none", Flow::None)),
    )
}

/// What can be said of a link of no known kind: each key by itself.
fn kindless(told: &told::Link, notes: &mut Notes) {
    line(told, notes);
    if !told.path.absent() {
        path(told, "a path", notes);
    }
    if !told.listen.absent() {
        listen(told, told.key_file.absent(), notes);
    }
    if !told.key_file.absent() {
        written(&told.key_file, "a path", notes);
    }
    if let Field::Is(connect) = &told.connect {
        host_and_port(connect, notes);
    }
}

/// Keys of another kind of link.
fn astray(told: &told::Link, kind: Kind, notes: &mut Notes) {
    let serial = kind == Kind::Serial;
    let open = matches!(kind, Kind::Tcp | Kind::Udp);
    let word = KINDS.iter().find(|(_, k)| *k == kind).map_or("", |(word, _)| word);
    let mut refuse = |there: Option<&Place>, fits: bool, whose: &str| {
        if let Some(place) = there.filter(|_| !fits) {
            notes.refuse(
                place,
                format!("this key only for {whose}"),
                format!("a link of kind \"{word}\""),
                None,
            );
        }
    };
    let number = |field: &Field<i64>| field.get().map(|at| at.at.clone());
    let text = |field: &Field<String>| field.get().map(|at| at.at.clone());
    for key in [
        number(&told.baud),
        number(&told.data_bits),
        number(&told.stop_bits),
        text(&told.parity),
        text(&told.flow),
    ] {
        refuse(key.as_ref(), serial, "serial links");
    }
    refuse(text(&told.path).as_ref(), serial || kind == Kind::File, "serial ports and files");
    refuse(text(&told.connect).as_ref(), kind == Kind::Tcp, "tcp links");
    refuse(text(&told.listen).as_ref(), open || kind == Kind::Relay, "tcp, udp and relay links");
    refuse(told.allow_network.get().map(|at| &at.at), open, "tcp and udp links");
    refuse(text(&told.key_file).as_ref(), kind == Kind::Relay, "relay links");
    let datagrams = matches!(kind, Kind::Udp | Kind::Relay);
    refuse(told.datagrams.get().map(|at| &at.at), datagrams, "udp and relay links");
}

fn whole_or(field: &Field<i64>, low: i64, high: i64, unit: &str, default: i64, notes: &mut Notes) -> i64 {
    if field.absent() {
        return notes.default(field.place(), format!("{default} {unit}"), default);
    }
    notes.whole(field, low, high, unit).unwrap_or(default)
}

fn path(told: &told::Link, expected: &str, notes: &mut Notes) -> Option<String> {
    written(&told.path, expected, notes)
}

/// The path that a key holds.
fn written(field: &Field<String>, expected: &str, notes: &mut Notes) -> Option<String> {
    if field.absent() {
        notes.missing(field.place(), expected, None);
    }
    let at = field.get()?;
    if at.value.trim().is_empty() || at.value.len() > 4096 || at.value.chars().any(char::is_control) {
        notes.refuse(&at.at, expected, format!("\"{}\"", clean(&at.value, 60)), None);
        return None;
    }
    Some(at.value.clone())
}

/// An address to listen at. One that is `open` to all: this machine alone, unless it is told plainly that it may be the
/// network.
fn listen(told: &told::Link, open: bool, notes: &mut Notes) -> Option<String> {
    let Some(at) = told.listen.get() else {
        notes.missing(told.listen.place(), "listen = \"127.0.0.1:port\"", None);
        return None;
    };
    let (host, port) = host_and_port(at, notes)?;
    let address = if host == "localhost" { "127.0.0.1".to_owned() } else { host };
    let Ok(ip) = address.parse::<IpAddr>() else {
        let hint =
            Some("an address of this machine, such as 127.0.0.1, or 0.0.0.0 for all of them".to_owned());
        notes.refuse(
            &at.at,
            "an address of numbers and a port",
            format!("\"{}\"", clean(&at.value, 60)),
            hint,
        );
        return None;
    };
    if !open {
        return Some(join(&address, port));
    }
    if !ip.is_loopback() && told.allow_network.get().is_none_or(|allow| !allow.value) {
        let hint = "anyone on the network could then send packets: write `allow_network = true` in this link if that is meant";
        notes.refuse(
            &at.at,
            "an address on this machine, such as 127.0.0.1",
            format!("\"{}\"", clean(&at.value, 60)),
            Some(hint.to_owned()),
        );
        return None;
    }
    if told.allow_network.absent() {
        notes.default(told.allow_network.place(), "false: this machine alone", ());
    }
    Some(join(&address, port))
}

fn host_and_port(at: &At<String>, notes: &mut Notes) -> Option<(String, u16)> {
    let text = at.value.trim();
    let parts = text.rsplit_once(':').and_then(|(host, port)| {
        let host = host.strip_prefix('[').and_then(|h| h.strip_suffix(']')).unwrap_or(host);
        let port: u16 = port.parse().ok()?;
        let bare = host.contains(':') && !text.starts_with('[');
        let legal = !host.is_empty()
            && !bare
            && host.len() <= 253
            && host.chars().all(|c| c.is_ascii_alphanumeric() || ".-:%_".contains(c));
        legal.then(|| (host.to_owned(), port))
    });
    if parts.is_none() {
        let hint = if text.contains("//") {
            Some("without a scheme: host and port alone".to_owned())
        } else if text.contains(':') {
            None
        } else {
            Some(format!("with its port: \"{}:9000\"", clean(text, 40)))
        };
        notes.refuse(&at.at, "host:port, the port from 0 to 65535", format!("\"{}\"", clean(text, 60)), hint);
    }
    parts
}

fn join(host: &str, port: u16) -> String {
    if host.contains(':') { format!("[{host}]:{port}") } else { format!("{host}:{port}") }
}
