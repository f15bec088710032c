//! Slows guessing down: after a few wrong codes each further one costs a pause, for its address and for all addresses
//! together. The pauses grow, up to a limit that somebody who only mistyped can sit out.
//!
//! Pure: time is an argument. An IPv6 host has 2^64 addresses of its own, so its network of 64 bits counts as one.

use std::collections::BTreeMap;
use std::net::IpAddr;
use std::time::Duration;

/// Wrong codes of one address that cost nothing: people mistype.
const FREE_OF_ONE: u32 = 4;
/// The first pause of an address; each is twice the one before.
const FIRST_PAUSE_OF_ONE: Duration = Duration::from_secs(1);
/// The longest pause of an address. Longer: a child with a phone locks a crew member behind the same hotspot out.
const LONGEST_PAUSE_OF_ONE: Duration = Duration::from_mins(5);
/// An address that gave no wrong code for so long begins anew.
const FORGET_ONE: Duration = Duration::from_hours(1);

/// The same for all together: a burst is free, then two seconds a try at most. Longer: one attacker with many addresses
/// keeps the crew out. Shorter: guessing gets quicker (see the code's length).
const FREE_OF_ALL: u32 = 20;
const FIRST_PAUSE_OF_ALL: Duration = Duration::from_millis(250);
const LONGEST_PAUSE_OF_ALL: Duration = Duration::from_secs(2);
const FORGET_ALL: Duration = Duration::from_mins(10);

/// Most addresses remembered. At one wrong code in two seconds an hour has 1,800, so that none is forgotten early.
const MOST_ADDRESSES: usize = 4096;

/// Remembers wrong codes.
#[derive(Debug, Default)]
pub(super) struct Limiter {
    all: Tries,
    one: BTreeMap<IpAddr, Tries>,
}

#[derive(Clone, Copy, Debug, Default)]
struct Tries {
    wrong: u32,
    newest_ns: i64,
    free_at_ns: i64,
}

impl Tries {
    fn count(&mut self, now_ns: i64, free: u32, first: Duration, longest: Duration) {
        self.wrong = self.wrong.saturating_add(1);
        self.newest_ns = now_ns;
        if self.wrong >= free {
            let pause = first.saturating_mul(1 << (self.wrong - free).min(20)).min(longest);
            self.free_at_ns = now_ns.saturating_add(ns(pause));
        }
    }

    fn is_old(&self, now_ns: i64, forget: Duration) -> bool {
        now_ns.saturating_sub(self.newest_ns) >= ns(forget)
    }
}

impl Limiter {
    /// Whether a code from there may be looked at now; else how long to wait.
    pub(super) fn check(&self, from: IpAddr, now_ns: i64) -> Result<(), Duration> {
        let free_at_ns = self.one.get(&source(from)).map_or(0, |one| one.free_at_ns).max(self.all.free_at_ns);
        let wait_ns = u64::try_from(free_at_ns.saturating_sub(now_ns)).unwrap_or(0);
        if wait_ns == 0 { Ok(()) } else { Err(Duration::from_nanos(wait_ns)) }
    }

    /// A code from there was looked at and was wrong.
    pub(super) fn wrong(&mut self, from: IpAddr, now_ns: i64) {
        self.one.retain(|_, one| !one.is_old(now_ns, FORGET_ONE));
        if self.all.is_old(now_ns, FORGET_ALL) {
            self.all = Tries::default();
        }
        self.all.count(now_ns, FREE_OF_ALL, FIRST_PAUSE_OF_ALL, LONGEST_PAUSE_OF_ALL);
        let from = source(from);
        if self.one.len() >= MOST_ADDRESSES && !self.one.contains_key(&from) {
            let oldest = self.one.iter().min_by_key(|(_, one)| one.newest_ns).map(|(address, _)| *address);
            if let Some(oldest) = oldest {
                self.one.remove(&oldest);
            }
        }
        self.one.entry(from).or_default().count(
            now_ns,
            FREE_OF_ONE,
            FIRST_PAUSE_OF_ONE,
            LONGEST_PAUSE_OF_ONE,
        );
    }

    /// A code from there was right: its address begins anew.
    pub(super) fn right(&mut self, from: IpAddr) {
        self.one.remove(&source(from));
    }
}

/// What counts as one address.
fn source(from: IpAddr) -> IpAddr {
    match from.to_canonical() {
        IpAddr::V4(four) => IpAddr::V4(four),
        IpAddr::V6(six) => IpAddr::V6((u128::from(six) >> 64 << 64).into()),
    }
}

fn ns(duration: Duration) -> i64 {
    i64::try_from(duration.as_nanos()).unwrap_or(i64::MAX)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const HOUR_NS: i64 = 3_600_000_000_000;

    fn address(n: u8) -> IpAddr {
        if n.is_multiple_of(2) {
            IpAddr::from([10, 0, 0, n])
        } else {
            IpAddr::from([0xfd00, 0, 0, u16::from(n), 0, 0, 0, 1])
        }
    }

    /// How many wrong codes of one address can be looked at within a time, however it spends it: the free ones, one at
    /// the end of each pause, and one that was due before.
    fn bound(free: u32, first: Duration, longest: Duration, within_ns: i64) -> u32 {
        let (mut tries, mut at_ns, mut pause) = (free + 1, 0, first);
        loop {
            at_ns += ns(pause);
            if at_ns > within_ns {
                return tries;
            }
            tries += 1;
            pause = (pause * 2).min(longest);
        }
    }

    proptest! {
        #[test]
        fn no_order_of_tries_gets_more_looked_at_than_the_pauses_allow(
            tries in prop::collection::vec((0_u8..6, 0_i64..40_000_000_000), 1..300),
        ) {
            let mut limiter = Limiter::default();
            let mut now_ns = HOUR_NS;
            let (begin_ns, mut all, mut one) = (now_ns, 0_u32, BTreeMap::<IpAddr, (i64, u32)>::new());
            for (n, later_ns) in tries {
                // Half of the time at the first instant that is allowed: the most impatient there is.
                let from = address(n);
                now_ns += match limiter.check(from, now_ns) {
                    Err(wait) if n < 3 => ns(wait),
                    _ => later_ns,
                };
                match limiter.check(from, now_ns) {
                    Ok(()) => {
                        limiter.wrong(from, now_ns);
                        all += 1;
                        let of = one.entry(source(from)).or_insert((now_ns, 0));
                        of.1 += 1;
                        let span_ns = now_ns - of.0;
                        if span_ns < HOUR_NS {
                            prop_assert!(of.1 <= bound(FREE_OF_ONE, FIRST_PAUSE_OF_ONE, LONGEST_PAUSE_OF_ONE, span_ns));
                        }
                    }
                    Err(wait) => prop_assert!(wait <= LONGEST_PAUSE_OF_ONE, "{wait:?}"),
                }
            }
            // A pause of all that was slept through begins anew with its burst.
            let bursts = (now_ns - begin_ns) / ns(FORGET_ALL) + 1;
            let most = bound(FREE_OF_ALL, FIRST_PAUSE_OF_ALL, LONGEST_PAUSE_OF_ALL, now_ns - begin_ns);
            prop_assert!(i64::from(all) <= i64::from(most) + bursts * i64::from(FREE_OF_ALL + 4));
        }

        #[test]
        fn who_waits_as_told_may_try_and_pauses_only_grow(n in any::<u8>(), tries in 1_usize..60) {
            let mut limiter = Limiter::default();
            let (mut now_ns, mut last) = (HOUR_NS, Duration::ZERO);
            for _ in 0..tries {
                let wait = limiter.check(address(n), now_ns).err().unwrap_or_default();
                prop_assert!(wait >= last && wait <= LONGEST_PAUSE_OF_ONE);
                if !wait.is_zero() {
                    prop_assert!(limiter.check(address(n), now_ns + ns(wait) - 1).is_err());
                }
                now_ns += ns(wait);
                prop_assert_eq!(limiter.check(address(n), now_ns), Ok(()));
                limiter.wrong(address(n), now_ns);
                last = wait;
            }
        }

        #[test]
        fn other_addresses_wait_two_seconds_at_most(guesses in 1_usize..200, from in 0_u32..50) {
            let mut limiter = Limiter::default();
            let mut now_ns = HOUR_NS;
            for guess in 0..guesses as u32 {
                let attacker = IpAddr::from((0x0a00_0000 + from * 4096 + guess).to_be_bytes());
                now_ns += limiter.check(attacker, now_ns).err().map_or(0, ns);
                limiter.wrong(attacker, now_ns);
            }
            let wait = limiter.check(IpAddr::from([192, 168, 4, 7]), now_ns).err().unwrap_or_default();
            prop_assert!(wait <= LONGEST_PAUSE_OF_ALL, "{wait:?}");
        }
    }

    #[test]
    fn memory_stays_bounded_whoever_tries() {
        let mut limiter = Limiter::default();
        for n in 0..3 * MOST_ADDRESSES as u32 {
            // Quicker than `check` allows.
            limiter.wrong(IpAddr::from(n.to_be_bytes()), HOUR_NS + i64::from(n));
            assert!(limiter.one.len() <= MOST_ADDRESSES);
        }
        limiter.wrong(address(1), 3 * HOUR_NS);
        assert_eq!(limiter.one.len(), 1, "what is old is forgotten");
    }

    #[test]
    fn one_network_of_ipv6_is_one_address_and_an_old_address_begins_anew() {
        let mut limiter = Limiter::default();
        for host in 0..u16::try_from(FREE_OF_ONE).unwrap() {
            limiter.wrong(IpAddr::from([0xfd00, 0, 0, 7, 0, 0, 0, host]), HOUR_NS);
        }
        let another = IpAddr::from([0xfd00, 0, 0, 7, 9, 9, 9, 9]);
        assert_eq!(limiter.check(another, HOUR_NS), Err(FIRST_PAUSE_OF_ONE));
        assert_eq!(limiter.check(IpAddr::from([0xfd00, 0, 0, 8, 0, 0, 0, 0]), HOUR_NS), Ok(()));
        limiter.wrong(another, 3 * HOUR_NS);
        assert_eq!(limiter.check(another, 3 * HOUR_NS), Ok(()));
    }
}
