//! Replay against the outputs it is made of.

use std::time::Duration;

use serde_json::Value as Json;

use super::made::{Stored, store};
use super::*;
use crate::hub::made::{self, EPOCH_NS};

async fn stored() -> Stored {
    store(&made::setup(), made::whole_flight()).await
}

async fn open(stored: &Stored) -> Playback {
    let flight = flight(&stored.readers, 1).await.unwrap().unwrap();
    Playback::open(stored.readers.clone(), &stored.inputs, EPOCH_NS, flight).await.unwrap()
}

fn at(t_s: f64) -> i64 {
    EPOCH_NS + (t_s * 1e9) as i64
}

#[tokio::test]
async fn a_seek_gives_the_state_that_playing_through_gives() {
    let stored = stored().await;
    let mut played = open(&stored).await;
    played.seek(at(0.0)).await.unwrap();
    played.play(1.0).await.unwrap();
    let mut fast = open(&stored).await;
    fast.seek(at(0.0)).await.unwrap();
    fast.play(20.0).await.unwrap();
    let mut sought = open(&stored).await;
    let mut differ = 0;
    // 0.2 s of real time is read whole at 1x and by the newest of each at 20x (4 s of flight).
    for step in 1..=200_i32 {
        played.pass(Duration::from_millis(200)).await.unwrap();
        assert_eq!(played.at_ns, (at(0.0) + i64::from(step) * 200_000_000).min(played.ends_ns));
        sought.seek(played.at_ns).await.unwrap();
        assert_eq!(sought.state, played.state, "after {} s", f64::from(step) * 0.2);
        if step % 20 == 0 {
            fast.pass(Duration::from_millis(200)).await.unwrap();
            assert_eq!(fast.at_ns, played.at_ns);
            assert_eq!(fast.state, played.state, "20x after {} s", f64::from(step) * 0.2);
            differ += 1;
        }
    }
    assert_eq!(differ, 10);
    // Going back gives what was then, too.
    let later = played.state.clone();
    played.seek(at(11.0)).await.unwrap();
    sought.seek(at(11.0)).await.unwrap();
    assert_ne!(played.state, later);
    assert_eq!(played.state, sought.state);
}

#[tokio::test]
async fn the_replayed_state_is_the_live_one() {
    // Everything after liftoff is kept, so live and replay must agree to the bit at any instant from then on.
    let stored = stored().await;
    let mut playback = open(&stored).await;
    for t_s in [6.05, 12.0, 20.05, 21.06, 29.5, 30.5, 39.95] {
        let mut live = State::new(EPOCH_NS);
        for output in made::whole_flight().iter().filter(|output| output.t_ns <= at(t_s)) {
            live.apply(output);
        }
        playback.seek(at(t_s)).await.unwrap();
        assert_eq!(playback.state, live, "at {t_s} s");
    }
}

#[tokio::test]
async fn a_replay_says_so_begins_before_liftoff_and_pauses_at_the_end() {
    let stored = stored().await;
    let mut playback = open(&stored).await;
    let now = |playback: &Playback| serde_json::from_str::<Json>(&playback.now(7_000_000_000)).unwrap();
    let first = now(&playback);
    assert_eq!((&first["mode"], &first["speed"]), (&"replay".into(), &0.into()));
    assert_eq!(first["played_s"], 7, "pages go on from there by their own clocks");
    let label = first["replay_of"].as_str().unwrap();
    assert!(label.len() == 5 && label.as_bytes()[2] == b':', "{label}");
    // Opened at 0 s, less than ten before liftoff at 5 s.
    assert_eq!(first["t_s"], 1_795_600_000);
    playback.play(2.0).await.unwrap();
    playback.pass(Duration::from_secs(10)).await.unwrap();
    assert_eq!(now(&playback)["t_s"], 1_795_600_020);
    playback.pass(Duration::from_mins(1)).await.unwrap();
    let last = now(&playback);
    assert_eq!((&last["speed"], &last["t_s"]), (&0.into(), &1_795_600_039.95.into()));
    assert_eq!(last["bodies"][0]["phase"], "down");
    playback.play(1.0).await.unwrap();
    assert_eq!(now(&playback)["speed"], 0, "there is nothing left to play");
    playback.seek(at(30.0)).await.unwrap();
    playback.play(1.0).await.unwrap();
    assert_eq!(now(&playback)["speed"], 1);
}

#[tokio::test]
async fn odd_rates_and_instants_are_held_within_what_makes_sense() {
    let stored = stored().await;
    let mut playback = open(&stored).await;
    for (asked, got) in [(1000.0, 20.0), (0.001, 0.1), (-1.0, 0.0), (f64::NAN, 0.0), (f64::INFINITY, 0.0)] {
        playback.play(asked).await.unwrap();
        assert_eq!(playback.speed, got, "{asked}");
    }
    for (asked, got) in [(i64::MIN, at(0.0)), (i64::MAX, at(39.95)), (0, at(0.0))] {
        playback.seek(asked).await.unwrap();
        assert_eq!(playback.at_ns, got);
    }
}

#[tokio::test]
async fn a_step_goes_from_reading_to_reading_and_pauses() {
    let stored = stored().await;
    let mut playback = open(&stored).await;
    let mut came: Vec<i64> = made::whole_flight()
        .iter()
        .filter(|output| matches!(output.what, loftwatch_engine::Said::Reading(_)))
        .map(|output| output.t_ns)
        .collect();
    came.dedup();
    let from = came.iter().position(|t_ns| *t_ns > at(12.0)).unwrap();
    playback.seek(at(12.0)).await.unwrap();
    playback.play(1.0).await.unwrap();
    for t_ns in &came[from..from + 5] {
        playback.step(true).await.unwrap();
        assert_eq!((playback.at_ns, playback.speed), (*t_ns, 0.0));
    }
    for t_ns in came[..from + 4].iter().rev().take(6) {
        playback.step(false).await.unwrap();
        assert_eq!(playback.at_ns, *t_ns);
    }
    playback.seek(i64::MAX).await.unwrap();
    let end = playback.at_ns;
    playback.step(true).await.unwrap();
    assert_eq!(playback.at_ns, end, "there is nothing further");
}

#[tokio::test]
async fn an_open_flight_plays_on_with_what_is_stored_meanwhile() {
    let mut outputs = made::whole_flight();
    let later = outputs.split_off(outputs.len() / 2);
    let stored = store(&made::setup(), outputs).await;
    let mut playback = open(&stored).await;
    let first_end = playback.ends_ns;
    playback.seek(first_end).await.unwrap();
    let writer =
        sqlx::SqlitePool::connect_with(stored.readers.connect_options().as_ref().clone().read_only(false))
            .await
            .unwrap();
    let output = later.last().unwrap();
    sqlx::query("INSERT INTO output SELECT 1000000, input, ?, t_receive_ns, utc_offset_ns, flight, kind, body, data FROM output WHERE seq = 1")
        .bind(output.t_ns)
        .execute(&writer)
        .await
        .unwrap();
    playback.play(1.0).await.unwrap();
    assert!(playback.speed > 0.0, "there is more now");
    assert_eq!(playback.ends_ns, output.t_ns);
}

#[tokio::test]
async fn the_links_are_told_as_they_were() {
    use loftwatch_engine::{Input, What};
    let mut told = made::setup();
    let name = "mast serial".to_owned();
    let cut = loftwatch_radio::Cut::Lines { checksum: loftwatch_radio::LineChecksum::None };
    told.links.push(loftwatch_engine::setup::Link {
        name: name.clone(),
        receiver: "mast".into(),
        source: loftwatch_engine::setup::Source::Stdin,
        framing: loftwatch_radio::Framing { cut, crc: None, max_length: 100 },
        layouts: Vec::new(),
        delay_s: loftwatch_engine::setup::USUAL_DELAY_S,
    });
    let stored = store(&told, made::whole_flight()).await;
    let state = |number, t_s: f64, up, reason: &str| Input {
        number,
        t_ns: at(t_s),
        utc_ns: at(t_s),
        what: What::LinkState { link: name.clone(), up, reason: reason.to_owned() },
    };
    let mut store = crate::store::inputs::open(&stored.folder.inputs()).await.unwrap();
    let changes = [
        state(1, -900.0, false, "long ago"),
        state(2, -800.0, true, "before"),
        state(3, 4.0, false, "unplugged"),
        state(4, 6.0, true, "again"),
        state(5, 90_000.0, false, "the day after"),
    ];
    crate::store::inputs::write(&mut store, &changes).await.unwrap();
    let mut playback = open(&stored).await;
    for (t_s, up, reason) in [(3.9, true, "before"), (5.0, false, "unplugged"), (7.0, true, "again")] {
        playback.seek(at(t_s)).await.unwrap();
        let story: Json = serde_json::from_str(&playback.story()).unwrap();
        assert_eq!(
            story["links"],
            serde_json::json!([{ "name": name, "up": up, "reason": reason, "bytes": null, "no_frame": false, "wrong": null }]),
            "{t_s}"
        );
    }
    playback.seek(at(3.9)).await.unwrap();
    playback.play(1.0).await.unwrap();
    assert!(playback.pass(Duration::from_millis(200)).await.unwrap().story, "the change is told");
}
