//! The viewers: each a socket that reads all it is sent; every fiftieth does not read at all.

use std::cell::RefCell;
use std::net::{Ipv4Addr, SocketAddr};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::{TcpSocket, TcpStream};
use tokio::sync::mpsc;
use tokio::task::JoinSet;

/// One in so many does not read.
const STALLED: usize = 50;
/// One in so many has its messages timed.
const TIMED: usize = 10;
/// A station lets so many in from one address; all of 127.0.0.0/8 is this machine.
const FROM_ONE_ADDRESS: usize = 500;

/// So much of a message is looked at, bytes.
const FRONT_BYTES: usize = 300;
/// So many shake hands at the same time.
const AT_ONCE: usize = 100;
/// An empty answer to a ping (RFC 6455, section 5.5.3), masked with zeros as from a client.
const PONG: [u8; 6] = [0x8a, 0x80, 0, 0, 0, 0];

/// Viewers, connected.
pub(crate) struct Readers {
    tasks: JoinSet<Read>,
    counting: Arc<AtomicBool>,
    end: Arc<AtomicBool>,
    times: mpsc::UnboundedReceiver<f64>,
    viewers: usize,
}

/// What one of them got while it was counted.
#[derive(Default)]
struct Read {
    messages: u64,
    bytes: u64,
    lost: bool,
    stalled: bool,
}

/// What all of them got.
pub(crate) struct Measured {
    messages: u64,
    bytes: u64,
    pub(crate) lost: usize,
    reading: usize,
    times_ms: Vec<f64>,
    seconds: f64,
}

impl Measured {
    pub(crate) fn per_s(&self) -> f64 {
        self.messages as f64 / self.reading.max(1) as f64 / self.seconds
    }
    pub(crate) fn bytes_each(&self) -> f64 {
        self.bytes as f64 / self.messages.max(1) as f64
    }
    /// Milliseconds from making to arrival; times are sorted.
    pub(crate) fn quantile(&self, share: f64) -> f64 {
        let last = self.times_ms.len().saturating_sub(1);
        self.times_ms.get((share * last as f64) as usize).copied().unwrap_or(f64::NAN)
    }
}

impl Readers {
    pub(crate) async fn connect(address: &str, viewers: usize) -> Result<Self, String> {
        let to: SocketAddr = address.parse().map_err(|error| format!("{address}: {error}"))?;
        let (counting, end) = (Arc::new(AtomicBool::new(false)), Arc::new(AtomicBool::new(false)));
        let (tell, times) = mpsc::unbounded_channel();
        let mut tasks = JoinSet::new();
        let mut next = 0..viewers;
        let mut opening = JoinSet::new();
        loop {
            while opening.len() < AT_ONCE
                && let Some(index) = next.next()
            {
                opening.spawn(async move { (index, open(to, index).await) });
            }
            let Some(opened) = opening.join_next().await else { break };
            let (index, stream) = opened.map_err(|error| error.to_string())?;
            let stream = stream.map_err(|error| format!("viewer {}: {error}", index + 1))?;
            let tell = index.is_multiple_of(TIMED).then(|| tell.clone());
            let stalled = index % STALLED == STALLED - 1;
            tasks.spawn(read(stream, stalled, Arc::clone(&counting), Arc::clone(&end), tell));
        }
        Ok(Self { tasks, counting, end, times, viewers })
    }

    /// Counts from here on.
    pub(crate) fn begin(&self) {
        self.counting.store(true, Ordering::Relaxed);
    }

    /// Ends it all.
    pub(crate) async fn end(mut self, measured: Duration) -> Measured {
        self.counting.store(false, Ordering::Relaxed);
        self.end.store(true, Ordering::Relaxed);
        let mut sum = Measured {
            messages: 0,
            bytes: 0,
            lost: 0,
            reading: 0,
            times_ms: Vec::new(),
            seconds: measured.as_secs_f64(),
        };
        while let Some(read) = self.tasks.join_next().await {
            let read = read.unwrap_or(Read { lost: true, ..Read::default() });
            sum.messages += read.messages;
            sum.bytes += read.bytes;
            sum.reading += usize::from(!read.stalled);
            sum.lost += usize::from(read.lost);
        }
        self.times.close();
        while let Some(time) = self.times.recv().await {
            sum.times_ms.push(time);
        }
        sum.times_ms.sort_by(f64::total_cmp);
        debug_assert!(sum.reading <= self.viewers);
        sum
    }
}

/// The body of an answer.
pub(crate) async fn get(address: &str, path: &str) -> std::io::Result<String> {
    let mut stream = TcpStream::connect(address).await?;
    let request = format!("GET {path} HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n\r\n");
    stream.write_all(request.as_bytes()).await?;
    let mut answer = String::new();
    stream.read_to_string(&mut answer).await?;
    Ok(answer.split_once("\r\n\r\n").map_or("", |(_, body)| body).to_owned())
}

async fn open(to: SocketAddr, index: usize) -> std::io::Result<TcpStream> {
    let socket = TcpSocket::new_v4()?;
    let host = u8::try_from(2 + index / FROM_ONE_ADDRESS).unwrap_or(u8::MAX);
    socket.bind(SocketAddr::from((Ipv4Addr::new(127, 0, 1, host), 0)))?;
    let mut stream = socket.connect(to).await?;
    let request = format!(
        "GET /api/socket HTTP/1.1\r\nHost: {to}\r\nConnection: Upgrade\r\nUpgrade: websocket\r\n\
         Sec-WebSocket-Version: 13\r\nSec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\n\r\n"
    );
    stream.write_all(request.as_bytes()).await?;
    // A byte at a time: what follows the answer is the first frame.
    let mut answer = Vec::new();
    while !answer.ends_with(b"\r\n\r\n") {
        answer.push(stream.read_u8().await?);
    }
    if answer.starts_with(b"HTTP/1.1 101") {
        Ok(stream)
    } else {
        Err(std::io::Error::other(String::from_utf8_lossy(&answer).into_owned()))
    }
}

async fn read(
    mut stream: TcpStream,
    stalled: bool,
    counting: Arc<AtomicBool>,
    end: Arc<AtomicBool>,
    tell: Option<mpsc::UnboundedSender<f64>>,
) -> Read {
    let mut got = Read { stalled, ..Read::default() };
    if stalled {
        while !end.load(Ordering::Relaxed) {
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
        return got;
    }
    let mut frames = Frames::default();
    while !end.load(Ordering::Relaxed) {
        let wait = tokio::time::timeout(Duration::from_secs(5), stream.readable()).await;
        // One buffer for all: a reader that had its own would cost more than what is measured.
        let pings = BUFFER.with_borrow_mut(|buffer| {
            let count = match wait {
                Ok(Ok(())) => stream.try_read(buffer),
                _ => Ok(0),
            };
            match count {
                Ok(0) => None,
                Ok(count) => Some(frames.take(&buffer[..count], |length, front| {
                    if !counting.load(Ordering::Relaxed) || !front.starts_with(b"{\"kind\":\"now\"") {
                        return;
                    }
                    got.messages += 1;
                    got.bytes += length;
                    if let (Some(tell), Some(made_s)) = (&tell, made(front)) {
                        let now = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
                        let _ = tell.send((now.as_secs_f64() - made_s) * 1e3);
                    }
                })),
                Err(error) if error.kind() == std::io::ErrorKind::WouldBlock => Some(0),
                Err(_) => None,
            }
        });
        let Some(pings) = pings else {
            got.lost = !end.load(Ordering::Relaxed);
            return got;
        };
        for _ in 0..pings {
            // Who answers none for half a minute is taken for gone.
            got.lost |= stream.write_all(&PONG).await.is_err();
        }
    }
    got
}

thread_local! {
    static BUFFER: RefCell<Vec<u8>> = RefCell::new(vec![0; 64 * 1024]);
}

/// Takes frames out of what comes (RFC 6455, section 5.2; a server does not mask).
#[derive(Default)]
struct Frames {
    head: Vec<u8>,
    /// Of the frame whose head is complete.
    length: u64,
    left: u64,
    front: Vec<u8>,
}

impl Frames {
    /// Tells the length and the front of each frame that ends here; how many pings there were.
    fn take(&mut self, mut bytes: &[u8], mut each: impl FnMut(u64, &[u8])) -> usize {
        let mut pings = 0;
        while !bytes.is_empty() {
            if self.left == 0 {
                self.head.push(bytes[0]);
                bytes = &bytes[1..];
                let Some(length) = length(&self.head) else { continue };
                (self.length, self.left) = (length, length);
                self.front.clear();
            }
            let part = usize::try_from(self.left).unwrap_or(usize::MAX).min(bytes.len());
            let wanted = FRONT_BYTES.saturating_sub(self.front.len()).min(part);
            self.front.extend_from_slice(&bytes[..wanted]);
            bytes = &bytes[part..];
            self.left -= part as u64;
            if self.left == 0 {
                pings += usize::from(self.head[0] & 0x0f == 9);
                each(self.length, &self.front);
                self.head.clear();
            }
        }
        pings
    }
}

/// The length that a head tells, once it is whole.
fn length(head: &[u8]) -> Option<u64> {
    let (wide, rest) = match *head.get(1)? {
        126 => (2, &head[2..]),
        127 => (8, &head[2..]),
        short => return Some(u64::from(short)),
    };
    (rest.len() == wide).then(|| rest.iter().fold(0, |length, byte| length << 8 | u64::from(*byte)))
}

/// When a message was made, UTC seconds: it stands near its front.
fn made(front: &[u8]) -> Option<f64> {
    let text = std::str::from_utf8(&front[..front.len().min(FRONT_BYTES)]).ok()?;
    let after = text.split_once("\"utc_s\":")?.1;
    after.split(',').next()?.parse().ok()
}
