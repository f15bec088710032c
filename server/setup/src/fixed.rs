//! Whether the frames of a fixed length can hold what their layouts read.
//!
//! Such a frame's payload always has the same number of bytes: its length less sync word and CRC. A layout that asks for
//! another number would never fit, and nothing would be decoded without a word. Where the link names its layouts each
//! of them must fit; where it takes all of the file's, at least one.

use loftwatch_radio::{Crc, Cut, Form, Framing, Layout};

use crate::notes::Notes;
use crate::told;

/// Refuses a fixed length that the layouts of its link cannot be read from.
pub(crate) fn fits(
    told: &told::Link,
    framing: &Framing,
    tried: &[usize],
    layouts: &[Layout],
    notes: &mut Notes,
) {
    let Cut::Fixed { length, sync, .. } = &framing.cut else { return };
    let Ok(crc) = framing.crc.as_ref().map_or(Ok(0), Crc::stored_bytes) else { return };
    let around = sync.len() + crc;
    let payload = length.saturating_sub(around);
    let wrong: Vec<(&Layout, usize)> = tried
        .iter()
        .map(|&index| &layouts[index])
        .filter(|layout| !is_refused(layout, notes))
        .filter_map(|layout| other_length(layout, payload).map(|needs| (layout, needs)))
        .collect();
    let Some(&(layout, needs)) = wrong.first() else { return };
    if told.layouts.absent() && wrong.len() < tried.len() {
        return;
    }
    let Some(at) = told.framing.get().and_then(|framing| framing.value.length.get()) else { return };
    let beside =
        |bytes: usize, of: &str| if bytes > 0 { format!(", {bytes} of {of}") } else { String::new() };
    let parts = format!(
        "{needs} of layout \"{}\"{}{}",
        layout.name,
        beside(sync.len(), "the sync word"),
        beside(crc, "the CRC")
    );
    let whole = needs + around;
    let hint = format!(
        "length = {whole} here, or a layout that reads {payload} bytes; `layouts` says which of them the link tries"
    );
    notes.refuse(&at.at, format!("{whole} bytes ({parts})"), length.to_string(), Some(hint));
}

/// Whether something was said of this layout already: its length may not be what is meant.
fn is_refused(layout: &Layout, notes: &Notes) -> bool {
    let key = format!("layout[{}]", layout.name);
    notes.mistakes.iter().any(|mistake| mistake.key.starts_with(&key))
}

/// The payload that a layout needs, if it cannot be read from one of so many bytes.
fn other_length(layout: &Layout, payload: usize) -> Option<usize> {
    let Form::Binary { length, fields, .. } = layout.form.inner() else { return None };
    if let Some(exact) = length {
        return (*exact != payload).then_some(*exact);
    }
    let least = loftwatch_radio::least(fields);
    (least > payload).then_some(least)
}
