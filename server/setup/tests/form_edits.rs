//! Edits of the form: whatever is added and taken out, the rest of the text stays, remarks included.

use loftwatch_setup::{Edit, Section, edit, figures, read};
use proptest::prelude::*;
use proptest::sample::select;

const FULL: &str = include_str!("full.toml");
const TALL_ORDER: &str = include_str!("../../../demo-data/tall-order/setup.toml");
const CURVE: &str = "0,0\n0.1,2000\n2.0,2000\n2.4,0\n";

fn add(list: &str, name: &str) -> Edit {
    Edit::Add { list: list.into(), name: name.into() }
}

fn tell(key: &str, value: &str) -> Edit {
    Edit::Tell { key: key.into(), value: Some(value.into()), source: None }
}

fn remove(key: &str) -> Edit {
    Edit::Remove { key: key.into() }
}

fn made(text: &str, edits: &[Edit]) -> String {
    edit(text, edits).unwrap_or_else(|unfit| panic!("{unfit:?}"))
}

fn sections(text: &str) -> Vec<Section> {
    figures(text, &[]).unwrap_or_else(|why| panic!("{why}"))
}

fn mistakes(text: &str) -> Vec<(String, String)> {
    match read(text, "setup.toml", &mut |_| Ok(CURVE.to_owned())) {
        Ok(_) => Vec::new(),
        Err(report) => {
            report.mistakes.into_iter().map(|m| (m.key, format!("{}, {}", m.expected, m.found))).collect()
        }
    }
}

/// The text with a remark of its own behind and above each line that holds a whole value or begins a table.
fn remarked(text: &str) -> String {
    let other = |(index, line): (usize, &str)| {
        let whole = line.contains(" = ") && !line.ends_with('[') && !line.contains('#');
        if whole && !line.starts_with(' ') {
            format!("{line}  # remark {index}\n")
        } else if line.starts_with('[') {
            format!("# part {index}\n\n# above {index}\n{line}\n")
        } else {
            format!("{line}\n")
        }
    };
    text.lines().enumerate().map(other).collect()
}

#[test]
fn every_key_of_vehicle_recovery_site_and_weather_is_in_the_form() {
    let keys: Vec<String> = sections(FULL)
        .into_iter()
        .filter(|section| section.adds || !section.removable)
        .flat_map(|section| section.figures)
        .map(|figure| figure.key)
        .collect();
    let mut table = String::new();
    for line in FULL.lines() {
        if let Some(name) = line.strip_prefix("[[").and_then(|rest| rest.strip_suffix("]]")) {
            table = format!("{name}[]").replace("body.", "body[].");
        } else if let Some(name) = line.strip_prefix('[').and_then(|rest| rest.strip_suffix(']')) {
            name.clone_into(&mut table);
        } else if let Some((key, _)) = line.split_once(" = ") {
            let radio = ["link", "layout", "receiver"].iter().any(|radio| table.starts_with(radio));
            if table.is_empty() || radio || line.starts_with(' ') {
                continue;
            }
            assert!(keys.contains(&format!("{table}.{key}")), "{table}.{key} is in the text only");
        }
    }
}

/// A crew's afternoon: a camera with its release, its parachute and its descents, an area, a later motor, a curve.
#[test]
fn a_body_with_its_descents_and_cues_is_added_and_taken_out_again() {
    let new = [
        add("cue", "Cam D out"),
        tell("cue[Cam D out].kind", "release"),
        tell("cue[Cam D out].when", "before apogee"),
        tell("cue[Cam D out].value", "1.0"),
        add("body", "Cam D"),
        tell("body[Cam D].freed_by", "Cam D out"),
        tell("body[Cam D].mass_kg", "1.9"),
        add("cue", "Cam D chute"),
        tell("cue[Cam D chute].kind", "chute"),
        tell("cue[Cam D chute].body", "Cam D"),
        tell("cue[Cam D chute].when", "after cue"),
        tell("cue[Cam D chute].of", "Cam D out"),
        tell("cue[Cam D chute].value", "2"),
        add("body[Cam D].descent", ""),
        tell("body[Cam D].descent[1].state", "tumbling"),
        tell("body[Cam D].descent[1].cue", "Cam D out"),
        tell("body[Cam D].descent[1].rate_mps", "20"),
        add("body[Cam D].descent", ""),
        tell("body[Cam D].descent[2].state", "main"),
        tell("body[Cam D].descent[2].cue", "Cam D chute"),
        tell("body[Cam D].descent[2].rate_mps", "6"),
        add("site.area", "gate"),
        tell("site.area[gate].kind", "road"),
        tell("site.area[gate].points_m", "-300, 20; -300, 400"),
        tell("motor.thrust_points", "0, 0\n0.1, 2000\n2.3, 1900\n2.4, 0"),
    ];
    let text = made(TALL_ORDER, &new);
    assert_eq!(mistakes(&text), []);
    let setup = read(&text, "x", &mut |_| Err("none".into())).unwrap();
    let body = setup.plan.bodies.iter().find(|body| body.name == "Cam D").unwrap();
    assert_eq!((body.descents.len(), body.mass_kg.value), (2, 1.9));
    assert_eq!(setup.plan.cues[body.freed_by.unwrap()].name, "Cam D out");
    assert_eq!(setup.areas.last().map(|area| (area.name.as_str(), area.points_m.len())), Some(("gate", 2)));
    assert_eq!(setup.plan.motors[0].curve.len(), 4);
    // What stood there before stands there still, line by line and in order.
    let mut lines = text.lines();
    for line in TALL_ORDER.lines() {
        assert!(lines.any(|other| other == line), "{line}\n{text}");
    }
    let gone = [
        Edit::Tell { key: "motor.thrust_points".into(), value: None, source: None },
        remove("site.area[gate]"),
        remove("body[Cam D].descent[2]"),
        remove("body[Cam D]"),
        remove("cue[Cam D chute]"),
        remove("cue[Cam D out]"),
    ];
    assert_eq!(made(&text, &gone), TALL_ORDER);
}

#[test]
fn what_names_something_that_is_gone_is_told_at_its_own_field() {
    let told = |edits: &[Edit]| mistakes(&made(TALL_ORDER, edits));
    let has = |all: &[(String, String)], key: &str, words: &str| {
        assert!(all.iter().any(|(at, said)| at == key && said.contains(words)), "{key}: {all:?}");
    };
    let all = told(&[remove("cue[Cam A out]")]);
    has(&all, "body[Cam A].freed_by", "the name of a cue");
    let all = told(&[remove("body[Cam A]")]);
    has(&all, "cue[Cam A chute].body", "the name of a body");
    let all = told(&[tell("cue[Cam A chute].body", "Cam Z"), tell("cue[drogue out].delay_s", "-1")]);
    has(&all, "cue[Cam A chute].body", "\"Cam Z\"");
    has(&all, "cue[drogue out].delay_s", "0 to 60 s");
    let all = told(&[add("cue", "bare")]);
    for figure in ["kind", "when", "value"] {
        has(&all, &format!("cue[bare].{figure}"), "nothing");
    }
}

#[test]
fn remarks_about_an_entry_go_with_it_and_others_stay() {
    let text = "[vehicle]\nliftoff_mass_kg = 3\n\n# --- what it does ---\n\n# the camera\n[[cue]]\nname = \"out\"\n\
        # counted from apogee\nvalue = 1\n\n# the radio\n[[link]]\nname = \"radio\"\n# the end\n";
    assert_eq!(
        made(text, &[remove("cue[out]")]),
        "[vehicle]\nliftoff_mass_kg = 3\n\n# --- what it does ---\n\n# the radio\n[[link]]\nname = \"radio\"\n# the end\n"
    );
    let last = "[vehicle]\nliftoff_mass_kg = 3\n\n# --- steps ---\n\n# first\n[[checklist]]\nstep = \"arm\"\n# the end\n";
    assert_eq!(
        made(last, &[remove("checklist[1]")]),
        "[vehicle]\nliftoff_mass_kg = 3\n\n# --- steps ---\n\n# the end\n"
    );
}

#[test]
fn lists_on_one_line_and_pairs_with_remarks_are_left_to_the_text() {
    let inline = "[vehicle]\nliftoff_mass_kg = 3\n";
    let text = format!("cue = [{{ name = \"out\" }}]\n{inline}");
    let unfit = edit(&text, &[add("cue", "x")]).unwrap_err();
    assert!(unfit.key == "cue[x].name" && unfit.expected.contains("on one line"), "{unfit:?}");
    let text = format!("{inline}[motor]\nthrust_points = [[0, 0], # lit\n[1, 100]]\n");
    let unfit = edit(&text, &[tell("motor.thrust_points", "0, 0; 1, 90")]).unwrap_err();
    assert!(unfit.expected.contains("in the text of the file"), "{unfit:?}");
    assert_eq!(made(&text, &[]), text);
}

const LISTS: [&str; 6] = ["vehicle.part", "upper_motor", "body", "cue", "site.area", "checklist"];

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Whatever is added and taken out again: the text is as before to the byte, remarks and all.
    #[test]
    fn what_was_added_comes_out_again_to_the_byte(
        full in any::<bool>(),
        remarks in any::<bool>(),
        entries in prop::collection::vec((select(LISTS.as_slice()), "[a-zA-Z .äß#\"'=]{0,12}[a-z]"), 1..8),
    ) {
        let text = if full { FULL } else { TALL_ORDER };
        let text = if remarks { remarked(text) } else { text.to_owned() };
        let before = sections(&text);
        let mut new = text.clone();
        for (list, name) in &entries {
            // A name that is there already is refused, which leaves the text alone.
            new = edit(&new, &[add(list, name)]).unwrap_or(new);
        }
        let after = sections(&new);
        let added: Vec<Edit> = after
            .iter()
            .filter(|section| section.removable && !before.iter().any(|old| old.key == section.key))
            .map(|section| remove(&section.key))
            .rev()
            .collect();
        prop_assert_eq!(edit(&new, &added).unwrap(), text);
    }

    /// What is taken out takes its own lines with it and no other: every other line stays, in order.
    #[test]
    fn what_is_taken_out_takes_no_other_line(full in any::<bool>(), which in any::<prop::sample::Index>()) {
        let text = remarked(if full { FULL } else { TALL_ORDER });
        let all: Vec<String> = sections(&text).into_iter().filter(|s| s.removable).map(|s| s.key).collect();
        let key = which.get(&all);
        let new = edit(&text, &[remove(key)]).unwrap();
        let gone: Vec<&str> = {
            let mut left = new.lines().peekable();
            text.lines().filter(|line| left.next_if(|other| other == line).is_none()).collect()
        };
        // Remarks that an empty line parts from the table stay; what stands inside of it goes.
        let outside = gone.iter().take_while(|line| !line.starts_with('['));
        prop_assert!(outside.clone().all(|line| !line.starts_with("# part")), "{key}: {gone:?}");
        prop_assert!(!gone.is_empty() && new.lines().count() + gone.len() <= text.lines().count() + 1, "{key}");
        // The rest means what it meant: every figure of another entry is there as before.
        let after = sections(&new);
        let list = key.rsplit_once('[').unwrap().0;
        for section in sections(&text).iter().filter(|s| !s.key.starts_with(list)) {
            let same = after.iter().find(|other| other.key == section.key).unwrap();
            for (old, new) in section.figures.iter().zip(&same.figures) {
                prop_assert_eq!((&old.value, &old.source), (&new.value, &new.source), "{}", old.key);
            }
        }
    }
}
