//! How passing on stands, for those who watch the far end: in words, and how much the near end does not have yet.

use std::time::Duration;

use sqlx::{Row as _, SqlitePool};
use tokio::sync::watch;

/// How often it is counted.
const COUNT: Duration = Duration::from_secs(1);

/// One link that is passed on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Passing {
    /// Name of the link.
    pub(crate) link: String,
    /// host:port of the near end.
    pub(crate) to: String,
    /// Whether it is being passed on.
    pub(crate) up: bool,
    /// How it is, or why not.
    pub(crate) words: String,
    /// Number of the newest input that the near end has on its disk, once it has said so.
    pub(crate) there: Option<u64>,
    /// Pieces of bytes after that one, and their bytes.
    pub(crate) behind: Option<(u64, u64)>,
}

impl Passing {
    /// Before the first call.
    pub(crate) fn new(link: &str, to: &str) -> Self {
        let (link, to) = (link.to_owned(), to.to_owned());
        Self { link, to, up: false, words: "not called yet".to_owned(), there: None, behind: None }
    }
}

/// Where it is posted.
pub(crate) type Board = watch::Sender<Vec<Passing>>;

/// Counts what the near ends do not have yet; ends only when it is dropped. `kept`: number of the newest input on the disk.
pub(crate) async fn count(board: Board, readers: SqlitePool, kept: watch::Receiver<u64>) {
    let mut counts = vec![Behind::default(); board.borrow().len()];
    loop {
        let newest = *kept.borrow();
        let all = board.borrow().clone();
        for (at, (passing, count)) in all.iter().zip(&mut counts).enumerate() {
            let Some(there) = passing.there else { continue };
            if let Err(error) = count.follow(&readers, &passing.link, there, newest).await {
                tracing::debug!("what is not passed on yet cannot be counted: {error}");
                continue;
            }
            let behind = Some((count.pieces, count.bytes));
            board.send_if_modified(|board| {
                board[at].behind != behind && {
                    board[at].behind = behind;
                    true
                }
            });
        }
        tokio::time::sleep(COUNT).await;
    }
}

/// What lies between two numbers, kept up as both grow: each row is looked at twice, however long the way is broken.
#[derive(Clone, Copy, Debug, Default)]
struct Behind {
    after: u64,
    up_to: u64,
    pieces: u64,
    bytes: u64,
}

impl Behind {
    async fn follow(
        &mut self,
        readers: &SqlitePool,
        link: &str,
        after: u64,
        up_to: u64,
    ) -> Result<(), sqlx::Error> {
        let up_to = up_to.max(after);
        // The near end's store was put back, or another one is there.
        if after < self.after || after > self.up_to {
            *self = Self { after, up_to: after, pieces: 0, bytes: 0 };
        }
        let (more, more_bytes) = pieces(readers, link, self.up_to, up_to).await?;
        let (gone, gone_bytes) = pieces(readers, link, self.after, after).await?;
        *self = Self {
            after,
            up_to,
            pieces: (self.pieces + more).saturating_sub(gone),
            bytes: (self.bytes + more_bytes).saturating_sub(gone_bytes),
        };
        Ok(())
    }
}

/// Pieces of bytes of a link after `after` and up to `up_to`, and their bytes.
async fn pieces(readers: &SqlitePool, link: &str, after: u64, up_to: u64) -> Result<(u64, u64), sqlx::Error> {
    if up_to <= after {
        return Ok((0, 0));
    }
    let row = sqlx::query(
        "SELECT count(*) AS pieces, coalesce(sum(length(data)), 0) AS bytes FROM input \
         WHERE number > ? AND number <= ? AND kind = 'bytes' AND link = ?",
    )
    .bind(after as i64)
    .bind(up_to as i64)
    .bind(link)
    .fetch_one(readers)
    .await?;
    Ok((row.try_get::<i64, _>("pieces")? as u64, row.try_get::<i64, _>("bytes")? as u64))
}
