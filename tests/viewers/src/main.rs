//! How many viewers a station serves: pages' sockets by the thousand, each reading all that is sent, some of them not
//! reading at all, all on this machine and its cores. In the same run a bare fan-out sends messages of the same size at
//! the same rate to the same readers: what the sockets and the readers themselves cost.
//!
//! `viewers PROGRAM [VIEWERS ...]` starts `PROGRAM demo` anew for each number, so that the viewers come while the vehicle stands
//! on the pad and are counted while it flies, and prints a table. The time from a message's making (`utc_s` in it) to its
//! arrival is taken from every message of every tenth reader.

mod bare;
mod process;
mod readers;

use std::io::{BufRead as _, BufReader, Write as _};
use std::process::{Child, Command, ExitCode, Stdio};
use std::time::{Duration, Instant};

use process::Usage;
use readers::{Measured, Readers};

/// Viewers tried, where the command does not say.
const VIEWERS: [usize; 5] = [100, 1_000, 2_500, 5_000, 7_000];
/// How long is measured, after all have come. The invented flight lasts nearly a minute.
const MEASURED: Duration = Duration::from_secs(15);
/// So long after its start the demo has lifted off at the latest.
const LIFTOFF_WITHIN: Duration = Duration::from_mins(2);
/// A handful of viewers: what they take beside a flight is next to nothing.
const FEW: usize = 10;
/// The promise: the 99th percentile stays below this.
const PROMISED_MS: f64 = 100.0;

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let result = match arguments.split_first() {
        Some((first, rest)) if first == "--bare" => bare::serve(rest),
        Some((program, rest)) => measure(program, rest),
        None => Err("usage: viewers PROGRAM [VIEWERS ...]".to_owned()),
    };
    match result {
        Ok(()) => ExitCode::SUCCESS,
        Err(message) => {
            eprintln!("{message}");
            ExitCode::FAILURE
        }
    }
}

fn measure(program: &str, counts: &[String]) -> Result<(), String> {
    let counts: Vec<usize> = if counts.is_empty() {
        VIEWERS.to_vec()
    } else {
        let number = |text: &String| text.parse().map_err(|_| format!("`{text}` is no number of viewers"));
        counts.iter().map(number).collect::<Result<_, _>>()?
    };
    let runtime =
        tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(|e| e.to_string())?;
    let mut out = std::io::stdout().lock();
    let mut say = |line: String| out.write_all(line.as_bytes()).map_err(|error| error.to_string());

    say("| who sends | viewers | messages/s each | bytes | median ms | 99 % ms | greatest ms | CPU of the sender | memory a viewer |\n\
         |---|---|---|---|---|---|---|---|---|\n".to_owned())?;
    let mut holds = 0;
    let mut told = None;
    // What a station takes once, whoever comes, and for the flight itself, is no viewer's.
    let few = runtime.block_on(flown_before(program, FEW))?;
    let own_kib = few.kib_each * FEW as f64;
    for viewers in counts {
        let mut row = runtime.block_on(flown_before(program, viewers))?;
        row.kib_each -= own_kib / viewers as f64;
        say(row.line("Loftwatch"))?;
        if row.measured.quantile(0.99) < PROMISED_MS && row.measured.lost == 0 {
            holds = holds.max(viewers);
        }
        let (bytes, per_s) = (row.measured.bytes_each(), row.measured.per_s());
        let mut bare = Command::new(std::env::current_exe().map_err(|error| error.to_string())?);
        bare.args(["--bare", &format!("{bytes:.0}"), &format!("{per_s:.1}")]);
        let mut bare = Served::start(bare, |line| line.strip_prefix("bare at ").map(str::to_owned))?;
        let row = runtime.block_on(run(&mut bare, viewers, false))?;
        say(row.line("bare fan-out"))?;
        told = Some(viewers);
    }
    say(format!(
        "\nThe largest number tried at which the 99th percentile stays below {PROMISED_MS} ms and nobody is dropped: {holds} (of {}).\n",
        told.unwrap_or_default()
    ))
}

/// A server in a process of its own.
struct Served {
    child: Child,
    address: String,
}

impl Served {
    fn start(mut command: Command, address: impl Fn(&str) -> Option<String>) -> Result<Self, String> {
        let mut child = command
            .stdout(Stdio::piped())
            .stderr(Stdio::inherit())
            .spawn()
            .map_err(|error| format!("{command:?}: {error}"))?;
        let stdout = child.stdout.take().ok_or("no standard output")?;
        let mut lines = BufReader::new(stdout).lines();
        let found = lines.by_ref().map_while(Result::ok).find_map(|line| address(&line));
        // The rest is read away, so that the server never waits for us.
        std::thread::spawn(move || lines.for_each(drop));
        match found {
            Some(address) => Ok(Self { child, address }),
            None => Err(format!("{command:?} said no address")),
        }
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        // `loftwatch demo` ends by its signal; what it kept lies in a temporary folder either way.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

struct Row {
    viewers: usize,
    measured: Measured,
    cpu: f64,
    kib_each: f64,
}

impl Row {
    fn line(&self, who: &str) -> String {
        let m = &self.measured;
        let lost = if m.lost > 0 { format!(" ({} dropped)", m.lost) } else { String::new() };
        format!(
            "| {who} | {}{lost} | {:.1} | {:.0} | {:.1} | {:.1} | {:.1} | {:.0} % of a core | {:.1} KiB |\n",
            self.viewers,
            m.per_s(),
            m.bytes_each(),
            m.quantile(0.5),
            m.quantile(0.99),
            m.quantile(1.0),
            100.0 * self.cpu,
            self.kib_each
        )
    }
}

/// A demo of its own, flown before so many.
async fn flown_before(program: &str, viewers: usize) -> Result<Row, String> {
    let mut station = Command::new(program);
    station.args(["demo", "--once", "--listen", "127.0.0.1:0"]).env("LOFTWATCH_LOG", "warn");
    let mut station = Served::start(station, |line| {
        let at = line.find("http://127.0.0.1:")? + "http://".len();
        line[at..].split_whitespace().next().map(str::to_owned)
    })?;
    let readers = Readers::connect(&station.address, FEW).await?;
    tokio::time::sleep(Duration::from_secs(2)).await;
    readers.end(MEASURED).await;
    run(&mut station, viewers, true).await
}

/// The phase that the vehicle is in, as the station tells it.
async fn phase(served: &Served) -> Result<String, String> {
    let now = readers::get(&served.address, "/api/now").await.map_err(|error| error.to_string())?;
    let after = now.split_once("\"phase\":\"").map_or("", |(_, after)| after);
    Ok(after.split('"').next().unwrap_or_default().to_owned())
}

async fn run(served: &mut Served, viewers: usize, in_flight: bool) -> Result<Row, String> {
    let before = Usage::of(served.child.id())?;
    let readers = Readers::connect(&served.address, viewers).await?;
    // What a handshake needs is given back, and the first messages are through.
    tokio::time::sleep(Duration::from_secs(2)).await;
    let waiting = Instant::now();
    while in_flight && matches!(&phase(served).await?[..], "waiting" | "") {
        if waiting.elapsed() > LIFTOFF_WITHIN {
            return Err("the demo did not lift off".to_owned());
        }
        tokio::time::sleep(Duration::from_millis(200)).await;
    }
    let begun = Usage::of(served.child.id())?;
    readers.begin();
    tokio::time::sleep(MEASURED).await;
    let over = in_flight && phase(served).await? == "down";
    let measured = readers.end(MEASURED).await;
    let ended = Usage::of(served.child.id())?;
    if over {
        return Err(format!(
            "{viewers} viewers came too slowly: the flight was over before all were counted"
        ));
    }
    Ok(Row {
        viewers,
        measured,
        cpu: (ended.cpu_s - begun.cpu_s) / MEASURED.as_secs_f64(),
        kib_each: (begun.resident_kib.max(ended.resident_kib) - before.resident_kib) / viewers as f64,
    })
}
