use crate::framing::testing::{good, run};
use crate::framing::{Crc, Cut, Framing, LineChecksum, Wrong};

fn lines(checksum: LineChecksum) -> Framing {
    Framing { cut: Cut::Lines { checksum }, crc: None, max_length: 96 }
}

/// Sentences with their checksums as they stand in many descriptions of NMEA 0183; from memory.
const SENTENCES: [&str; 3] = [
    "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47",
    "$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A",
    "$GPGLL,4916.45,N,12311.12,W,225444,A,*1D",
];

#[test]
fn checksums_of_published_sentences_hold() {
    for sentence in SENTENCES {
        let text = sentence.rsplit_once('*').unwrap().0;
        assert_eq!(good(&lines(LineChecksum::Xor), format!("{sentence}\r\n").as_bytes()), [text.as_bytes()]);
        let damaged = sentence.replacen('1', "7", 1);
        let frames = run(&lines(LineChecksum::Xor), format!("{damaged}\r\n").as_bytes());
        assert!(matches!(frames[0].payload, Err(Wrong::Checksum { .. })), "{frames:?}");
    }
}

#[test]
fn all_line_ends_and_empty_lines() {
    let bytes = b"a,1\nb,2\rc,3\r\n\r\n\nd,4\n\re,5\n";
    assert_eq!(good(&lines(LineChecksum::Optional), bytes), [&b"a,1"[..], b"b,2", b"c,3", b"d,4", b"e,5"]);
}

#[test]
fn a_star_is_text_only_where_no_checksum_is_spoken_of() {
    assert_eq!(good(&lines(LineChecksum::None), b"2*3,4\n"), [b"2*3,4"]);
    let frames = run(&lines(LineChecksum::Optional), b"2*3,4\n");
    assert_eq!(frames[0].payload, Err(Wrong::NoChecksum));
    let frames = run(&lines(LineChecksum::Xor), b"$A,1\n*41\n");
    assert_eq!(frames[0].payload, Err(Wrong::NoChecksum));
    assert_eq!(frames[1].payload, Err(Wrong::Checksum { expected: 0, found: 0x41, digits: 2 }));
}

#[test]
fn noise_before_a_line_does_not_cost_the_line() {
    let line = SENTENCES[2];
    for noise in [&b"\xff\xfe\x00\x80"[..], b"\0\0\0", b"4916.45,N,123$GPGL", b"$$", b"!!x\x07"] {
        let mut bytes = noise.to_vec();
        bytes.extend_from_slice(line.as_bytes());
        bytes.push(b'\n');
        let frames = run(&lines(LineChecksum::Xor), &bytes);
        assert_eq!(frames.len(), 2, "{frames:?}");
        assert_eq!(frames[0].raw, noise);
        assert_eq!(frames[0].payload, Err(Wrong::Garbage { bytes: noise.len() as u64 }));
        assert_eq!(frames[1].raw, line.as_bytes());
        assert_eq!(frames[1].offset, noise.len() as u64);
    }
}

#[test]
fn a_binary_byte_within_a_line_is_no_text() {
    let frames = run(&lines(LineChecksum::Optional), b"LW1,12\x80,5\n\0\0LW1,12,5\n");
    assert_eq!(frames[0].payload, Err(Wrong::NotText { at: 6, byte: 0x80 }));
    assert_eq!(frames[0].raw, b"LW1,12\x80,5");
    assert_eq!(frames[2].payload.as_deref(), Ok(&b"LW1,12,5"[..]));
}

#[test]
fn a_crc_may_stand_in_the_place_of_the_checksum() {
    let crc = Some(Crc { name: "CRC-16/IBM-3740".to_owned(), big_endian: true });
    let framing = Framing { crc, ..lines(LineChecksum::Xor) };
    assert_eq!(good(&framing, b"$123456789*29B1\n123456789*29b1\n"), [&b"$123456789"[..], b"123456789"]);
    assert_eq!(
        run(&framing, b"123456789*B129\n")[0].payload,
        Err(Wrong::Checksum { expected: 0x29b1, found: 0xb129, digits: 4 })
    );
    assert_eq!(run(&framing, b"123456789*29\n")[0].payload, Err(Wrong::NoChecksum));
}

#[test]
fn a_line_without_an_end_is_told_once_and_the_good_line_at_its_end_is_found() {
    let mut bytes = vec![b'x'; 5000];
    bytes.extend_from_slice(SENTENCES[0].as_bytes());
    bytes.extend_from_slice(b"\r\n");
    let frames = run(&lines(LineChecksum::Optional), &bytes);
    let wrong: u64 = frames
        .iter()
        .filter_map(|f| if let Err(Wrong::TooLong { bytes, .. }) = f.payload { Some(bytes) } else { None })
        .sum();
    assert_eq!((frames.len(), wrong), (3, 5000), "{frames:?}");
    assert_eq!(frames[2].raw, SENTENCES[0].as_bytes());
}
