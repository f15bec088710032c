use crate::framing::testing::{good, run};
use crate::framing::{Crc, CrcCovers, Cut, Framing, Wrong};

fn fixed(length: usize, sync: &[u8], crc: bool, crc_covers: CrcCovers) -> Framing {
    let crc = crc.then(|| Crc { name: "CRC-16/MODBUS".to_owned(), big_endian: false });
    Framing { cut: Cut::Fixed { length, sync: sync.to_vec(), crc_covers }, crc, max_length: 64 }
}

/// Nine bytes and their CRC-16/MODBUS, low byte first.
fn frame(text: [u8; 9]) -> Vec<u8> {
    [&text[..], &crc::Crc::<u16>::new(&crc::CRC_16_MODBUS).checksum(&text).to_le_bytes()].concat()
}

#[test]
fn frames_are_counted_off_where_nothing_marks_them() {
    assert_eq!(good(&fixed(3, &[], false, CrcCovers::All), b"abcdefgh"), [b"abc", b"def"]);
}

#[test]
fn the_published_check_value_stands_at_the_end() {
    assert_eq!(good(&fixed(11, &[], true, CrcCovers::All), b"123456789\x37\x4b"), [b"123456789"]);
}

#[test]
fn the_crc_alone_finds_the_frames_again() {
    let (a, b, c, d) =
        (frame(*b"frame one"), frame(*b"frame two"), frame(*b"the third"), frame(*b"number 4 "));
    // Noise before, a byte lost, bytes between, a truncated frame.
    let bytes = [&b"noise"[..], &a, &b[1..], &c, b"xy", &d, &a[..4], &b, &c].concat();
    let frames = run(&fixed(11, &[], true, CrcCovers::All), &bytes);
    let texts: Vec<&[u8]> = frames.iter().filter_map(|f| f.payload.as_deref().ok()).collect();
    assert_eq!(texts, [&b"frame one"[..], b"the third", b"number 4 ", b"frame two", b"the third"]);
    assert_eq!(frames.iter().map(|frame| frame.raw.len()).sum::<usize>(), bytes.len());
}

#[test]
fn a_damaged_frame_in_step_is_one_wrong_frame() {
    let (a, mut b, c) = (frame(*b"frame one"), frame(*b"frame two"), frame(*b"the third"));
    b[4] ^= 0x10;
    let frames = run(&fixed(11, &[], true, CrcCovers::All), &[&a[..], &b, &c].concat());
    assert_eq!(frames.len(), 3);
    assert_eq!(frames[1].raw, b);
    assert!(matches!(frames[1].payload, Err(Wrong::Checksum { .. })));
    assert_eq!(frames[2].payload, Ok(b"the third".to_vec()));
}

#[test]
fn a_sync_word_is_taken_off_and_searched_for() {
    let framing = fixed(6, &[0xa5, 0x5a], false, CrcCovers::All);
    let frames = run(&framing, b"\xa5xx\xa5\x5aabcd\xa5\xa5\x5aefgh\xa5\x5aij");
    assert_eq!(frames[0].payload, Err(Wrong::Garbage { bytes: 3 }));
    assert_eq!(frames[1].payload, Ok(b"abcd".to_vec()));
    assert_eq!(frames[2].payload, Err(Wrong::Garbage { bytes: 1 }));
    assert_eq!(frames[3].payload, Ok(b"efgh".to_vec()));
}

#[test]
fn a_false_sync_word_swallows_no_good_frame() {
    for covers in [CrcCovers::All, CrcCovers::Payload] {
        let framing = fixed(13, &[0xa5, 0x5a], true, covers);
        let whole = |text: &[u8; 9]| {
            let bytes = [&[0xa5, 0x5a], &text[..]].concat();
            let from = if covers == CrcCovers::All { 0 } else { 2 };
            let crc = crc::Crc::<u16>::new(&crc::CRC_16_MODBUS).checksum(&bytes[from..]).to_le_bytes();
            [&bytes[..], &crc].concat()
        };
        let bytes =
            [&whole(b"frame one")[..7], &whole(b"frame two"), b"\xa5\x5a\xa5", &whole(b"the third")].concat();
        assert_eq!(good(&framing, &bytes), [b"frame two", b"the third"]);
    }
}

#[test]
fn without_a_crc_a_frame_that_was_cut_short_swallows_no_good_one() {
    let framing = fixed(6, &[0xa5, 0x5a], false, CrcCovers::All);
    let bytes = b"\xa5\x5aab\xa5\x5aefgh\xa5\x5aijkl\xa5\x5a\xa5\x5amn\xa5\x5aopqr\xa5\x5a";
    let frames = run(&framing, bytes);
    assert_eq!(frames[0].payload, Err(Wrong::CutShort { length: 6, seen: 4 }));
    let texts: Vec<&[u8]> = frames.iter().filter_map(|f| f.payload.as_deref().ok()).collect();
    assert_eq!(texts, [&b"efgh"[..], b"ijkl", b"\xa5\x5amn", b"opqr"]);
}
