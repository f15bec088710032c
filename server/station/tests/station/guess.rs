//! `loftwatch guess`: from a file and from the stored bytes of a link.

use crate::harness::{Station, connect, demo_pieces, demo_setup, free_port, kept, run, stderr, wait_until};
use std::io::Write;

#[test]
fn the_framing_of_the_demo_flight_is_guessed_from_a_file_and_from_the_store() {
    let folder = tempfile::tempdir().unwrap();
    let port = free_port();
    let setup = demo_setup(folder.path(), &format!("kind = \"tcp\"\nlisten = \"127.0.0.1:{port}\""));
    let told: toml::Table = std::fs::read_to_string(&setup).unwrap().parse().unwrap();
    let wanted = told["link"][0]["framing"]["kind"].as_str().unwrap().to_owned();
    let bytes: Vec<u8> = demo_pieces().concat().into_iter().take(12_000).collect();
    let raw = folder.path().join("raw");
    std::fs::write(&raw, &bytes).unwrap();
    let from_file = run(&["guess", raw.to_str().unwrap()]);
    let said = String::from_utf8(from_file.stdout.clone()).unwrap();
    assert!(from_file.status.success(), "{}", stderr(&from_file));
    assert!(said.starts_with("This looks like ") && said.contains(&format!("kind = \"{wanted}\"")), "{said}");

    let data = folder.path().join("data");
    let mut station = Station::start(&setup, &data);
    station.wait_for("waiting for a client");
    connect(port).write_all(&bytes).unwrap();
    wait_until("all of it is kept", || {
        let rows = "SELECT sum(length(data)) FROM input WHERE kind = 'bytes'";
        (crate::harness::query(&data.join("inputs.db"), rows) == [[bytes.len().to_string()]]).then_some(())
    });
    assert!(!kept(&data).is_empty() && station.end().success());
    let from_store = run(&["guess", "--data", data.to_str().unwrap()]);
    assert_eq!(String::from_utf8(from_store.stdout).unwrap(), said);

    let noise = folder.path().join("noise");
    let mut state = 7u64;
    let random = std::iter::repeat_with(|| {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) as u8
    });
    std::fs::write(&noise, random.take(3000).collect::<Vec<_>>()).unwrap();
    let nothing = run(&["guess", noise.to_str().unwrap()]);
    assert!(String::from_utf8(nothing.stdout).unwrap().contains("no framing known here"));
    assert_eq!(run(&["guess", "/nowhere/at/all"]).status.code(), Some(3));
    let wrong = run(&["guess", "--data", data.to_str().unwrap(), "--link", "other"]);
    assert!(wrong.status.code() == Some(2) && stderr(&wrong).contains("--link"), "{}", stderr(&wrong));
}
