//! What earlier flights of a vehicle taught: offered for the setup, never taken by itself.
//!
//! An offer is a list of figures with their values and a sentence ([`Learned`]); whoever can say one more adds it in
//! [`offers`]. Drag and impulse come from the newest flight's prediction audit, the spread of the lean at burnout from the
//! first estimates of coast of several flights.

use std::path::Path;

use loftwatch_engine::{Said, Setup};
use loftwatch_export::audit::PredictionAudit;
use sqlx::SqlitePool;

use crate::export::audits::audits;
use crate::export::source::{Selection, Source};
use crate::messages::{Learned, LearnedFigure};
use crate::store::derived::output;

/// Newest flights that are looked at.
const FLIGHTS: i64 = 12;
/// A spread needs so many flights.
const FOR_A_SPREAD: usize = 3;
/// A drag or an impulse that differs less is what was told, share.
const SAME: f64 = 0.01;

/// Where the flights are stored.
pub(crate) struct Stored<'a> {
    pub(crate) readers: &'a SqlitePool,
    pub(crate) inputs: &'a SqlitePool,
    pub(crate) epoch_ns: i64,
    pub(crate) folder: &'a Path,
}

/// All offers for the setup in force.
pub(crate) async fn offers(stored: &Stored<'_>, setup: &Setup) -> Result<Vec<Learned>, sqlx::Error> {
    let flights: Vec<i64> = sqlx::query_scalar(
        "SELECT number FROM flight WHERE vehicle = ? AND apogee_m IS NOT NULL AND ended_ns IS NOT NULL \
         ORDER BY number DESC LIMIT ?",
    )
    .bind(&setup.vehicle_name)
    .bind(FLIGHTS)
    .fetch_all(stored.readers)
    .await?;
    let mut all = Vec::new();
    if let Some(newest) = flights.first()
        && let Some(audit) = audit(stored, *newest).await
    {
        all.extend(of_audit(*newest, &audit));
    }
    let mut leans = Vec::new();
    for number in flights {
        leans.extend(lean_rad(stored.readers, number).await?);
    }
    all.extend(of_leans(&leans));
    Ok(all)
}

/// The newest flight's audit; one that cannot be made teaches nothing.
async fn audit(stored: &Stored<'_>, number: i64) -> Option<PredictionAudit> {
    let source = Source {
        derived: stored.readers.clone(),
        inputs: stored.inputs.clone(),
        epoch_ns: stored.epoch_ns,
        folder: stored.folder.to_owned(),
    };
    let chosen = source.choose(Selection::Flight(u32::try_from(number).ok()?)).await.ok()?;
    audits(&source, chosen.first()?).await.ok()?.prediction
}

fn of_audit(number: i64, audit: &PredictionAudit) -> Vec<Learned> {
    let from = format!("flight {number}, prediction audit");
    let mut all = Vec::new();
    if let Some(drag) = &audit.drag
        && (0.05..=3.0).contains(&drag.cd.value)
        && (drag.cd.value / drag.told_cd - 1.0).abs() > SAME
    {
        // Half of the 90 % interval is 1.645 spreads; never tighter than the model of drag itself is worth.
        let percent = (100.0 * (drag.cd.high - drag.cd.low) / 2.0 / 1.645 / drag.cd.value).clamp(5.0, 100.0);
        all.push(Learned {
            words: format!(
                "Drag coefficient {:.2} ± {percent:.0} %, told was {:.2}. {}",
                drag.cd.value, drag.told_cd, drag.words
            ),
            from: from.clone(),
            figures: vec![
                figure("vehicle.drag_coefficient", format!("{:.3}", drag.cd.value)),
                figure("vehicle.drag_spread_percent", format!("{percent:.0}")),
            ],
        });
    }
    if let Some(impulse) = &audit.impulse
        && impulse.impulse_ns > 0.0
        && (impulse.flown_mps / impulse.told_mps - 1.0).abs() > SAME
    {
        all.push(Learned {
            words: format!(
                "Total impulse {:.0} N s, with the mass as told. {}",
                impulse.impulse_ns, impulse.words
            ),
            from,
            figures: vec![figure("motor.total_impulse_ns", format!("{:.0}", impulse.impulse_ns))],
        });
    }
    all
}

/// Path angle at the first estimate of coast, rad.
async fn lean_rad(readers: &SqlitePool, number: i64) -> Result<Option<f64>, sqlx::Error> {
    let row = sqlx::query(
        "SELECT input, t_ns, t_receive_ns, utc_offset_ns, flight, data FROM output WHERE flight = ? AND kind = 'estimate' \
         AND body = 0 AND json_extract(data, '$.estimate.estimate.phase') = 'coasting' ORDER BY t_ns, seq LIMIT 1",
    )
    .bind(number)
    .fetch_optional(readers)
    .await?;
    let found = row.as_ref().map(output).transpose()?;
    Ok(match found.map(|o| o.what) {
        Some(Said::Estimate { estimate, .. }) => {
            estimate.lean_rad.map(|lean| lean.p50).filter(|l| l.is_finite())
        }
        _ => None,
    })
}

fn of_leans(leans: &[f64]) -> Option<Learned> {
    if leans.len() < FOR_A_SPREAD {
        return None;
    }
    // Two axes alike: half of the mean square each.
    let each = (leans.iter().map(|l| l * l).sum::<f64>() / (2.0 * leans.len() as f64)).sqrt().to_degrees();
    let each = each.clamp(0.5, 45.0);
    Some(Learned {
        words: format!("Spread of the lean at burnout {each:.1}° on each axis, the wind's part included."),
        from: format!("{} flights", leans.len()),
        figures: vec![figure("vehicle.lean_spread_deg", format!("{each:.1}"))],
    })
}

fn figure(key: &str, value: String) -> LearnedFigure {
    LearnedFigure { key: key.to_owned(), value }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_spread_of_the_lean_takes_three_flights() {
        let degrees = |all: &[f64]| all.iter().map(|d| d.to_radians()).collect::<Vec<_>>();
        assert!(of_leans(&degrees(&[6.0, 8.0])).is_none());
        // sqrt((36 + 64 + 100) / 6)
        let offer = of_leans(&degrees(&[6.0, 8.0, 10.0])).unwrap();
        assert_eq!(offer.figures, [figure("vehicle.lean_spread_deg", "5.8".into())]);
    }
}
