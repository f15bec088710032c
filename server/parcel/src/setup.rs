//! Whether a setup that came from elsewhere may be computed with: what `loftwatch-setup` sees to when it reads a file of
//! one's own, as far as an engine relies on it.

use loftwatch_engine::Setup;
use serde_json::Value;

/// Most bodies and cues: what an engine has room for.
const MOST_BODIES: usize = 8;
const MOST_CUES: usize = 16;
/// Most of anything in one list, longest text, greatest figure.
const MOST_IN_A_LIST: usize = 20_000;
const LONGEST_TEXT: usize = 4_000;
const GREATEST: f64 = 1e13;
/// Most links, layouts and motors.
const MOST_PARTS: usize = 64;

/// Says what is wrong.
pub(crate) fn check(setup: &Setup) -> Result<(), String> {
    let json = serde_json::to_value(setup).map_err(|error| error.to_string())?;
    sizes(&json)?;
    let plan = &setup.plan;
    let (bodies, cues) = (plan.bodies.len(), plan.cues.len());
    let within = |what: &str, count: usize, least: usize, most: usize| {
        if (least..=most).contains(&count) {
            Ok(())
        } else {
            Err(format!("it has {count} {what}, expected {least} to {most}"))
        }
    };
    within("bodies", bodies, 1, MOST_BODIES)?;
    within("cues", cues, 0, MOST_CUES)?;
    within("motors", plan.motors.len(), 1, MOST_PARTS)?;
    within("links", setup.links.len(), 0, MOST_PARTS)?;
    within("layouts", setup.layouts.len(), 0, MOST_PARTS)?;
    within("transmitter numbers", setup.transmitters.len(), bodies, bodies)?;
    let cue = |index: Option<usize>| index.is_none_or(|index| index < cues);
    for (index, body) in plan.bodies.iter().enumerate() {
        let parent = match (index, body.parent) {
            (0, None) => true,
            (0, Some(_)) | (_, None) => false,
            (index, Some(parent)) => parent < index,
        };
        let descents =
            body.descents.iter().all(|descent| cue(Some(descent.cue)) && descent.drag_area_m2.value > 0.0);
        if !parent
            || !cue(body.freed_by)
            || !descents
            || body.mass_kg.value <= 0.0
            || body.descents.len() > MOST_CUES
        {
            return Err(format!("body `{}` is not one that a setup file can tell", body.name));
        }
    }
    for told in &plan.cues {
        let after = match told.trigger {
            loftwatch_flight::Trigger::AfterCue(index, _) => Some(index),
            _ => None,
        };
        if told.body >= bodies || !cue(after) {
            return Err(format!("cue `{}` is of no body, or after no cue", told.name));
        }
    }
    let vehicle = &plan.vehicle;
    let positive = [
        vehicle.liftoff_mass_kg.value,
        vehicle.diameter_m,
        vehicle.drag_coefficient.value,
        plan.weather.pressure_pa,
        plan.weather.temperature_k,
    ];
    if positive.iter().any(|figure| *figure <= 0.0) {
        return Err("a mass, a size or the air is not above zero".to_owned());
    }
    for motor in &plan.motors {
        if motor.impulse_ns.value <= 0.0 || motor.burn_time_s <= 0.0 {
            return Err("a motor has no impulse or burns for no time".to_owned());
        }
    }
    for link in &setup.links {
        let layouts = link.layouts.iter().all(|index| *index < setup.layouts.len());
        let framing = link.framing.check();
        if !layouts || !framing.is_empty() {
            return Err(format!("link `{}` is not one that a setup file can tell", link.name));
        }
    }
    for layout in &setup.layouts {
        if !layout.check().is_empty() || layout.body.is_some_and(|body| body >= bodies) {
            return Err(format!("layout `{}` is not one that a setup file can tell", layout.name));
        }
    }
    Ok(())
}

/// Sizes of everything in it, whatever it means.
fn sizes(json: &Value) -> Result<(), String> {
    match json {
        Value::Number(number) if number.as_f64().is_some_and(|figure| figure.abs() > GREATEST) => {
            // Whole numbers of layouts (masks, sync words) may use all of 64 bits.
            if number.is_f64() {
                Err(format!("the figure {number} is out of all proportion"))
            } else {
                Ok(())
            }
        }
        Value::String(text) if text.len() > LONGEST_TEXT => Err("a text is too long".to_owned()),
        Value::Array(list) if list.len() > MOST_IN_A_LIST => Err("a list is too long".to_owned()),
        Value::Array(list) => list.iter().try_for_each(sizes),
        Value::Object(map) => map.values().try_for_each(sizes),
        _ => Ok(()),
    }
}
