//! What a receiver adds to every packet that it hands on: signal strength, signal to noise.
//!
//! The link says it once, and each of its layouts is read with that part in front of it or behind it. The same packet
//! through another receiver, which adds something else or nothing, is still the same packet.

use loftwatch_radio::{Field as Meant, Form, Layout, LayoutProblem, Meaning, Stored};

use crate::field::{self, Within};
use crate::layout;
use crate::notes::Notes;
use crate::told;
use crate::tree::Field;

/// The layouts of a link with what its receiver adds: new ones, put behind the others.
pub(crate) fn with(
    told: &told::Link,
    link: &str,
    tried: Vec<usize>,
    layouts: &mut Vec<Layout>,
    notes: &mut Notes,
) -> Vec<usize> {
    let added = told.added.list();
    let front = notes.choice(&told.added_at, &[("end", false), ("front", true)]);
    if added.is_empty() {
        if let Field::Is(at) = &told.added_at {
            notes.refuse(&at.at, "`[[link.added]]` beside it", "none", None);
        }
        return tried;
    }
    let front = front.unwrap_or_else(|| notes.default(told.added_at.place(), "end", false));
    let within = tried.iter().map(|&index| within(&layouts[index].form)).collect::<Vec<_>>();
    let Some(&Some(first)) = within.first() else {
        let expected = "layouts that are told field by field for the link";
        notes.refuse(
            told.added.place(),
            expected,
            if tried.is_empty() { "none" } else { "another kind" },
            None,
        );
        return tried;
    };
    if within.iter().any(|other| *other != Some(first)) {
        let expected = "layouts of one kind, as the receiver adds the same to all of them";
        notes.refuse(told.added.place(), expected, "several kinds", None);
        return tried;
    }
    if front && first != Within::Binary {
        notes.refuse(
            told.added_at.place(),
            "\"end\": only binary packets have something in front",
            "\"front\"",
            None,
        );
        return tried;
    }
    let fields = field::mean(added, first, &[], notes);
    for (field, told) in fields.iter().zip(added) {
        let signal =
            matches!(field.meaning, Meaning::Rssi | Meaning::Snr) || matches!(field.stored, Stored::Skip(_));
        if !signal || field.repeat.is_some() || field.is.is_some() || field.is_text.is_some() {
            let hint = Some("what the transmitter sends belongs into the layout".to_owned());
            notes.refuse(&told.at, "`rssi`, `snr` or a `skip`, once", "another field", hint);
            return tried;
        }
    }
    tried
        .into_iter()
        .map(|index| one(&layouts[index].clone(), link, &fields, front, told, layouts, notes))
        .collect()
}

fn within(form: &Form) -> Option<Within> {
    match form {
        Form::Binary { .. } => Some(Within::Binary),
        Form::Text { .. } => Some(Within::Text),
        Form::Keyed { .. } => Some(Within::Keyed),
        Form::Nmea { .. } | Form::Aprs { .. } | Form::In { .. } => None,
    }
}

/// Puts the layout with its added part behind the others.
fn one(
    layout: &Layout,
    link: &str,
    added: &[Meant],
    front: bool,
    told: &told::Link,
    layouts: &mut Vec<Layout>,
    notes: &mut Notes,
) -> usize {
    let mut meant = layout.clone();
    meant.name = format!("{} ({link})", layout.name);
    if let Form::Binary { length: Some(length), .. } = &mut meant.form {
        *length += loftwatch_radio::least(added);
    }
    if let Form::Binary { fields, .. } | Form::Text { fields, .. } | Form::Keyed { fields, .. } =
        &mut meant.form
    {
        if front {
            // Counts are told by index.
            for repeat in fields.iter_mut().filter_map(|field| field.repeat.as_mut()) {
                repeat.count_from = repeat.count_from.map(|from| from + added.len() as u16);
            }
            fields.splice(0..0, added.iter().cloned());
        } else {
            fields.extend(added.iter().cloned());
        }
    }
    // What the layout's own check found has been told where the layout is.
    let before: Vec<LayoutProblem> = layout.check().into_iter().map(|(_, problem)| problem).collect();
    for (_, problem) in meant.check().into_iter().filter(|(_, problem)| !before.contains(problem)) {
        layout::refuse(told.added.place(), &problem, notes);
    }
    layouts.push(meant);
    layouts.len() - 1
}
