//! Stored flights: the list, one of them, its track.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, Query, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use super::about::{rounded_s, site_info};
use super::problem::Refusal;
use crate::export::track as tracks;
use crate::hindsight;
use crate::messages::{FlightDetail, FlightInfo, HindsightTrack, Track};
use crate::playback::{self, Flight};
use crate::shared::Shared;

/// The flight of that number (or `current`: the newest), or a refusal in words.
pub(super) async fn find(shared: &Shared, number: &str) -> Result<Flight, Refusal> {
    if number == "current" {
        let newest = playback::flights(&shared.readers, Some(1)).await?.into_iter().next();
        return newest.ok_or_else(|| Refusal::no_flight(number));
    }
    let Ok(parsed) = number.parse::<u32>() else { return Err(Refusal::no_flight(number)) };
    playback::flight(&shared.readers, parsed).await?.ok_or_else(|| Refusal::no_flight(number))
}

/// `GET /api/flights`
pub(super) async fn list(State(shared): State<Arc<Shared>>) -> Result<impl IntoResponse, Refusal> {
    let mut all = Vec::new();
    for flight in playback::flights(&shared.readers, None).await? {
        all.push(info(&shared, &flight).await?);
    }
    Ok(([(header::CACHE_CONTROL, "no-cache")], Json(all)))
}

/// `GET /api/flights/N`
pub(super) async fn one(
    State(shared): State<Arc<Shared>>,
    Path(number): Path<String>,
) -> Result<impl IntoResponse, Refusal> {
    let flight = find(&shared, &number).await?;
    let detail = FlightDetail { info: info(&shared, &flight).await?, site: site_info(&flight.setup) };
    Ok(([(header::CACHE_CONTROL, "no-cache")], Json(detail)))
}

/// Which part of a track, and how finely.
#[derive(Clone, Copy, Debug, Deserialize)]
pub(super) struct Part {
    from_s: Option<f64>,
    to_s: Option<f64>,
    most: Option<usize>,
}

impl Part {
    fn stretch(self) -> tracks::Stretch {
        let ns = |t_s: f64| (t_s * 1e9) as i64;
        tracks::Stretch {
            from_ns: self.from_s.map_or(i64::MIN, ns),
            to_ns: self.to_s.map_or(i64::MAX, ns),
            most: self.most,
        }
    }
}

/// `GET /api/flights/N/track`
pub(super) async fn track(
    State(shared): State<Arc<Shared>>,
    Path(number): Path<String>,
    Query(part): Query<Part>,
) -> Result<Response, Refusal> {
    let flight = match find(&shared, &number).await {
        Ok(flight) => flight,
        // On the pad before the first flight there is simply no past yet.
        Err(_) if number == "current" => return Ok(Json(Track { bodies: Vec::new() }).into_response()),
        Err(refusal) => return Err(refusal),
    };
    let ended = flight.ended_ns.is_some();
    let track =
        tracks::read(&shared.readers, shared.epoch_ns, &flight, tracks::Told::Live, part.stretch()).await?;
    // An ended flight changes only when it is computed again.
    let cache = if ended { "private, max-age=60" } else { "no-store" };
    let headers = [(header::CONTENT_TYPE, "application/json"), (header::CACHE_CONTROL, cache)];
    Ok((headers, crate::hub::json_text(&track)).into_response())
}

/// `GET /api/flights/N/hindsight`
pub(super) async fn hindsight(
    State(shared): State<Arc<Shared>>,
    Path(number): Path<String>,
    Query(part): Query<Part>,
) -> Result<Response, Refusal> {
    let flight = find(&shared, &number).await?;
    if flight.ended_ns.is_none() || flight.liftoff_ns.is_none() {
        return Err(Refusal::not_flown(flight.number));
    }
    let states = hindsight::states(&shared.readers, flight.number).await?;
    if states.is_none() {
        shared.hindsight.ask(flight.number);
    }
    let told = tracks::Told::Afterwards;
    let track = match states {
        Some(_) => Some(tracks::read(&shared.readers, shared.epoch_ns, &flight, told, part.stretch()).await?),
        None => None,
    };
    let headers = [(header::CONTENT_TYPE, "application/json"), (header::CACHE_CONTROL, "no-store")];
    Ok((headers, crate::hub::json_text(&HindsightTrack { states, track })).into_response())
}

async fn info(shared: &Shared, flight: &Flight) -> Result<FlightInfo, Refusal> {
    let landed_s = playback::landed_s(&shared.readers, flight.number).await?;
    let landed_ns = landed_s.map(|t_s| shared.epoch_ns + (t_s * 1e9) as i64);
    let end_ns = landed_ns.or(flight.ended_ns).unwrap_or_else(|| shared.clock.now_ns());
    Ok(FlightInfo {
        number: flight.number,
        name: flight.name.clone(),
        vehicle: flight.vehicle.clone(),
        opened_s: rounded_s(flight.opened_ns),
        liftoff_s: flight.liftoff_ns.map(rounded_s),
        ended_s: flight.ended_ns.map(rounded_s),
        apogee_m: flight.apogee_m.filter(|m| m.is_finite()).map(|m| (m * 10.0).round() / 10.0),
        duration_s: flight.liftoff_ns.map(|liftoff_ns| rounded_s(end_ns - liftoff_ns)),
    })
}
