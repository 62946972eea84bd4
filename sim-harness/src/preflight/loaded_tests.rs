//! Checks on crafts whose battery sinks under their own load: against the plant at full command, and each mend put back.

use super::{bench, flights, remedy};
use crate::available_thrust::with_stronger_rotors;
use crate::craft::{Battery, Craft};
use crate::demo;
use crate::onboard::Onboard;
use crate::plant::{Plant, PlantState};
use crate::saturation::{Picture, checks};
use crate::script::World;
use crate::verdict::{Check, FlightReport};

/// Reported thrust over weight against that of the plant.
const PLANT_TOL: f64 = 0.01;
const G_M_S2: f64 = 9.806_65;

/// A demo quad on a battery of four cells with this resistance.
fn on_battery(mass_kg: f64, resistance_ohm: f64) -> Craft {
    let mut craft = demo::quad().unwrap();
    craft.body.mass_kg = mass_kg;
    craft.battery = Some(Battery {
        capacity_ah: 4.0,
        full_v: 16.8,
        empty_v: 13.6,
        resistance_ohm,
        efficiency: 0.8,
        charge: 1.0,
        voltage_curve: None,
    });
    craft
}

/// Thrust over weight of the plant, all rotors at full command, its body held still, with this share of the charge used.
fn flown_thrust_to_weight(craft: &Craft, charge_used: f64, voltage_left: f64) -> f64 {
    let plant = Plant::new(craft, &World::default());
    let mut start = PlantState { charge_used, voltage_left, ..PlantState::default() };
    start.position_m.z = -50.0;
    let mut state = start.clone();
    for _ in 0..1000 {
        plant.advance(&mut state, &[1.0; 4], 0.002);
        state = PlantState { rotor_speed: state.rotor_speed, ..start.clone() };
    }
    let lift = craft.rotors.iter().zip(plant.thrusts_n(&state)).map(|(rotor, n)| -rotor.axis[2] * n);
    lift.sum::<f64>() / (craft.body.mass_kg * G_M_S2)
}

/// The checks at rest and that of the flight with a low battery, mends said.
fn checked(craft: &Craft) -> Vec<Check> {
    let world = World::default();
    let onboard = Onboard::<f32>::new(craft, world.gravity_m_s2).unwrap();
    let mut all = bench::checks(craft, &onboard);
    all.extend(checks(craft, &Picture::of(craft, &onboard, &world).unwrap()));
    let maiden = flights::all(craft, &onboard, &world).into_iter().find(|maiden| maiden.id == "battery-low").unwrap();
    let left = (maiden.judge)(&crate::recording::Recording::default()).swap_remove(0);
    let recording = crate::recording::Recording::default();
    let mut flown =
        [FlightReport { id: "battery-low", title: "t", asked: String::new(), checks: vec![left], recording }];
    remedy::say(craft, &onboard, &[], &mut flown);
    let [report] = flown;
    all.extend(report.checks);
    all
}

fn found<'a>(checks: &'a [Check], id: &str) -> &'a Check {
    checks.iter().find(|check| check.id == id).unwrap_or_else(|| panic!("no {id}"))
}

fn holds(craft: &Craft, id: &str) -> bool {
    found(&checked(craft), id).passes()
}

/// The number before these words.
fn figure(mend: &str, behind: &str) -> Option<f64> {
    mend.split(behind).next().filter(|before| before.len() < mend.len())?.split_whitespace().next_back()?.parse().ok()
}

/// Small and tired batteries: full voltage would give 2.04 weights and more, the pack feeds far fewer.
#[test]
fn thrust_to_weight_is_what_the_plant_gives_when_the_battery_is_small_or_tired() {
    for (mass_kg, resistance_ohm) in [(0.8, 0.08), (1.6, 0.06), (1.6, 0.15), (1.3, 0.3)] {
        let craft = on_battery(mass_kg, resistance_ohm);
        let all = checked(&craft);
        let told = found(&all, "bench.thrust_to_weight").value;
        let flown = flown_thrust_to_weight(&craft, 0.0, 1.0);
        assert!((told / flown - 1.0).abs() < PLANT_TOL, "{told} told, {flown} flown");
        assert!(told < 0.93 * 32.0 / (mass_kg * G_M_S2), "no sag to see: {told}");
        // After the sudden fall of voltage, and near empty: the lesser is told.
        let left = flown_thrust_to_weight(&craft, 0.0, 0.9).min(flown_thrust_to_weight(&craft, 1.0, 1.0));
        let told = found(&all, "battery-low.left").value;
        assert!((told / left - 1.0).abs() < PLANT_TOL, "{told} told, {left} left");
    }
}

/// 0.81 of the thrust at full voltage is 1.5 weights here; the plant is left with 1.14.
#[test]
fn craft_left_with_too_little_near_empty_falls_short() {
    let craft = on_battery(1.76, 0.055);
    let left = flown_thrust_to_weight(&craft, 1.0, 1.0);
    assert!(left > 1.0 && left < 1.16, "{left}");
    let full_n: f64 = craft.rotors.iter().map(|rotor| rotor.thrust_max_n).sum();
    assert!(0.81 * full_n / (craft.body.mass_kg * G_M_S2) > 1.45);
    assert!(!holds(&craft, "battery-low.left"));
}

#[test]
fn mends_of_thrust_hold_when_they_are_put_back() {
    for id in ["bench.thrust_to_weight", "battery-low.left", "saturation.aged_battery"] {
        let craft = on_battery(2.3, 0.06);
        let mend = found(&checked(&craft), id).mend.clone().unwrap_or_else(|| panic!("{id} did not fail"));
        let less_kg = figure(&mend, " kg").unwrap_or_else(|| panic!("{mend}"));
        let lighter = |less_kg: f64| {
            let mut lighter = craft.clone();
            lighter.body.mass_kg -= less_kg;
            lighter
        };
        assert!(holds(&lighter(less_kg), id) && !holds(&lighter(less_kg - 0.03), id), "{id}: {mend}");
        if let Some(more_n) = figure(&mend, " N more") {
            let times = 1.0 + more_n / 32.0;
            assert!(holds(&with_stronger_rotors(&craft, times), id), "{id}: {mend}");
            assert!(!holds(&with_stronger_rotors(&craft, times - 0.03), id), "{id}: {mend}");
        }
        if let Some(milliohm) = figure(&mend, " milliohm") {
            assert!(holds(&on_battery(2.3, 1e-3 * milliohm), id), "{id}: {mend}");
        }
    }
}

#[test]
fn mends_of_torque_hold_when_they_are_put_back() {
    let mut craft = on_battery(1.6, 0.1);
    craft.body.inertia_kg_m2 = [[0.8, 0.0, 0.0], [0.0, 0.9, 0.0], [0.0, 0.0, 1.2]];
    let all = checked(&craft);
    for (id, axis) in [("bench.roll_authority", 0), ("bench.pitch_authority", 1)] {
        let mend = found(&all, id).mend.as_ref().unwrap_or_else(|| panic!("{id} did not fail"));
        let mut longer = craft.clone();
        let times = figure(mend, " times as long").unwrap();
        longer
            .rotors
            .iter_mut()
            .for_each(|rotor| rotor.position_m.iter_mut().take(2).for_each(|place| *place *= times));
        assert!(holds(&longer, id), "{id}: {mend}");
        let mut slimmer = craft.clone();
        slimmer.body.inertia_kg_m2[axis][axis] *= figure(mend, " % of the inertia").unwrap() / 100.0;
        assert!(holds(&slimmer, id), "{id}: {mend}");
    }
    let mend = found(&all, "bench.yaw_authority").mend.as_ref().unwrap();
    let times = figure(mend, " times the reaction torque").unwrap();
    let mut twisting = craft.clone();
    twisting.rotors.iter_mut().for_each(|rotor| rotor.torque_per_thrust_m *= times);
    assert!(holds(&twisting, "bench.yaw_authority"), "{mend}");
    let mut slimmer = craft.clone();
    slimmer.body.inertia_kg_m2[2][2] = figure(mend, " kg m\u{b2}").unwrap();
    assert!(holds(&slimmer, "bench.yaw_authority"), "{mend}");
}

#[test]
fn battery_that_lasts_too_short_is_told_the_capacity_that_holds() {
    let mut craft = on_battery(1.6, 0.03);
    craft.battery.as_mut().unwrap().capacity_ah = 0.4;
    let mend = found(&checked(&craft), "bench.hover_time").mend.clone().expect("it did not fail");
    let capacity_ah = figure(&mend, " Ah").unwrap();
    let with = |capacity_ah: f64| {
        let mut with = craft.clone();
        with.battery.as_mut().unwrap().capacity_ah = capacity_ah;
        holds(&with, "bench.hover_time")
    };
    assert!(with(capacity_ah) && !with(capacity_ah - 0.02), "{mend}");
}
