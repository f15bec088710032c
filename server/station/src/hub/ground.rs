//! From the state to where the pieces lie, and to the charges in them that nobody knows to have fired.

use geographiclib_rs::{Geodesic, InverseGeodesic as _};
use loftwatch_engine::{Setup, cue_of};
use loftwatch_flight::Phase;
use loftwatch_flight::geodesy::Frame;
use loftwatch_radio::{Layout, Meaning};

use super::now::cut;
use super::rounding::figure;
use super::state::{BodyState, Flag, State};
use crate::compass;
use crate::messages::{ChargeNow, ChargeSaid, CompassNow, GroundNow, PieceNow, PlaceNow};

impl State {
    /// The ground as of an instant (UTC, ns).
    pub(super) fn ground(&self, told: &Setup, utc_ns: i64) -> GroundNow {
        let site = &told.plan.site;
        let ellipsoid_m = site.elevation_m + site.geoid_m;
        let pad_deg = [site.latitude_rad.to_degrees(), site.longitude_rad.to_degrees()];
        let compass = compass::at(pad_deg[0], pad_deg[1], ellipsoid_m, utc_ns);
        let all = 0..told.plan.bodies.len();
        let pieces = if all.clone().any(|body| self.down(body)) {
            let way = Way {
                pad_deg,
                frame: Frame::at(site.latitude_rad, site.longitude_rad, ellipsoid_m),
                compass: compass.as_ref(),
            };
            all.map(|body| self.piece(told, body, &way)).collect()
        } else {
            Vec::new()
        };
        GroundNow { compass, pieces }
    }

    fn down(&self, body: usize) -> bool {
        let estimate = self.bodies.get(body).and_then(|body| body.estimate.as_ref());
        estimate.is_some_and(|estimate| estimate.phase == Phase::Down)
    }

    fn piece(&self, told: &Setup, body: usize, way: &Way) -> PieceNow {
        let attached = |body: usize| {
            let parent = told.plan.bodies.get(body)?.parent?;
            self.attached(body, true).then_some(parent)
        };
        // Parents come before their children in a plan, so this ends.
        let carrier = std::iter::successors(Some(body), |at| attached(*at)).last().unwrap_or(body);
        let carried_by = (carrier != body).then_some(carrier as u32);
        let known = self.bodies.get(body).filter(|_| carried_by.is_none());
        PieceNow {
            body: body as u32,
            carried_by,
            down: self.down(carrier),
            place: known.and_then(|body| way.to(body)),
            charges: self.charges(told, body),
        }
    }

    /// The charges of a body that its radio does not say to have fired: those of its cues, and the channels of its packets
    /// that no cue has. Whether a cue is worked by a charge or by a spring is not told, so it is taken for a charge.
    fn charges(&self, told: &Setup, body: usize) -> Vec<ChargeNow> {
        let mut charges: Vec<(Charge, Option<Heard>)> = Vec::new();
        let own = told.plan.cues.iter().enumerate().filter(|(_, cue)| cue.body == body);
        charges.extend(own.map(|(index, _)| (Charge::OfCue(index), None)));
        for (speaker, state) in self.bodies.iter().enumerate() {
            for flag in &state.flags {
                let Some(channel) = channel_of(told, flag) else { continue };
                let charge = match cue_of(&told.plan, speaker, channel) {
                    Some(cue) => Charge::OfCue(cue),
                    None if speaker == body => Charge::Channel(channel.to_owned()),
                    None => continue,
                };
                let known = charges.iter_mut().find(|(known, _)| *known == charge);
                let heard = match known {
                    Some((_, heard)) => heard.get_or_insert_default(),
                    None if matches!(charge, Charge::Channel(_)) => {
                        charges.push((charge, None));
                        let Some((_, heard)) = charges.last_mut() else { continue };
                        heard.get_or_insert_default()
                    }
                    // A cue at which another body acts.
                    None => continue,
                };
                heard.take(flag);
            }
        }
        charges
            .into_iter()
            .filter_map(|(charge, heard)| {
                let said = heard.map_or(Some(ChargeSaid::Nothing), Heard::unfired)?;
                let name = match charge {
                    Charge::OfCue(cue) => told.plan.cues.get(cue)?.name.as_str().to_owned(),
                    Charge::Channel(channel) => channel,
                };
                Some(ChargeNow { name: cut(&name, 48), said })
            })
            .collect()
    }
}

#[derive(Clone, Debug, PartialEq)]
enum Charge {
    /// Index of its cue.
    OfCue(usize),
    /// Name of its channel.
    Channel(String),
}

/// What the radio last said of a charge.
#[derive(Clone, Copy, Debug, Default)]
struct Heard {
    fired: Option<bool>,
    commanded: bool,
    armed: bool,
}

impl Heard {
    fn take(&mut self, flag: &Flag) {
        match flag.means {
            // Two boards may speak of one charge: one that saw it fire is believed.
            Meaning::Fired => self.fired = Some(self.fired.unwrap_or(false) || flag.up),
            Meaning::Commanded => self.commanded |= flag.up,
            Meaning::Armed => self.armed |= flag.up,
            _ => {}
        }
    }

    /// What was said, unless that is that it fired.
    fn unfired(self) -> Option<ChargeSaid> {
        match (self.fired, self.armed, self.commanded) {
            (Some(true), ..) => None,
            (_, true, _) => Some(ChargeSaid::Armed),
            (_, false, true) => Some(ChargeSaid::Commanded),
            (Some(false), false, false) => Some(ChargeSaid::NotFired),
            (None, false, false) => Some(ChargeSaid::Nothing),
        }
    }
}

/// The channel that a flag's field or bit stands for.
fn channel_of<'a>(told: &'a Setup, flag: &Flag) -> Option<&'a str> {
    let layout: &Layout = told.layouts.iter().find(|layout| layout.name == flag.layout)?;
    let fields = layout.fields();
    let named = fields.iter().find(|field| field.name == flag.field && field.bits.is_empty());
    if let Some(field) = named {
        return Some(field.channel.as_deref().unwrap_or(&field.name));
    }
    let bit = fields.iter().flat_map(|field| &field.bits).find(|bit| bit.name == flag.field)?;
    Some(bit.channel.as_deref().unwrap_or(&bit.name))
}

/// From the pad to a piece.
struct Way<'a> {
    pad_deg: [f64; 2],
    frame: Frame,
    compass: Option<&'a CompassNow>,
}

impl Way<'_> {
    /// The estimate knows all fixes and where it fell after the last of them; without one the last fix must do.
    fn to(&self, body: &BodyState) -> Option<PlaceNow> {
        let estimate = body.estimate.as_ref();
        let estimated = estimate.and_then(|estimate| estimate.east_north_m).map(|[east_m, north_m]| {
            let (latitude, longitude, _) = self.frame.geodetic([east_m, north_m, 0.0]);
            [latitude, longitude]
        });
        let radius_m = estimated.and(estimate?.position_radius_m);
        let [latitude, longitude] = estimated.or(body.fix.map(|(fix, _)| fix))?.map(f64::to_degrees);
        let (distance_m, azimuth, _, _): (f64, f64, f64, f64) =
            Geodesic::wgs84().inverse(self.pad_deg[0], self.pad_deg[1], latitude, longitude);
        let true_deg = azimuth.rem_euclid(360.0);
        let compass_deg = self.compass.map(|compass| (true_deg - compass.declination_deg).rem_euclid(360.0));
        Some(PlaceNow {
            // 1e-6 degrees is 0.1 m.
            latitude_deg: figure(latitude, 6)?,
            longitude_deg: figure(longitude, 6)?,
            radius_m: radius_m.and_then(|radius| figure(radius, 1)),
            distance_m: figure(distance_m, 1)?,
            true_deg: figure(true_deg, 1)?,
            compass_deg: compass_deg.and_then(|degrees| figure(degrees, 1)),
        })
    }
}

#[cfg(test)]
mod tests;
