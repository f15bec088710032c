//! Writing a flight file.

use std::io::{self, Write};

use flate2::Compression;
use flate2::write::DeflateEncoder;
use loftwatch_engine::{Input, Setup};
use sha2::{Digest as _, Sha256};

use crate::error::Wrong;
use crate::layout::{FRONT, Head, MAGIC, Told, VERSION};
use crate::record;

/// Inputs are packed in pieces of about this size, bytes: so much is held in memory.
const PIECE_BYTES: usize = 1024 * 1024;

/// Writes the parts of a flight file in their order.
pub struct Writer<W: Write> {
    out: W,
    whole: Sha256,
    piece: Vec<u8>,
}

impl<W: Write> std::fmt::Debug for Writer<W> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Writer").field("piece", &self.piece.len()).finish_non_exhaustive()
    }
}

impl<W: Write> Writer<W> {
    /// Begins one: magic, version, head, setup.
    pub fn begin(out: W, head: &Head, setup: &Setup) -> Result<Self, Wrong> {
        let mut writer = Self { out, whole: Sha256::new(), piece: Vec::new() };
        let mut front = [0; FRONT];
        front[..8].copy_from_slice(&MAGIC);
        front[8..10].copy_from_slice(&VERSION.to_le_bytes());
        writer.put(&front)?;
        writer.section(*b"HEAD", &json(head)?)?;
        writer.section(*b"SETP", &json(setup)?)?;
        Ok(writer)
    }

    /// Adds an input; they come in order.
    pub fn input(&mut self, input: &Input) -> Result<(), Wrong> {
        record::put(input, &mut self.piece)?;
        if self.piece.len() >= PIECE_BYTES { self.flush() } else { Ok(()) }
    }

    /// Ends it; gives back what was written to.
    pub fn end(mut self, told: &Told) -> Result<W, Wrong> {
        if !self.piece.is_empty() {
            self.flush()?;
        }
        self.section(*b"TOLD", &json(told)?)?;
        let whole = self.whole.clone().finalize();
        self.section(*b"ENDS", &whole)?;
        self.out.flush()?;
        Ok(self.out)
    }

    fn flush(&mut self) -> Result<(), Wrong> {
        let piece = std::mem::take(&mut self.piece);
        self.section(*b"INPT", &piece)
    }

    fn section(&mut self, name: [u8; 4], contents: &[u8]) -> Result<(), Wrong> {
        let mut packer = DeflateEncoder::new(Vec::new(), Compression::default());
        packer.write_all(contents)?;
        let packed = packer.finish()?;
        let (how, bytes) = if packed.len() < contents.len() { (1, packed.as_slice()) } else { (0, contents) };
        let mut head = Vec::new();
        head.extend(name);
        head.extend([how, 0, 0, 0]);
        head.extend((contents.len() as u64).to_le_bytes());
        head.extend((bytes.len() as u64).to_le_bytes());
        head.extend(Sha256::digest(contents));
        self.put(&head)?;
        Ok(self.put(bytes)?)
    }

    fn put(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.whole.update(bytes);
        self.out.write_all(bytes)
    }
}

fn json(value: &impl serde::Serialize) -> Result<Vec<u8>, Wrong> {
    serde_json::to_vec(value).map_err(|error| Wrong::meaning("a section", error.to_string()))
}
