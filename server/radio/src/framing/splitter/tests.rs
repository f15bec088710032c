use super::*;
use crate::framing::testing::Kept;
use crate::framing::{Crc, CrcCovers, LengthCounts, LengthField, LineChecksum};

/// What comes out of pieces, each of which is a datagram if `whole`.
fn cut(framing: &Framing, pieces: &[&[u8]], whole: bool) -> (Vec<Kept>, Splitter) {
    let mut splitter = Splitter::new(framing);
    let mut kept = Vec::new();
    for (piece, t_ns) in pieces.iter().zip(1..) {
        let mut take = |frame: Frame<'_>| {
            let payload = frame.payload.map(<[u8]>::to_vec);
            kept.push(Kept { raw: frame.raw.to_vec(), payload, t_ns: frame.t_ns, offset: frame.offset });
        };
        splitter.push(piece, t_ns, &mut take);
        if whole {
            splitter.end_piece(&mut take);
        }
    }
    (kept, splitter)
}

fn framing(cut: Cut, crc: Option<&str>) -> Framing {
    let crc = crc.map(|name| Crc { name: name.to_owned(), big_endian: false });
    Framing { cut, crc, max_length: 40 }
}

#[test]
fn the_end_of_a_datagram_ends_a_frame_where_the_sender_left_the_delimiter_out() {
    let lines = framing(Cut::Lines { checksum: LineChecksum::Optional }, None);
    for (framing, one, two, delimiter) in [
        (lines, &b"{\"n\":1}"[..], &b"{\"n\":22}"[..], b'\n'),
        (framing(Cut::Cobs, None), b"\x03ab\x02c", b"\x02d", 0),
        (framing(Cut::Slip, None), b"ab\xdb\xdc", b"d", 0xc0),
        (framing(Cut::Kiss, None), b"\x00ab", b"\x00d", 0xc0),
    ] {
        let (found, splitter) = cut(&framing, &[one, two, one], true);
        assert!(found.iter().all(|frame| frame.payload.is_ok()), "{framing:?}: {found:?}");
        let raw: Vec<&[u8]> = found.iter().map(|frame| &frame.raw[..]).collect();
        assert_eq!(raw, [one, two, one]);
        let places: Vec<(i64, u64)> = found.iter().map(|frame| (frame.t_ns, frame.offset)).collect();
        let (a, b) = (one.len() as u64, two.len() as u64);
        assert_eq!(places, [(1, 0), (2, a), (3, a + b)], "no byte is counted that was not received");
        assert_eq!((splitter.bytes(), splitter.unfinished_bytes()), (2 * a + b, 0));

        // With the delimiter, and with one datagram of two frames, the same payloads come out.
        let ended = [one, &[delimiter]].concat();
        let both = [two, &[delimiter][..], one].concat();
        let (again, _) = cut(&framing, &[&ended, &both], true);
        let payloads = |all: &[Kept]| all.iter().map(|frame| frame.payload.clone()).collect::<Vec<_>>();
        assert_eq!(payloads(&again), payloads(&found));
        // In a stream the pieces join.
        assert_eq!(cut(&framing, &[one, two, one], false).0, []);
    }
}

#[test]
fn a_datagram_cut_short_costs_itself_alone() {
    let cobs = framing(Cut::Cobs, Some("CRC-16/XMODEM"));
    let good = b"\x09123456789";
    let crc = crc::Crc::<u16>::new(&crc::CRC_16_XMODEM).checksum(b"123456789").to_le_bytes();
    let good = [&[0x0c][..], &good[1..], &crc].concat();
    let (found, _) = cut(&cobs, &[&good, &good[..7], &good, &[7; 100], &good], true);
    let well: Vec<bool> = found.iter().map(|frame| frame.payload.is_ok()).collect();
    assert_eq!(well.iter().filter(|well| **well).count(), 3, "{found:?}");
    assert!(well[0] && !well[1] && well[2] && well[well.len() - 1], "{found:?}");
}

#[test]
fn frames_that_say_their_length_go_on_in_the_next_datagram() {
    let sync = Cut::Sync {
        sync: vec![0xa5, 0x5a],
        length: LengthField::U8,
        counts: LengthCounts::Payload,
        crc_covers: CrcCovers::Payload,
    };
    let fixed = Cut::Fixed { length: 4, sync: Vec::new(), crc_covers: CrcCovers::Payload };
    for framing in [framing(sync, None), framing(fixed, None)] {
        let pieces: [&[u8]; 3] = [b"\xa5\x5a\x02a", b"b\xa5", b"\x5a\x01c"];
        let whole = cut(&framing, &pieces, true);
        assert_eq!(whole, cut(&framing, &pieces, false));
        assert!(whole.0.len() >= 2);
    }
}
