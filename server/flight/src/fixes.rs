//! First motion, and a fall, by what a satellite receiver alone tells: its climb, or three of its heights.

use crate::aloft::{ALOFT_M, past_power};
use crate::glance::{Glance, Motion};
use crate::plan::Told;

/// Time between fixes of a receiver that tells too few heights to see four of them climb, s.
const SLOW_FIX_S: f64 = 0.4;

/// How old the newest fix may be, s; and how high, m, and fast, m/s, fixes are that show a flight by themselves, beyond their spread: a
/// receiver that finds itself walks tens of metres, but not as fast as its own velocity says.
const FRESH_S: f64 = 1.5;
const ALOFT_CLIMB_MPS: f64 = 8.0;
/// The same of what falls, where places alone say so, m.
const FALLS_FROM_M: f64 = 100.0;

/// Least climb that a receiver at rest does not tell of, m/s; how long one that has lost the sky goes on at one climb at least, and beyond
/// power at most, s (common practice, no source).
const CREEPS_MPS: f64 = 1.0;
const CREPT_S: f64 = 0.5;
const MOST_CREPT_S: f64 = 8.0;

/// By the climb that a receiver tells: growing from the pad, or high up as far as it says by itself that it climbs, whatever it was silent
/// of before.
pub(crate) fn by_gnss_speed(glances: &[Glance], sd_m: f64, net: f64, burn_s: f64) -> Option<Motion> {
    let newest = glances.last()?.t_s;
    let quiet = glances.iter().filter(|g| g.t_s > newest - 0.5).any(|g| g.rests);
    // The same figures again are the same fix in another packet: it is of when it came first.
    let mut told: [Option<(f64, f64, Option<f64>)>; 2] = [None; 2];
    for g in glances {
        let Some(climb) = g.gnss_climb else { continue };
        if told[1].is_none_or(|(_, v, up)| v != climb || up != g.gnss_up_m) {
            told = [told[1], Some((g.t_s, climb, g.gnss_up_m))];
        }
    }
    let (t1, v1, up1) = told[1].filter(|(t, ..)| !quiet && *t >= newest - FRESH_S)?;
    // Two packets in a row that tell of it are enough, be they of one fix.
    let mut last =
        glances.iter().rev().take_while(|g| g.t_s >= newest - FRESH_S).filter_map(|g| g.gnss_climb);
    let grows =
        last.next().zip(last.next()).is_some_and(|(v, before)| v >= 10.0 && before >= 5.0 && v >= before);
    let aloft = told[0].is_some_and(|(t0, v0, up0)| {
        let mean = 0.5 * (v0 + v1);
        let climbs = |(h1, h0): (f64, f64)| {
            h0 > ALOFT_M + 5.0 * sd_m && ((h1 - h0) / (t1 - t0) - mean).abs() < 5.0 + 0.4 * mean.abs()
        };
        is_alone(glances) && v1 > ALOFT_CLIMB_MPS && t1 - t0 < 5.0 && up1.zip(up0).is_some_and(climbs)
    });
    if !(grows || aloft) {
        return None;
    }
    let soon = Told { value: v1 / net + 0.1, sd: 0.25 };
    let high = up1.filter(|_| !grows).map(|h| Told { value: 2.0 * h / v1, sd: 0.5 + 0.3 * h / v1 });
    let ago = up1.and_then(|h| past_power(h, v1, net, burn_s)).or(high).unwrap_or(soon);
    Some(Motion { at: Told { value: t1 - ago.value, sd: ago.sd } })
}

/// First motion by a receiver that lost the sky under power and went on with the little climb that it had seen by then: it crept up from
/// rest at one speed, as no motor does. A later leap says that it was no hand that carried it.
pub(crate) fn crept(glances: &[Glance], burn_s: f64) -> Option<Motion> {
    let mut at_rest: Option<f64> = None;
    let mut run: Option<(f64, f64, f64)> = None;
    let (mut count, mut last_s) = (0, f64::NEG_INFINITY);
    for g in glances {
        let Some(climb) = g.gnss_climb else { continue };
        match run {
            _ if climb.abs() < CREEPS_MPS => (at_rest, run, count) = (Some(g.t_s), None, 0),
            None => (run, count, last_s) = (Some((g.t_s, climb, climb)), 1, g.t_s),
            Some((from_s, first, newest)) if climb > 0.5 * first && climb < 1.6 * first + 1.0 => {
                // The same figure again is the same fix in another packet.
                count += usize::from(climb != newest);
                (run, last_s) = (Some((from_s, first, climb)), g.t_s);
            }
            Some(_) => break,
        }
    }
    let (rest_s, (from_s, ..)) = at_rest.zip(run)?;
    let long = count >= 3 && (CREPT_S..burn_s + MOST_CREPT_S).contains(&(last_s - from_s));
    let gap_s = from_s - rest_s;
    long.then_some(Motion { at: Told { value: from_s - 0.5 * gap_s, sd: 0.29 * gap_s + 0.05 } })
}

/// A receiver of one fix a second, without velocities, is high up before it has told four heights: three that climb faster than
/// anybody carries it, the newer two clear of the pad, will do.
pub(crate) fn by_few_fixes(glances: &[Glance], sd_m: f64, net: f64, burn_s: f64) -> Option<Motion> {
    let [(t0, h0), (t1, h1), (t2, h2)] = three_fixes(glances)?;
    let clear = 10.0 + 5.0 * sd_m;
    let (first, climb) = ((h1 - h0) / (t1 - t0), (h2 - h1) / (t2 - t1));
    // Ten fixes a second that jump rise by chance from one to the next.
    let close = t2 - t1 < SLOW_FIX_S || t1 - t0 < SLOW_FIX_S;
    if !is_alone(glances) || close || t2 - t0 > 5.0 || h1 < clear || first < 8.0 || climb < 8.0 {
        return None;
    }
    let ago = past_power(h2, climb, net, burn_s)
        .unwrap_or(Told { value: 2.0 * h2 / climb.max(1.0), sd: 0.25 + 0.3 * (t2 - t1) });
    Some(Motion { at: Told { value: t2 - ago.value, sd: ago.sd } })
}

/// Height and climb of a body that falls from high up, by three fixes that fall alike, faster than anything is carried down: whoever
/// tells of it was silent before.
pub(crate) fn falls(glances: &[Glance], sd_m: f64) -> Option<(f64, f64)> {
    let [(t0, h0), (t1, h1), (t2, h2)] = three_fixes(glances)?;
    let (first, climb) = ((h1 - h0) / (t1 - t0), (h2 - h1) / (t2 - t1));
    let alike = climb < 0.4 * first && first < 0.4 * climb;
    let apart = t1 - t0 >= SLOW_FIX_S && t2 - t1 >= SLOW_FIX_S && t2 - t0 < 8.0;
    let clear = FALLS_FROM_M + 5.0 * sd_m;
    (is_alone(glances) && apart && alike && first < -3.0 && climb < -3.0 && h2 > clear).then_some((h2, climb))
}

/// Whether neither force nor pressure was heard: only a receiver, or the vehicle's own figures.
fn is_alone(glances: &[Glance]) -> bool {
    !glances.iter().any(|g| g.axial.is_some() || g.baro_m.is_some())
}

/// The newest three different heights of a receiver, in order of time. The same height again is the same fix in another packet: it is of
/// when it came first.
fn three_fixes(glances: &[Glance]) -> Option<[(f64, f64); 3]> {
    let mut told: [Option<(f64, f64)>; 3] = [None; 3];
    for g in glances {
        let Some(up) = g.gnss_up_m else { continue };
        if told[2].is_none_or(|(_, last)| last != up) {
            told = [told[1], told[2], Some((g.t_s, up))];
        }
    }
    Some([told[0]?, told[1]?, told[2]?])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shelf::Blank;

    #[test]
    fn a_receiver_that_creeps_up_has_lost_the_sky_at_liftoff() {
        // Ten fixes a second: at rest, then 3 m/s from second 1 on, and after three seconds where it is.
        let told = |creeps: f64| -> Vec<Glance> {
            let climb = |t: f64| {
                if t < 0.95 {
                    0.3
                } else if t < 3.95 {
                    creeps
                } else {
                    95.0
                }
            };
            (0..42)
                .map(|i| {
                    let t_s = 0.1 * f64::from(i);
                    let noise = 0.02 * f64::from(i % 7);
                    Glance { t_s, gnss_climb: Some(climb(t_s) + noise), ..Glance::BLANK }
                })
                .collect()
        };
        let found = crept(&told(3.0), 2.0).expect("lost at liftoff").at;
        assert!((found.value - 0.95).abs() < 0.1 && found.sd < 0.1, "{found:?}");
        // At rest until it leaps, and for longer than a flight under power lasts, it says nothing of when.
        assert_eq!(crept(&told(0.3), 2.0), None);
        let slowly: Vec<Glance> = told(3.0).iter().map(|g| Glance { t_s: 5.0 * g.t_s, ..*g }).collect();
        assert_eq!(crept(&slowly, 2.0), None);
    }
}
