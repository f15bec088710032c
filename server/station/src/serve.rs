//! A running station, put together: setup, store, recorder, engine, links, pages, in this order, and taken apart
//! again in the reverse one.

use std::io::{IsTerminal as _, Write as _};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use loftwatch_engine::{Input, Output, Setup, What};
use tokio::net::TcpListener;
use tokio::signal::unix::{Signal, SignalKind, signal};
use tokio::sync::{mpsc, watch};

use crate::addresses;
use crate::clock::{Clock, utc_now_ns};
use crate::crew::Crew;
use crate::failure::Failure;
use crate::hindsight;
use crate::hub::Hub;
use crate::links::{Desk, Links, Pause};
use crate::map;
use crate::mdns::{self, Announced};
use crate::playback::{self, Briefs};
use crate::relay::{self, Caller, PassOn, Passing};
use crate::ring::Ring;
use crate::run::{Around, Runner};
use crate::setup;
use crate::shared::{SetupNow, Shared, Status};
use crate::show::Show;
use crate::store::{Folder, StoreError, derived, inputs, outputs, recorder, remarks, room, sync};
use crate::threads;
use crate::tls::Tls;
use crate::travel::Visitors;
use crate::web;

/// Files that may be open: the viewers of a full house, and what the program itself needs.
const MOST_FILES: u64 = 10_000;

/// Files that are better with hindsight, which takes seconds, wait so long for it.
pub(crate) const WAIT_FOR_HINDSIGHT: Duration = Duration::from_mins(1);

/// What a station is to be.
#[derive(Debug)]
pub(crate) struct Plan {
    /// The setup in force from the start.
    pub(crate) setup: Setup,
    /// The file it came from; watched for changes.
    pub(crate) setup_file: PathBuf,
    /// The data folder.
    pub(crate) data: PathBuf,
    /// The archive of map tiles.
    pub(crate) map: Option<PathBuf>,
    /// Whether to rename what is there and start afresh.
    pub(crate) set_aside: bool,
    /// What is passed on to other stations.
    pub(crate) pass_on: Vec<PassOn>,
    /// The file with the key for that.
    pub(crate) key: Option<PathBuf>,
}

/// Binds the address of the pages.
pub(crate) async fn bind(listen: SocketAddr) -> Result<TcpListener, Failure> {
    TcpListener::bind(listen).await.map_err(|error| {
        Failure::port(format!(
            "the pages cannot be served at {listen}: {error}\nhint: another program (another station?) may use it; choose another one with --listen"
        ))
    })
}

/// Lets the program open as many files as the system allows it: each viewer needs one, and the usual soft limit is a
/// thousand. That it cannot be raised is no reason to end; further viewers are then refused.
fn open_many_files() {
    use nix::sys::resource::{Resource, getrlimit, setrlimit};
    if let Ok((soft, hard)) = getrlimit(Resource::RLIMIT_NOFILE)
        && soft < hard.min(MOST_FILES)
        && let Err(error) = setrlimit(Resource::RLIMIT_NOFILE, hard.min(MOST_FILES), hard)
    {
        tracing::debug!(%error, "no more than {soft} files can be open");
    }
}

/// Runs a station until the future that `up` makes completes. `up` is called once everything runs.
pub(crate) async fn run<End: Future<Output = ()>>(
    plan: Plan,
    listener: TcpListener,
    up: impl FnOnce(Arc<Shared>) -> End,
) -> Result<(), Failure> {
    let (passed_on, key) = passed_on(&plan)?;
    plan.map.as_deref().map_or(Ok(()), map::check)?;
    open_many_files();
    let folder = Folder::take(&plan.data)?;
    if plan.set_aside {
        for file in folder.set_aside(&stamp())? {
            tracing::info!("set aside: `{}`", file.display());
        }
    }
    let crew = Crew::open(folder.path())?;
    let file = folder.inputs();
    let mut store = inputs::open(&file).await?;
    let readers = inputs::readers(&file);
    let begin = begin(&mut store, &readers, &plan.setup, &file).await?;
    let stored = if plan
        .setup
        .links
        .iter()
        .any(|link| matches!(link.source, loftwatch_engine::setup::Source::File { .. }))
    {
        inputs::stored_bytes(&readers).await.map_err(StoreError::sql(&file, "being read"))?
    } else {
        std::collections::BTreeMap::new()
    };

    let kept_file = folder.derived();
    let mut kept = derived::open(&folder).await?;
    let snapshot = derived::newest_snapshot(&mut kept, begin.before)
        .await
        .map_err(StoreError::sql(&kept_file, "being read"))?;
    let (after, next_seq) = snapshot.as_ref().map_or((0, 1), |snapshot| (snapshot.input, snapshot.next_seq));
    derived::cut(&mut kept, after, next_seq).await.map_err(StoreError::sql(&kept_file, "being cut"))?;
    let kept_readers = derived::readers(&kept_file);
    let remembered = remembered(&kept_readers).await.map_err(StoreError::sql(&kept_file, "being read"))?;
    match begin.before {
        0 => tracing::info!("a new store in `{}`", folder.path().display()),
        before if after > 0 => {
            tracing::info!("{before} stored inputs, going on from a snapshot after input {after}");
        }
        before => tracing::info!(
            "{before} stored inputs and no snapshot to go on from: all of them are computed again"
        ),
    }

    let (status_in, status) = watch::channel(Status::default());
    let (ending_in, ending) = watch::channel(false);
    let ring = Arc::new(Ring::new(begin.clock, begin.last + 1));
    let (taken, on_disk, recording) = recorder::start(
        sync::to_disk,
        Arc::clone(&ring),
        store,
        file.clone(),
        begin.last,
        status_in.clone(),
        ending.clone(),
    );
    let room = tokio::spawn(room::watch(
        room::of_folder(folder.path().to_owned()),
        status_in.clone(),
        ending.clone(),
    ));
    let before = outputs::before(&mut kept).await.map_err(StoreError::sql(&kept_file, "being read"))?;
    let (mut keeper, keeping) = outputs::start(kept, kept_file.clone(), &before, status_in.clone());
    for flight in deleted(&readers, &kept_readers).await.map_err(StoreError::sql(&file, "being read"))? {
        keeper.tell(outputs::Told::Forget(flight));
    }
    let ends = inputs::relay_ends(&readers).await.map_err(StoreError::sql(&file, "being read"))?;
    let mut links = Links::new(Arc::clone(&ring), stored, Desk::new(ends, on_disk.clone()));
    let now = Arc::new(SetupNow {
        setup: plan.setup.clone(),
        path: Some(plan.setup_file.clone()),
        complaint: None,
    });
    let (setup_in, setup) = watch::channel(now);
    let (setups_in, setups) = mpsc::channel(1);
    let epoch_ns = begin.first.t_ns;
    let listening = listener.local_addr().map_err(|error| Failure::port(error.to_string()))?;
    let tls = match Tls::open(folder.path()) {
        Ok(tls) => Some(Arc::new(tls)),
        Err(error) => {
            tracing::warn!(
                "no HTTPS: {error}; the pages are served over plain HTTP. Move the file away to have a new one made"
            );
            None
        }
    };
    let (hindsight, looks_back) = hindsight::prepare(hindsight::Around {
        kept_file: kept_file.clone(),
        readers: kept_readers.clone(),
        store: readers.clone(),
        clock: begin.clock,
        ending: ending.clone(),
    });
    let looks_back = on_own_thread("hindsight", looks_back)?;
    let board = passed_on.iter().map(|(link, to)| Passing::new(link, to)).collect();
    let passing = watch::Sender::new(board);
    let shared = Arc::new(Shared {
        hub: Arc::new(Hub::new(
            begin.clock,
            epoch_ns,
            setup.clone(),
            status,
            links.watch(),
            passing.subscribe(),
        )),
        crowd: Arc::default(),
        readers: kept_readers,
        inputs_readers: readers.clone(),
        setup,
        clock: begin.clock,
        epoch_ns,
        started_ns: begin.started_ns,
        briefs: Briefs::default(),
        ending: ending.clone(),
        ring: Arc::clone(&ring),
        show: Arc::new(Show::default()),
        crew: Arc::new(crew),
        listening,
        map: plan.map,
        data: folder.path().to_owned(),
        spool: crate::export::spool::Spool::new(folder.path(), WAIT_FOR_HINDSIGHT),
        hindsight,
        tls,
        vehicles: plan.data.join("vehicles"),
        prepared: crate::prepared::Desk::default(),
        setups: setups_in,
        visitors: Visitors::default(),
        visitor: None,
    });
    shared.hub.take(&remembered);
    shared.visitors.open(&shared).await;
    let around = Around {
        shared: Some(Arc::clone(&shared)),
        keeper,
        store: readers,
        inputs_file: file.clone(),
        status: status_in,
    };
    let runner = Runner::new(snapshot, &begin.first, around)
        .ok_or_else(|| Failure::data(format!("`{}` does not begin with a setup", file.display())))?;
    let engine = on_own_thread("engine", runner.live(taken, Arc::clone(&shared), begin.last))?;

    setup::log_remarks(&plan.setup_file, &plan.setup);
    links.apply(&plan.setup.links);
    let _announced = Announced::new(listening);
    let pages = tokio::spawn(web::serve(listener, Arc::clone(&shared)));
    let watching = tokio::spawn(setup::watch(plan.setup_file, setup_in, Arc::clone(&ring), links, setups));
    let mut callers: Vec<_> = passed_on
        .into_iter()
        .map(|(link, to)| {
            let caller = Caller {
                link,
                to,
                key: key.clone(),
                store: epoch_ns,
                readers: shared.inputs_readers.clone(),
                kept: on_disk.clone(),
                clock: begin.clock,
                pause: Pause::new(),
                board: passing.clone(),
            };
            tokio::spawn(caller.run())
        })
        .collect();
    callers.push(tokio::spawn(relay::count(passing, shared.inputs_readers.clone(), on_disk.clone())));
    print_addresses(&shared, folder.path());
    tokio::select! {
        () = up(Arc::clone(&shared)) => {}
        stopped = pages => match stopped {
            Ok(Ok(())) => {}
            Ok(Err(error)) => tracing::error!("the pages are no longer served: {error}"),
            Err(error) => tracing::error!("the pages are no longer served: {error}"),
        }
    }

    tracing::info!("ending: what was received is written down");
    // Takes the links with it: nothing is pushed after the last drain.
    watching.abort();
    let _ = watching.await;
    for caller in callers {
        caller.abort();
        let _ = caller.await;
    }
    ending_in.send_replace(true);
    let _ = recording.await;
    let _ = room.await;
    let engine = tokio::task::spawn_blocking(move || engine.join()).await;
    if !matches!(engine, Ok(Ok(()))) {
        tracing::error!("the engine's thread has failed; the next start computes its outputs again");
    }
    let _ = keeping.await;
    let _ = tokio::task::spawn_blocking(move || looks_back.join()).await;
    // The last one out folds the write-ahead log into its file.
    shared.readers.close().await;
    shared.inputs_readers.close().await;
    inputs::fold(&file).await;
    inputs::fold(&kept_file).await;
    Ok(())
}

/// Links, each with an address.
type LinksTo = Vec<(String, String)>;

/// Each link that is passed on with the other station's address, and the key.
fn passed_on(plan: &Plan) -> Result<(LinksTo, Vec<u8>), Failure> {
    let names: Vec<&str> = plan.setup.links.iter().map(|link| link.name.as_str()).collect();
    let mut all = LinksTo::new();
    for PassOn { link, to } in &plan.pass_on {
        let link = match (link, &names[..]) {
            (None, [only]) => (*only).to_owned(),
            (Some(link), names) if names.contains(&link.as_str()) => link.clone(),
            _ => {
                return Err(Failure::usage(format!(
                    "--pass-on must name a link of the setup ({}), as in --pass-on \"{}={to}\"",
                    names.join(", "),
                    names.first().unwrap_or(&"LINK")
                )));
            }
        };
        all.push((link, to.clone()));
    }
    let key = plan.key.as_deref().map(relay::read).transpose().map_err(Failure::usage)?;
    Ok((all, key.unwrap_or_default()))
}

/// What those who watch were shown of the newest flight when the station ended: as after a seek to the end of a replay.
async fn remembered(readers: &sqlx::SqlitePool) -> Result<Vec<Output>, sqlx::Error> {
    let Some(number) = derived::newest_flight(readers).await? else { return Ok(Vec::new()) };
    match playback::flight(readers, number).await? {
        Some(flight) => playback::newest(readers, number, i64::MIN, i64::MAX, &flight.setup).await,
        None => Ok(Vec::new()),
    }
}

/// The flights that were deleted before this start, as far as anything of them is still there.
async fn deleted(inputs: &sqlx::SqlitePool, readers: &sqlx::SqlitePool) -> Result<Vec<u32>, sqlx::Error> {
    let remarks = remarks::read(inputs).await?;
    let flights = playback::flights(readers, None).await?;
    let gone = flights.iter().filter(|flight| remarks.of(flight).deleted_ns.is_some());
    Ok(gone.map(|flight| flight.number).collect())
}

/// How the store begins this time.
struct Begin {
    /// The input of the first recorded setup.
    first: Input,
    /// The newest input before this start.
    before: u64,
    /// The newest input now.
    last: u64,
    /// Station time of this start.
    started_ns: i64,
    clock: Clock,
}

/// Records the setup, if it is new, and the start.
async fn begin(
    store: &mut sqlx::SqliteConnection,
    readers: &sqlx::SqlitePool,
    setup: &Setup,
    file: &Path,
) -> Result<Begin, StoreError> {
    let read = |doing| StoreError::sql(file, doing);
    let end = inputs::end(readers).await.map_err(read("its end was read"))?;
    let newest = inputs::last_setup(readers).await.map_err(read("its newest setup was read"))?;
    let clock = Clock::after(end.t_ns);
    let mut new = Vec::new();
    let mut add = |what| {
        let number = end.number + 1 + new.len() as u64;
        let t_ns = clock.now_ns().max(end.t_ns + 1) + new.len() as i64;
        new.push(Input { number, t_ns, utc_ns: utc_now_ns(), what });
    };
    if newest.is_none_or(|(_, newest)| newest != *setup) {
        add(What::SetupChange(Box::new(setup.clone())));
    }
    add(What::Started);
    inputs::write(store, &new).await.map_err(read("the start was written down"))?;
    let first = inputs::first_setup(readers).await.map_err(read("its first setup was read"))?;
    let Some((first, _)) = first else {
        return Err(StoreError::Damaged { file: file.to_owned(), why: "it holds no setup".to_owned() });
    };
    let last = new.last().map_or(end.number, |input| input.number);
    let started_ns = new.last().map_or(end.t_ns, |input| input.t_ns);
    // The clock has run on meanwhile; the ring makes its times later than `last` in any case.
    Ok(Begin { first, before: end.number, last, started_ns, clock })
}

/// A thread with room for an engine, or why the station cannot go on.
fn on_own_thread(
    name: &str,
    task: impl Future<Output = ()> + Send + 'static,
) -> Result<std::thread::JoinHandle<()>, Failure> {
    threads::on_own_thread(name, || task)
        .map_err(|error| Failure::other(format!("no thread for the {name}: {error}")))
}

/// UTC now, fit for a file name.
fn stamp() -> String {
    jiff::Timestamp::now().strftime("%Y%m%d-%H%M%S").to_string()
}

/// Ctrl-C and SIGTERM, listened for from the moment this is made: one that comes during the start is not missed.
#[derive(Debug)]
pub(crate) struct Signals {
    interrupt: Signal,
    terminate: Signal,
}

impl Signals {
    /// Begins to listen.
    pub(crate) fn listen() -> Result<Self, Failure> {
        let on = |kind| {
            signal(kind)
                .map_err(|error| Failure::other(format!("the signals to end cannot be heard: {error}")))
        };
        Ok(Self { interrupt: on(SignalKind::interrupt())?, terminate: on(SignalKind::terminate())? })
    }

    /// Completes when one has come.
    pub(crate) async fn told_to_end(mut self) {
        tokio::select! {
            _ = self.interrupt.recv() => {}
            _ = self.terminate.recv() => {}
        }
    }
}

/// Says where the pages are, on standard output; in a terminal also the crew's code, as that is for the eyes of who stands
/// before it and for no log.
fn print_addresses(shared: &Shared, folder: &Path) {
    let (listening, code) = (shared.listening, &shared.crew.code());
    let addresses = addresses::reachable("http", listening);
    let mut out = std::io::stdout().lock();
    let terminal = out.is_terminal();
    let first = addresses.first().filter(|_| terminal);
    let watch = first.and_then(|first| addresses::qr(first)).unwrap_or_default();
    let crew = if terminal {
        let link = first.and_then(|first| addresses::qr(&addresses::crew_link(first, code)));
        format!("For crew alone: the code is {code}, or scan this to join\n{}", link.unwrap_or_default())
    } else {
        format!("The crew's code is in `{}`\n", folder.join("crew.json").display())
    };
    let name = if listening.ip().is_loopback() {
        String::new()
    } else {
        format!("Where the network carries names, also at http://{}:{}\n", mdns::NAME, listening.port())
    };
    let secure = shared.tls.as_ref().map_or_else(String::new, |tls| {
        format!(
            "HTTPS, too, once a device trusts this station: the page Device says how. SHA-256 {}\n",
            tls.fingerprint()
        )
    });
    let text = format!("Loftwatch is at {}\n{name}{secure}{watch}{crew}", addresses.join("  "));
    // Nobody reading is no reason to end.
    let _ = out.write_all(text.as_bytes()).and_then(|()| out.flush());
}
