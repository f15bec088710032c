//! Starts and ends the built program and looks at what it left. Waiting is always for something to become true,
//! with a generous end; nothing is asserted about how long it took.

use std::io::{BufRead, BufReader, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Output, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use sqlx::sqlite::SqliteConnectOptions;
use sqlx::{ConnectOptions, Connection, Row};

/// The longest that anything is waited for.
pub(crate) const PATIENCE: Duration = Duration::from_mins(1);

pub(crate) fn program() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_loftwatch"));
    command.env("LOFTWATCH_LOG", "info").stdin(Stdio::null());
    command
}

/// Runs a command to its end.
pub(crate) fn run(arguments: &[&str]) -> Output {
    program().args(arguments).output().unwrap()
}

pub(crate) fn stderr(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

/// A folder in the demo data.
pub(crate) fn demo(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-data").join(name)
}

/// A setup that is otherwise that of the straight demo flight, with one link of lines.
pub(crate) fn setup(folder: &Path, link: &str) -> PathBuf {
    let text = std::fs::read_to_string(demo("straight").join("setup.toml")).unwrap();
    let mut table: toml::Table = text.parse().unwrap();
    let link: toml::Value = format!("[[link]]\nname = \"test\"\n{link}\nframing = {{ kind = \"lines\" }}\n")
        .parse::<toml::Table>()
        .unwrap()["link"]
        .clone();
    table.insert("link".into(), link);
    table.remove("receiver");
    let file = folder.join("setup.toml");
    std::fs::write(&file, toml::to_string(&table).unwrap()).unwrap();
    file
}

/// The setup of the straight demo flight, with its one link coming another way.
pub(crate) fn demo_setup(folder: &Path, way: &str) -> PathBuf {
    let text = std::fs::read_to_string(demo("straight").join("setup.toml")).unwrap();
    let mut table: toml::Table = text.parse().unwrap();
    let link = table["link"][0].as_table_mut().unwrap();
    link.retain(|key, _| matches!(key, "name" | "receiver" | "layouts" | "framing"));
    link.extend(way.parse::<toml::Table>().unwrap());
    let file = folder.join("setup.toml");
    std::fs::write(&file, toml::to_string(&table).unwrap()).unwrap();
    file
}

/// The pieces of bytes of the straight demo flight.
pub(crate) fn demo_pieces() -> Vec<Vec<u8>> {
    use base64::Engine as _;
    let text = std::fs::read_to_string(demo("straight").join("flight.jsonl")).unwrap();
    text.lines()
        .map(|line| {
            let line: serde_json::Value = serde_json::from_str(line).unwrap();
            base64::engine::general_purpose::STANDARD.decode(line["bytes"].as_str().unwrap()).unwrap()
        })
        .collect()
}

/// A running station; killed when dropped.
pub(crate) struct Station {
    child: Child,
    log: Receiver<String>,
    said: Vec<String>,
}

impl Station {
    pub(crate) fn start(setup: &Path, data: &Path) -> Self {
        Self::start_with(setup, data, &[])
    }

    pub(crate) fn start_with(setup: &Path, data: &Path, more: &[&str]) -> Self {
        let mut child = program()
            .args(["serve", "--listen", "127.0.0.1:0", "--setup"])
            .arg(setup)
            .arg("--data")
            .arg(data)
            .args(more)
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .stdin(Stdio::piped())
            .spawn()
            .unwrap();
        let (tell, log) = channel();
        let lines = BufReader::new(child.stderr.take().unwrap()).lines();
        std::thread::spawn(move || lines.map_while(Result::ok).all(|line| tell.send(line).is_ok()));
        Self { child, log, said: Vec::new() }
    }

    /// Waits until a line of the log, from here on, contains the words; returns it.
    pub(crate) fn wait_for(&mut self, words: &str) -> String {
        let until = Instant::now() + PATIENCE;
        while let Ok(line) = self.log.recv_timeout(until.saturating_duration_since(Instant::now())) {
            self.said.push(line.clone());
            if line.contains(words) {
                return line;
            }
        }
        panic!("the station never said {words:?}; it said\n{}", self.said.join("\n"));
    }

    /// The station's standard input.
    pub(crate) fn input(&mut self) -> &mut impl Write {
        self.child.stdin.as_mut().unwrap()
    }

    /// SIGKILL.
    pub(crate) fn kill(mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    /// SIGTERM, and waits for the end.
    pub(crate) fn end(mut self) -> ExitStatus {
        let pid = self.child.id().to_string();
        assert!(Command::new("kill").args(["-TERM", &pid]).status().unwrap().success());
        let until = Instant::now() + PATIENCE;
        loop {
            if let Some(status) = self.child.try_wait().unwrap() {
                return status;
            }
            assert!(Instant::now() < until, "the station does not end");
            std::thread::sleep(Duration::from_millis(20));
        }
    }
}

impl Drop for Station {
    fn drop(&mut self) {
        // Already ended is fine.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A free port of the loopback address.
pub(crate) fn free_port() -> u16 {
    std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port()
}

/// Connects as soon as somebody listens.
pub(crate) fn connect(port: u16) -> TcpStream {
    wait_until("somebody listens", || TcpStream::connect(("127.0.0.1", port)).ok())
}

/// Tries until there is something.
pub(crate) fn wait_until<T>(what: &str, mut look: impl FnMut() -> Option<T>) -> T {
    let until = Instant::now() + PATIENCE;
    loop {
        if let Some(found) = look() {
            return found;
        }
        assert!(Instant::now() < until, "waited in vain: {what}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// Rows of a query on a store's file, each column as text.
pub(crate) fn query(file: &Path, sql: &'static str) -> Vec<Vec<String>> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    runtime.block_on(async {
        let mut connection =
            SqliteConnectOptions::new().filename(file).read_only(true).connect().await.unwrap();
        let rows = sqlx::query(sql).fetch_all(&mut connection).await.unwrap();
        let rows = rows
            .iter()
            .map(|row| {
                (0..row.len())
                    .map(|column| {
                        let text = row.try_get_unchecked::<Option<Vec<u8>>, _>(column).unwrap();
                        String::from_utf8_lossy(&text.unwrap_or_default()).into_owned()
                    })
                    .collect()
            })
            .collect();
        connection.close().await.unwrap();
        rows
    })
}

/// Changes a store's file behind a running station's back.
pub(crate) fn change(file: &Path, sql: &'static str) {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    runtime.block_on(async {
        let mut connection =
            SqliteConnectOptions::new().filename(file).busy_timeout(PATIENCE).connect().await.unwrap();
        sqlx::raw_sql(sql).execute(&mut connection).await.unwrap();
        connection.close().await.unwrap();
    });
}

/// All bytes that are kept of the test's link.
pub(crate) fn kept(data: &Path) -> String {
    query(&data.join("inputs.db"), "SELECT data FROM input WHERE kind = 'bytes' ORDER BY number")
        .concat()
        .concat()
}
