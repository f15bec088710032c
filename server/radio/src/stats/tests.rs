use super::*;

const MS: i64 = 1_000_000;

fn heard(t_ms: i64, number: u64) -> Heard {
    Heard { t_ns: t_ms * MS, bytes: 40, sequence: Some((number, 256)), ..Heard::default() }
}

fn plain(t_ms: i64) -> Heard {
    Heard { t_ns: t_ms * MS, bytes: 40, ..Heard::default() }
}

#[test]
fn numbers_missing_across_the_wrap_are_lost_packets() {
    let mut stats = LinkStats::new(Some(10.0));
    for number in [252_u64, 253, 255, 0, 1, 4, 5] {
        let since = (number + 256 - 252) % 256;
        stats.hear(&heard(since as i64 * 100, number));
    }
    assert_eq!(stats.ticks(900 * MS), "1101110011");
    assert_eq!(stats.loss(900 * MS), Some(0.3));
    assert_eq!((stats.good, stats.bytes), (7, 280));
}

#[test]
fn late_packets_make_up_for_a_loss_and_copies_change_nothing() {
    let mut stats = LinkStats::new(Some(10.0));
    for (t, number) in [(0, 0), (100, 1), (300, 3), (310, 2), (320, 2), (330, 3)] {
        stats.hear(&heard(t, number));
    }
    assert_eq!(stats.ticks(340 * MS), "1111");
    assert_eq!(stats.loss(340 * MS), Some(0.0));
}

#[test]
fn silence_counts_as_loss_by_the_rate() {
    let mut stats = LinkStats::new(None);
    for number in 0..50 {
        stats.hear(&heard(number * 100, number as u64));
    }
    assert_eq!(stats.rate_hz(), Some(10.0));
    let last_ms = 4900;
    assert_eq!(stats.loss((last_ms + 120) * MS), Some(0.0));
    assert_eq!(stats.ticks((last_ms + 560) * MS), format!("{}00000", "1".repeat(45)));
    assert_eq!(stats.loss((last_ms + 20_000) * MS), Some(1.0));
    assert_eq!(stats.ticks((last_ms + 20_000) * MS), "0".repeat(50));
}

#[test]
fn without_numbers_the_told_rate_says_what_was_due() {
    let mut stats = LinkStats::new(Some(20.0));
    for t in [0, 50, 101, 249, 300] {
        stats.hear(&plain(t));
    }
    assert_eq!(stats.ticks(310 * MS), "1110011");
    let mut blind = LinkStats::new(None);
    blind.hear(&plain(0));
    blind.hear(&plain(5000));
    assert_eq!(blind.loss(9000 * MS), None);
    assert_eq!(blind.ticks(9000 * MS), "11");
}

#[test]
fn a_restarted_count_is_no_loss() {
    let mut stats = LinkStats::new(Some(10.0));
    for number in 0..60 {
        stats.hear(&heard(number * 100, number as u64));
    }
    stats.hear(&heard(6000, 0));
    stats.hear(&heard(6100, 1));
    assert_eq!(stats.ticks(6110 * MS), "1".repeat(50));
    let mut ahead = LinkStats::new(Some(10.0));
    ahead.hear(&heard(0, 200));
    ahead.hear(&heard(100, 201));
    ahead.hear(&heard(200, 0));
    assert_eq!(ahead.loss(210 * MS), Some(0.0));
}

#[test]
fn wrong_frames_are_counted_by_reason() {
    let mut stats = LinkStats::new(None);
    stats.hear_wrong("checksum", 40);
    stats.hear_wrong("checksum", 41);
    stats.hear_wrong("garbage", 3);
    assert_eq!(
        (stats.wrong["checksum"], stats.wrong["garbage"], stats.wrong_total(), stats.bytes),
        (2, 1, 3, 84)
    );
}

#[test]
fn memory_is_bounded_and_the_string_too() {
    let mut stats = LinkStats::new(Some(1000.0));
    for number in 0..5000_i64 {
        stats.hear(&heard(number, number as u64 % 256));
    }
    stats.hear(&heard(9000, 100));
    assert!(stats.ticks.len() <= MOST_TICKS);
    assert!(stats.ticks(9500 * MS).len() <= TICKS_SHOWN);
    let kept: LinkStats = serde_json::from_str(&serde_json::to_string(&stats).unwrap()).unwrap();
    assert_eq!(kept, stats);
}
