//! The whole file, from text to setup.

use std::collections::BTreeSet;

use loftwatch_engine::setup::Setup;
use loftwatch_flight::Plan;
use loftwatch_radio::Meaning;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

use crate::body::Flown;
use crate::mistake::{Mistake, Report, clean};
use crate::notes::Notes;
use crate::tree::{At, Field, FromFile, Place};
use crate::{
    area, body, cue, field, layout, link, motor, preparation, site, standard, told, vehicle, weather,
};

/// The longest setup file, bytes. The fullest that makes sense has a hundredth of it.
const LONGEST: usize = 1024 * 1024;

/// The most broken lines that are told.
const MOST_BROKEN: usize = 200;

/// Reads a setup file.
///
/// `load` gives the text of a file that the setup names (a thrust curve), relative to the setup file, or says why
/// not. All mistakes come back at once.
pub fn read(
    text: &str,
    file_name: &str,
    load: &mut dyn FnMut(&str) -> Result<String, String>,
) -> Result<Setup, Report> {
    let mut notes = Notes::new();
    if text.len() > LONGEST {
        let found = format!("{} bytes: is this a setup file?", text.len());
        notes.refuse(&Place::default(), format!("at most {LONGEST} bytes"), found, None);
        return Err(Report::new(file_name, "", notes.mistakes));
    }
    let (table, broken) = DeTable::parse_recoverable(text);
    let span = table.span();
    let tree = Spanned::new(span, DeValue::Table(table.into_inner()));
    let end = Place { key: String::new(), span: text.len()..text.len() };
    let setup = told::File::from_file(&tree, &end, &mut notes).and_then(|told| mean(&told, &mut notes, load));
    if !broken.is_empty() {
        let mistakes = with_broken(text, &broken, notes.mistakes);
        return Err(Report::new(file_name, text, mistakes));
    }
    match setup {
        Some(mut setup) if notes.mistakes.is_empty() => {
            setup.defaults = notes.defaults;
            Ok(setup)
        }
        _ => Err(Report::new(file_name, text, notes.mistakes)),
    }
}

/// Lines that are no TOML, and the mistakes that they do not explain: neither what is missing, nor what stands on
/// the same line.
fn with_broken(text: &str, broken: &[toml::de::Error], others: Vec<Mistake>) -> Vec<Mistake> {
    let ends: Vec<usize> = text.match_indices('\n').map(|(at, _)| at).collect();
    let line = |at: usize| ends.partition_point(|&end| end < at);
    let mut mistakes: Vec<Mistake> = broken
        .iter()
        .take(MOST_BROKEN)
        .map(|error| {
            let span = error.span().unwrap_or_default();
            let found = text.get(span.clone()).filter(|found| !found.trim().is_empty());
            Mistake {
                line: 1,
                column: 1,
                key: String::new(),
                expected: "TOML that can be read".to_owned(),
                found: found.map_or_else(
                    || "the end of what can be".to_owned(),
                    |found| format!("\"{}\"", clean(found, 40)),
                ),
                hint: Some(clean(error.message(), 200)),
                span,
                missing: false,
            }
        })
        .collect();
    let lines: BTreeSet<usize> = mistakes.iter().map(|m| line(m.span.start)).collect();
    mistakes.extend(others.into_iter().filter(|m| !m.missing && !lines.contains(&line(m.span.start))));
    mistakes
}

/// A section, or an empty one in its place: then all of it is default.
pub(crate) fn section<T: FromFile + Clone>(field: &Field<T>, notes: &mut Notes) -> Option<T> {
    if let Field::Is(at) = field {
        return Some(at.value.clone());
    }
    let place = field.place();
    let empty = Spanned::new(place.span.clone(), DeValue::Table(DeTable::new()));
    T::from_file(&empty, place, notes)
}

/// A setup without the mistakes that a section of a wrong type explains.
fn mean(told: &told::File, notes: &mut Notes, load: motor::Load<'_>) -> Option<Setup> {
    match &told.setup_version {
        Field::Is(at) if at.value != 1 => {
            let hint = (at.value > 1).then(|| "the file is for a newer program".to_owned());
            notes.refuse(&at.at, "1, the version that this program reads", at.value.to_string(), hint);
        }
        Field::Absent(place) => notes.default(place, "1", ()),
        _ => {}
    }
    let (Some(told_site), Some(told_weather), Some(told_vehicle), Some(told_motor)) = (
        section(&told.site, notes),
        section(&told.weather, notes),
        section(&told.vehicle, notes),
        section(&told.motor, notes),
    ) else {
        return None;
    };
    let pad = site::mean(&told_site, weather::station_pressure_hpa(&told_weather), notes);
    let areas = area::mean(told_site.areas.list(), &pad, notes);
    let (air, wind_source) = weather::mean(&told_weather, &pad, notes);
    let (vehicle_name, flown) = vehicle::mean(&told_vehicle, notes);
    let motors = motor::mean(&told_motor, told.upper_motors.list(), &flown, notes, load);

    let bodies = body::gather(told.bodies.list(), &vehicle_name, told.bodies.place(), notes);
    let cues = cue::gather(told.cues.list(), notes);
    let given = Flown {
        vehicle: &flown,
        motors: &motors,
        density_kg_m3: standard::density_kg_m3(air.pressure_pa, air.temperature_k),
        gravity_mps2: standard::gravity_mps2(pad.site.latitude_rad, pad.site.elevation_m),
    };
    let (mut meant_bodies, transmitters) = body::mean(&bodies, &cues, &given, notes);
    let meant_cues = cue::mean(&cues, &bodies.names, &meant_bodies, &motors, notes);

    let preparation = preparation::mean(told, &told_vehicle, &told_motor, &bodies, cues.told, notes);

    let (mut layouts, told_as) = layout::mean(told.layouts.list(), &bodies.names, notes);
    // A layout of a fixed body, or of the vehicle alone, is a radio of that body.
    for layout in &layouts {
        let numbered = field::all(layout).any(|meaning| meaning == Meaning::Transmitter);
        let body = layout.body.or_else(|| (!numbered).then_some(0));
        if let Some(body) = body.and_then(|index| meant_bodies.get_mut(index)) {
            body.has_transmitter = true;
        }
    }
    if !pad.located {
        located(told.layouts.list(), &layouts, &told_as, notes);
    }
    let (receivers, links) = link::mean(
        told.receivers.list(),
        told.links.list(),
        told.layouts.list(),
        &mut layouts,
        &told_as,
        notes,
    );
    let wrong = [
        told.site.wrong(),
        told.weather.wrong(),
        told.vehicle.wrong(),
        told.motor.wrong(),
        told.limits.wrong(),
    ];
    notes.mistakes.retain(|m| !m.missing || !wrong.iter().flatten().any(|key| m.key.starts_with(key)));
    Some(Setup {
        vehicle_name,
        site_name: pad.name,
        plan: Plan {
            site: pad.site,
            weather: air,
            vehicle: flown,
            motors,
            bodies: meant_bodies,
            cues: meant_cues,
        },
        transmitters,
        areas,
        wind_source,
        receivers,
        links,
        layouts,
        preparation,
        defaults: Vec::new(),
    })
}

/// A position in the packets needs the position of the pad.
fn located(
    told: &[At<told::Layout>],
    layouts: &[loftwatch_radio::Layout],
    told_as: &[usize],
    notes: &mut Notes,
) {
    let uses = layouts
        .iter()
        .position(|l| field::all(l).any(|m| matches!(m, Meaning::Latitude | Meaning::Longitude)));
    if let Some(layout) = uses.and_then(|index| told.get(told_as[index])) {
        let place = Place { key: "site.latitude_deg".to_owned(), span: layout.at.span.clone() };
        let hint = "write latitude_deg and longitude_deg of the pad under [site]".to_owned();
        notes.missing(&place, "the pad's position, as this layout has positions", Some(hint));
    }
}
