//! A remote receiver: two processes, a way between them that is cut again and again, and either process killed.

use std::io::{Read, Write};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use crate::harness::{
    Station, connect, demo_pieces, demo_setup, free_port, kept, query, run, setup, stderr, wait_until,
};

/// A way to a port whose connections can be cut.
struct Way {
    port: u16,
    open: Arc<Mutex<Vec<TcpStream>>>,
    carried: Arc<AtomicU64>,
}

impl Way {
    fn to(near: u16) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let port = listener.local_addr().unwrap().port();
        let (open, carried) = (Arc::new(Mutex::new(Vec::new())), Arc::new(AtomicU64::new(0)));
        let (open_there, carried_there) = (Arc::clone(&open), Arc::clone(&carried));
        std::thread::spawn(move || {
            for far in listener.incoming().map_while(Result::ok) {
                let Ok(near) = TcpStream::connect(("127.0.0.1", near)) else { continue };
                for (mut from, mut to) in [
                    (far.try_clone().unwrap(), near.try_clone().unwrap()),
                    (near.try_clone().unwrap(), far.try_clone().unwrap()),
                ] {
                    let carried = Arc::clone(&carried_there);
                    std::thread::spawn(move || {
                        let mut piece = [0; 700];
                        while let Ok(n @ 1..) = from.read(&mut piece) {
                            if to.write_all(&piece[..n]).is_err() {
                                break;
                            }
                            carried.fetch_add(n as u64, Ordering::Relaxed);
                        }
                        let _ = (from.shutdown(Shutdown::Both), to.shutdown(Shutdown::Both));
                    });
                }
                open_there.lock().unwrap().extend([far, near]);
            }
        });
        Self { port, open, carried }
    }

    fn cut(&self) {
        for end in self.open.lock().unwrap().drain(..) {
            let _ = end.shutdown(Shutdown::Both);
        }
    }
}

fn key(folder: &Path) -> PathBuf {
    let file = folder.join("relay.key");
    let made = run(&["key", file.to_str().unwrap()]);
    assert!(made.status.success(), "{}", stderr(&made));
    file
}

/// A far end that takes bytes at a port and passes them on over a way, and a near end.
struct Ends {
    folder: tempfile::TempDir,
    far_setup: PathBuf,
    near_setup: PathBuf,
    key: PathBuf,
    /// Port of the far end's radio.
    radio: u16,
    way: Way,
}

impl Ends {
    /// `setup` writes a setup with this link into a folder.
    fn new(setup: fn(&Path, &str) -> PathBuf) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let make = |end: &str, link: &str| {
            let own = folder.path().join(end);
            std::fs::create_dir_all(&own).unwrap();
            setup(&own, link)
        };
        let (radio, near_port) = (free_port(), free_port());
        let key = key(folder.path());
        let far_setup = make("far", &format!("kind = \"tcp\"\nlisten = \"127.0.0.1:{radio}\""));
        let relay =
            format!("kind = \"relay\"\nlisten = \"127.0.0.1:{near_port}\"\nkey_file = \"{}\"", key.display());
        let near_setup = make("near", &relay);
        Self { far_setup, near_setup, key, radio, way: Way::to(near_port), folder }
    }

    fn data(&self, end: &str) -> PathBuf {
        self.folder.path().join(end).join("data")
    }

    fn near(&self) -> Station {
        Station::start(&self.near_setup, &self.data("near"))
    }

    /// The far end, once it waits for its radio.
    fn far(&self) -> Station {
        let to = format!("127.0.0.1:{}", self.way.port);
        let more = ["--pass-on", &to, "--key", self.key.to_str().unwrap()];
        let mut far = Station::start_with(&self.far_setup, &self.data("far"), &more);
        far.wait_for("waiting for a client");
        far
    }
}

#[test]
fn nothing_is_lost_or_doubled_when_the_way_is_cut_and_both_ends_are_killed() {
    let ends = Ends::new(setup);
    let (far_data, near_data) = (ends.data("far"), ends.data("near"));
    let mut near = ends.near();
    near.wait_for("waiting for a remote receiver");
    let mut far_end = ends.far();
    let mut sent = String::new();
    let mut radio_end = connect(ends.radio);
    for round in 0..8 {
        for n in 0..60 {
            let line = format!("round {round} line {n}\n");
            radio_end.write_all(line.as_bytes()).unwrap();
            sent.push_str(&line);
            std::thread::sleep(Duration::from_millis(2));
            if n % 17 == 5 {
                ends.way.cut();
            }
        }
        match round % 4 {
            1 => {
                near.kill();
                near = ends.near();
            }
            3 => {
                // Only what the far end has received can be passed on.
                wait_until("the far end has it", || (kept(&far_data) == sent).then_some(()));
                far_end.kill();
                far_end = ends.far();
                radio_end = connect(ends.radio);
            }
            _ => {}
        }
    }
    wait_until("all of it is at the near end", || (kept(&near_data).len() >= sent.len()).then_some(()));
    assert_eq!(kept(&near_data), sent);
    assert!(ends.way.carried.load(Ordering::Relaxed) > sent.len() as u64, "it went this way");
    let doubled = "SELECT count(*) - count(DISTINCT far_number), count(DISTINCT far_store) FROM relayed";
    assert_eq!(query(&near_data.join("inputs.db"), doubled), [["0", "1"]]);
    let stamps = "SELECT number, t_ns FROM input WHERE kind = 'bytes' ORDER BY number";
    let far_stamps = "SELECT far_number, far_ns FROM input WHERE kind = 'bytes' ORDER BY number";
    assert_eq!(
        query(&near_data.join("inputs.db"), far_stamps),
        query(&far_data.join("inputs.db"), stamps),
        "each piece has the far end's number and time"
    );
    assert!(far_end.end().success() && near.end().success());
    for data in [&far_data, &near_data] {
        let checked = run(&["check", "--data", data.to_str().unwrap()]);
        assert!(checked.status.success(), "{}{}", String::from_utf8_lossy(&checked.stdout), stderr(&checked));
    }
}

/// What the near end makes of a flight is what the far end makes of it, though the way was cut in the middle of frames.
#[test]
fn a_flight_over_a_relay_has_the_readings_of_the_far_end() {
    let ends = Ends::new(demo_setup);
    let (far_data, near_data) = (ends.data("far"), ends.data("near"));
    let mut near = ends.near();
    near.wait_for("waiting for a remote receiver");
    let far_end = ends.far();
    let mut radio_end = connect(ends.radio);
    let bytes = demo_pieces().concat();
    // In pieces that have nothing to do with frames.
    for (n, piece) in bytes[..bytes.len().min(30_000)].chunks(41).enumerate() {
        radio_end.write_all(piece).unwrap();
        std::thread::sleep(Duration::from_millis(2));
        if n % 101 == 50 {
            ends.way.cut();
        }
    }
    let readings =
        "SELECT json_extract(data, '$.reading.sequence') FROM output WHERE kind = 'reading' ORDER BY seq";
    let total = "SELECT sum(length(data)) FROM input WHERE kind = 'bytes'";
    wait_until("all of it is at the near end", || {
        let at = |data: &Path| query(&data.join("inputs.db"), total);
        (at(&near_data) == at(&far_data)).then_some(())
    });
    assert!(far_end.end().success() && near.end().success());
    let (there, here) =
        (query(&far_data.join("derived.db"), readings), query(&near_data.join("derived.db"), readings));
    assert!(there.len() > 100, "{}", there.len());
    assert_eq!(here, there);
}

#[test]
fn what_is_wrong_with_a_relay_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let far_setup = setup(folder.path(), "kind = \"stdin\"");
    let far_setup = far_setup.to_str().unwrap();
    let missing = folder.path().join("no.key");
    let key = key(folder.path());
    for (arguments, code, words) in [
        (vec!["--pass-on", "host:9100", "--key", missing.to_str().unwrap()], 2, "loftwatch key"),
        (
            vec!["--pass-on", "elsewhere=host:9100", "--key", key.to_str().unwrap()],
            2,
            "must name a link of the setup (test)",
        ),
        (vec!["--pass-on", "host:9100"], 2, "--key"),
        (vec!["--pass-on", "host", "--key", key.to_str().unwrap()], 2, "HOST:PORT"),
    ] {
        let mut all = vec!["serve", "--listen", "127.0.0.1:0", "--setup", far_setup];
        all.extend(arguments);
        let output = run(&all);
        assert_eq!(output.status.code(), Some(code), "{}", stderr(&output));
        assert!(stderr(&output).contains(words), "{}", stderr(&output));
    }
}
