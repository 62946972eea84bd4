//! Answers of the saturation picture against flight of the model.

use std::path::Path;

use evenkeel::craft::{Battery, Craft};
use evenkeel::file::read_craft;
use evenkeel::onboard::Onboard;
use evenkeel::recording::Recording;
use evenkeel::saturation::{DiscreteGust, Picture, empty_voltage_share};
use evenkeel::script::{Flight, Gust, Initial, Lateral, Leg, Vertical, World};
use evenkeel::simulation::fly;

/// Of the full voltage: what a hover in single precision swings by.
const VOLTAGE_TOL: f64 = 1e-3;
/// A gust is stood this far under the answer, and not held this far over it.
const UNDER: f64 = 0.95;
const OVER: f64 = 1.2;
/// What the estimate leans by moves a craft too; share of the strongest wind.
const SPEED_TOL: f64 = 0.02;
/// The answer leaves the craft's own speed out, which takes from the push: it is above by up to this share.
const CARRIED_TOL: f64 = 0.15;

const HEIGHT_M: f64 = 100.0;
const GUST_AT_S: f64 = 2.0;

fn demo(name: &str) -> Craft {
    read_craft(Path::new(&format!("{}/crafts/{name}.toml", env!("CARGO_MANIFEST_DIR")))).unwrap()
}

/// Rotors that drag in their plane by this at full speed; a common propeller of this size has a good part of it.
const ROTOR_DRAG_N_PER_M_S: f64 = 0.06;

/// The demos, and one with rotors that drag in their plane.
fn winded() -> Vec<(&'static str, Craft)> {
    let mut dragging = demo("quad");
    for rotor in &mut dragging.rotors {
        rotor.in_moving_air.drag_n_per_m_s = ROTOR_DRAG_N_PER_M_S;
    }
    vec![("quad", demo("quad")), ("eight", demo("eight")), ("quad with rotor drag", dragging)]
}

fn flown(craft: &Craft, world: World, legs: Vec<Leg>) -> Recording {
    let flight = Flight {
        name: "answer".into(),
        duration_s: legs.last().unwrap().until_s,
        log_period_s: 0.02,
        seed: 1,
        control: true,
        initial: Initial { position_m: [0.0, 0.0, -HEIGHT_M], ..Initial::default() },
        world,
        legs,
        faults: Vec::new(),
        expectations: Vec::new(),
    };
    let onboard = Onboard::<f32>::new(craft, flight.world.gravity_m_s2).unwrap();
    fly(craft, &flight, Some(&onboard), &|_| ()).unwrap()
}

fn leg(until_s: f64, roll_rad: f64, pitch_rad: f64) -> Leg {
    let lateral = Lateral::Angles { roll_rad, pitch_rad, yaw_rate_rad_s: 0.0 };
    Leg { name: "leg".into(), until_s, vertical: Vertical::Height(HEIGHT_M), lateral }
}

/// Against the plant: the battery settles under the load of a hover that is flown; its charge is so large that it stays.
#[test]
fn voltage_near_empty_is_that_of_a_hover_on_an_empty_battery() {
    for (name, resistance_ohm) in [("quad", 0.15), ("six", 0.05), ("eight", 0.02)] {
        let mut craft = demo(name);
        craft.battery = Some(Battery {
            capacity_ah: 1e6,
            full_v: 25.2,
            empty_v: 20.4,
            resistance_ohm,
            efficiency: 0.8,
            charge: 0.0,
            voltage_curve: None,
        });
        let world = World::default();
        let told = empty_voltage_share(&craft, &world, craft.body.mass_kg * world.gravity_m_s2).unwrap();
        let recording = flown(&craft, world, vec![leg(8.0, 0.0, 0.0)]);
        let settled = recording.rows.last().unwrap().on_board.voltage_share;
        assert!((told - settled).abs() < VOLTAGE_TOL, "{name}: {told} told, {settled} flown");
        // The resistance counts: without it the answer would be this.
        assert!(20.4 / 25.2 - settled > 3.0 * VOLTAGE_TOL, "{name}: {settled}");
    }
}

/// North (from ahead) or east (from the side) speed with the gust at each second's end: at the rise's end, and at last.
fn gusted(craft: &Craft, gust: &DiscreteGust, tilt_rad: f64, share: f64) -> (f64, f64) {
    let ahead = gust.from == "ahead";
    // Air from ahead moves south; from the left side it moves east.
    let peak_m_s = share * gust.peak_m_s;
    let velocity_m_s = if ahead { [-peak_m_s, 0.0, 0.0] } else { [0.0, peak_m_s, 0.0] };
    let gusts = vec![Gust { at_s: GUST_AT_S, velocity_m_s, rise_s: gust.rise_s, hold_s: None }];
    let (roll, pitch) = if ahead { (0.0, -tilt_rad) } else { (-tilt_rad, 0.0) };
    let risen_s = GUST_AT_S + gust.rise_s;
    let recording =
        flown(craft, World { gusts, ..World::default() }, vec![leg(risen_s, 0.0, 0.0), leg(60.0, roll, pitch)]);
    let downwind = |row: &evenkeel::recording::Row| if ahead { -row.velocity_m_s[0] } else { row.velocity_m_s[1] };
    let risen = recording.rows.iter().rfind(|row| row.t_s <= risen_s + 1e-9).unwrap();
    (downwind(risen), downwind(recording.rows.last().unwrap()))
}

/// Leaned as far as it may, it gains on a gust just under the answer and is carried off by one well above; as fast as the
/// two winds differ.
#[test]
fn gust_just_under_the_answer_is_stood_and_one_well_above_is_not_held() {
    for (name, craft) in winded() {
        let world = World::default();
        let onboard = Onboard::<f32>::new(&craft, world.gravity_m_s2).unwrap();
        let picture = Picture::of(&craft, &onboard, &world).unwrap();
        assert_eq!(picture.answers.gusts.len(), 2);
        for (gust, wind) in picture.answers.gusts.iter().zip(&picture.answers.wind) {
            for share in [UNDER, OVER] {
                let (_, last) = gusted(&craft, gust, wind.tilt_rad, share);
                assert_eq!(last > 0.0, share > 1.0, "{name}, {}: carried at {last} m/s", gust.from);
                let expected = (share - 1.0) * gust.peak_m_s;
                assert!(
                    (last - expected).abs() < SPEED_TOL * gust.peak_m_s,
                    "{name}, {}: {last} for {expected}",
                    gust.from
                );
            }
        }
    }
}

#[test]
fn level_craft_is_carried_by_a_rising_gust_no_faster_than_told() {
    for (name, craft) in winded() {
        let world = World::default();
        let onboard = Onboard::<f32>::new(&craft, world.gravity_m_s2).unwrap();
        for gust in Picture::of(&craft, &onboard, &world).unwrap().answers.gusts {
            let (risen, _) = gusted(&craft, &gust, 0.0, 1.0);
            let share = risen / gust.carried_m_s;
            assert!(
                share < 1.0 && share > 1.0 - CARRIED_TOL,
                "{name}, {}: {risen} of {} m/s",
                gust.from,
                gust.carried_m_s
            );
        }
    }
}

/// By more than the flight above tells apart, so that an answer without the rotors' part fails there.
#[test]
fn drag_of_the_rotors_takes_from_the_wind_that_is_stood() {
    let winds: Vec<_> = winded()
        .iter()
        .map(|(_, craft)| {
            let world = World::default();
            let onboard = Onboard::<f32>::new(craft, world.gravity_m_s2).unwrap();
            Picture::of(craft, &onboard, &world).unwrap().answers.wind
        })
        .collect();
    for (without, with) in winds[0].iter().zip(&winds[2]) {
        assert!(with.speed_m_s < without.speed_m_s / (1.0 + OVER - UNDER), "{with:?} against {without:?}");
    }
}
