//! `loftwatch check`: reads a data folder whole. Are the files whole, is any input missing, and are the stored outputs
//! those that the inputs lead to, to the bit?
//!
//! Nothing is written. Every stored output is compared with the one of the same number that the engine puts out now;
//! what that comes to is said flight by flight, with a digest (FNV-1a, 64 bit, over all kept outputs in order) by which
//! two copies of a flight can be told to be the same.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::Path;

use loftwatch_engine::{Engine, Input, Output, RelayNews, What};
use sqlx::{Row, SqlitePool};

use crate::failure::Failure;
use crate::store::{StoreError, derived, fnv1a_64, folder, inputs};
use crate::{lists, travel};

/// Inputs read in one go.
const READ_AT_ONCE: u32 = 2_000;
/// Stored outputs read in one go.
const OUTPUTS_AT_ONCE: i64 = 5_000;
/// Damage that is told, pieces.
const DAMAGE_TOLD: i64 = 10;

/// Does it, for the folder's own store and those of flights from elsewhere; fails if anything is not as it should be.
pub(crate) async fn run(data: &Path) -> Result<(), Failure> {
    let mut said = String::new();
    let mut wrong = Vec::new();
    for (visitor, place) in travel::stores(data) {
        if let Some(visitor) = visitor {
            let _ = writeln!(said, "\nfrom elsewhere, flight {}:", travel::shown(visitor, 1));
        }
        store(&place, &mut said, &mut wrong).await?;
    }
    lists::print(&said)?;
    if wrong.is_empty() {
        return Ok(());
    }
    Err(Failure::data(format!("{}\nnothing was changed", wrong.join("\n"))))
}

/// Reads one store whole.
async fn store(data: &Path, said: &mut String, wrong: &mut Vec<String>) -> Result<(), Failure> {
    let (pool, file) = inputs::readers_of_stored(data).await?;
    let before = wrong.len();
    integrity(&pool, &file, said, wrong).await?;
    let outputs = match derived::readers_of_stored(data) {
        Ok(outputs) => Some(outputs),
        Err(error @ StoreError::Outdated { .. }) => {
            let _ = writeln!(said, "{error}");
            None
        }
        Err(error) => {
            wrong.push(error.to_string());
            None
        }
    };
    let derived_file = folder::derived(data);
    if let Some(outputs) = &outputs {
        integrity(outputs, &derived_file, said, wrong).await?;
    }
    // What is damaged is not computed from.
    if wrong.len() == before {
        let mut account = Account::default();
        let compared = account
            .compare(&pool, &file, outputs.as_ref().map(|pool| (pool, derived_file.as_path())))
            .await?;
        account.tell(said);
        if account.doubled > 0 {
            wrong.push(format!("{} inputs of remote receivers came twice or out of order", account.doubled));
        }
        if let Some(compared) = compared {
            compared.tell(said, wrong);
        }
    }
    pool.close().await;
    if let Some(outputs) = outputs {
        outputs.close().await;
    }
    Ok(())
}

/// SQLite's own look at every page and index.
async fn integrity(
    pool: &SqlitePool,
    file: &Path,
    said: &mut String,
    wrong: &mut Vec<String>,
) -> Result<(), Failure> {
    let rows = sqlx::query_scalar::<_, String>(sqlx::AssertSqlSafe(format!(
        "PRAGMA integrity_check({DAMAGE_TOLD})"
    )))
    .fetch_all(pool)
    .await
    .map_err(StoreError::sql(file, "being checked"))?;
    let megabytes = std::fs::metadata(file).map_or(0.0, |about| about.len() as f64 / 1e6);
    if rows == ["ok"] {
        let _ = writeln!(said, "`{}`, {megabytes:.1} MB: whole", file.display());
    } else {
        let damaged = StoreError::Damaged { file: file.to_owned(), why: rows.join("; ") };
        wrong.push(damaged.to_string());
    }
    Ok(())
}

/// What the inputs come to.
#[derive(Default)]
struct Account {
    inputs: u64,
    first: u64,
    last: u64,
    /// Missing numbers: first and last of each gap, at most [`DAMAGE_TOLD`] of them, and how many in all.
    gaps: Vec<(u64, u64)>,
    missing: u64,
    bytes: BTreeMap<String, u64>,
    lost: BTreeMap<String, u64>,
    kinds: BTreeMap<&'static str, u64>,
    span: Option<(i64, i64)>,
    backwards: u64,
    /// Newest number of each remote receiver's store, by link.
    relayed: BTreeMap<(String, i64), u64>,
    /// Relayed inputs that came twice or out of order.
    doubled: u64,
}

impl Account {
    fn take(&mut self, input: &Input) {
        if self.inputs == 0 {
            self.first = input.number;
        } else if input.number > self.last + 1 {
            self.missing += input.number - self.last - 1;
            if (self.gaps.len() as i64) < DAMAGE_TOLD {
                self.gaps.push((self.last + 1, input.number - 1));
            }
        }
        self.inputs += 1;
        self.last = input.number;
        self.backwards += u64::from(self.span.is_some_and(|(_, last)| input.t_ns < last));
        self.span = Some((self.span.map_or(input.t_ns, |(first, _)| first), input.t_ns));
        let kind = match &input.what {
            What::Bytes { link, bytes } => {
                *self.bytes.entry(link.clone()).or_default() += bytes.len() as u64;
                "pieces of bytes"
            }
            What::Lost { link, bytes, .. } => {
                *self.lost.entry(link.clone()).or_default() += bytes;
                "losses"
            }
            What::Relayed { link, stamp, news } => {
                let newest = self.relayed.entry((link.clone(), stamp.store)).or_default();
                self.doubled += u64::from(stamp.number <= *newest);
                *newest = stamp.number.max(*newest);
                match news {
                    RelayNews::Bytes(bytes) => {
                        *self.bytes.entry(link.clone()).or_default() += bytes.len() as u64;
                        "relayed pieces of bytes"
                    }
                    RelayNews::Lost { bytes, .. } => {
                        *self.lost.entry(link.clone()).or_default() += bytes;
                        "losses at a remote receiver"
                    }
                    RelayNews::LinkState { .. } | RelayNews::Started => "states of a remote receiver",
                }
            }
            What::LinkState { .. } => "link states",
            What::SetupChange(_) | What::SetupByCrew { .. } => "setups",
            What::MendSetup { .. } => "setups mended afterwards",
            What::Started => "starts",
            _ => "presses of the crew",
        };
        *self.kinds.entry(kind).or_default() += 1;
    }

    fn tell(&self, said: &mut String) {
        let kinds: Vec<String> = self.kinds.iter().map(|(kind, count)| format!("{count} {kind}")).collect();
        let hours = self.span.map_or(0.0, |(first, last)| (last - first) as f64 / 3.6e12);
        let _ = writeln!(
            said,
            "{} inputs, numbers {} to {}, over {hours:.2} h: {}",
            self.inputs,
            self.first,
            self.last,
            kinds.join(", ")
        );
        for (link, bytes) in &self.bytes {
            let lost = match self.lost.get(link) {
                Some(lost) => format!("; {lost} bytes more were received and lost, as was said then"),
                None => String::new(),
            };
            let _ = writeln!(said, "link {link}: {bytes} bytes{lost}");
        }
        if self.missing == 0 {
            let _ = writeln!(said, "no input is missing");
        } else {
            let gaps: Vec<String> = self.gaps.iter().map(|(from, to)| format!("{from} to {to}")).collect();
            let more = if (self.gaps.len() as i64) < DAMAGE_TOLD { "" } else { ", ..." };
            let _ = writeln!(
                said,
                "{} inputs never reached the disk: numbers {}{more}",
                self.missing,
                gaps.join(", ")
            );
        }
        if self.backwards > 0 {
            let _ = writeln!(said, "station time went back {} times, which it never should", self.backwards);
        }
    }

    /// Goes through all inputs, and compares what they lead to with what is stored.
    async fn compare(
        &mut self,
        pool: &SqlitePool,
        file: &Path,
        outputs: Option<(&SqlitePool, &Path)>,
    ) -> Result<Option<Compared>, Failure> {
        let read = |error| Failure::from(StoreError::sql(file, "being read")(error));
        let first = inputs::first_setup(pool).await.map_err(read)?;
        let (Some((first, setup)), Some((stored, stored_file))) = (first, outputs) else {
            self.all(pool, file).await?;
            return Ok(None);
        };
        let mut engine = Engine::new(setup, first.t_ns);
        let mut stored = Stored::new(stored, stored_file).await?;
        let mut compared = Compared::default();
        let mut out = Vec::new();
        let mut done = 0;
        loop {
            let some = inputs::read(pool, done, u64::MAX, READ_AT_ONCE).await.map_err(read)?;
            let Some(last) = some.last() else { break };
            done = last.number;
            for input in some {
                self.take(&input);
                if input.number >= first.number {
                    engine.step(&input, &mut out);
                }
            }
            compared.take(&mut out, &mut stored).await?;
        }
        // What came of waiting after the last input.
        engine.advance(stored.last_t_ns, &mut out);
        compared.take(&mut out, &mut stored).await?;
        compared.more_stored = stored.left().await?;
        Ok(Some(compared))
    }

    async fn all(&mut self, pool: &SqlitePool, file: &Path) -> Result<(), Failure> {
        let mut done = 0;
        loop {
            let some = inputs::read(pool, done, u64::MAX, READ_AT_ONCE)
                .await
                .map_err(StoreError::sql(file, "being read"))?;
            let Some(last) = some.last() else { return Ok(()) };
            done = last.number;
            for input in &some {
                self.take(input);
            }
        }
    }
}

/// A stored output, as it stands.
struct Kept {
    seq: u64,
    flight: u32,
    /// Everything of it that the engine decides.
    text: String,
}

/// Stored outputs in order.
struct Stored<'a> {
    pool: &'a SqlitePool,
    file: &'a Path,
    rows: std::collections::VecDeque<Kept>,
    read_to: i64,
    last_t_ns: i64,
}

impl<'a> Stored<'a> {
    async fn new(pool: &'a SqlitePool, file: &'a Path) -> Result<Self, Failure> {
        let last: Option<i64> = sqlx::query_scalar("SELECT max(t_ns) FROM output")
            .fetch_one(pool)
            .await
            .map_err(StoreError::sql(file, "being read"))?;
        Ok(Self {
            pool,
            file,
            rows: std::collections::VecDeque::new(),
            read_to: 0,
            last_t_ns: last.unwrap_or(0),
        })
    }

    /// The next one, not taken yet.
    async fn next(&mut self) -> Result<Option<&Kept>, Failure> {
        if self.rows.is_empty() {
            let read = |error| Failure::from(StoreError::sql(self.file, "being read")(error));
            let rows = sqlx::query(
                "SELECT seq, input, t_ns, t_receive_ns, utc_offset_ns, flight, data FROM output WHERE seq > ? ORDER BY seq LIMIT ?",
            )
            .bind(self.read_to)
            .bind(OUTPUTS_AT_ONCE)
            .fetch_all(self.pool)
            .await
            .map_err(read)?;
            for row in rows {
                let seq: i64 = row.try_get("seq").map_err(read)?;
                self.read_to = seq;
                let number = |name: &str| row.try_get::<i64, _>(name);
                let text = text(
                    number("input").map_err(read)?,
                    number("t_ns").map_err(read)?,
                    number("t_receive_ns").map_err(read)?,
                    number("utc_offset_ns").map_err(read)?,
                    row.try_get("data").map_err(read)?,
                );
                let flight = number("flight").map_err(read)? as u32;
                self.rows.push_back(Kept { seq: seq as u64, flight, text });
            }
        }
        Ok(self.rows.front())
    }

    async fn left(&mut self) -> Result<u64, Failure> {
        let mut left = 0;
        while self.next().await?.is_some() {
            left += self.rows.len() as u64;
            self.rows.clear();
        }
        Ok(left)
    }
}

fn text(input: i64, t_ns: i64, t_receive_ns: i64, utc_offset_ns: i64, data: &str) -> String {
    format!("{input} {t_ns} {t_receive_ns} {utc_offset_ns} {data}")
}

/// What the comparison came to.
#[derive(Default)]
struct Compared {
    /// Outputs computed so far.
    seq: u64,
    /// By flight: outputs kept, their digest, and the first that differs.
    flights: BTreeMap<u32, (u64, u64, Option<u64>)>,
    more_stored: u64,
}

impl Compared {
    async fn take(&mut self, out: &mut Vec<Output>, stored: &mut Stored<'_>) -> Result<(), Failure> {
        for output in out.drain(..) {
            self.seq += 1;
            let Some(row) = stored.next().await?.filter(|row| row.seq <= self.seq) else { continue };
            let data = serde_json::to_string(&output.what)
                .map_err(|error| Failure::other(format!("an output cannot be written as JSON: {error}")))?;
            let now =
                text(output.input as i64, output.t_ns, output.t_receive_ns, output.utc_offset_ns, &data);
            let same = row.seq == self.seq && row.flight == output.flight && row.text == now;
            let (kept, digest, differs) = self.flights.entry(row.flight).or_default();
            *kept += 1;
            *digest = fnv1a_64(format!("{digest:016x} {}", row.text).as_bytes());
            if !same {
                differs.get_or_insert(row.seq);
            }
            stored.rows.pop_front();
        }
        Ok(())
    }

    fn tell(&self, said: &mut String, wrong: &mut Vec<String>) {
        for (flight, (kept, digest, differs)) in &self.flights {
            let which =
                if *flight == 0 { "before any flight".to_owned() } else { format!("flight {flight}") };
            let verdict = match differs {
                None => "the same computed again".to_owned(),
                Some(seq) => format!("other than computed again, from output {seq} on"),
            };
            let _ = writeln!(said, "{which}: {kept} outputs kept, digest {digest:016x}, {verdict}");
            if differs.is_some() {
                wrong.push(format!(
                    "{which} is stored otherwise than its inputs lead to\nhint: `loftwatch rebuild` computes all of it again; the inputs are all there"
                ));
            }
        }
        if self.more_stored > 0 {
            wrong.push(format!(
                "{} stored outputs come of no stored input\nhint: `loftwatch rebuild` computes all of it again",
                self.more_stored
            ));
        }
    }
}
