//! Files from a stored flight.

use std::path::PathBuf;
use std::sync::Arc;

use loftwatch_engine::output::Value;
use loftwatch_engine::{Input, Output, Remark, Said, What as Happens};
use loftwatch_export::{Form, How, Table, What};
use proptest::prelude::*;

use super::make::{self, Trouble};
use super::source::{Selection, Source};
use super::track::{Point, Stretch, Told, decimate};
use crate::hub::made::{self, EPOCH_NS, output};
use crate::playback::made::{Stored, store};
use crate::playback::{Flight, flight};

fn source(stored: &Stored) -> Source {
    Source {
        derived: stored.readers.clone(),
        inputs: stored.inputs.clone(),
        epoch_ns: EPOCH_NS,
        folder: stored.folder.path().to_owned(),
    }
}

/// Makes a file of flight 1; what it holds, or why it could not be made and whether anything of it was left.
async fn made_of(stored: &Stored, what: What, how: &How) -> Result<Vec<u8>, Trouble> {
    let source = source(stored);
    let file: PathBuf = stored.folder.path().join("a file");
    let _ = std::fs::remove_file(&file);
    let chosen = source.choose(Selection::Flight(1)).await?;
    make::write(&source, &chosen, what, how, &file, &Arc::default()).await?;
    Ok(std::fs::read(&file)?)
}

async fn text(stored: &Stored, what: What, how: &How) -> String {
    String::from_utf8(made_of(stored, what, how).await.unwrap()).unwrap()
}

fn csv(table: Table) -> What {
    What::Table(table, Form::Csv)
}

fn records(table: &str) -> Vec<csv::StringRecord> {
    let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(table.as_bytes());
    reader.records().map(Result::unwrap).collect()
}

#[tokio::test]
async fn estimates_say_their_units_and_frames_and_keep_their_figures() {
    let stored = store(&made::setup(), made::whole_flight()).await;
    let table = text(&stored, csv(Table::Estimates), &How::usual()).await;
    assert!(table.contains("\r\n") && !table.replace("\r\n", "").contains('\n'), "RFC 4180 lines");
    let rows = records(&table);
    let column =
        |name: &str| rows[0].iter().position(|cell| cell == name).unwrap_or_else(|| panic!("no {name}"));
    // From 5 s on all are kept: 150 of the vehicle alone, then 200 of four bodies; before, one a second.
    assert_eq!(rows.len() - 1, 5 + 150 + 4 * 200);
    let last = rows.last().unwrap();
    assert_eq!(&last[column("flight")], "1");
    assert_eq!(&last[column("body")], "Cam C");
    assert_eq!(&last[column("utc")], "2026-11-25T09:47:19.950000Z");
    assert_eq!(&last[column("station_time_s")], "1795600039.950000");
    assert_eq!(&last[column("since_liftoff_s")], "34.950000");
    assert_eq!(&last[column("phase")], "down");
    assert_eq!(&last[column("height_above_pad_m")], "1352.41");
    assert_eq!(&last[column("height_above_sea_level_m")], "2562.41");
    assert_eq!(&last[column("airspeed_through_air_mps_p95")], "175.641");
    assert_eq!(&last[column("lean_through_air_from_vertical_rad")], "");
    assert!(rows[0].iter().any(|name| name == "ground_speed_over_ground_mps"));
    assert!(rows[1][column("since_liftoff_s")].starts_with("-4.9"), "before liftoff");
}

#[tokio::test]
async fn columns_units_and_rate_are_as_asked_for() {
    let stored = store(&made::setup(), made::whole_flight()).await;
    let mut how = How::usual();
    for (key, value) in
        [("units", "imperial"), ("columns", "since_liftoff,body,height_above_pad"), ("rate_hz", "4")]
    {
        how.take(key, value).unwrap();
    }
    let rows = records(&text(&stored, csv(Table::Estimates), &how).await);
    assert_eq!(
        rows[0].iter().collect::<Vec<_>>(),
        [
            "since_liftoff_s",
            "body",
            "height_above_pad_ft",
            "height_above_pad_ft_p05",
            "height_above_pad_ft_p25",
            "height_above_pad_ft_p75",
            "height_above_pad_ft_p95"
        ]
    );
    let of_body: Vec<f64> =
        rows[1..].iter().filter(|row| &row[1] == "Body").map(|row| row[0].parse().unwrap()).collect();
    assert!(of_body.len() > 100 && of_body.windows(2).all(|pair| (pair[1] - pair[0] - 0.25).abs() < 1e-6));
    // The same in SI, between the same neighbours.
    how.take("units", "si").unwrap();
    let si = records(&text(&stored, csv(Table::Estimates), &how).await);
    let (feet, metres): (f64, f64) = (rows[90][2].parse().unwrap(), si[90][2].parse().unwrap());
    assert!((feet * 0.3048 - metres).abs() < 0.01, "{feet} ft, {metres} m");
}

#[tokio::test]
async fn what_cannot_be_is_told_before_a_file_is_begun() {
    let stored = store(&made::setup(), made::whole_flight()).await;
    let mut how = How::usual();
    how.take("columns", "height,airspeed").unwrap();
    let told = made_of(&stored, csv(Table::Estimates), &how).await.unwrap_err().to_string();
    assert!(told.contains("no column `height`") && told.contains("height_above_pad"), "{told}");
    assert!(!stored.folder.path().join("a file").exists());
    let mut how = How::usual();
    how.take("rate_hz", "10").unwrap();
    let told = made_of(&stored, csv(Table::Readings), &how).await.unwrap_err().to_string();
    assert!(told.contains("only estimates"), "{told}");
    for (key, value) in [("rate_hz", "0"), ("units", "cubits"), ("paper", "a5"), ("colour", "red")] {
        assert!(How::usual().take(key, value).is_err(), "{key}={value}");
    }
    let source = source(&stored);
    assert!(matches!(source.choose(Selection::Flight(7)).await, Err(Trouble::NoFlight(_))));
    assert!(matches!(
        source.choose(Selection::Day("2020-01-01".parse().unwrap())).await,
        Err(Trouble::NoFlight(_))
    ));
    // A place that was never told is no place on a map.
    let mut nowhere = made::setup();
    nowhere.defaults.push(("site.latitude_deg".into(), "gravity of 45 degrees".into()));
    let stored = store(&nowhere, made::whole_flight()).await;
    for what in [What::Kml, What::Gpx, What::GeoJson] {
        assert!(matches!(made_of(&stored, what, &How::usual()).await, Err(Trouble::Wanted(_))), "{what:?}");
    }
}

#[tokio::test]
async fn a_day_has_flights_by_the_names_of_the_list_and_none_that_is_deleted() {
    let stored = store(&made::setup(), made::whole_flight()).await;
    let source = source(&stored);
    let flight = source.choose(Selection::Flight(1)).await.unwrap().remove(0).flight;
    let day = Selection::Day(super::source::date(&flight).unwrap());
    let mut inputs = crate::store::inputs::open(&stored.folder.inputs()).await.unwrap();
    let mut number = 0;
    let mut told = |remark| {
        number += 1;
        let what = Happens::Remark { at_ns: flight.opened_ns, remark, who: "Mo".into() };
        Input { number, t_ns: flight.opened_ns, utc_ns: flight.opened_ns, what }
    };
    let steps = [
        (told(Remark::Name("Kite by hand".into())), Some("Kite by hand")),
        (told(Remark::Delete), None),
        (told(Remark::Restore), Some("Kite by hand")),
    ];
    for (input, name) in steps {
        crate::store::inputs::write(&mut inputs, &[input]).await.unwrap();
        let of_day = source.choose(day).await.ok().map(|all| all[0].flight.name.clone());
        assert_eq!(of_day.as_deref(), name);
    }
}

#[tokio::test]
async fn a_full_disk_is_called_full_whichever_writer_meets_it() {
    let full = |told: Trouble| {
        assert!(
            matches!(&told, Trouble::Disk(error) if error.kind() == std::io::ErrorKind::StorageFull),
            "{told:?}"
        );
        assert!(told.hint().contains("make room"));
    };
    // A database that may have two pages is as full as one on a full disk.
    let small = sqlx::SqlitePool::connect("sqlite::memory:").await.unwrap();
    let mut connection = small.acquire().await.unwrap();
    let grown = async {
        for sql in
            ["PRAGMA max_page_count = 2", "CREATE TABLE t (x)", "INSERT INTO t VALUES (zeroblob(99999))"]
        {
            sqlx::query(sql).execute(&mut *connection).await?;
        }
        Ok::<_, sqlx::Error>(())
    };
    full(Trouble::from(grown.await.unwrap_err()));
    // Linux keeps a device that is always full.
    let device = PathBuf::from("/dev/full");
    if device.exists() {
        let stored = store(&made::setup(), made::whole_flight()).await;
        let source = source(&stored);
        let chosen = source.choose(Selection::Flight(1)).await.unwrap();
        for form in [Form::Csv, Form::Parquet, Form::JsonLines] {
            let what = What::Table(Table::Estimates, form);
            full(
                make::write(&source, &chosen, what, &How::usual(), &device, &Arc::default())
                    .await
                    .unwrap_err(),
            );
        }
    }
}

/// A flight whose texts all want to be something else.
async fn hostile() -> Stored {
    let mut told = made::setup();
    told.plan.bodies[0].name = "=HYPERLINK(\"http://evil.example\")".into();
    told.vehicle_name = "</name><script>alert(1)</script>&\u{7}".into();
    let Said::Reading(mut odd) = made::reading(0, 7, 1.0, true) else { unreachable!() };
    odd.link = "@SUM(A1)".into();
    odd.values.push(("new".into(), "free".into(), Value::Text("+1,2\"x\"\n=3".into())));
    odd.values[1].2 = Value::Text("-cmd|' /C calc'!A0".into());
    odd.complaints = vec!["\tp is out of range".into()];
    let mut outputs: Vec<Output> = made::whole_flight();
    let mut more = output(9_000, 8.0, Said::Reading(odd));
    more.flight = 1;
    let Some(Said::Event { event, .. }) =
        outputs.iter().map(|output| &output.what).find(|what| matches!(what, Said::Event { .. })).cloned()
    else {
        unreachable!()
    };
    let event = loftwatch_flight::Event {
        id: 77,
        kind: loftwatch_flight::EventKind::Mark,
        origin: loftwatch_flight::Origin::Marked,
        t_s: 8.0,
        ..event
    };
    let label = "<b>--> {\\an8}\n00:00 ]]></Placemark>".to_owned();
    let mark = output(9_001, 8.0, Said::Event { event, label, who: Some("=1+1".into()) });
    outputs.insert(0, mark);
    outputs.insert(0, more);
    let first = outputs.iter().position(|output| matches!(output.what, Said::Flight(_))).unwrap();
    let opening = outputs.remove(first);
    outputs.insert(0, opening);
    store(&told, outputs).await
}

#[tokio::test]
async fn hostile_text_stays_text_in_every_form() {
    let stored = hostile().await;
    let rows = records(&text(&stored, csv(Table::Readings), &How::usual()).await);
    let column = |name: &str| {
        rows[0].iter().position(|cell| cell == name).unwrap_or_else(|| panic!("no {name} in {:?}", rows[0]))
    };
    let row = rows.iter().find(|row| &row[column("link")] == "'@SUM(A1)").expect("the odd reading");
    assert_eq!(&row[column("p (pressure) [Pa]")], "86999");
    assert_eq!(&row[column("lat (latitude) [rad]")], "0.667601");
    assert_eq!(&row[column("own (own height above its own zero) [m]")], "");
    assert_eq!(&row[column("body")], "'=HYPERLINK(\"http://evil.example\")");
    let other = "mode [widgets] = -cmd|' /C calc'!A0; new (free) = +1,2\"x\"\n=3";
    // The order is that of the columns and then of the packet; both texts are there, and none begins the cell.
    let cell = &row[column("other_values")];
    assert!(
        other.split("; ").all(|part| cell.contains(part)) && !cell.starts_with(['=', '+', '-', '@']),
        "{cell}"
    );
    assert_eq!(&row[column("complaints")], "'\tp is out of range");

    let json = text(&stored, What::Table(Table::Events, Form::JsonLines), &How::usual()).await;
    let mark: serde_json::Value = json
        .lines()
        .map(|line| serde_json::from_str::<serde_json::Value>(line).expect("each line is JSON"))
        .find(|line| line["event"] == "mark")
        .unwrap();
    assert_eq!(mark["label"], "<b>--> {\\an8}\n00:00 ]]></Placemark>");
    assert_eq!(mark["who"], "=1+1");

    for what in [What::Kml, What::Gpx, What::SheetHtml] {
        let page = text(&stored, what, &How::usual()).await;
        assert!(!page.contains("<script>") && !page.contains("<b>"), "{what:?}");
        assert!(page.contains("&lt;b&gt;"), "{what:?}");
        assert!(page.chars().all(|c| !c.is_control() || matches!(c, '\n' | '\r' | '\t')), "{what:?}");
    }
    let vtt = text(&stored, What::WebVtt, &How::usual()).await;
    let cue = vtt.split("\n\n").find(|cue| cue.contains("&lt;b&gt;")).expect("the mark is shown");
    assert_eq!(cue.matches("-->").count(), 1, "only the times have an arrow: {cue}");
    let srt = text(&stored, What::Srt, &How::usual()).await;
    assert!(!srt.contains("<b>") && !srt.contains('{'), "no tag of a player");
}

#[tokio::test]
async fn what_the_crew_wrote_is_in_every_form_and_stays_text() {
    const NOTES: &str = "=2+3\n<script>alert(1)</script> & ]]> {\\an8}";
    let accepted = |key: &str, on: bool, why: &str| {
        let [key, why] = [key, why].map(str::to_owned);
        let [what, figure, limit] = ["<i>Wind</i>", "9 m/s", "8 m/s"].map(str::to_owned);
        let told = loftwatch_engine::output::Accepted { key, on, what, figure, limit, who: "Mo".into(), why };
        output(9_100, 0.5, Said::Accepted(told))
    };
    let mut outputs = made::whole_flight();
    let opened = outputs.iter().position(|one| matches!(one.what, Said::Flight(_))).unwrap();
    for more in [accepted("a", true, "+dry"), accepted("b", true, "then not"), accepted("b", false, "")] {
        outputs.insert(opened + 1, more);
    }
    // In the order in which they came.
    outputs[opened + 1..opened + 4].reverse();
    let stored = store(&made::setup(), outputs).await;
    let before = source(&stored).choose(Selection::Flight(1)).await.unwrap();
    let state = source(&stored).state(&before).await.unwrap();
    let opened_ns = before[0].flight.opened_ns;
    let mut inputs = crate::store::inputs::open(&stored.folder.inputs()).await.unwrap();
    for (number, remark) in [
        Remark::Notes("overwritten".into()),
        Remark::Notes(NOTES.into()),
        Remark::Name("<b>@Kite</b>".into()),
    ]
    .into_iter()
    .enumerate()
    {
        let what = Happens::Remark { at_ns: opened_ns, remark, who: "-Ann".into() };
        let input = Input { number: number as u64 + 1, t_ns: opened_ns, utc_ns: opened_ns, what };
        crate::store::inputs::write(&mut inputs, &[input]).await.unwrap();
    }
    let chosen = source(&stored).choose(Selection::Flight(1)).await.unwrap();
    assert_ne!(source(&stored).state(&chosen).await.unwrap(), state, "files made before are not handed out");

    let rows = records(&text(&stored, csv(Table::Remarks), &How::usual()).await);
    let cell = |row: &csv::StringRecord, name: &str| {
        row[rows[0].iter().position(|cell| cell == name).unwrap()].to_owned()
    };
    let all: Vec<[String; 4]> = rows[1..]
        .iter()
        .map(|row| ["remark", "who", "words", "accepted"].map(|name| cell(row, name)))
        .collect();
    let of = |kind: &str| all.iter().filter(|row| row[0] == kind).collect::<Vec<_>>();
    assert_eq!(of("name"), [&["name", "'-Ann", "<b>@Kite</b>", ""].map(str::to_owned)]);
    assert_eq!(of("notes"), [&["notes".to_owned(), "'-Ann".into(), format!("'{NOTES}"), String::new()]]);
    // The flight has one of its own; the one that was taken back is not among them.
    let acceptances = of("acceptance");
    assert_eq!(acceptances.len(), 2);
    assert_eq!(*acceptances[0], ["acceptance", "Mo", "'+dry", "<i>Wind</i>"].map(str::to_owned));

    let json = text(&stored, What::Table(Table::Remarks, Form::JsonLines), &How::usual()).await;
    let lines: Vec<serde_json::Value> =
        json.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    assert_eq!(lines[0]["about"]["flight_1_notes"], NOTES);
    assert!(lines.iter().any(|line| line["remark"] == "notes" && line["words"] == NOTES));

    let html = text(&stored, What::SheetHtml, &How::usual()).await;
    assert!(html.contains("What the crew wrote") && html.contains("Notes by -Ann"), "the sheet has them");
    assert!(html.contains("&lt;i&gt;Wind&lt;/i&gt;") && !html.contains("<script>") && !html.contains("<i>"));
    let bundle = made_of(&stored, What::Bundle, &How::usual()).await.unwrap();
    let mut bundle = zip::ZipArchive::new(std::io::Cursor::new(bundle)).unwrap();
    let index = std::io::read_to_string(bundle.by_name("index.html").unwrap()).unwrap();
    assert!(
        index.contains("=2+3\n&lt;script&gt;alert(1)&lt;/script&gt;") && !index.contains("<script>"),
        "{index}"
    );
    assert!(index.contains("accepted by Mo, because +dry.") && !index.contains("then not"), "{index}");
    assert!(bundle.by_name("flight-1/remarks.csv").is_ok());
}

#[tokio::test]
async fn captions_follow_the_footage_and_its_clock() {
    let stored = store(&made::setup(), made::whole_flight()).await;
    let mut how = How::usual();
    how.take("starts_s", "10").unwrap();
    how.take("clock_rate", "2").unwrap();
    let vtt = text(&stored, What::WebVtt, &how).await;
    let first = vtt.split("\n\n").find(|cue| cue.contains("-->")).unwrap();
    assert!(first.contains("00:00:00.000 --> 00:00:01.000\nT+10.0 s"), "{first}");
    let srt = text(&stored, What::Srt, &how).await;
    assert!(srt.starts_with("1\r\n00:00:00,000 --> 00:00:01,000\r\nT+10.0 s"), "{}", &srt[..60]);
}

#[tokio::test]
async fn the_same_store_gives_the_same_bytes() {
    let stored = store(&made::setup(), made::whole_flight()).await;
    let all = [
        csv(Table::Cues),
        What::Table(Table::Estimates, Form::Parquet),
        What::Table(Table::Landings, Form::JsonLines),
        What::Kml,
        What::Sqlite,
        What::SheetPdf,
        What::Bundle,
    ];
    for what in all {
        let first = made_of(&stored, what, &How::usual()).await.unwrap();
        let again = made_of(&stored, what, &How::usual()).await.unwrap();
        assert!(first.len() > 200, "{what:?}: {} bytes", first.len());
        assert!(first == again, "{what:?}");
    }
    assert!(made_of(&stored, What::SheetPdf, &How::usual()).await.unwrap().starts_with(b"%PDF-1."));
}

#[tokio::test]
async fn a_store_that_fails_leaves_no_file() {
    let stored = store(&made::setup(), made::whole_flight()).await;
    let source = source(&stored);
    let spool = super::spool::Spool::new(stored.folder.path(), std::time::Duration::ZERO);
    let chosen = Selection::Flight(1);
    let whole = spool.file(&source, chosen, csv(Table::Readings), &How::usual()).await.unwrap();
    let super::spool::Stands::Ready { file, length, .. } = whole.done().await else { panic!("it is made") };
    assert_eq!(std::fs::metadata(&file).unwrap().len(), length);
    // The folder cannot be written: a file stands where it should be.
    std::fs::remove_dir_all(file.parent().unwrap()).unwrap();
    std::fs::write(file.parent().unwrap(), "in the way").unwrap();
    let failed = spool.file(&source, chosen, csv(Table::Cues), &How::usual()).await.unwrap();
    assert!(
        matches!(failed.done().await, super::spool::Stands::Failed(why) if matches!(*why, Trouble::Disk(_)))
    );
    failed.has_been_told();
    std::fs::remove_file(file.parent().unwrap()).unwrap();
    // What failed, or was removed meanwhile, is made again when it is asked for again.
    let again = spool.file(&source, chosen, csv(Table::Readings), &How::usual()).await.unwrap();
    assert!(matches!(again.done().await, super::spool::Stands::Ready { length: same, .. } if same == length));
    stored.readers.close().await;
    assert!(matches!(
        spool.file(&source, chosen, csv(Table::Events), &How::usual()).await,
        Err(Trouble::Store(_))
    ));
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

#[tokio::test]
async fn a_packet_with_a_row_of_values_is_one_packet_that_was_heard() {
    let mut outputs = made::whole_flight();
    let mut readings = 0;
    for output in &mut outputs {
        if let Said::Reading(reading) = &mut output.what {
            reading.instant = readings % 8;
            readings += 1;
        }
    }
    assert!(readings >= 8);
    let stored = store(&made::setup(), outputs).await;
    let source = source(&stored);
    let chosen = source.choose(Selection::Flight(1)).await.unwrap();
    let file = stored.folder.path().join("flights.sqlite");
    make::write(&source, &chosen, What::Sqlite, &How::usual(), &file, &Arc::default()).await.unwrap();
    let pool = sqlx::SqlitePool::connect(&format!("sqlite://{}", file.display())).await.unwrap();
    let (packets, rows): (i64, i64) =
        sqlx::query_as("SELECT (SELECT sum(packets) FROM heard), (SELECT count(*) FROM readings)")
            .fetch_one(&pool)
            .await
            .unwrap();
    assert_eq!((packets, rows), (i64::from(readings.div_ceil(8)), i64::from(readings)));
}
