//! What the parts of a running station hold in common: the face between the shell and the web.
//!
//! Everything here is either a message (watch channels, the ring) or a read-only pool; nobody but the recorder
//! writes the store, nobody but the engine's task owns the engine.

mod disk;

use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;

use loftwatch_engine::{Setup, What};
use sqlx::SqlitePool;
use tokio::sync::{mpsc, watch};

use crate::clock::Clock;
use crate::crew::Crew;
use crate::hindsight::Hindsight;
use crate::hub::Hub;
use crate::playback::Briefs;
use crate::ring::Ring;
use crate::setup::Wanted;
use crate::show::Show;
use crate::tls::Tls;
use crate::travel::Visitors;
use crate::web::Crowd;

pub(crate) use disk::Disk;

/// The running station, as its parts and the web see it.
#[derive(Debug)]
pub(crate) struct Shared {
    /// Newest outputs, for those who watch.
    pub(crate) hub: Arc<Hub>,
    /// The sockets that watch what is live.
    pub(crate) crowd: Arc<Crowd>,
    /// Read-only connections to the derived store (migrations/derived/schema.sql: tables `output`, `flight`).
    pub(crate) readers: SqlitePool,
    /// Read-only connections to the inputs (table `input`).
    pub(crate) inputs_readers: SqlitePool,
    /// The setup in force and what is wrong with a newer one, if anything.
    pub(crate) setup: watch::Receiver<Arc<SetupNow>>,
    /// Station time.
    pub(crate) clock: Clock,
    /// Station time, ns, of zero on the axis of the `*_s` times inside outputs; fixed for the life of a store.
    pub(crate) epoch_ns: i64,
    /// When it was started, station time ns.
    pub(crate) started_ns: i64,
    /// What lists say of flights, kept so that it need not be read again.
    pub(crate) briefs: Briefs,
    /// Turns true when the station is about to end: sockets then say goodbye.
    pub(crate) ending: watch::Receiver<bool>,
    /// The way in; see [`Shared::press`].
    pub(crate) ring: Arc<Ring>,
    /// The show, when there is one.
    pub(crate) show: Arc<Show>,
    /// Who may act.
    pub(crate) crew: Arc<Crew>,
    /// Where the pages are served.
    pub(crate) listening: SocketAddr,
    /// The archive of map tiles, if the crew brought one.
    pub(crate) map: Option<PathBuf>,
    /// The data folder.
    pub(crate) data: PathBuf,
    /// Files that were made to be handed out.
    pub(crate) spool: crate::export::spool::Spool,
    /// Ended flights with hindsight.
    pub(crate) hindsight: Hindsight,
    /// HTTPS, where it can be had.
    pub(crate) tls: Option<Arc<Tls>>,
    /// Where copies of vehicles are kept.
    pub(crate) vehicles: PathBuf,
    /// What is worked out of the setup before a flight.
    pub(crate) prepared: crate::prepared::Desk,
    /// Where texts for the setup file go: to who looks after it.
    pub(crate) setups: mpsc::Sender<Wanted>,
    /// Flights from elsewhere.
    pub(crate) visitors: Visitors,
    /// This is the store of one of them, beside the station's own.
    pub(crate) visitor: Option<OfVisitor>,
}

/// What the store of a visiting flight has of its own.
#[derive(Debug)]
pub(crate) struct OfVisitor {
    /// Its number among them.
    pub(crate) number: u32,
    /// Held by who writes into it: it has no recorder.
    pub(crate) writing: tokio::sync::Mutex<()>,
}

impl Shared {
    /// A crew member's press of a button: recorded, then given to the engine. `false`: no room, nothing was done.
    pub(crate) fn press(&self, what: What) -> bool {
        self.ring.push(what)
    }
}

/// The setup in force.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct SetupNow {
    /// As meant.
    pub(crate) setup: Setup,
    /// The file it came from, if any.
    pub(crate) path: Option<PathBuf>,
    /// The file has changed since and is wrong: all mistakes, for people. The setup in force stays.
    pub(crate) complaint: Option<String>,
}

/// The state of the store.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Status {
    /// Station time of the oldest input that is not on the disk though the engine has acted on it.
    pub(crate) not_kept_since_ns: Option<i64>,
    /// What is wrong with the disk, if anything.
    pub(crate) disk: Option<Disk>,
    /// How long the room on the disk lasts at the pace at which the folder grows, s, if that is less than a day.
    pub(crate) room_for_s: Option<f64>,
    /// Inputs that never reached the disk and never will, and their bytes.
    pub(crate) lost_inputs: u64,
    /// See `lost_inputs`.
    pub(crate) lost_bytes: u64,
    /// The engine is still working through stored inputs: how many are left.
    pub(crate) catching_up: Option<u64>,
    /// Stored outputs have a hole that is being, or will be, filled by computing them again.
    pub(crate) outputs_incomplete: bool,
}

/// The state of one link.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct LinkStatus {
    /// Name.
    pub(crate) name: String,
    /// Whether it is up.
    pub(crate) up: bool,
    /// Why, in words.
    pub(crate) reason: String,
}
