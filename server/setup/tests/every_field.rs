//! A setup with every field wrong: each wrong line is told in the one report.

use loftwatch_engine::Setup;
use loftwatch_setup::{Report, read};

const FULL: &str = include_str!("full.toml");
const CURVE: &str = "0,0\n0.1,2000\n2.0,2000\n2.4,0\n";

fn take(text: &str) -> Result<Setup, Report> {
    read(text, "setup.toml", &mut |_| Ok(CURVE.to_owned()))
}

/// Line numbers, from 1, that hold a whole value.
fn valued() -> Vec<usize> {
    let whole = |line: &str| line.contains(" = ") && !line.starts_with([' ', '#']) && !line.ends_with('[');
    FULL.lines().enumerate().filter(|(_, line)| whole(line)).map(|(index, _)| index + 1).collect()
}

/// The text with other values in some lines.
fn with(lines: &[usize], value: &str) -> String {
    let other = |(index, line): (usize, &str)| match line.split_once(" = ") {
        Some((key, _)) if lines.contains(&(index + 1)) => format!("{key} = {value}\n"),
        _ => format!("{line}\n"),
    };
    FULL.lines().enumerate().map(other).collect()
}

#[test]
fn the_full_setup_is_taken() {
    let setup = take(FULL).unwrap_or_else(|report| panic!("{report}"));
    assert_eq!(setup.plan.motors.len(), 2);
    assert_eq!(setup.links.len(), 4);
}

#[test]
fn every_line_of_a_wrong_type_is_told_at_once() {
    let lines = valued();
    assert!(lines.len() > 110, "{}", lines.len());
    // A date is of a wrong type for every key there is.
    let report = take(&with(&lines, "1979-05-27")).expect_err("nothing of it is right");
    let told: Vec<usize> = report.mistakes.iter().map(|m| m.line).collect();
    let untold: Vec<&usize> = lines.iter().filter(|line| !told.contains(line)).collect();
    assert!(untold.is_empty(), "{untold:?}\n{report}");
    assert!(report.to_string().contains("mistakes in setup.toml: nothing of it was taken"));
}

#[test]
fn each_line_alone_of_a_wrong_type_is_told() {
    for line in valued() {
        let report = take(&with(&[line], "1979-05-27")).expect_err("one line is wrong");
        let mine = report.mistakes.iter().find(|m| m.line == line);
        assert!(mine.is_some_and(|m| m.found.contains("1979-05-27")), "line {line}\n{report}");
    }
}

#[test]
fn every_number_out_of_range_is_told_at_once() {
    // Scales, offsets and raw values may be any number that is finite, and a transmitter may have any small one.
    let free = ["scale", "offset", "missing", "is", "transmitter", "setup_version"];
    let numbers: Vec<usize> = valued()
        .into_iter()
        .filter(|line| {
            let (key, value) = FULL.lines().nth(line - 1).and_then(|l| l.split_once(" = ")).expect("valued");
            value.parse::<f64>().is_ok() && !free.contains(&key)
        })
        .collect();
    let report = take(&with(&numbers, "-1000000")).expect_err("nothing of it is right");
    let told: Vec<usize> = report.mistakes.iter().map(|m| m.line).collect();
    let untold: Vec<&usize> = numbers.iter().filter(|line| !told.contains(line)).collect();
    assert!(numbers.len() > 50 && untold.is_empty(), "{untold:?}\n{report}");
}

#[test]
fn every_word_misspelt_is_told_at_once() {
    let words = [
        "kind",
        "state",
        "when",
        "parity",
        "flow",
        "type",
        "byte_order",
        "means",
        "crc",
        "crc_order",
        "crc_covers",
        "length_counts",
        "checksum",
        "parent",
        "freed_by",
        "cue",
        "of",
        "unit",
    ];
    let lines: Vec<usize> = valued()
        .into_iter()
        .filter(|line| {
            FULL.lines().nth(line - 1).is_some_and(|l| words.contains(&l.split(" = ").next().unwrap_or("")))
        })
        .collect();
    let report = take(&with(&lines, "\"zzz\"")).expect_err("nothing of it is right");
    let told: Vec<usize> = report.mistakes.iter().map(|m| m.line).collect();
    // A unit fits or not by its meaning, and that is misspelt too.
    let untold: Vec<&str> = lines
        .iter()
        .filter(|line| !told.contains(line))
        .filter_map(|line| FULL.lines().nth(line - 1))
        .filter(|line| !line.starts_with("unit = "))
        .collect();
    assert!(lines.len() > 30 && untold.is_empty(), "{untold:?}\n{report}");
}
