use crate::framing::testing::{good, run};
use crate::framing::{Crc, CrcCovers, Cut, Framing, LengthCounts, LengthField, Splitter, Wrong};

fn framing(length: LengthField, counts: LengthCounts, crc_covers: CrcCovers) -> Framing {
    let cut = Cut::Sync { sync: vec![0xa5, 0x5a], length, counts, crc_covers };
    Framing { cut, crc: Some(Crc { name: "CRC-16/XMODEM".to_owned(), big_endian: true }), max_length: 300 }
}

fn plain() -> Framing {
    framing(LengthField::U8, LengthCounts::Payload, CrcCovers::Payload)
}

fn checksum(covered: &[u8]) -> [u8; 2] {
    crc::Crc::<u16>::new(&crc::CRC_16_XMODEM).checksum(covered).to_be_bytes()
}

/// A frame of [`plain`].
fn frame(payload: &[u8]) -> Vec<u8> {
    [&[0xa5, 0x5a, payload.len() as u8], payload, &checksum(payload)].concat()
}

#[test]
fn the_published_check_value_stands_at_the_end() {
    assert_eq!(frame(b"123456789"), b"\xa5\x5a\x09123456789\x31\xc3");
    assert_eq!(good(&plain(), b"\xa5\x5a\x09123456789\x31\xc3"), [b"123456789"]);
}

#[test]
fn every_width_count_and_cover() {
    let payload = b"\0\xa5\x5apayload";
    for (length, width) in [(LengthField::U8, 1), (LengthField::U16Le, 2), (LengthField::U16Be, 2)] {
        for (counts, extra) in
            [(LengthCounts::Payload, 0), (LengthCounts::PayloadAndCrc, 2), (LengthCounts::Whole, 4 + width)]
        {
            for (covers, from) in
                [(CrcCovers::All, 0), (CrcCovers::LengthAndPayload, 2), (CrcCovers::Payload, 2 + width)]
            {
                let declared = (payload.len() + extra) as u16;
                let stored = match length {
                    LengthField::U8 => vec![declared as u8],
                    LengthField::U16Le => declared.to_le_bytes().to_vec(),
                    LengthField::U16Be => declared.to_be_bytes().to_vec(),
                };
                let mut bytes = [&[0xa5, 0x5a][..], &stored, payload].concat();
                let crc = checksum(&bytes[from..]);
                bytes.extend(crc);
                assert_eq!(
                    good(&framing(length, counts, covers), &bytes),
                    [payload],
                    "{length:?} {counts:?} {covers:?}"
                );
            }
        }
    }
}

#[test]
fn a_false_sync_word_or_a_corrupt_length_swallows_no_good_frame() {
    let good_ones = [frame(b"first"), frame(b"second one"), frame(b"third")];
    let mut corrupt = frame(b"corrupt length");
    corrupt[2] = 40;
    let bytes =
        [&good_ones[0][..], &corrupt, &good_ones[1], b"\xa5\x5a\x30noise\xa5", &good_ones[2], &[0; 60]]
            .concat();
    let frames = run(&plain(), &bytes);
    let texts: Vec<&[u8]> = frames.iter().filter_map(|f| f.payload.as_deref().ok()).collect();
    assert_eq!(texts, [&b"first"[..], b"second one", b"third"]);
    assert_eq!(frames[1].raw, corrupt);
    assert!(matches!(frames[1].payload, Err(Wrong::Checksum { .. })));
    assert_eq!(frames[3].raw, b"\xa5\x5a\x30noise\xa5");
    // Nothing of the stream is unaccounted for, up to what may still be the beginning of a frame.
    let mut at = 0;
    for frame in &frames {
        assert_eq!(frame.offset, at);
        at += frame.raw.len() as u64;
    }
}

#[test]
fn a_damaged_frame_is_one_wrong_frame() {
    let mut damaged = frame(b"damaged \xa5\x5a\x02 here");
    damaged[5] ^= 1;
    let frames = run(&plain(), &[&damaged[..], &damaged, &frame(b"good")].concat());
    assert_eq!(frames.len(), 3, "{frames:?}");
    assert_eq!((&frames[0].raw, &frames[1].raw), (&damaged, &damaged));
    assert_eq!(frames[2].payload, Ok(b"good".to_vec()));
}

#[test]
fn lengths_that_cannot_be_true() {
    let whole = framing(LengthField::U16Be, LengthCounts::Whole, CrcCovers::All);
    let frames = run(&whole, &[&b"\xa5\x5a\x00\x02"[..], b"\xa5\x5a\xff\xff", &[0; 40]].concat());
    assert_eq!(frames[0].payload, Err(Wrong::BadLength { declared: 2, least: 6, most: 300 }));
    assert_eq!(frames[0].raw, b"\xa5\x5a\x00\x02");
    let mut splitter = Splitter::new(&whole);
    splitter.push(&[0xa5, 0x5a, 0xff, 0xff, 1, 2], 0, &mut |_| panic!("not ended"));
    let mut seen = Vec::new();
    splitter.reset(&mut |frame| seen.push(frame.payload.map(<[u8]>::len)));
    assert_eq!(seen, [Err(Wrong::BadLength { declared: 65535, least: 6, most: 300 })]);
}

#[test]
fn a_restart_of_the_link_voids_half_a_frame_but_not_one_hidden_in_it() {
    let mut splitter = Splitter::new(&plain());
    let mut bytes = vec![0xa5, 0x5a, 200];
    bytes.extend(frame(b"hidden"));
    bytes.extend([0xa5, 0x5a, 9, 1]);
    splitter.push(&bytes, 5, &mut |_| panic!("not complete"));
    let mut seen = Vec::new();
    splitter
        .reset(&mut |frame| seen.push((frame.raw.to_vec(), frame.payload.map(<[u8]>::to_vec), frame.t_ns)));
    assert_eq!(seen.len(), 3, "{seen:?}");
    assert_eq!(seen[0], (vec![0xa5, 0x5a, 200], Err(Wrong::Partial { bytes: 3 }), 5));
    assert_eq!(seen[1].1, Ok(b"hidden".to_vec()));
    assert_eq!(seen[2], (vec![0xa5, 0x5a, 9, 1], Err(Wrong::Partial { bytes: 4 }), 5));
    assert_eq!((splitter.unfinished_bytes(), splitter.bytes()), (0, 18));
}

#[test]
fn the_time_is_that_of_the_frames_last_byte_even_if_it_is_found_later() {
    let mut splitter = Splitter::new(&plain());
    let mut seen = Vec::new();
    let mut sink = |frame: crate::Frame<'_>| seen.push((frame.payload.is_ok(), frame.t_ns));
    splitter.push(&[0xa5, 0x5a, 30], 1, &mut sink);
    splitter.push(&frame(b"early"), 2, &mut sink);
    splitter.push(&[7; 40], 3, &mut sink);
    assert_eq!(seen, [(false, 1), (true, 2)]);
}

#[test]
fn without_a_crc_a_frame_that_was_cut_short_swallows_no_good_one() {
    let framing = Framing { crc: None, ..plain() };
    let whole = |payload: &[u8]| [&[0xa5, 0x5a, payload.len() as u8], payload].concat();
    let cut = whole(b"cut short here");
    let in_it = b"\xa5\x5a\x02in";
    let bytes = [
        &whole(b"first")[..],
        &cut[..9],
        &whole(b"second"),
        &whole(b"third"),
        &whole(in_it),
        &whole(b"last"),
    ];
    let frames = run(&framing, &bytes.concat());
    assert_eq!(frames[1].payload, Err(Wrong::CutShort { length: 17, seen: 9 }));
    let texts: Vec<&[u8]> = frames.iter().filter_map(|f| f.payload.as_deref().ok()).collect();
    assert_eq!(texts, [&b"first"[..], b"second", b"third", in_it, b"last"]);
}
