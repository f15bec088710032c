//! Bad input of every kind: the message says what happened and what to do, the exit code tells the kinds apart, and
//! what was there is not touched.

use std::path::Path;

use crate::harness::{change, demo, free_port, query, run, setup, stderr};

fn serve(setup: &Path, data: &Path, more: &[&str]) -> std::process::Output {
    let mut arguments = vec![
        "serve",
        "--listen",
        "127.0.0.1:0",
        "--setup",
        setup.to_str().unwrap(),
        "--data",
        data.to_str().unwrap(),
    ];
    arguments.extend(more);
    run(&arguments)
}

#[test]
fn a_setup_that_is_missing_empty_or_garbage_ends_with_2() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("setup.toml");
    let data = folder.path().join("data");
    let output = serve(&file, &data, &[]);
    assert_eq!(output.status.code(), Some(2), "{}", stderr(&output));
    for bad in
        [b"".to_vec(), vec![0xff; 4_096], b"setup_version = 1\n[site]\nlatitude_deg = \"north\"\n".to_vec()]
    {
        std::fs::write(&file, &bad).unwrap();
        let output = serve(&file, &data, &[]);
        assert_eq!(output.status.code(), Some(2), "{}", stderr(&output));
        assert!(stderr(&output).contains("setup.toml"), "{}", stderr(&output));
        let output = run(&["setup", "check", file.to_str().unwrap()]);
        assert_eq!(output.status.code(), Some(2), "{}", stderr(&output));
    }
    assert!(!data.exists(), "nothing was made for a setup that is wrong");
}

#[test]
fn every_setup_that_is_shipped_passes_the_check() {
    for name in ["straight", "tall-order", "transonic", "two-stage"] {
        let file = demo(name).join("setup.toml");
        let output = run(&["setup", "check", file.to_str().unwrap()]);
        assert!(output.status.success(), "{}", stderr(&output));
        let text = String::from_utf8_lossy(&output.stdout).into_owned();
        assert!(text.contains("\nDefaults (not in the file):\n  ") && !text.contains('{'), "{text}");
        for front in ["vehicle", "motor", "site", "weather", "body", "cue", "link", "layout"] {
            assert!(text.lines().any(|line| line.starts_with(front)), "{front} in {text}");
        }
        let output = run(&["setup", "check", "--json", file.to_str().unwrap()]);
        let json: serde_json::Value = serde_json::from_slice(&output.stdout).unwrap();
        let first = json["setup"]["plan"]["bodies"][0]["name"].as_str().unwrap();
        assert!(text.contains(&format!("\nbody     {first}: ")), "{text}");
        assert!(json["notes"].is_array());
    }
}

#[test]
fn the_check_says_what_is_meant_in_a_line_for_each_thing() {
    let file = demo("tall-order").join("setup.toml");
    let output = run(&["setup", "check", file.to_str().unwrap()]);
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    for line in [
        "vehicle  Tall Order: 34 kg at liftoff, 0.24 m in diameter, drag coefficient 0.9",
        "site     Dry Lake North pad: latitude 38.25, longitude -117.35 degrees, 1210 m above sea level",
        "weather  876 hPa, 24 degrees Celsius, wind 4.5 m/s from 250 degrees",
        "body     Cam A: 2.600 kg, transmitter 2, hangs on Body until \"Cam A out\", main from \"Cam A chute\"",
        "cue      drogue out: chute of Body 1.5 s after apogee; airspeed at most 45 m/s (parachute maker)",
        "link     mast serial: serial /dev/serial/by-id/usb-mast_radio-if00, 115200 baud; COBS, CRC-16/IBM-3740 (most significant byte first); layouts: body packet, camera packet; 0.045 s on the way at least (default)",
    ] {
        assert!(text.lines().any(|said| said == line), "{line}\n{text}");
    }
}

#[test]
fn the_check_marks_what_was_not_told() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("setup.toml");
    let least = "[vehicle]\nliftoff_mass_kg = 2.4\ndiameter_m = 0.075\n[motor]\ntotal_impulse_ns = 320\n";
    std::fs::write(&file, least).unwrap();
    let output = run(&["setup", "check", file.to_str().unwrap()]);
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    for words in [
        "drag coefficient 0.55 (default)",
        "pad: place not told, 0 m above sea level (default)",
        "wind not told",
        "\nlink     none: nothing will be heard\n",
        "\n  vehicle.drag_coefficient = 0.55\n",
    ] {
        assert!(text.contains(words), "{words}\n{text}");
    }
    assert!(!text.contains("Notes"), "{text}");
}

#[test]
fn a_channel_that_no_cue_has_is_told_in_the_check_and_at_the_start() {
    let folder = tempfile::tempdir().unwrap();
    let file = setup(folder.path(), "kind = \"stdin\"");
    let mut text = std::fs::read_to_string(&file).unwrap();
    text.push_str(
        "\n[[layout]]\nname = \"flags\"\nkind = \"text\"\nstarts_with = \"FLAGS\"\n\
         [[layout.field]]\nname = \"gone\"\nmeans = \"fired\"\nchannel = \"droge out\"\n",
    );
    std::fs::write(&file, &text).unwrap();
    let note = "`layout[flags].field[gone].channel`: no cue is called \"droge out\"";
    let output = run(&["setup", "check", file.to_str().unwrap()]);
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(output.status.success() && said.contains(note), "{said}");
    let mut station = crate::harness::Station::start(&file, &folder.path().join("data"));
    assert!(station.wait_for(note).contains("did you mean \"drogue out\"?"));
    // The crew mends it while the station runs; the note is gone, the file holds.
    std::fs::write(&file, text.replace("droge", "Drogue")).unwrap();
    station.wait_for("has changed and holds");
    assert!(station.end().success());
}

#[test]
fn an_address_in_use_ends_with_4_and_says_which() {
    let folder = tempfile::tempdir().unwrap();
    let file = setup(folder.path(), "kind = \"stdin\"");
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let address = taken.local_addr().unwrap().to_string();
    let data = folder.path().join("data");
    let arguments =
        ["serve", "--setup", file.to_str().unwrap(), "--listen", &address, "--data", data.to_str().unwrap()];
    let output = run(&arguments);
    assert_eq!(output.status.code(), Some(4), "{}", stderr(&output));
    assert!(
        stderr(&output).contains(&address) && stderr(&output).contains("--listen"),
        "{}",
        stderr(&output)
    );
}

#[test]
fn foreign_newer_and_damaged_stores_end_with_3_and_stay_as_they_were() {
    let folder = tempfile::tempdir().unwrap();
    let file = setup(folder.path(), &format!("kind = \"tcp\"\nlisten = \"127.0.0.1:{}\"", free_port()));
    let whole = folder.path().join("whole");
    let mut station = crate::harness::Station::start(&file, &whole);
    station.wait_for("link down");
    assert!(station.end().success());
    let ours = std::fs::read(whole.join("inputs.db")).unwrap();
    let mut newer = ours.clone();
    newer[60..64].copy_from_slice(&99_i32.to_be_bytes());
    let mut foreign = ours.clone();
    foreign[68..72].copy_from_slice(b"ELSE");
    let mut damaged = ours.clone();
    let end = damaged.len() - 1;
    damaged[4096..end].fill(0xa5);
    let cases: [(&str, Vec<u8>, &str); 5] = [
        ("newer", newer, "newer Loftwatch (schema 99"),
        ("foreign", foreign, "not a Loftwatch file"),
        ("text", b"dear diary, this is no database\n".repeat(20), "not a Loftwatch file"),
        ("short", vec![0x53; 3], "not a Loftwatch file"),
        ("damaged", damaged, "damaged"),
    ];
    for (name, bytes, words) in cases {
        let data = folder.path().join(name);
        std::fs::create_dir(&data).unwrap();
        std::fs::write(data.join("inputs.db"), &bytes).unwrap();
        let output = serve(&file, &data, &[]);
        let said = stderr(&output);
        assert_eq!(output.status.code(), Some(3), "{name}: {said}");
        assert!(
            said.contains(words) && said.contains("--set-aside") && said.contains("not changed"),
            "{name}: {said}"
        );
        assert!(std::fs::read(data.join("inputs.db")).unwrap() == bytes, "{name}: the file was changed");
        for command in ["flights", "rebuild", "rerun"] {
            let output = run(&[command, "--data", data.to_str().unwrap()]);
            assert_eq!(output.status.code(), Some(3), "{command} {name}: {}", stderr(&output));
            assert!(
                std::fs::read(data.join("inputs.db")).unwrap() == bytes,
                "{command} {name} changed the file"
            );
        }
        // The remedy works, and keeps the file.
        let mut station = set_aside(&file, &data);
        station.wait_for("a new store");
        assert!(station.end().success());
        let kept = std::fs::read_dir(&data)
            .unwrap()
            .map(|entry| entry.unwrap().path())
            .find(|path| {
                let path = path.to_string_lossy();
                path.contains("inputs.set-aside-") && path.ends_with(".db")
            })
            .unwrap();
        assert!(std::fs::read(kept).unwrap() == bytes, "{name}: the file set aside was changed");
        assert_eq!(query(&data.join("inputs.db"), "SELECT count(*) > 1 FROM input"), [["1"]]);
    }
}

#[test]
fn a_store_whose_migrations_are_not_ours_ends_with_3_and_stays_as_it_was() {
    let folder = tempfile::tempdir().unwrap();
    let file = setup(folder.path(), &format!("kind = \"tcp\"\nlisten = \"127.0.0.1:{}\"", free_port()));
    for (name, sql, words) in [
        ("missing", "DELETE FROM _sqlx_migrations WHERE version = 1", "step 1 is missing"),
        (
            "last missing",
            "DELETE FROM _sqlx_migrations WHERE version = (SELECT max(version) FROM _sqlx_migrations)",
            "its list ends with",
        ),
        ("half", "UPDATE _sqlx_migrations SET success = 0 WHERE version = 2", "begun and not finished"),
        (
            "other",
            "UPDATE _sqlx_migrations SET checksum = x'00' WHERE version = 2",
            "another than this program's",
        ),
    ] {
        let data = folder.path().join(name);
        let mut station = crate::harness::Station::start(&file, &data);
        station.wait_for("link down");
        assert!(station.end().success());
        change(&data.join("inputs.db"), sql);
        let bytes = std::fs::read(data.join("inputs.db")).unwrap();
        let output = serve(&file, &data, &[]);
        let said = stderr(&output);
        assert_eq!(output.status.code(), Some(3), "{name}: {said}");
        assert!(said.contains(words) && said.contains("--set-aside"), "{name}: {said}");
        let output = run(&["check", "--data", data.to_str().unwrap()]);
        assert_eq!(output.status.code(), Some(3), "{name}: {}", stderr(&output));
        assert!(std::fs::read(data.join("inputs.db")).unwrap() == bytes, "{name}: the file was changed");
        let mut station = set_aside(&file, &data);
        station.wait_for("a new store");
        assert!(station.end().success());
    }
}

fn set_aside(setup: &Path, data: &Path) -> crate::harness::Station {
    crate::harness::Station::start_with(setup, data, &["--set-aside"])
}

#[test]
fn a_folder_that_cannot_be_written_ends_with_3() {
    let folder = tempfile::tempdir().unwrap();
    let file = setup(folder.path(), "kind = \"stdin\"");
    // A file where the folder should be: unlike a mode, it also stops root.
    let data = folder.path().join("data");
    std::fs::write(&data, "in the way").unwrap();
    let output = serve(&file, &data, &[]);
    assert_eq!(output.status.code(), Some(3), "{}", stderr(&output));
    assert!(stderr(&output).contains("cannot be written"), "{}", stderr(&output));
    assert_eq!(std::fs::read_to_string(&data).unwrap(), "in the way");
}

#[test]
fn two_stations_do_not_share_a_folder() {
    let folder = tempfile::tempdir().unwrap();
    let file = setup(folder.path(), &format!("kind = \"tcp\"\nlisten = \"127.0.0.1:{}\"", free_port()));
    let data = folder.path().join("data");
    let mut station = crate::harness::Station::start(&file, &data);
    station.wait_for("link down");
    let output = serve(&file, &data, &[]);
    assert_eq!(output.status.code(), Some(3), "{}", stderr(&output));
    assert!(stderr(&output).contains("another station uses"), "{}", stderr(&output));
    assert!(station.end().success());
}

#[test]
fn a_damaged_outputs_file_is_computed_again() {
    let folder = tempfile::tempdir().unwrap();
    let port = free_port();
    let file = setup(folder.path(), &format!("kind = \"tcp\"\nlisten = \"127.0.0.1:{port}\""));
    let data = folder.path().join("data");
    for bad in [None, Some(b"garbage".to_vec()), Some(vec![0; 50_000])] {
        if let Some(bad) = bad {
            std::fs::write(data.join("derived.db"), bad).unwrap();
        }
        let mut station = crate::harness::Station::start(&file, &data);
        station.wait_for("link down");
        assert!(station.end().success());
        assert_eq!(query(&data.join("derived.db"), "SELECT count(*) > 0 FROM snapshot"), [["1"]]);
    }
}

#[test]
fn a_line_without_an_end_and_garbage_do_no_harm() {
    use std::io::Write;
    let folder = tempfile::tempdir().unwrap();
    let port = free_port();
    let file = setup(folder.path(), &format!("kind = \"tcp\"\nlisten = \"127.0.0.1:{port}\""));
    let data = folder.path().join("data");
    let mut station = crate::harness::Station::start(&file, &data);
    station.wait_for("link down");
    let mut client = crate::harness::connect(port);
    let endless = vec![b'x'; 1 << 20];
    for _ in 0..8 {
        client.write_all(&endless).unwrap();
    }
    let garbage: Vec<u8> = (0..100_000_u32).map(|n| (n.wrapping_mul(2_654_435_761) >> 13) as u8).collect();
    client.write_all(&garbage).unwrap();
    client.write_all(b"\nlast line\n").unwrap();
    let all = (8 * endless.len() + garbage.len() + 11).to_string();
    crate::harness::wait_until("everything is kept", || {
        let sum = query(
            &data.join("inputs.db"),
            "SELECT CAST(sum(length(data)) AS TEXT) FROM input WHERE kind = 'bytes'",
        );
        (sum == [[all.clone()]]).then_some(())
    });
    assert!(station.end().success());
    let wrong = "SELECT count(*) > 0 FROM output WHERE kind = 'frame' AND json_extract(data, '$.frame.wrong') IS NOT NULL";
    assert_eq!(query(&data.join("derived.db"), wrong), [["1"]]);
}

/// As with a full disk, SQLite itself rolls the transaction back: a connection that was left so takes no other one.
#[test]
fn a_store_that_refused_for_a_while_holds_everything_afterwards() {
    use std::io::Write;
    let folder = tempfile::tempdir().unwrap();
    let port = free_port();
    let file = setup(folder.path(), &format!("kind = \"tcp\"\nlisten = \"127.0.0.1:{port}\""));
    let data = folder.path().join("data");
    let (inputs, derived) = (data.join("inputs.db"), data.join("derived.db"));
    let mut station = crate::harness::Station::start(&file, &data);
    station.wait_for("link down");
    let mut client = crate::harness::connect(port);
    let mut sent = String::new();
    let mut send = |lines: usize| {
        for _ in 0..lines {
            let line = format!("line {}\n", sent.len());
            client.write_all(line.as_bytes()).unwrap();
            sent.push_str(&line);
            std::thread::sleep(std::time::Duration::from_millis(2));
        }
        sent.clone()
    };
    send(10);
    change(&inputs, "CREATE TRIGGER full BEFORE INSERT ON input BEGIN SELECT RAISE(ROLLBACK, 'full'); END");
    change(&derived, "CREATE TRIGGER full BEFORE INSERT ON output BEGIN SELECT RAISE(ROLLBACK, 'full'); END");
    send(20);
    station.wait_for("takes nothing");
    // More than one statement takes: they wait together and go in one transaction, which is refused as well.
    send(200);
    change(&inputs, "DROP TRIGGER full");
    std::thread::sleep(std::time::Duration::from_millis(600));
    change(&inputs, "CREATE TRIGGER full BEFORE INSERT ON input BEGIN SELECT RAISE(ROLLBACK, 'full'); END");
    send(200);
    std::thread::sleep(std::time::Duration::from_millis(600));
    change(&inputs, "DROP TRIGGER full");
    change(&derived, "DROP TRIGGER full");
    let all = send(10);
    crate::harness::wait_until("everything is kept", || (crate::harness::kept(&data) == all).then_some(()));
    station.wait_for("outputs are kept again");
    assert!(station.end().success());
    let numbers = query(&inputs, "SELECT count(*) = max(number) FROM input");
    assert_eq!(numbers, [["1"]], "numbers have no gap");
    // What the outputs lack is computed at the next start.
    let mut station = crate::harness::Station::start(&file, &data);
    station.wait_for("stored inputs computed");
    assert!(station.end().success());
    let frames = query(&derived, "SELECT count(*) FROM output WHERE kind = 'frame'");
    assert_eq!(frames, [[all.lines().count().to_string()]]);
}

#[test]
fn the_other_end_of_a_link_is_written_in_c_and_for_people() {
    let file = demo("straight").join("setup.toml");
    let file = file.to_str().unwrap();
    let output = run(&["setup", "header", file]);
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(output.status.success(), "{}", stderr(&output));
    assert!(text.contains("_frame(const ") && text.contains("#include <stdint.h>"), "{text}");
    let output = run(&["setup", "sheet", file]);
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(output.status.success() && text.starts_with("# Packets of "), "{text}");
    let output = run(&["setup", "header", file, "--link", "no such"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(
        stderr(&output).contains("no link with layouts called \"no such\"; it has"),
        "{}",
        stderr(&output)
    );
}
