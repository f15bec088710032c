//! Whatever the text, reading ends with a setup or a report that can be drawn, and places lie inside the file.

use loftwatch_setup::read;
use proptest::prelude::*;

const FULL: &str = include_str!("full.toml");

fn sound(text: &str) {
    let mut load =
        |name: &str| if name.len().is_multiple_of(2) { Err("no".to_owned()) } else { Ok(text.to_owned()) };
    if let Err(report) = read(text, "setup.toml", &mut load) {
        assert!(!report.mistakes.is_empty());
        let lines = text.matches('\n').count() + 1;
        for mistake in &report.mistakes {
            assert!((1..=lines).contains(&mistake.line) && mistake.column >= 1, "{mistake:?}");
        }
        assert!(report.to_string().contains("nothing of it was taken"));
    }
}

/// Values of every type, sensible and not.
fn value() -> impl Strategy<Value = String> {
    prop_oneof![
        any::<f64>().prop_map(|v| format!("{v:?}").replace("NaN", "nan")),
        any::<i64>().prop_map(|v| v.to_string()),
        (-10.0..1000.0).prop_map(|v: f64| format!("{v:.3}")),
        Just("true".to_owned()),
        Just("[]".to_owned()),
        Just("{}".to_owned()),
        Just("[[1, 2], [3, 4]]".to_owned()),
        Just("1979-05-27".to_owned()),
        "[ -~é°\u{0}]{0,12}".prop_map(|s| format!("{s:?}").replace("\\u{", "\\\\u{")),
        prop_oneof![
            Just("after cue"),
            Just("main"),
            Just("tcp"),
            Just("udp"),
            Just("sync"),
            Just("fixed"),
            Just("text"),
            Just("binary"),
            Just("drogue out"),
            Just("Camera"),
            Just("127.0.0.1:1"),
            Just("skip"),
            Just("latitude"),
        ]
        .prop_map(|s| format!("\"{s}\"")),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn any_text(text in "\\PC{0,300}") {
        sound(&text);
    }

    #[test]
    fn any_characters(text in proptest::collection::vec(any::<char>(), 0..300)) {
        sound(&text.into_iter().collect::<String>());
    }

    #[test]
    fn the_full_setup_with_other_values(changes in proptest::collection::vec((0..230_usize, value()), 1..12)) {
        let mut lines: Vec<String> = FULL.lines().map(str::to_owned).collect();
        for (at, value) in changes {
            let at = at % lines.len();
            if let Some((key, _)) = lines[at].clone().split_once(" = ") {
                lines[at] = format!("{key} = {value}");
            }
        }
        sound(&lines.join("\n"));
    }

    #[test]
    fn the_full_setup_with_lines_lost_doubled_and_cut(
        moves in proptest::collection::vec((0..230_usize, 0..230_usize, 0..4_u8), 1..8),
    ) {
        let mut lines: Vec<String> = FULL.lines().map(str::to_owned).collect();
        for (at, to, how) in moves {
            let (at, to) = (at % lines.len(), to % lines.len());
            match how {
                0 => drop(lines.remove(at)),
                1 => lines.insert(to, lines[at].clone()),
                2 => lines.swap(at, to),
                _ => {
                    let cut = to.min(lines[at].len());
                    lines[at].truncate(cut);
                }
            }
        }
        sound(&lines.join("\r\n"));
    }
}
