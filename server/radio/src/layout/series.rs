//! Packets that hold samples of several instants: which values belong to which.

use super::{Decoded, Entry, Layout};

/// Values of one instant.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Instant {
    /// After the packet's own time, s; negative before it.
    pub offset_s: f64,
    /// What was measured then.
    pub decoded: Decoded,
}

impl Layout {
    /// Whether packets hold samples of several instants.
    pub fn has_series(&self) -> bool {
        self.fields().iter().any(|field| field.repeat.as_ref().is_some_and(|repeat| repeat.every_s.is_some()))
    }

    /// What a packet says, instant by instant, the earliest first. The packet's own instant holds all that is not of a
    /// series, and the complaints.
    pub fn instants(&self, decoded: &Decoded) -> Vec<Instant> {
        let own = Decoded { values: Vec::new(), complaints: decoded.complaints.clone() };
        let mut instants = vec![Instant { offset_s: 0.0, decoded: own }];
        for entry in &decoded.values {
            let offset_s = self.offset_s(decoded, entry);
            // Steps told as equal are equal to the bit: both are the same product.
            let known = instants.iter().position(|instant| instant.offset_s == offset_s);
            let at = known.unwrap_or_else(|| {
                instants.push(Instant { offset_s, decoded: Decoded::default() });
                instants.len() - 1
            });
            instants[at].decoded.values.push(entry.clone());
        }
        instants.sort_by(|a, b| a.offset_s.total_cmp(&b.offset_s));
        instants
    }

    fn offset_s(&self, decoded: &Decoded, entry: &Entry) -> f64 {
        let repeat = self.fields().get(usize::from(entry.field)).and_then(|field| field.repeat.as_ref());
        let Some((repeat, every_s)) = repeat.and_then(|repeat| Some((repeat, repeat.every_s?))) else {
            return 0.0;
        };
        let anchor = match (repeat.timed_last, repeat.count_from) {
            (false, _) => 0,
            (true, None) => repeat.count.saturating_sub(1),
            (true, Some(from)) => {
                let said = decoded.values.iter().find(|entry| entry.field == from && entry.bits.is_none());
                let count = said.and_then(|entry| entry.value.number()).unwrap_or(1.0);
                (count - 1.0).clamp(0.0, f64::from(u16::MAX)) as u16
            }
        };
        f64::from(i32::from(entry.item) - i32::from(anchor)) * every_s
    }
}

#[cfg(test)]
#[path = "series/tests.rs"]
mod tests;
