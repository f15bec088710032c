//! A file read to its end and on as it grows, and standard input. Both lose nothing by waiting, so they wait for
//! room in the ring. After a restart a file goes on behind the bytes that the store already holds; if it is shorter
//! than that it is another file and is read from its start.

use std::path::Path;
use std::time::Duration;

use tokio::fs::File;
use tokio::io::{AsyncRead, AsyncReadExt, AsyncSeekExt, SeekFrom};

use super::Port;
use super::pause::Pause;

/// How often a file is looked at for more.
const LOOK: Duration = Duration::from_millis(100);
/// Most bytes in one piece.
const PIECE_BYTES: usize = 65_536;

pub(super) async fn run(path: &str, mut from: u64, port: &mut Port) {
    let mut pause = Pause::new();
    loop {
        match follow(path, &mut from, port).await {
            Ok(reason) => port.down(&format!("`{path}` {reason}; it is read from its start")),
            Err(error) => port.down(&format!("`{path}` cannot be read: {error}; trying again")),
        }
        pause.wait().await;
    }
}

/// Follows the file; `Ok` with the reason when it has to be opened again from its start.
async fn follow(path: &str, from: &mut u64, port: &mut Port) -> std::io::Result<&'static str> {
    let mut file = File::open(path).await?;
    let about = file.metadata().await?;
    let length = about.len();
    if *from > 0 && length >= *from {
        file.seek(SeekFrom::Start(*from)).await?;
        port.up(&format!("`{path}` goes on at byte {from}"));
    } else {
        *from = 0;
        port.up(&format!("`{path}` is read"));
    }
    loop {
        let n = piece(&mut file, port).await?;
        *from += n as u64;
        if n == 0 {
            tokio::time::sleep(LOOK).await;
            // A named pipe or a device has no length to compare.
            if !about.is_file() {
                continue;
            }
            if tokio::fs::metadata(path).await?.len() < *from {
                *from = 0;
                return Ok("has become shorter");
            }
            if another_file(&file, path).await? {
                *from = 0;
                return Ok("was replaced");
            }
        }
    }
}

async fn another_file(open: &File, path: &str) -> std::io::Result<bool> {
    use std::os::unix::fs::MetadataExt;
    let (ours, theirs) = (open.metadata().await?, tokio::fs::metadata(Path::new(path)).await?);
    Ok(ours.ino() != theirs.ino() || ours.dev() != theirs.dev())
}

pub(super) async fn stdin(port: &mut Port) {
    port.up("standard input is read");
    let mut input = tokio::io::stdin();
    loop {
        match piece(&mut input, port).await {
            Ok(0) => return port.down("standard input has ended"),
            Ok(_) => {}
            Err(error) => return port.down(&format!("standard input cannot be read: {error}")),
        }
    }
}

async fn piece(source: &mut (impl AsyncRead + Unpin), port: &Port) -> std::io::Result<usize> {
    port.room().await;
    let mut piece = vec![0; PIECE_BYTES];
    let n = source.read(&mut piece).await?;
    if n > 0 {
        port.bytes(&piece[..n]);
    }
    Ok(n)
}
