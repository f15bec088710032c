//! What is worth a second look in a setup that is taken: no mistakes, as it may be meant.

use loftwatch_engine::setup::Link;
use loftwatch_engine::{Setup, cue_of};
use loftwatch_radio::{Cut, Form, Layout, LineChecksum, Meaning};

use crate::mistake::clean;
use crate::nearest::nearest;

/// Remarks on a setup, each a sentence that begins with its key.
///
/// A channel that says that it fired, or was commanded to, is about the cue of that name, or of its body's name and that
/// one. One that no cue has may be a word of the crew's, or a cue's name misspelt. Two fields may read one key on purpose,
/// as number and as text, but mostly one of the keys was not changed. Lines of columns that need no checksum are taken
/// when they were cut within the last one.
pub fn remarks(setup: &Setup) -> Vec<String> {
    let mut said: Vec<String> = setup.links.iter().filter_map(|link| of_lines(setup, link)).collect();
    for layout in &setup.layouts {
        said.extend(of_keys(layout));
        for field in layout.fields() {
            let key = format!("layout[{}].field[{}]", clean(&layout.name, 40), clean(&field.name, 40));
            said.extend(of_channel(setup, &key, field.meaning, field.channel.as_deref()));
            for bits in &field.bits {
                let key = format!("{key}.bits[{}]", clean(&bits.name, 40));
                said.extend(of_channel(setup, &key, bits.meaning, bits.channel.as_deref()));
            }
        }
    }
    said
}

fn of_channel(setup: &Setup, key: &str, meaning: Meaning, channel: Option<&str>) -> Option<String> {
    let channel = channel.filter(|_| matches!(meaning, Meaning::Fired | Meaning::Commanded))?;
    let cues = || setup.plan.cues.iter().map(|cue| cue.name.as_str());
    if (0..setup.plan.bodies.len()).any(|body| cue_of(&setup.plan, body, channel).is_some()) {
        return None;
    }
    let hint = nearest(channel, cues()).map(|near| format!("; did you mean \"{near}\"?")).unwrap_or_default();
    Some(format!(
        "`{key}.channel`: no cue is called \"{}\", so what it says is kept but makes no event{hint}",
        clean(channel, 60)
    ))
}

fn of_lines(setup: &Setup, link: &Link) -> Option<String> {
    let Cut::Lines { checksum } = &link.framing.cut else { return None };
    let needed = match checksum {
        LineChecksum::Xor => true,
        LineChecksum::Optional => link.framing.crc.is_some(),
        LineChecksum::None => false,
    };
    let columns = |layout: &&Layout| matches!(layout.form.inner(), Form::Text { .. } | Form::Nmea { .. });
    let mut layouts = link.layouts.iter().filter_map(|index| setup.layouts.get(*index));
    let layout = layouts.find(columns).filter(|_| !needed)?;
    Some(format!(
        "`link[{}].framing.checksum`: a line of \"{}\" that is cut within its last column looks whole; if its lines end in a checksum, write `checksum = \"xor\"`",
        clean(&link.name, 40),
        clean(&layout.name, 40)
    ))
}

fn of_keys(layout: &Layout) -> Vec<String> {
    let Form::Keyed { fields, .. } = layout.form.inner() else { return Vec::new() };
    let again = |(index, field): (usize, &loftwatch_radio::Field)| {
        let first = fields[..index].iter().find(|first| first.key() == field.key())?;
        Some(format!(
            "`layout[{}].field[{}].key`: \"{}\" is what `{}` reads already",
            clean(&layout.name, 40),
            clean(&field.name, 40),
            clean(field.key(), 60),
            clean(&first.name, 40)
        ))
    };
    fields.iter().enumerate().filter_map(again).collect()
}
