//! The moment of first motion, from the newest of what came on the pad.
//!
//! It needs several samples that agree: specific force above 1 g that adds up to a speed which no one on a pad can give to a
//! rocket by hand, or heights that climb ever faster for a third of a second, with the accelerometer, if there is one, not
//! denying it. A knock adds up to little, a slammed door is a step and not a climb, a gust and a storm front are slow.

use crate::aloft::{past_power, unheard};
use crate::fixes::{by_few_fixes, by_gnss_speed, crept};
use crate::glance::{G, Glance, Heights, Motion, RECENT};
use crate::plan::Told;
use crate::start::BARO_LAG_S;

/// How long heights must climb to be no gust, and the least time between two that are compared, s. Larger: a liftoff by pressure alone is
/// noticed later; smaller: a gust's peak is taken for one.
const CLIMBS_FOR_S: f64 = 0.38;
const SPACING_S: f64 = 0.09;
/// How far back heights are looked at that come quickly, and that come slowly, s.
const LOOKS_BACK_S: f64 = 1.2;
const LONGEST_CLIMB_S: f64 = 3.0;

/// How late a vehicle's own height is: what its own filter takes (common practice, no source).
const OWN_LAG_S: Told = Told { value: 0.2, sd: 0.15 };

/// Looks for first motion in the newest glances (in order of time); heights are above the zero.
pub(crate) fn first_motion(
    glances: &[Glance],
    baro: Heights,
    gnss: Heights,
    own: Heights,
    thrust_mps2: f64,
    burn_s: f64,
    gnss_lag_s: Told,
) -> Option<Motion> {
    let net = (thrust_mps2 - G).max(3.0);
    // What a sensor shows now has happened its lag ago.
    let by = |found: Motion, lag: Told| Motion {
        at: Told { value: found.at.value - lag.value, sd: libm::hypot(found.at.sd, lag.sd) },
    };
    let lagged = |found: Motion| {
        by(crept(glances, burn_s).filter(|c| c.at.value < found.at.value).unwrap_or(found), gnss_lag_s)
    };
    let found = by_force(glances, baro, net, burn_s)
        .or_else(|| by_climb(glances, |g| g.baro_m, true, baro, net, burn_s).map(|f| by(f, BARO_LAG_S)))
        .or_else(|| by_climb(glances, |g| g.own_m, true, own, net, burn_s).map(|f| by(f, OWN_LAG_S)))
        .or_else(|| by_climb(glances, |g| g.gnss_up_m, false, gnss, net, burn_s).map(lagged))
        .or_else(|| by_gnss_speed(glances, gnss.moves_m, net, burn_s).map(lagged))
        .or_else(|| by_few_fixes(glances, gnss.moves_m, net, burn_s).map(lagged))?;
    let at = between_rest_and_push(glances, found.at);
    // Times that are off date nothing better than they are.
    let t_sd_s = glances.last()?.t_sd_s;
    Some(Motion { at: Told { sd: libm::hypot(at.sd, t_sd_s), ..at } })
}

/// What still felt its own weight and nothing else stood on the pad, and what felt more had left it: first motion lies
/// between, whatever else dates it.
fn between_rest_and_push(glances: &[Glance], at: Told) -> Told {
    let felt = || glances.iter().filter_map(|g| g.axial.map(|f| (g.t_s, f)));
    let pushed = |f: f64| f > 1.3 * G;
    let Some((rest_s, _)) = felt().rfind(|(_, f)| *f > 0.8 * G && *f < 1.2 * G) else { return at };
    let Some((push_s, _)) = felt().find(|(t, f)| *t > rest_s && pushed(*f)) else { return at };
    if at.value >= rest_s && at.value <= push_s {
        return at;
    }
    Told { value: at.value.clamp(rest_s, push_s), sd: at.sd.min(0.29 * (push_s - rest_s) + 0.02) }
}

/// Time between pushes from which two do, where heights rise with them by more than this, s, m: a knock is over by the second
/// packet (common practice, no source). Smaller: a vehicle that is set down hard is a liftoff; larger: at four packets a second it
/// is said half a second after the first.
const FEW_S: f64 = 0.19;
const RISES_M: f64 = 0.5;
/// Two pushes in packets that follow each other closely, each of so much at least, that add up to such a speed between them are no knock,
/// which is over by the second packet, and no arm's, which gives a heavy thing some 2 g and 5 m/s, whatever the barometer has seen by
/// then: s, m/s^2, m/s (common practice, no source). Looser: two knocks are a liftoff; stricter: what falls silent after its second packet
/// is noticed when it speaks again.
const CLOSE_S: f64 = 0.3;
const HARD_MPS2: f64 = 3.0 * G;
const HARD_MPS: f64 = 8.0;
/// How long after the first push heights say when it began, s; how much more or less may have pushed before it, one standard deviation, and
/// what a barometer does not show, m (common practice, no source). The time that is open is tried in so many parts.
const RISES_FOR_S: f64 = 0.3;
const OTHER_PUSH: f64 = 0.3;
const SMALLEST_RISE_M: f64 = 0.4;
const PARTS: u32 = 48;
/// What still pushes has not pushed for longer than this share of the told burn, or of a short one, s: told figures are off.
const MOST_OF_BURN: f64 = 1.3;
const LEAST_BURN_S: f64 = 0.3;

/// Least acceleration over the told mean that a climb under power shows (thrust that rises late, a barometer that lags, told figures
/// that are off). Larger: a weak motor is noticed later; smaller: a gust is taken for a motor.
const LEAST_PUSH: f64 = 0.3;

/// What a gust's peak is over its spread beyond what chance adds to noise: it comes seldom and strong.
const GUSTY: f64 = 1.5;

/// Height above the zero that chance, gusts and doors do not reach, m.
fn clear_m(h: Heights) -> f64 {
    2.5 + 5.0 * h.moves_m + GUSTY * (h.moves_m - h.noise_m)
}

/// Pushes in a row: when the first and the last were felt, s, what pushed before the first, and the speed that was gained between them.
#[derive(Clone, Copy, Debug)]
struct Pushes {
    first_s: f64,
    last_s: f64,
    net_mps2: f64,
    gained_mps: f64,
}

impl Pushes {
    /// How long before the first push first motion was, after the newest rest.
    fn since_rest(self, glances: &[Glance], rest_s: f64, burn_s: f64, baro: Heights) -> Told {
        let gap_s = (self.first_s - rest_s).max(0.0);
        let most_s = gap_s.min(MOST_OF_BURN * burn_s.max(LEAST_BURN_S));
        // Between packets that follow each other closely the barometer has seen nothing that would say when it was.
        let risen = (gap_s > CLOSE_S).then(|| self.risen(glances)).flatten();
        pushed_since(most_s, self.net_mps2, risen, baro)
    }

    /// What the newest barometer of the first pushes shows.
    fn risen(self, glances: &[Glance]) -> Option<Risen> {
        let until_s = self.last_s.min(self.first_s + RISES_FOR_S);
        let mut first = glances.iter().rev().filter(|g| g.t_s >= self.first_s && g.t_s <= until_s);
        first.find_map(|g| {
            let more_s = g.t_s - self.first_s;
            let between_m = 0.5 * self.gained_mps / (self.last_s - self.first_s) * more_s * more_s;
            g.baro_m.map(|h| Risen { by_m: h - between_m, more_s })
        })
    }
}

/// What a barometer showed soon after a first push, less what was gained since then from rest, m, and how long after, s.
#[derive(Clone, Copy, Debug)]
struct Risen {
    by_m: f64,
    more_s: f64,
}

/// How long before a first push first motion was, if it was at most so long ago: by what the push has raised the barometer since, anywhere in
/// that time where it says nothing.
fn pushed_since(most_s: f64, net_mps2: f64, risen: Option<Risen>, baro: Heights) -> Told {
    let (mut all, mut sum, mut square) = (0.0, 0.0, 0.0);
    for i in 0..PARTS {
        let since = most_s * (f64::from(i) + 0.5) / f64::from(PARTS);
        let likely = risen.map_or(1.0, |r| {
            let shown_s = (since - BARO_LAG_S.value).max(0.0);
            let up = net_mps2 * (0.5 * shown_s * shown_s + shown_s * r.more_s);
            let speed = net_mps2 * since;
            let sd2 = baro.moves_m * baro.moves_m
                + SMALLEST_RISE_M * SMALLEST_RISE_M
                + (OTHER_PUSH * up) * (OTHER_PUSH * up)
                + (BARO_LAG_S.sd * speed) * (BARO_LAG_S.sd * speed);
            libm::exp(-0.5 * (r.by_m - up) * (r.by_m - up) / sd2) / libm::sqrt(sd2) + 1e-6
        });
        all += likely;
        sum += likely * since;
        square += likely * since * since;
    }
    let mean = sum / all;
    Told { value: mean, sd: libm::sqrt((square / all - mean * mean).max(0.0)) }
}

fn by_force(glances: &[Glance], baro: Heights, net_mps2: f64, burn_s: f64) -> Option<Motion> {
    // The newest height that was not told long before an instant.
    let height_by =
        |t_s: f64| glances.iter().rev().take_while(|g| g.t_s >= t_s - 0.15).find_map(|g| g.baro_m);
    // Where a barometer already stands clear of the pad two pushes are enough, across a silence and beyond burnout.
    let newest = glances.iter().rfind(|g| g.axial.is_some())?;
    let aloft = !newest.rests && height_by(newest.t_s).is_some_and(|h| h > clear_m(baro));
    let longest_s = if aloft { 2.5 } else { 0.7 };
    // The run of samples at the end that all feel clearly more than 1 g.
    let mut speed = 0.0;
    let mut count = 0;
    let mut newer: Option<(f64, f64)> = None;
    let mut before = None;
    let mut last_t = None;
    let mut least = f64::INFINITY;
    for g in glances.iter().rev() {
        let Some(f) = g.axial else { continue };
        if f < 1.3 * G {
            if aloft && count == 0 && !g.rests && g.t_s > newest.t_s - longest_s {
                continue;
            }
            before = Some((g.t_s, f));
            break;
        }
        if let Some((t1, f1)) = newer {
            if t1 - g.t_s > longest_s {
                break;
            }
            speed += (0.5 * (f + f1) - G) * (t1 - g.t_s);
        } else {
            last_t = Some(g.t_s);
        }
        newer = Some((g.t_s, f));
        least = least.min(f);
        count += 1;
    }
    let ((first, first_felt), last) = (newer?, last_t?);
    let between = speed;
    // Half the gap before the first sample was under thrust too.
    if let Some((t0, _)) = before {
        speed += 0.5 * (first_felt - G) * (first - t0).min(0.2);
    }
    // A barometer that has not moved vetoes, and so does a push that is none of the told motor's, unless the speed is beyond doubt.
    let span = last - first;
    let expected = 0.5 * speed * span;
    let denied = height_by(last).is_some_and(|r| r < 0.3 * expected - 3.0 * baro.moves_m - 1.0);
    let weak = denied || speed < LEAST_PUSH * net_mps2 * span;
    let pushed = count >= 3 && speed >= 4.0 && (!weak || speed >= 25.0);
    // Where packets are few two strong pushes in a row are enough, if the barometer has begun to rise with them.
    let rises = height_by(last).is_some_and(|h| h > RISES_M + 3.0 * baro.moves_m);
    let soon = count == 2 && span > FEW_S && least > 2.0 * G && speed >= 4.0 && !weak && rises;
    let hard = count == 2 && span < CLOSE_S && least > HARD_MPS2 && between >= HARD_MPS && !weak;
    if span < 0.08 || !(pushed || soon || hard || (aloft && count >= 2 && least > 2.0 * G)) {
        return None;
    }
    let Some((rest_s, _)) = before else {
        return Some(Motion { at: Told { value: first - 0.05, sd: 0.2 } });
    };
    // The first push may be the last of a burn: before it was the told mean.
    let before_mps2 = net_mps2.max(first_felt - G);
    let pushes = Pushes { first_s: first, last_s: last, net_mps2: before_mps2, gained_mps: between };
    let since = pushes.since_rest(glances, rest_s, burn_s, baro);
    Some(Motion { at: Told { value: first - since.value, sd: since.sd + 0.01 } })
}

/// By heights that climb; whether three of them may do where they are `few`.
fn by_climb(
    glances: &[Glance],
    height: impl Fn(&Glance) -> Option<f64>,
    few: bool,
    spread: Heights,
    net: f64,
    burn_s: f64,
) -> Option<Motion> {
    let newest = glances.last()?.t_s;
    let mut t = [0.0; RECENT];
    let mut h = [0.0; RECENT];
    let mut n = 0;
    let (mut quiet, mut loud) = (0, 0);
    // At a packet a second three heights are all there is of a motor.
    let third_s = glances.iter().rev().filter(|g| height(g).is_some()).nth(2).map_or(newest, |g| g.t_s);
    let since_s = (newest - LOOKS_BACK_S).min(third_s).max(newest - LONGEST_CLIMB_S);
    for g in glances {
        if g.t_s < since_s {
            continue;
        }
        if g.axial.is_some() && g.t_s > newest - 0.5 {
            if g.rests {
                quiet += 1;
            } else {
                loud += 1;
            }
        }
        if let (Some(v), true) = (height(g), n < RECENT) {
            t[n] = g.t_s;
            h[n] = v;
            n += 1;
        }
    }
    let clear = clear_m(spread);
    // A door that slams sucks as well as it presses; what has lifted off was never below the pad.
    if quiet > loud || h[..n].iter().any(|h| *h < -clear) {
        return None;
    }
    // Enough of them for a climb that lasts, however fast they come.
    let n = thinned(&mut t[..n], &mut h[..n]);
    let at = (0..n.checked_sub(3)?).rev().find(|at| t[n - 1] - t[*at] >= CLIMBS_FOR_S);
    let climb = at.and_then(|at| climbs(&t[at..n], &h[at..n], spread, net, burn_s)).or_else(|| {
        let at = n.checked_sub(3).filter(|_| few)?;
        climbs(&t[at..n], &h[at..n], spread, net, burn_s)
    })?;
    let (last, span) = (h[n - 1], t[n - 1] - t[n.saturating_sub(4)]);
    if let Some(ago) = past_power(last, climb, net, burn_s) {
        return Some(Motion { at: Told { value: t[n - 1] - ago.value, sd: ago.sd } });
    }
    let heard_s = glances.iter().rev().map(|g| g.t_s).find(|at| *at < t[0] - SPACING_S);
    if let Some(heard_s) = heard_s
        && let Some(ago) = unheard(last, climb, t[0] - heard_s, clear)
    {
        let at_s = (t[n - 1] - ago.value).max(heard_s);
        return Some(Motion { at: Told { value: at_s, sd: ago.sd } });
    }
    if !grows(&t[..n], &h[..n], spread.noise_m) {
        return None;
    }
    // Constant acceleration from rest: by the told one from each height that stands clear, and by its own from all that do: the
    // root of a height is a line over time, the surer the higher.
    let (mut sum, mut m) = (0.0, 0.0);
    let (mut w, mut wt, mut ws, mut wtt, mut wts) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for i in n.saturating_sub(4)..n {
        let root = libm::sqrt(2.0 * h[i].max(0.0));
        if h[i] > clear {
            sum += t[i] - root / libm::sqrt(net);
            m += 1.0;
        }
        let (k, ago) = (h[i].max(0.0), t[i] - t[n - 1]);
        (w, wt, ws) = (w + k, wt + k * ago, ws + k * root);
        (wtt, wts) = (wtt + k * ago * ago, wts + k * ago * root);
    }
    let slope = (wts - wt * ws / w) / (wtt - wt * wt / w).max(1e-6);
    let own = t[n - 1] + (wt / w) - (ws / w) / slope.max(1.0);
    let value = if m > 0.0 { 0.5 * (sum / m + own) } else { own };
    Some(Motion { at: Told { value: value.max(t[0] - 1.5), sd: 0.12 + 0.1 * span } })
}

/// Leaves out what comes sooner than the spacing before a newer one; says how many are left.
fn thinned(t: &mut [f64], h: &mut [f64]) -> usize {
    let mut kept = t.len();
    for i in (0..t.len()).rev() {
        if kept == t.len() || t[kept] - t[i] >= SPACING_S {
            kept -= 1;
            (t[kept], h[kept]) = (t[i], h[i]);
        }
    }
    t.copy_within(kept.., 0);
    h.copy_within(kept.., 0);
    t.len() - kept
}

/// Whether no rise was steeper than the newest by more than noise: speed grows under power, a front comes with a step.
fn grows(t: &[f64], h: &[f64], noise_m: f64) -> bool {
    let rise = |i: usize| {
        let over_s = (t[i + 1] - t[i]).max(1e-3);
        ((h[i + 1] - h[i]) / over_s, 3.0 * noise_m / over_s)
    };
    let Some(last) = t.len().checked_sub(2) else { return false };
    let (newest, by) = rise(last);
    (0..last).map(rise).all(|(steep, off)| steep < newest + by + off)
}

/// The climb rate of the newest heights, if they climb as what has lifted off does: each above the one before by more than chance, the
/// newer ones clear of the pad, and as fast as a motor makes it at that height, while a gust or a front takes its time. Four are
/// enough, or three that are well apart and high.
fn climbs(t: &[f64], h: &[f64], spread: Heights, net_mps2: f64, burn_s: f64) -> Option<f64> {
    let (n, few, clear_m) = (h.len(), h.len() < 4, clear_m(spread));
    let span = t[n - 1] - t[0];
    let high = if few {
        h[n - 2] > clear_m && h[n - 1] > 3.0 * clear_m && span > 0.35
    } else {
        h[n - 2] > 0.5 * clear_m
    };
    if !high
        || h[n - 1] < clear_m
        || span <= 0.0
        || span > LONGEST_CLIMB_S
        || h.windows(2).any(|w| w[1] <= w[0])
    {
        return None;
    }
    // The newer half's middle against the older half's.
    let half = n / 2;
    let mean = |v: &[f64]| v.iter().sum::<f64>() / v.len() as f64;
    let over_s = (mean(&t[n - half..]) - mean(&t[..half])).max(1e-3);
    let climb = (mean(&h[n - half..]) - mean(&h[..half])) / over_s;
    // A step (door) has its rise in one gap; a climb spreads it.
    let biggest = h.windows(2).fold(0.0f64, |m, w| m.max(w[1] - w[0]));
    let spread_out = biggest < if few { 0.8 } else { 0.65 } * (h[n - 1] - h[0]);
    // A motor's speed is what its height was gained with; past its power that is over.
    let most = climb + 2.0 * spread.noise_m / over_s;
    let gained = most * most > 2.0 * LEAST_PUSH * net_mps2 * (mean(h) - spread.noise_m);
    let pushed = gained || past_power(h[n - 1], climb, net_mps2, burn_s).is_some();
    (climb >= 6.0 && climb >= 3.0 * spread.moves_m / span && spread_out && pushed).then_some(climb)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::glance::rests;
    use crate::shelf::Blank;

    /// Glances ten times a second from heights and forces; 80 m/s2 of told thrust for 2 s.
    fn noticed(heights: &[f64], forces: &[Option<f64>], baro_sd_m: f64) -> Option<Motion> {
        let glances: Vec<Glance> = heights
            .iter()
            .zip(forces.iter().chain(core::iter::repeat(&None)))
            .enumerate()
            .map(|(i, (h, f))| Glance {
                t_s: 0.1 * i as f64,
                baro_m: Some(*h),
                axial: *f,
                rests: f.is_some_and(|f| rests(f, None, Some(G))),
                ..Glance::BLANK
            })
            .collect();
        let lag = Told { value: 0.0, sd: 0.0 };
        first_motion(
            &glances,
            Heights { noise_m: baro_sd_m.min(0.3), moves_m: baro_sd_m },
            Heights { noise_m: 3.0, moves_m: 3.0 },
            Heights { noise_m: 1.0, moves_m: 1.0 },
            80.0,
            2.0,
            lag,
        )
    }

    #[test]
    fn a_motor_is_told_from_a_gust_a_door_and_a_front_by_pressure_alone() {
        // 70 m/s2 from second 0.2 on.
        let motor = [0.2, -0.1, 0.0, 0.4, 1.4, 3.2, 5.6, 8.8];
        let found = noticed(&motor, &[], 0.3).expect("a motor");
        assert!((found.at.value - 0.2).abs() < found.at.sd, "{found:?}");
        assert_eq!(noticed(&motor[..5], &[], 0.3), None, "not yet clear of the pad");
        // The same under a wind that has moved the pressure by as much before.
        assert_eq!(noticed(&motor, &[], 2.0), None);
        // A gust or a front: as high, but in its own time.
        let front: Vec<f64> = (0..12).map(|i| 1.6 * f64::from(i)).collect();
        assert_eq!(noticed(&front, &[], 0.3), None);
        // And one that comes as a step, then goes on rising.
        assert_eq!(noticed(&[0.0, 0.0, 0.0, 0.1, 5.0, 6.0, 9.2, 11.4], &[], 0.8), None);
        // A slammed door swings: under the pad first, then over it.
        assert_eq!(noticed(&[0.1, 0.0, -12.0, -6.0, 0.5, 3.5, 7.5, 10.5], &[], 0.3), None);
    }

    #[test]
    fn a_gust_is_no_liftoff_of_what_feels_itself_lie() {
        // A gust of pressure over a vehicle that feels itself lie there.
        let gust = [0.0, 0.0, 0.2, 1.5, 4.5, 9.0, 15.0];
        assert_eq!(noticed(&gust, &[Some(9.8); 7], 0.3), None);
        assert!(noticed(&gust, &[], 0.3).is_some());
    }

    #[test]
    fn two_strong_pushes_far_apart_that_heights_rise_with_are_a_liftoff() {
        let (still, pushed) = (Some(9.8), Some(45.0));
        let (heights, felt) = ([0.0, 0.1, 0.0, 0.4, 1.2, 2.6], [still, still, None, pushed, None, pushed]);
        assert!(noticed(&heights, &felt, 0.3).is_some());
        assert_eq!(noticed(&heights, &felt[..4], 0.1), None, "one push");
        assert_eq!(noticed(&[0.0, 0.1, 0.0, 0.0, 0.1, 0.2], &felt, 0.3), None, "the height stays");
        let weak = [still, still, None, Some(18.0), None, Some(18.0)];
        assert_eq!(noticed(&heights, &weak, 0.3), None, "carried");
    }

    #[test]
    fn two_hard_pushes_in_a_row_are_a_liftoff_before_any_height_shows_it() {
        let still = Some(9.8);
        let flat = [0.1, 0.0, 0.1, 0.0, 0.1, 0.2];
        let pushed = |a: f64, b: f64| noticed(&flat, &[still, still, still, still, Some(a), Some(b)], 0.3);
        let found = pushed(110.0, 120.0).expect("no knock lasts that long");
        assert!((found.at.value - 0.35).abs() < found.at.sd + 0.01, "{found:?}");
        assert_eq!(pushed(60.0, 60.0), None, "a swing of an arm");
        assert_eq!(pushed(10.0, 120.0), None, "a knock");
        let apart = [still, still, Some(110.0), None, None, None, Some(120.0)];
        assert_eq!(noticed(&[0.1; 7], &apart, 0.3), None, "two knocks");
    }

    #[test]
    fn two_pushes_and_a_height_clear_of_the_pad_are_a_liftoff_across_a_silence() {
        let still = Some(9.8);
        let heights = [0.1, 0.0, 0.3, 2.3, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 76.0];
        let mut felt = [None; 13];
        (felt[0], felt[1], felt[2], felt[3], felt[12]) = (still, still, Some(125.0), Some(40.0), Some(-2.0));
        let found = noticed(&heights, &felt, 0.3).expect("two pushes, then high up");
        assert!(found.at.value > 0.1 && found.at.value < 0.2, "{found:?}");
        // Two knocks on the pad are none.
        let on_pad = [0.1; 13];
        assert_eq!(noticed(&on_pad, &felt[..4], 0.3), None);
        felt[12] = still;
        assert_eq!(noticed(&heights, &felt, 0.3), None, "it rests");
    }

    #[test]
    fn first_motion_lies_between_rest_and_push_whatever_dates_it() {
        let glance = |t_s: f64, axial: Option<f64>| Glance { t_s, axial, ..Glance::BLANK };
        let seen = [
            glance(-0.4, Some(9.9)),
            glance(-0.1, Some(10.1)),
            glance(0.1, None),
            glance(0.4, Some(80.0)),
            glance(0.5, Some(78.0)),
        ];
        let dated = |value: f64, sd: f64| between_rest_and_push(&seen, Told { value, sd });
        assert_eq!(dated(-0.8, 0.2).value, -0.1);
        assert!(dated(-0.8, 0.2).sd < 0.17);
        assert_eq!(dated(0.2, 0.05).value, 0.2);
        assert_eq!(dated(0.9, 0.05).value, 0.4);
        // Where nothing was felt at rest, or nothing since, nothing is known better.
        assert_eq!(between_rest_and_push(&seen[2..], Told { value: -3.0, sd: 0.2 }).value, -3.0);
        assert_eq!(between_rest_and_push(&seen[..3], Told { value: -3.0, sd: 0.2 }).value, -3.0);
    }
}
