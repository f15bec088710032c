//! The setup as told: close to the file, everything optional, each value with its place.

use crate::tree::{At, Count, Is, Length, Names, told};

told! {
    /// The whole file.
    File {
        setup_version as "setup_version": i64,
        site as "site": Site,
        weather as "weather": Weather,
        vehicle as "vehicle": Vehicle,
        motor as "motor": Motor,
        upper_motors as "upper_motor": Vec<At<UpperMotor>>,
        bodies as "body": Vec<At<Body>>,
        cues as "cue": Vec<At<Cue>>,
        receivers as "receiver": Vec<At<Receiver>>,
        links as "link": Vec<At<Link>>,
        layouts as "layout": Vec<At<Layout>>,
        limits as "limits": Limits,
        checklist as "checklist": Vec<At<Step>>,
    }
    /// `[site]`
    Site {
        name as "name": String,
        latitude_deg as "latitude_deg": f64,
        longitude_deg as "longitude_deg": f64,
        elevation_m as "elevation_m": f64,
        geoid_above_ellipsoid_m as "geoid_above_ellipsoid_m": f64,
        areas as "area": Vec<At<Area>>,
    }
    /// `[[site.area]]`
    Area {
        name as "name": String,
        kind as "kind": String,
        points_m as "points_m": Vec<At<[f64; 2]>>,
        points_deg as "points_deg": Vec<At<[f64; 2]>>,
        closed as "closed": bool,
    }
    /// `[weather]`
    Weather {
        station_pressure_hpa as "station_pressure_hpa": f64,
        temperature_c as "temperature_c": f64,
        wind_mps as "wind_mps": f64,
        wind_from_deg as "wind_from_deg": f64,
        wind_height_m as "wind_height_m": f64,
        wind_source as "wind_source": String,
        wind_spread_mps as "wind_spread_mps": f64,
    }
    /// `[vehicle]`
    Vehicle {
        name as "name": String,
        liftoff_mass_kg as "liftoff_mass_kg": f64,
        liftoff_mass_spread_percent as "liftoff_mass_spread_percent": f64,
        diameter_m as "diameter_m": f64,
        drag_coefficient as "drag_coefficient": f64,
        drag_spread_percent as "drag_spread_percent": f64,
        rail_guided_length_m as "rail_guided_length_m": f64,
        rail_tilt_from_vertical_deg as "rail_tilt_from_vertical_deg": f64,
        rail_azimuth_deg as "rail_azimuth_deg": f64,
        lean_spread_deg as "lean_spread_deg": f64,
        centre_of_gravity_m as "centre_of_gravity_m": f64,
        centre_of_pressure_m as "centre_of_pressure_m": f64,
        parts as "part": Vec<At<Part>>,
    }
    /// `[[vehicle.part]]`
    Part {
        name as "name": String,
        mass_kg as "mass_kg": f64,
    }
    /// `[motor]`
    Motor {
        total_impulse_ns as "total_impulse_ns": f64,
        impulse_spread_percent as "impulse_spread_percent": f64,
        burn_time_s as "burn_time_s": f64,
        propellant_mass_kg as "propellant_mass_kg": f64,
        thrust_curve as "thrust_curve": String,
        thrust_points as "thrust_points": Vec<At<[f64; 2]>>,
        cluster as "cluster": i64,
    }
    /// `[[upper_motor]]`
    UpperMotor {
        total_impulse_ns as "total_impulse_ns": f64,
        impulse_spread_percent as "impulse_spread_percent": f64,
        burn_time_s as "burn_time_s": f64,
        propellant_mass_kg as "propellant_mass_kg": f64,
        thrust_curve as "thrust_curve": String,
        thrust_points as "thrust_points": Vec<At<[f64; 2]>>,
        ignition_after_burnout_s as "ignition_after_burnout_s": f64,
        ignition_spread_s as "ignition_spread_s": f64,
        dropped_mass_kg as "dropped_mass_kg": f64,
        drag_coefficient as "drag_coefficient": f64,
        drag_spread_percent as "drag_spread_percent": f64,
        diameter_m as "diameter_m": f64,
    }
    /// `[[body]]`
    Body {
        name as "name": String,
        parent as "parent": String,
        freed_by as "freed_by": String,
        transmitter as "transmitter": i64,
        mass_kg as "mass_kg": f64,
        drag_area_m2 as "drag_area_m2": f64,
        battery_least_v as "battery_least_v": f64,
        gnss_greatest_height_m as "gnss_greatest_height_m": f64,
        gnss_greatest_speed_mps as "gnss_greatest_speed_mps": f64,
        gnss_greatest_acceleration_g as "gnss_greatest_acceleration_g": f64,
        gnss_dynamics as "gnss_dynamics": String,
        descents as "descent": Vec<At<Descent>>,
    }
    /// `[[body.descent]]`
    Descent {
        state as "state": String,
        cue as "cue": String,
        drag_area_m2 as "drag_area_m2": f64,
        rate_mps as "rate_mps": f64,
        spread_percent as "spread_percent": f64,
    }
    /// `[[cue]]`
    Cue {
        name as "name": String,
        kind as "kind": String,
        body as "body": String,
        when as "when": String,
        value as "value": f64,
        of as "of": String,
        delay_s as "delay_s": f64,
        spread_s as "spread_s": f64,
        limit_airspeed_mps as "limit_airspeed_mps": f64,
        limit_dynamic_pressure_pa as "limit_dynamic_pressure_pa": f64,
        limit_opening_load_n as "limit_opening_load_n": f64,
        limit_from as "limit_from": String,
        mass_kg as "mass_kg": f64,
        lag_s as "lag_s": f64,
        lag_spread_s as "lag_spread_s": f64,
    }
    /// `[limits]`
    Limits {
        heard_within_s as "heard_within_s": f64,
        satellites_least as "satellites_least": f64,
        dilution_most as "dilution_most": f64,
        fix_within_m as "fix_within_m": f64,
        pressure_within_hpa as "pressure_within_hpa": f64,
        upright_within_deg as "upright_within_deg": f64,
        storage_least_percent as "storage_least_percent": f64,
        steady_for_s as "steady_for_s": f64,
        thrust_to_weight_least as "thrust_to_weight_least": f64,
        rail_exit_least_mps as "rail_exit_least_mps": f64,
        rail_tilt_most_deg as "rail_tilt_most_deg": f64,
        wind_most_mps as "wind_most_mps": f64,
        attack_most_deg as "attack_most_deg": f64,
        stability_least as "stability_least": f64,
        drogue_most_mps as "drogue_most_mps": f64,
        landing_most_mps as "landing_most_mps": f64,
        landing_most_j as "landing_most_j": f64,
        ceiling_m as "ceiling_m": f64,
        ceiling_above as "ceiling_above": String,
        ceiling_window as "ceiling_window": String,
        ceiling_authority as "ceiling_authority": String,
    }
    /// `[[checklist]]`
    Step {
        step as "step": String,
        who as "who": String,
    }
    /// `[[receiver]]`
    Receiver {
        name as "name": String,
    }
    /// `[[link]]`
    Link {
        name as "name": String,
        receiver as "receiver": String,
        kind as "kind": String,
        path as "path": String,
        baud as "baud": i64,
        data_bits as "data_bits": i64,
        parity as "parity": String,
        stop_bits as "stop_bits": i64,
        flow as "flow": String,
        connect as "connect": String,
        listen as "listen": String,
        allow_network as "allow_network": bool,
        key_file as "key_file": String,
        datagrams as "datagrams": bool,
        delay_s as "delay_s": f64,
        layouts as "layouts": Vec<At<String>>,
        added as "added": Vec<At<LayoutField>>,
        added_at as "added_at": String,
        framing as "framing": Framing,
    }
    /// `[link.framing]`
    Framing {
        kind as "kind": String,
        checksum as "checksum": String,
        crc as "crc": String,
        crc_order as "crc_order": String,
        crc_covers as "crc_covers": String,
        sync as "sync": String,
        length as "length": Length,
        length_counts as "length_counts": String,
        max_length as "max_length": i64,
    }
    /// `[[layout]]`
    Layout {
        name as "name": String,
        kind as "kind": String,
        byte_order as "byte_order": String,
        length as "length": i64,
        body as "body": String,
        rate_hz as "rate_hz": f64,
        separator as "separator": String,
        starts_with as "starts_with": String,
        envelope as "envelope": String,
        from as "from": String,
        position_from as "position_from": String,
        velocity_from as "velocity_from": String,
        fields as "field": Vec<At<LayoutField>>,
        case_of as "case_of": String,
        cases as "case": Vec<At<Case>>,
    }
    /// `[[layout.case]]`
    Case {
        name as "name": String,
        is as "is": Is,
        length as "length": i64,
        fields as "field": Vec<At<LayoutField>>,
    }
    /// `[[layout.field]]`
    LayoutField {
        name as "name": String,
        kind as "type": String,
        bytes as "bytes": i64,
        byte_order as "byte_order": String,
        means as "means": String,
        unit as "unit": String,
        scale as "scale": f64,
        offset as "offset": f64,
        is as "is": Is,
        missing as "missing": f64,
        channel as "channel": String,
        values as "values": Names,
        bits as "bits": Vec<At<Bits>>,
        key as "key": String,
        count as "count": Count,
        most as "most": i64,
        group as "group": String,
        delta as "delta": String,
        every_s as "every_s": f64,
        timed as "timed": String,
    }
    /// One entry of `bits`.
    Bits {
        name as "name": String,
        bit as "bit": i64,
        width as "width": i64,
        signed as "signed": bool,
        scale as "scale": f64,
        offset as "offset": f64,
        unit as "unit": String,
        means as "means": String,
        missing as "missing": f64,
        channel as "channel": String,
        values as "values": Names,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The file that the other tests are made of must not forget a key.
    #[test]
    fn the_full_setup_holds_every_key() {
        let full = include_str!("../tests/full.toml");
        let sections: [&[&str]; 20] = [
            File::KEYS,
            Site::KEYS,
            Area::KEYS,
            Weather::KEYS,
            Vehicle::KEYS,
            Motor::KEYS,
            UpperMotor::KEYS,
            Body::KEYS,
            Descent::KEYS,
            Cue::KEYS,
            Receiver::KEYS,
            Link::KEYS,
            Framing::KEYS,
            Layout::KEYS,
            Case::KEYS,
            LayoutField::KEYS,
            Bits::KEYS,
            Part::KEYS,
            Limits::KEYS,
            Step::KEYS,
        ];
        for key in sections.concat() {
            let there = [
                format!("\n{key} = "),
                format!("[{key}]"),
                format!(".{key}]"),
                format!("{{ {key} = "),
                format!(", {key} = "),
            ]
            .iter()
            .any(|way| full.contains(way));
            assert!(there, "{key}");
        }
    }
}
