//! The web from outside: a real listener, real sockets, a made-up station behind them.

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::time::Duration;

use futures_util::{SinkExt as _, StreamExt as _};
use loftwatch_engine::What;
use serde_json::Value as Json;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;
use tokio::sync::watch;
use tokio_tungstenite::tungstenite::Message as Frame;
use tokio_tungstenite::tungstenite::client::IntoClientRequest as _;

mod crew;
mod crowd;
mod files;
mod network;
mod prepare;
mod radio;
mod show;

use super::*;
use crate::clock::Clock;
use crate::hub::Hub;
use crate::hub::made::{self, EPOCH_NS, output};
use crate::playback::made::{Stored, store};
use crate::ring::Ring;
use crate::shared::{SetupNow, Status};

/// A station whose web is served; it ends when this is dropped.
struct Station {
    shared: Arc<Shared>,
    address: SocketAddr,
    ending: watch::Sender<bool>,
    stored: Stored,
    /// Where the crew is kept.
    folder: tempfile::TempDir,
    _senders:
        (watch::Sender<Arc<SetupNow>>, watch::Sender<Status>, watch::Sender<Vec<crate::shared::LinkStatus>>),
}

async fn station() -> Station {
    station_of(None).await
}

/// With a setup file, it is looked after as in a real station.
async fn station_of(setup_file: Option<&std::path::Path>) -> Station {
    station_of_store(setup_file, store(&made::setup(), made::whole_flight()).await, 0).await
}

/// Over a store that is there already, started at that station time.
async fn station_of_store(setup_file: Option<&std::path::Path>, stored: Stored, started_ns: i64) -> Station {
    let told = setup_file.map_or_else(made::setup, |file| crate::setup::read(file).unwrap());
    let path = setup_file.map(std::path::Path::to_owned);
    let (setup_in, setup) =
        watch::channel(Arc::new(SetupNow { setup: told, path: path.clone(), complaint: None }));
    let (status_in, status) = watch::channel(Status::default());
    let (links_in, links) = watch::channel(Vec::new());
    let (ending_in, ending) = watch::channel(false);
    let clock = Clock::after(0);
    let ring = Arc::new(Ring::new(clock, 1));
    let (setups, wanted) = tokio::sync::mpsc::channel(1);
    if let Some(file) = path {
        let links = crate::links::Links::new(
            Arc::clone(&ring),
            BTreeMap::new(),
            crate::links::Desk::new(BTreeMap::new(), watch::channel(0).1),
        );
        tokio::spawn(crate::setup::watch(file, setup_in.clone(), Arc::clone(&ring), links, wanted));
    }
    let folder = tempfile::tempdir().unwrap();
    let map = folder.path().join("map.pmtiles");
    std::fs::write(&map, b"PMTiles\x03 and so on").unwrap();
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let shared = Arc::new(Shared {
        hub: Arc::new(Hub::new(
            clock,
            EPOCH_NS,
            setup.clone(),
            status.clone(),
            links.clone(),
            watch::channel(Vec::new()).1,
        )),
        crowd: Arc::default(),
        readers: stored.readers.clone(),
        inputs_readers: stored.inputs.clone(),
        setup,
        clock,
        epoch_ns: EPOCH_NS,
        started_ns,
        briefs: crate::playback::Briefs::default(),
        ending,
        ring,
        show: Arc::default(),
        crew: Arc::new(crate::crew::Crew::open(folder.path()).unwrap()),
        listening: address,
        map: Some(map),
        data: stored.folder.path().to_owned(),
        spool: crate::export::spool::Spool::new(stored.folder.path(), std::time::Duration::ZERO),
        hindsight: crate::hindsight::Hindsight::unanswered(),
        tls: Some(Arc::new(crate::tls::Tls::open(folder.path()).unwrap())),
        vehicles: folder.path().join("vehicles"),
        prepared: crate::prepared::Desk::default(),
        setups,
        visitors: crate::travel::Visitors::default(),
        visitor: None,
    });
    tokio::spawn(serve(listener, Arc::clone(&shared)));
    Station { shared, address, ending: ending_in, stored, folder, _senders: (setup_in, status_in, links_in) }
}

/// Status line and headers, and body, of one request; `extra` holds further header lines.
async fn ask(station: &Station, method: &str, path: &str, extra: &str, body: &str) -> (String, String) {
    let mut stream = TcpStream::connect(station.address).await.unwrap();
    let host = if extra.to_ascii_lowercase().contains("host:") {
        String::new()
    } else {
        format!("Host: {}\r\n", station.address)
    };
    let request = format!(
        "{method} {path} HTTP/1.1\r\n{host}{extra}Content-Length: {}\r\nConnection: close\r\n\r\n{body}",
        body.len()
    );
    stream.write_all(request.as_bytes()).await.unwrap();
    let mut answer = Vec::new();
    let _ = stream.read_to_end(&mut answer).await;
    let answer = String::from_utf8(answer).unwrap();
    let (head, body) = answer.split_once("\r\n\r\n").unwrap_or((&answer, ""));
    (head.to_owned(), body.to_owned())
}

async fn get(station: &Station, path: &str) -> (String, String) {
    ask(station, "GET", path, "", "").await
}

type Socket = tokio_tungstenite::WebSocketStream<tokio_tungstenite::MaybeTlsStream<TcpStream>>;

async fn socket(station: &Station, path: &str) -> Socket {
    tokio_tungstenite::connect_async(format!("ws://{}{path}", station.address)).await.unwrap().0
}

/// The next message of a kind, within five seconds.
async fn next(socket: &mut Socket, kind: &str) -> Json {
    let wait = async {
        loop {
            let Frame::Text(text) = socket.next().await.unwrap().unwrap() else { continue };
            let message: Json = serde_json::from_str(&text).unwrap();
            if message["kind"] == kind {
                return message;
            }
        }
    };
    tokio::time::timeout(Duration::from_secs(5), wait)
        .await
        .unwrap_or_else(|_| panic!("no `{kind}` within 5 s"))
}

/// Reads until the newest of each kind are as wanted, within five seconds.
async fn three(
    socket: &mut Socket,
    wanted: impl Fn(&BTreeMap<String, Json>) -> bool,
) -> BTreeMap<String, Json> {
    let mut newest = BTreeMap::new();
    let wait = async {
        while !wanted(&newest) {
            let Frame::Text(text) = socket.next().await.unwrap().unwrap() else { continue };
            let message: Json = serde_json::from_str(&text).unwrap();
            newest.insert(message["kind"].as_str().unwrap().to_owned(), message);
        }
    };
    tokio::time::timeout(Duration::from_secs(5), wait).await.expect("the messages come within 5 s");
    newest
}

#[tokio::test]
async fn a_page_gets_everything_on_connecting_and_then_what_is_new() {
    let station = station().await;
    let mut page = socket(&station, "/api/socket").await;
    let empty = three(&mut page, |newest| newest.len() == 3).await;
    assert_eq!(empty["now"]["flight"], 0);
    assert!(empty["story"]["events"].as_array().unwrap().is_empty());
    let outputs = made::whole_flight();
    station.shared.hub.take(&outputs[..outputs.len() / 2]);
    let newest =
        three(&mut page, |newest| newest.len() == 3 && newest.values().all(|m| m["flight"] == 1)).await;
    assert_eq!(
        (&newest["now"]["mode"], &newest["now"]["flight_name"]),
        (&"live".into(), &"second try".into())
    );
    assert_eq!(newest["story"]["events"][0]["event"], "liftoff");
    assert_eq!(newest["picture"]["paths"][0]["knots"].as_array().unwrap().len(), 64);
    // A page that connects later is told the same, though nothing is new.
    let mut second = socket(&station, "/api/socket").await;
    let again = three(&mut second, |newest| newest.len() == 3).await;
    assert!(again.values().all(|message| message["flight"] == 1));
    let (_, body) = get(&station, "/api/now").await;
    assert_eq!(serde_json::from_str::<Json>(&body).unwrap()["flight"], 1);
}

#[tokio::test]
async fn a_ping_is_answered_with_station_time_and_nonsense_with_nothing() {
    let station = station().await;
    let mut page = socket(&station, "/api/socket").await;
    for text in ["", "{", "[]", "{\"kind\":\"dance\"}", "{\"kind\":\"play\",\"speed\":3}"] {
        page.send(Frame::text(text)).await.unwrap();
    }
    page.send(Frame::text("{\"kind\":\"ping\",\"id\":7,\"sent_ms\":12.5}")).await.unwrap();
    let before_s = station.shared.clock.now_ns() as f64 / 1e9;
    let pong = next(&mut page, "pong").await;
    assert_eq!((&pong["id"], &pong["sent_ms"]), (&7.into(), &12.5.into()));
    assert!((pong["t_s"].as_f64().unwrap() - before_s).abs() < 2.0);
    // An oversized message ends the socket instead of being taken into memory.
    page.send(Frame::text("x".repeat(100_000))).await.unwrap();
    let ended = async { while let Some(Ok(_)) = page.next().await {} };
    tokio::time::timeout(Duration::from_secs(5), ended).await.expect("the socket is closed");
}

#[tokio::test]
async fn a_reader_that_stalls_skips_to_the_newest_and_holds_up_nobody() {
    let station = station().await;
    // A slow radio holds little: the receiver's side of this machine would otherwise take megabytes.
    let narrow = tokio::net::TcpSocket::new_v4().unwrap();
    narrow.set_recv_buffer_size(8 * 1024).unwrap();
    let narrow = narrow.connect(station.address).await.unwrap();
    let request = format!("ws://{}/api/socket", station.address);
    let (mut stalled, _) = tokio_tungstenite::client_async(request, narrow).await.unwrap();
    let mut quick = socket(&station, "/api/socket").await;
    let outputs = made::whole_flight();
    let mut most_wait = Duration::ZERO;
    let (begin, end) = (outputs.len() / 2, outputs.len());
    station.shared.hub.take(&outputs[..begin]);
    // Ten seconds of flight in a little real time: pictures of 80 kB, `stalled` reads none of it.
    for round in 0..60 {
        let started = std::time::Instant::now();
        station
            .shared
            .hub
            .take(&outputs[begin + round * (end - begin) / 60..begin + (round + 1) * (end - begin) / 60]);
        most_wait = most_wait.max(started.elapsed());
        next(&mut quick, "now").await;
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    assert!(most_wait < Duration::from_millis(500), "the engine was held up for {most_wait:?}");
    let mut read = 0;
    let mut last = Json::Null;
    while let Ok(Some(Ok(frame))) = tokio::time::timeout(Duration::from_millis(1500), stalled.next()).await {
        if let Frame::Text(text) = frame {
            let message: Json = serde_json::from_str(&text).unwrap();
            if message["kind"] == "now" {
                read += 1;
                last = message;
                if last["ended_t_s"].is_number() {
                    break;
                }
            }
        }
    }
    assert!(last["ended_t_s"].is_number(), "the newest arrives: {last}");
    assert!(read < 30, "{read} of 60 old messages were kept for it");
}

#[tokio::test]
async fn a_replay_is_steered_by_its_own_page_only() {
    let station = station().await;
    let mut one = socket(&station, "/api/flights/1/socket").await;
    let mut two = socket(&station, "/api/flights/1/socket").await;
    let first = next(&mut one, "now").await;
    assert_eq!((&first["mode"], &first["speed"]), (&"replay".into(), &0.into()));
    one.send(Frame::text("{\"kind\":\"seek\",\"t_s\":1795600030.5}")).await.unwrap();
    let now = loop {
        let now = next(&mut one, "now").await;
        if now["t_s"] == 1_795_600_030.5 {
            break now;
        }
    };
    assert_eq!(now["bodies"][0]["phase"], "descending");
    assert_eq!(next(&mut one, "story").await["events"].as_array().unwrap().len(), 6);
    assert_eq!(next(&mut one, "picture").await["paths"].as_array().unwrap().len(), 4);
    one.send(Frame::text("{\"kind\":\"play\",\"speed\":20}")).await.unwrap();
    let end = loop {
        let now = next(&mut one, "now").await;
        if now["t_s"].as_f64().unwrap() >= 1_795_600_039.95 {
            break now;
        }
    };
    assert_eq!(end["speed"], 0, "paused at the end");
    assert_eq!(next(&mut two, "now").await["t_s"], first["t_s"], "the other replay stands where it stood");
    assert!(station.shared.ring.drain().inputs.is_empty(), "a replay is no input");
}

#[tokio::test]
async fn flights_are_listed_and_a_wrong_number_is_told_in_words() {
    let station = station().await;
    let (head, body) = get(&station, "/api/flights").await;
    assert!(head.starts_with("HTTP/1.1 200"), "{head}");
    let flights: Json = serde_json::from_str(&body).unwrap();
    assert_eq!(flights.as_array().unwrap().len(), 1);
    assert_eq!(flights[0]["name"], "second try");
    assert_eq!(flights[0]["liftoff_s"], 1_795_600_005.0);
    assert_eq!(flights[0]["duration_s"], 33.0, "to the landing");
    let (_, body) = get(&station, "/api/flights/1").await;
    assert_eq!(serde_json::from_str::<Json>(&body).unwrap()["site"]["vehicle"], "Tall Order");
    for (path, from) in [
        ("/api/flights/1/track", 1_795_600_000.0),
        ("/api/flights/current/track?from_s=1795600010", 1_795_600_010.0),
    ] {
        let (head, body) = get(&station, path).await;
        assert!(head.starts_with("HTTP/1.1 200"), "{path}: {head}");
        let track: Json = serde_json::from_str(&body).unwrap();
        assert!(track["bodies"][0]["t_s"][0].as_f64().unwrap() >= from, "{body}");
    }
    let (head, body) = get(&station, "/api/flights/1/readings.csv").await;
    assert!(head.contains("content-disposition: attachment; filename=\"flight-1-readings.csv\""), "{head}");
    assert!(body.contains("utc_received,"));
    for path in [
        "/api/flights/7",
        "/api/flights/-1",
        "/api/flights/x%3Cb%3E/track",
        "/api/flights/99999999999/readings.csv",
        "/api/nothing",
    ] {
        let (head, body) = get(&station, path).await;
        assert!(head.starts_with("HTTP/1.1 404"), "{path}: {head}");
        let problem: Json = serde_json::from_str(&body).unwrap();
        assert!(
            problem["error"].as_str().unwrap().len() > 10
                && problem["hint"].is_string()
                && problem["kept"].is_string()
        );
    }
    let (head, body) = get(&station, "/flights/x%3Cscript%3E").await;
    assert!(head.starts_with("HTTP/1.1 404") && head.contains("content-type: text/html"), "{head}");
    assert!(body.contains("There is no flight `x&lt;script&gt;`."), "{body}");
    assert!(get(&station, "/flights/1").await.0.starts_with("HTTP/1.1 200"));
    assert!(get(&station, "/flights").await.0.starts_with("HTTP/1.1 200"));
    assert!(get(&station, "/no/such/page").await.0.starts_with("HTTP/1.1 404"));
    station.stored.readers.close().await;
    let (head, body) = get(&station, "/api/flights").await;
    assert!(head.starts_with("HTTP/1.1 503") && body.contains("cannot be read"), "{head}\n{body}");
}

#[tokio::test]
async fn every_answer_holds_the_browser_to_our_own_pages() {
    let station = station().await;
    for path in ["/", "/api/about", "/api/nothing", "/nothing"] {
        let (head, _) = get(&station, path).await;
        for line in [
            "content-security-policy: default-src 'self'",
            "frame-ancestors 'self'",
            "x-content-type-options: nosniff",
            "referrer-policy: no-referrer",
        ] {
            assert!(head.contains(line), "{line} in {head}");
        }
        assert!(!head.contains("unsafe-inline") && !head.contains("access-control-allow"), "{head}");
    }
    let (head, body) = ask(&station, "GET", "/api/about", "Host: evil.example\r\n", "").await;
    assert!(head.starts_with("HTTP/1.1 421") && body.contains("not known by that name"), "{head}");
    let (head, _) = ask(&station, "DELETE", "/api/flights", "", "").await;
    assert!(head.starts_with("HTTP/1.1 405"), "{head}");
}

#[tokio::test]
async fn a_page_from_elsewhere_gets_no_socket() {
    let station = station().await;
    for (origin, opens) in
        [("http://evil.example".to_owned(), false), (format!("http://{}", station.address), true)]
    {
        let mut request = format!("ws://{}/api/socket", station.address).into_client_request().unwrap();
        request.headers_mut().insert("origin", origin.parse().unwrap());
        assert_eq!(tokio_tungstenite::connect_async(request).await.is_ok(), opens, "{origin}");
    }
}

#[tokio::test]
async fn sockets_say_goodbye_when_the_station_ends() {
    let station = station().await;
    let mut page = socket(&station, "/api/socket").await;
    next(&mut page, "now").await;
    station.ending.send_replace(true);
    let closed = async {
        loop {
            match page.next().await {
                Some(Ok(Frame::Close(Some(frame)))) => return u16::from(frame.code),
                Some(Ok(_)) => {}
                other => panic!("no goodbye: {other:?}"),
            }
        }
    };
    assert_eq!(tokio::time::timeout(Duration::from_secs(5), closed).await.unwrap(), 1001);
}

#[tokio::test(start_paused = true)]
async fn who_answers_no_ping_is_dropped() {
    // In paused time nothing else moves: the client's own library would answer pings, so it is never polled.
    let station = station().await;
    let mut silent = TcpStream::connect(station.address).await.unwrap();
    let request = format!(
        "GET /api/socket HTTP/1.1\r\nHost: {}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\nSec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n",
        station.address
    );
    silent.write_all(request.as_bytes()).await.unwrap();
    let started = tokio::time::Instant::now();
    let mut buffer = vec![0; 64 * 1024];
    while silent.read(&mut buffer).await.is_ok_and(|read| read > 0) {}
    let lasted = started.elapsed().as_secs();
    assert!((30..=50).contains(&lasted), "{lasted} s");
}

#[tokio::test]
async fn an_output_reaches_the_socket_within_milliseconds() {
    // No assertion on time beyond "at once": the pace of 50 ms would show as such.
    let station = station().await;
    let mut page = socket(&station, "/api/socket").await;
    station.shared.hub.take(&[output(1, 0.0, made::flight(None, None))]);
    next(&mut page, "now").await;
    let mut waits = Vec::new();
    for step in 0..20_u64 {
        tokio::time::sleep(Duration::from_millis(60)).await;
        let started = std::time::Instant::now();
        let height = 1000.0 + step as f64;
        station.shared.hub.take(&[output(
            2 + step,
            height,
            made::estimate(0, height, loftwatch_flight::Phase::Coasting),
        )]);
        while next(&mut page, "now").await["bodies"][0]["at_t_s"].as_f64() != Some(1_795_600_000.0 + height) {
        }
        waits.push(started.elapsed());
    }
    waits.sort();
    println!("hub to socket: median {:?}, slowest {:?}", waits[10], waits[19]);
    assert_eq!(waits.len(), 20);
}
