//! A flight for tests, of a plan alone.

use loftwatch_engine::Setup;
use loftwatch_engine::preparation::Preparation;
use loftwatch_flight::Plan;

use crate::Flight;

/// That plan, flown from and until then (station time, ns; zero is the axis's zero and UTC's).
pub(crate) fn flight(number: u32, vehicle: &str, plan: Plan, liftoff_ns: i64, ended_ns: i64) -> Flight {
    let setup = Setup {
        vehicle_name: vehicle.into(),
        site_name: "pad".into(),
        plan,
        transmitters: Vec::new(),
        areas: Vec::new(),
        wind_source: String::new(),
        receivers: Vec::new(),
        links: Vec::new(),
        layouts: Vec::new(),
        preparation: Preparation::default(),
        defaults: Vec::new(),
    };
    Flight {
        number,
        name: String::new(),
        vehicle: vehicle.into(),
        site: "pad".into(),
        opened_ns: 0,
        liftoff_ns: Some(liftoff_ns),
        ended_ns: Some(ended_ns),
        utc_offset_ns: 0,
        epoch_ns: 0,
        setup,
        written: Vec::new(),
    }
}
