//! A setup's figures as a form, and the form's changes back in the text: nothing else in it is touched, comments stay.
//!
//! A figure's key is the one that mistakes and defaults have (`body[Cam A].mass_kg`), so that what is wrong stands at its
//! field. The remark at the end of a figure's own line is its source: the form shows it and may change it. A list that may
//! get longer has, behind its entries, one without a name (`cue[]`): the figures that a new entry has.

mod edit;
mod key;
mod rows;
mod value;
mod vehicle;

use serde::Serialize;
use toml_edit::{DocumentMut, Item};
use ts_rs::TS;

pub use edit::{Edit, Unfit, edit};
pub use vehicle::with_vehicle_of;

use key::{entries, find, split};
use rows::{Row, Sort, Table};

/// What a figure is typed as.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, TS)]
#[serde(rename_all = "snake_case")]
#[ts(rename = "FigureKind")]
pub enum Kind {
    /// A number.
    Number,
    /// A line of text.
    Words,
    /// One of its choices.
    Choice,
    /// Pairs of numbers, `0, 0; 0.1, 900`.
    Pairs,
}

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
    /// What it is typed as.
    pub kind: Kind,
    /// What it may be, where that is a choice.
    pub choices: Vec<String>,
    /// The list (`body`, `cue`) whose entries' names are the choices.
    pub names_of: Option<String>,
    /// Whether nothing is taken without it.
    pub needed: bool,
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
    /// Dotted key of the table; with nothing between its last brackets what may be added there.
    pub key: String,
    /// What to call it.
    pub title: String,
    /// Whether it can be taken out.
    pub removable: bool,
    /// Whether it is what may be added there.
    pub adds: bool,
    /// Its figures.
    pub figures: Vec<Figure>,
}

/// The figures of a text, with the defaults that it comes with. The text must be TOML; whether it is a setup that can be
/// taken does not matter.
pub fn figures(text: &str, defaults: &[(String, String)]) -> Result<Vec<Section>, String> {
    let doc: DocumentMut = text.parse().map_err(|error: toml_edit::TomlError| error.to_string())?;
    let form = Form { root: doc.as_item(), defaults };
    let mut all = Vec::new();
    // What hangs below entries of a list comes with each of them.
    for table in rows::TABLES.iter().filter(|table| table.place.matches("[]").count() < 2) {
        match table.place.strip_suffix("[]") {
            Some(list) => form.list(list, table, &mut all),
            None => all.push(form.section(table.place, table.what.to_owned(), table)),
        }
    }
    Ok(all)
}

struct Form<'a> {
    root: &'a Item,
    defaults: &'a [(String, String)],
}

impl Form<'_> {
    /// The entries of a list, then what may be added to it.
    fn list(&self, list: &str, table: &Table, all: &mut Vec<Section>) {
        let below: Vec<(&str, &Table)> = rows::TABLES
            .iter()
            .filter_map(|other| Some((other.place.strip_prefix(table.place)?.strip_suffix("[]")?, other)))
            .filter(|(key, _)| !key.is_empty())
            .collect();
        for entry in self.entries(list, table.name) {
            let key = format!("{list}[{entry}]");
            let title = self.title(&key, &entry, table);
            all.push(Section { removable: true, ..self.section(&key, title, table) });
            for (further, other) in &below {
                self.list(&format!("{key}{further}"), other, all);
            }
        }
        let new = format!("{list}[]");
        all.push(Section { adds: true, ..self.section(&new, table.what.to_owned(), table) });
        // A new entry may bring its own.
        for (further, other) in &below {
            let key = format!("{new}{further}[]");
            all.push(Section { adds: true, ..self.section(&key, other.what.to_owned(), other) });
        }
    }

    fn entries(&self, list: &str, name: Option<&str>) -> Vec<String> {
        let mut parts = split(list);
        let Some(last) = parts.pop() else { return Vec::new() };
        let tables = find(self.root, &parts).and_then(|owner| owner.get(&last.key));
        tables.and_then(Item::as_array_of_tables).map(|tables| entries(tables, name)).unwrap_or_default()
    }

    /// What an entry is called: as its line in the text would be read out.
    fn title(&self, key: &str, entry: &str, table: &Table) -> String {
        let told = |figure: &str| {
            let value = find(self.root, &split(key)).and_then(|t| t.get(figure)).and_then(Item::as_str);
            value.unwrap_or("?").to_owned()
        };
        match table.place {
            "vehicle.part[]" => format!("Part: {entry}"),
            "upper_motor[]" => format!("Later motor {entry}"),
            "body[]" => format!("Body: {entry}"),
            "cue[]" => format!("Cue: {entry}, {}", told("when")),
            "site.area[]" => format!("Area: {entry}, {}", told("kind")),
            "checklist[]" => format!("Step {entry}: {}", told("step")),
            _ => {
                let of = split(key).first().and_then(|body| body.entry.clone()).unwrap_or_default();
                format!("{of} under {}, from {}", told("state"), told("cue"))
            }
        }
    }

    fn section(&self, key: &str, title: String, table: &Table) -> Section {
        let told = find(self.root, &split(key));
        // An entry that is known by its name cannot be called otherwise here: others name it, radio packets too.
        let named = |row: &&Row| {
            let known = table.name == Some(row.key) && !key.ends_with("[]");
            !known || table.place == "vehicle.part[]"
        };
        let figure = |row: &Row| {
            let full = format!("{key}.{}", row.key);
            let value = told.and_then(|t| t.get(row.key)).and_then(Item::as_value);
            let (kind, choices, names_of) = match row.sort {
                Sort::Number => (Kind::Number, Vec::new(), None),
                Sort::Words => (Kind::Words, Vec::new(), None),
                Sort::Pairs => (Kind::Pairs, Vec::new(), None),
                Sort::Flag => (Kind::Choice, vec!["true".to_owned(), "false".to_owned()], None),
                Sort::One(all) => (Kind::Choice, all.iter().map(|&word| word.to_owned()).collect(), None),
                Sort::NameOf(list) => (Kind::Choice, self.entries(list, Some("name")), Some(list.to_owned())),
            };
            Figure {
                label: row.label.to_owned(),
                unit: row.unit.to_owned(),
                kind,
                choices,
                names_of,
                needed: row.needed,
                value: value.map(value::plain),
                source: value.map(value::source).unwrap_or_default(),
                default: self.defaults.iter().find(|(of, _)| *of == full).map(|(_, words)| words.clone()),
                key: full,
            }
        };
        let figures = table.rows.iter().filter(named).map(figure).collect();
        Section { key: key.to_owned(), title, removable: false, adds: false, figures }
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
        for key in ["link[radio]", "body[nobody]", "body[Cam A.1].descent[2]", "vehicle", "body[]", ""] {
            assert!(edit(TEXT, &[Edit::Remove { key: key.into() }]).is_err(), "{key}");
        }
        for (list, name, at) in [
            ("link", "x", "link"),
            ("body", "", "body[].name"),
            ("body", "Cam A.1", "body[Cam A.1].name"),
            ("cue", "two\nlines", "cue[two\nlines].name"),
            ("cue", "a]b", "cue[a]b].name"),
            ("body[nobody].descent", "", "body[nobody].descent"),
        ] {
            let unfit = edit(TEXT, &[Edit::Add { list: list.into(), name: name.into() }]).unwrap_err();
            assert_eq!(unfit.key, at, "{name}");
        }
        assert!(edit("= broken", &[]).is_err());
    }
}
