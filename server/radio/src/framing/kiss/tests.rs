use crate::framing::testing::{good, run};
use crate::framing::{Crc, Cut, Framing, Wrong};

fn kiss() -> Framing {
    Framing { cut: Cut::Kiss, crc: None, max_length: 64 }
}

#[test]
fn the_examples_of_the_protocol() {
    // Chepponis & Karn 1987, from memory: "TEST" out of port 0, "Hello" out of port 5, the bytes C0 DB, and the end of
    // KISS mode, which carries nothing.
    assert_eq!(good(&kiss(), b"\xc0\x00TEST\xc0"), [b"TEST"]);
    assert_eq!(good(&kiss(), b"\xc0\x50Hello\xc0"), [b"Hello"]);
    assert_eq!(good(&kiss(), b"\xc0\x00\xdb\xdc\xdb\xdd\xc0"), [b"\xc0\xdb"]);
    let frames = run(&kiss(), b"\xc0\xff\xc0\xc0\x01\x32\xc0");
    let wrong: Vec<_> = frames.into_iter().filter_map(|frame| frame.payload.err()).collect();
    assert_eq!(wrong, [Wrong::TooShort { length: 1, least: 2 }, Wrong::KissCommand { command: 1 }]);
}

#[test]
fn a_frame_cut_short_overlong_or_after_noise() {
    let frames = run(&kiss(), b"noise\xc0\x00\xc0\xc0\x00ok\xc0\x00a\xdbb\xc0");
    assert_eq!(frames[0].payload, Err(Wrong::KissCommand { command: 0x0e }));
    assert_eq!(frames[1].payload, Err(Wrong::TooShort { length: 1, least: 2 }));
    assert_eq!(frames[2].payload, Ok(b"ok".to_vec()));
    assert_eq!(frames[3].payload, Err(Wrong::Slip { at: 2, found: Some(b'b') }));
    let long = [&b"\x00"[..], &[b'x'; 500], b"\xc0\x00ok\xc0"].concat();
    let frames = run(&kiss(), &long);
    assert!(matches!(frames[0].payload, Err(Wrong::TooLong { limit: 64, .. })));
    assert_eq!(frames.last().map(|frame| frame.payload.clone()), Some(Ok(b"ok".to_vec())));
}

#[test]
fn a_crc_covers_the_byte_of_the_port_too() {
    let crc = Some(Crc { name: "CRC-16/KERMIT".to_owned(), big_endian: false });
    // The published check value of "123456789" with "1" (0x31: port 3, command 1) replaced by a data byte would not
    // hold; here the sum of 00 61 by hand: CRC-16/KERMIT of one byte 0x61 with a zero before it is that of 0x61 alone.
    let framing = Framing { crc, ..kiss() };
    let alone = good(&Framing { cut: Cut::Slip, ..framing.clone() }, b"a\x6f\x86\xc0");
    assert_eq!(good(&framing, b"\x00a\x6f\x86\xc0").len(), alone.len());
}
