//! What earlier flights of a vehicle taught: offered for the setup, never taken by itself.
//!
//! An offer is a list of figures with their values and a sentence ([`Learned`]); whoever can say one adds it in
//! [`offers`]. Here it is what the estimator came to know in flight: the drag coefficient from the drag parameter at the end
//! of coast, k = rho0 Cd A / (2 m), with the mass and the air told for that flight; and the spread of the lean at burnout
//! over several flights.

use loftwatch_engine::{Said, Setup};
use loftwatch_flight::Phase;
use sqlx::SqlitePool;

use crate::messages::{Learned, LearnedFigure};
use crate::store::derived::output;

/// Newest flights that are looked at.
const FLIGHTS: i64 = 12;
/// A spread needs so many flights.
const FOR_A_SPREAD: usize = 3;
/// Gas constant of dry air, J/(kg K).
const AIR_J_PER_KG_K: f64 = 287.053;

/// What one flight came to.
struct Flew {
    number: u32,
    cd: f64,
    cd_sd: f64,
    told_cd: f64,
    lean_rad: Option<f64>,
}

/// All offers for the setup in force.
pub(crate) async fn offers(readers: &SqlitePool, setup: &Setup) -> Result<Vec<Learned>, sqlx::Error> {
    let rows: Vec<(i64, String)> = sqlx::query_as(
        "SELECT number, setup FROM flight WHERE vehicle = ? AND apogee_m IS NOT NULL AND ended_ns IS NOT NULL \
         ORDER BY number DESC LIMIT ?",
    )
    .bind(&setup.vehicle_name)
    .bind(FLIGHTS)
    .fetch_all(readers)
    .await?;
    let mut flown = Vec::new();
    for (number, told) in rows {
        // A setup of an older program that cannot be read any more has nothing to teach.
        let Ok(told) = serde_json::from_str::<Setup>(&told) else { continue };
        flown.extend(one(readers, number, &told).await?);
    }
    Ok(words(&flown))
}

async fn one(readers: &SqlitePool, number: i64, told: &Setup) -> Result<Option<Flew>, sqlx::Error> {
    let coast = |order: &'static str| {
        sqlx::query(sqlx::AssertSqlSafe(format!(
            "SELECT input, t_ns, t_receive_ns, utc_offset_ns, flight, data FROM output WHERE flight = ? AND kind = 'estimate' \
             AND body = 0 AND json_extract(data, '$.estimate.estimate.phase') = 'coasting' ORDER BY t_ns {order}, seq {order} LIMIT 1"
        )))
        .bind(number)
    };
    let estimate = |row: Option<sqlx::sqlite::SqliteRow>| {
        let found = row.as_ref().map(output).transpose()?;
        Ok::<_, sqlx::Error>(match found.map(|o| o.what) {
            Some(Said::Estimate { estimate, .. }) if estimate.phase == Phase::Coasting => Some(estimate),
            _ => None,
        })
    };
    let first = estimate(coast("ASC").fetch_optional(readers).await?)?;
    let Some(last) = estimate(coast("DESC").fetch_optional(readers).await?)? else { return Ok(None) };
    let plan = &told.plan;
    // Of stages the last one's drag is what coasts: its diameter and mass are of that stage.
    let Some(motor) = plan.motors.last() else { return Ok(None) };
    let gone: f64 = plan.motors.iter().map(|m| m.propellant_mass_kg + m.dropped_mass_kg).sum();
    let mass_kg = plan.vehicle.liftoff_mass_kg.value - gone;
    let density = plan.weather.pressure_pa / (AIR_J_PER_KG_K * plan.weather.temperature_k);
    let area = std::f64::consts::FRAC_PI_4 * motor.diameter_m * motor.diameter_m;
    let per_k = 2.0 * mass_kg / (density * area);
    let k = last.drag_k_per_m;
    // From the 90 % interval.
    let sd = (k.p95 - k.p05) / (2.0 * 1.644_853_627);
    Ok(Some(Flew {
        number: number as u32,
        cd: k.p50 * per_k,
        cd_sd: sd * per_k,
        told_cd: motor.drag_coefficient.value,
        lean_rad: first.and_then(|e| e.lean_rad).map(|lean| lean.p50),
    }))
}

fn words(flown: &[Flew]) -> Vec<Learned> {
    let mut offers = Vec::new();
    let Some(newest) = flown.first() else { return offers };
    if newest.cd.is_finite() && (0.05..=3.0).contains(&newest.cd) {
        // Never tighter than what the model of drag itself is worth.
        let percent = (100.0 * newest.cd_sd / newest.cd).max(5.0);
        offers.push(Learned {
            words: format!(
                "Drag coefficient {:.2} ± {:.0} %, told was {:.2}.",
                newest.cd, percent, newest.told_cd
            ),
            from: format!("flight {}, as estimated by the end of coast", newest.number),
            figures: vec![
                figure("vehicle.drag_coefficient", format!("{:.3}", newest.cd)),
                figure("vehicle.drag_spread_percent", format!("{percent:.0}")),
            ],
        });
    }
    let leans: Vec<f64> = flown.iter().filter_map(|f| f.lean_rad).filter(|l| l.is_finite()).collect();
    if leans.len() >= FOR_A_SPREAD {
        // Two axes alike: half of the mean square each.
        let each =
            (leans.iter().map(|l| l * l).sum::<f64>() / (2.0 * leans.len() as f64)).sqrt().to_degrees();
        let each = each.clamp(0.5, 45.0);
        offers.push(Learned {
            words: format!(
                "Spread of the lean at burnout {each:.1}° on each axis, the wind's part included."
            ),
            from: format!("{} flights", leans.len()),
            figures: vec![figure("vehicle.lean_spread_deg", format!("{each:.1}"))],
        });
    }
    offers
}

fn figure(key: &str, value: String) -> LearnedFigure {
    LearnedFigure { key: key.to_owned(), value }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn flew(number: u32, cd: f64, lean_deg: Option<f64>) -> Flew {
        Flew { number, cd, cd_sd: 0.01 * cd, told_cd: 0.9, lean_rad: lean_deg.map(f64::to_radians) }
    }

    #[test]
    fn the_newest_flight_offers_its_drag_and_several_their_lean() {
        let offers = words(&[flew(3, 0.7, Some(6.0)), flew(2, 0.8, Some(8.0)), flew(1, 0.9, None)]);
        assert_eq!(offers.len(), 1, "two leans are no spread yet");
        assert_eq!(offers[0].words, "Drag coefficient 0.70 ± 5 %, told was 0.90.");
        assert_eq!(offers[0].figures[0].value, "0.700");
        let offers = words(&[flew(3, 0.7, Some(6.0)), flew(2, 0.8, Some(8.0)), flew(1, 0.9, Some(10.0))]);
        // sqrt((36 + 64 + 100) / 6)
        assert_eq!(offers[1].figures[0].value, "5.8");
        assert!(words(&[]).is_empty());
        assert!(words(&[flew(1, f64::NAN, None)]).is_empty(), "nonsense is not offered");
    }
}
