//! Before a flight: margins, the nominal flight, conditions for cues. Everyone may look.

use std::sync::Arc;

use axum::Json;
use axum::extract::rejection::QueryRejection;
use axum::extract::{Query, State};
use axum::http::{StatusCode, header};
use axum::response::IntoResponse;
use loftwatch_prepare::Want;
use serde::Deserialize;

use super::problem::Refusal;
use crate::prepared::Worked;
use crate::shared::Shared;

/// `GET /api/prepare`
pub(super) async fn prepare(State(shared): State<Arc<Shared>>) -> Result<impl IntoResponse, Refusal> {
    let worked = worked(&shared).await?;
    Ok(([(header::CACHE_CONTROL, "no-cache")], Json(worked.told.clone())))
}

/// What is asked of a cue. What is left out is as the setup tells it.
#[derive(Debug, Deserialize)]
pub(super) struct Asked {
    cue: usize,
    /// Seconds before apogee (negative: after it).
    lead_s: Option<f64>,
    /// Vertical speed, m/s.
    climb_mps: Option<f64>,
    /// Height coming down, m.
    height_m: Option<f64>,
    lag_s: Option<f64>,
    lag_spread_s: Option<f64>,
    delay_s: Option<f64>,
    delay_spread_s: Option<f64>,
}

/// `GET /api/prepare/plan?cue=0&lead_s=2&lag_s=0.1`
pub(super) async fn plan(
    State(shared): State<Arc<Shared>>,
    asked: Result<Query<Asked>, QueryRejection>,
) -> Result<impl IntoResponse, Refusal> {
    let Query(asked) = asked.map_err(|error| wrong(&error.body_text()))?;
    let want = wanted(&asked)?;
    let worked = worked(&shared).await?;
    let told = worked.told.cues.get(asked.cue).ok_or_else(|| wrong("there is no cue of that number"))?;
    let pair = |value: Option<f64>, sd: Option<f64>, told: [f64; 2], name: &str| {
        let pair = [value.unwrap_or(told[0]), sd.unwrap_or(told[1])];
        within(pair[0], 0.0, 30.0, name, "s")?;
        within(pair[1], 0.0, 10.0, &format!("{name}'s spread"), "s")?;
        Ok::<_, Refusal>(pair)
    };
    let lag = pair(asked.lag_s, asked.lag_spread_s, told.lag_s, "the lag")?;
    let delay = pair(asked.delay_s, asked.delay_spread_s, told.delay_s, "the mechanism's delay")?;
    let planned = tokio::task::spawn_blocking(move || worked.plan(asked.cue, want, Some(lag), Some(delay)))
        .await
        .map_err(|error| failed(&error.to_string()))?;
    let planned = planned.ok_or_else(|| {
        wrong("this cue goes by a clock: tell a lead time, a vertical speed or a height to plan it by")
    })?;
    Ok(([(header::CACHE_CONTROL, "no-cache")], Json(planned)))
}

fn wanted(asked: &Asked) -> Result<Option<Want>, Refusal> {
    let all = [asked.lead_s.is_some(), asked.climb_mps.is_some(), asked.height_m.is_some()];
    if all.iter().filter(|told| **told).count() > 1 {
        return Err(wrong("one of lead_s, climb_mps and height_m"));
    }
    if let Some(s) = asked.lead_s {
        within(s, -30.0, 120.0, "the lead time", "s before apogee")?;
        return Ok(Some(Want::Lead { s }));
    }
    if let Some(mps) = asked.climb_mps {
        within(mps, -200.0, 1000.0, "the vertical speed", "m/s")?;
        return Ok(Some(Want::Climb { mps }));
    }
    if let Some(m) = asked.height_m {
        within(m, 1.0, 30_000.0, "the height", "m above the pad")?;
        return Ok(Some(Want::Height { m }));
    }
    Ok(None)
}

fn within(value: f64, low: f64, high: f64, what: &str, unit: &str) -> Result<(), Refusal> {
    if (low..=high).contains(&value) {
        return Ok(());
    }
    Err(wrong(&format!("{what} is {low} to {high} {unit}, not {value}")))
}

/// What was worked out of the setup in force.
pub(super) async fn worked(shared: &Shared) -> Result<Arc<Worked>, Refusal> {
    let now = Arc::clone(&shared.setup.borrow());
    shared.prepared.of(&now.setup).await.map_err(|why| failed(&why))
}

fn wrong(why: &str) -> Refusal {
    Refusal::new(
        StatusCode::UNPROCESSABLE_ENTITY,
        format!("The question was not understood: {why}."),
        "Nothing was changed.",
        "Ask for example for /api/prepare/plan?cue=0&lead_s=2&lag_s=0.1.",
    )
}

fn failed(why: &str) -> Refusal {
    tracing::warn!("the sums before a flight failed: {why}");
    Refusal::new(
        StatusCode::INTERNAL_SERVER_ERROR,
        "The sums before a flight failed.",
        "The station goes on; nothing was changed.",
        "Please tell what stands in the station's own output, with the setup file.",
    )
}
