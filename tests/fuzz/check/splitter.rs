//! What must hold for any bytes: the first says which framing, the second how the stream is cut into calls.

use loftwatch_radio::{
    Crc, CrcCovers, Cut, Frame, Framing, LengthCounts, LengthField, LineChecksum, Splitter, Wrong,
};

fn framings() -> Vec<Framing> {
    let sync = || vec![0xa5, 0x5a];
    let counted = |length, counts, crc_covers| Cut::Sync { sync: sync(), length, counts, crc_covers };
    let cuts = [
        (Cut::Lines { checksum: LineChecksum::Optional }, None),
        (Cut::Lines { checksum: LineChecksum::Xor }, None),
        (Cut::Lines { checksum: LineChecksum::None }, None),
        (Cut::Lines { checksum: LineChecksum::Xor }, Some("CRC-16/XMODEM")),
        (Cut::Cobs, None),
        (Cut::Cobs, Some("CRC-8/SMBUS")),
        (Cut::Cobs, Some("CRC-32/ISO-HDLC")),
        (Cut::Slip, None),
        (Cut::Slip, Some("CRC-16/KERMIT")),
        (Cut::Kiss, None),
        (Cut::Kiss, Some("CRC-16/KERMIT")),
        (counted(LengthField::U8, LengthCounts::Payload, CrcCovers::Payload), None),
        (counted(LengthField::U8, LengthCounts::Whole, CrcCovers::All), Some("CRC-8/SMBUS")),
        (
            counted(LengthField::U16Le, LengthCounts::PayloadAndCrc, CrcCovers::LengthAndPayload),
            Some("CRC-24/OPENPGP"),
        ),
        (counted(LengthField::U16Be, LengthCounts::Whole, CrcCovers::Payload), None),
        (Cut::Fixed { length: 8, sync: Vec::new(), crc_covers: CrcCovers::All }, None),
        (Cut::Fixed { length: 8, sync: Vec::new(), crc_covers: CrcCovers::All }, Some("CRC-8/SMBUS")),
        (Cut::Fixed { length: 8, sync: sync(), crc_covers: CrcCovers::Payload }, Some("CRC-8/SMBUS")),
        (
            Cut::Fixed { length: 0, sync: sync(), crc_covers: CrcCovers::LengthAndPayload },
            Some("no such name"),
        ),
    ];
    let framing = |(cut, name): (Cut, Option<&str>)| {
        let crc = name.map(|name| Crc { name: name.to_owned(), big_endian: false });
        Framing { cut, crc, max_length: 48 }
    };
    cuts.into_iter().map(framing).collect()
}

type Kept = (Vec<u8>, Result<Vec<u8>, Wrong>, u64);

fn keep(kept: &mut Vec<Kept>) -> impl FnMut(Frame<'_>) + '_ {
    |frame| kept.push((frame.raw.to_vec(), frame.payload.map(<[u8]>::to_vec), frame.offset))
}

/// Panics if something does not hold.
pub(crate) fn splitter(data: &[u8]) {
    let [which, cutting, stream @ ..] = data else { return };
    let mut framings = framings();
    let count = framings.len();
    let framing = framings.swap_remove(usize::from(*which) % count);
    let mut whole = Vec::new();
    let mut one = Splitter::new(&framing);
    one.push(stream, 0, &mut keep(&mut whole));
    assert!(one.unfinished_bytes() <= 3 * framing.max_length, "{framing:?}");
    one.reset(&mut keep(&mut whole));

    let mut cut = Vec::new();
    let mut many = Splitter::new(&framing);
    let mut rest = stream;
    let mut length = usize::from(*cutting);
    while !rest.is_empty() {
        length = length * 5 % 17 + 1;
        let (piece, after) = rest.split_at(length.min(rest.len()));
        many.push(piece, 0, &mut keep(&mut cut));
        many = many.clone();
        rest = after;
    }
    many.reset(&mut keep(&mut cut));
    assert_eq!(whole, cut, "{framing:?}");
    assert_eq!(one, many, "{framing:?}");

    let mut end = 0;
    for (raw, _, offset) in &whole {
        assert!(*offset >= end, "frames overlap: {framing:?} {whole:?}");
        assert!(raw.len() <= framing.max_length, "too long: {framing:?} {raw:?}");
        let at = *offset as usize;
        assert_eq!(Some(&raw[..]), stream.get(at..at + raw.len()), "not as received: {framing:?}");
        end = offset + raw.len() as u64;
    }
}
