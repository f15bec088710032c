//! The bytes of frames, found again among the inputs: an output holds where they stand in their link's stream.

use std::collections::{BTreeMap, VecDeque};

use loftwatch_engine::{RelayNews, What};
use sqlx::Row as _;

use super::make::Trouble;
use super::source::{Chosen, Source};
use crate::store::inputs;

/// Inputs read in one go.
const AT_ONCE: u32 = 500;
/// Inputs before the flight's first that may hold the beginning of a frame.
const BEFORE: i64 = 200;
/// Bytes of a link that are kept behind the newest frame: frames of one link come nearly in order.
const BEHIND: u64 = 256 * 1024;

#[derive(Debug, Default)]
struct Window {
    /// Offset of the first byte.
    begins: u64,
    bytes: VecDeque<u8>,
}

impl Window {
    fn ends(&self) -> u64 {
        self.begins + self.bytes.len() as u64
    }

    fn lost(&mut self, bytes: u64) {
        self.begins = self.ends() + bytes;
        self.bytes.clear();
    }
}

/// Goes through the inputs of a flight beside its frames.
#[derive(Debug)]
pub(super) struct FrameBytes {
    source: Source,
    links: BTreeMap<String, Window>,
    done: i64,
    up_to: i64,
}

impl FrameBytes {
    /// For a flight.
    pub(super) async fn new(source: &Source, chosen: &Chosen) -> Result<Self, Trouble> {
        let from = (chosen.first_input - BEFORE).max(0);
        // Lost bytes count too; they are few.
        let sql = "SELECT link, sum(CASE kind WHEN 'bytes' THEN length(data) WHEN 'lost' THEN json_extract(CAST(data AS TEXT), '$.lost.bytes') \
                   WHEN 'relayed' THEN coalesce(json_extract(CAST(data AS TEXT), '$.relayed.news.lost.bytes'), 0) ELSE 0 END) AS bytes \
                   FROM input WHERE number <= ? AND link IS NOT NULL GROUP BY link";
        let rows = sqlx::query(sql).bind(from).fetch_all(&source.inputs).await?;
        let mut links = BTreeMap::new();
        for row in rows {
            let begins = row.try_get::<i64, _>("bytes")? as u64;
            links.insert(row.try_get("link")?, Window { begins, bytes: VecDeque::new() });
        }
        Ok(Self { source: source.clone(), links, done: from, up_to: chosen.last_input })
    }

    /// The bytes of a frame; `None` where they are not stored.
    pub(super) async fn of(
        &mut self,
        link: &str,
        offset: u64,
        length: u32,
    ) -> Result<Option<Vec<u8>>, Trouble> {
        let ends = offset + u64::from(length);
        while self.links.get(link).is_none_or(|window| window.ends() < ends) && self.done < self.up_to {
            let some =
                inputs::read(&self.source.inputs, self.done as u64, self.up_to as u64, AT_ONCE).await?;
            let Some(last) = some.last() else { break };
            self.done = last.number as i64;
            for input in some {
                match input.what {
                    What::Bytes { link, bytes }
                    | What::Relayed { link, news: RelayNews::Bytes(bytes), .. } => {
                        self.links.entry(link).or_default().bytes.extend(bytes);
                    }
                    What::Lost { link, bytes, .. }
                    | What::Relayed { link, news: RelayNews::Lost { bytes, .. }, .. } => {
                        self.links.entry(link).or_default().lost(bytes);
                    }
                    _ => {}
                }
            }
        }
        let Some(window) = self.links.get_mut(link) else { return Ok(None) };
        let behind = offset.saturating_sub(BEHIND);
        if behind > window.begins {
            let gone = (behind - window.begins).min(window.bytes.len() as u64);
            window.bytes.drain(..gone as usize);
            window.begins += gone;
        }
        if offset < window.begins || ends > window.ends() {
            return Ok(None);
        }
        let from = (offset - window.begins) as usize;
        Ok(Some(window.bytes.range(from..from + length as usize).copied().collect()))
    }
}
