use loftwatch_engine::Said;
use loftwatch_flight::{EventKind, Phase};

use crate::hub::State;
use crate::hub::made::{self, EPOCH_NS, output};
use crate::messages::{ChargeSaid, GroundNow, PieceNow};

/// The Body down, camera A freed and in the air, camera B freed and down, camera C still aboard.
fn ground(further: &[Said]) -> GroundNow {
    let mut says = vec![
        made::flight(Some(0.5), None),
        made::event(1, 1, EventKind::Freed, 0.7),
        made::event(2, 2, EventKind::Freed, 0.7),
        made::estimate(0, 1.0, Phase::Down),
        made::estimate(1, 1.0, Phase::Descending),
        made::estimate(2, 1.0, Phase::Down),
    ];
    says.extend_from_slice(further);
    let mut state = State::new(EPOCH_NS);
    for what in says {
        state.apply(&output(1, 1.0, what));
    }
    state.ground(&made::setup(), EPOCH_NS)
}

fn charges(piece: &PieceNow) -> Vec<(&str, ChargeSaid)> {
    piece.charges.iter().map(|charge| (charge.name.as_str(), charge.said)).collect()
}

#[test]
fn the_way_from_the_pad_is_true_and_by_compass() {
    let ground = ground(&[]);
    let compass = ground.compass.unwrap();
    let place = ground.pieces[0].place.unwrap();
    // On the plane, which over 1.6 km is good to a part in a thousand: 1235.567 m west, 987.654 m north.
    let (west_m, north_m) = (1_235.567_f64, 987.654_f64);
    assert!((place.distance_m / west_m.hypot(north_m) - 1.0).abs() < 1e-3, "{place:?}");
    let true_deg = 360.0 - west_m.atan2(north_m).to_degrees();
    assert!((place.true_deg - true_deg).abs() < 0.05, "{place:?}, {true_deg}");
    let wanted = (place.true_deg - compass.declination_deg).rem_euclid(360.0);
    assert!((place.compass_deg.unwrap() - wanted).abs() < 0.06, "{place:?}, {compass:?}");
    // There (Nevada's longitude) a compass points east of true north, so that its figures are lower.
    assert!((10.0..14.0).contains(&compass.declination_deg), "{compass:?}");
    assert_eq!(place.radius_m, Some(12.3));
}

#[test]
fn a_piece_of_which_only_a_fix_is_known_is_where_that_was() {
    // The camera's estimate has no place; its fix is 1e-6 rad (6.4 m) north of the pad.
    let Said::Estimate { body, mut estimate } = made::estimate(2, 2.0, Phase::Down) else { unreachable!() };
    estimate.east_north_m = None;
    let ground = ground(&[Said::Estimate { body, estimate }, made::reading(2, 1, 1.0, true)]);
    let place = ground.pieces[2].place.unwrap();
    assert!((place.distance_m - 6.4).abs() < 0.2, "{place:?}");
    assert_eq!(place.radius_m, None);
}

#[test]
fn what_is_not_known_to_be_down_is_told_and_what_is_carried_lies_with_its_carrier() {
    let ground = ground(&[]);
    let told: Vec<_> = ground.pieces.iter().map(|piece| (piece.down, piece.carried_by)).collect();
    assert_eq!(told, [(true, None), (false, None), (true, None), (true, Some(0))]);
    assert_eq!(ground.pieces[3].place, None);
}

#[test]
fn before_anything_is_down_no_place_is_told() {
    let mut state = State::new(EPOCH_NS);
    state.apply(&output(1, 1.0, made::flight(Some(0.5), None)));
    state.apply(&output(1, 1.0, made::estimate(0, 1.0, Phase::Descending)));
    assert_eq!(state.ground(&made::setup(), EPOCH_NS).pieces, []);
}

#[test]
fn a_charge_is_live_until_its_radio_says_that_it_fired() {
    let nothing = ChargeSaid::Nothing;
    // In that setup the Body acts at the first four cues and at the fifth.
    let cues = ["Cam A out", "Cam B out", "Cam C out", "drogue out", "main out"];
    let silent = ground(&[]);
    assert_eq!(charges(&silent.pieces[0]), cues.map(|name| (name, nothing)));

    let armed = ground(&[made::charges(0, 1.0, false, true, false)]);
    let found = charges(&armed.pieces[0]).into_iter().skip(3).collect::<Vec<_>>();
    let spare = ("spare", ChargeSaid::NotFired);
    assert_eq!(found, [("drogue out", ChargeSaid::Armed), ("main out", nothing), spare]);

    let fired = ground(&[made::charges(0, 1.0, true, true, false)]);
    let found = charges(&fired.pieces[0]).into_iter().skip(3).collect::<Vec<_>>();
    assert_eq!(found, [("main out", nothing), spare]);

    // A board that restarts and no longer knows leaves it live.
    let forgotten =
        ground(&[made::charges(0, 1.0, true, true, false), made::charges(0, 2.0, false, false, false)]);
    assert!(charges(&forgotten.pieces[0]).contains(&("drogue out", ChargeSaid::NotFired)));

    // Another body's channel of no cue is that body's.
    let other = ground(&[made::charges(2, 1.0, true, true, false)]);
    assert!(!charges(&other.pieces[0]).iter().any(|(name, _)| *name == "spare"));
    assert!(charges(&other.pieces[2]).contains(&("spare", ChargeSaid::NotFired)));
    assert!(
        !charges(&other.pieces[0]).iter().any(|(name, _)| *name == "drogue out"),
        "one board saw it fire"
    );
}

#[test]
fn a_new_flight_knows_nothing_of_the_charges_of_the_last() {
    let mut state = State::new(EPOCH_NS);
    state.apply(&output(1, 1.0, made::flight(Some(0.5), None)));
    state.apply(&output(1, 1.0, made::charges(0, 1.0, true, true, true)));
    let mut next = output(2, 9.0, made::flight(None, None));
    if let Said::Flight(flight) = &mut next.what {
        flight.number = 2;
    }
    state.apply(&next);
    let mut down = output(3, 9.0, made::estimate(0, 9.0, Phase::Down));
    down.flight = 2;
    state.apply(&down);
    let ground = state.ground(&made::setup(), EPOCH_NS);
    assert!(charges(&ground.pieces[0]).contains(&("drogue out", ChargeSaid::Nothing)));
}
