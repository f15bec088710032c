//! How fast frames are stored, beside a plain floor in the same run. Run by `cargo measure`; by hand:
//! `cargo test --release -p loftwatch-station storing -- --ignored --nocapture`.
//!
//! Ours: each frame of 60 bytes is an input of its own, committed in groups as the recorder makes them, each put on the disk
//! before the next, and its verdict and its reading of 15 values are a row each in the outputs' file with its indexes. The floor: the
//! same bytes in a table without index, 50 rows a statement, 1,000 rows a transaction, in WAL.

use std::time::Instant;

use loftwatch_engine::output::{FlightState, Frame, Reading, Value};
use loftwatch_engine::{Input, Output, Said, What};
use sqlx::{AssertSqlSafe, Connection};
use tokio::sync::watch;

use super::{Folder, derived, inputs, outputs};
use crate::shared::Status;

const FRAMES: u64 = 100_000;
/// Inputs in one commit: what 50,000 frames a second bring in the recorder's 20 ms.
const GROUP: u64 = 1_000;

fn input(number: u64) -> Input {
    let mut bytes = vec![0x5a; 60];
    bytes[..8].copy_from_slice(&number.to_le_bytes());
    let t_ns = number as i64 * 20_000;
    Input { number, t_ns, utc_ns: t_ns, what: What::Bytes { link: "mast".to_owned(), bytes } }
}

fn pair(number: u64) -> [Output; 2] {
    let said = |what| Output {
        input: number,
        t_ns: number as i64 * 20_000,
        t_receive_ns: number as i64 * 20_000,
        utc_offset_ns: 0,
        flight: 1,
        what,
    };
    let frame = Frame {
        link: "mast".to_owned(),
        offset: number * 60,
        length: 60,
        layout: Some("body packet".to_owned()),
        wrong: None,
        wrong_kind: None,
    };
    let value = |at: u64| {
        (format!("value {at}"), "free".to_owned(), Value::Number((number * 15 + at) as f64 * 0.001))
    };
    let reading = Reading {
        link: "mast".to_owned(),
        receiver: "Mast".to_owned(),
        layout: "body packet".to_owned(),
        body: 0,
        again: false,
        sequence: Some(number),
        instant: 0,
        t_measured_ns: number as i64 * 20_000,
        values: (0..15).map(value).collect(),
        complaints: Vec::new(),
    };
    [said(Said::Frame(frame)), said(Said::Reading(reading))]
}

fn in_flight() -> Output {
    let state =
        FlightState { number: 1, name: String::new(), opened_ns: 0, liftoff_ns: Some(0), ended_ns: None };
    Output { input: 1, t_ns: 0, t_receive_ns: 0, utc_offset_ns: 0, flight: 1, what: Said::Flight(state) }
}

/// Inputs and outputs at once, as a station stores them.
async fn ours(folder: &Folder) -> f64 {
    let mut recorder = inputs::open(&folder.inputs()).await.unwrap();
    let log = super::check::beside(&folder.inputs(), "-wal");
    let kept = derived::open(folder).await.unwrap();
    let started = Instant::now();
    let status = watch::Sender::new(Status::default());
    let (mut keeper, keeping) = outputs::start(kept, folder.derived(), &[], status.clone());
    // In flight, where everything is kept.
    keeper.tell(outputs::Told::Outputs { first_seq: 1, outputs: vec![in_flight()] });
    let mut next_seq = 2;
    for first in (1..=FRAMES).step_by(GROUP as usize) {
        let group: Vec<Input> = (first..first + GROUP).map(input).collect();
        inputs::write(&mut recorder, &group).await.unwrap();
        super::sync::to_disk(&log).unwrap();
        let told: Vec<Output> = (first..first + GROUP).flat_map(pair).collect();
        let count = told.len() as u64;
        keeper.tell(outputs::Told::Outputs { first_seq: next_seq, outputs: told });
        next_seq += count;
        while keeper.is_busy() {
            tokio::time::sleep(std::time::Duration::from_millis(1)).await;
        }
    }
    drop(keeper);
    keeping.await.unwrap();
    recorder.close().await.unwrap();
    assert!(!status.borrow().outputs_incomplete, "an output was dropped");
    FRAMES as f64 / started.elapsed().as_secs_f64()
}

async fn floor(folder: &Folder) -> f64 {
    let file = folder.path().join("floor.db");
    super::make::make(&file, "").await.unwrap();
    let mut connection = inputs::connect(&file).await.unwrap();
    sqlx::raw_sql("CREATE TABLE frame (number INTEGER PRIMARY KEY, t_ns INTEGER, data BLOB)")
        .execute(&mut connection)
        .await
        .unwrap();
    let sql = format!("INSERT INTO frame VALUES {}", vec!["(?,?,?)"; 50].join(","));
    let started = Instant::now();
    for first in (1..=FRAMES).step_by(1_000) {
        let mut transaction = connection.begin().await.unwrap();
        for from in (first..first + 1_000).step_by(50) {
            let mut query = sqlx::query(AssertSqlSafe(sql.clone()));
            for number in from..from + 50 {
                query = query.bind(number as i64).bind(number as i64 * 20_000).bind(vec![0x5a_u8; 60]);
            }
            query.execute(&mut *transaction).await.unwrap();
        }
        transaction.commit().await.unwrap();
    }
    connection.close().await.unwrap();
    FRAMES as f64 / started.elapsed().as_secs_f64()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "a measurement: cargo measure runs it"]
async fn storing_beside_a_floor() {
    let (mut best, mut plain): (f64, f64) = (0.0, 0.0);
    for _ in 0..3 {
        let folder = tempfile::tempdir().unwrap();
        let taken = Folder::take(folder.path()).unwrap();
        best = best.max(ours(&taken).await);
        plain = plain.max(floor(&taken).await);
        let (pool, _) = inputs::readers_of_stored(folder.path()).await.unwrap();
        assert_eq!(inputs::end(&pool).await.unwrap().number, FRAMES);
        pool.close().await;
        let pool = derived::readers_of_stored(folder.path()).unwrap();
        let rows: i64 = sqlx::query_scalar("SELECT count(*) FROM output").fetch_one(&pool).await.unwrap();
        assert_eq!(rows as u64, 2 * FRAMES + 1);
        pool.close().await;
    }
    println!(
        "storing, 60 B a frame, a row each with verdict and reading of 15 values: {best:.0} frames/s; floor {plain:.0}; {:.2} of it",
        best / plain
    );
}
