//! On the pad: zeros of every sensor, and the moment of first motion.
//!
//! Zeros are means over whole seconds that ended at least 1.5 s ago, so that they are dated back to before
//! liftoff whenever it is noticed. First motion needs several samples that agree: specific force above 1 g
//! that adds up to a speed which no one on a pad can give to a rocket by hand, or heights that climb ever faster for a third of a
//! second, with the accelerometer, if there is one, not denying it. A knock adds up to little, a slammed door
//! is a step and not a climb, a gust and a storm front are slow.

use serde::{Deserialize, Serialize};

use crate::plan::Told;

/// Channels with a zero.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Zero {
    /// Barometric height.
    Baro = 0,
    /// Axial specific force.
    Axial = 1,
    /// GNSS east, north, up of the pad.
    East = 2,
    North = 3,
    Up = 4,
    /// The vehicle's own height.
    Own = 5,
}

const ZEROS: usize = 6;
/// Whole seconds kept.
const SECONDS: usize = 12;
/// Seconds before now that a zero does not look at, s.
const GUARD_S: f64 = 1.5;
/// Samples kept for dating liftoff back.
pub(crate) const RECENT: usize = 96;

/// Sums over one second.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
struct Second {
    number: i64,
    n: [f64; ZEROS],
    sum: [f64; ZEROS],
}

/// What the pad remembers of one sample.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub(crate) struct Glance {
    pub(crate) t_s: f64,
    pub(crate) baro_m: Option<f64>,
    pub(crate) axial: Option<f64>,
    pub(crate) gnss_up_m: Option<f64>,
    pub(crate) gnss_climb: Option<f64>,
}

/// The pad's memory.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Pad {
    seconds: [Second; SECONDS],
    next: usize,
}

/// First motion found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Motion {
    pub(crate) at: Told,
}

impl Pad {
    pub(crate) fn new() -> Self {
        Self { seconds: [Second { number: i64::MIN, n: [0.0; ZEROS], sum: [0.0; ZEROS] }; SECONDS], next: 0 }
    }

    pub(crate) fn add(&mut self, which: Zero, value: f64, t_s: f64) {
        let number = libm::floor(t_s) as i64;
        let newest = (self.next + SECONDS - 1) % SECONDS;
        let slot = if self.seconds[newest].number == number {
            newest
        } else {
            let s = self.next;
            self.seconds[s] = Second { number, n: [0.0; ZEROS], sum: [0.0; ZEROS] };
            self.next = (s + 1) % SECONDS;
            s
        };
        self.seconds[slot].n[which as usize] += 1.0;
        self.seconds[slot].sum[which as usize] += value;
    }

    /// The zero of a channel as of before `t_s`: value and its spread given the noise of one value, if there is any.
    pub(crate) fn zero(&self, which: Zero, t_s: f64, noise_sd: f64) -> Option<Told> {
        let w = which as usize;
        let (mut n, mut sum) = (0.0, 0.0);
        for s in &self.seconds {
            if s.number != i64::MIN
                && (s.number as f64) + 1.0 <= t_s - GUARD_S
                && (s.number as f64) > t_s - 60.0
            {
                n += s.n[w];
                sum += s.sum[w];
            }
        }
        (n > 0.0).then(|| Told { value: sum / n, sd: noise_sd / libm::sqrt(n) })
    }

    /// Whether any whole second is there to take a zero from.
    pub(crate) fn settled(&self, t_s: f64) -> bool {
        self.seconds.iter().any(|s| s.number != i64::MIN && (s.number as f64) + 1.0 <= t_s - GUARD_S)
    }
}

/// Looks for first motion in the newest glances (in order of time); heights are above the zero.
pub(crate) fn first_motion(
    glances: &[Glance],
    baro_sd_m: f64,
    gnss_sd_m: f64,
    thrust_mps2: f64,
    burn_s: f64,
    gnss_lag_s: Told,
) -> Option<Motion> {
    // What a receiver shows now has happened its lag ago.
    let lagged = |found: Motion| Motion {
        at: Told { value: found.at.value - gnss_lag_s.value, sd: libm::hypot(found.at.sd, gnss_lag_s.sd) },
    };
    let found = by_force(glances, baro_sd_m)
        .or_else(|| by_climb(glances, |g| g.baro_m, baro_sd_m, thrust_mps2, burn_s))
        .or_else(|| by_climb(glances, |g| g.gnss_up_m, gnss_sd_m, thrust_mps2, burn_s).map(lagged))
        .or_else(|| by_gnss_speed(glances, thrust_mps2, burn_s).map(lagged))
        .or_else(|| by_few_fixes(glances, gnss_sd_m, thrust_mps2, burn_s).map(lagged))?;
    Some(Motion { at: between_rest_and_push(glances, found.at) })
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

const G: f64 = 9.8;

fn by_force(glances: &[Glance], baro_sd_m: f64) -> Option<Motion> {
    // The run of samples at the end that all feel clearly more than 1 g.
    let mut speed = 0.0;
    let mut count = 0;
    let mut first = None;
    let mut newer: Option<(f64, f64)> = None;
    let mut before = None;
    let mut last_t = None;
    for g in glances.iter().rev() {
        let Some(f) = g.axial else { continue };
        if f < 1.3 * G {
            before = Some((g.t_s, f));
            break;
        }
        if let Some((t1, f1)) = newer {
            if t1 - g.t_s > 0.7 {
                break;
            }
            speed += (0.5 * (f + f1) - G) * (t1 - g.t_s);
        } else {
            last_t = Some(g.t_s);
        }
        newer = Some((g.t_s, f));
        first = Some(g.t_s);
        count += 1;
    }
    let (first, last) = (first?, last_t?);
    // Half the gap before the first sample was under thrust too.
    if let Some((t0, _)) = before {
        let f1 = newer.map_or(G, |n| n.1);
        speed += 0.5 * (f1 - G) * (first - t0).min(0.2);
    }
    // A barometer that has not moved vetoes, unless the speed is beyond doubt.
    let mut rise = None;
    for g in glances.iter().rev() {
        if let (Some(b), true) = (g.baro_m, g.t_s >= last - 0.15) {
            rise = Some(b);
            break;
        }
    }
    let span = last - first;
    let expected = 0.5 * speed * span;
    let denied = rise.is_some_and(|r| r < 0.3 * expected - 3.0 * baro_sd_m - 1.0);
    if count < 3 || span < 0.08 || speed < 4.0 || (denied && speed < 25.0) {
        return None;
    }
    let (t, sd) = match before {
        Some((t0, _)) => {
            let gap = (first - t0).max(0.0);
            // Across a gap the height at its end says more than its middle: h = a (t - t0)^2 / 2.
            let risen = glances
                .iter()
                .find(|g| g.t_s == first)
                .and_then(|g| g.baro_m)
                .filter(|h| *h > 4.0 + 4.0 * baro_sd_m);
            match risen {
                Some(h) if gap > 0.25 => {
                    let net = (newer.map_or(50.0, |n| n.1) - G).max(3.0);
                    let since = libm::sqrt(2.0 * h / net);
                    ((first - since).clamp(t0, first), 0.05 + 0.15 * since.min(gap))
                }
                _ => (t0 + 0.5 * gap, 0.29 * gap + 0.01),
            }
        }
        None => (first - 0.05, 0.2),
    };
    Some(Motion { at: Told { value: t, sd } })
}

#[expect(clippy::manual_range_contains, reason = "a force that is not a number is not loud")]
fn by_climb(
    glances: &[Glance],
    height: impl Fn(&Glance) -> Option<f64>,
    sd_m: f64,
    thrust_mps2: f64,
    burn_s: f64,
) -> Option<Motion> {
    let newest = glances.last()?.t_s;
    let mut t = [0.0; RECENT];
    let mut h = [0.0; RECENT];
    let mut n = 0;
    let (mut quiet, mut loud) = (0, 0);
    for g in glances {
        if g.t_s < newest - 1.2 {
            continue;
        }
        if let Some(f) = g.axial
            && g.t_s > newest - 0.5
        {
            if f > 1.25 * G || f < 0.6 * G {
                loud += 1;
            } else {
                quiet += 1;
            }
        }
        if let (Some(v), true) = (height(g), n < RECENT) {
            t[n] = g.t_s;
            h[n] = v;
            n += 1;
        }
    }
    if n < 4 || quiet > loud {
        return None;
    }
    let last = h[n - 1];
    // The last four climb, each above the one before by more than chance, and the last three stand clear of the pad.
    let clear = 2.5 + 4.0 * sd_m;
    let tail = &h[n - 4..n];
    let span = t[n - 1] - t[n - 4];
    let climbing = tail.windows(2).all(|w| w[1] > w[0]) && h[n - 2] > 0.5 * clear;
    if !climbing || last < clear || span <= 0.0 || span > 3.0 {
        return None;
    }
    let climb =
        (tail[3] + tail[2] - tail[1] - tail[0]) / (t[n - 1] + t[n - 2] - t[n - 3] - t[n - 4]).max(1e-3);
    // A step (door) has its rise in one gap; a climb spreads it.
    let biggest = tail.windows(2).fold(0.0f64, |m, w| m.max(w[1] - w[0]));
    let spread_out = biggest < 0.65 * (tail[3] - tail[0]);
    if climb < 6.0 || climb < 3.0 * sd_m / span || !spread_out {
        return None;
    }
    let net = (thrust_mps2 - G).max(3.0);
    if let Some(ago) = past_power(last, climb, net, burn_s) {
        return Some(Motion { at: Told { value: t[n - 1] - ago.value, sd: ago.sd } });
    }
    // Constant acceleration from rest: t0 from each height that stands clear.
    let (mut sum, mut m) = (0.0, 0.0);
    for i in 0..n {
        if h[i] > clear && i + 4 >= n {
            sum += t[i] - libm::sqrt(2.0 * h[i] / net);
            m += 1.0;
        }
    }
    let own = t[n - 1] - 2.0 * last / climb.max(1.0);
    let value = if m > 0.0 { 0.5 * (sum / m + own) } else { own };
    Some(Motion { at: Told { value: value.max(t[0] - 1.5), sd: 0.12 + 0.1 * span } })
}

fn by_gnss_speed(glances: &[Glance], thrust_mps2: f64, burn_s: f64) -> Option<Motion> {
    let mut found = [0.0; 2];
    let mut times = [0.0; 2];
    let mut n = 0;
    let newest = glances.last()?.t_s;
    let mut up = None;
    for g in glances.iter().rev() {
        if g.t_s < newest - 1.5 {
            break;
        }
        up = up.or(g.gnss_up_m);
        if let Some(v) = g.gnss_climb {
            found[n] = v;
            times[n] = g.t_s;
            n += 1;
            if n == 2 {
                break;
            }
        }
    }
    let quiet = glances
        .iter()
        .filter(|g| g.t_s > newest - 0.5)
        .filter_map(|g| g.axial)
        .any(|f| f > 0.7 * G && f < 1.2 * G);
    if n < 2 || found[0] < 10.0 || found[1] < 5.0 || found[0] < found[1] || quiet {
        return None;
    }
    let net = (thrust_mps2 - G).max(3.0);
    let since = found[0] / net + 0.1;
    let ago =
        up.and_then(|h| past_power(h, found[0], net, burn_s)).unwrap_or(Told { value: since, sd: 0.25 });
    Some(Motion { at: Told { value: times[0] - ago.value, sd: ago.sd } })
}

/// A receiver of one fix a second, without velocities, is high up before it has told four heights: three that climb faster than
/// anybody carries it, the newer two clear of the pad, will do.
fn by_few_fixes(glances: &[Glance], sd_m: f64, thrust_mps2: f64, burn_s: f64) -> Option<Motion> {
    let mut told: [Option<(f64, f64)>; 3] = [None; 3];
    let mut n = 0;
    for g in glances {
        let Some(up) = g.gnss_up_m else { continue };
        // The same height again is the same fix in another packet: it is of when it came first.
        if told[2].is_none_or(|(_, last)| last != up) {
            told = [told[1], told[2], Some((g.t_s, up))];
            n += 1;
        }
    }
    let [Some((t0, h0)), Some((t1, h1)), Some((t2, h2))] = told else { return None };
    let felt = glances.iter().any(|g| g.axial.is_some() || g.baro_m.is_some());
    let clear = 10.0 + 5.0 * sd_m;
    let (first, climb) = ((h1 - h0) / (t1 - t0), (h2 - h1) / (t2 - t1));
    if n < 3 || felt || t2 - t0 > 5.0 || h1 < clear || first < 8.0 || climb < 8.0 {
        return None;
    }
    let net = (thrust_mps2 - G).max(3.0);
    let ago = past_power(h2, climb, net, burn_s)
        .unwrap_or(Told { value: 2.0 * h2 / climb.max(1.0), sd: 0.25 + 0.3 * (t2 - t1) });
    Some(Motion { at: Told { value: t2 - ago.value, sd: ago.sd } })
}

/// How long ago a body lifted off that is seen higher than its speed gained from rest: it is long past its power, and whoever
/// tells of it was silent meanwhile.
fn past_power(height_m: f64, climb_mps: f64, net_mps2: f64, burn_s: f64) -> Option<Told> {
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
    fn first_motion_lies_between_rest_and_push_whatever_dates_it() {
        let glance = |t_s: f64, axial: Option<f64>| Glance {
            t_s,
            baro_m: None,
            axial,
            gnss_up_m: None,
            gnss_climb: None,
        };
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

    #[test]
    fn what_is_first_heard_high_and_slow_lifted_off_long_ago() {
        // 80 m/s2 for 2 s: 160 m and 160 m/s, then 4 s of coast to about 700 m at 110 m/s.
        let ago = past_power(700.0, 110.0, 80.0, 2.0).expect("past its power");
        assert!((ago.value - 6.0).abs() < 2.0 * ago.sd, "{ago:?}");
        // Still under power: the height is what the speed has gained.
        assert_eq!(past_power(40.0, 80.0, 80.0, 2.0), None);
    }
}
