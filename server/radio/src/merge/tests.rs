use super::*;

const MS: i64 = 1_000_000;

fn packet(receiver: u16, sequence: Option<u64>, content: u64, t_ms: i64) -> Packet {
    Packet { receiver, transmitter: 1, sequence, content, t_ns: t_ms * MS }
}

#[test]
fn the_same_packet_at_two_receivers_counts_once() {
    let mut merger = Merger::default();
    assert_eq!(merger.offer(&packet(0, Some(7), 99, 0)), Verdict::First);
    assert_eq!(
        merger.offer(&packet(1, Some(7), 99, 40)),
        Verdict::Copy { of_receiver: 0, later_ns: 40 * MS }
    );
    assert_eq!(
        merger.offer(&packet(2, Some(7), 99, 4900)),
        Verdict::Copy { of_receiver: 0, later_ns: 4900 * MS }
    );
    assert_eq!(merger.offer(&packet(3, Some(7), 99, 5001)), Verdict::First);
}

#[test]
fn another_number_content_or_transmitter_is_another_packet() {
    let mut merger = Merger::default();
    merger.offer(&packet(0, Some(7), 99, 0));
    assert_eq!(merger.offer(&packet(1, Some(8), 99, 1)), Verdict::First);
    assert_eq!(merger.offer(&packet(1, Some(7), 98, 1)), Verdict::First);
    assert_eq!(merger.offer(&Packet { transmitter: 2, ..packet(1, Some(7), 99, 1) }), Verdict::First);
}

#[test]
fn without_numbers_what_one_receiver_hears_twice_was_sent_twice() {
    let mut merger = Merger::default();
    assert_eq!(merger.offer(&packet(0, None, 99, 0)), Verdict::First);
    assert_eq!(merger.offer(&packet(0, None, 99, 100)), Verdict::First);
    // The other receiver's two copies are of the first and of the second.
    assert_eq!(merger.offer(&packet(1, None, 99, 130)), Verdict::Copy { of_receiver: 0, later_ns: 130 * MS });
    assert_eq!(merger.offer(&packet(1, None, 99, 140)), Verdict::Copy { of_receiver: 0, later_ns: 40 * MS });
    assert_eq!(merger.offer(&packet(1, None, 99, 150)), Verdict::First);
    assert_eq!(merger.offer(&packet(0, None, 99, 800)), Verdict::First);
}

#[test]
fn numbered_repeats_at_one_receiver_are_copies() {
    let mut merger = Merger::default();
    merger.offer(&packet(0, Some(7), 99, 0));
    assert_eq!(
        merger.offer(&packet(0, Some(7), 99, 30)),
        Verdict::Copy { of_receiver: 0, later_ns: 30 * MS }
    );
}

#[test]
fn memory_is_bounded() {
    let mut merger = Merger::default();
    for number in 0..10_000 {
        merger.offer(&packet(0, Some(number), number, 0));
    }
    assert_eq!(merger.known.len(), MOST);
}

#[test]
fn published_values_of_the_hash() {
    // draft-eastlake-fnv, test vectors: empty, "a", "foobar".
    assert_eq!(hash(b""), 0xcbf2_9ce4_8422_2325);
    assert_eq!(hash(b"a"), 0xaf63_dc4c_8601_ec8c);
    assert_eq!(hash(b"foobar"), 0x8594_4171_f739_67e8);
}
