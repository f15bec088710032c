//! The commands that print a list: flights, serial ports, what a setup file means.

use std::fmt::Write as _;
use std::io::{ErrorKind, Write as _};
use std::path::Path;

use loftwatch_engine::Setup;
use loftwatch_engine::setup::Link;
use loftwatch_radio::electronics::{self, Packets};
use sqlx::Row as _;

use crate::cli;
use crate::failure::Failure;
use crate::store::{StoreError, derived, inputs};
use crate::{meant, ports, setup, travel};

/// Prints text on standard output; nobody reading is no failure.
pub(crate) fn print(text: &str) -> Result<(), Failure> {
    let mut out = std::io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() != ErrorKind::BrokenPipe => {
            Err(Failure::other(format!("standard output cannot be written: {error}")))
        }
        _ => Ok(()),
    }
}

/// `loftwatch flights`: the folder's own, and those from elsewhere under the numbers by which they are asked for.
pub(crate) async fn flights(data: &Path) -> Result<(), Failure> {
    let mut rows = String::new();
    for (visitor, place) in travel::stores(data) {
        let shown = |number| visitor.map_or(number, |visitor| travel::shown(visitor, number));
        rows.push_str(&flights_of(&place, shown).await?);
    }
    if rows.is_empty() {
        return print("no flights yet\n");
    }
    print(&format!("number   opened                liftoff               apogee     vehicle, name\n{rows}"))
}

/// The flights of one store, a line each.
async fn flights_of(data: &Path, shown: impl Fn(u32) -> u32) -> Result<String, StoreError> {
    let (inputs, _) = inputs::readers_of_stored(data).await?;
    inputs.close().await;
    let pool = derived::readers_of_stored(data)?;
    let file = data.join("derived.db");
    let rows = sqlx::query("SELECT number, name, vehicle, opened_ns, liftoff_ns, apogee_m, utc_offset_ns FROM flight ORDER BY number")
        .fetch_all(&pool)
        .await
        .map_err(StoreError::sql(&file, "being read"))?;
    let mut text = String::new();
    for row in &rows {
        let offset_ns: i64 = row.get("utc_offset_ns");
        let utc = |t_ns: Option<i64>| {
            let at = t_ns.and_then(|t_ns| {
                jiff::Timestamp::from_nanosecond(i128::from(t_ns) + i128::from(offset_ns)).ok()
            });
            at.map_or_else(|| "-".to_owned(), |at| at.strftime("%Y-%m-%dT%H:%M:%SZ").to_string())
        };
        let apogee =
            row.get::<Option<f64>, _>("apogee_m").map_or_else(|| "-".to_owned(), |m| format!("{m:.0} m"));
        let _ = writeln!(
            text,
            "{:<7}  {:<20}  {:<20}  {:<9}  {} {}",
            shown(row.get::<u32, _>("number")),
            utc(row.get("opened_ns")),
            utc(row.get("liftoff_ns")),
            apogee,
            row.get::<String, _>("vehicle"),
            row.get::<String, _>("name")
        );
    }
    pool.close().await;
    Ok(text)
}

/// `loftwatch ports`.
pub(crate) fn serial_ports() -> Result<(), Failure> {
    let found = ports::find();
    if found.is_empty() {
        return print("no serial ports found; plug the receiver in and try again\n");
    }
    let mut text = String::new();
    for port in found {
        let name = port.stable.as_ref().unwrap_or(&port.device);
        let also =
            if port.stable.is_some() { format!(" ({})", port.device.display()) } else { String::new() };
        let _ = writeln!(text, "{}{also}  {}", name.display(), port.what);
    }
    print(&text)
}

/// `loftwatch setup check`.
pub(crate) fn setup_check(file: &Path, json: bool) -> Result<(), Failure> {
    let setup = setup::read(file).map_err(Failure::usage)?;
    let remarks = loftwatch_setup::remarks(&setup);
    if json {
        let all = serde_json::json!({ "setup": setup, "notes": remarks });
        return print(&format!("{all:#}\n"));
    }
    let words = meant::in_words(&setup, &remarks);
    print(&format!("Nothing is wrong with `{}`. It means:\n\n{words}", file.display()))
}

/// `loftwatch setup header`.
pub(crate) fn setup_header(wanted: &cli::Packets) -> Result<(), Failure> {
    let setup = setup::read(&wanted.file).map_err(Failure::usage)?;
    let link = link(&setup, wanted.link.as_deref())?;
    let text = electronics::header(&packets(&setup, link)).map_err(|error| {
        Failure::usage(format!(
            "{error}\nhint: `loftwatch setup sheet` prints the same for people, for any layout"
        ))
    })?;
    print(&text)
}

/// `loftwatch setup sheet`.
pub(crate) fn setup_sheet(wanted: &cli::Packets) -> Result<(), Failure> {
    let setup = setup::read(&wanted.file).map_err(Failure::usage)?;
    let link = link(&setup, wanted.link.as_deref())?;
    print(&electronics::sheet(&packets(&setup, link)))
}

fn packets<'a>(setup: &'a Setup, link: &'a Link) -> Packets<'a> {
    let layouts = link.layouts.iter().filter_map(|index| setup.layouts.get(*index)).collect();
    Packets { link: &link.name, framing: &link.framing, layouts }
}

/// The link that is meant: the one that is named, or the only one that has layouts.
fn link<'a>(setup: &'a Setup, wanted: Option<&str>) -> Result<&'a Link, Failure> {
    let with: Vec<&Link> = setup.links.iter().filter(|link| !link.layouts.is_empty()).collect();
    let names = || with.iter().map(|link| format!("\"{}\"", link.name)).collect::<Vec<_>>().join(", ");
    match (wanted, with.as_slice()) {
        (Some(name), _) => with.iter().find(|link| link.name == name).copied().ok_or_else(|| {
            Failure::usage(format!(
                "the setup has no link with layouts called \"{name}\"; it has {}",
                names()
            ))
        }),
        (None, [only]) => Ok(only),
        (None, []) => Err(Failure::usage("no link of the setup has a layout: there is nothing to pack")),
        (None, _) => Err(Failure::usage(format!("which link? Name it with --link: {}", names()))),
    }
}
