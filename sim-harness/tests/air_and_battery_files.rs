//! The keys for air that moves, rotors in it, and the battery: what good files read as, what bad ones are told.

use evenkeel::craft::{Battery, Craft, GroundEffect, InMovingAir, Inflow, PropellerTable, VoltageCurve};
use evenkeel::file::{FileError, parse_craft, parse_flight};
use evenkeel::plant::full_speed_rad_s;
use evenkeel::script::{Flight, Gust, Turbulence, World};

const RING: &str = include_str!("files/ring.toml");
const LIST: &str = include_str!("files/list.toml");
const FLIGHT: &str = include_str!("files/flight.toml");
/// Rounding of a product.
const ROUNDING: f64 = 1e-15;

fn ring_with(rotors: &str, rest: &str) -> Result<Craft, FileError> {
    let text = RING.replace("thrust_max_n = 8.0", &format!("thrust_max_n = 8.0\n{rotors}"));
    parse_craft("ring.toml", &format!("{text}\n{rest}"))
}

fn flight_with(world: &str) -> Result<Flight, FileError> {
    let craft = parse_craft("ring.toml", RING).unwrap();
    parse_flight("flight.toml", &FLIGHT.replace("air_density_kg_m3 = 1.2", world), &craft)
}

#[test]
fn leaves_everything_as_it_was_when_no_new_key_stands() {
    let craft = parse_craft("ring.toml", RING).unwrap();
    assert!(craft.battery.is_none() && craft.ground_effect.is_none());
    assert!(craft.rotors.iter().all(|rotor| rotor.in_moving_air == InMovingAir::default()));
    assert_eq!(flight_with("").unwrap().world, World::default());
}

#[test]
fn reads_the_propeller_when_it_stands_for_all_or_for_one() {
    let own = "diameter_m = 0.25\ndrag_n_per_m_s = 0.02\ninflow = \"momentum\"";
    let craft = ring_with(own, "[ground_effect]\ndatum_height_m = 0.2\n").unwrap();
    assert_eq!(craft.ground_effect, Some(GroundEffect { datum_height_m: 0.2 }));
    let air = InMovingAir { diameter_m: Some(0.25), inflow: Inflow::Momentum, drag_n_per_m_s: 0.02 };
    assert!(craft.rotors.iter().all(|rotor| rotor.in_moving_air == air));
    // A table stands before momentum theory.
    let tabled = "propeller = { advance_ratio = [0.0, 0.5], thrust_coefficient = [0.1, 0.05], power_coefficient = [0.05, 0.04] }";
    let craft = ring_with(&format!("{own}\n{tabled}"), "").unwrap();
    let table = PropellerTable {
        advance_ratio: vec![0.0, 0.5],
        thrust_coefficient: vec![0.1, 0.05],
        power_coefficient: vec![0.05, 0.04],
    };
    assert_eq!(craft.rotors[2].in_moving_air.inflow, Inflow::Table(table));
    let one = LIST.replace("thrust_max_n = 9.0", "thrust_max_n = 9.0\ndiameter_m = 0.3");
    let craft = parse_craft("list.toml", &one).unwrap();
    let sized: Vec<Option<f64>> = craft.rotors.iter().map(|rotor| rotor.in_moving_air.diameter_m).collect();
    assert_eq!(sized.iter().flatten().count(), 1);
}

#[test]
fn keeps_speed_and_torque_when_a_rotor_is_in_the_wake_of_another() {
    let text = RING.replace("arm_m = 0.25", "arm_m = 0.25\ncoaxial = true\nlower_thrust_share = 0.8");
    let craft = parse_craft("ring.toml", &text).unwrap();
    let (upper, lower) = craft.rotors.split_at(4);
    for (upper, lower) in upper.iter().zip(lower) {
        assert_eq!((lower.thrust_max_n, lower.thrust_min_n), (upper.thrust_max_n * 0.8, upper.thrust_min_n * 0.8));
        let torque = |rotor: &evenkeel::craft::Rotor| rotor.thrust_max_n * rotor.torque_per_thrust_m;
        assert!((torque(lower) / torque(upper) - 1.0).abs() <= ROUNDING);
        assert_eq!(full_speed_rad_s(lower), full_speed_rad_s(upper));
    }
    let one = LIST.replace("thrust_max_n = 9.0", "thrust_max_n = 9.0\nthrust_share = 0.5");
    let halved = parse_craft("list.toml", &one).unwrap();
    assert_eq!(halved.rotors.iter().filter(|rotor| rotor.thrust_max_n == 4.5).count(), 1);
}

#[test]
fn reads_the_battery_when_its_ends_or_its_curve_stand() {
    let straight = "[battery]\ncapacity_ah = 5.0\nfull_v = 16.8\nempty_v = 13.2\nresistance_ohm = 0.02\n";
    let battery = Battery {
        capacity_ah: 5.0,
        full_v: 16.8,
        empty_v: 13.2,
        resistance_ohm: 0.02,
        efficiency: 0.8,
        charge: 1.0,
        voltage_curve: None,
    };
    assert_eq!(ring_with("", straight).unwrap().battery, Some(battery.clone()));
    let curved = "[battery]\ncapacity_ah = 5.0\nresistance_ohm = 0.02\ncharge = 0.4\nefficiency = 0.7\n\
                  voltage_curve = { charge = [0.0, 0.2, 1.0], voltage_v = [13.2, 14.8, 16.8] }\n";
    let voltage_curve = Some(VoltageCurve { charge: vec![0.0, 0.2, 1.0], voltage_v: vec![13.2, 14.8, 16.8] });
    let expected = Battery { charge: 0.4, efficiency: 0.7, voltage_curve, ..battery };
    assert_eq!(ring_with("", curved).unwrap().battery, Some(expected));
}

const PACK: &str = "[battery]\ncapacity_ah = 5.0\nfull_v = 16.8\nempty_v = 13.2\nresistance_ohm = 0.02\n";

/// Speed goes with voltage and thrust with its square: common practice, as in docs/plant.md.
#[test]
fn takes_thrust_speed_and_drag_to_full_voltage_when_they_were_measured_at_another() {
    let measured = "speed_max_rad_s = 900.0\ndrag_n_per_m_s = 0.02\nthrust_max_at_v = 14.0";
    let (craft, as_typed) = (ring_with(measured, PACK).unwrap(), ring_with("", PACK).unwrap());
    for (rotor, typed) in craft.rotors.iter().zip(&as_typed.rotors) {
        let near = |value: f64, expected: f64| (value / expected - 1.0).abs() < 4.0 * ROUNDING;
        assert!(near(rotor.thrust_max_n, typed.thrust_max_n * 1.44), "{}", rotor.thrust_max_n);
        assert!(near(rotor.speed_max_rad_s.unwrap(), 1080.0) && near(rotor.in_moving_air.drag_n_per_m_s, 0.024));
        // The slowest safe spin is what was typed, whatever the voltage.
        assert_eq!((rotor.thrust_min_n, rotor.torque_per_thrust_m), (typed.thrust_min_n, typed.torque_per_thrust_m));
    }
    // At full voltage it changes nothing.
    assert_eq!(ring_with("thrust_max_at_v = 16.8", PACK).unwrap(), as_typed);
    // A rotor's own stands before the shared one, and a bench table goes with it.
    let own =
        "thrust_max_n = 9.0\nthrust_max_at_v = 15.0\nthrust_curve = { command = [0.2, 1.0], thrust_n = [1.0, 9.0] }";
    let craft = parse_craft("list.toml", &format!("{}\n{PACK}", LIST.replace("thrust_max_n = 9.0", own))).unwrap();
    let square = (16.8_f64 / 15.0).powi(2);
    let scaled =
        craft.rotors.iter().find(|rotor| (rotor.thrust_max_n - 9.0 * square).abs() < 1e-9).expect("one of them");
    let curve = scaled.thrust_curve.as_ref().unwrap();
    assert!((curve.thrust_n[0] - square).abs() < 1e-12 && curve.thrust_n[1] == scaled.thrust_max_n, "{curve:?}");
}

#[test]
fn says_what_is_wrong_when_the_voltage_of_the_thrust_is_no_voltage_of_the_battery() {
    let told = |keys: &str, rest: &str| ring_with(keys, rest).unwrap_err().to_string();
    assert!(told("thrust_max_at_v = 15.0", "").contains("must not stand without [battery]"));
    for wrong in ["8.3", "20.2", "4.2"] {
        let said = told(&format!("thrust_max_at_v = {wrong}"), PACK);
        assert!(said.contains("0.5 to 1.2") && said.contains("16.8 V") && said.contains("thrust_max_at_v"), "{said}");
    }
    for right in ["8.41", "20.1"] {
        assert!(ring_with(&format!("thrust_max_at_v = {right}"), PACK).is_ok(), "{right}");
    }
}

#[test]
fn reads_the_air_when_it_thins_and_moves() {
    let world = "ground_altitude_m = 1500.0\nturbulence = { wind_20ft_m_s = 7.7 }\n\
                 gust = [{ at_s = 5.0, velocity_m_s = [4.0, 0.0, 0.0], rise_s = 1.0 }, \
                 { at_s = 9.0, velocity_m_s = [0.0, 3.0, 0.0], rise_s = 0.5, hold_s = 2.0 }]";
    let gusts = vec![
        Gust { at_s: 5.0, velocity_m_s: [4.0, 0.0, 0.0], rise_s: 1.0, hold_s: None },
        Gust { at_s: 9.0, velocity_m_s: [0.0, 3.0, 0.0], rise_s: 0.5, hold_s: Some(2.0) },
    ];
    let expected = World {
        ground_altitude_m: Some(1500.0),
        turbulence: Some(Turbulence { wind_20ft_m_s: 7.7 }),
        gusts,
        ..World::default()
    };
    assert_eq!(flight_with(world).unwrap().world, expected);
    let headers = "[world.turbulence]\nwind_20ft_m_s = 7.7\n[[world.gust]]\nat_s = 5.0\nvelocity_m_s = [4.0, 0.0, 0.0]\nrise_s = 1.0";
    assert_eq!(flight_with(headers).unwrap().world.gusts, expected.gusts[..1]);
}

#[test]
fn says_what_is_wrong_when_a_craft_has_it() {
    let battery = |keys: &str| ring_with("", &format!("[battery]\ncapacity_ah = 5.0\nresistance_ohm = 0.02\n{keys}\n"));
    let propeller = |j: &str, ct: &str, cp: &str| {
        let table = format!("{{ advance_ratio = {j}, thrust_coefficient = {ct}, power_coefficient = {cp} }}");
        ring_with(&format!("propeller = {table}"), "")
    };
    let layout = |key: &str| parse_craft("ring.toml", &RING.replace("arm_m = 0.25", &format!("arm_m = 0.25\n{key}")));
    let cases = [
        battery(""),
        battery("full_v = 13.2\nempty_v = 16.8"),
        battery("full_v = 16.8\nvoltage_curve = { charge = [0.0, 1.0], voltage_v = [13.2, 16.8] }"),
        battery("voltage_curve = { charge = [0.0, 0.9], voltage_v = [13.2, 16.8] }"),
        battery("voltage_curve = { charge = [0.0, 0.5, 1.0], voltage_v = [13.2, 16.8] }"),
        battery("full_v = 16.8\nempty_v = 13.2\nefficiency = 80"),
        ring_with("", "[ground_effect]\n"),
        ring_with("inflow = \"momentun\"", ""),
        ring_with("drag_n_per_m_s = -0.1", ""),
        propeller("[0.1, 0.5]", "[0.1, 0.05]", "[0.05, 0.04]"),
        propeller("[0.0, 0.5]", "[0.0, 0.05]", "[0.05, 0.04]"),
        propeller("[0.0, 0.3, 0.5]", "[0.1, 0.05]", "[0.05, 0.04, 0.03]"),
        propeller("[0.0, 0.3, 0.2]", "[0.1, 0.05, 0.0]", "[0.05, 0.04, 0.03]"),
        layout("lower_thrust_share = 0.8"),
        layout("coaxial = true\nlower_thrust_share = 0.0"),
    ];
    insta::assert_snapshot!(cases.map(|case| case.unwrap_err().to_string()).join("\n\n"));
}

#[test]
fn says_what_is_wrong_when_a_flight_has_it() {
    let gust = "at_s = 5.0, velocity_m_s = [4.0, 0.0, 0.0]";
    let cases = [
        flight_with("air_density_kg_m3 = 1.2\nground_altitude_m = 100.0"),
        flight_with("ground_altitude_m = 100000.0"),
        flight_with("turbulence = \"light\""),
        flight_with("turbulence = {}"),
        flight_with(&format!("gust = {{ {gust}, rise_s = 1.0 }}")),
        flight_with(&format!("gust = [{{ {gust}, rise_s = 0.0 }}]")),
        flight_with(&format!("gust = [{{ {gust} }}]")),
        flight_with("gust = [{ at_s = 20.0, velocity_m_s = [4.0, 0.0, 0.0], rise_s = 1.0 }]"),
    ];
    insta::assert_snapshot!(cases.map(|case| case.unwrap_err().to_string()).join("\n\n"));
}
