//! The table of flights, kept up to date from the outputs.

use std::collections::BTreeMap;
use std::sync::Arc;

use loftwatch_engine::{Output, Said};
use loftwatch_flight::Phase;
use sqlx::{Row, SqliteConnection};

/// Rows of the table that changed since they were last saved, and what is needed to fill them.
#[derive(Debug, Default)]
pub(crate) struct Flights {
    rows: BTreeMap<u32, Flight>,
    setup: Option<(Arc<str>, String, String)>,
    phase: Option<Phase>,
}

#[derive(Debug)]
struct Flight {
    name: String,
    vehicle: String,
    site: String,
    opened_ns: i64,
    liftoff_ns: Option<i64>,
    ended_ns: Option<i64>,
    apogee_m: Option<f64>,
    apogee_s: Option<f64>,
    utc_offset_ns: i64,
    first_input: u64,
    last_input: u64,
    setup: Arc<str>,
    changed: bool,
}

impl Flights {
    /// Reads the newest stored flight, which may go on.
    pub(crate) async fn load(&mut self, connection: &mut SqliteConnection) -> Result<(), sqlx::Error> {
        let newest = sqlx::query("SELECT * FROM flight ORDER BY number DESC LIMIT 1")
            .fetch_optional(connection)
            .await?;
        if let Some(row) = newest {
            let flight = Flight {
                name: row.try_get("name")?,
                vehicle: row.try_get("vehicle")?,
                site: row.try_get("site")?,
                opened_ns: row.try_get("opened_ns")?,
                liftoff_ns: row.try_get("liftoff_ns")?,
                ended_ns: row.try_get("ended_ns")?,
                apogee_m: row.try_get("apogee_m")?,
                apogee_s: row.try_get("apogee_s")?,
                utc_offset_ns: row.try_get("utc_offset_ns")?,
                first_input: row.try_get::<i64, _>("first_input")? as u64,
                last_input: row.try_get::<i64, _>("last_input")? as u64,
                setup: row.try_get::<String, _>("setup")?.into(),
                changed: false,
            };
            self.rows.insert(row.try_get::<i64, _>("number")? as u32, flight);
        }
        Ok(())
    }

    /// The setup in force from here on.
    pub(crate) fn setup(&mut self, json: &Arc<str>, vehicle: &str, site: &str) {
        self.setup = Some((Arc::clone(json), vehicle.to_owned(), site.to_owned()));
    }

    /// Takes an output.
    pub(crate) fn take(&mut self, output: &Output) {
        if let Said::Flight(state) = &output.what {
            let (setup, vehicle, site) =
                self.setup.clone().unwrap_or_else(|| (Arc::from("{}"), String::new(), String::new()));
            let flight = self.rows.entry(state.number).or_insert_with(|| Flight {
                name: String::new(),
                vehicle,
                site,
                opened_ns: state.opened_ns,
                liftoff_ns: None,
                ended_ns: None,
                apogee_m: None,
                apogee_s: None,
                utc_offset_ns: output.utc_offset_ns,
                first_input: output.input,
                last_input: output.input,
                setup,
                changed: true,
            });
            state.name.clone_into(&mut flight.name);
            flight.opened_ns = state.opened_ns;
            flight.liftoff_ns = state.liftoff_ns;
            flight.ended_ns = state.ended_ns;
            flight.changed = true;
        }
        if let Said::Estimate { body: 0, estimate } = &output.what {
            self.phase = Some(estimate.phase);
        }
        let Some(flight) = self.rows.get_mut(&output.flight) else { return };
        flight.last_input = flight.last_input.max(output.input);
        flight.utc_offset_ns = output.utc_offset_ns;
        if let Said::Prediction { body: 0, prediction } = &output.what
            && matches!(self.phase, Some(Phase::Descending | Phase::Down))
            && flight.ended_ns.is_none()
        {
            flight.changed |= flight.apogee_m != Some(prediction.apogee_height_m.p50);
            flight.apogee_m = Some(prediction.apogee_height_m.p50);
            flight.apogee_s = Some(prediction.apogee_t_s.p50);
        }
    }

    /// Writes what changed.
    pub(crate) async fn save(&mut self, connection: &mut SqliteConnection) -> Result<(), sqlx::Error> {
        for (number, flight) in self.rows.iter_mut().filter(|(_, flight)| flight.changed) {
            sqlx::query(
                "INSERT OR REPLACE INTO flight (number, name, vehicle, site, opened_ns, liftoff_ns, ended_ns, apogee_m, \
                 apogee_s, utc_offset_ns, first_input, last_input, setup) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            )
            .bind(number)
            .bind(&flight.name[..])
            .bind(&flight.vehicle[..])
            .bind(&flight.site[..])
            .bind(flight.opened_ns)
            .bind(flight.liftoff_ns)
            .bind(flight.ended_ns)
            .bind(flight.apogee_m)
            .bind(flight.apogee_s)
            .bind(flight.utc_offset_ns)
            .bind(flight.first_input as i64)
            .bind(flight.last_input as i64)
            .bind(&*flight.setup)
            .execute(&mut *connection)
            .await?;
            flight.changed = false;
        }
        Ok(())
    }
}
