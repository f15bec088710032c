//! The commands that print a list: flights, serial ports, what a setup file means.

use std::fmt::Write as _;
use std::io::{ErrorKind, Write as _};
use std::path::Path;

use sqlx::Row as _;

use crate::failure::Failure;
use crate::store::{StoreError, derived, inputs};
use crate::{meant, ports, setup};

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

/// `loftwatch flights`.
pub(crate) async fn flights(data: &Path) -> Result<(), Failure> {
    let (inputs, _) = inputs::readers_of_stored(data).await?;
    inputs.close().await;
    let pool = derived::readers_of_stored(data)?;
    let file = data.join("derived.db");
    let rows = sqlx::query("SELECT number, name, vehicle, opened_ns, liftoff_ns, apogee_m, utc_offset_ns FROM flight ORDER BY number")
        .fetch_all(&pool)
        .await
        .map_err(StoreError::sql(&file, "being read"))?;
    let mut text =
        String::from("number  opened                liftoff               apogee     vehicle, name\n");
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
            "{:<6}  {:<20}  {:<20}  {:<9}  {} {}",
            row.get::<i64, _>("number"),
            utc(row.get("opened_ns")),
            utc(row.get("liftoff_ns")),
            apogee,
            row.get::<String, _>("vehicle"),
            row.get::<String, _>("name")
        );
    }
    if rows.is_empty() {
        text.clear();
        text.push_str("no flights yet\n");
    }
    pool.close().await;
    print(&text)
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
