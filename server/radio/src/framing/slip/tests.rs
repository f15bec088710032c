use crate::framing::testing::{good, run, run_with};
use crate::framing::{Crc, Cut, Framing, Hints, Wrong};

fn slip(crc: Option<&str>) -> Framing {
    Framing {
        cut: Cut::Slip,
        crc: crc.map(|name| Crc { name: name.to_owned(), big_endian: false }),
        max_length: 64,
    }
}

#[test]
fn the_characters_of_rfc_1055() {
    // RFC 1055: END is 0300 octal, ESC 0333, ESC_END 0334, ESC_ESC 0335.
    let bytes = [0o300, b'a', 0o333, 0o334, b'b', 0o333, 0o335, b'c', 0o300, 0o300, 0o333, 0o334, 0o300];
    assert_eq!(good(&slip(None), &bytes), [&b"a\xc0b\xdbc"[..], b"\xc0"]);
}

#[test]
fn wrong_escapes_are_told_with_their_place() {
    let frames = run(&slip(None), b"ab\xdbc\xc0ab\xdb\xc0ok\xc0");
    assert_eq!(frames[0].payload, Err(Wrong::Slip { at: 2, found: Some(b'c') }));
    assert_eq!(frames[1].payload, Err(Wrong::Slip { at: 2, found: None }));
    assert_eq!(frames[2].payload, Ok(b"ok".to_vec()));
}

#[test]
fn checksums_of_good_short_and_damaged_frames() {
    let framing = slip(Some("CRC-16/KERMIT"));
    assert_eq!(good(&framing, b"\xc0123456789\x89\x21\xc0"), [b"123456789"]);
    let frames = run(&framing, b"1\xc0123456780\x89\x21\xc0");
    assert_eq!(frames[0].payload, Err(Wrong::TooShort { length: 1, least: 2 }));
    assert!(matches!(frames[1].payload, Err(Wrong::Checksum { found: 0x2189, .. })));
}

#[test]
fn a_frame_glued_to_noise_is_found_once_its_length_is_known() {
    let framing = slip(Some("CRC-16/KERMIT"));
    let hints = Hints { lengths: vec![9], ..Hints::default() };
    for noise in [&b"\xff"[..], b"\xdb", b"\xdb\xdc\xdb", b"12345"] {
        let mut bytes = noise.to_vec();
        bytes.extend_from_slice(b"123456789\x89\x21\xc0");
        let frames = run_with(&framing, &hints, &bytes);
        assert_eq!(frames[0].raw, noise);
        assert_eq!(frames[1].payload, Ok(b"123456789".to_vec()), "{noise:x?}");
    }
}

#[test]
fn a_frame_without_an_end_is_told() {
    let mut bytes = vec![b'x'; 500];
    bytes.extend_from_slice(b"\xc0ok\xc0");
    let frames = run(&slip(None), &bytes);
    assert_eq!(frames[0].payload, Err(Wrong::TooLong { limit: 64, bytes: 64 }));
    assert_eq!(frames[1].payload, Err(Wrong::TooLong { limit: 64, bytes: 436 }));
    assert_eq!(frames[2].payload, Ok(b"ok".to_vec()));
}
