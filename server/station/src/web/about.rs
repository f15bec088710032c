//! What the program is, what was told, and the newest state for scripts.

use std::sync::Arc;

use axum::Json;
use axum::extract::State;
use axum::http::header;
use axum::response::IntoResponse;
use loftwatch_engine::{ENGINE_VERSION, Setup};

use super::actor::Asker;
use crate::hub;
use crate::messages::{About, AreaInfo, BodyInfo, CueInfo, SiteInfo};
use crate::shared::Shared;

/// `GET /api/about`
pub(super) async fn about(State(shared): State<Arc<Shared>>, asker: Asker) -> impl IntoResponse {
    let about = About {
        version: env!("CARGO_PKG_VERSION").to_owned(),
        engine: ENGINE_VERSION.to_string(),
        cautions: vec![
            "Advice, not range safety: the range's own officers, the local code and licensed practice decide.".to_owned(),
            "Hearing a radio is not readiness. A last fix is not a landing. The range opens when its officer says so."
                .to_owned(),
        ],
        can_act: asker.may_act(),
        who: asker.who,
        own_machine: asker.own_machine,
        map: shared.map.is_some(),
    };
    ([(header::CACHE_CONTROL, "no-store")], Json(about))
}

/// `GET /api/site`
pub(super) async fn site(State(shared): State<Arc<Shared>>) -> impl IntoResponse {
    let told = Arc::clone(&shared.setup.borrow());
    ([(header::CACHE_CONTROL, "no-cache")], Json(site_info(&told.setup)))
}

/// `GET /api/now`
pub(super) async fn now(State(shared): State<Arc<Shared>>) -> impl IntoResponse {
    let headers = [(header::CONTENT_TYPE, "application/json"), (header::CACHE_CONTROL, "no-store")];
    (headers, shared.hub.now_json())
}

/// The named areas.
pub(crate) fn areas(told: &Setup) -> Vec<AreaInfo> {
    let area = |area: &loftwatch_engine::setup::Area| AreaInfo {
        name: area.name.clone(),
        kind: area.kind.into(),
        points_m: area.points_m.clone(),
        closed: area.closed,
    };
    told.areas.iter().map(area).collect()
}

/// What was told, as pages need it.
pub(super) fn site_info(told: &Setup) -> SiteInfo {
    let site = &told.plan.site;
    // 1e-7 degrees is a centimetre; beyond is the noise of the conversion.
    let degrees = |rad: f64| (rad.to_degrees() * 1e7).round() / 1e7;
    SiteInfo {
        site: told.site_name.clone(),
        vehicle: told.vehicle_name.clone(),
        latitude_deg: degrees(site.latitude_rad),
        longitude_deg: degrees(site.longitude_rad),
        elevation_m: site.elevation_m,
        areas: areas(told),
        bodies: told
            .plan
            .bodies
            .iter()
            .map(|body| BodyInfo { name: body.name.clone(), parent: body.parent.map(|parent| parent as u32) })
            .collect(),
        defaults: told.defaults.clone(),
        cues: told
            .plan
            .cues
            .iter()
            .map(|cue| CueInfo { name: cue.name.clone(), does: cue.kind.into() })
            .collect(),
    }
}

/// Seconds of station time, for lists.
pub(super) fn rounded_s(t_ns: i64) -> f64 {
    (hub::seconds(t_ns) * 1e3).round() / 1e3
}
