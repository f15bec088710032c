//! CRCs by the names of the public CRC catalogue.
//!
//! A CRC of `width` bits is stored in `width / 8` bytes, rounded up, in the byte order that the crew tells. Tables of
//! sixteen rows are made once a splitter.

use std::sync::Arc;

use crc::{Crc as Engine, Table};

use super::catalogue::{ALIASES, CATALOGUE, Entry};
use super::{Crc, Wrong};
use crate::spelling::nearest;

/// What is called CCITT: all three have the polynomial 0x1021 of ITU-T V.41. The catalogue gives that name to the
/// second, most libraries to the first (common practice, no source).
const SEVERAL: [(&str, &str); 3] = [
    ("CRC-16/IBM-3740", "begins with 0xFFFF"),
    ("CRC-16/KERMIT", "reflected, begins with 0"),
    ("CRC-16/XMODEM", "begins with 0"),
];

/// Why a CRC's name is not known.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`{name}` is not the name of one CRC in the public CRC catalogue; {}", self.hint())]
pub struct UnknownCrc {
    /// The name as written.
    pub name: String,
    /// Names that look like it, the likeliest first.
    pub nearest: Vec<&'static str>,
    /// Several are called so: those in `nearest`.
    pub several: bool,
}

impl UnknownCrc {
    /// What to try.
    pub fn hint(&self) -> String {
        let or = |names: Vec<String>| names.join(" or ");
        if self.several {
            let names = SEVERAL.iter().map(|(name, how)| format!("\"{name}\" ({how})")).collect();
            return format!("several are called CCITT; try {}", or(names));
        }
        match self.nearest.as_slice() {
            [] => "such names are \"CRC-16/IBM-3740\" or \"CRC-32/ISO-HDLC\"".to_owned(),
            near => format!("did you mean {}?", or(near.iter().map(|name| format!("\"{name}\"")).collect())),
        }
    }
}

/// Letters and digits alone, in small letters: `crc16_x25` is how many write `CRC-16/X-25`.
fn plain(name: &str) -> String {
    name.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect()
}

impl Crc {
    /// All names of the catalogue, narrow ones first.
    pub fn names() -> impl Iterator<Item = &'static str> {
        CATALOGUE.iter().map(|(name, _)| *name)
    }

    /// The catalogue's own spelling of a name or an alias, whatever its case and punctuation.
    pub fn canonical(name: &str) -> Result<&'static str, UnknownCrc> {
        let wanted = plain(name);
        let by_alias = ALIASES.iter().find(|(alias, _)| plain(alias) == wanted).map(|(_, name)| *name);
        let found = by_alias.or_else(|| Self::names().find(|name| plain(name) == wanted));
        found.ok_or_else(|| {
            let names = Self::names().chain(ALIASES.iter().map(|(alias, _)| *alias));
            let nearest = nearest(name, names);
            let ccitt = wanted.contains("ccitt");
            let nothing_else = wanted.replace("ccitt", "").replace("crc", "").replace("16", "").is_empty();
            if ccitt && (nothing_else || nearest.is_empty()) {
                let nearest = SEVERAL.iter().map(|(name, _)| *name).collect();
                UnknownCrc { name: name.to_owned(), nearest, several: true }
            } else {
                UnknownCrc { name: name.to_owned(), nearest, several: false }
            }
        })
    }

    /// Width in bits.
    pub fn width_bits(&self) -> Result<u8, UnknownCrc> {
        let name = Self::canonical(&self.name)?;
        let entry = CATALOGUE.iter().find(|(known, _)| *known == name).map(|(_, entry)| *entry);
        Ok(entry.map_or(0, |entry| match entry {
            Entry::U8(a) => a.width,
            Entry::U16(a) => a.width,
            Entry::U32(a) => a.width,
            Entry::U64(a) => a.width,
            Entry::U128(a) => a.width,
        }))
    }

    /// What it is made of; none of one that is not known or has more than 64 bits.
    pub(crate) fn parameters(&self) -> Option<Parameters> {
        let name = Self::canonical(&self.name).ok()?;
        let entry = CATALOGUE.iter().find(|(known, _)| *known == name)?.1;
        Some(match entry {
            Entry::U8(a) => {
                Parameters::of(a.width, a.poly.into(), a.init.into(), (a.refin, a.refout), a.xorout.into())
            }
            Entry::U16(a) => {
                Parameters::of(a.width, a.poly.into(), a.init.into(), (a.refin, a.refout), a.xorout.into())
            }
            Entry::U32(a) => {
                Parameters::of(a.width, a.poly.into(), a.init.into(), (a.refin, a.refout), a.xorout.into())
            }
            Entry::U64(a) => Parameters::of(a.width, a.poly, a.init, (a.refin, a.refout), a.xorout),
            Entry::U128(_) => return None,
        })
    }

    /// Bytes that it takes in a frame.
    pub fn stored_bytes(&self) -> Result<usize, UnknownCrc> {
        Ok(usize::from(self.width_bits()?).div_ceil(8))
    }
}

/// The figures of a CRC, as the catalogue names them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Parameters {
    pub(crate) width: u8,
    pub(crate) poly: u64,
    pub(crate) init: u64,
    pub(crate) refin: bool,
    pub(crate) refout: bool,
    pub(crate) xorout: u64,
}

impl Parameters {
    const fn of(width: u8, poly: u64, init: u64, (refin, refout): (bool, bool), xorout: u64) -> Self {
        Self { width, poly, init, refin, refout, xorout }
    }
}

/// A CRC ready to be computed.
#[derive(Clone)]
pub(super) struct Check {
    engine: Register,
    /// Bytes in a frame.
    pub(super) stored: usize,
    /// Width in bits.
    pub(super) width: u8,
    big_endian: bool,
}

#[derive(Clone)]
enum Register {
    U8(Arc<Engine<u8, Table<16>>>),
    U16(Arc<Engine<u16, Table<16>>>),
    U32(Arc<Engine<u32, Table<16>>>),
    U64(Arc<Engine<u64, Table<16>>>),
    U128(Arc<Engine<u128, Table<16>>>),
}

impl std::fmt::Debug for Check {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Check")
            .field("width", &self.width)
            .field("big_endian", &self.big_endian)
            .finish_non_exhaustive()
    }
}

impl Check {
    /// Makes the tables. A name that the catalogue does not know gives `None`: `Framing::check` says so beforehand.
    pub(super) fn new(crc: &Crc) -> Option<Self> {
        let name = Crc::canonical(&crc.name).ok()?;
        let entry = CATALOGUE.iter().find(|(known, _)| *known == name)?.1;
        let (engine, width) = match entry {
            Entry::U8(a) => (Register::U8(Arc::new(Engine::<u8, Table<16>>::new(a))), a.width),
            Entry::U16(a) => (Register::U16(Arc::new(Engine::<u16, Table<16>>::new(a))), a.width),
            Entry::U32(a) => (Register::U32(Arc::new(Engine::<u32, Table<16>>::new(a))), a.width),
            Entry::U64(a) => (Register::U64(Arc::new(Engine::<u64, Table<16>>::new(a))), a.width),
            Entry::U128(a) => (Register::U128(Arc::new(Engine::<u128, Table<16>>::new(a))), a.width),
        };
        Some(Self { engine, stored: usize::from(width).div_ceil(8), width, big_endian: crc.big_endian })
    }

    /// The same, stored in this order.
    pub(super) fn with_order(&self, big_endian: bool) -> Self {
        Self { big_endian, ..self.clone() }
    }

    /// The CRC of some bytes.
    pub(super) fn of(&self, bytes: &[u8]) -> u128 {
        match &self.engine {
            Register::U8(engine) => u128::from(engine.checksum(bytes)),
            Register::U16(engine) => u128::from(engine.checksum(bytes)),
            Register::U32(engine) => u128::from(engine.checksum(bytes)),
            Register::U64(engine) => u128::from(engine.checksum(bytes)),
            Register::U128(engine) => engine.checksum(bytes),
        }
    }

    /// The value in its stored form.
    pub(super) fn read(&self, stored: &[u8]) -> u128 {
        let add = |value: u128, byte: &u8| (value << 8) | u128::from(*byte);
        if self.big_endian { stored.iter().fold(0, add) } else { stored.iter().rev().fold(0, add) }
    }

    /// Whether the CRC of `covered` is what `stored` says.
    pub(super) fn verify(&self, covered: &[u8], stored: &[u8]) -> Result<(), Wrong> {
        let (expected, found) = (self.of(covered), self.read(stored));
        if expected == found {
            Ok(())
        } else {
            // The report holds 64 bits: of the one wider CRC it says the last 16 digits.
            let digits = self.width.div_ceil(4).min(16);
            Err(Wrong::Checksum { expected: expected as u64, found: found as u64, digits })
        }
    }

    /// Takes the CRC off the end of bytes that it covers, after checking it.
    pub(super) fn strip<'a>(&self, bytes: &'a [u8]) -> Result<&'a [u8], Wrong> {
        let length = bytes.len();
        let cut = length.checked_sub(self.stored).ok_or(Wrong::TooShort { length, least: self.stored })?;
        let (covered, stored) = bytes.split_at(cut);
        self.verify(covered, stored).map(|()| covered)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_algorithm_gives_the_check_value_published_in_the_catalogue() {
        for (name, entry) in CATALOGUE {
            let check = Check::new(&Crc { name: (*name).to_owned(), big_endian: true }).unwrap();
            let published = match entry {
                Entry::U8(a) => u128::from(a.check),
                Entry::U16(a) => u128::from(a.check),
                Entry::U32(a) => u128::from(a.check),
                Entry::U64(a) => u128::from(a.check),
                Entry::U128(a) => a.check,
            };
            assert_eq!(check.of(b"123456789"), published, "{name}");
            assert!(name.starts_with(&format!("CRC-{}/", check.width)), "{name}");
        }
        assert!(CATALOGUE.len() > 110);
    }

    #[test]
    fn names_lead_to_the_published_values() {
        // From the catalogue's pages, from memory, so that a wrong row in the table shows.
        for (name, value) in [
            ("CRC-16/IBM-3740", 0x29b1),
            ("CRC-16/XMODEM", 0x31c3),
            ("CRC-16/KERMIT", 0x2189),
            ("CRC-16/MODBUS", 0x4b37),
            ("CRC-16/ARC", 0xbb3d),
            ("CRC-16/IBM-SDLC", 0x906e),
            ("CRC-16/CCITT-FALSE", 0x29b1),
            ("CRC-8/SMBUS", 0xf4),
            ("CRC-8/MAXIM-DOW", 0xa1),
            ("CRC-24/OPENPGP", 0x21cf02),
            ("CRC-32/ISO-HDLC", 0xcbf43926),
            ("CRC-32/ISCSI", 0xe3069283),
            ("crc-32c", 0xe3069283),
            ("CRC-64/XZ", 0x995dc9bbdf1939fa),
        ] {
            let check = Check::new(&Crc { name: name.to_owned(), big_endian: true }).unwrap();
            assert_eq!(check.of(b"123456789"), value, "{name}");
        }
    }

    #[test]
    fn widths_between_bytes_take_whole_bytes() {
        for (name, bytes) in [
            ("CRC-8/SMBUS", 1),
            ("CRC-12/UMTS", 2),
            ("CRC-17/CAN-FD", 3),
            ("CRC-24/BLE", 3),
            ("CRC-40/GSM", 5),
            ("CRC-82/DARC", 11),
        ] {
            assert_eq!(Crc { name: name.to_owned(), big_endian: false }.stored_bytes(), Ok(bytes), "{name}");
        }
    }

    #[test]
    fn a_slip_of_the_pen_is_answered_with_the_likely_name() {
        let error = Crc::canonical("CRC-16/IBM-3470").unwrap_err();
        assert_eq!(error.nearest.first(), Some(&"CRC-16/IBM-3740"));
        assert!(error.to_string().contains("did you mean \"CRC-16/IBM-3740\""), "{error}");
        let error = Crc::canonical("crc16/xmoden").unwrap_err();
        assert_eq!(error.nearest.first(), Some(&"CRC-16/XMODEM"));
        let error = Crc::canonical("CRC-16/CCITT-FALZE").unwrap_err();
        assert_eq!(error.nearest.first(), Some(&"CRC-16/CCITT-FALSE"));
        assert!(!error.several);
        assert!(Crc::canonical("fletcher").unwrap_err().to_string().contains("CRC-32/ISO-HDLC"));
    }

    #[test]
    fn names_are_taken_as_people_write_them() {
        for (written, name) in [
            ("crc16", "CRC-16/ARC"),
            ("crc32", "CRC-32/ISO-HDLC"),
            ("CRC32C", "CRC-32/ISCSI"),
            ("xmodem", "CRC-16/XMODEM"),
            ("crc16_xmodem", "CRC-16/XMODEM"),
            ("Modbus", "CRC-16/MODBUS"),
            ("crc-16-modbus", "CRC-16/MODBUS"),
            ("x25", "CRC-16/IBM-SDLC"),
            ("CRC16 CCITT FALSE", "CRC-16/IBM-3740"),
            ("crc-8", "CRC-8/SMBUS"),
        ] {
            assert_eq!(Crc::canonical(written), Ok(name), "{written}");
        }
    }

    #[test]
    fn without_punctuation_no_name_stands_for_two() {
        let mut seen = std::collections::BTreeMap::new();
        for (written, name) in CATALOGUE.iter().map(|(name, _)| (*name, *name)).chain(ALIASES.iter().copied())
        {
            assert_eq!(Crc::canonical(written), Ok(name), "{written}");
            assert_eq!(*seen.entry(plain(written)).or_insert(name), name, "{written}");
        }
    }

    #[test]
    fn what_is_called_ccitt_is_asked_back() {
        for written in ["crc16-ccitt", "CRC-CCITT", "CRC-16/CCITT", "ccitt", "CCITT-16", "crc-ccitt (0xffff)"]
        {
            let error = Crc::canonical(written).unwrap_err();
            assert!(error.several, "{written}: {error}");
            assert_eq!(
                error.hint(),
                "several are called CCITT; try \"CRC-16/IBM-3740\" (begins with 0xFFFF) or \"CRC-16/KERMIT\" (reflected, begins with 0) or \"CRC-16/XMODEM\" (begins with 0)"
            );
        }
    }

    /// The published sums of the three begin as the hint says: an empty message leaves the beginning as it is.
    #[test]
    fn the_three_begin_as_is_said() {
        let empty = |name: &str| {
            Check::new(&Crc { name: name.to_owned(), big_endian: true }).map(|check| check.of(b""))
        };
        assert_eq!(SEVERAL.map(|(name, _)| empty(name)), [Some(0xffff), Some(0), Some(0)]);
    }

    #[test]
    fn both_byte_orders() {
        let little = Check::new(&Crc { name: "CRC-24/OPENPGP".to_owned(), big_endian: false }).unwrap();
        assert_eq!(little.strip(b"123456789\x02\xcf\x21"), Ok(&b"123456789"[..]));
        let big = Check::new(&Crc { name: "CRC-24/OPENPGP".to_owned(), big_endian: true }).unwrap();
        assert_eq!(big.strip(b"123456789\x21\xcf\x02"), Ok(&b"123456789"[..]));
        assert_eq!(
            big.strip(b"123456789\x02\xcf\x21"),
            Err(Wrong::Checksum { expected: 0x21cf02, found: 0x02cf21, digits: 6 })
        );
        assert_eq!(big.strip(b"12"), Err(Wrong::TooShort { length: 2, least: 3 }));
    }
}
