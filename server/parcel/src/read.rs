//! Reading a flight file, part by part, with as much memory as its largest section takes.

use std::io::{ErrorKind, Read};

use flate2::read::DeflateDecoder;
use loftwatch_engine::{Input, Setup};
use serde::de::DeserializeOwned;
use sha2::{Digest as _, Sha256};

use crate::error::Wrong;
use crate::layout::{FRONT, Head, MAGIC, SECTION_HEAD, Told, VERSION};
use crate::limits::{
    LATEST_NS, LONGEST_NS, MOST_FILE_BYTES, MOST_INPUTS, MOST_SECTION_BYTES, MOST_UNPACKED_BYTES,
};
use crate::{record, setup};

/// Longest texts in the head and among what was told, bytes.
const LONGEST_NAME: usize = 500;
const LONGEST_NOTES: usize = 64_000;
const MOST_CAMERAS: usize = 64;

/// What comes next in a file.
#[derive(Clone, Debug, PartialEq)]
pub enum Part {
    /// Some inputs, in order.
    Inputs(Vec<Input>),
    /// What the crew told; with it the file has ended, whole.
    Told(Told),
}

/// Reads a flight file. Nothing of it is to be used for good before [`Part::Told`] has come: only then it is whole.
pub struct Reader<R: Read> {
    from: R,
    whole: Sha256,
    read: u64,
    unpacked: u64,
    sections: u64,
    inputs: u64,
    last: Option<(u64, i64)>,
    first_ns: i64,
    head: Head,
    setup: Setup,
    ended: bool,
}

impl<R: Read> std::fmt::Debug for Reader<R> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Reader").field("head", &self.head).finish_non_exhaustive()
    }
}

impl<R: Read> Reader<R> {
    /// Looks at the front, the head and the setup.
    pub fn open(mut from: R) -> Result<Self, Wrong> {
        let mut front = [0; FRONT];
        fill(&mut from, &mut front, "its first bytes")?;
        if front[..8] != MAGIC {
            // Line ends changed, or the eighth bit lost: what the magic number is made to show.
            let text = front.starts_with(b"\x89LFT") || front.starts_with(b"\x09LFT");
            return Err(if text { Wrong::AsText } else { Wrong::Foreign });
        }
        let found = u16::from_le_bytes([front[8], front[9]]);
        if found != VERSION {
            return Err(Wrong::Newer { found, known: VERSION });
        }
        let mut bare = Bare { from, whole: Sha256::new(), read: 0, unpacked: 0, sections: 0 };
        bare.count(&front)?;
        let head: Head = bare.json(*b"HEAD", "the head")?;
        check_head(&head)?;
        let setup: Setup = bare.json(*b"SETP", "the setup")?;
        setup::check(&setup).map_err(|why| Wrong::meaning("the setup", why))?;
        let Bare { from, whole, read, unpacked, sections } = bare;
        Ok(Self {
            from,
            whole,
            read,
            unpacked,
            sections,
            inputs: 0,
            last: None,
            first_ns: 0,
            head,
            setup,
            ended: false,
        })
    }

    /// What the file is.
    pub fn head(&self) -> &Head {
        &self.head
    }

    /// The setup in force when the flight opened.
    pub fn setup(&self) -> &Setup {
        &self.setup
    }

    /// The next part; `None` after the last one.
    pub fn next_part(&mut self) -> Result<Option<Part>, Wrong> {
        if self.ended {
            return Ok(None);
        }
        let (name, contents) = self.section()?;
        match &name {
            b"INPT" => self.inputs(&contents).map(|inputs| Some(Part::Inputs(inputs))),
            b"TOLD" => {
                let told: Told = parse(&contents, "what the crew told")?;
                check_told(&told)?;
                if self.inputs != self.head.inputs {
                    return Err(Wrong::meaning(
                        "the inputs",
                        format!("there are {}, the head says {}", self.inputs, self.head.inputs),
                    ));
                }
                self.end()?;
                Ok(Some(Part::Told(told)))
            }
            other => Err(self.order(*other, "inputs or what the crew told")),
        }
    }

    fn inputs(&mut self, mut contents: &[u8]) -> Result<Vec<Input>, Wrong> {
        let mut inputs = Vec::new();
        while let Some(input) = record::take(&mut contents)? {
            self.inputs += 1;
            if self.inputs > MOST_INPUTS {
                return Err(Wrong::TooLarge {
                    what: "the number of inputs",
                    found: self.inputs,
                    most: MOST_INPUTS,
                });
            }
            let place = || format!("input {}", input.number);
            match self.last {
                Some((number, t_ns)) if input.number <= number || input.t_ns < t_ns => {
                    return Err(Wrong::meaning(place(), "it comes before the one in front of it"));
                }
                None => self.first_ns = input.t_ns,
                _ => {}
            }
            if input.t_ns - self.first_ns > LONGEST_NS || input.t_ns > self.head.until_ns {
                return Err(Wrong::meaning(
                    place(),
                    "it comes too long after the first one, or after the end",
                ));
            }
            self.last = Some((input.number, input.t_ns));
            inputs.push(input);
        }
        Ok(inputs)
    }

    fn end(&mut self) -> Result<(), Wrong> {
        let whole = self.whole.clone().finalize();
        let (name, contents) = self.section()?;
        if &name != b"ENDS" {
            return Err(self.order(name, "the end"));
        }
        if contents != whole.as_slice() {
            return Err(Wrong::Whole);
        }
        if let Some((_, last_ns)) = self.last
            && self.head.until_ns - last_ns > LONGEST_NS
        {
            return Err(Wrong::meaning("the head", "it lets the engine run on for too long"));
        }
        let mut more = [0];
        loop {
            match self.from.read(&mut more) {
                Ok(0) => break,
                Ok(_) => return Err(Wrong::More),
                Err(error) if error.kind() == ErrorKind::Interrupted => {}
                Err(error) => return Err(error.into()),
            }
        }
        self.ended = true;
        Ok(())
    }

    fn order(&self, found: [u8; 4], expected: &'static str) -> Wrong {
        Wrong::Order { section: self.sections, found: shown(found), expected }
    }

    fn section(&mut self) -> Result<([u8; 4], Vec<u8>), Wrong> {
        let mut bare = Bare {
            from: &mut self.from,
            whole: std::mem::take(&mut self.whole),
            read: self.read,
            unpacked: self.unpacked,
            sections: self.sections,
        };
        let section = bare.section();
        (self.whole, self.read, self.unpacked, self.sections) =
            (bare.whole, bare.read, bare.unpacked, bare.sections);
        section
    }
}

/// The sections as they stand, whatever they mean.
struct Bare<R: Read> {
    from: R,
    whole: Sha256,
    read: u64,
    unpacked: u64,
    sections: u64,
}

impl<R: Read> Bare<R> {
    fn count(&mut self, bytes: &[u8]) -> Result<(), Wrong> {
        self.whole.update(bytes);
        self.read += bytes.len() as u64;
        if self.read > MOST_FILE_BYTES {
            return Err(Wrong::TooLarge { what: "the file", found: self.read, most: MOST_FILE_BYTES });
        }
        Ok(())
    }

    fn json<T: DeserializeOwned>(&mut self, wanted: [u8; 4], what: &'static str) -> Result<T, Wrong> {
        let (name, contents) = self.section()?;
        if name != wanted {
            return Err(Wrong::Order { section: self.sections, found: shown(name), expected: what });
        }
        parse(&contents, what)
    }

    fn section(&mut self) -> Result<([u8; 4], Vec<u8>), Wrong> {
        let mut head = [0; SECTION_HEAD];
        fill(&mut self.from, &mut head, "a section's head")?;
        self.count(&head)?;
        self.sections += 1;
        let name = [head[0], head[1], head[2], head[3]];
        if head[5..8] != [0; 3] {
            let why = "bytes that are zero in this version are not";
            return Err(Wrong::Packed { section: self.sections, name: shown(name), why });
        }
        let number = |at: usize| {
            let mut bytes = [0; 8];
            bytes.copy_from_slice(&head[at..at + 8]);
            u64::from_le_bytes(bytes)
        };
        let (unpacked, packed) = (number(8), number(16));
        let large = |what, found, most| Wrong::TooLarge { what, found, most };
        // Looked at before any room is taken.
        if unpacked > MOST_SECTION_BYTES || packed > unpacked {
            return Err(large("a section", unpacked.max(packed), MOST_SECTION_BYTES.min(unpacked)));
        }
        self.unpacked += unpacked;
        if self.unpacked > MOST_UNPACKED_BYTES {
            return Err(large("the unpacked file", self.unpacked, MOST_UNPACKED_BYTES));
        }
        // In steps: a length that lies takes no more room than there are bytes.
        let mut bytes = Vec::new();
        let got = (&mut self.from).take(packed).read_to_end(&mut bytes)?;
        if got as u64 != packed {
            return Err(Wrong::Cut("a section"));
        }
        self.count(&bytes)?;
        let wrong = |why| Wrong::Packed { section: self.sections, name: shown(name), why };
        let contents = match head[4] {
            0 if packed == unpacked => bytes,
            0 => return Err(wrong("its two lengths differ")),
            1 => unpack(&bytes, unpacked).map_err(wrong)?,
            _ => return Err(wrong("it is packed in an unknown way")),
        };
        if Sha256::digest(&contents).as_slice() != &head[24..] {
            return Err(Wrong::Digest { section: self.sections, name: shown(name) });
        }
        Ok((name, contents))
    }
}

/// Unpacks to that length exactly; never to more.
fn unpack(packed: &[u8], length: u64) -> Result<Vec<u8>, &'static str> {
    let mut contents = Vec::new();
    let mut from = DeflateDecoder::new(packed).take(length + 1);
    from.read_to_end(&mut contents).map_err(|_| "its packed bytes are damaged")?;
    if contents.len() as u64 == length {
        Ok(contents)
    } else {
        Err("it unpacks to another length than it says")
    }
}

fn fill(from: &mut impl Read, into: &mut [u8], what: &'static str) -> Result<(), Wrong> {
    from.read_exact(into).map_err(|error| match error.kind() {
        ErrorKind::UnexpectedEof => Wrong::Cut(what),
        _ => Wrong::Read(error),
    })
}

fn parse<T: DeserializeOwned>(contents: &[u8], what: &'static str) -> Result<T, Wrong> {
    serde_json::from_slice(contents)
        .map_err(|error| Wrong::meaning(what, format!("it cannot be understood: {error}")))
}

/// A section's name, fit to be shown.
fn shown(name: [u8; 4]) -> String {
    name.iter().map(|byte| if byte.is_ascii_graphic() { char::from(*byte) } else { '.' }).collect()
}

fn check_head(head: &Head) -> Result<(), Wrong> {
    let texts = [&head.program, &head.label, &head.vehicle, &head.site, &head.digest];
    let instants = [head.opened_ns, head.until_ns];
    if texts.iter().any(|text| text.len() > LONGEST_NAME)
        || instants.iter().any(|ns| !(0..=LATEST_NS).contains(ns))
        || head.inputs > MOST_INPUTS
    {
        return Err(Wrong::meaning("the head", "a text, a time or a number of it is out of range"));
    }
    Ok(())
}

fn check_told(told: &Told) -> Result<(), Wrong> {
    let camera = |footage: &loftwatch_engine::Footage| {
        footage.camera.len() <= LONGEST_NAME
            && footage.file.len() <= LONGEST_NAME
            && footage.rate.iter().all(|part| *part > 0)
            && (1..=2).contains(&footage.moments.len())
            && footage
                .moments
                .iter()
                .all(|(video_s, t_ns)| (0.0..=1e6).contains(video_s) && (0..=LATEST_NS).contains(t_ns))
    };
    if told.notes.len() > LONGEST_NOTES
        || told.footage.len() > MOST_CAMERAS
        || !told.footage.iter().all(camera)
    {
        return Err(Wrong::meaning("what the crew told", "a text or a moment of it is out of range"));
    }
    Ok(())
}
