//! What the picture says of thrust under load, against flights: the wind stood, and the heaviest take-off.

use std::path::Path;

use evenkeel::craft::{Battery, Craft, Inflow};
use evenkeel::file::read_craft;
use evenkeel::onboard::Onboard;
use evenkeel::plant::{Plant, PlantState};
use evenkeel::saturation::{Picture, SteadyWind};
use evenkeel::script::{Flight, Initial, Lateral, Leg, Vertical, World};
use evenkeel::simulation::fly;

const HEIGHT_M: f64 = 100.0;
/// Wind flown, over the one told.
const UNDER: f64 = 0.97;
const OVER: f64 = 1.05;
/// The wind is there at once: by now the pilot has trimmed it out.
const SETTLED_S: f64 = 90.0;
const END_S: f64 = 120.0;
/// A craft that holds its place in the last half minute.
const HEIGHT_TOL_M: f64 = 0.5;
const SPEED_TOL_M_S: f64 = 0.2;
/// Thrust over weight at full command, against the plant.
const THRUST_TOL: f64 = 1.0e-6;

/// A demo craft with rotors that feel the air through them, on a battery that sags and lasts for ever.
fn loaded(name: &str, mass_kg: f64, resistance_ohm: f64) -> Craft {
    let path = format!("{}/crafts/{name}.toml", env!("CARGO_MANIFEST_DIR"));
    let mut craft = read_craft(Path::new(&path)).unwrap();
    craft.body.mass_kg = mass_kg;
    for rotor in &mut craft.rotors {
        rotor.in_moving_air.inflow = Inflow::Momentum;
    }
    craft.battery = Some(Battery {
        capacity_ah: 1e6,
        full_v: 25.2,
        empty_v: 20.4,
        resistance_ohm,
        efficiency: 0.8,
        charge: 1.0,
        voltage_curve: None,
    });
    craft
}

fn picture(craft: &Craft) -> Picture {
    let world = World::default();
    Picture::of(craft, &Onboard::<f32>::new(craft, world.gravity_m_s2).unwrap(), &world).unwrap()
}

/// Height most off, and ground speed most, in the last half minute in this wind.
fn stood(craft: &Craft, wind: &SteadyWind, share: f64) -> (f64, f64) {
    let speed_m_s = share * wind.speed_m_s;
    let wind_m_s = if wind.from == "ahead" { [-speed_m_s, 0.0, 0.0] } else { [0.0, speed_m_s, 0.0] };
    let lateral = Lateral::Velocity([0.0; 2]);
    let flight = Flight {
        name: "wind".into(),
        duration_s: END_S,
        log_period_s: 0.1,
        seed: 1,
        control: true,
        initial: Initial { position_m: [0.0, 0.0, -HEIGHT_M], ..Initial::default() },
        world: World { wind_m_s, ..World::default() },
        legs: vec![Leg { name: "hold".into(), until_s: END_S, vertical: Vertical::Height(HEIGHT_M), lateral }],
        faults: Vec::new(),
        expectations: Vec::new(),
    };
    let onboard = Onboard::<f32>::new(craft, flight.world.gravity_m_s2).unwrap();
    let recording = fly(craft, &flight, Some(&onboard), &|_| ()).unwrap();
    let most = |value: &dyn Fn(&evenkeel::recording::Row) -> f64| {
        recording.rows.iter().filter(|row| row.t_s > SETTLED_S).map(value).fold(0.0, f64::max)
    };
    (most(&|row| (row.height_m() - HEIGHT_M).abs()), most(&|row| row.ground_speed_m_s()))
}

#[test]
fn wind_just_under_the_answer_is_stood_and_one_just_above_is_not_where_thrust_is_the_limit() {
    for (name, mass_kg, resistance_ohm) in [("quad", 2.2, 0.06), ("six", 6.3, 0.02)] {
        let mut craft = loaded(name, mass_kg, resistance_ohm);
        // More tilt than the thrust allows.
        craft.limits.tilt_rad = Some(0.6);
        for wind in &picture(&craft).answers.wind {
            assert_eq!(wind.limited_by, "thrust", "{name}: {wind:?}");
            let (height_m, speed_m_s) = stood(&craft, wind, UNDER);
            let held = height_m < HEIGHT_TOL_M && speed_m_s < SPEED_TOL_M_S;
            assert!(held, "{name}: {wind:?}: {height_m} m and {speed_m_s} m/s off under the answer");
            let (height_m, speed_m_s) = stood(&craft, wind, OVER);
            let held = height_m < HEIGHT_TOL_M && speed_m_s < SPEED_TOL_M_S;
            assert!(!held, "{name}: {wind:?}: {height_m} m and {speed_m_s} m/s off over the answer");
        }
    }
}

/// The plant with the mass told, at full command, held still: 1.5 weights, no more and no less where thrust forbids more.
#[test]
fn heaviest_take_off_has_the_thrust_stated_when_it_is_flown() {
    for (name, mass_kg, resistance_ohm) in [("quad", 1.2, 0.1), ("eight", 7.0, 0.01)] {
        let craft = loaded(name, mass_kg, resistance_ohm);
        let heaviest = picture(&craft).answers.heaviest.expect("it has the stated authority");
        assert!(heaviest.mass_kg > mass_kg);
        let plant = Plant::new(&craft, &World::default());
        let mut start = PlantState::default();
        start.position_m.z = -HEIGHT_M;
        let mut state = start.clone();
        for _ in 0..2000 {
            plant.advance(&mut state, &[1.0; 16], 0.002);
            state = PlantState { rotor_speed: state.rotor_speed, ..start.clone() };
        }
        let most_n: f64 = plant.thrusts_n(&state).iter().sum();
        let weights = most_n / (heaviest.mass_kg * World::default().gravity_m_s2);
        match heaviest.limited_by {
            "thrust to weight" => assert!((weights / 1.5 - 1.0).abs() < THRUST_TOL, "{name}: {weights}"),
            _ => assert!(weights > 1.5, "{name}: {weights}"),
        }
        // At full voltage it would be this: what was told before.
        let full_n: f64 = craft.rotors.iter().map(|rotor| rotor.thrust_max_n).sum();
        assert!(heaviest.mass_kg < 0.95 * full_n / 1.5 / World::default().gravity_m_s2, "{name}: {heaviest:?}");
    }
}
