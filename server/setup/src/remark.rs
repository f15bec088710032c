//! What is worth a second look in a setup that is taken: no mistakes, as it may be meant.

use loftwatch_engine::{Setup, cue_of};
use loftwatch_radio::Meaning;

use crate::mistake::clean;
use crate::nearest::nearest;

/// Remarks on a setup, each a sentence that begins with its key.
///
/// A channel that says that it fired, or was commanded to, is about the cue of that name, or of its body's name and that
/// one. One that no cue has may be a word of the crew's, or a cue's name misspelt.
pub fn remarks(setup: &Setup) -> Vec<String> {
    let mut said = Vec::new();
    for layout in &setup.layouts {
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
