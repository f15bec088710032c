//! In which order the fields of a packet stand: repeats and groups written out.

use super::Field;

/// Most fields of a layout that may say how often others stand.
pub(super) const MOST_COUNTERS: usize = 4;
/// Most neighbours of one group.
pub(super) const MOST_IN_GROUP: usize = 16;

/// Goes through the places of a packet in order, as (field, item). `on` says what stands there, as far as it may be a
/// count; nothing ends the walk. True if it came to its end.
#[inline]
pub(super) fn each(fields: &[Field], mut on: impl FnMut(usize, u16) -> Option<Option<u64>>) -> bool {
    if fields.iter().all(|field| field.repeat.is_none()) {
        return (0..fields.len()).all(|index| on(index, 0).is_some());
    }
    let mut counters = [None; MOST_COUNTERS];
    let mut index = 0;
    while index < fields.len() {
        let Some(repeat) = &fields[index].repeat else {
            let Some(raw) = on(index, 0) else { return false };
            if counts(fields, index)
                && let Some(free) = counters.iter_mut().find(|counter| counter.is_none())
            {
                *free = Some((index, raw.unwrap_or(0)));
            }
            index += 1;
            continue;
        };
        let end = end_of_group(fields, index);
        let count = match repeat.count_from {
            None => repeat.count,
            Some(from) => {
                let said = counters
                    .iter()
                    .flatten()
                    .find(|(of, _)| *of == usize::from(from))
                    .map_or(0, |(_, raw)| *raw);
                // More than the most is no packet of this layout.
                let Some(count) = u16::try_from(said).ok().filter(|count| *count <= repeat.count) else {
                    return false;
                };
                count
            }
        };
        for item in 0..count {
            if !(index..end).all(|at| on(at, item).is_some()) {
                return false;
            }
        }
        index = end;
    }
    true
}

/// Whether a later field stands as often as this one says.
fn counts(fields: &[Field], index: usize) -> bool {
    fields[index + 1..]
        .iter()
        .any(|field| field.repeat.as_ref().is_some_and(|repeat| repeat.count_from == Some(index as u16)))
}

/// One past the last field that takes turns with this one.
pub(crate) fn end_of_group(fields: &[Field], index: usize) -> usize {
    let group = |field: &Field| field.repeat.as_ref().and_then(|repeat| repeat.group.clone());
    let Some(name) = group(&fields[index]) else { return index + 1 };
    let more = fields[index + 1..].iter().take_while(|field| group(field).as_ref() == Some(&name)).count();
    index + 1 + more
}
