//! Keeps the message `now` within 4 kB: what is least urgent, and stands in `picture` as well, is left out first.

use super::json;
use super::now::cut;
use crate::messages::{Message, Now, PhaseName};

/// The most bytes of a message `now` (product promise: 4 kB).
pub(crate) const MOST_BYTES: usize = 4000;

/// What is left out, in this order, until the message fits.
const STEPS: [fn(&mut Now); 15] = [
    |now| cues(now, usize::MAX),
    |now| next(now, 4, 2),
    passed_apogees_of_others,
    |now| cues(now, 4),
    |now| next(now, 2, 0),
    |now| headsups(now, 4),
    |now| cues(now, 2),
    |now| {
        others(now, |body| {
            body.ground_speed_mps = None;
            body.position_radius_m = None;
            body.mach = None;
        });
    },
    |now| headsups(now, 2),
    |now| others(now, |body| body.landing = None),
    |now| {
        cues(now, 1);
        headsups(now, 1);
    },
    |now| {
        others(now, |body| {
            body.airspeed_mps = None;
            body.lean_rad = None;
            body.apogee = None;
        });
    },
    |now| {
        cues(now, 0);
        next(now, 0, 0);
        others(now, |body| body.climb_mps = None);
    },
    short_names,
    |now| {
        now.bodies.iter_mut().for_each(|body| {
            body.landing = None;
            body.apogee = None;
        });
        others(now, |body| {
            body.height_m = None;
            body.at_t_s = None;
        });
    },
];

/// The JSON text of the message, at most [`MOST_BYTES`] long.
pub(crate) fn fitted(now: Now) -> String {
    let mut message = Message::Now(Box::new(now));
    let mut text = json::text(&message);
    for step in STEPS {
        if text.len() <= MOST_BYTES {
            break;
        }
        if let Message::Now(now) = &mut message {
            step(now);
        }
        text = json::text(&message);
    }
    text
}

/// Keeps at most so many cues to come, those that a heads-up is about first. Passed ones stand in the story as events.
fn cues(now: &mut Now, most: usize) {
    let before = now.cues.len();
    let urgent: Vec<u32> = now.headsups.iter().filter_map(|headsup| headsup.cue).collect();
    now.cues.retain(|cue| !cue.passed);
    while now.cues.len() > most {
        let spare = now.cues.iter().rposition(|cue| !urgent.contains(&cue.cue));
        now.cues.remove(spare.unwrap_or(now.cues.len() - 1));
    }
    now.cues_left_out += (before - now.cues.len()) as u32;
}

/// Keeps at most so many heads-ups; they stand in order of urgency.
fn headsups(now: &mut Now, most: usize) {
    let before = now.headsups.len();
    now.headsups.truncate(most);
    now.headsups_left_out += (before - now.headsups.len()) as u32;
}

/// Keeps at most so many knots for the vehicle and for each other body.
fn next(now: &mut Now, vehicle: usize, other: usize) {
    for (index, body) in now.bodies.iter_mut().enumerate() {
        body.next.truncate(if index == 0 { vehicle } else { other });
    }
}

/// For eight free bodies with names as long as sentences.
fn short_names(now: &mut Now) {
    for name in [&mut now.vehicle, &mut now.site, &mut now.flight_name] {
        *name = cut(name, 24);
    }
    now.bodies.iter_mut().for_each(|body| body.name = cut(&body.name, 12));
    others(now, |body| body.fix = None);
}

fn passed_apogees_of_others(now: &mut Now) {
    others(now, |body| {
        if matches!(body.phase, PhaseName::Descending | PhaseName::Down) {
            body.apogee = None;
        }
    });
}

fn others(now: &mut Now, change: impl Fn(&mut crate::messages::BodyNow)) {
    now.bodies.iter_mut().skip(1).for_each(change);
}
