//! What was received is kept, whatever happens to the program or the port.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::time::Duration;

use serialport::SerialPort as _;

use crate::harness::{
    Station, change, connect, demo_pieces, demo_setup, free_port, kept, query, setup, wait_until,
};

/// A pseudo-terminal under a name of its own: near end to write to. A station that was told the number, and outlives the
/// terminal, would open and lock the next terminal that gets it, which is another test's.
struct Terminal {
    near: serialport::TTYPort,
    _far: serialport::TTYPort,
    path: PathBuf,
}

impl Terminal {
    fn open(path: &Path) -> Self {
        let (near, far) = serialport::TTYPort::pair().unwrap();
        std::os::unix::fs::symlink(far.name().unwrap(), path).unwrap();
        Self { near, _far: far, path: path.to_owned() }
    }
}

impl Drop for Terminal {
    fn drop(&mut self) {
        std::fs::remove_file(&self.path).unwrap();
    }
}

#[test]
fn bytes_from_a_serial_port_are_in_the_store_exactly() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("port");
    let mut terminal = Terminal::open(&path);
    let setup = setup(folder.path(), &format!("kind = \"serial\"\npath = \"{}\"", path.display()));
    let data = folder.path().join("data");
    let mut station = Station::start(&setup, &data);
    station.wait_for("link up");
    let mut sent = String::new();
    for n in 0..200 {
        let line = format!("$LW1,{n},hello*00\r\n");
        terminal.near.write_all(line.as_bytes()).unwrap();
        sent.push_str(&line);
        std::thread::sleep(Duration::from_millis(1));
    }
    wait_until("all bytes are kept", || (kept(&data).len() == sent.len()).then_some(()));
    assert_eq!(kept(&data), sent);
    assert!(station.end().success());
    assert!(!data.join("inputs.db-wal").exists(), "a graceful end leaves one whole file");
}

#[test]
fn a_serial_port_that_comes_later_is_opened_then() {
    let folder = tempfile::tempdir().unwrap();
    let link = folder.path().join("port");
    let setup = setup(folder.path(), &format!("kind = \"serial\"\npath = \"{}\"", link.display()));
    let data = folder.path().join("data");
    let mut station = Station::start(&setup, &data);
    let said = station.wait_for("link down");
    assert!(said.contains("does not exist") && said.contains("loftwatch ports"), "{said}");
    let mut terminal = Terminal::open(&link);
    station.wait_for("link up");
    terminal.near.write_all(b"first\n").unwrap();
    wait_until("the bytes are kept", || (kept(&data) == "first\n").then_some(()));
    // Unplugged, and plugged in again under another number.
    drop(terminal);
    station.wait_for("is gone");
    let mut terminal = Terminal::open(&link);
    station.wait_for("link up");
    terminal.near.write_all(b"second\n").unwrap();
    wait_until("the bytes are kept", || (kept(&data) == "first\nsecond\n").then_some(()));
}

/// How soon something is kept is measured by tests/faults/kill.py, on a machine that does nothing else.
#[test]
fn kill_9_loses_nothing_that_was_kept() {
    let folder = tempfile::tempdir().unwrap();
    let port = free_port();
    let setup = setup(folder.path(), &format!("kind = \"tcp\"\nlisten = \"127.0.0.1:{port}\""));
    let data = folder.path().join("data");
    let mut sent = String::new();
    for round in 0..4 {
        let mut station = Station::start(&setup, &data);
        station.wait_for("link down");
        let mut client = connect(port);
        for n in 0..50 {
            let line = format!("round {round} line {n}\n");
            client.write_all(line.as_bytes()).unwrap();
            sent.push_str(&line);
            std::thread::sleep(Duration::from_millis(2));
        }
        wait_until("all bytes are kept", || (kept(&data).len() == sent.len()).then_some(()));
        station.kill();
        assert_eq!(kept(&data), sent);
    }
    let numbers = query(&data.join("inputs.db"), "SELECT count(*) = max(number), min(number) FROM input");
    assert_eq!(numbers, [["1", "1"]], "numbers have no gap");
    let times = "SELECT count(*) FROM input a JOIN input b ON b.number = a.number + 1 WHERE b.t_ns <= a.t_ns";
    assert_eq!(
        query(&data.join("inputs.db"), times),
        [["0"]],
        "station time only grows, also across restarts"
    );
    let started = "SELECT count(*) FROM input WHERE kind = 'started'";
    assert_eq!(query(&data.join("inputs.db"), started), [["4"]]);
}

/// A flight comes in faster than it was flown, the station is killed again and again: what is stored in the end is,
/// to the bit, what one undisturbed computation of the inputs gives.
#[test]
fn outputs_after_kills_are_those_of_a_run_without_one() {
    let folder = tempfile::tempdir().unwrap();
    let port = free_port();
    let setup = demo_setup(folder.path(), &format!("kind = \"tcp\"\nlisten = \"127.0.0.1:{port}\""));
    let data = folder.path().join("data");
    let pieces = demo_pieces();
    for part in pieces.chunks(pieces.len() / 4 + 1) {
        let mut station = Station::start(&setup, &data);
        station.wait_for("link down");
        let mut client = connect(port);
        for piece in part {
            client.write_all(piece).unwrap();
            std::thread::sleep(Duration::from_millis(3));
        }
        std::thread::sleep(Duration::from_millis(50));
        station.kill();
    }
    let mut station = Station::start(&setup, &data);
    station.wait_for("stored inputs computed");
    assert!(station.end().success());
    let all =
        "SELECT seq, input, t_ns, t_receive_ns, utc_offset_ns, flight, kind, data FROM output ORDER BY seq";
    let stored = query(&data.join("derived.db"), all);
    let kinds: std::collections::BTreeSet<&str> = stored.iter().map(|row| row[6].as_str()).collect();
    assert!(kinds.contains("reading") && kinds.contains("estimate") && kinds.contains("flight"), "{kinds:?}");
    let check = || {
        let output = crate::harness::run(&["check", "--data", data.to_str().unwrap()]);
        let text = String::from_utf8_lossy(&output.stdout).into_owned();
        (output.status.code(), text, crate::harness::stderr(&output))
    };
    let (code, text, said) = check();
    assert_eq!(code, Some(0), "{text}{said}");
    assert!(text.contains("no input is missing") && text.contains("flight 1: "), "{text}");
    assert!(text.lines().filter(|line| line.contains("the same computed again")).count() >= 1, "{text}");
    assert!(crate::harness::run(&["rebuild", "--data", data.to_str().unwrap()]).status.success());
    let again = query(&data.join("derived.db"), all);
    // Computed again later, the clock has led on to more after the very last input.
    assert!(again.len() >= stored.len() && stored.len() > 1_000, "{} {}", again.len(), stored.len());
    for (one, other) in again.iter().zip(&stored) {
        assert_eq!(one, other);
    }
    // One digit of one stored output, and one input, are missed.
    change(
        &data.join("derived.db"),
        "UPDATE output SET data = replace(data, 'layout', 'layouT') WHERE seq = (SELECT max(seq) FROM output WHERE kind = 'reading')",
    );
    let (code, text, said) = check();
    assert_eq!(code, Some(3), "{text}{said}");
    assert!(
        text.contains("other than computed again, from output ") && said.contains("loftwatch rebuild"),
        "{text}{said}"
    );
    change(&data.join("inputs.db"), "DELETE FROM input WHERE number BETWEEN 40 AND 41");
    assert!(check().1.contains("2 inputs never reached the disk: numbers 40 to 41"), "{}", check().1);
}

#[test]
fn standard_input_and_files_are_links_too() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("log.txt");
    std::fs::write(&file, "one\n").unwrap();
    let from_file = setup(folder.path(), &format!("kind = \"file\"\npath = \"{}\"", file.display()));
    let data = folder.path().join("data");
    let mut station = Station::start(&from_file, &data);
    station.wait_for("link up");
    wait_until("the file was read", || (kept(&data) == "one\n").then_some(()));
    station.kill();
    // After a restart it goes on where it was, and it grows.
    std::fs::OpenOptions::new().append(true).open(&file).unwrap().write_all(b"two\n").unwrap();
    let station = Station::start(&from_file, &data);
    wait_until("the file was read on", || (kept(&data) == "one\ntwo\n").then_some(()));
    assert!(station.end().success());

    let folder = tempfile::tempdir().unwrap();
    let from_stdin = setup(folder.path(), "kind = \"stdin\"");
    let data = folder.path().join("data");
    let mut station = Station::start(&from_stdin, &data);
    station.wait_for("link up");
    station.input().write_all(b"typed\n").unwrap();
    wait_until("standard input was read", || (kept(&data) == "typed\n").then_some(()));
    assert!(station.end().success());
}

#[test]
fn a_setup_that_changes_is_taken_and_a_wrong_one_is_not() {
    let folder = tempfile::tempdir().unwrap();
    let port = free_port();
    let file = setup(folder.path(), &format!("kind = \"tcp\"\nlisten = \"127.0.0.1:{port}\""));
    let data = folder.path().join("data");
    let mut station = Station::start(&file, &data);
    station.wait_for("link down");
    let good = std::fs::read_to_string(&file).unwrap();
    std::fs::write(&file, "setup_version = \"what\"").unwrap();
    station.wait_for("the setup in force stays");
    let other = free_port();
    std::fs::write(&file, good.replace(&format!(":{port}"), &format!(":{other}"))).unwrap();
    station.wait_for("holds from now on");
    connect(other).write_all(b"by the new link\n").unwrap();
    wait_until("the bytes are kept", || (kept(&data) == "by the new link\n").then_some(()));
    let changes = query(&data.join("inputs.db"), "SELECT count(*) FROM input WHERE kind = 'setup_change'");
    assert_eq!(changes, [["2"]]);
}
