//! A recorded flight out of one data folder and into another.

use std::path::Path;

use super::*;
use crate::playback;
use crate::run::tests::{on_a_large_stack, recorded};
use crate::store::{Folder, inputs};

/// A data folder with a recorded flight, computed.
async fn flown(place: &Path) {
    let (_, mut all) = recorded("straight");
    let last = all.last().unwrap().clone();
    all.push(loftwatch_engine::Input {
        number: last.number + 1,
        what: loftwatch_engine::What::EndFlight { who: "Mo".into() },
        ..last
    });
    stored(place, &all).await;
}

/// A data folder with these inputs, computed.
async fn stored(place: &Path, all: &[loftwatch_engine::Input]) {
    let folder = Folder::take(place).unwrap();
    let mut store = inputs::open(&folder.inputs()).await.unwrap();
    for some in all.chunks(2_000) {
        inputs::write(&mut store, some).await.unwrap();
    }
    sqlx::Connection::close(store).await.unwrap();
    drop(folder);
    crate::rebuild::run(place, None).await.unwrap();
}

#[test]
fn the_next_flight_does_not_travel_with_it() {
    const HOUR_NS: i64 = 3_600_000_000_000;
    on_a_large_stack(async || {
        let (_, mut all) = recorded("straight");
        let count = all.len() as u64;
        let end = |number, t_ns, utc_ns| loftwatch_engine::Input {
            number,
            t_ns,
            utc_ns,
            what: loftwatch_engine::What::EndFlight { who: "Mo".into() },
        };
        let last = all.last().unwrap().clone();
        all.push(end(last.number + 1, last.t_ns, last.utc_ns));
        let again: Vec<_> = all[..all.len() - 1]
            .iter()
            .map(|input| loftwatch_engine::Input {
                number: input.number + count + 1,
                t_ns: input.t_ns + HOUR_NS,
                utc_ns: input.utc_ns + HOUR_NS,
                what: input.what.clone(),
            })
            .collect();
        all.extend(again);
        let (from, to) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        stored(from.path(), &all).await;
        let there = crate::store::derived::readers_of_stored(from.path()).unwrap();
        assert_eq!(playback::flights(&there, None).await.unwrap().len(), 2);
        let file = from.path().join("a.loftflight");
        to_file(from.path(), 1, &file).await.unwrap();
        unpack(to.path(), &file).await.unwrap();
        let here = crate::store::derived::readers_of_stored(&to.path().join("visitors/1")).unwrap();
        assert_eq!(playback::flights(&here, None).await.unwrap().len(), 1);
    });
}

#[test]
fn a_flight_that_travelled_is_the_same_and_a_damaged_one_is_refused() {
    on_a_large_stack(async || {
        let (from, to) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
        flown(from.path()).await;
        let file = from.path().join("a.loftflight");
        to_file(from.path(), 1, &file).await.unwrap();
        assert!(to_file(from.path(), 1, &file).await.is_err(), "a file that is there is not written over");
        assert!(matches!(
            to_file(from.path(), 7, &from.path().join("b")).await,
            Err(NotTravelled::NoFlight(7))
        ));

        let said = unpack(to.path(), &file).await.unwrap();
        assert_eq!(said, "taken in as flight 1000101\n");
        let place = to.path().join("visitors/1");
        let readers = crate::store::derived::readers_of_stored(&place).unwrap();
        let here = playback::flights(&readers, None).await.unwrap();
        let there = crate::store::derived::readers_of_stored(from.path()).unwrap();
        let there = playback::flights(&there, None).await.unwrap();
        assert_eq!(here.len(), 1);
        assert_eq!((here[0].liftoff_ns, here[0].apogee_m), (there[0].liftoff_ns, there[0].apogee_m));
        assert_eq!((&here[0].vehicle, &here[0].setup), (&there[0].vehicle, &there[0].setup));
        assert!(here[0].ended_ns.is_some());

        // Commands find it under the number that it was given, in a folder with no flight of its own.
        crate::lists::flights(to.path()).await.unwrap();
        crate::whole::run(to.path()).await.unwrap();
        let on = from.path().join("on.loftflight");
        to_file(to.path(), 1_000_101, &on).await.unwrap();
        assert!(matches!(to_file(to.path(), 1_000_102, &on).await, Err(NotTravelled::NoFlight(1_000_102))));

        // The same flight is not taken in twice. A file that was changed on its way is not taken in at all, and nothing of it stays.
        let again = unpack(to.path(), &file).await.unwrap_err().to_string();
        assert!(again.contains("taken in already, as `by the book`"), "{again}");
        let whole = std::fs::read(&file).unwrap();
        let other = tempfile::tempdir().unwrap();
        for at in [3, 60, whole.len() / 2, whole.len() - 3] {
            let mut damaged = whole.clone();
            damaged[at] ^= 4;
            let bad = from.path().join("bad");
            std::fs::write(&bad, damaged).unwrap();
            let words = unpack(other.path(), &bad).await.unwrap_err().to_string();
            assert!(words.contains("refused") && words.contains("nothing of it was kept"), "{at}: {words}");
        }
        let left: Vec<_> = std::fs::read_dir(other.path().join("visitors"))
            .unwrap()
            .map(|entry| entry.unwrap().file_name())
            .collect();
        assert!(left.is_empty(), "{left:?}");
        // Whole, and yet it says other outputs than its inputs lead to.
        let mut reader = loftwatch_parcel::Reader::open(std::io::Cursor::new(&whole)).unwrap();
        let mut head = reader.head().clone();
        head.digest = "0123456789abcdef".to_owned();
        let mut writer = loftwatch_parcel::Writer::begin(Vec::new(), &head, reader.setup()).unwrap();
        while let Some(part) = reader.next_part().unwrap() {
            match part {
                loftwatch_parcel::Part::Inputs(some) => {
                    for input in &some {
                        writer.input(input).unwrap();
                    }
                }
                loftwatch_parcel::Part::Told(told) => {
                    std::fs::write(from.path().join("lies"), writer.end(&told).unwrap()).unwrap();
                    break;
                }
            }
        }
        let words = unpack(other.path(), &from.path().join("lies")).await.unwrap_err().to_string();
        assert!(words.contains("other outputs (digest"), "{words}");
    });
}
