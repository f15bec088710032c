//! What the pad remembers of one sample, as those who look for first motion in the newest of them read it.

use crate::plan::Told;
use crate::sample::Sample;
use crate::shelf::Blank;

/// Samples kept for dating liftoff back.
pub(crate) const RECENT: usize = 96;

/// One of them: times in s, heights above their zero in m, climb in m/s, force in m/s2.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Glance {
    pub(crate) t_s: f64,
    /// Spread of when that was, one standard deviation.
    pub(crate) t_sd_s: f64,
    pub(crate) baro_m: Option<f64>,
    pub(crate) axial: Option<f64>,
    /// Whether the accelerometer feels what it feels at rest, however it lies.
    pub(crate) rests: bool,
    pub(crate) gnss_up_m: Option<f64>,
    pub(crate) gnss_climb: Option<f64>,
    /// The vehicle's own height above its zero.
    pub(crate) own_m: Option<f64>,
}

impl Blank for Glance {
    const BLANK: Self = Glance {
        t_s: 0.0,
        t_sd_s: 0.0,
        baro_m: None,
        axial: None,
        rests: false,
        gnss_up_m: None,
        gnss_climb: None,
        own_m: None,
    };
}

/// First motion found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Motion {
    pub(crate) at: Told,
}

pub(crate) const G: f64 = 9.8;

/// Force across and along at rest is 1 g, whichever way it lies; without the force across it is what it was before.
pub(crate) fn rests(axial: f64, lateral: Option<[f64; 2]>, before: Option<f64>) -> bool {
    let about = |f: f64, g: f64, by: f64| (f - g).abs() < by * G;
    match lateral {
        Some([a, b]) if a.is_finite() && b.is_finite() => {
            axial > -0.5 * G && about(libm::sqrt(axial * axial + a * a + b * b), G, 0.3)
        }
        _ => (axial > 0.6 * G && axial < 1.25 * G) || before.is_some_and(|z| about(axial, z, 0.2)),
    }
}

/// Share of 1 g by which the whole force at rest may be off where the tilt is taken from its parts: offsets that turn it are seen
/// there, too.
const WHOLE_WITHIN: f64 = 0.03;

/// What stands in a rail may differ from the rail's told tilt by so much by its own sensors, rad: boards are mounted no straighter (common
/// practice, no source).
pub const RAIL_WITHIN_RAD: f64 = 0.0873;

/// How far from vertical the nose is by the specific force along and across it at rest, m/s2; `None` where that is not 1 g in all.
pub fn tilt_at_rest_rad(along_mps2: f64, across_mps2: [f64; 2]) -> Option<f64> {
    let side = libm::hypot(across_mps2[0], across_mps2[1]);
    ((libm::hypot(along_mps2, side) - G).abs() < WHOLE_WITHIN * G).then(|| libm::atan2(side, along_mps2))
}

/// How far from vertical it stands, rad: by its own tilt, else by gravity along and across.
pub(crate) fn stands_rad(s: &Sample) -> Option<f64> {
    match s.tilt_rad {
        Some(tilt) => (0.0..=core::f64::consts::PI).contains(&tilt).then_some(tilt),
        None => tilt_at_rest_rad(s.axial_mps2?, s.lateral_mps2?),
    }
}

/// How heights spread on the pad, one standard deviation, m.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Heights {
    /// One value from the next: the sensor's own noise.
    pub(crate) noise_m: f64,
    /// From the zero: noise and whatever moves there.
    pub(crate) moves_m: f64,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_lies_or_stands_still_by_its_own_force_has_not_lifted_off() {
        assert!(rests(0.1, Some([9.6, 0.4]), None), "lying");
        assert!(rests(9.9, None, None), "standing");
        assert!(rests(0.3, None, Some(0.1)), "as it lay before");
        assert!(!rests(-1.5, Some([0.2, 0.1]), Some(9.8)), "coasting");
        assert!(!rests(-9.8, Some([0.2, 0.1]), Some(9.8)), "held back by 1 g of drag");
        assert!(!rests(40.0, Some([0.2, 0.1]), Some(9.8)), "pushed");
    }
}
