//! The engine's task, on a thread of its own: it takes what the recorder hands over, lets deadlines happen, and
//! passes on what comes out, first to the hub, then to the store.
//!
//! Inputs that it has not been handed (a restart, a queue that was full) it reads from the store, found by the gap
//! in the numbers. When a deadline is due it asks the recorder for a watermark instead of trusting the clock, so
//! that an input already stamped but not yet handed over can never come after a deadline that it precedes.

#[cfg(test)]
pub(crate) mod tests;

use std::path::PathBuf;
use std::sync::Arc;
use std::time::Instant;

use loftwatch_engine::{Engine, Input, Output, Said};
use sqlx::SqlitePool;
use tokio::sync::{mpsc, watch};

use crate::shared::{Shared, Status};
use crate::store::derived::{self, Snapshot};
use crate::store::inputs;
use crate::store::outputs::{Frozen, Keeper, Told};
use crate::store::recorder::Taken;

/// Spacing of snapshots, ns of engine time.
const SNAPSHOT_APART_NS: i64 = 5_000_000_000;
/// Inputs read from the store in one go.
const READ_AT_ONCE: u32 = 2_000;
/// Outputs that are passed on together while catching up.
const PASS_ON_AT: usize = 1_000;

/// The engine and its place among inputs and outputs.
#[derive(Debug)]
pub(crate) struct Runner {
    engine: Engine,
    /// Number of the last input taken.
    done: u64,
    /// Sequence number of the next output.
    next_seq: u64,
    setup_hash: i64,
    next_snapshot_ns: i64,
    /// Outputs not yet passed on.
    out: Vec<Output>,
    around: Around,
}

/// What a runner has beside its engine.
#[derive(Debug)]
pub(crate) struct Around {
    /// Those who watch; `None` when nobody can.
    pub(crate) shared: Option<Arc<Shared>>,
    /// Who keeps the outputs.
    pub(crate) keeper: Keeper,
    /// The inputs, for reading.
    pub(crate) store: SqlitePool,
    /// Their file, for messages.
    pub(crate) inputs_file: PathBuf,
    /// The state of the store.
    pub(crate) status: watch::Sender<Status>,
}

impl Runner {
    /// Goes on from a snapshot, or begins with the first setup, which input `first` records.
    pub(crate) fn new(snapshot: Option<Snapshot>, first: &Input, around: Around) -> Option<Self> {
        let (engine, done, next_seq) = if let Some(snapshot) = snapshot {
            (snapshot.engine, snapshot.input, snapshot.next_seq)
        } else {
            (Engine::new(first.what.setup()?.clone(), first.t_ns), first.number.saturating_sub(1), 1)
        };
        let mut runner = Self {
            engine,
            done,
            next_seq,
            setup_hash: 0,
            next_snapshot_ns: i64::MIN,
            out: Vec::new(),
            around,
        };
        runner.tell_setup();
        Some(runner)
    }

    /// Runs until the recorder ends.
    pub(crate) async fn live(mut self, mut taken: mpsc::Receiver<Taken>, shared: Arc<Shared>, up_to: u64) {
        self.catch_up(up_to).await;
        shared.hub.count(self.engine.links());
        let mut asked = false;
        loop {
            let wait = self.engine.wants().filter(|_| !asked).map(|t_ns| shared.clock.until(t_ns));
            tokio::select! {
                next = taken.recv() => {
                    asked = false;
                    match next {
                        Some(next) => self.take(&next).await,
                        None => break,
                    }
                }
                () = tokio::time::sleep(wait.unwrap_or_default()), if wait.is_some() => {
                    asked = true;
                    shared.ring.ask_for_watermark();
                }
            }
        }
        self.freeze(shared.clock.now_ns());
    }

    async fn take(&mut self, taken: &Taken) {
        let way = taken.inputs.first().filter(|_| tracing::enabled!(target: "way", tracing::Level::TRACE));
        let begun_ns = way.map(|_| self.now_ns());
        let before = taken.inputs.first().map_or(taken.newest, |first| first.number - 1);
        if before > self.done {
            self.catch_up(before).await;
        }
        for input in taken.inputs.iter() {
            if input.number > self.done {
                self.step(input);
            }
        }
        let stepped_ns = way.map(|_| self.now_ns());
        self.engine.advance(taken.watermark_ns, &mut self.out);
        let advanced_ns = way.map(|_| self.now_ns());
        self.pass_on();
        if let (Some(first), Some(begun), Some(stepped), Some(advanced)) =
            (way, begun_ns, stepped_ns, advanced_ns)
        {
            // The first stretches of the way from byte to pixel, us: tests/browser measures the rest.
            let us = |to: i64, from: i64| (to - from) / 1_000;
            tracing::trace!(target: "way", input = first.number, t_ns = first.t_ns, kept_us = us(begun, first.t_ns),
                step_us = us(stepped, begun), advance_us = us(advanced, stepped), told_us = us(self.now_ns(), advanced));
        }
        if taken.watermark_ns >= self.next_snapshot_ns {
            self.freeze(taken.watermark_ns);
        }
    }

    /// Station time, ns; 0 where there is no station.
    fn now_ns(&self) -> i64 {
        self.around.shared.as_ref().map_or(0, |shared| shared.clock.now_ns())
    }

    fn step(&mut self, input: &Input) {
        if input.what.setup().is_some() {
            self.pass_on();
            self.engine.step(input, &mut self.out);
            self.tell_setup();
        } else {
            self.engine.step(input, &mut self.out);
        }
        self.done = input.number;
    }

    /// Takes stored inputs up to number `up_to`.
    pub(crate) async fn catch_up(&mut self, up_to: u64) {
        let started = Instant::now();
        let from = self.done;
        let mut said = started;
        while self.done < up_to {
            let read = match inputs::read(&self.around.store, self.done, up_to, READ_AT_ONCE).await {
                Ok(read) => read,
                Err(error) => {
                    tracing::error!(
                        "`{}` cannot be read after input {} ({error}); the engine goes on with what comes in",
                        self.around.inputs_file.display(),
                        self.done
                    );
                    break;
                }
            };
            if read.is_empty() {
                // They never reached the disk: the station ended, or the disk was full, before they did.
                break;
            }
            for input in &read {
                self.step(input);
                if self.out.len() >= PASS_ON_AT {
                    self.pass_on();
                }
                if input.t_ns >= self.next_snapshot_ns {
                    self.freeze(input.t_ns);
                }
            }
            self.pass_on();
            while self.around.keeper.is_busy() {
                tokio::time::sleep(std::time::Duration::from_millis(20)).await;
            }
            let left = up_to - self.done;
            self.around.status.send_modify(|status| status.catching_up = Some(left));
            if said.elapsed().as_secs() >= 2 {
                said = Instant::now();
                tracing::info!("computing again from the stored inputs: {left} left");
            }
        }
        self.done = self.done.max(up_to);
        self.around.status.send_modify(|status| status.catching_up = None);
        tracing::info!(
            "{} stored inputs computed in {:.2} s",
            self.done - from,
            started.elapsed().as_secs_f64()
        );
    }

    fn pass_on(&mut self) {
        if self.out.is_empty() {
            return;
        }
        let outputs = std::mem::take(&mut self.out);
        if let Some(shared) = &self.around.shared {
            if outputs.iter().any(|output| matches!(output.what, Said::Radio(_))) {
                shared.hub.count(self.engine.links());
            }
            shared.hub.take(&outputs);
        }
        if outputs.iter().any(|output| is_liftoff(&output.what)) {
            // The engine is frozen as soon as this batch is through.
            self.next_snapshot_ns = i64::MIN;
        }
        let first_seq = self.next_seq;
        self.next_seq += outputs.len() as u64;
        self.around.keeper.tell(Told::Outputs { first_seq, outputs });
    }

    fn tell_setup(&mut self) {
        self.setup_hash = derived::setup_hash(&self.engine);
        let setup = self.engine.setup();
        match serde_json::to_string(setup) {
            Ok(json) => self.around.keeper.tell(Told::Setup {
                json: json.into(),
                vehicle: setup.vehicle_name.clone(),
                site: setup.site_name.clone(),
            }),
            Err(error) => tracing::error!("the setup cannot be written as JSON: {error}"),
        }
    }

    /// Lets every deadline up to an instant happen: no input of before will come.
    pub(crate) fn advance(&mut self, to_ns: i64) {
        self.engine.advance(to_ns, &mut self.out);
        self.pass_on();
    }

    /// Keeps the engine as it is now, at station time `t_ns`.
    pub(crate) fn freeze(&mut self, t_ns: i64) {
        self.pass_on();
        self.next_snapshot_ns = t_ns + SNAPSHOT_APART_NS;
        match postcard::to_stdvec(&self.engine) {
            Ok(state) => self.around.keeper.tell(Told::Snapshot(Frozen {
                input: self.done,
                t_ns,
                next_seq: self.next_seq,
                setup_hash: self.setup_hash,
                state,
            })),
            Err(error) => tracing::error!("the engine cannot be frozen: {error}; a restart will take longer"),
        }
    }
}

/// Whether this says that a flight has lifted off.
fn is_liftoff(said: &Said) -> bool {
    matches!(said, Said::Event { event, .. } if event.kind == loftwatch_flight::EventKind::Liftoff && !event.withdrawn)
}
