//! One pseudo-terminal a link: the near end is written to, the far end is what the station opens by its path.

use std::collections::BTreeMap;

use tokio_serial::{SerialPort as _, SerialStream};

use crate::failure::Failure;

/// The terminals.
#[derive(Debug)]
pub(super) struct Terminals(BTreeMap<String, Terminal>);

#[derive(Debug)]
struct Terminal {
    near: SerialStream,
    path: String,
    /// Kept open, so that the terminal stays as it is when the station closes its end.
    _far: SerialStream,
}

impl Terminals {
    /// Opens one for each name.
    pub(super) fn open(names: &[&str]) -> Result<Self, Failure> {
        let mut all = BTreeMap::new();
        for name in names {
            let wrong = |error: &dyn std::fmt::Display| Failure::port(format!("no pseudo-terminal: {error}"));
            let (near, far) = SerialStream::pair().map_err(|error| wrong(&error))?;
            let path = far.name().ok_or_else(|| wrong(&"it has no name"))?;
            all.insert((*name).to_owned(), Terminal { near, path, _far: far });
        }
        Ok(Self(all))
    }

    /// The path of a link's far end.
    pub(super) fn path(&self, name: &str) -> Option<&str> {
        self.0.get(name).map(|terminal| terminal.path.as_str())
    }

    /// Writes without waiting: what a full terminal does not take is lost, as on a serial line.
    pub(super) fn write(&mut self, name: &str, bytes: &[u8]) {
        let Some(terminal) = self.0.get_mut(name) else { return };
        match terminal.near.try_write(bytes) {
            Ok(n) if n == bytes.len() => {}
            Ok(_) | Err(_) => tracing::debug!(link = name, "the terminal is full, bytes are lost"),
        }
    }
}
