//! How long ago something lifted off that is heard high up, by how high and how fast it is.

use crate::plan::Told;

/// Time without a packet, s, after which what is heard clear of the pad by so much, m, lifted off in it (common practice, no source).
const SILENCE_S: f64 = 0.6;
pub(crate) const ALOFT_M: f64 = 30.0;

/// How long ago a body lifted off that is heard high up again after a silence: at one acceleration from rest its height is half of what its
/// speed would have given since, at a push that came first it is all. Thrust falls more often than it rises, so it lies at 1.6 between
/// one and two, and anywhere there.
pub(crate) fn unheard(height_m: f64, climb_mps: f64, silent_s: f64, clear_m: f64) -> Option<Told> {
    let per_s = height_m / climb_mps.max(1.0);
    (silent_s > SILENCE_S && height_m > ALOFT_M + clear_m)
        .then_some(Told { value: 1.6 * per_s, sd: 0.25 * per_s + 0.1 })
}

/// How long ago a body lifted off that is seen higher than its speed gained from rest: it is long past its power, and whoever
/// tells of it was silent meanwhile.
pub(crate) fn past_power(height_m: f64, climb_mps: f64, net_mps2: f64, burn_s: f64) -> Option<Told> {
    let gained = 0.5 * climb_mps * climb_mps / net_mps2;
    let (burnt_m, burnt_mps) = (0.5 * net_mps2 * burn_s * burn_s, net_mps2 * burn_s);
    if height_m < 1.5 * gained + 50.0 || height_m < burnt_m {
        return None;
    }
    let coasted = (height_m - burnt_m) / (0.5 * (climb_mps + burnt_mps)).max(10.0);
    Some(Told { value: burn_s + coasted, sd: 0.1 * burn_s + 0.2 * coasted + 0.25 })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_first_heard_high_and_slow_lifted_off_long_ago() {
        // 80 m/s2 for 2 s: 160 m and 160 m/s, then 4 s of coast to about 700 m at 110 m/s.
        let ago = past_power(700.0, 110.0, 80.0, 2.0).expect("past its power");
        assert!((ago.value - 6.0).abs() < 2.0 * ago.sd, "{ago:?}");
        // Still under power: the height is what the speed has gained.
        assert_eq!(past_power(40.0, 80.0, 80.0, 2.0), None);
    }
}
