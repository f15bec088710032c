//! Stored inputs in the order in which they were heard: what a remote receiver passed on late stands where it was heard over
//! there, not where it came in here. For a computation afterwards; live, late is late.
//!
//! The inputs of this station are in order of time by their numbers, and so are those of each relay by their heard times (see
//! [`loftwatch_engine::RelayStamp`]): rows of them are merged, a page of each in memory at a time.

use std::collections::VecDeque;

use loftwatch_engine::{Input, What};
use sqlx::SqlitePool;

use super::inputs;

/// Inputs of a row that are read in one go.
const READ_AT_ONCE: u32 = 2_000;

/// Reads them.
#[derive(Debug)]
pub(crate) struct Heard {
    pool: SqlitePool,
    rows: Vec<Row>,
    newest_ns: i64,
}

/// Inputs that are in order among each other.
#[derive(Debug)]
struct Row {
    /// The relay that passed them on; `None`: this station's own.
    relay: Option<String>,
    after: u64,
    read: VecDeque<Input>,
    ended: bool,
}

impl Heard {
    /// All inputs after number `after`.
    pub(crate) async fn after(pool: &SqlitePool, after: u64) -> Result<Self, sqlx::Error> {
        let relays = inputs::relays(pool).await?.into_iter().map(Some);
        let row = |relay| Row { relay, after, read: VecDeque::new(), ended: false };
        let rows = std::iter::once(None).chain(relays).map(row).collect();
        Ok(Self { pool: pool.clone(), rows, newest_ns: i64::MIN })
    }

    /// The next one, as if it had come in when it was heard; `None` at the end.
    pub(crate) async fn next(&mut self) -> Result<Option<Input>, sqlx::Error> {
        for row in &mut self.rows {
            if row.read.is_empty() && !row.ended {
                row.read = match &row.relay {
                    // Without a relay there is one row, and no need to look at who passed what on.
                    None => inputs::read_own(&self.pool, row.after, READ_AT_ONCE).await?.into(),
                    Some(link) => {
                        inputs::read_relayed(&self.pool, link, row.after, READ_AT_ONCE).await?.into()
                    }
                };
                row.after = row.read.back().map_or(row.after, |input| input.number);
                row.ended = row.read.is_empty();
            }
        }
        let first = |row: &&mut Row| row.read.front().map(|input| (heard_ns(input), input.number));
        let Some(row) = self.rows.iter_mut().filter(|row| !row.read.is_empty()).min_by_key(first) else {
            return Ok(None);
        };
        let Some(input) = row.read.pop_front() else { return Ok(None) };
        let t_ns = heard_ns(&input).max(self.newest_ns);
        self.newest_ns = t_ns;
        // The wall clock beside it is that moment's, too.
        let utc_ns = input.utc_ns - (input.t_ns - t_ns);
        Ok(Some(Input { t_ns, utc_ns, ..input }))
    }
}

fn heard_ns(input: &Input) -> i64 {
    match &input.what {
        What::Relayed { stamp, .. } => stamp.heard_ns,
        _ => input.t_ns,
    }
}

#[cfg(test)]
mod tests {
    use loftwatch_engine::{RelayNews, RelayStamp};

    use super::*;
    use crate::store::Folder;

    fn own(number: u64, t_ns: i64) -> Input {
        let what = What::Bytes { link: "mast".to_owned(), bytes: vec![number as u8] };
        Input { number, t_ns, utc_ns: t_ns + 7, what }
    }

    fn relayed(number: u64, t_ns: i64, link: &str, heard_ns: i64) -> Input {
        let stamp = RelayStamp { store: 1, number, far_ns: heard_ns, heard_ns };
        let what = What::Relayed { link: link.to_owned(), stamp, news: RelayNews::Bytes(vec![number as u8]) };
        Input { number, t_ns, utc_ns: t_ns + 7, what }
    }

    #[tokio::test]
    async fn what_came_late_stands_where_it_was_heard() {
        let folder = tempfile::tempdir().unwrap();
        let taken = Folder::take(folder.path()).unwrap();
        let mut store = inputs::open(&taken.inputs()).await.unwrap();
        let all = [
            own(1, 100),
            own(2, 200),
            relayed(3, 300, "ridge", 150),
            relayed(4, 310, "ridge", 150),
            relayed(5, 320, "hill", 90),
            own(6, 400),
            relayed(7, 500, "ridge", 390),
            relayed(8, 510, "hill", 395),
        ];
        inputs::write(&mut store, &all).await.unwrap();
        let pool = inputs::readers(&taken.inputs());
        let mut heard = Heard::after(&pool, 0).await.unwrap();
        let mut found = Vec::new();
        while let Some(input) = heard.next().await.unwrap() {
            assert_eq!(input.utc_ns - input.t_ns, 7);
            found.push((input.number, input.t_ns));
        }
        assert_eq!(found, [(5, 90), (1, 100), (3, 150), (4, 150), (2, 200), (7, 390), (8, 395), (6, 400)]);
        let mut later = Heard::after(&pool, 6).await.unwrap();
        assert_eq!(later.next().await.unwrap().unwrap().number, 7);
    }

    #[tokio::test]
    async fn without_a_relay_they_come_as_they_are_stored() {
        let folder = tempfile::tempdir().unwrap();
        let taken = Folder::take(folder.path()).unwrap();
        let mut store = inputs::open(&taken.inputs()).await.unwrap();
        let all: Vec<Input> = (1..=5_000).map(|number| own(number, number as i64 * 10)).collect();
        inputs::write(&mut store, &all).await.unwrap();
        let pool = inputs::readers(&taken.inputs());
        let mut heard = Heard::after(&pool, 0).await.unwrap();
        for wanted in all {
            assert_eq!(heard.next().await.unwrap(), Some(wanted));
        }
        assert_eq!(heard.next().await.unwrap(), None);
    }
}
