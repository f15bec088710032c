//! One packet heard by several receivers counts once.
//!
//! A numbered packet is a copy of an earlier one if transmitter, number and content are the same within 5 s, whoever
//! heard it: that number comes again only after its whole round, with other content. A packet without a number is a
//! copy only if *another* receiver heard the same content within half a second: one receiver hears one transmission
//! once, so that what it hears twice was sent twice. Credit for a copy goes to its receiver all the same.
//! Limits: contents are compared by a 64-bit hash; at most 512 packets are remembered.

use std::collections::VecDeque;

use serde::{Deserialize, Serialize};

use crate::layout::{Decoded, Field, Layout, Stored, Value};
use crate::meaning::Meaning;

/// How long a numbered packet is remembered, ns: the age past which late packets are not used anyway.
const NUMBERED_NS: i64 = 5_000_000_000;
/// How long a packet without a number is remembered, ns. Receivers differ by their links' delays; longer would take a
/// vehicle that stands still and repeats itself for one packet.
const PLAIN_NS: i64 = 500_000_000;
/// Most packets remembered: 5 s at 100 packets/s.
const MOST: usize = 512;

/// A good packet, as one receiver heard it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Packet {
    /// Which receiver.
    pub receiver: u16,
    /// Which transmitter.
    pub transmitter: u64,
    /// Its number, if it has one.
    pub sequence: Option<u64>,
    /// Its content: [`content`] of what was decoded, or [`hash`] of its bytes.
    pub content: u64,
    /// Receive time, ns.
    pub t_ns: i64,
}

/// What a packet turns out to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Not heard before.
    First,
    /// Heard before.
    Copy {
        /// The receiver that was first.
        of_receiver: u16,
        /// How much later this one is, ns.
        later_ns: i64,
    },
}

/// Remembers what was heard lately.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Merger {
    known: VecDeque<Known>,
}

#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
struct Known {
    transmitter: u64,
    sequence: Option<u64>,
    content: u64,
    t_ns: i64,
    receivers: Vec<u16>,
}

impl Merger {
    /// Takes a packet and says whether it was heard before.
    pub fn offer(&mut self, packet: &Packet) -> Verdict {
        self.known.retain(|known| packet.t_ns.saturating_sub(known.t_ns) <= NUMBERED_NS);
        let window_ns = if packet.sequence.is_some() { NUMBERED_NS } else { PLAIN_NS };
        let same = |known: &&mut Known| {
            known.transmitter == packet.transmitter
                && known.sequence == packet.sequence
                && known.content == packet.content
                && packet.t_ns.saturating_sub(known.t_ns) <= window_ns
                && (packet.sequence.is_some() || !known.receivers.contains(&packet.receiver))
        };
        if let Some(known) = self.known.iter_mut().find(same) {
            if !known.receivers.contains(&packet.receiver) {
                known.receivers.push(packet.receiver);
            }
            let of_receiver = known.receivers.first().copied().unwrap_or(packet.receiver);
            return Verdict::Copy { of_receiver, later_ns: packet.t_ns.saturating_sub(known.t_ns) };
        }
        if self.known.len() == MOST {
            self.known.pop_front();
        }
        self.known.push_back(Known {
            transmitter: packet.transmitter,
            sequence: packet.sequence,
            content: packet.content,
            t_ns: packet.t_ns,
            receivers: vec![packet.receiver],
        });
        Verdict::First
    }
}

/// FNV-1a, 64 bits (Fowler, Noll & Vo; draft-eastlake-fnv).
#[derive(Clone, Copy)]
struct Fnv(u64);

impl Fnv {
    const START: Self = Self(0xcbf2_9ce4_8422_2325);

    fn add(&mut self, bytes: &[u8]) {
        for byte in bytes {
            self.0 = (self.0 ^ u64::from(*byte)).wrapping_mul(0x0000_0100_0000_01b3);
        }
    }
}

/// A hash of bytes, the same on every machine.
pub fn hash(bytes: &[u8]) -> u64 {
    let mut hash = Fnv::START;
    hash.add(bytes);
    hash.0
}

/// A hash of what a transmitter sent: all values but those that the receiver adds, signal strength and noise.
pub fn content(layout: &Layout, decoded: &Decoded) -> u64 {
    let mut hash = Fnv::START;
    // A receiver may put its signal in front: places count without it.
    let fields = layout.fields();
    let signals = |field: u16| {
        let added = |field: &&Field| {
            matches!(field.meaning, Meaning::Rssi | Meaning::Snr) || matches!(field.stored, Stored::Skip(_))
        };
        fields.iter().take(usize::from(field)).filter(added).count() as u16
    };
    for entry in &decoded.values {
        if layout.spec(entry).is_some_and(|spec| matches!(spec.meaning, Meaning::Rssi | Meaning::Snr)) {
            continue;
        }
        hash.add(&(entry.field - signals(entry.field)).to_le_bytes());
        hash.add(&entry.bits.map_or(0, |bits| bits + 1).to_le_bytes());
        if entry.item > 0 {
            hash.add(&entry.item.to_le_bytes());
        }
        match &entry.value {
            Value::Number(number) => hash.add(&number.to_bits().to_le_bytes()),
            Value::Text(text) => hash.add(text.as_bytes()),
            Value::Flag(flag) => hash.add(&[u8::from(*flag)]),
            Value::Named { raw, .. } => hash.add(&raw.to_le_bytes()),
        }
    }
    hash.0
}

#[cfg(test)]
#[path = "merge/tests.rs"]
mod tests;
