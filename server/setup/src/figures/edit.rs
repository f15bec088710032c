//! The form's changes in the text.

use serde::{Deserialize, Serialize};
use toml_edit::{ArrayOfTables, DocumentMut, Item, RawString, Table, Value};
use ts_rs::TS;

use super::key::{entries, entry_index, find_mut, holds, place, split};
use super::rows::{self, Sort};
use super::value::{expected, remark, typed};

/// The most changes in one go.
const MOST: usize = 500;

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
    /// Adds an entry at the end of a list.
    Add {
        /// `vehicle.part`, `upper_motor`, `body`, `body[NAME].descent`, `cue`, `site.area` or `checklist`.
        list: String,
        /// Its name, where entries of that list have one; the step; else empty.
        name: String,
    },
    /// Takes an entry of a list out, with the remarks that stand right above it.
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

impl Unfit {
    fn new(key: &str, expected: impl Into<String>, found: &str) -> Self {
        Self { key: key.to_owned(), expected: expected.into(), found: found.chars().take(80).collect() }
    }
}

/// The text with changes made in it.
pub fn edit(text: &str, edits: &[Edit]) -> Result<String, Unfit> {
    let mut doc: DocumentMut = text
        .parse()
        .map_err(|error: toml_edit::TomlError| Unfit::new("", "TOML that can be read", error.message()))?;
    if edits.len() > MOST {
        let found = edits.len().to_string();
        return Err(Unfit::new("", format!("at most {MOST} changes in one go"), &found));
    }
    for edit in edits {
        match edit {
            Edit::Tell { key, value, source } => tell(&mut doc, key, value.as_deref(), source.as_deref())?,
            Edit::Add { list, name } => add(&mut doc, list, name.trim())?,
            Edit::Remove { key } => remove(&mut doc, key)
                .ok_or_else(|| Unfit::new(key, "an entry of a list that is there", key))?,
        }
    }
    Ok(doc.to_string())
}

/// What the figure of a key is; `None` where the form has no such figure.
fn sort_of(key: &str) -> Option<Sort> {
    let mut parts = split(key);
    let name = parts.pop().filter(|name| name.entry.is_none())?;
    let table = rows::table(&place(&parts))?;
    table.rows.iter().find(|row| row.key == name.key).map(|row| row.sort)
}

fn tell(doc: &mut DocumentMut, key: &str, value: Option<&str>, source: Option<&str>) -> Result<(), Unfit> {
    let sort = sort_of(key).ok_or_else(|| Unfit::new(key, "a figure of the form", key))?;
    let value = match value.map(str::trim).filter(|value| !value.is_empty()) {
        None => None,
        Some(text) => Some(typed(text, sort).ok_or_else(|| Unfit::new(key, expected(sort), text))?),
    };
    let nowhere = || Unfit::new(key, "a table to put it in", "none");
    let mut parts = split(key);
    let name = parts.pop().ok_or_else(nowhere)?.key;
    let Some(mut value) = value else {
        // A table that is not there has nothing to take out.
        if let Some(table) = find_mut(doc.as_item_mut(), &parts, false) {
            table.remove(&name);
        }
        return Ok(());
    };
    let table = find_mut(doc.as_item_mut(), &parts, true).ok_or_else(nowhere)?;
    let old = table.get(&name).and_then(Item::as_value).cloned();
    match &old {
        Some(old) if sort == Sort::Pairs && has_remarks(old) => {
            let words = "to be changed in the text of the file: there are remarks between its pairs";
            return Err(Unfit::new(key, words, "a change of it here"));
        }
        Some(old) => *value.decor_mut() = old.decor().clone(),
        None => value.decor_mut().set_prefix(" "),
    }
    if let Some(source) = source {
        value.decor_mut().set_suffix(remark(source));
    }
    match table.get_mut(&name) {
        Some(item) => *item = Item::Value(value),
        None => {
            table.insert(&name, Item::Value(value));
        }
    }
    Ok(())
}

/// Whether there are remarks inside a list, which a list made anew would lose.
fn has_remarks(value: &Value) -> bool {
    value.is_array() && value.clone().decorated("", "").to_string().contains('#')
}

fn add(doc: &mut DocumentMut, list: &str, name: &str) -> Result<(), Unfit> {
    let at = format!("{list}[{name}].name");
    let unfit = |expected: &str, found: &str| Unfit::new(&at, expected, found);
    let mut parts = split(list);
    let table = rows::table(&format!("{}[]", place(&parts)))
        .ok_or_else(|| Unfit::new(list, "a list of the form", list))?;
    let key = parts.pop().map(|last| last.key).unwrap_or_default();
    let mut entry = Table::new();
    // The step is its own name, and two steps may be alike.
    let named = if key == "checklist" { Some("step") } else { table.name };
    if let Some(field) = named {
        if name.is_empty() || name.chars().count() > 100 || name.chars().any(char::is_control) {
            return Err(unfit("a name of 1 to 100 characters on one line", &format!("\"{name}\"")));
        }
        if table.name.is_some() && !holds(name) {
            return Err(unfit("a name in which each bracket is closed", &format!("\"{name}\"")));
        }
        entry.insert(field, toml_edit::value(name));
    }
    let owner = find_mut(doc.as_item_mut(), &parts, true)
        .ok_or_else(|| Unfit::new(list, "a table that is there", list))?;
    if owner.get(&key).is_none() {
        owner.insert(&key, Item::ArrayOfTables(ArrayOfTables::new()));
    }
    let tables = owner.get_mut(&key).and_then(Item::as_array_of_tables_mut).ok_or_else(|| {
        let words =
            format!("[[{list}]] tables; in this file it is written on one line: add to it in the text");
        Unfit::new(&at, words, name)
    })?;
    if table.name.is_some() && entries(tables, table.name).iter().any(|other| other == name) {
        let at = format!("{list}[{name}].name");
        let words = format!("a name that no other {} has", table.what);
        return Err(Unfit::new(&at, words, &format!("a second {} called \"{name}\"", table.what)));
    }
    tables.push(entry);
    Ok(())
}

fn remove(doc: &mut DocumentMut, key: &str) -> Option<()> {
    let mut parts = split(key);
    rows::table(&place(&parts))?;
    let last = parts.pop()?;
    let entry = last.entry?;
    let owner = find_mut(doc.as_item_mut(), &parts, false)?;
    let list = owner.get_mut(&last.key)?.as_array_of_tables_mut()?;
    let index = entry_index(list, &entry)?;
    let gone = list.get(index)?.clone();
    list.remove(index);
    if list.is_empty() {
        owner.remove(&last.key);
    }
    keep_remarks(doc, &gone);
    Some(())
}

/// Remarks right above a table are about it and go with it; those that an empty line parts from it stay, above what
/// comes next.
fn keep_remarks(doc: &mut DocumentMut, gone: &Table) {
    let above = gone.decor().prefix().and_then(RawString::as_str).unwrap_or_default();
    let lines: Vec<&str> = above.split_inclusive('\n').collect();
    let Some(empty) = lines.iter().rposition(|line| line.trim().is_empty()) else { return };
    let kept = lines[..empty].concat();
    if !kept.contains('#') {
        return;
    }
    let joined = |before: Option<&str>| {
        let before = before.unwrap_or_default();
        let parted = before.is_empty() || before.starts_with(['\n', '\r']);
        format!("{kept}{}{before}", if parted { "" } else { "\n" })
    };
    let next = nearest_after(doc.as_table(), last_position(gone));
    if let Some(next) = next.and_then(|at| at_position(doc.as_table_mut(), at)) {
        let words = joined(next.decor().prefix().and_then(RawString::as_str));
        next.decor_mut().set_prefix(words);
    } else {
        let words = joined(doc.trailing().as_str());
        doc.set_trailing(words);
    }
}

/// The place of the last table within one.
fn last_position(table: &Table) -> isize {
    let mut last = table.position().unwrap_or(isize::MIN);
    for (_, item) in table {
        match item {
            Item::Table(table) => last = last.max(last_position(table)),
            Item::ArrayOfTables(list) => list.iter().for_each(|t| last = last.max(last_position(t))),
            _ => {}
        }
    }
    last
}

/// Where the table stands that comes first behind a place.
fn nearest_after(table: &Table, behind: isize) -> Option<isize> {
    let own = table.position().filter(|at| *at > behind && !table.is_implicit());
    let within = table.iter().flat_map(|(_, item)| match item {
        Item::Table(table) => vec![nearest_after(table, behind)],
        Item::ArrayOfTables(list) => list.iter().map(|t| nearest_after(t, behind)).collect(),
        _ => Vec::new(),
    });
    own.into_iter().chain(within.flatten()).min()
}

fn at_position(table: &mut Table, wanted: isize) -> Option<&mut Table> {
    if table.position() == Some(wanted) && !table.is_implicit() {
        return Some(table);
    }
    for (_, item) in table.iter_mut() {
        let found = match item {
            Item::Table(table) => at_position(table, wanted),
            Item::ArrayOfTables(list) => list.iter_mut().find_map(|t| at_position(t, wanted)),
            _ => None,
        };
        if found.is_some() {
            return found;
        }
    }
    None
}
