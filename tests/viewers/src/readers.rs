//! The viewers: each a socket that reads all it is sent; every fiftieth does not read at all.

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
    // The large message (`picture`) may be longer: it is read in pieces.
    let mut buffer = vec![0; 8 * 1024];
    while !end.load(Ordering::Relaxed) {
        let wait = tokio::time::timeout(Duration::from_secs(5), message(&mut stream, &mut buffer)).await;
        let Ok(Ok((length, front))) = wait else {
            got.lost = !end.load(Ordering::Relaxed);
            return got;
        };
        if !counting.load(Ordering::Relaxed) || !buffer[..front].starts_with(b"{\"kind\":\"now\"") {
            continue;
        }
        got.messages += 1;
        got.bytes += length;
        if let (Some(tell), Some(made_s)) = (&tell, made(&buffer[..front])) {
            let now = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default().as_secs_f64();
            let _ = tell.send((now - made_s) * 1e3);
        }
    }
    got
}

/// Reads one frame; its length, and how much of its front is in the buffer.
async fn message(stream: &mut TcpStream, buffer: &mut [u8]) -> std::io::Result<(u64, usize)> {
    let ping = stream.read_u8().await? & 0x0f == 9;
    let length = match stream.read_u8().await? & 0x7f {
        126 => u64::from(stream.read_u16().await?),
        127 => stream.read_u64().await?,
        short => u64::from(short),
    };
    let front = usize::try_from(length).unwrap_or(usize::MAX).min(buffer.len());
    stream.read_exact(&mut buffer[..front]).await?;
    let mut left = length - front as u64;
    let mut rest = [0; 4096];
    while left > 0 {
        let part = usize::try_from(left).unwrap_or(usize::MAX).min(rest.len());
        stream.read_exact(&mut rest[..part]).await?;
        left -= part as u64;
    }
    if ping {
        // Who answers none for half a minute is taken for gone.
        stream.write_all(&PONG).await?;
    }
    Ok((length, front))
}

/// When a message was made, UTC seconds: it stands near its front.
fn made(front: &[u8]) -> Option<f64> {
    let text = std::str::from_utf8(&front[..front.len().min(300)]).ok()?;
    let after = text.split_once("\"utc_s\":")?.1;
    after.split(',').next()?.parse().ok()
}
