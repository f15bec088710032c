//! Whether bytes were read from a serial line faster than they were sent, guessed from the bytes alone.
//!
//! A receiver that samples N times for each bit that was sent sees every pulse last a multiple of N of its own bits. A byte is a
//! start bit (low), eight data bits with the least significant first, and a stop bit (high); its first pulse begins with an
//! edge, so all of its pulses but the last, which the stop bit cuts off, have their full length. At the right rate about one
//! pulse in N is a multiple of N by chance; nearly all of them are where N times too fast was read. Common practice, no
//! source.
//!
//! Limits: whole N from 2 to 8 only, and a multiple of N may fit text of very few kinds of characters, too. Bytes of zeros say
//! nothing, since the system gives a zero for a byte without its stop bit; where nearly all are zeros, they were sent far
//! slower, or the line is broken: three times is enough for a text of little but zeros and commas, whose long pulses leave no
//! byte whole. What was read too slowly cannot be told from noise.

/// Fewest pulses that say something.
const FEWEST: usize = 64;
/// Share of pulses that must be multiples, in thousandths.
const NEARLY_ALL: usize = 960;
/// Most pulses looked at.
const LOOKED_AT: usize = 20_000;

/// What the bytes say of the rate that they were read at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rate {
    /// So many times faster than they were sent.
    TimesTooFast(u32),
    /// So much faster that hardly a byte has its stop bit, most often more than eight times; or the line is held low.
    FarTooFast,
    /// Nothing that can be told.
    Unknown,
}

/// Looks at bytes of a serial line.
pub fn rate(bytes: &[u8]) -> Rate {
    let told: Vec<u8> = bytes.iter().copied().filter(|byte| *byte != 0).collect();
    if bytes.len() >= FEWEST && told.len() * 20 < bytes.len() {
        return Rate::FarTooFast;
    }
    let lengths: Vec<u32> = told.iter().flat_map(|byte| pulses(*byte)).take(LOOKED_AT).collect();
    if lengths.len() < FEWEST {
        return Rate::Unknown;
    }
    // The greatest that fits: a multiple of 4 is one of 2 as well.
    let fits = |times: &u32| {
        let multiples = lengths.iter().filter(|length| length.is_multiple_of(*times)).count();
        multiples * 1000 >= lengths.len() * NEARLY_ALL
    };
    (2..=8).rev().find(fits).map_or(Rate::Unknown, Rate::TimesTooFast)
}

/// Lengths of the pulses of a byte that are whole, in bits.
fn pulses(byte: u8) -> Vec<u32> {
    let line = u16::from(byte) << 1 | 0x200;
    let mut lengths = Vec::new();
    let (mut level, mut since) = (0, 0);
    for at in 1..10 {
        let next = line >> at & 1;
        if next != level {
            lengths.push(at - since);
            (level, since) = (next, at);
        }
    }
    lengths
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// What a receiver makes of bytes that were sent at a rate `times` slower, with an idle line between now and then. It
    /// samples in the middle of its bits; a byte without its stop bit is a zero, and the next edge begins a new one.
    fn read_too_fast(bytes: &[u8], times: usize) -> Vec<u8> {
        let mut line = vec![1_u8; 7];
        for (nth, byte) in bytes.iter().enumerate() {
            let bits = (0..10).map(|at| (u16::from(*byte) << 1 | 0x200) >> at & 1);
            line.extend(bits.flat_map(|bit| std::iter::repeat_n(bit as u8, times)));
            line.extend(std::iter::repeat_n(1, if nth % 9 == 0 { 5 } else { 0 }));
        }
        line.extend([1; 20]);
        let (mut out, mut at) = (Vec::new(), 1);
        while at + 10 < line.len() {
            if line[at - 1] == 0 || line[at] == 1 {
                at += 1;
                continue;
            }
            let byte = (0..8).fold(0, |byte, bit| byte | line[at + 1 + bit] << bit);
            out.push(if line[at + 9] == 1 { byte } else { 0 });
            at += 10;
        }
        out
    }

    #[test]
    fn a_receiver_at_the_right_rate_reads_what_was_sent() {
        let text = b"$LW1,17,hello*5A\r\n";
        assert_eq!(read_too_fast(text, 1), text);
    }

    /// A line of two or three kinds of characters may have long pulses alone: then a multiple fits as well, or hardly a byte is
    /// left that is not zero, and nothing can be told from those few.
    fn fits_or_says_little(read: &[u8], times: usize) -> bool {
        match rate(read) {
            Rate::TimesTooFast(found) => (found as usize).is_multiple_of(times),
            Rate::FarTooFast | Rate::Unknown => {
                read.iter().filter(|byte| **byte != 0).count() * 10 < read.len()
            }
        }
    }

    #[test]
    fn a_text_of_zeros_and_commas_leaves_too_few_bytes_to_tell() {
        let read = read_too_fast("AB,,00.,0.0,,,00000.0,.,000.00,0.".repeat(12).as_bytes(), 3);
        assert_eq!(rate(&read), Rate::Unknown);
        assert!(fits_or_says_little(&read, 3));
    }

    #[test]
    fn the_pulses_of_a_byte() {
        assert_eq!(pulses(0x55), [1; 9]);
        assert_eq!(pulses(0xf0), [5]);
        assert_eq!(pulses(0xff), [1]);
        assert_eq!(pulses(0x00), [9]);
    }

    proptest! {
        #[test]
        fn how_many_times_too_fast_is_found(
            bytes in prop::collection::vec(any::<u8>(), 400..600), times in 2_usize..=8,
        ) {
            let read = read_too_fast(&bytes, times);
            let found = rate(&read);
            // With few that are not zeros little is known: then nothing wrong may be said.
            let good = matches!(found, Rate::TimesTooFast(found) if found as usize == times);
            prop_assert!(good || (times > 4 && !matches!(found, Rate::TimesTooFast(_))), "{times}: {found:?} {read:?}");
        }

        #[test]
        fn text_too(line in "[A-Z]{2},[0-9,.]{30,60}", times in 2_usize..=4) {
            let bytes = line.repeat(12).into_bytes();
            prop_assert!(fits_or_says_little(&read_too_fast(&bytes, times), times));
        }

        #[test]
        fn what_was_read_at_its_rate_is_not_called_wrong(bytes in prop::collection::vec(any::<u8>(), 0..600)) {
            prop_assert_eq!(rate(&bytes), Rate::Unknown);
        }

        #[test]
        fn text_at_its_rate_is_not_called_wrong_either(line in "[A-Z]{2},[0-9,.]{30,60}\r\n") {
            prop_assert_eq!(rate(line.repeat(12).as_bytes()), Rate::Unknown);
        }
    }
}
