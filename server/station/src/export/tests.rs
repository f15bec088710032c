//! Tables and tracks from a stored flight.

use axum::body::Body;
use http_body_util::BodyExt as _;
use loftwatch_engine::Said;
use loftwatch_engine::output::Value;
use proptest::prelude::*;

use super::cells;
use super::track::{Point, Stretch, Told, decimate};
use crate::hub::made::{self, EPOCH_NS, output};
use crate::playback::made::store;
use crate::playback::{Flight, flight};

async fn text(body: Body) -> String {
    String::from_utf8(body.collect().await.unwrap().to_bytes().to_vec()).unwrap()
}

fn records(table: &str) -> Vec<csv::StringRecord> {
    let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(table.as_bytes());
    reader.records().map(Result::unwrap).collect()
}

#[tokio::test]
async fn estimates_say_their_units_and_frames_and_keep_their_figures() {
    let stored = store(&made::setup(), made::whole_flight()).await;
    let flight = flight(&stored.readers, 1).await.unwrap().unwrap();
    let table = text(super::estimates::stream(stored.readers.clone(), &flight, EPOCH_NS)).await;
    assert!(table.contains("\r\n") && !table.replace("\r\n", "").contains('\n'), "RFC 4180 lines");
    let rows = records(&table);
    let column =
        |name: &str| rows[0].iter().position(|cell| cell == name).unwrap_or_else(|| panic!("no {name}"));
    // From 5 s on all are kept: 150 of the vehicle alone, then 200 of four bodies; before, one a second.
    assert_eq!(rows.len() - 1, 5 + 150 + 4 * 200);
    let last = rows.last().unwrap();
    assert_eq!(&last[column("body")], "Cam C");
    assert_eq!(&last[column("utc")], "2026-11-25T09:47:19.950000Z");
    assert_eq!(&last[column("station_time_s")], "1795600039.950000");
    assert_eq!(&last[column("since_liftoff_s")], "34.950000");
    assert_eq!(&last[column("phase")], "down");
    assert_eq!(&last[column("height_above_pad_m")], "1352.41");
    assert_eq!(&last[column("airspeed_through_air_mps_p95")], "175.641");
    assert_eq!(&last[column("lean_through_air_from_vertical_rad")], "");
    assert!(rows[0].iter().any(|name| name == "ground_speed_over_ground_mps"));
    assert!(rows[1][column("since_liftoff_s")].starts_with("-4.9"), "before liftoff");
}

#[tokio::test]
async fn readings_have_a_column_for_each_field_and_keep_what_has_none() {
    let mut told = made::setup();
    told.plan.bodies[0].name = "=HYPERLINK(\"http://evil.example\")".into();
    let Said::Reading(mut odd) = made::reading(0, 7, 1.0, true) else { unreachable!() };
    odd.link = "@SUM(A1)".into();
    odd.values.push(("new".into(), "free".into(), Value::Text("+1,2\"x\"\n=3".into())));
    odd.values[1].2 = Value::Text("-cmd|' /C calc'!A0".into());
    odd.complaints = vec!["\tp is out of range".into()];
    let stored =
        store(&told, vec![output(1, 0.0, made::flight(None, None)), output(2, 1.0, Said::Reading(odd))])
            .await;
    let flight = flight(&stored.readers, 1).await.unwrap().unwrap();
    let table = text(super::readings::stream(stored.readers.clone(), &flight)).await;
    let rows = records(&table);
    let cell = |name: &str| {
        let column = rows[0]
            .iter()
            .position(|cell| cell == name)
            .unwrap_or_else(|| panic!("no {name} in {:?}", rows[0]));
        &rows[1][column]
    };
    assert_eq!(rows.len(), 2);
    assert_eq!(cell("p (pressure) [Pa]"), "86999");
    assert_eq!(cell("lat (latitude) [rad]"), "0.667601");
    assert_eq!(cell("own (own height above its own zero) [m]"), "");
    assert_eq!(cell("mode [widgets]"), "'-cmd|' /C calc'!A0");
    assert_eq!(cell("body"), "'=HYPERLINK(\"http://evil.example\")");
    assert_eq!(cell("link"), "'@SUM(A1)");
    assert_eq!(cell("other_values"), "new (free) = '+1,2\"x\"\n=3");
    assert_eq!(cell("complaints"), "'\tp is out of range");
    assert_eq!((cell("sequence"), cell("heard_again")), ("7", "0"));
}

#[tokio::test]
async fn a_table_breaks_off_when_the_store_fails_and_never_looks_whole() {
    let stored = store(&made::setup(), made::whole_flight()).await;
    let flight = flight(&stored.readers, 1).await.unwrap().unwrap();
    stored.readers.close().await;
    let body = super::readings::stream(stored.readers.clone(), &flight);
    assert!(body.collect().await.is_err());
}

async fn track(from_s: f64, to_s: f64, most: usize) -> crate::messages::Track {
    let stored = store(&made::setup(), made::whole_flight()).await;
    let flight: Flight = flight(&stored.readers, 1).await.unwrap().unwrap();
    let ns = |t_s: f64| EPOCH_NS + (t_s * 1e9) as i64;
    let stretch = Stretch { from_ns: ns(from_s), to_ns: ns(to_s), most: Some(most) };
    super::track::read(&stored.readers, EPOCH_NS, &flight, Told::Live, stretch).await.unwrap()
}

#[tokio::test]
async fn a_track_has_each_body_from_when_it_is_free() {
    let whole = track(0.0, 100.0, 5000).await;
    assert_eq!(whole.bodies.iter().map(|body| body.body).collect::<Vec<_>>(), [0, 1, 2, 3]);
    assert_eq!(whole.bodies[0].t_s.len(), 5 + 350);
    assert!(whole.bodies[1].t_s[0] >= 1_795_600_020.0);
    let part = track(10.0, 11.0, 5000).await;
    assert_eq!(part.bodies.len(), 1);
    assert_eq!(part.bodies[0].t_s.len(), 10);
    let few = track(0.0, 100.0, 40).await;
    assert!(few.bodies.iter().all(|body| body.t_s.len() <= 40));
    assert_eq!(few.bodies[0].t_s.first(), whole.bodies[0].t_s.first());
    assert_eq!(few.bodies[0].t_s.last(), whole.bodies[0].t_s.last());
}

#[test]
fn only_the_beginning_of_a_text_makes_a_formula() {
    for hostile in ["=1", "+1", "-1", "@a", "\t=1", "\r=1"] {
        assert_eq!(cells::text(hostile), format!("'{hostile}"));
    }
    for plain in ["", "a=1", "Mast", "'=1", "5-3", " =1"] {
        assert_eq!(cells::text(plain), plain);
    }
}

fn points() -> impl Strategy<Value = Vec<Point>> {
    let point = (0.001..2.0, -100.0..1000.0, -200.0..200.0, 0.0..300.0, any::<bool>());
    prop::collection::vec(point, 1..800).prop_map(|steps| {
        let mut t_s = 0.0;
        let next = |(dt, height_m, climb_mps, airspeed_mps, known): (f64, f64, f64, f64, bool)| {
            t_s += dt;
            let height_m = if known { height_m } else { f64::NAN };
            Point { t_s, height_m, climb_mps, airspeed_mps, east_north_m: None }
        };
        steps.into_iter().map(next).collect()
    })
}

proptest! {
    #[test]
    fn decimation_keeps_ends_extremes_and_order(points in points(), most in 8_usize..700) {
        let kept = decimate(&points, most);
        prop_assert!(kept.len() <= most.max(8));
        prop_assert!(kept.is_sorted());
        prop_assert_eq!((kept[0], kept[kept.len() - 1]), (0, points.len() - 1));
        for of in [|p: &Point| p.height_m, |p: &Point| p.climb_mps, |p: &Point| p.airspeed_mps] {
            let most_of = |indices: &mut dyn Iterator<Item = usize>| {
                indices.map(|i| of(&points[i])).filter(|v| v.is_finite()).fold(f64::NEG_INFINITY, f64::max)
            };
            let least_of = |indices: &mut dyn Iterator<Item = usize>| {
                indices.map(|i| of(&points[i])).filter(|v| v.is_finite()).fold(f64::INFINITY, f64::min)
            };
            prop_assert_eq!(most_of(&mut kept.iter().copied()), most_of(&mut (0..points.len())));
            prop_assert_eq!(least_of(&mut kept.iter().copied()), least_of(&mut (0..points.len())));
        }
    }
}
