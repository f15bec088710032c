//! What a long silence does: the engine speaks ever less often, and what is heard long after is another flight.

mod fake;

use fake::{START_NS, Story, after, inputs, numbered, run, setup};
use loftwatch_engine::{Input, Output, Said};
use loftwatch_flight::{EventKind, Phase};

const YEAR_NS: i64 = 31_557_600_000_000_000;

/// The end of what is heard: five seconds after liftoff, in the coast.
fn last_before_ns() -> i64 {
    START_NS + ((Story::default().pad_s + 5.0) * 1e9) as i64
}

/// A good flight in the midst of which the clock jumps.
fn jumped(by_ns: i64) -> Vec<Input> {
    let all = inputs(Story::default());
    numbered(all.into_iter().map(|i| (i.t_ns + if i.t_ns > last_before_ns() { by_ns } else { 0 }, i.what)))
}

fn estimates(out: &[Output], from_s: f64, to_s: f64) -> usize {
    let from_ns = last_before_ns();
    let s = |o: &&Output| (o.t_ns - from_ns) as f64 * 1e-9;
    out.iter()
        .filter(|o| matches!(o.what, Said::Estimate { body: 0, .. }))
        .filter(|o| (from_s..to_s).contains(&s(o)))
        .count()
}

#[test]
fn the_longer_nothing_is_heard_the_less_is_said() {
    let story = Story { silent_from_s: 5.0, ..Story::default() };
    let all = inputs(story);
    // Under what falls so slowly that the ground is far.
    let mut slow = setup();
    for descent in slow.plan.bodies.iter_mut().flat_map(|b| b.descents.iter_mut()) {
        descent.drag_area_m2.value *= 400.0;
        descent.drag_area_m2.sd *= 400.0;
    }
    let (_, out) = run(slow, &all, after(&all, 400.0));
    assert!((48..=52).contains(&estimates(&out, 40.0, 50.0)), "five a second in the first minute");
    assert!(
        (48..=52).contains(&estimates(&out, 100.0, 150.0)),
        "then one: {}",
        estimates(&out, 100.0, 150.0)
    );
    assert!((9..=11).contains(&estimates(&out, 320.0, 370.0)), "then one in five seconds");
    for name in ["Body", "Cam A"] {
        let body = setup().plan.bodies.iter().position(|b| b.name == name);
        let drawn = out.iter().filter(
            |o| matches!(&o.what, Said::Path { body: b, .. } if Some(*b) == body && o.t_ns > last_before_ns() + 65_000_000_000),
        );
        assert!(drawn.count() > 30, "the path of {name} is still drawn");
    }
}

#[test]
fn what_nobody_hears_of_lands_by_physics() {
    let story = Story { silent_from_s: 5.0, ..Story::default() };
    let all = inputs(story);
    let (_, out) = run(setup(), &all, after(&all, 400.0));
    let landed = out.iter().find_map(|o| match &o.what {
        Said::Event { event, .. } if event.kind == EventKind::Landing && event.body == 0 => Some(event),
        _ => None,
    });
    assert!(landed.is_some_and(|l| l.sd_s > 1.0 && l.sd_s < 60.0), "{landed:?}");
    assert_eq!(estimates(&out, 320.0, 370.0), 0, "what lies there is not told of again and again");
}

#[test]
fn a_year_in_the_midst_of_a_flight_makes_two_of_it() {
    let all = jumped(YEAR_NS);
    let (_, out) = run(setup(), &all, after(&all, 1.0));
    let before: Vec<Input> = all.iter().filter(|i| i.t_ns <= last_before_ns()).cloned().collect();
    let (_, plain) = run(setup(), &before, last_before_ns());
    let same = plain.iter().zip(&out).take_while(|(a, b)| a == b).count();
    assert_eq!(same, plain.len(), "up to the jump nothing is different");
    let after_jump: Vec<&Output> = out.iter().filter(|o| o.t_ns > last_before_ns() + YEAR_NS).collect();
    let silent = out.len() - plain.len() - after_jump.len();
    assert!(silent < 20_000, "{silent} lines about a year of silence");
    let of_the_first = after_jump.iter().filter(|o| o.flight == 1).map(|o| &o.what);
    for what in of_the_first {
        assert!(
            matches!(what, Said::Silence { since_ns: None } | Said::HeadsUp(_)),
            "of what was lost: {what:?}"
        );
    }
    let ended = out.iter().find_map(|o| match &o.what {
        Said::Flight(flight) if flight.number == 1 => flight.ended_ns,
        _ => None,
    });
    assert!(ended.is_some_and(|t_ns| t_ns < last_before_ns() + 1_810_000_000_000), "{ended:?}");
    let first = after_jump.iter().find_map(|o| match &o.what {
        Said::Estimate { body: 0, estimate } => Some(estimate),
        _ => None,
    });
    assert!(first.is_some_and(|e| e.carried_s < 1.0), "{first:?}");
    assert!(after_jump.iter().any(
        |o| matches!(&o.what, Said::Estimate { body: 0, estimate } if estimate.phase == Phase::Coasting)
    ));
    let landed = after_jump.iter().any(|o| {
        matches!(&o.what, Said::Event { event, .. } if event.kind == EventKind::Landing && event.body == 0)
    });
    assert!(landed, "the second flight is told to its end");
}
