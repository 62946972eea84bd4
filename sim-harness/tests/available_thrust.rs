//! Available thrust under load against the plant, held still at its commands until nothing changes, and against a closed form.

use std::path::Path;

use evenkeel::available_thrust::{AvailableThrust, Feed};
use evenkeel::craft::{Battery, Craft, Inflow, PropellerTable};
use evenkeel::file::read_craft;
use evenkeel::plant::{Plant, PlantState, full_speed_rad_s, speed_share};
use evenkeel::script::World;

/// Thrust and voltage against the plant, relative.
const PLANT_TOL: f64 = 1.0e-6;
/// Rounding of a root.
const EXACT_TOL: f64 = 1.0e-10;
/// Many lags of the slowest rotor.
const SETTLED_S: f64 = 4.0;
const STEP_S: f64 = 2.0e-3;
const HIGH_M: f64 = 100.0;
const ANCHORED: f64 = 1e9;
const CRAFTS: u64 = 60;

fn demo(name: &str) -> Craft {
    read_craft(Path::new(&format!("{}/crafts/{name}.toml", env!("CARGO_MANIFEST_DIR")))).unwrap()
}

/// A number in 0 to 1 that looks random and is the same in every run.
fn drawn(seed: u64, which: u64) -> f64 {
    let mixed = (1000 * seed + which + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    let mixed = (mixed ^ (mixed >> 29)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    (mixed ^ (mixed >> 32)) as f64 / u64::MAX as f64
}

/// A demo craft pulled out of shape, in one of three kinds of moving air, on a battery that sags by a few hundredths to a third.
fn drawn_craft(seed: u64) -> Craft {
    let mut craft = demo(["quad", "six", "eight"][(seed % 3) as usize]);
    let at = |which: u64| drawn(seed, which);
    let inflow = match seed % 4 {
        0 => Inflow::Ignored,
        1 => Inflow::Table(PropellerTable {
            advance_ratio: vec![0.0, 0.2, 0.4, 0.7],
            thrust_coefficient: vec![0.11, 0.10, 0.07, 0.01],
            power_coefficient: vec![0.05, 0.05, 0.045, 0.02],
        }),
        _ => Inflow::Momentum,
    };
    let lopsided = if seed.is_multiple_of(2) { 0.0 } else { 0.15 };
    for (k, rotor) in craft.rotors.iter_mut().enumerate() {
        let off = |which: u64| lopsided * (2.0 * drawn(seed, 100 + 10 * k as u64 + which) - 1.0);
        rotor.position_m[0] *= 1.0 + off(0);
        rotor.position_m[1] *= 1.0 + off(1);
        rotor.thrust_max_n *= 1.0 + off(2);
        let lean = [0.3 * off(3), 0.3 * off(4), -1.0];
        let length = lean.iter().map(|part| part * part).sum::<f64>().sqrt();
        rotor.axis = lean.map(|part| part / length);
        // Speeds must be those of the square law: the commands held below are worked out by it.
        rotor.thrust_curve = None;
        rotor.in_moving_air.inflow = inflow.clone();
        rotor.in_moving_air.diameter_m = Some(0.25 * (1.0 + at(0)));
        rotor.in_moving_air.drag_n_per_m_s = 0.02 * at(1);
    }
    let full_w: f64 =
        craft.rotors.iter().map(|rotor| rotor.torque_per_thrust_m * rotor.thrust_max_n * full_speed_rad_s(rotor)).sum();
    let full_v = 12.0 + 40.0 * at(2);
    craft.battery = Some(Battery {
        // So large that nothing of it is used while the plant is held.
        capacity_ah: 1e9 * (1.0 + at(3)),
        full_v,
        empty_v: full_v * (0.65 + 0.25 * at(4)),
        // The load of full command at full voltage would sink it by up to a third, were the current that of full voltage.
        resistance_ohm: (0.03 + 0.3 * at(5)) * full_v * full_v * 0.8 / full_w,
        efficiency: 0.6 + 0.3 * at(6),
        charge: 0.5 + 0.5 * at(7),
        voltage_curve: None,
    });
    craft
}

/// The plant at these commands, its body and charge held where they are, until nothing changes.
fn held(craft: &Craft, world: &World, feed: Feed, axial_m_s: f64, commands: &[f64]) -> (Vec<f64>, f64) {
    // So heavy, and without weight, that it keeps its speed within a step too.
    let mut anchored = craft.clone();
    anchored.body.mass_kg *= ANCHORED;
    anchored.body.inertia_kg_m2.iter_mut().flatten().for_each(|value| *value *= ANCHORED);
    let plant = Plant::new(&anchored, &World { gravity_m_s2: 0.0, ..world.clone() });
    let charge = craft.battery.as_ref().map_or(1.0, |battery| battery.charge);
    let mut start =
        PlantState { charge_used: charge - feed.charge, voltage_left: feed.voltage_left, ..PlantState::default() };
    start.position_m.z = -HIGH_M;
    start.velocity_m_s.z = -axial_m_s;
    let mut state = start.clone();
    for _ in 0..(SETTLED_S / STEP_S) as u32 {
        plant.advance(&mut state, commands, STEP_S);
        state = PlantState { rotor_speed: state.rotor_speed, ..start.clone() };
    }
    (plant.thrusts_n(&state)[..craft.rotors.len()].to_vec(), plant.voltage_share(&state))
}

#[test]
fn is_what_the_plant_gives_at_full_command_in_steady_state() {
    let world = World::default();
    let (mut sagged, mut short) = (0, 0);
    for seed in 0..CRAFTS {
        let craft = drawn_craft(seed);
        let available = AvailableThrust::of(&craft, &world).unwrap();
        let axial_m_s = if seed.is_multiple_of(5) { 0.0 } else { 6.0 * drawn(seed, 8) };
        for feed in [Feed::as_charged(&craft), Feed::near_empty(&craft), Feed::as_charged(&craft).collapsed_to(0.9)] {
            let most = available.most(feed, axial_m_s).unwrap_or_else(|| panic!("craft {seed}: nothing"));
            // Rotors that torque balance holds below their ceilings are commanded as far as they go.
            let command = |(rotor, n): (&evenkeel::craft::Rotor, &f64)| {
                let share =
                    speed_share(rotor, *n, -rotor.axis[2] * axial_m_s, world.air_density_kg_m3) / most.voltage_share;
                if share > 1.0 - 1.0e-9 { 1.0 } else { share }
            };
            let commands: Vec<f64> = craft.rotors.iter().zip(&most.thrusts_n).map(command).collect();
            short += commands.iter().filter(|command| **command < 0.99).count();
            assert!(commands.contains(&1.0), "craft {seed}: no rotor at full command: {commands:?}");
            let (thrusts_n, voltage_share) = held(&craft, &world, feed, axial_m_s, &commands);
            let off = (voltage_share / most.voltage_share - 1.0).abs();
            assert!(off < PLANT_TOL, "craft {seed}: {} told, {voltage_share} held", most.voltage_share);
            for ((rotor, told), flown) in craft.rotors.iter().zip(&most.thrusts_n).zip(&thrusts_n) {
                assert!(
                    (told - flown).abs() < PLANT_TOL * rotor.thrust_max_n,
                    "craft {seed}: {told} told, {flown} held"
                );
            }
            let total: f64 = craft.rotors.iter().zip(&thrusts_n).map(|(rotor, n)| -rotor.axis[2] * n).sum();
            assert!(
                (total / most.thrust_n - 1.0).abs() < PLANT_TOL,
                "craft {seed}: {} told, {total} held",
                most.thrust_n
            );
            sagged += usize::from(voltage_share < 0.9);
        }
    }
    // Both must have been seen.
    assert!(sagged > 20 && short > 20, "{sagged} sagged, {short} rotors below full command");
}

#[test]
fn lesser_thrust_is_held_at_the_voltage_told_and_more_than_all_is_not_to_be_had() {
    let world = World::default();
    for seed in 0..CRAFTS {
        let craft = drawn_craft(seed);
        let available = AvailableThrust::of(&craft, &world).unwrap();
        let axial_m_s = 4.0 * drawn(seed, 9);
        let feed = Feed::as_charged(&craft);
        let most_n = available.most(feed, axial_m_s).unwrap().thrust_n;
        assert!(available.at_thrust(feed, axial_m_s, 1.001 * most_n).is_none(), "craft {seed}");
        for share in [0.4, 0.8, 0.97, 1.0 - 1.0e-7] {
            let load = available.at_thrust(feed, axial_m_s, share * most_n).unwrap();
            let speed = |(rotor, n): (&evenkeel::craft::Rotor, &f64)| {
                speed_share(rotor, *n, -rotor.axis[2] * axial_m_s, world.air_density_kg_m3) / load.voltage_share
            };
            let commands: Vec<f64> = craft.rotors.iter().zip(&load.thrusts_n).map(speed).collect();
            assert!(
                commands.iter().all(|command| *command <= 1.0 + PLANT_TOL),
                "craft {seed} at {share}: {commands:?}"
            );
            let (thrusts_n, voltage_share) = held(&craft, &world, feed, axial_m_s, &commands);
            assert!((voltage_share / load.voltage_share - 1.0).abs() < PLANT_TOL, "craft {seed} at {share}");
            let total: f64 = craft.rotors.iter().zip(&thrusts_n).map(|(rotor, n)| -rotor.axis[2] * n).sum();
            assert!((total / (share * most_n) - 1.0).abs() < PLANT_TOL, "craft {seed} at {share}: {total} held");
        }
    }
}

/// Source: closed form. All rotors of a regular craft turn at u of full speed Ω and take P = P₁·u³, P₁ = N·k·f_max·Ω/η. With
/// V = F·u, F the full voltage, V² − E·V + P·R = 0 becomes P₁·R·u² + F²·u − E·F = 0.
#[test]
fn meets_the_quadratic_of_a_regular_craft_in_still_air() {
    let mut craft = demo("quad");
    for (resistance_ohm, charge) in [(0.01, 1.0), (0.05, 0.7), (0.3, 0.1)] {
        let battery = Battery {
            capacity_ah: 4.0,
            full_v: 16.8,
            empty_v: 13.2,
            resistance_ohm,
            efficiency: 0.75,
            charge,
            voltage_curve: None,
        };
        let open_v = 13.2 + charge * (16.8 - 13.2);
        craft.battery = Some(battery);
        let rotor = &craft.rotors[0];
        let full_w = 4.0 * rotor.torque_per_thrust_m * rotor.thrust_max_n * full_speed_rad_s(rotor) / 0.75;
        let (a, b, c) = (full_w * resistance_ohm, 16.8 * 16.8, -open_v * 16.8);
        let share = (-b + f64::sqrt(b * b - 4.0 * a * c)) / (2.0 * a);
        let world = World::default();
        let most = AvailableThrust::of(&craft, &world).unwrap().most(Feed::as_charged(&craft), 0.0).unwrap();
        assert!((most.voltage_share - share).abs() < EXACT_TOL, "{} for {share}", most.voltage_share);
        assert!((most.thrust_n - 32.0 * share * share).abs() < 32.0 * EXACT_TOL, "{}", most.thrust_n);
        assert!((most.power_w - full_w * share.powi(3)).abs() < 1.0e-8 * most.power_w, "{}", most.power_w);
        assert!((most.current_a - most.power_w / (16.8 * share)).abs() < 1.0e-8 * most.current_a, "{}", most.current_a);
    }
}

#[test]
fn is_that_of_the_file_where_no_battery_stands() {
    let (craft, world) = (demo("quad"), World::default());
    let available = AvailableThrust::of(&craft, &world).unwrap();
    let most = available.most(Feed::as_charged(&craft), 0.0).unwrap();
    assert!((most.thrust_n - 32.0).abs() < 32.0 * EXACT_TOL && most.voltage_share == 1.0 && most.current_a == 0.0);
    // Common practice: 0.8 of full voltage near empty.
    let empty = available.most(Feed::near_empty(&craft), 0.0).unwrap();
    assert!((empty.thrust_n - 0.64 * 32.0).abs() < 32.0 * EXACT_TOL, "{}", empty.thrust_n);
}
