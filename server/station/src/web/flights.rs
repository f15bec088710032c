//! Stored flights: the list, one of them, its track.

use std::sync::Arc;

use axum::Json;
use axum::extract::{Path, Query, State};
use axum::http::header;
use axum::response::{IntoResponse, Response};
use loftwatch_engine::Setup;
use serde::Deserialize;

use super::about::{rounded_s, site_info};
use super::problem::Refusal;
use super::remark::footage_info;
use crate::export::source::date_of;
use crate::export::track as tracks;
use crate::hindsight;
use crate::messages::{FlightDetail, FlightInfo, HindsightTrack, Track, WeatherInfo};
use crate::playback::{self, Flight};
use crate::shared::Shared;
use crate::store::remarks::{self, Remarked};
use crate::travel;

/// The flight of that number (or `current`: the newest), or a refusal in words.
pub(super) async fn find(shared: &Shared, number: &str) -> Result<Flight, Refusal> {
    if number == "current" {
        let newest = playback::flights(&shared.readers, Some(1)).await?.into_iter().next();
        return newest.ok_or_else(|| Refusal::no_flight(number));
    }
    let Ok(parsed) = number.parse::<u32>() else { return Err(Refusal::no_flight(number)) };
    let found = playback::flight(&shared.readers, parsed).await?.ok_or_else(|| Refusal::no_flight(number))?;
    // One that was deleted before this start is no longer there, though its outputs may still be on their way out.
    let held = remarks::read(&shared.inputs_readers).await?.of(&found);
    if is_gone(shared, &held) { Err(Refusal::no_flight(number)) } else { Ok(found) }
}

/// Whether a flight was deleted before the station was last started.
fn is_gone(shared: &Shared, held: &Remarked) -> bool {
    held.deleted_ns.is_some_and(|ns| ns < shared.started_ns)
}

/// `GET /api/flights`
pub(super) async fn list(State(shared): State<Arc<Shared>>) -> Result<impl IntoResponse, Refusal> {
    let mut all = list_of(&shared).await?;
    for visitor in shared.visitors.all() {
        all.extend(list_of(&visitor).await?);
    }
    Ok(([(header::CACHE_CONTROL, "no-cache")], Json(all)))
}

/// The flights of one store.
pub(super) async fn list_of(shared: &Shared) -> Result<Vec<FlightInfo>, Refusal> {
    let mut all = Vec::new();
    let remarks = remarks::read(&shared.inputs_readers).await?;
    for flight in playback::flights(&shared.readers, None).await? {
        let held = remarks.of(&flight);
        if !is_gone(shared, &held) {
            all.push(info(shared, &flight, &held).await?);
        }
    }
    Ok(all)
}

/// `GET /api/flights/N`
pub(super) async fn one(
    State(shared): State<Arc<Shared>>,
    Path(number): Path<String>,
) -> Result<impl IntoResponse, Refusal> {
    let flight = find(&shared, &number).await?;
    let held = remarks::read(&shared.inputs_readers).await?.of(&flight);
    let (from_ns, to_ns) = playback::span_ns(&shared.readers, &flight).await?;
    let detail = FlightDetail {
        info: info(&shared, &flight, &held).await?,
        site: site_info(&flight.setup),
        footage: held.footage.iter().map(footage_info).collect(),
        from_s: rounded_s(from_ns),
        to_s: rounded_s(to_ns),
    };
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

async fn info(shared: &Shared, flight: &Flight, held: &Remarked) -> Result<FlightInfo, Refusal> {
    let landed_s = playback::landed_s(&shared.readers, flight.number).await?;
    let landed_ns = landed_s.map(|t_s| shared.epoch_ns + (t_s * 1e9) as i64);
    let end_ns = landed_ns.or(flight.ended_ns).unwrap_or_else(|| shared.clock.now_ns());
    let newest = shared.visitor.is_none() && shared.hub.marks().flight == flight.number;
    let brief = shared.briefs.of(&shared.readers, shared.epoch_ns, flight, end_ns, newest).await?;
    let name = held.name.clone().unwrap_or_else(|| flight.name.clone());
    Ok(FlightInfo {
        number: shared.visitor.as_ref().map_or(flight.number, |own| travel::shown(own.number, flight.number)),
        label: remarks::label(flight, held),
        name,
        vehicle: flight.vehicle.clone(),
        day: date_of(flight.liftoff_ns.unwrap_or(flight.opened_ns) + flight.utc_offset_ns)
            .map_or_else(String::new, |date| date.to_string()),
        opened_s: rounded_s(flight.opened_ns),
        liftoff_s: flight.liftoff_ns.map(rounded_s),
        ended_s: flight.ended_ns.map(rounded_s),
        apogee_m: flight.apogee_m.filter(|m| m.is_finite()).map(|m| (m * 100.0).round() / 100.0),
        duration_s: flight.liftoff_ns.map(|liftoff_ns| rounded_s(end_ns - liftoff_ns)),
        site_name: flight.setup.site_name.clone(),
        notes: held.notes.clone(),
        weather: weather(&flight.setup),
        events: brief.events.clone(),
        headsups: brief.headsups.clone(),
        line: brief.line.clone(),
        deleted: held.deleted_ns.is_some(),
        from_elsewhere: shared.visitor.is_some(),
    })
}

/// The weather as far as it was told.
fn weather(setup: &Setup) -> WeatherInfo {
    let told = |key: &str| !setup.defaults.iter().any(|(name, _)| name == key);
    let weather = &setup.plan.weather;
    let tenth = |value: f64| (value * 10.0).round() / 10.0;
    let wind = told("weather.wind_mps");
    WeatherInfo {
        temperature_c: told("weather.temperature_c").then(|| tenth(weather.temperature_k - 273.15)),
        pressure_hpa: told("weather.station_pressure_hpa").then(|| tenth(weather.pressure_pa / 100.0)),
        wind_mps: wind.then(|| tenth(weather.wind_mps.value)),
        wind_from_deg: wind.then(|| weather.wind_from_rad.to_degrees().rem_euclid(360.0).round()),
    }
}
