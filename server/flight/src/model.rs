//! Everything derived from a plan once: air, wind, gravity, stages, frame of the pad, what each body is like.
//!
//! A model is a function of its plan alone and is rebuilt, never stored.

use libm::{cos, sin};

use crate::atmosphere::{Air, pressure_altitude_m};
use crate::geodesy::Frame;
use crate::gravity;
use crate::motor::Stage;
use crate::plan::{Body, MAX_BODIES, Plan};
use crate::pressure::BARO_SCALE_SD;
use crate::wind::Wind;

/// Rate of the earth, rad/s (WGS84).
const EARTH_RATE: f64 = 7.292_115e-5;
/// Mean radius for the tilt of the vertical away from the pad, m.
pub(crate) const EARTH_RADIUS_M: f64 = 6_371_000.0;

/// Slope of the normal force coefficient of a whole vehicle on its reference area, per radian (common practice, no source).
pub(crate) const NORMAL_SLOPE: f64 = 10.0;
/// Square of the pitch wave number times mass over air density and diameter: (pi/4) Cn margin / (2 L^2/12), for a vehicle 17
/// diameters long with a normal force slope of [`NORMAL_SLOPE`] and a margin of 1.5 diameters (common practice, no source).
const PITCH: f64 = 0.245;
/// Spread of the share of the wind that turns the nose: what length, margin and tip-off leave open.
pub(crate) const TURNS_SD: f64 = 0.12;

/// Share of the told lean's variance that is left open whatever tilt and wind explain: told figures are guesses.
const LEFT_LEAST: f64 = 0.25;

/// Share of the wind at rail exit that the nose has turned into when the turning is done. At the rail's end the vehicle turns
/// with a wave number c = sqrt([`PITCH`] rho d / m), the same at every speed, while its speed grows with the root of the distance:
/// slow turners have outrun the wind by then. Fitted to the equations of pitch, path and speed in the plane (own derivation, solved
/// with SciPy for c times the guided length from 0.05 to 5, thrust of 4.5 to 12 weights, damping of 3 to 15 %): within 0.05.
fn turning(guided_m: f64, diameter_m: f64, mass_kg: f64, density: f64) -> f64 {
    let c = libm::sqrt(PITCH * density * diameter_m.max(0.01) / mass_kg.max(0.05));
    1.0 - libm::exp(-1.3 * libm::pow(c * guided_m, 0.6))
}

/// Lift of a nose that follows its path late, over gravity's part across the path, in the pad's air; in coast it always acts
/// upwards. Two things hold the nose back. Pitch damping: (Cn rho A/2m) (0.35 (L/2)^2 / margin), whatever the speed, 0.01 to 0.02
/// (linear pitch damping; coefficient 0.35 common practice, no source). And inertia: near apogee the path turns faster than the
/// nose can, the more so the longer the vehicle. Both are in a line over the diameter, held to the equations of pitch, path and
/// speed in the plane (own derivation, solved with SciPy from 30 to 140 m/s, 3 to 30 degrees, 12 to 20 diameters long, margins of
/// 1.2 to 3.5: `tests/sim/tests/test_late_lift.py`): what is wrong with time and airspeed at apogee falls to four tenths.
fn late_lift(diameter_m: f64) -> f64 {
    0.005 + 0.14 * diameter_m.clamp(0.0, 0.5)
}

/// Spread of the late lift: a share of it, for margins of one to three and a half diameters that nobody tells, and what is left open where
/// it is small (common practice, no source). Smaller: wide vehicles' time of apogee is believed too soon.
const LIFT_SD_SHARE: f64 = 0.35;
const LIFT_LEAST_SD: f64 = 0.005;

/// A plan, ready for arithmetic.
#[derive(Clone, Debug)]
pub(crate) struct Model {
    pub(crate) plan: Plan,
    pub(crate) air: Air,
    pub(crate) wind: Wind,
    pub(crate) frame: Frame,
    pub(crate) stages: Vec<Stage>,
    /// Spread of height by pressure over true height near the ground: [`BARO_SCALE_SD`], and a temperature that nobody told.
    pub(crate) air_scale_sd: f64,
    /// Height of the pad's pressure in the standard atmosphere, m.
    pub(crate) pad_pressure_altitude_m: f64,
    /// Gravity at the pad, m/s2, and its relative fall per metre.
    g0: f64,
    g_per_m: f64,
    /// Earth's rate along north and up, rad/s.
    pub(crate) spin_north: f64,
    pub(crate) spin_up: f64,
    /// Told direction of the rail (unit vector) and whether its azimuth is known.
    pub(crate) rail: [f64; 3],
    /// Told tilt of the rail, rad, whether its azimuth is known or not.
    pub(crate) rail_tilt_rad: f64,
    pub(crate) rail_azimuth_known: bool,
    /// Spread of the path's angle on each axis: at burnout as told, and where the rail lets go without what tilt and wind give.
    pub(crate) lean_sd_rad: f64,
    pub(crate) lean_off_rail_rad: f64,
    /// What gravity makes of an angle of the path from the rail to burnout, times.
    pub(crate) lean_grows: f64,
    /// What tilt and wind make of it where the rail lets go, rad.
    pub(crate) off_rail_rad: f64,
    pub(crate) rail_length_m: f64,
    /// Share of the wind that turns the nose off the rail.
    pub(crate) turns_with_wind: f64,
    /// See [`late_lift`].
    pub(crate) late_lift: f64,
    /// Its spread: [`LIFT_SD_SHARE`].
    pub(crate) late_lift_sd: f64,
    /// ln of rho0 CdA / (2 m) of each body, bare.
    pub(crate) bare_ln_k: [f64; MAX_BODIES],
}

impl Model {
    pub(crate) fn new(plan: &Plan) -> Self {
        let site = &plan.site;
        let g0 = gravity::at_height(site.latitude_rad, site.elevation_m + site.geoid_m);
        let g1 = gravity::at_height(site.latitude_rad, site.elevation_m + site.geoid_m + 1000.0);
        let temperature_k = plan.weather.temperature_k.clamp(200.0, 340.0);
        let air = Air::over(
            site.elevation_m,
            plan.weather.pressure_pa.clamp(1_000.0, 120_000.0),
            temperature_k,
            g0,
        );
        let v = &plan.vehicle;
        let mass_ln_sd = (v.liftoff_mass_kg.sd / v.liftoff_mass_kg.value.max(1e-3)).clamp(0.002, 0.5);
        let mut mass = v.liftoff_mass_kg.value.max(1e-3);
        let mut stages = Vec::new();
        for motor in &plan.motors {
            mass = (mass - motor.dropped_mass_kg).max(0.05 * mass);
            let stage = Stage::new(motor, mass, mass_ln_sd, air.pad_density());
            mass = stage.burnt_mass_kg();
            stages.push(stage);
        }
        let azimuth = v.rail_azimuth_rad.unwrap_or(0.0);
        let tilt = if v.rail_azimuth_rad.is_some() { v.rail_tilt_rad } else { 0.0 };
        // A rail of unknown azimuth is upright with its tilt added to the spread.
        let lean_sd_rad = if v.rail_azimuth_rad.is_some() {
            v.lean_sd_rad
        } else {
            libm::sqrt(v.lean_sd_rad * v.lean_sd_rad + 0.5 * v.rail_tilt_rad * v.rail_tilt_rad)
        };
        let lean_sd_rad = lean_sd_rad.clamp(0.005, 0.6);
        let mut bare_ln_k = [-7.0; MAX_BODIES];
        for (k, body) in bare_ln_k.iter_mut().zip(&plan.bodies) {
            let area = body.bare_drag_area_m2.value.max(1e-6);
            let m = body.mass_kg.value.max(1e-3);
            *k = libm::log(air.pad_density() * area / (2.0 * m));
        }
        let wind = Wind::told(&plan.weather);
        let turns_with_wind =
            turning(v.rail_length_m.max(0.0), v.diameter_m, v.liftoff_mass_kg.value, air.pad_density());
        // Under thrust gravity turns the path: an angle grows as the speed to the power of weight over net force.
        let (exit_mps, grown) = stages.first().map_or((f64::INFINITY, 1.0), |s| {
            let net = (s.mean_mps2() - g0).max(0.5 * g0);
            let exit_mps = libm::sqrt(2.0 * net * v.rail_length_m.max(0.5));
            let ratio = net * s.burn_s / exit_mps;
            (exit_mps, libm::pow(ratio.max(1.0), g0 / net).clamp(1.0, 2.0))
        });
        // The told spread is of the whole lean. What the rail's tilt and today's wind give is known apart from it.
        let told_rad = lean_sd_rad / grown;
        let ([east, north], _) = wind.at(10.0);
        let by_wind_rad = turns_with_wind * libm::hypot(east, north) / exit_mps;
        let known = 0.5 * (by_wind_rad * by_wind_rad + tilt * tilt);
        let late_lift = late_lift(v.diameter_m);
        let lean_off_rail_rad =
            libm::sqrt((told_rad * told_rad - known).max(LEFT_LEAST * told_rad * told_rad));
        Self {
            wind,
            frame: Frame::at(site.latitude_rad, site.longitude_rad, site.elevation_m + site.geoid_m),
            stages,
            air_scale_sd: libm::hypot(
                BARO_SCALE_SD,
                plan.weather.temperature_sd_k.clamp(0.0, 40.0) / temperature_k,
            ),
            g0,
            g_per_m: (1.0 - g1 / g0) / 1000.0,
            spin_north: EARTH_RATE * cos(site.latitude_rad),
            spin_up: EARTH_RATE * sin(site.latitude_rad),
            rail: [sin(tilt) * sin(azimuth), sin(tilt) * cos(azimuth), cos(tilt)],
            rail_tilt_rad: v.rail_tilt_rad,
            rail_azimuth_known: v.rail_azimuth_rad.is_some(),
            lean_sd_rad,
            lean_off_rail_rad,
            lean_grows: grown,
            off_rail_rad: libm::hypot(by_wind_rad, v.rail_tilt_rad),
            rail_length_m: v.rail_length_m.max(0.0),
            late_lift,
            late_lift_sd: LIFT_LEAST_SD + LIFT_SD_SHARE * late_lift,
            turns_with_wind,
            bare_ln_k,
            pad_pressure_altitude_m: pressure_altitude_m(air.pressure_pa(0.0)),
            air,
            plan: plan.clone(),
        }
    }

    /// The same without wind.
    pub(crate) fn calm(&self) -> Self {
        let mut weather = self.plan.weather;
        weather.wind_mps.value = 0.0;
        Self { wind: Wind::told(&weather), ..self.clone() }
    }

    /// Level unit vector in which the rail leans; north where it stands upright or its azimuth is not known.
    pub(crate) fn rail_plane(&self) -> [f64; 2] {
        let flat = libm::hypot(self.rail[0], self.rail[1]);
        if flat > 1e-6 { [self.rail[0] / flat, self.rail[1] / flat] } else { [0.0, 1.0] }
    }

    /// ln k of a body with this drag area, m2.
    pub(crate) fn ln_k_under(&self, body: &Body, drag_area_m2: f64) -> f64 {
        let k = self.air.pad_density() * drag_area_m2 / (2.0 * body.mass_kg.value.max(1e-3));
        libm::log(k.max(1e-9))
    }

    /// Gravity at a height above the pad, m/s2.
    #[inline]
    pub(crate) fn gravity(&self, height_m: f64) -> f64 {
        self.g0 * (1.0 - self.g_per_m * height_m * (1.0 - 1.5 * height_m / EARTH_RADIUS_M))
    }
}
