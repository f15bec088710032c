//! The hub from outputs to the text of its messages.

use loftwatch_engine::Said;
use loftwatch_engine::output::FlightState;
use loftwatch_engine::output::Level::{Act, Look};
use loftwatch_flight::{Case, EventKind, Phase};
use serde_json::Value as Json;

use super::fit::MOST_BYTES;
use super::made::{self, EPOCH_NS, output};
use super::*;

fn moment(t_s: f64) -> Moment {
    let t_ns = EPOCH_NS + (t_s * 1e9) as i64;
    Moment {
        t_ns,
        utc_ns: t_ns,
        not_kept_since_ns: None,
        disk: None,
        room_for_s: None,
        lost_bytes: 0,
        replay: None,
    }
}

fn state_of(outputs: &[Said]) -> State {
    let mut state = State::new(EPOCH_NS);
    for (index, what) in outputs.iter().enumerate() {
        state.apply(&output(index as u64, 1.0, what.clone()));
    }
    state
}

/// Four bodies, eight cues, all that can be said of each, and so many heads-ups.
fn crowded(headsups: usize, phase: Phase, free: bool) -> State {
    let mut says = vec![made::flight(Some(0.5), None)];
    for body in 0..4 {
        says.push(made::reading(body, 1, 1.0, true));
        says.push(made::estimate(body, 1.0, phase));
        says.push(made::prediction(body, 1.0));
        says.push(made::path(body, 0.9));
        says.push(made::landing(body, Case::Planned, 1.0));
        if free && body > 0 {
            says.push(made::event(body as u32, body, EventKind::Freed, 0.7));
        }
    }
    says.extend((0..8).map(|index| made::cue(index, 1.0, false)));
    says.extend((0..headsups).map(|index| made::headsup(index, true, 1.0)));
    state_of(&says)
}

#[test]
fn now_stays_within_four_kilobytes_with_four_bodies_and_every_headsup() {
    let told = made::setup();
    for phase in [Phase::Coasting, Phase::Descending] {
        for free in [false, true] {
            for headsups in [0, 1, 3, 12] {
                let text = fitted(crowded(headsups, phase, free).now(&told, &moment(1.02)));
                assert!(text.len() <= MOST_BYTES, "{} bytes, {headsups} heads-ups, {phase:?}", text.len());
                let now: Json = serde_json::from_str(&text).unwrap();
                // Whatever is left out, the vehicle's figures and the most urgent heads-up are there.
                for key in ["height_m", "climb_mps", "airspeed_mps", "apogee", "landing", "fix"] {
                    assert!(now["bodies"][0][key].is_object(), "{key} in {text}");
                }
                for body in now["bodies"].as_array().unwrap() {
                    assert_eq!(body["height_m"].is_object(), free || body["name"] == "Body");
                }
                let sent = now["headsups"].as_array().unwrap().len() as u64;
                assert_eq!(sent + now["headsups_left_out"].as_u64().unwrap(), headsups as u64);
                assert!(headsups == 0 || now["headsups"][0]["level"] == "act");
                let sent = now["cues"].as_array().unwrap().len() as u64;
                assert_eq!(sent + now["cues_left_out"].as_u64().unwrap(), 8);
            }
        }
    }
}

#[test]
fn now_stays_within_four_kilobytes_with_eight_bodies_and_long_names() {
    let mut told = made::setup();
    while told.plan.bodies.len() < 8 {
        told.plan.bodies.push(told.plan.bodies[1].clone());
    }
    for body in &mut told.plan.bodies {
        body.name = "ö".repeat(500);
    }
    told.vehicle_name = "v".repeat(10_000);
    told.site_name = "s".repeat(10_000);
    let mut says = vec![made::flight(Some(0.5), None)];
    for body in 0..8 {
        says.push(made::estimate(body, 1.0, Phase::Descending));
        says.push(made::prediction(body, 1.0));
        says.push(made::path(body, 0.9));
        says.push(made::landing(body, Case::Planned, 1.0));
        says.push(made::event(body as u32, body, EventKind::Freed, 0.7));
    }
    says.extend((0..20).map(|index| made::headsup(index, true, 1.0)));
    let text = fitted(state_of(&says).now(&told, &moment(1.0)));
    assert!(text.len() <= MOST_BYTES, "{}", text.len());
}

#[test]
fn heads_ups_stand_in_the_order_of_what_is_at_stake() {
    let told = made::setup();
    // In that setup cues 0 to 2 let cameras go, the others open chutes.
    let says = |key: &str, cue: Option<usize>, level, mass_kg| {
        let Said::HeadsUp(headsup) = made::headsup(0, true, 1.0) else { unreachable!() };
        Said::HeadsUp(loftwatch_engine::output::HeadsUp { key: key.into(), cue, level, mass_kg, ..headsup })
    };
    let state = state_of(&[
        made::flight(Some(0.5), None),
        made::cue(0, 1.0, false),
        made::cue(1, 1.0, false),
        made::cue(3, 1.0, false),
        says("all_silent:all", None, Look, 9.0),
        says("cue:a", Some(0), Act, 0.4),
        says("cue:b", Some(1), Act, 0.4),
        says("cue:heavy", Some(1), Act, 0.9),
        says("cue:chute", Some(3), Act, 0.2),
        says("lean:Body", None, Act, 9.0),
        says("no_sign:Body:main", None, Act, 5.0),
        says("cue:look", Some(3), Look, 50.0),
    ]);
    let keys: Vec<String> = state.headsups_now(&told).into_iter().map(|headsup| headsup.key).collect();
    let wanted = [
        "no_sign:Body:main",
        "cue:chute",
        "lean:Body",
        "cue:heavy",
        "cue:a",
        "cue:b",
        "cue:look",
        "all_silent:all",
    ];
    assert_eq!(keys, wanted);
}

#[test]
fn a_small_vehicle_is_sent_whole() {
    let mut told = made::setup();
    told.plan.bodies.truncate(1);
    let mut says = vec![
        made::flight(Some(0.5), None),
        made::estimate(0, 1.0, Phase::Coasting),
        made::prediction(0, 1.0),
    ];
    says.extend([
        made::path(0, 1.1),
        made::cue(3, 1.0, false),
        made::cue(4, 1.0, false),
        made::headsup(3, true, 1.0),
    ]);
    let now: Json = serde_json::from_str(&fitted(state_of(&says).now(&told, &moment(1.02)))).unwrap();
    assert_eq!(now["kind"], "now");
    assert_eq!((&now["cues_left_out"], &now["headsups_left_out"]), (&0.into(), &0.into()));
    let next = now["bodies"][0]["next"].as_array().unwrap();
    assert_eq!(next.len(), 4);
    // A longer message keeps the first two: the pen is not to hold at the second before the next packet comes.
    assert!(next[1][0].as_f64().unwrap() - next[0][0].as_f64().unwrap() >= 0.3, "{next:?}");
    assert_eq!(now["cues"][0]["name"], "drogue out");
}

#[test]
fn times_are_station_seconds() {
    let state = state_of(&[
        made::flight(Some(5.0), None),
        made::prediction(0, 1.0),
        made::event(1, 0, EventKind::Liftoff, 5.0),
    ]);
    let now = state.now(&made::setup(), &moment(6.0));
    assert_eq!(now.t_s, 1_795_600_006.0);
    assert_eq!(now.liftoff_t_s, Some(1_795_600_005.0));
    assert_eq!(now.bodies[0].apogee.unwrap().t_s.p50, 1_795_600_022.22);
    let story = state.story(&made::setup(), EPOCH_NS, Vec::new());
    assert_eq!((story.events[0].t_s, story.events[0].event.as_str()), (1_795_600_005.0, "liftoff"));
}

#[test]
fn a_withdrawn_event_is_left_out_and_a_correction_replaces() {
    let Said::Event { mut event, label, who } = made::event(1, 0, EventKind::Apogee, 22.0) else {
        unreachable!()
    };
    let mut state = state_of(&[made::flight(None, None), made::event(1, 0, EventKind::Apogee, 21.0)]);
    let correction = Said::Event { event, label: label.clone(), who: who.clone() };
    assert!(state.apply(&output(3, 23.0, correction)).story);
    assert_eq!(state.story(&made::setup(), EPOCH_NS, Vec::new()).events[0].t_s, 1_795_600_022.0);
    event.withdrawn = true;
    state.apply(&output(4, 24.0, Said::Event { event, label, who }));
    assert!(state.story(&made::setup(), EPOCH_NS, Vec::new()).events.is_empty());
}

#[test]
fn a_new_flight_starts_clean_and_keeps_the_last_fix() {
    let mut state = crowded(3, Phase::Down, true);
    let next =
        FlightState { number: 2, name: String::new(), opened_ns: EPOCH_NS, liftoff_ns: None, ended_ns: None };
    let mut opens = output(9, 50.0, Said::Flight(next));
    opens.flight = 2;
    state.apply(&opens);
    let now = state.now(&made::setup(), &moment(50.0));
    assert!(now.headsups.is_empty() && now.cues.is_empty() && now.bodies[0].height_m.is_none());
    assert_eq!(now.flight, 2);
    assert!(now.bodies[0].fix.is_some());
    // What still comes about the flight before changes nothing.
    let before = state.clone();
    assert_eq!(state.apply(&output(10, 51.0, made::headsup(1, true, 1.0))), Touched::default());
    assert_eq!(state, before);
}

#[test]
fn an_invalid_or_absent_fix_is_no_fix() {
    let says = |latitude: f64, valid: f64| {
        let Said::Reading(mut reading) = made::reading(0, 1, 1.0, true) else { unreachable!() };
        reading.values[2].2 = loftwatch_engine::output::Value::Number(latitude);
        reading.values.push(("fix".into(), "fix".into(), loftwatch_engine::output::Value::Number(valid)));
        fix(&reading)
    };
    assert!(says(0.6, 3.0).is_some());
    assert_eq!(says(0.6, 0.0), None);
    assert_eq!(says(f64::NAN, 3.0), None);
    assert_eq!(says(2.0, 3.0), None, "beyond the pole");
}

#[test]
fn the_pen_goes_on_from_the_estimate() {
    let says = [made::flight(Some(0.0), None), made::path(0, 0.9), made::estimate(0, 1.0, Phase::Descending)];
    let now = state_of(&says).now(&made::setup(), &moment(1.0));
    let body = &now.bodies[0];
    // The path of 0.9 s says 1313.36 - 2 m at 1.0 s (give or take the bend of the cubic); the estimate 1313.457.
    // From the estimate on, and not from the first knot that is still to come.
    assert_eq!((body.next[0][0], body.next[0][1]), (1_795_600_001.0, 1_313.5));
    let (t_s, height_m) = (body.next[1][0], body.next[1][1]);
    assert_eq!(t_s, 1_795_600_002.4);
    let on_the_path = 1_312.46 + 0.9 - 30.0;
    let shift = height_m - on_the_path;
    assert!((shift - 2.1).abs() < 0.2, "moved by {shift} m");
}

#[test]
fn figures_that_are_no_numbers_become_null_and_never_reach_a_page() {
    let Said::Estimate { body, mut estimate } = made::estimate(0, 1.0, Phase::Coasting) else {
        unreachable!()
    };
    estimate.height_m.p95 = f64::NAN;
    estimate.mach = f64::INFINITY;
    let says = [made::flight(Some(0.0), None), Said::Estimate { body, estimate }];
    let now: Json = serde_json::from_str(&fitted(state_of(&says).now(&made::setup(), &moment(1.0)))).unwrap();
    assert!(now["bodies"][0]["height_m"].is_null() && now["bodies"][0]["mach"].is_null());
    assert!(now["bodies"][0]["climb_mps"]["p50"].is_number());
}

/// A hub without a station about it; the senders keep its channels open.
pub(crate) fn hub() -> (Hub, impl Sized) {
    let told = SetupNow { setup: made::setup(), path: None, complaint: None };
    let (setup_sender, setup) = watch::channel(Arc::new(told));
    let (status_sender, status) = watch::channel(Status::default());
    let (links_sender, links) = watch::channel(Vec::new());
    let (passing_sender, passing) = watch::channel(Vec::new());
    let senders = (setup_sender, status_sender, links_sender, passing_sender);
    (Hub::new(Clock::after(0), EPOCH_NS, setup, status, links, passing), senders)
}

#[tokio::test(start_paused = true)]
async fn readings_go_out_at_once_until_there_were_many() {
    let (hub, _senders) = hub();
    let (_end, ending) = watch::channel(false);
    let hub = Arc::new(hub);
    let keeper = tokio::spawn({
        let hub = Arc::clone(&hub);
        async move { hub.keep_time(ending).await }
    });
    tokio::time::sleep(std::time::Duration::from_millis(120)).await;
    let mut newest = hub.follow();
    newest.now.mark_unchanged();
    hub.take(&[output(1, 0.0, made::flight(None, None))]);
    for number in 1..5 {
        hub.take(&[output(number, 0.0, made::estimate(0, 0.0, Phase::Waiting))]);
        assert!(newest.now.has_changed().unwrap(), "published within `take` itself");
        newest.now.mark_unchanged();
    }
    hub.take(&[output(5, 0.01, made::estimate(0, 0.01, Phase::Waiting))]);
    assert!(!newest.now.has_changed().unwrap(), "five went at once");
    let before = Instant::now();
    newest.now.changed().await.unwrap();
    let waited = before.elapsed().as_millis();
    assert!((35..=42).contains(&waited), "{waited} ms");
    hub.take(&[output(6, 0.02, made::path(0, 0.02))]);
    let before = Instant::now();
    newest.now.changed().await.unwrap();
    let waited = before.elapsed().as_millis();
    assert!((95..=102).contains(&waited), "a path alone waits for company: {waited} ms");
    keeper.abort();
}

#[tokio::test(start_paused = true)]
async fn a_thousand_readings_a_second_make_twenty_five_messages_and_the_first_few() {
    let (hub, _senders) = hub();
    let mut newest = hub.follow();
    let mut messages = 0;
    for step in 0..1000_u64 {
        tokio::time::advance(std::time::Duration::from_millis(1)).await;
        hub.take(&[output(step, 0.001 * step as f64, made::reading(0, step, 0.001 * step as f64, false))]);
        if newest.now.has_changed().unwrap() {
            newest.now.mark_unchanged();
            messages += 1;
        }
    }
    assert!((28..=30).contains(&messages), "{messages}");
}
