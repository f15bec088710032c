//! A setup's figures as a form, and the form's changes back in the text: nothing else in it is touched, comments stay.
//!
//! A figure's key is the one that mistakes and defaults have (`body[Cam A].mass_kg`), so that what is wrong stands at its
//! field. The remark at the end of a figure's own line is its source: the form shows it and may change it.

use serde::{Deserialize, Serialize};
use toml_edit::{DocumentMut, Item, RawString, TableLike, Value};
use ts_rs::TS;

/// The most changes in one go.
const MOST: usize = 500;
/// The longest value, characters.
const LONGEST: usize = 300;

/// One figure of the form.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, TS)]
#[ts(rename = "FormFigure")]
pub struct Figure {
    /// Dotted key, as mistakes and defaults have it.
    pub key: String,
    /// What to call it.
    pub label: String,
    /// Its unit; empty without one.
    pub unit: String,
    /// Whether it is a number, else text.
    pub number: bool,
    /// As it stands in the file, without quotes; `null` where it does not.
    pub value: Option<String>,
    /// The remark at the end of its line.
    pub source: String,
    /// What is taken where it is not told, in words.
    pub default: Option<String>,
}

/// Figures that stand together.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, TS)]
#[ts(rename = "FormSection")]
pub struct Section {
    /// Dotted key of the table.
    pub key: String,
    /// What to call it.
    pub title: String,
    /// Whether it can be taken out.
    pub removable: bool,
    /// Its figures.
    pub figures: Vec<Figure>,
}

/// One change.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, TS)]
#[serde(tag = "kind", rename_all = "snake_case")]
#[ts(rename = "FormEdit")]
pub enum Edit {
    /// Tells a figure, or takes it out.
    Tell {
        /// Its key.
        key: String,
        /// As typed; `null` takes it out.
        value: Option<String>,
        /// Its source; `null` leaves it as it is.
        #[serde(default)]
        source: Option<String>,
    },
    /// Adds a part, or a step of the checklist, at the end.
    Add {
        /// `vehicle.part` or `checklist`.
        list: String,
        /// Name of the part; the step.
        name: String,
    },
    /// Takes a part or a step out.
    Remove {
        /// Key of its table.
        key: String,
    },
}

/// A change that cannot be made.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unfit {
    /// Key of the figure.
    pub key: String,
    /// What was expected.
    pub expected: String,
    /// What was found.
    pub found: String,
}

type Row = (&'static str, &'static str, &'static str, bool);

const VEHICLE: &[Row] = &[
    ("name", "name", "", false),
    ("liftoff_mass_kg", "mass at liftoff", "kg", true),
    ("liftoff_mass_spread_percent", "its spread", "%", true),
    ("diameter_m", "diameter", "m", true),
    ("drag_coefficient", "drag coefficient", "", true),
    ("drag_spread_percent", "its spread", "%", true),
    ("rail_guided_length_m", "travel to the upper guide’s exit", "m", true),
    ("rail_tilt_from_vertical_deg", "rail tilt from vertical", "°", true),
    ("rail_azimuth_deg", "rail leans towards, true", "°", true),
    ("lean_spread_deg", "spread of the lean at burnout", "°", true),
    ("centre_of_gravity_m", "centre of gravity behind the nose", "m", true),
    ("centre_of_pressure_m", "centre of pressure behind the nose", "m", true),
];
const PART: &[Row] = &[("name", "name", "", false), ("mass_kg", "mass as weighed", "kg", true)];
const MOTOR: &[Row] = &[
    ("total_impulse_ns", "total impulse", "N s", true),
    ("impulse_spread_percent", "its spread", "%", true),
    ("burn_time_s", "burn time", "s", true),
    ("propellant_mass_kg", "propellant", "kg", true),
    ("thrust_curve", "thrust curve, a file beside the setup", "", false),
    ("cluster", "motors that light together", "", true),
];
const UPPER: &[Row] = &[
    ("total_impulse_ns", "total impulse", "N s", true),
    ("burn_time_s", "burn time", "s", true),
    ("propellant_mass_kg", "propellant", "kg", true),
    ("ignition_after_burnout_s", "lights after burnout", "s", true),
    ("ignition_spread_s", "its spread", "s", true),
    ("dropped_mass_kg", "falls away before", "kg", true),
    ("drag_coefficient", "drag coefficient", "", true),
    ("diameter_m", "diameter", "m", true),
];
const BODY: &[Row] = &[
    ("mass_kg", "mass on its own", "kg", true),
    ("drag_area_m2", "drag area with nothing out", "m²", true),
    ("battery_least_v", "least battery voltage", "V", true),
    ("gnss_greatest_height_m", "receiver’s greatest height", "m AMSL", true),
    ("gnss_greatest_speed_mps", "receiver’s greatest speed", "m/s", true),
    ("gnss_greatest_acceleration_g", "receiver’s greatest acceleration", "g", true),
    ("gnss_dynamics", "receiver’s dynamics setting", "", false),
];
const DESCENT: &[Row] = &[
    ("drag_area_m2", "drag area", "m²", true),
    ("rate_mps", "or rate of descent", "m/s", true),
    ("spread_percent", "its spread", "%", true),
];
const CUE: &[Row] = &[
    ("value", "its figure", "", true),
    ("delay_s", "delay of electronics and mechanism", "s", true),
    ("spread_s", "its spread", "s", true),
    ("lag_s", "lag of the vertical speed", "s", true),
    ("lag_spread_s", "its spread", "s", true),
    ("limit_airspeed_mps", "greatest airspeed", "m/s", true),
    ("limit_from", "where the limit comes from", "", false),
];
const SITE: &[Row] = &[
    ("name", "name", "", false),
    ("latitude_deg", "latitude, WGS84", "°", true),
    ("longitude_deg", "longitude, WGS84", "°", true),
    ("elevation_m", "elevation", "m AMSL", true),
    ("geoid_above_ellipsoid_m", "geoid above ellipsoid", "m", true),
];
const WEATHER: &[Row] = &[
    ("station_pressure_hpa", "station pressure", "hPa", true),
    ("temperature_c", "temperature", "°C", true),
    ("wind_mps", "wind", "m/s", true),
    ("wind_from_deg", "it comes from, true", "°", true),
    ("wind_height_m", "measured above ground at", "m", true),
    ("wind_spread_mps", "its spread", "m/s", true),
    ("wind_source", "its source", "", false),
];
const LIMITS: &[Row] = &[
    ("heard_within_s", "heard within", "s", true),
    ("satellites_least", "satellites, at least", "", true),
    ("dilution_most", "dilution, at most", "", true),
    ("fix_within_m", "fix within, of the pad", "m", true),
    ("pressure_within_hpa", "pressure within, of the station’s", "hPa", true),
    ("upright_within_deg", "upright within", "°", true),
    ("storage_least_percent", "storage left, at least", "%", true),
    ("steady_for_s", "no restart within", "s", true),
    ("thrust_to_weight_least", "thrust to weight, at least", ": 1", true),
    ("rail_exit_least_mps", "speed at rail exit, at least", "m/s", true),
    ("rail_tilt_most_deg", "rail tilt, at most", "°", true),
    ("wind_most_mps", "wind, at most", "m/s", true),
    ("attack_most_deg", "angle of attack, at most", "°", true),
    ("stability_least", "stability, at least", "diameters", true),
    ("drogue_most_mps", "under drogue, at most", "m/s", true),
    ("landing_most_mps", "at landing, at most", "m/s", true),
    ("landing_most_j", "energy at landing, at most", "J", true),
    ("ceiling_m", "ceiling", "m", true),
    ("ceiling_above", "above “ground” or “sea level”", "", false),
    ("ceiling_window", "it holds when", "", false),
    ("ceiling_authority", "who granted it", "", false),
];
const STEP: &[Row] = &[("step", "step", "", false), ("who", "who does it", "", false)];

/// The figures of a text, with the defaults that it comes with. The text must be TOML; whether it is a setup that can be
/// taken does not matter.
pub fn figures(text: &str, defaults: &[(String, String)]) -> Result<Vec<Section>, String> {
    let doc: DocumentMut = text.parse().map_err(|error: toml_edit::TomlError| error.to_string())?;
    let mut all = Vec::new();
    let mut one = |key: &str, title: String, rows: &[Row], removable: bool| {
        all.push(section(&doc, key, title, rows, removable, defaults));
    };
    one("vehicle", "Vehicle".into(), VEHICLE, false);
    for name in names(&doc, &["vehicle", "part"]) {
        one(&format!("vehicle.part[{name}]"), format!("Part: {name}"), PART, true);
    }
    one("motor", "Motor".into(), MOTOR, false);
    for index in 0..count(&doc, "upper_motor") {
        one(&format!("upper_motor[{}]", index + 1), format!("Later motor {}", index + 1), UPPER, false);
    }
    for name in names(&doc, &["body"]) {
        one(&format!("body[{name}]"), format!("Body: {name}"), BODY, false);
        let body = find(doc.as_item(), &split(&format!("body[{name}]")));
        let descents = body.and_then(|b| b.get("descent")).and_then(Item::as_array_of_tables);
        for (index, descent) in descents.into_iter().flatten().enumerate() {
            let state = descent.get("state").and_then(Item::as_str).unwrap_or("descent");
            let cue = descent.get("cue").and_then(Item::as_str).unwrap_or("?");
            let key = format!("body[{name}].descent[{}]", index + 1);
            one(&key, format!("{name} under {state}, from {cue}"), DESCENT, false);
        }
    }
    for name in names(&doc, &["cue"]) {
        let when = find(doc.as_item(), &split(&format!("cue[{name}]")))
            .and_then(|cue| cue.get("when"))
            .and_then(Item::as_str)
            .unwrap_or("?");
        one(&format!("cue[{name}]"), format!("Cue: {name}, {when}"), CUE, false);
    }
    one("site", "Site".into(), SITE, false);
    one("weather", "Weather".into(), WEATHER, false);
    one("limits", "Limits".into(), LIMITS, false);
    for index in 0..count(&doc, "checklist") {
        one(&format!("checklist[{}]", index + 1), format!("Step {}", index + 1), STEP, true);
    }
    Ok(all)
}

fn section(
    doc: &DocumentMut,
    key: &str,
    title: String,
    rows: &[Row],
    removable: bool,
    defaults: &[(String, String)],
) -> Section {
    let table = find(doc.as_item(), &split(key));
    let figures = rows
        .iter()
        .map(|(name, label, unit, number)| {
            let full = format!("{key}.{name}");
            let value = table.and_then(|t| t.get(name)).and_then(Item::as_value);
            Figure {
                label: (*label).to_owned(),
                unit: (*unit).to_owned(),
                number: *number,
                value: value.map(plain),
                source: value.map(source).unwrap_or_default(),
                default: defaults.iter().find(|(of, _)| *of == full).map(|(_, words)| words.clone()),
                key: full,
            }
        })
        .collect();
    Section { key: key.to_owned(), title, removable, figures }
}

/// A value as one types it.
fn plain(value: &Value) -> String {
    match value {
        Value::String(text) => text.value().clone(),
        // As written, digits and all.
        other => other.clone().decorated("", "").to_string(),
    }
}

/// The remark behind a value.
fn source(value: &Value) -> String {
    let suffix = value.decor().suffix().and_then(RawString::as_str).unwrap_or_default();
    suffix.split_once('#').map(|(_, remark)| remark.trim().to_owned()).unwrap_or_default()
}

/// Names of the tables of a list.
fn names(doc: &DocumentMut, path: &[&str]) -> Vec<String> {
    let mut item = doc.as_item();
    for key in path {
        let Some(next) = item.get(key) else { return Vec::new() };
        item = next;
    }
    let Some(list) = item.as_array_of_tables() else { return Vec::new() };
    list.iter().filter_map(|t| t.get("name").and_then(Item::as_str).map(str::to_owned)).collect()
}

fn count(doc: &DocumentMut, key: &str) -> usize {
    doc.get(key).and_then(Item::as_array_of_tables).map_or(0, toml_edit::ArrayOfTables::len)
}

/// One step of a key: a table, or the entry of a list by its name or its number from 1.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Part {
    key: String,
    entry: Option<String>,
}

/// `body[Cam A].descent[1].rate_mps` in its parts. Names may hold dots and brackets that are closed again.
fn split(key: &str) -> Vec<Part> {
    let mut parts = Vec::new();
    let (mut depth, mut begin) = (0_i32, 0);
    let mut push = |text: &str| {
        let (key, entry) = match text.split_once('[') {
            Some((key, entry)) => (key, Some(entry.strip_suffix(']').unwrap_or(entry).to_owned())),
            None => (text, None),
        };
        parts.push(Part { key: key.to_owned(), entry });
    };
    for (at, c) in key.char_indices() {
        match c {
            '[' => depth += 1,
            ']' => depth -= 1,
            '.' if depth == 0 => {
                push(&key[begin..at]);
                begin = at + 1;
            }
            _ => {}
        }
    }
    push(&key[begin..]);
    parts
}

/// Which table of a list is meant: the one of that name, else that number from 1.
fn entry_index(list: &toml_edit::ArrayOfTables, entry: &str) -> Option<usize> {
    let named = list.iter().position(|t| t.get("name").and_then(Item::as_str) == Some(entry));
    named.or_else(|| entry.parse::<usize>().ok()?.checked_sub(1).filter(|index| *index < list.len()))
}

fn find<'a>(root: &'a Item, parts: &[Part]) -> Option<&'a dyn TableLike> {
    let mut table: &dyn TableLike = root.as_table_like()?;
    for part in parts {
        let item = table.get(&part.key)?;
        table = match &part.entry {
            None => item.as_table_like()?,
            Some(entry) => {
                let list = item.as_array_of_tables()?;
                list.get(entry_index(list, entry)?)?
            }
        };
    }
    Some(table)
}

fn find_mut<'a>(root: &'a mut Item, parts: &[Part], make: bool) -> Option<&'a mut dyn TableLike> {
    let mut table: &mut dyn TableLike = root.as_table_like_mut()?;
    for part in parts {
        if make && part.entry.is_none() && table.get(&part.key).is_none() {
            table.insert(&part.key, Item::Table(toml_edit::Table::new()));
        }
        let item = table.get_mut(&part.key)?;
        table = match &part.entry {
            None => item.as_table_like_mut()?,
            Some(entry) => {
                let list = item.as_array_of_tables_mut()?;
                let index = entry_index(list, entry)?;
                list.get_mut(index)?
            }
        };
    }
    Some(table)
}

/// The text with changes made in it.
pub fn edit(text: &str, edits: &[Edit]) -> Result<String, Unfit> {
    let unfit = |key: &str, expected: &str, found: &str| Unfit {
        key: key.to_owned(),
        expected: expected.to_owned(),
        found: found.chars().take(80).collect(),
    };
    let mut doc: DocumentMut = text
        .parse()
        .map_err(|error: toml_edit::TomlError| unfit("", "TOML that can be read", error.message()))?;
    if edits.len() > MOST {
        return Err(unfit("", &format!("at most {MOST} changes in one go"), &edits.len().to_string()));
    }
    for edit in edits {
        match edit {
            Edit::Tell { key, value, source } => {
                let Some(number) = kind_of(key) else {
                    return Err(unfit(key, "a figure of the form", key));
                };
                let value = value.as_deref().map(str::trim).filter(|value| !value.is_empty());
                let typed = match value {
                    None => None,
                    Some(value) => Some(typed(value, number).ok_or_else(|| {
                        unfit(
                            key,
                            if number { "a number, with a decimal point" } else { "a line of text" },
                            value,
                        )
                    })?),
                };
                tell(&mut doc, key, typed, source.as_deref())
                    .ok_or_else(|| unfit(key, "a table to put it in", "none"))?;
            }
            Edit::Add { list, name } => {
                add(&mut doc, list, name).ok_or_else(|| unfit(list, "a name of one line", name))?;
            }
            Edit::Remove { key } => {
                remove(&mut doc, key).ok_or_else(|| unfit(key, "a part or a step that is there", key))?;
            }
        }
    }
    Ok(doc.to_string())
}

/// Whether the figure of a key is a number; `None` where the form has no such figure.
fn kind_of(key: &str) -> Option<bool> {
    let mut parts = split(key);
    let name = parts.pop()?;
    let table: Vec<(&str, bool)> = parts.iter().map(|p| (p.key.as_str(), p.entry.is_some())).collect();
    let rows = match table.as_slice() {
        [("vehicle", false)] => VEHICLE,
        [("vehicle", false), ("part", true)] => PART,
        [("motor", false)] => MOTOR,
        [("upper_motor", true)] => UPPER,
        [("body", true)] => BODY,
        [("body", true), ("descent", true)] => DESCENT,
        [("cue", true)] => CUE,
        [("site", false)] => SITE,
        [("weather", false)] => WEATHER,
        [("limits", false)] => LIMITS,
        [("checklist", true)] => STEP,
        _ => return None,
    };
    rows.iter().find(|row| row.0 == name.key && name.entry.is_none()).map(|row| row.3)
}

/// A value of what was typed.
fn typed(text: &str, number: bool) -> Option<Value> {
    if text.chars().count() > LONGEST || text.chars().any(char::is_control) {
        return None;
    }
    if !number {
        return Some(Value::from(text));
    }
    text.parse::<f64>().ok().filter(|n| n.is_finite())?;
    // As it was typed, where that is TOML; `.5` and `+3` are not quite.
    let value: Value = text.parse().ok().or_else(|| text.parse::<f64>().ok().map(Value::from))?;
    (value.is_float() || value.is_integer()).then_some(value)
}

fn tell(doc: &mut DocumentMut, key: &str, value: Option<Value>, source: Option<&str>) -> Option<()> {
    let mut parts = split(key);
    let name = parts.pop()?.key;
    let Some(value) = value else {
        // A table that is not there has nothing to take out.
        if let Some(table) = find_mut(doc.as_item_mut(), &parts, false) {
            table.remove(&name);
        }
        return Some(());
    };
    let table = find_mut(doc.as_item_mut(), &parts, true)?;
    let mut value = value;
    let old = table.get(&name).and_then(Item::as_value).cloned();
    match &old {
        Some(old) => *value.decor_mut() = old.decor().clone(),
        None => value.decor_mut().set_prefix(" "),
    }
    if let Some(source) = source {
        let line: String = source.chars().filter(|c| !c.is_control()).take(LONGEST).collect();
        let line = line.trim();
        let suffix = if line.is_empty() { String::new() } else { format!("  # {line}") };
        value.decor_mut().set_suffix(suffix);
    }
    match table.get_mut(&name) {
        Some(item) => *item = Item::Value(value),
        None => {
            table.insert(&name, Item::Value(value));
        }
    }
    Some(())
}

fn add(doc: &mut DocumentMut, list: &str, name: &str) -> Option<()> {
    let name = name.trim();
    if name.is_empty() || name.chars().count() > 100 || name.chars().any(char::is_control) {
        return None;
    }
    let mut table = toml_edit::Table::new();
    let (owner, key, field) = match list {
        "vehicle.part" => (split("vehicle"), "part", "name"),
        "checklist" => (Vec::new(), "checklist", "step"),
        _ => return None,
    };
    table.insert(field, toml_edit::value(name));
    let owner = find_mut(doc.as_item_mut(), &owner, true)?;
    if owner.get(key).is_none() {
        owner.insert(key, Item::ArrayOfTables(toml_edit::ArrayOfTables::new()));
    }
    owner.get_mut(key)?.as_array_of_tables_mut()?.push(table);
    Some(())
}

fn remove(doc: &mut DocumentMut, key: &str) -> Option<()> {
    let mut parts = split(key);
    let last = parts.pop()?;
    let allowed = match (parts.as_slice(), last.key.as_str()) {
        ([], "checklist") => true,
        ([owner], "part") => owner.key == "vehicle" && owner.entry.is_none(),
        _ => false,
    };
    let entry = last.entry.filter(|_| allowed)?;
    let owner = find_mut(doc.as_item_mut(), &parts, false)?;
    let list = owner.get_mut(&last.key)?.as_array_of_tables_mut()?;
    let index = entry_index(list, &entry)?;
    list.remove(index);
    if list.is_empty() {
        owner.remove(&last.key);
    }
    Some(())
}

/// What a vehicle is made of: taken from one text into another all together, as bodies and cues name one another.
const OF_A_VEHICLE: [&str; 5] = ["vehicle", "motor", "upper_motor", "body", "cue"];

/// A text with the vehicle, motors, bodies and cues of another one; site, weather, limits, links and layouts stay.
pub fn with_vehicle_of(text: &str, other: &str) -> Result<String, String> {
    let parse = |text: &str| text.parse::<DocumentMut>().map_err(|error| error.to_string());
    let (mut doc, from) = (parse(text)?, parse(other)?);
    for key in OF_A_VEHICLE {
        doc.remove(key);
        let Some(mut item) = from.get(key).cloned() else { continue };
        // Places in the other file mean nothing here: they come last, in their own order.
        forget_place(&mut item);
        doc.insert(key, item);
    }
    Ok(doc.to_string())
}

fn forget_place(item: &mut Item) {
    match item {
        Item::Table(table) => {
            table.set_position(None);
            table.iter_mut().for_each(|(_, item)| forget_place(item));
        }
        Item::ArrayOfTables(list) => {
            for table in list.iter_mut() {
                table.set_position(None);
                table.iter_mut().for_each(|(_, item)| forget_place(item));
            }
        }
        _ => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "# Ours.\n[vehicle]  # the old one\nliftoff_mass_kg = 34.0   # weighed at home\ndiameter_m = 0.24\n\n\
        [motor]\ntotal_impulse_ns = 4350.0\nburn_time_s = 2.4\n\n# cameras\n[[body]]\nname = \"Cam A.1\"\nmass_kg = 2.6 # scale\n\
        [[body.descent]]\nstate = \"main\"\ncue = \"out\"\nrate_mps = 6\n\n[[cue]]\nname = \"out\"\nkind = \"chute\"\n\
        when = \"after apogee\"\nvalue = 1.5\n";

    fn tell(key: &str, value: &str) -> Edit {
        Edit::Tell { key: key.into(), value: Some(value.into()), source: None }
    }

    fn figure(text: &str, key: &str) -> Figure {
        let all = figures(text, &[("motor.impulse_spread_percent".into(), "7 %".into())]).unwrap();
        all.into_iter().flat_map(|s| s.figures).find(|f| f.key == key).unwrap()
    }

    #[test]
    fn a_form_without_changes_is_the_text_to_the_byte() {
        assert_eq!(edit(TEXT, &[]).unwrap(), TEXT);
        for text in
            [include_str!("../../../demo-data/tall-order/setup.toml"), include_str!("../tests/full.toml")]
        {
            assert_eq!(edit(text, &[]).unwrap(), text);
            // Each figure told as it stands changes nothing either.
            let same: Vec<Edit> = figures(text, &[])
                .unwrap()
                .into_iter()
                .flat_map(|s| s.figures)
                .filter_map(|f| f.value.map(|value| tell(&f.key, &value)))
                .collect();
            assert!(same.len() > 30);
            assert_eq!(edit(text, &same).unwrap(), text);
        }
    }

    #[test]
    fn figures_have_value_source_and_default() {
        let mass = figure(TEXT, "vehicle.liftoff_mass_kg");
        assert_eq!((mass.value.as_deref(), mass.source.as_str()), (Some("34.0"), "weighed at home"));
        let spread = figure(TEXT, "motor.impulse_spread_percent");
        assert_eq!((spread.value, spread.default.as_deref()), (None, Some("7 %")));
        assert_eq!(figure(TEXT, "body[Cam A.1].mass_kg").source, "scale");
        assert_eq!(figure(TEXT, "body[Cam A.1].descent[1].rate_mps").value.as_deref(), Some("6"));
    }

    #[test]
    fn one_change_changes_one_line_and_comments_stay() {
        let new = edit(TEXT, &[tell("vehicle.liftoff_mass_kg", "34.250")]).unwrap();
        assert_eq!(new, TEXT.replace("34.0   # weighed", "34.250   # weighed"));
        let new = edit(TEXT, &[tell("body[Cam A.1].descent[1].rate_mps", "5.5")]).unwrap();
        assert_eq!(new, TEXT.replace("rate_mps = 6", "rate_mps = 5.5"));
        let source = Edit::Tell {
            key: "motor.burn_time_s".into(),
            value: Some("2.5".into()),
            source: Some("maker's\ndata sheet".into()),
        };
        assert_eq!(edit(TEXT, &[source]).unwrap(), TEXT.replace("= 2.4", "= 2.5  # maker'sdata sheet"));
        let gone = Edit::Tell { key: "motor.burn_time_s".into(), value: None, source: None };
        assert_eq!(edit(TEXT, &[gone]).unwrap(), TEXT.replace("burn_time_s = 2.4\n", ""));
    }

    #[test]
    fn what_is_not_there_yet_is_put_into_its_table() {
        let new =
            edit(TEXT, &[tell("limits.ceiling_m", "900"), tell("vehicle.lean_spread_deg", "8")]).unwrap();
        assert_eq!(figure(&new, "limits.ceiling_m").value.as_deref(), Some("900"));
        assert!(new.contains("diameter_m = 0.24\nlean_spread_deg = 8\n"), "{new}");
        assert!(new.starts_with("# Ours.\n[vehicle]  # the old one\n"));
    }

    #[test]
    fn parts_and_steps_come_and_go() {
        let add = |list: &str, name: &str| Edit::Add { list: list.into(), name: name.into() };
        let new = edit(
            TEXT,
            &[
                add("vehicle.part", "fin can"),
                tell("vehicle.part[fin can].mass_kg", "3.2"),
                add("checklist", "arm"),
            ],
        )
        .unwrap();
        assert_eq!(figure(&new, "vehicle.part[fin can].mass_kg").value.as_deref(), Some("3.2"));
        assert_eq!(figure(&new, "checklist[1].step").value.as_deref(), Some("arm"));
        let back = [
            Edit::Remove { key: "vehicle.part[fin can]".into() },
            Edit::Remove { key: "checklist[1]".into() },
        ];
        assert_eq!(edit(&new, &back).unwrap(), TEXT);
    }

    #[test]
    fn nonsense_is_refused_at_its_key_and_nothing_else_can_be_reached() {
        for (key, value) in [
            ("vehicle.liftoff_mass_kg", "heavy"),
            ("vehicle.liftoff_mass_kg", "2,6"),
            ("vehicle.liftoff_mass_kg", "nan"),
            ("vehicle.liftoff_mass_kg", "[1]"),
            ("vehicle.liftoff_mass_kg", "1 # x"),
            ("vehicle.name", "two\nlines"),
            ("link[radio].path", "/etc/passwd"),
            ("vehicle.colour", "red"),
            ("body[nobody].mass_kg", "1"),
            ("", "1"),
            ("body[Cam A.1].descent[9].rate_mps", "1"),
        ] {
            let unfit = edit(TEXT, &[tell(key, value)]).unwrap_err();
            assert_eq!(unfit.key, key, "{value}");
        }
        assert!(edit(TEXT, &[Edit::Remove { key: "body[Cam A.1]".into() }]).is_err());
        assert!(edit(TEXT, &[Edit::Add { list: "link".into(), name: "x".into() }]).is_err());
        assert!(edit("= broken", &[]).is_err());
    }

    #[test]
    fn a_vehicle_is_taken_over_whole_and_the_rest_stays() {
        let tall = include_str!("../../../demo-data/tall-order/setup.toml");
        let small = include_str!("../../../demo-data/straight/setup.toml");
        let none = |_: &str| Err("no files".to_owned());
        let mixed = with_vehicle_of(small, tall).unwrap();
        let read = |text: &str| crate::read(text, "x", &mut none.clone()).unwrap_or_else(|r| panic!("{r}"));
        let (new, from, before) = (read(&mixed), read(tall), read(small));
        assert_eq!((&new.plan.vehicle, &new.plan.cues), (&from.plan.vehicle, &from.plan.cues));
        assert_eq!(new.plan.motors, from.plan.motors);
        assert_eq!((&new.site_name, &new.links), (&before.site_name, &before.links));
        assert!(mixed.contains("# A camera two seconds before apogee"), "its comments come along");
    }
}
