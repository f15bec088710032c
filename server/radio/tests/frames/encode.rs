//! Encoders for the tests, written from the standards and sharing no code with the crate.

use loftwatch_radio::{Crc, CrcCovers, Cut, Framing, LengthCounts, LengthField, LineChecksum};

/// A CRC's name and the bits of its register, both polynomials and starts as the catalogue has them, not reflected.
#[derive(Clone, Copy)]
pub(crate) enum Width {
    /// CRC-16/IBM-3740: polynomial 1021, start FFFF.
    Sixteen,
    /// CRC-32/BZIP2: polynomial 04C11DB7, start FFFFFFFF, result inverted. For properties that a chance hit in 65536
    /// would break.
    ThirtyTwo,
}

/// The CRC that a framing names, bit by bit, in big-endian order.
pub(crate) fn crc(framing: &Framing, bytes: &[u8]) -> Vec<u8> {
    let shift = |register: u32, byte: &u8, polynomial: u32| {
        (0..8).fold(register ^ u32::from(*byte) << 24, |r, _| {
            if r >> 31 == 0 { r << 1 } else { r << 1 ^ polynomial }
        })
    };
    if framing.crc.as_ref().is_some_and(|crc| crc.name == "CRC-32/BZIP2") {
        let register = bytes.iter().fold(0xffff_ffff, |register, byte| shift(register, byte, 0x04c1_1db7));
        (!register).to_be_bytes().to_vec()
    } else {
        let register = bytes.iter().fold(0xffff_0000, |register, byte| shift(register, byte, 0x1021_0000));
        register.to_be_bytes()[..2].to_vec()
    }
}

pub(crate) fn framing(cut: Cut, width: Width) -> Framing {
    let name = match width {
        Width::Sixteen => "CRC-16/IBM-3740",
        Width::ThirtyTwo => "CRC-32/BZIP2",
    };
    let crc = (!matches!(cut, Cut::Lines { .. })).then(|| Crc { name: name.to_owned(), big_endian: true });
    Framing { cut, crc, max_length: 128 }
}

pub(crate) const SYNC: [u8; 2] = [0xa5, 0x5a];
/// Payload of fixed frames, bytes.
pub(crate) const FIXED: usize = 20;

/// One framing of each kind, each with a checksum.
pub(crate) fn all(width: Width) -> Vec<Framing> {
    let sync = SYNC.to_vec();
    let stored = match width {
        Width::Sixteen => 2,
        Width::ThirtyTwo => 4,
    };
    let counted = |length, counts, crc_covers| Cut::Sync { sync: sync.clone(), length, counts, crc_covers };
    let cuts = [
        Cut::Lines { checksum: LineChecksum::Xor },
        Cut::Cobs,
        Cut::Slip,
        counted(LengthField::U8, LengthCounts::Payload, CrcCovers::All),
        counted(LengthField::U16Be, LengthCounts::Whole, CrcCovers::Payload),
        Cut::Fixed { length: SYNC.len() + FIXED + stored, sync: sync.clone(), crc_covers: CrcCovers::All },
        Cut::Fixed { length: FIXED + stored, sync: Vec::new(), crc_covers: CrcCovers::All },
        Cut::Kiss,
    ];
    cuts.into_iter().map(|cut| framing(cut, width)).collect()
}

/// What of some bytes a framing can carry.
pub(crate) fn payload(framing: &Framing, bytes: &[u8]) -> Vec<u8> {
    match &framing.cut {
        Cut::Lines { .. } => {
            bytes.iter().map(|byte| b"0123456789,.-ABCDEFabcdef"[usize::from(*byte) % 25]).collect()
        }
        Cut::Fixed { .. } => bytes.iter().copied().chain(std::iter::repeat(0x77)).take(FIXED).collect(),
        _ => bytes.to_vec(),
    }
}

/// A frame as it goes over the air, with its delimiter.
pub(crate) fn encode(framing: &Framing, payload: &[u8]) -> Vec<u8> {
    match &framing.cut {
        Cut::Lines { .. } => {
            let sum = payload.iter().fold(0, |sum, byte| sum ^ byte);
            [b"$", payload, format!("*{sum:02x}\r\n").as_bytes()].concat()
        }
        Cut::Cobs => cobs(&with_crc(framing, payload)),
        Cut::Slip => slip(&with_crc(framing, payload)),
        // Port 0, data.
        Cut::Kiss => slip(&with_crc(framing, &[&[0x00], payload].concat())),
        Cut::Sync { sync, length: LengthField::U8, .. } => {
            with_crc(framing, &[&sync[..], &[payload.len() as u8], payload].concat())
        }
        Cut::Sync { sync, .. } => {
            let crc = crc(framing, payload);
            let declared = (sync.len() + 2 + payload.len() + crc.len()) as u16;
            [&sync[..], &declared.to_be_bytes(), payload, &crc].concat()
        }
        Cut::Fixed { sync, .. } => with_crc(framing, &[&sync[..], payload].concat()),
    }
}

/// What the crate hands out for a payload.
pub(crate) fn handed_out(framing: &Framing, payload: &[u8]) -> Vec<u8> {
    if matches!(framing.cut, Cut::Lines { .. }) { [b"$", payload].concat() } else { payload.to_vec() }
}

/// What ends an unfinished frame, so that garbage before a good frame is told apart from it; nothing where a frame
/// begins with its own mark.
pub(crate) fn delimiter(framing: &Framing) -> &'static [u8] {
    match framing.cut {
        Cut::Lines { .. } => b"\n",
        Cut::Cobs => &[0],
        Cut::Slip | Cut::Kiss => &[0xc0],
        _ => &[],
    }
}

fn with_crc(framing: &Framing, bytes: &[u8]) -> Vec<u8> {
    [bytes, &crc(framing, bytes)].concat()
}

/// Cheshire & Baker (1999), a byte at a time.
fn cobs(bytes: &[u8]) -> Vec<u8> {
    let mut out = vec![1];
    let mut code = 0;
    for byte in bytes {
        if out[code] == 0xff {
            code = out.len();
            out.push(1);
        }
        if *byte == 0 {
            code = out.len();
            out.push(1);
        } else {
            out.push(*byte);
            out[code] += 1;
        }
    }
    out.push(0);
    out
}

/// RFC 1055.
fn slip(bytes: &[u8]) -> Vec<u8> {
    let escaped = bytes.iter().flat_map(|byte| match byte {
        0xc0 => vec![0xdb, 0xdc],
        0xdb => vec![0xdb, 0xdd],
        other => vec![*other],
    });
    escaped.chain([0xc0]).collect()
}
