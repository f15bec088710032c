//! What is said about a setup file that is wrong.

use loftwatch_setup::{Mistake, Report, read};

/// The least that a setup needs.
const LEAST: &str =
    "[vehicle]\nliftoff_mass_kg = 34.0\ndiameter_m = 0.24\n[motor]\ntotal_impulse_ns = 4350.0\n";

fn report(text: &str) -> Report {
    let mut load = |name: &str| match name {
        "motor.csv" => Ok("seconds,newtons\n0,0\n0.1,2000\n2.0,2000\n2.4,0\n".to_owned()),
        "broken.csv" => Ok("0,0\n1,x\n".to_owned()),
        _ => Err("no such file".to_owned()),
    };
    match read(text, "setup.toml", &mut load) {
        Ok(_) => panic!("taken:\n{text}"),
        Err(report) => report,
    }
}

/// The one mistake of a text.
fn only(text: &str) -> Mistake {
    let report = report(text);
    assert_eq!(report.mistakes.len(), 1, "{report}");
    report.mistakes.into_iter().next().expect("one mistake")
}

/// The one mistake of the least setup with lines added.
fn added(more: &str) -> Mistake {
    only(&format!("{LEAST}{more}"))
}

/// The least setup with more lines in its vehicle's section.
fn vehicle(more: &str) -> Mistake {
    only(&LEAST.replace("[motor]", &format!("{more}\n[motor]")))
}

fn hint(mistake: &Mistake) -> &str {
    mistake.hint.as_deref().unwrap_or("")
}

#[test]
fn a_report_draws_each_line() {
    let text = LEAST.replace("diameter_m = 0.24", "diameter_m = 240\ncolour = \"red\"");
    let drawn = report(&text).to_string();
    let expected = "\
error: `vehicle.diameter_m`: expected 0.01 to 1.5 m, found 240
 --> setup.toml:3:14
  |
3 | diameter_m = 240
  |              ^^^
  |
  = hint: in millimetres? then 0.24

error: `vehicle.colour`: expected one of `name`, `liftoff_mass_kg`, `liftoff_mass_spread_percent`, `diameter_m`, `drag_coefficient`, `drag_spread_percent`, `rail_guided_length_m`, `rail_tilt_from_vertical_deg`, `rail_azimuth_deg`, `lean_spread_deg`, `centre_of_gravity_m`, `centre_of_pressure_m` or `part`, found the unknown key `colour`
 --> setup.toml:4:1
  |
4 | colour = \"red\"
  | ^^^^^^

2 mistakes in setup.toml: nothing of it was taken";
    assert_eq!(drawn, expected, "{drawn}");
}

#[test]
fn a_report_is_data_too() {
    let json = serde_json::to_value(report("vehicle = 3\n[motor]\ntotal_impulse_ns = 100\n")).expect("json");
    assert_eq!(json["file_name"], "setup.toml");
    assert_eq!(json["mistakes"][0]["line"], 1);
    assert_eq!(json["mistakes"][0]["column"], 11);
    assert_eq!(json["mistakes"][0]["key"], "vehicle");
    assert_eq!(json["mistakes"][0]["expected"], "a table");
    assert_eq!(
        json["mistakes"].as_array().expect("list").len(),
        1,
        "what a wrong section lacks is not told again"
    );
}

#[test]
fn an_empty_file_names_what_is_needed() {
    let keys: Vec<String> = report("").mistakes.into_iter().map(|m| m.key).collect();
    assert_eq!(keys, ["motor.total_impulse_ns", "vehicle.diameter_m", "vehicle.liftoff_mass_kg"]);
}

#[test]
fn a_sea_level_pressure_is_refused_with_the_guess() {
    let mistake = added("[site]\nelevation_m = 1210\n[weather]\nstation_pressure_hpa = 1016.0\n");
    assert_eq!((mistake.line, mistake.column), (9, 24));
    assert_eq!(mistake.key, "weather.station_pressure_hpa");
    assert!(hint(&mistake).contains("sea-level pressure (QNH)"));
    assert!(hint(&mistake).contains("at 1210 m a barometer reads about 876 hPa"));
}

#[test]
fn likely_mix_ups_are_named() {
    for (more, key, said) in [
        ("rail_tilt_from_vertical_deg = 87", "vehicle.rail_tilt_from_vertical_deg", "from vertical it is 3"),
        ("rail_angle_deg = 87", "vehicle.rail_angle_deg", "rail_tilt_from_vertical_deg"),
        ("drag_spread_percent = 0.25", "vehicle.drag_spread_percent", "in percent it is 25"),
        ("drag_coefficient = \"0.65\"", "vehicle.drag_coefficient", "0.65"),
        ("rail_azimuth_deg = -20", "vehicle.rail_azimuth_deg", "340"),
    ] {
        let mistake = vehicle(more);
        assert_eq!(mistake.key, key);
        assert!(hint(&mistake).contains(said), "{mistake:?}");
    }
    for (more, key, said) in [
        ("[weather]\ntemperature_c = 297\n", "weather.temperature_c", "in kelvin? then 23.9"),
        ("[weather]\ntemperature_c = 75\n", "weather.temperature_c", "Fahrenheit"),
        ("[weather]\nstation_pressure_hpa = 87600\n", "weather.station_pressure_hpa", "in pascal? then 876"),
        ("[weather]\nwind_from_deg = 70\nwind_mps = 300\n", "weather.wind_mps", "km/h"),
        ("[weather]\nwind_to_deg = 70\n", "weather.wind_to_deg", "FROM"),
        ("[weather]\nwind_mps = 4\n", "weather.wind_from_deg", "leave both out"),
        (
            "[site]\nlatitude_deg = -117.35\nlongitude_deg = 38.25\n",
            "site.latitude_deg",
            "is this the longitude?",
        ),
        ("[site]\nlatitude_deg = \"38°15'00\\\"N\"\nlongitude_deg = 3\n", "site.latitude_deg", "38.25000"),
        ("[site]\nlatitude_deg = 38.25\n", "site.longitude_deg", "decimal degrees"),
    ] {
        let mistake = added(more);
        assert_eq!(mistake.key, key, "{mistake:?}");
        assert!(hint(&mistake).contains(said), "{mistake:?}");
    }
    let grams = only(&LEAST.replace("34.0", "34000.0"));
    assert_eq!(hint(&grams), "in grams? then 34");
    let zero = only(&LEAST.replace("34.0", "0"));
    assert_eq!(zero.key, "vehicle.liftoff_mass_kg");
}

#[test]
fn a_motor_must_make_sense() {
    let weak = only(&LEAST.replace("4350.0", "435.0\nburn_time_s = 2.4"));
    assert!(weak.expected.contains("more thrust than the"), "{weak:?}");
    let heavy = added("propellant_mass_kg = 22\n");
    assert!(heavy.found.contains("20 s"), "{heavy:?}");
    let grams = added("propellant_mass_kg = 2200\n");
    assert_eq!(hint(&grams), "in grams? then 2.2");
    let absent = added("thrust_curve = \"nowhere.csv\"\n");
    assert_eq!(absent.found, "nowhere.csv: no such file");
    let broken = added("thrust_curve = \"broken.csv\"\n");
    assert_eq!(broken.found, "in broken.csv, line 2: \"1,x\" is not two numbers");
    let late = added("thrust_curve = \"motor.csv\"\nburn_time_s = 4\n");
    assert_eq!(late.key, "motor.burn_time_s");
    let points = |points: &str| added(&format!("thrust_points = {points}\n"));
    let back = points("[[0, 0], [0.1, 1800], [0.1, 1900], [2.4, 0]]");
    assert_eq!(
        (back.key.as_str(), back.expected.as_str()),
        ("motor.thrust_points[3]", "a time after 0.1 s: times rise")
    );
    assert_eq!(points("[[0, 0], [0.1, -5], [2.4, 1]]").key, "motor.thrust_points[2]");
    assert_eq!(points("[[0, 900]]").found, "1 points, at least 2 are needed");
    assert_eq!(points("[[0, 0], [2, 0]]").found, "no thrust anywhere");
    let both = added("thrust_curve = \"motor.csv\"\nthrust_points = [[0, 900], [2, 900]]\n");
    assert_eq!(both.expected, "either `thrust_curve` or `thrust_points`");
}

const TWO: &str = "[[body]]\nname = \"Body\"\n[[body]]\nname = \"Cam\"\nmass_kg = 2.6\nfreed_by = \"Cam out\"\n\
    [[cue]]\nname = \"Cam out\"\nkind = \"release\"\nwhen = \"before apogee\"\nvalue = 2\n";

#[test]
fn references_that_lead_nowhere_name_the_nearest() {
    let mistake = added(&TWO.replace("freed_by = \"Cam out\"", "freed_by = \"Cam uot\""));
    assert_eq!((mistake.key.as_str(), hint(&mistake)), ("body[Cam].freed_by", "did you mean \"Cam out\"?"));
    let mistake = added(&TWO.replace("mass_kg = 2.6", "mass_kg = 2.6\nparent = \"Bdoy\""));
    assert_eq!((mistake.key.as_str(), hint(&mistake)), ("body[Cam].parent", "did you mean \"Body\"?"));
    let link =
        "[[receiver]]\nname = \"Mast\"\n[[link]]\nname = \"l\"\nkind = \"stdin\"\nreceiver = \"Mats\"\n";
    let mistake = added(link);
    assert_eq!((mistake.key.as_str(), hint(&mistake)), ("link[l].receiver", "did you mean \"Mast\"?"));
    let mistake = added("[[link]]\nname = \"l\"\nkind = \"stdin\"\nlayouts = [\"body\"]\n");
    assert!(mistake.expected.contains("there is none in this file"), "{mistake:?}");
}

#[test]
fn circles_and_doubles_are_found() {
    let circle = "[[body]]\nname = \"V\"\n[[body]]\nname = \"A\"\nparent = \"B\"\nmass_kg = 1\n\
        [[body]]\nname = \"B\"\nparent = \"A\"\nmass_kg = 1\n";
    let report = report(&format!("{LEAST}{circle}"));
    assert_eq!(report.mistakes.len(), 2, "{report}");
    assert!(report.mistakes.iter().all(|m| m.found == "a circle of parents"));
    let cue = |name: &str, of: &str| {
        format!(
            "[[cue]]\nname = \"{name}\"\nkind = \"chute\"\nwhen = \"after cue\"\nof = \"{of}\"\nvalue = 1\n"
        )
    };
    let mistake = added(&cue("a", "a"));
    assert_eq!(mistake.found, "the cue itself");
    let report = self::report(&format!("{LEAST}{}{}", cue("a", "b"), cue("b", "a")));
    assert!(
        report.mistakes.iter().all(|m| m.found == "a circle of cues") && report.mistakes.len() == 2,
        "{report}"
    );
    let doubled =
        format!("{}{}", cue("a", "b").replace("after cue", "after apogee").replace("of = \"b\"\n", ""), "");
    let mistake = added(&format!("{doubled}{doubled}"));
    assert_eq!(mistake.found, "a second cue called \"a\"");
    let twice = TWO
        .replace("\nmass_kg", "\ntransmitter = 1\nmass_kg")
        .replace("\"Body\"\n", "\"Body\"\ntransmitter = 1\n");
    assert_eq!(added(&twice).key, "body[Cam].transmitter");
}

#[test]
fn a_cue_on_the_wrong_side_of_apogee_is_refused() {
    let mistake = added(&TWO.replace("value = 2", "value = -2"));
    assert!(hint(&mistake).contains("never negative"), "{mistake:?}");
    let mistake =
        added(&TWO.replace("before apogee", "climb rate below").replace("value = 2", "value = -9.8"));
    assert!(hint(&mistake).contains("where it still climbs"), "{mistake:?}");
}

#[test]
fn descents_must_brake() {
    let chute =
        "[[cue]]\nname = \"out\"\nkind = \"chute\"\nwhen = \"after apogee\"\n[[body]]\nname = \"V\"\n";
    let descent =
        |state: &str, how: &str| format!("[[body.descent]]\nstate = \"{state}\"\ncue = \"out\"\n{how}\n");
    let mistake = added(&format!("{chute}{}", descent("main", "drag_area_m2 = 0")));
    assert_eq!(hint(&mistake), "a parachute without area brakes nothing");
    let mistake = added(&format!("{chute}{}", descent("main", "")));
    assert_eq!(mistake.expected, "`drag_area_m2` or `rate_mps`");
    let swapped = format!("{chute}{}{}", descent("drogue", "rate_mps = 6"), descent("main", "rate_mps = 18"));
    assert_eq!(hint(&added(&swapped)), "are drogue and main swapped?");
}

#[test]
fn links_listen_on_this_machine_unless_told() {
    let link = |more: &str| format!("[[link]]\nname = \"l\"\n{more}\n");
    let mistake = added(&link("kind = \"udp\"\nlisten = \"0.0.0.0:9000\""));
    assert!(hint(&mistake).contains("allow_network = true"), "{mistake:?}");
    let mut none = |_: &str| Err(String::new());
    for good in [
        "kind = \"udp\"\nlisten = \"0.0.0.0:9000\"\nallow_network = true\ndatagrams = false",
        "kind = \"tcp\"\nlisten = \"[::1]:9000\"",
        "kind = \"tcp\"\nconnect = \"receiver.local:9000\"",
        "kind = \"relay\"\nlisten = \"0.0.0.0:9100\"\nkey_file = \"ridge.key\"",
    ] {
        let text = format!("{LEAST}{}", link(good));
        assert!(read(&text, "setup.toml", &mut none).is_ok(), "{good}");
    }
    for (bad, key) in [
        ("kind = \"tcp\"\nconnect = \"receiver\"", "link[l].connect"),
        ("kind = \"tcp\"\nconnect = \"receiver:99999\"", "link[l].connect"),
        ("kind = \"tcp\"", "link[l].connect"),
        ("kind = \"udp\"", "link[l].listen"),
        ("kind = \"serial\"", "link[l].path"),
        ("kind = \"file\"\npath = \"a\"\nbaud = 9600", "link[l].baud"),
        ("kind = \"usb\"", "link[l].kind"),
        ("kind = \"relay\"\nlisten = \"0.0.0.0:9100\"", "link[l].key_file"),
        ("kind = \"tcp\"\nlisten = \"127.0.0.1:9\"\ndatagrams = true", "link[l].datagrams"),
        ("kind = \"relay\"\nkey_file = \"ridge.key\"", "link[l].listen"),
        ("kind = \"tcp\"\nlisten = \"127.0.0.1:9\"\ndelay_s = 280", "link[l].delay_s"),
        ("kind = \"tcp\"\nlisten = \"127.0.0.1:9\"\nkey_file = \"ridge.key\"", "link[l].key_file"),
    ] {
        assert_eq!(added(&link(bad)).key, key, "{bad}");
    }
}

#[test]
fn layouts_are_checked_field_by_field() {
    let field = |more: &str| {
        format!(
            "[[layout]]\nname = \"p\"\nkind = \"binary\"\nlength = 4\n[[layout.field]]\nname = \"x\"\n{more}\n"
        )
    };
    for (more, key, said) in [
        ("type = \"uint32\"", "layout[p].field[x].type", "write \"u32\""),
        ("type = \"u32\"\nmeans = \"presure\"", "layout[p].field[x].means", "did you mean \"pressure\"?"),
        ("type = \"u32\"\nmeans = \"pressure\"\nunit = \"hpascal\"", "layout[p].field[x].unit", ""),
        ("type = \"u32\"\nmeans = \"pressure\"", "layout[p].field[x].unit", ""),
        ("type = \"u32\"\nmeans = \"pressure\"\nunit = \"m\"", "layout[p].field[x].unit", ""),
        ("type = \"u64\"", "layout[p].field[x]", ""),
        ("type = \"u8\"\nis = 300", "layout[p].field[x].is", ""),
        ("type = \"u8\"\nbits = [{ bit = 8, name = \"b\" }]", "layout[p].field[x].bits[b]", ""),
        ("type = \"u8\"\nmeans = \"armed\"", "layout[p].field[x].channel", "write `channel"),
        ("type = \"u8\"\nscale = 0.0", "layout[p].field[x].scale", ""),
        ("type = \"u8\"\nvalues = { a = \"b\" }", "layout[p].field[x].values.a", ""),
    ] {
        let mistake = added(&field(more));
        assert_eq!(mistake.key, key, "{more}: {mistake:?}");
        assert!(hint(&mistake).contains(said), "{mistake:?}");
    }
    let mistake = added(&field("type = \"i32\"\nmeans = \"latitude\"\nunit = \"deg\""));
    assert_eq!(mistake.key, "site.latitude_deg", "a position needs the pad's");
}

#[test]
fn framings_are_checked() {
    let framing = |more: &str| format!("[[link]]\nname = \"l\"\nkind = \"stdin\"\n[link.framing]\n{more}\n");
    for (more, key, said) in [
        ("kind = \"cobs\"\ncrc = \"CRC-16/XMODEN\"", "link[l].framing.crc", "CRC-16/XMODEM"),
        (
            "kind = \"cobs\"\ncrc = \"crc16-ccitt\"",
            "link[l].framing.crc",
            "several are called CCITT; try \"CRC-16/IBM-3740\" (begins with 0xFFFF)",
        ),
        ("kind = \"sync\"\nsync = \"A5 5\"\nlength = \"u8\"", "link[l].framing.sync", ""),
        ("kind = \"sync\"\nsync = \"A5 5A\"\nlength = 4", "link[l].framing.length", "fixed"),
        ("kind = \"fixed\"\nlength = 2\ncrc = \"CRC-16/XMODEM\"", "link[l].framing.length", ""),
        ("kind = \"fixed\"", "link[l].framing.length", ""),
        ("kind = \"cobs\"\nlength = 4", "link[l].framing.length", ""),
        ("kind = \"coobs\"", "link[l].framing.kind", "cobs"),
        ("kind = \"lines\"\nchecksum = \"xro\"", "link[l].framing.checksum", "xor"),
    ] {
        let mistake = added(&framing(more));
        assert_eq!(mistake.key, key, "{more}: {mistake:?}");
        assert!(hint(&mistake).contains(said), "{mistake:?}");
    }
}

/// Links of fixed frames with a sync word of one byte and a CRC of two, and layouts of four and of six bytes.
fn fixed(length: usize, layouts: &str, told: &str) -> String {
    let layout = |name: &str, kind: u8, bytes: usize, told: &str| {
        format!(
            "[[layout]]\nname = \"{name}\"\nkind = \"binary\"\n{told}\n[[layout.field]]\nname = \"kind\"\ntype = \"u8\"\n\
             is = {kind}\n[[layout.field]]\ntype = \"skip\"\nbytes = {}\n",
            bytes - 1
        )
    };
    let framing = format!("kind = \"fixed\"\nlength = {length}\nsync = \"A5\"\ncrc = \"CRC-16/XMODEM\"");
    format!(
        "{LEAST}[[link]]\nname = \"l\"\nkind = \"stdin\"\n{layouts}\n[link.framing]\n{framing}\n{}{}",
        layout("four", 1, 4, told),
        layout("six", 2, 6, "")
    )
}

#[test]
fn a_fixed_length_must_hold_what_its_layouts_read() {
    let mistake = only(&fixed(10, "layouts = [\"four\"]", "length = 4"));
    assert_eq!(mistake.key, "link[l].framing.length", "{mistake:?}");
    assert_eq!(mistake.line, 12, "{mistake:?}");
    assert_eq!(mistake.expected, "7 bytes (4 of layout \"four\", 1 of the sync word, 2 of the CRC)");
    assert_eq!(mistake.found, "10");
    assert!(hint(&mistake).contains("length = 7 here, or a layout that reads 7 bytes"), "{mistake:?}");
    // Without an exact length a layout fits whatever holds its fields, and no less.
    let mistake = only(&fixed(8, "layouts = [\"four\", \"six\"]", ""));
    assert!(mistake.expected.starts_with("9 bytes (6 of layout \"six\""), "{mistake:?}");
    // Layouts that the link does not name may be another link's; but one must fit.
    let mistake = only(&fixed(5, "", "length = 4"));
    assert_eq!(mistake.key, "link[l].framing.length", "{mistake:?}");
    for (length, layouts, told) in [
        (7, "layouts = [\"four\"]", "length = 4"),
        (7, "", "length = 4"),
        (9, "", "length = 4"),
        (12, "", ""),
    ] {
        let text = fixed(length, layouts, told);
        let taken = read(&text, "setup.toml", &mut |_| Err("no such file".to_owned()));
        assert!(taken.is_ok(), "{text}\n{}", taken.err().map(|r| r.to_string()).unwrap_or_default());
    }
}

#[test]
fn broken_lines_are_all_told_and_do_not_hide_the_rest() {
    let text =
        "[vehicle]\nliftoff_mass_kg = 34,0\ndiameter_m = 240\n[motor\ntotal_impulse_ns = = 3\nburn = 2\n";
    let report = report(text);
    let lines: Vec<usize> = report.mistakes.iter().map(|m| m.line).collect();
    assert!(lines.contains(&2) && lines.contains(&3) && lines.contains(&4), "{report}");
    assert!(report.mistakes.iter().all(|m| m.found != "nothing"), "{report}");
}

#[test]
fn garbage_and_giants_are_refused_shortly() {
    let giant = "#".repeat(2 * 1024 * 1024);
    assert!(report(&giant).mistakes[0].found.contains("is this a setup file?"));
    let broken = "a = = 3\n".repeat(100_000);
    assert!(report(&broken).mistakes.len() < 500);
    let crowded = report(&"[[link]]\nq = 1\n".repeat(50_000)).to_string();
    assert!(crowded.contains("at most 2000 of them, found 50000") && crowded.len() < 5000, "{crowded}");
    let garbage: String = (0..5000_u32).map(|i| char::from((i * 37 % 251) as u8)).collect();
    let drawn = report(&garbage).to_string();
    assert!(drawn.len() < 200_000, "{}", drawn.len());
}

#[test]
fn a_layout_that_hides_another_is_named() {
    let layout = |name: &str, more: &str| {
        format!(
            "[[layout]]\nname = \"{name}\"\nkind = \"binary\"\n[[layout.field]]\nname = \"id\"\ntype = \"u8\"\n{more}\n"
        )
    };
    let link = "[[link]]\nname = \"l\"\nkind = \"stdin\"\n";
    let mistake = added(&format!("{link}{}{}", layout("a", ""), layout("b", "is = 2")));
    assert_eq!(mistake.key, "link[l].layouts");
    assert!(mistake.found.contains("\"b\" behind \"a\""), "{mistake:?}");
    let apart = format!("{LEAST}{link}{}{}", layout("a", "is = 1"), layout("b", "is = 2"));
    assert!(read(&apart, "setup.toml", &mut |_: &str| Err(String::new())).is_ok());
}

/// A layout whose field `kind` chooses one of two cases.
fn cases(first: &str, second: &str) -> String {
    format!(
        "[[layout]]\nname = \"p\"\nkind = \"binary\"\ncase_of = \"kind\"\n[[layout.field]]\nname = \"kind\"\ntype = \"u8\"\n\
         [[layout.case]]\nname = \"a\"\n{first}\n[[layout.case.field]]\nname = \"x\"\ntype = \"u16\"\n\
         [[layout.case]]\nname = \"b\"\n{second}\n[[layout.case.field]]\nname = \"y\"\ntype = \"u16\"\n"
    )
}

#[test]
fn a_case_that_never_comes_about_is_told() {
    let mistake = added(&cases("is = 2", "is = 2"));
    assert_eq!(mistake.key, "layout[p].case[b].is");
    assert_eq!(mistake.found, "the value of \"p: a\", which takes all its packets");
    assert_eq!(mistake.line, 21);
    // A length tells them apart.
    let apart = format!("{LEAST}{}", cases("is = 2\nlength = 5", "is = 2"));
    assert!(read(&apart, "setup.toml", &mut |_: &str| Err(String::new())).is_ok());
}

#[test]
fn a_case_that_cannot_come_about_is_told_at_its_own_key() {
    let mistake = added(&cases("is = 2", "is = 300"));
    assert_eq!(mistake.key, "layout[p].case[b].is");
    assert_eq!(mistake.found, "that `kind` can never be 300");
    assert_eq!(mistake.line, 21);
}

#[test]
fn a_scale_or_offset_in_quotes_is_one_mistake() {
    for key in ["scale", "offset"] {
        let field = format!("type = \"u8\"\n{key} = \"0.01\"");
        let mistake = added(&format!(
            "[[layout]]\nname = \"p\"\nkind = \"binary\"\n[[layout.field]]\nname = \"x\"\n{field}\n"
        ));
        assert_eq!(mistake.key, format!("layout[p].field[x].{key}"));
        assert_eq!(mistake.found, "the text \"0.01\"");
    }
}
