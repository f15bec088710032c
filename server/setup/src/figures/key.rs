//! Keys of the form: the way to a table or a figure in a document.

use toml_edit::{ArrayOfTables, Item, Table, TableLike};

/// One step of a key: a table, or the entry of a list by its name or its number from 1.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Part {
    pub(super) key: String,
    pub(super) entry: Option<String>,
}

/// `body[Cam A].descent[1].rate_mps` in its parts. Names may hold dots and brackets that are closed again.
pub(super) fn split(key: &str) -> Vec<Part> {
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

/// The place of a table: its key with nothing between the brackets.
pub(super) fn place(parts: &[Part]) -> String {
    let one = |part: &Part| format!("{}{}", part.key, if part.entry.is_some() { "[]" } else { "" });
    parts.iter().map(one).collect::<Vec<_>>().join(".")
}

/// Whether a key can hold this name of an entry: brackets must close, or the key ends too soon.
pub(super) fn holds(name: &str) -> bool {
    split(&format!("list[{name}].figure"))
        == [
            Part { key: "list".to_owned(), entry: Some(name.to_owned()) },
            Part { key: "figure".to_owned(), entry: None },
        ]
}

/// What an entry is known by: the name that no entry before has and that a key can hold, else its number from 1.
pub(super) fn entries(list: &ArrayOfTables, name: Option<&str>) -> Vec<String> {
    let mut all: Vec<String> = Vec::new();
    for (index, table) in list.iter().enumerate() {
        let told = name.and_then(|name| table.get(name)).and_then(Item::as_str);
        let told = told.filter(|told| !told.trim().is_empty() && holds(told));
        let known = told.filter(|told| !all.iter().any(|other| other == told));
        all.push(known.map_or_else(|| (index + 1).to_string(), str::to_owned));
    }
    all
}

/// Which table of a list is meant: the one of that name, else that number from 1.
pub(super) fn entry_index(list: &ArrayOfTables, entry: &str) -> Option<usize> {
    let named = list.iter().position(|t| t.get("name").and_then(Item::as_str) == Some(entry));
    named.or_else(|| entry.parse::<usize>().ok()?.checked_sub(1).filter(|index| *index < list.len()))
}

pub(super) fn find<'a>(root: &'a Item, parts: &[Part]) -> Option<&'a dyn TableLike> {
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

pub(super) fn find_mut<'a>(root: &'a mut Item, parts: &[Part], make: bool) -> Option<&'a mut dyn TableLike> {
    let mut table: &mut dyn TableLike = root.as_table_like_mut()?;
    for part in parts {
        if make && part.entry.is_none() && table.get(&part.key).is_none() {
            let mut made = Table::new();
            // Its own line is written when it holds a figure of its own.
            made.set_implicit(true);
            table.insert(&part.key, Item::Table(made));
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
