//! A packet a second, as from a slow beacon: three heights are all there is of a motor, and four of the ground.

mod thrown;

use loftwatch_flight::{Event, EventKind, Plan, Tracker};
use thrown::{LIFTOFF_S, nothing, plan};

const FINE_S: f64 = 0.02;
const SCALE_M: f64 = 8300.0;
const BURN_S: f64 = 2.0;
/// Rate under the canopy, m/s.
const HANGS_MPS: f64 = 6.0;

/// The true landing and all that is said of a flight by pressure alone, a packet a second from `first_s` on.
fn played(plan: &Plan, first_s: f64) -> (f64, Vec<Event>) {
    let mut tracker = Tracker::new(plan, 0.0);
    let (mut h, mut v, mut top, mut down_s) = (0.0f64, 0.0f64, false, None);
    let (mut next_s, mut packets) = (first_s, 0u32);
    for i in 0..20_000u32 {
        let t = f64::from(i) * FINE_S;
        let since = t - LIFTOFF_S;
        if since >= 0.0 && down_s.is_none() {
            let thrust = if since < BURN_S { 62.0 } else { 0.0 };
            v += (thrust - 4e-4 * v * v.abs() - 9.8) * FINE_S;
            top |= since > BURN_S && v < 0.0;
            v = if top { v.max(-HANGS_MPS) } else { v };
            h += v * FINE_S;
            down_s = (top && h <= 0.0).then_some(t);
        }
        if t >= next_s {
            // Packets come a little sooner or later than each second.
            next_s += 1.0 + 0.02 * (f64::from(packets * 7919 % 1000) / 1000.0 - 0.5);
            packets += 1;
            let mut s = nothing(t);
            let noise = f64::from(packets * 104_729 % 1000) / 1000.0 - 0.5;
            s.pressure_pa = Some(plan.weather.pressure_pa * libm::exp(-h.max(0.0) / SCALE_M) + 4.0 * noise);
            tracker.take(&s);
            tracker.advance(t + 0.1);
        }
        if down_s.is_some_and(|down| t > down + 20.0) {
            break;
        }
    }
    let mut events = Vec::new();
    tracker.drain_events(&mut events);
    (down_s.expect("down"), events)
}

#[test]
fn a_liftoff_and_a_landing_are_seen_at_a_packet_a_second() {
    let plan = plan();
    for first_s in [0.0, 0.25, 0.5, 0.75] {
        let (down_s, events) = played(&plan, first_s);
        for (kind, true_s, within_s) in
            [(EventKind::Liftoff, LIFTOFF_S, 1.5), (EventKind::Landing, down_s, 2.0)]
        {
            let said = events.iter().rfind(|e| e.kind == kind && !e.withdrawn);
            let said = said.unwrap_or_else(|| panic!("{kind:?} from {first_s}: {events:?}"));
            assert!((said.t_s - true_s).abs() < within_s, "{kind:?} {} for {true_s}", said.t_s);
        }
    }
}

/// What a door, a gust and a lift do to a barometer in a packet a second is no liftoff.
#[test]
fn a_step_a_gust_and_a_lift_are_none() {
    let plan = plan();
    let stirs: [&dyn Fn(f64) -> f64; 3] = [
        &|s| if (0.0..1.0).contains(&s) { 25.0 } else { 0.0 },
        &|s| if (0.0..6.0).contains(&s) { 6.0 * (1.0 - (s - 3.0).abs() / 3.0) } else { 0.0 },
        &|s| 2.5 * s.clamp(0.0, 12.0),
    ];
    for (which, stir) in stirs.iter().enumerate() {
        for first_s in [0.0, 0.4, 0.8] {
            let mut tracker = Tracker::new(&plan, 0.0);
            for i in 0..120u32 {
                let t = first_s + f64::from(i);
                let noise = f64::from(i * 104_729 % 1000) / 1000.0 - 0.5;
                let mut s = nothing(t);
                let up_m = stir(t - 60.0);
                s.pressure_pa = Some(plan.weather.pressure_pa * libm::exp(-up_m / SCALE_M) + 4.0 * noise);
                tracker.take(&s);
                tracker.advance(t + 0.1);
            }
            let mut events = Vec::new();
            tracker.drain_events(&mut events);
            assert!(events.is_empty(), "{which} from {first_s}: {events:?}");
        }
    }
}
