//! A serial port, opened by its path. Unplugged, it reads nothing for ever: that counts as gone, it is closed at
//! once (else the kernel gives it another number) and opened again when its path is back. DTR is left as it is:
//! raising it can restart a receiver board (Linux itself may still raise it when a port is first opened).

use std::path::Path;
use std::time::Duration;

use loftwatch_engine::setup::{Flow, Parity};
use loftwatch_tty::{Overruns, overruns};
use tokio::io::AsyncReadExt;
use tokio::time::Instant;
use tokio_serial::{DataBits, FlowControl, SerialStream, StopBits};

use super::Port;
use super::pause::Pause;

/// How often a missing path is looked for.
const LOOK: Duration = Duration::from_millis(500);
/// How often the driver is asked what it could not keep, at most.
const ASK: Duration = Duration::from_secs(1);
/// Most bytes in one piece: a tty's own buffer.
const PIECE_BYTES: usize = 4096;

/// The port as the setup wants it.
#[derive(Debug, Clone)]
pub(super) struct Wanted {
    pub(super) path: String,
    pub(super) baud: u32,
    pub(super) data_bits: u8,
    pub(super) parity: Parity,
    pub(super) stop_bits: u8,
    pub(super) flow: Flow,
}

pub(super) async fn run(wanted: &Wanted, port: &mut Port) {
    let mut pause = Pause::new();
    loop {
        match open(wanted).await {
            Ok(mut stream) => {
                port.up(&format!("`{}` is open at {} baud", wanted.path, wanted.baud));
                if read(&mut stream, port, &mut pause).await {
                    port.down(&format!(
                        "`{}` is gone (unplugged?); it is opened again when it is back",
                        wanted.path
                    ));
                } else {
                    port.down(&format!("`{}` failed while reading; it is opened again", wanted.path));
                }
                drop(stream);
            }
            Err(reason) => port.down(&reason),
        }
        if Path::new(&wanted.path).exists() {
            pause.wait().await;
        } else {
            // A path that is missing costs nothing to look for: a port that is plugged in again is heard soon.
            while !Path::new(&wanted.path).exists() {
                tokio::time::sleep(LOOK).await;
            }
        }
    }
}

/// Reads until the port is gone (`true`) or fails otherwise (`false`).
async fn read(stream: &mut SerialStream, port: &Port, pause: &mut Pause) -> bool {
    let mut piece = vec![0; PIECE_BYTES];
    let mut lost = Lost::from(stream);
    loop {
        match stream.read(&mut piece).await {
            Ok(0) => return true,
            Ok(n) => {
                port.bytes(&piece[..n]);
                pause.reset();
                lost.ask(stream, port);
            }
            Err(error) if error.kind() == std::io::ErrorKind::Interrupted => {}
            Err(error) => {
                tracing::debug!("serial read: {error}");
                // EIO (5) is what a vanished tty answers; ENXIO (6) and ENODEV (19) likewise.
                return matches!(error.raw_os_error(), Some(5 | 6 | 19));
            }
        }
    }
}

/// What the driver counts as lost, as far as it has been said. A driver that counts nothing is not asked again.
struct Lost {
    said: Option<Overruns>,
    asked: Instant,
}

impl Lost {
    fn from(stream: &SerialStream) -> Self {
        let said = overruns(stream);
        if let Err(error) = &said {
            tracing::debug!("the port's driver counts no overruns: {error}");
        }
        Self { said: said.ok(), asked: Instant::now() }
    }

    /// Asks now and then, and writes down what has been lost since. Without room for that it is said the next time.
    fn ask(&mut self, stream: &SerialStream, port: &Port) {
        let Some(said) = self.said else { return };
        if self.asked.elapsed() < ASK {
            return;
        }
        self.asked = Instant::now();
        let Ok(now) = overruns(stream) else { return };
        let new = now.since(said);
        if new.any() && port.lost(in_words_lost(new)) {
            tracing::warn!(link = port.name(), "{}", in_words_lost(new));
            self.said = Some(now);
        }
    }
}

fn in_words_lost(new: Overruns) -> String {
    let mut parts = Vec::new();
    if new.chip > 0 {
        parts.push(format!(
            "the port's chip was overrun {} time{}",
            new.chip,
            if new.chip == 1 { "" } else { "s" }
        ));
    }
    if new.buffer > 0 {
        parts.push(format!("{} bytes found the system's buffer full", new.buffer));
    }
    format!("{}: what came then is lost", parts.join(", "))
}

async fn open(wanted: &Wanted) -> Result<SerialStream, String> {
    if !Path::new(&wanted.path).exists() {
        return Err(format!(
            "`{}` does not exist: it is opened as soon as it does; `loftwatch ports` lists the serial ports found",
            wanted.path
        ));
    }
    let builder = tokio_serial::new(&wanted.path, wanted.baud)
        .data_bits(match wanted.data_bits {
            5 => DataBits::Five,
            6 => DataBits::Six,
            7 => DataBits::Seven,
            _ => DataBits::Eight,
        })
        .parity(match wanted.parity {
            Parity::None => tokio_serial::Parity::None,
            Parity::Even => tokio_serial::Parity::Even,
            Parity::Odd => tokio_serial::Parity::Odd,
        })
        .stop_bits(if wanted.stop_bits == 2 { StopBits::Two } else { StopBits::One })
        .flow_control(match wanted.flow {
            Flow::None => FlowControl::None,
            Flow::Software => FlowControl::Software,
            Flow::Hardware => FlowControl::Hardware,
        })
        .preserve_dtr_on_open();
    // Opening can take long on a radio modem's port: not on a thread that others need.
    let opened = tokio::task::spawn_blocking(move || SerialStream::open(&builder)).await;
    match opened {
        Ok(Ok(stream)) => Ok(stream),
        Ok(Err(error)) => Err(in_words(&wanted.path, &error)),
        Err(_) => Err(format!("`{}` could not be opened", wanted.path)),
    }
}

fn in_words(path: &str, error: &tokio_serial::Error) -> String {
    use std::io::ErrorKind as Io;
    // ENOTTY in the C library's words, which the serial library hands on as text.
    if error.description == "Not a typewriter" || error.description.starts_with("Inappropriate ioctl") {
        return format!("`{path}` is no serial port; for a file that grows use kind = \"file\"");
    }
    let hint = match error.kind {
        tokio_serial::ErrorKind::Io(Io::PermissionDenied) => {
            "; your user may not use it: add it to the group that owns the port (often `dialout` or `uucp`) and log in again"
        }
        tokio_serial::ErrorKind::NoDevice | tokio_serial::ErrorKind::Io(Io::ResourceBusy) => {
            "; another program has it open, or it was just unplugged"
        }
        _ => "",
    };
    format!("`{path}` cannot be opened: {error}{hint}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn overruns_are_said_by_where_bytes_were_lost() {
        let said = |chip, buffer| in_words_lost(Overruns { chip, buffer });
        assert_eq!(said(2, 0), "the port's chip was overrun 2 times: what came then is lost");
        assert_eq!(
            said(1, 30),
            "the port's chip was overrun 1 time, 30 bytes found the system's buffer full: what came then is lost"
        );
    }
}
