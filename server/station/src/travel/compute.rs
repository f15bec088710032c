//! What inputs come to: how many outputs a station keeps of them, and their digest.

use loftwatch_engine::{Engine, Input, Output, Said, Setup, What};
use sqlx::{Row, SqlitePool};

use crate::store::fnv1a_64;
use crate::store::kept::Kept;

/// The outputs of a flight's inputs, taken in order.
pub(super) struct Account {
    engine: Engine,
    kept: Kept,
    out: Vec<Output>,
    pub(super) outputs: u64,
    digest: u64,
    ended: bool,
}

impl Account {
    /// Begins with the first input, which tells the setup, as a station does.
    pub(super) fn begin(setup: &Setup, first: &Input) -> Self {
        let engine = Engine::new(setup.clone(), first.t_ns);
        let mut account =
            Self { engine, kept: Kept::default(), out: Vec::new(), outputs: 0, digest: 0, ended: false };
        account.take(first);
        account
    }

    pub(super) fn take(&mut self, input: &Input) {
        self.engine.step(input, &mut self.out);
        self.count();
    }

    /// Lets the deadlines up to an instant happen; says whether the flight has ended then.
    pub(super) fn advance(&mut self, to_ns: i64) -> bool {
        self.engine.advance(to_ns, &mut self.out);
        self.count();
        self.ended
    }

    pub(super) fn digest(&self) -> String {
        format!("{:016x}", self.digest)
    }

    fn count(&mut self) {
        for output in self.out.drain(..) {
            if let Said::Flight(state) = &output.what {
                self.ended = state.ended_ns.is_some();
            }
            if self.kept.keep(&output) {
                self.outputs += 1;
                // What cannot be written as JSON is not kept by a store either.
                let data = serde_json::to_string(&output.what).unwrap_or_default();
                self.digest = next(self.digest, &text(&output, &data));
            }
        }
    }
}

/// The same of outputs that are stored.
pub(super) async fn of_stored(readers: &SqlitePool) -> Result<(u64, String), sqlx::Error> {
    let (mut outputs, mut digest, mut after) = (0, 0, 0_i64);
    loop {
        let rows = sqlx::query(
            "SELECT seq, input, t_ns, t_receive_ns, utc_offset_ns, flight, data FROM output WHERE seq > ? ORDER BY seq LIMIT 5000",
        )
        .bind(after)
        .fetch_all(readers)
        .await?;
        if rows.is_empty() {
            return Ok((outputs, format!("{digest:016x}")));
        }
        for row in &rows {
            let number = |name: &str| row.try_get::<i64, _>(name);
            after = number("seq")?;
            let text = format!(
                "{} {} {} {} {} {}",
                number("input")?,
                number("t_ns")?,
                number("t_receive_ns")?,
                number("utc_offset_ns")?,
                number("flight")?,
                row.try_get::<&str, _>("data")?
            );
            outputs += 1;
            digest = next(digest, &text);
        }
    }
}

/// The press that ends a flight which its own inputs leave open.
pub(super) fn ending(number: u64, t_ns: i64, utc_ns: i64) -> Input {
    Input { number, t_ns, utc_ns, what: What::EndFlight { who: "Loftwatch, for the flight file".to_owned() } }
}

fn text(output: &Output, data: &str) -> String {
    let Output { input, t_ns, t_receive_ns, utc_offset_ns, flight, .. } = output;
    format!("{input} {t_ns} {t_receive_ns} {utc_offset_ns} {flight} {data}")
}

fn next(digest: u64, text: &str) -> u64 {
    fnv1a_64(format!("{digest:016x} {text}").as_bytes())
}
