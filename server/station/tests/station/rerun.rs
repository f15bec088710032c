//! `loftwatch rerun`, `flights` and `ports` from outside.

use std::io::Read;
use std::process::Stdio;

use crate::harness::{demo, program, run, stderr};

fn paths(name: &str) -> (String, String) {
    let folder = demo(name);
    let path = |file: &str| folder.join(file).to_str().unwrap().to_owned();
    (path("setup.toml"), path("flight.jsonl"))
}

#[test]
fn a_recording_gives_the_same_lines_from_a_file_and_from_standard_input() {
    let (setup, recording) = paths("straight");
    let from_file = run(&["rerun", "--all", "--setup", &setup, &recording]);
    assert!(from_file.status.success(), "{}", stderr(&from_file));
    let piped = program()
        .args(["rerun", "--all", "--setup", &setup, "-"])
        .stdin(std::fs::File::open(&recording).unwrap())
        .output()
        .unwrap();
    assert!(!from_file.stdout.is_empty());
    assert!(from_file.stdout == piped.stdout, "the same bytes");
    for line in from_file.stdout.split(|byte| *byte == b'\n').filter(|line| !line.is_empty()) {
        let line: serde_json::Value = serde_json::from_slice(line).unwrap();
        assert!(line["kind"].is_string() && line["t_receive"].is_number(), "{line}");
    }
}

#[test]
fn a_reader_that_goes_away_ends_the_run_quietly() {
    let (setup, recording) = paths("tall-order");
    let mut child = program()
        .args(["rerun", "--all", "--setup", &setup, &recording])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut some = [0; 100];
    child.stdout.take().unwrap().read_exact(&mut some).unwrap();
    // The pipe is closed here.
    let output = child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    assert_eq!(stderr(&output), "");
}

#[test]
fn recordings_that_cannot_be_used_end_with_3() {
    let (setup, _) = paths("straight");
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("recording.jsonl");
    let missing = run(&["rerun", "--setup", &setup, file.to_str().unwrap()]);
    assert_eq!(missing.status.code(), Some(3), "{}", stderr(&missing));
    for bad in [b"".to_vec(), vec![0xfe; 10_000], b"{\"t_receive\": 1}\n".repeat(50), vec![b'{'; 20 << 20]] {
        std::fs::write(&file, bad).unwrap();
        let output = run(&["rerun", "--setup", &setup, file.to_str().unwrap()]);
        assert_eq!(output.status.code(), Some(3), "{}", stderr(&output));
        assert!(stderr(&output).contains("recording"), "{}", stderr(&output));
        assert!(output.stdout.is_empty());
    }
}

#[test]
fn the_command_line_says_what_is_missing_and_ends_with_2() {
    let (setup, recording) = paths("straight");
    for wrong in [
        vec!["rerun", &recording],
        vec!["rerun", "--setup", &setup],
        vec!["rerun", &recording, "--setup", &setup, "--data", "x"],
        vec!["serve"],
        vec!["demo", "--flight", "nothing"],
        vec!["demo", "--speed", "0"],
        vec!["fly"],
    ] {
        let output = run(&wrong);
        assert_eq!(output.status.code(), Some(2), "{wrong:?}: {}", stderr(&output));
    }
    assert!(run(&["ports"]).status.success());
    assert!(String::from_utf8_lossy(&run(&["--help"]).stdout).contains("Exit codes"));
}

#[test]
fn a_folder_without_a_store_ends_with_3() {
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().to_str().unwrap();
    for command in
        [vec!["flights", "--data", data], vec!["rebuild", "--data", data], vec!["rerun", "--data", data]]
    {
        let output = run(&command);
        assert_eq!(output.status.code(), Some(3), "{command:?}: {}", stderr(&output));
        assert!(stderr(&output).contains("no Loftwatch data"), "{}", stderr(&output));
    }
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0, "nothing was made by looking");
}
