use std::path::PathBuf;

use loftwatch_engine::Recording;
use loftwatch_radio::Crc;

use super::*;

fn right() -> Setup {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-data/straight");
    setup::read(&demo.join("setup.toml")).unwrap()
}

/// The CRC's name is not that of the vehicle's: every frame is wrong.
fn wrong() -> Setup {
    let mut setup = right();
    for link in &mut setup.links {
        link.framing.crc = Some(Crc { name: "CRC-16/MODBUS".to_owned(), big_endian: false });
    }
    setup
}

/// The straight demo flight as it was stored under a setup.
async fn store(told: &Setup) -> tempfile::TempDir {
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-data/straight");
    let text = std::fs::read_to_string(demo.join("flight.jsonl")).unwrap();
    let mut reader = Recording::new(told);
    let heard: Vec<Input> = text.lines().filter_map(|line| reader.line(line).unwrap()).collect();
    let first = &heard[0];
    let begun = [What::SetupChange(Box::new(told.clone())), What::Started];
    let begun = begun.map(|what| Input { number: 0, t_ns: first.t_ns, utc_ns: first.utc_ns, what });
    let all: Vec<Input> = begun
        .into_iter()
        .chain(heard.iter().cloned())
        .zip(1..)
        .map(|(input, number)| Input { number, ..input })
        .collect();
    let folder = tempfile::tempdir().unwrap();
    let mut store = inputs::open(&folder.path().join("inputs.db")).await.unwrap();
    inputs::write(&mut store, &all).await.unwrap();
    folder
}

async fn rows(file: PathBuf, sql: &'static str) -> Vec<(i64, i64, String)> {
    let pool = derived::readers(&file);
    let rows = sqlx::query_as(sql).fetch_all(&pool).await.unwrap();
    pool.close().await;
    rows
}

/// The outputs up to the end of the flight, as they are stored.
async fn outputs_of(folder: &Path) -> Vec<(i64, i64, String)> {
    rows(folder.join("derived.db"), "SELECT seq, t_ns, data FROM output ORDER BY seq").await
}

async fn inputs_of(folder: &Path) -> Vec<(i64, i64, String)> {
    rows(folder.join("inputs.db"), "SELECT number, t_ns, kind || hex(data) FROM input ORDER BY number").await
}

fn mend(setup: Setup) -> Mend {
    Mend { setup, from: None, to: None }
}

#[tokio::test]
async fn a_flight_hidden_behind_a_wrong_layout_becomes_one_and_stays_one() {
    let flown = store(&right()).await;
    assert!(run(flown.path(), None).await.unwrap().contains(": 1 flight\n"));
    // Nothing came after its packets: it has ended all the same, as it would for a station that is started now.
    let ended = rows(
        flown.path().join("derived.db"),
        "SELECT number, ended_ns, '' FROM flight WHERE ended_ns IS NOT NULL",
    );
    assert_eq!(ended.await.len(), 1);
    let folder = store(&wrong()).await;
    let folder = folder.path();
    assert!(run(folder, None).await.unwrap().contains(": 0 flights\n"));
    let before = inputs_of(folder).await;

    let said = run(folder, Some(mend(right()))).await.unwrap();
    assert!(said.starts_with("in place of the setup told at ") && said.contains(": 1 flight\n"), "{said}");
    let mended = outputs_of(folder).await;
    let as_flown = outputs_of(flown.path()).await;
    assert!(
        mended.len() >= as_flown.len() && mended[..as_flown.len()] == as_flown,
        "as if it had been told at once"
    );
    let after = inputs_of(folder).await;
    assert_eq!(after[..before.len()], before, "what was written stays as it was");
    assert_eq!(after.len(), before.len() + 1);

    // Whoever computes it later comes to the same.
    run(folder, None).await.unwrap();
    assert!(outputs_of(folder).await == mended, "to the bit");
    crate::whole::run(folder).await.unwrap();
    let (pool, _) = inputs::readers_of_stored(folder).await.unwrap();
    assert_eq!(
        inputs::last_setup(&pool).await.unwrap().unwrap().1,
        right(),
        "a start with this file tells no other"
    );
    pool.close().await;

    // And it can be taken back.
    assert!(run(folder, Some(mend(wrong()))).await.unwrap().contains(": 0 flights\n"));
}

#[tokio::test]
async fn a_setup_of_another_vehicle_is_not_replaced_unasked() {
    let folder = store(&wrong()).await;
    let mut other = right();
    other.vehicle_name = "Another".to_owned();
    let refused = run(folder.path(), Some(mend(other.clone()))).await.unwrap_err();
    assert_eq!(refused.code, 2);
    assert!(refused.to_string().contains("`Another`") && refused.to_string().contains("--from"), "{refused}");
    let told_ns = inputs_of(folder.path()).await[0].1;
    let told = Timestamp::from_nanosecond(told_ns.into()).unwrap();
    let hour = jiff::SignedDuration::from_hours(1);
    let before = Mend { setup: other.clone(), from: None, to: Some(told - hour) };
    assert!(run(folder.path(), Some(before)).await.unwrap_err().to_string().contains("no setup held"));
    let asked = Mend { setup: other, from: Some(told + hour), to: None };
    assert!(run(folder.path(), Some(asked)).await.is_ok(), "it held then, too");
}

/// Overwrites some pages in the middle of a file.
fn damage(file: &Path) {
    use std::io::{Seek as _, SeekFrom, Write as _};
    let pages = std::fs::metadata(file).unwrap().len() / 4096;
    assert!(pages > 100);
    let mut opened = std::fs::OpenOptions::new().write(true).open(file).unwrap();
    for page in (20..pages).step_by(30) {
        opened.seek(SeekFrom::Start(page * 4096)).unwrap();
        opened.write_all(&[0xaa; 4096]).unwrap();
    }
}

#[tokio::test]
async fn damaged_outputs_are_computed_again_and_that_is_what_is_said() {
    let stored = store(&right()).await;
    let folder = stored.path();
    run(folder, None).await.unwrap();
    let before = outputs_of(folder).await;
    damage(&folder.join("derived.db"));
    let said = crate::whole::run(folder).await.unwrap_err().to_string();
    assert!(said.contains("`loftwatch rebuild --data ") && !said.contains(".recover"), "{said}");
    let taken = Folder::take(folder).unwrap();
    let refused = match derived::open(&taken).await {
        Ok(_) => String::new(),
        Err(error) => error.to_string(),
    };
    assert!(
        refused.is_empty() || refused.contains("loftwatch rebuild") && !refused.contains("set-aside"),
        "{refused}"
    );
    drop(taken);
    run(folder, None).await.unwrap();
    assert!(outputs_of(folder).await == before, "to the bit");
    crate::whole::run(folder).await.unwrap();

    let inputs = StoreError::Damaged { file: folder.join("inputs.db"), why: "x".to_owned() }.to_string();
    assert!(inputs.contains("A damaged store") && inputs.contains(".recover"), "{inputs}");
    let gone = StoreError::Damaged { file: folder.join("gone.db"), why: "x".to_owned() }.to_string();
    assert!(gone.contains("from a copy") && !gone.contains(".recover"), "{gone}");
}
