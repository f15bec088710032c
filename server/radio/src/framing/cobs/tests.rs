use crate::framing::testing::{Kept, good, run, run_with};
use crate::framing::{Crc, Cut, Framing, Hints, Wrong};

fn cobs(crc: Option<&str>) -> Framing {
    Framing {
        cut: Cut::Cobs,
        crc: crc.map(|name| Crc { name: name.to_owned(), big_endian: true }),
        max_length: 600,
    }
}

/// A payload with its CRC-16/IBM-3740, encoded, without the final zero.
fn packet(text: &[u8]) -> Vec<u8> {
    let mut body = text.to_vec();
    body.extend(crc::Crc::<u16>::new(&crc::CRC_16_IBM_3740).checksum(text).to_be_bytes());
    let mut encoded = vec![0; corncobs::max_encoded_len(body.len())];
    let length = corncobs::encode_buf(&body, &mut encoded);
    encoded.truncate(length - 1);
    encoded
}

#[test]
fn examples_after_cheshire_and_baker() {
    // The packet of the paper's figure 2 (the start of an IP header) and its encoding, from memory of the paper; then
    // the cases at the 254-byte limit, worked out by hand from the rule.
    let header = [0x45, 0, 0, 0x2c, 0x4c, 0x79, 0, 0, 0x40, 0x06, 0x4f, 0x37];
    let encoded = [0x02, 0x45, 0x01, 0x04, 0x2c, 0x4c, 0x79, 0x01, 0x05, 0x40, 0x06, 0x4f, 0x37, 0];
    assert_eq!(good(&cobs(None), &encoded), [&header[..]]);
    assert_eq!(
        good(&cobs(None), &[1, 1, 0, 2, 0x11, 1, 0, 1, 2, 0x22, 0]),
        [&[0][..], &[0x11, 0], &[0, 0x22]]
    );
    let run: Vec<u8> = (1..=254).collect();
    let mut bytes = vec![0xff];
    bytes.extend(&run);
    bytes.push(0);
    assert_eq!(good(&cobs(None), &bytes), [&run[..]]);
    bytes.splice(255.., [2, 0xaa, 0]);
    let longer: Vec<u8> = run.iter().copied().chain([0xaa]).collect();
    assert_eq!(good(&cobs(None), &bytes), [longer]);
}

#[test]
fn truncated_damaged_and_too_short_frames_are_wrong_with_their_figures() {
    let frames = run(&cobs(None), &[5, 0x11, 0x22, 0, 3, 0x11, 0x22, 0]);
    assert_eq!(frames[0].payload, Err(Wrong::Cobs { at: 0 }));
    assert_eq!(frames[0].raw, [5, 0x11, 0x22]);
    assert_eq!(frames[1].payload, Ok(vec![0x11, 0x22]));

    let mut damaged = packet(b"123456789");
    damaged[3] ^= 0x40;
    damaged.push(0);
    let frames = run(&cobs(Some("CRC-16/IBM-3740")), &damaged);
    assert!(matches!(frames[0].payload, Err(Wrong::Checksum { found: 0x29b1, .. })), "{frames:?}");
    let frames = run(&cobs(Some("CRC-16/IBM-3740")), &[2, 0x11, 0]);
    assert_eq!(frames[0].payload, Err(Wrong::TooShort { length: 1, least: 2 }));
}

#[test]
fn a_frame_glued_to_noise_is_found_once_its_length_is_known() {
    let framing = cobs(Some("CRC-16/IBM-3740"));
    for noise in [&[0xff][..], &[0x03, 0x55], &[0xaa; 40], b"\x02\x02\x02\x02", &[1, 1, 1]] {
        let mut bytes = noise.to_vec();
        bytes.extend(packet(b"\0\x01temperature\0\0"));
        bytes.push(0);
        let check = |frames: &[Kept], before: u64| {
            assert_eq!(frames[0].payload, Err(Wrong::Garbage { bytes: noise.len() as u64 }), "{noise:x?}");
            assert_eq!(frames[1].payload, Ok(b"\0\x01temperature\0\0".to_vec()));
            assert_eq!(frames[1].offset, before + noise.len() as u64);
        };
        check(&run_with(&framing, &Hints { lengths: vec![15], ..Hints::default() }, &bytes), 0);
        let mut after = packet(b"of fifteen byte");
        after.push(0);
        let before = after.len();
        after.extend(&bytes);
        check(&run(&framing, &after)[1..], before as u64);
        // Of unknown length, one of 65536 damaged frames would pass for a shorter one at each place tried.
        assert!(run(&framing, &bytes)[0].payload.is_err());
    }
}

#[test]
fn a_frame_without_an_end_is_told_and_the_next_one_kept() {
    let mut bytes = vec![0x7f; 3000];
    bytes.push(0);
    bytes.extend(packet(b"next"));
    bytes.push(0);
    let frames = run(&cobs(Some("CRC-16/IBM-3740")), &bytes);
    let lost: u64 = frames
        .iter()
        .filter_map(|f| {
            if let Err(Wrong::TooLong { limit: 600, bytes }) = f.payload { Some(bytes) } else { None }
        })
        .sum();
    assert_eq!(lost, 3000);
    assert_eq!(frames.last().unwrap().payload, Ok(b"next".to_vec()));
}
