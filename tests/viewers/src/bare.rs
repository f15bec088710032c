//! The floor: one thread that writes one prepared message to every socket in turn, at an even rate, and nothing else. A
//! socket that takes no more is passed over.

use std::io::{ErrorKind, Read as _, Write as _};
use std::net::{TcpListener, TcpStream};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

/// Serves until it is killed. Arguments: bytes of a message, messages a second.
pub(crate) fn serve(arguments: &[String]) -> Result<(), String> {
    let number = |index: usize| arguments.get(index).and_then(|text| text.parse::<f64>().ok());
    let (bytes, per_s) = number(0).zip(number(1)).ok_or("--bare needs bytes and messages a second")?;
    let listener = TcpListener::bind("127.0.0.1:0").map_err(|error| error.to_string())?;
    let address = listener.local_addr().map_err(|error| error.to_string())?;
    let mut out = std::io::stdout();
    out.write_all(format!("bare at {address}\n").as_bytes())
        .and_then(|()| out.flush())
        .map_err(|e| e.to_string())?;
    let (come, comers) = channel();
    std::thread::spawn(move || {
        for stream in listener.incoming().flatten() {
            if let Some(stream) = welcome(stream)
                && come.send(stream).is_err()
            {
                return;
            }
        }
    });
    send(&comers, bytes as usize, Duration::from_secs_f64(1.0 / per_s.max(1.0)))
}

/// Reads a request to its end and answers as to a web socket; the key is not looked at.
fn welcome(mut stream: TcpStream) -> Option<TcpStream> {
    stream.set_nodelay(true).ok()?;
    let mut request = Vec::new();
    let mut part = [0; 1024];
    while !request.ends_with(b"\r\n\r\n") {
        let count = stream.read(&mut part).ok().filter(|count| *count > 0)?;
        request.extend_from_slice(&part[..count]);
    }
    stream.write_all(b"HTTP/1.1 101 Switching Protocols\r\nupgrade: websocket\r\n\r\n").ok()?;
    stream.set_nonblocking(true).ok()?;
    Some(stream)
}

fn send(comers: &Receiver<TcpStream>, bytes: usize, apart: Duration) -> Result<(), String> {
    let mut sockets: Vec<Option<TcpStream>> = Vec::new();
    let mut next = Instant::now();
    loop {
        sockets.extend(comers.try_iter().map(Some));
        let frame = frame(bytes)?;
        for place in &mut sockets {
            let Some(socket) = place else { continue };
            match socket.write(&frame) {
                Ok(count) if count == frame.len() => {}
                Err(error) if error.kind() == ErrorKind::WouldBlock => {}
                // Part of a frame: what follows would be read wrongly, so this one is done with.
                _ => *place = None,
            }
        }
        next += apart;
        std::thread::sleep(next.saturating_duration_since(Instant::now()));
    }
}

/// A text frame (RFC 6455, section 5.2) of about so many bytes with the time in it.
fn frame(bytes: usize) -> Result<Vec<u8>, String> {
    let utc = SystemTime::now().duration_since(UNIX_EPOCH).map_err(|error| error.to_string())?;
    let mut text = format!("{{\"kind\":\"now\",\"utc_s\":{:.3},\"rest\":\"", utc.as_secs_f64());
    text.extend(std::iter::repeat_n('x', bytes.saturating_sub(text.len() + 2).max(100)));
    text.push_str("\"}");
    let length = u16::try_from(text.len()).map_err(|error| error.to_string())?.to_be_bytes();
    Ok([&[0x81, 126, length[0], length[1]], text.as_bytes()].concat())
}
