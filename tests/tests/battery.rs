//! The battery and the faults of battery and propeller, against closed forms.

use evenkeel::craft::{Battery, Craft, VoltageCurve};
use evenkeel::plant::{Plant, PlantState};
use evenkeel::script::World;
use evenkeel_tests::specimen::quad;

const AIR: World = World::uniform(0.0, 1.225, [0.0; 3]);
const FULL_SPEED_RAD_S: f64 = 800.0;
/// Rounding over thousands of steps.
const EXACT_TOL: f64 = 1e-11;

fn battery() -> Battery {
    Battery {
        capacity_ah: 0.5,
        full_v: 16.8,
        empty_v: 13.2,
        resistance_ohm: 0.05,
        efficiency: 0.75,
        charge: 0.9,
        voltage_curve: None,
    }
}

fn fed_by(battery: Battery) -> Craft {
    let mut craft = quad();
    craft.battery = Some(battery);
    for rotor in &mut craft.rotors {
        rotor.speed_max_rad_s = Some(FULL_SPEED_RAD_S);
    }
    craft
}

/// Speeds that stay, whatever the battery does: power is constant.
fn held(speed: f64) -> PlantState {
    let mut state = PlantState::default();
    state.rotor_speed[..4].fill(speed);
    state.stopped[..4].fill(true);
    state
}

/// Electrical power of four rotors at this speed: torque times speed over efficiency.
fn power_w(speed: f64) -> f64 {
    4.0 * 0.016 * 8.0 * speed * speed * (speed * FULL_SPEED_RAD_S) / 0.75
}

/// Source: closed form: at constant power from a source whose voltage falls along a straight line and that has no resistance,
/// E·dq = P·dt with E = E₀ − b·q, so E₀·q − b·q²/2 = P·t.
#[test]
fn empties_as_the_closed_form_when_power_is_constant() {
    let plant = Plant::new(&fed_by(Battery { resistance_ohm: 0.0, ..battery() }), &AIR);
    let mut state = held(0.7);
    for second in 1..=5 {
        (0..1000).for_each(|_| plant.advance(&mut state, &[], 0.001));
        let (capacity_as, fall_v) = (0.5 * 3600.0, 16.8 - 13.2);
        let start_v = 13.2 + fall_v * 0.9;
        let q = state.charge_used * capacity_as;
        let energy_j = start_v * q - 0.5 * fall_v / capacity_as * q * q;
        assert!((energy_j / (power_w(0.7) * f64::from(second)) - 1.0).abs() <= EXACT_TOL, "{energy_j} J");
        assert!((plant.state_of_charge(&state) - (0.9 - state.charge_used)).abs() <= EXACT_TOL);
    }
    assert!(state.charge_used > 0.03, "nothing to see: {}", state.charge_used);
}

/// Source: closed form: V = (E + √(E² − 4·P·R))/2, by Ohm's law and P = V·I.
#[test]
fn sags_by_its_resistance_when_power_is_drawn() {
    let plant = Plant::new(&fed_by(battery()), &AIR);
    for speed in [0.0, 0.3, 0.6, 0.9] {
        let open_v = 13.2 + (16.8 - 13.2) * 0.9;
        let terminal_v = 0.5 * (open_v + (open_v * open_v - 4.0 * power_w(speed) * 0.05_f64).sqrt());
        let share = plant.voltage_share(&held(speed));
        assert!((share * 16.8 - terminal_v).abs() <= EXACT_TOL, "{speed}: {share}");
    }
}

/// Source: closed form: the speed settles where s = V/V_full, and V is what the power at s leaves of E. Thrust is the square of that.
#[test]
fn lowers_the_ceiling_when_everything_is_asked_of_it() {
    // So large that it stays full.
    let battery = Battery { capacity_ah: 1e9, charge: 1.0, ..battery() };
    let plant = Plant::new(&fed_by(battery), &AIR);
    let mut state = PlantState::default();
    (0..2000).for_each(|_| plant.advance(&mut state, &[1.0; 4], 0.001));
    let speed = state.rotor_speed[0];
    let current_a = power_w(speed) / (speed * 16.8);
    assert!((speed * 16.8 - (16.8 - 0.05 * current_a)).abs() <= 1e-9, "settles at {speed}");
    assert!(speed < 0.95, "a sag to be seen: {speed}");
    assert!((plant.thrusts_n(&state)[0] - 8.0 * speed * speed).abs() <= EXACT_TOL);
    // Without a battery nothing sags.
    let plant = Plant::new(&quad(), &AIR);
    assert_eq!((plant.voltage_share(&state), plant.state_of_charge(&state)), (1.0, 1.0));
}

/// Energy: what left the source is what the shafts took over the efficiency, plus what the resistance made warm.
#[test]
fn loses_nothing_but_heat_when_rotors_speed_up_and_slow_down() {
    /// Of the sum in the test: the trapezoid rule at a millisecond.
    const SUM_TOL: f64 = 1e-4;
    let plant = Plant::new(&fed_by(Battery { capacity_ah: 1e6, charge: 1.0, ..battery() }), &AIR);
    let mut state = PlantState::default();
    let (mut delivered_j, mut used_before) = (0.0, 0.0);
    let mut shaft_and_heat_j = 0.0;
    for step in 0..2000 {
        let command = if step % 400 < 200 { 0.9 } else { 0.3 };
        let before_w = power_w(state.rotor_speed[0]);
        plant.advance(&mut state, &[command; 4], 0.001);
        let charge_as = (state.charge_used - used_before) * 1e6 * 3600.0;
        used_before = state.charge_used;
        delivered_j += 16.8 * charge_as;
        let heat_w = 0.05 * (charge_as / 0.001) * (charge_as / 0.001);
        shaft_and_heat_j += 0.001 * (0.5 * (before_w + power_w(state.rotor_speed[0])) + heat_w);
    }
    assert!((shaft_and_heat_j / delivered_j - 1.0).abs() <= SUM_TOL, "{shaft_and_heat_j} of {delivered_j} J");
}

#[test]
fn follows_its_curve_when_one_was_measured() {
    let curve = VoltageCurve { charge: vec![0.0, 0.1, 0.9, 1.0], voltage_v: vec![13.2, 14.4, 15.6, 16.8] };
    let of = |charge: f64| {
        let battery = Battery { charge, voltage_curve: Some(curve.clone()), ..battery() };
        Plant::new(&fed_by(battery), &AIR).voltage_share(&held(0.0)) * 16.8
    };
    for (charge, volts) in [(0.0, 13.2), (0.05, 13.8), (0.1, 14.4), (0.5, 15.0), (0.95, 16.2), (1.0, 16.8)] {
        assert!((of(charge) - volts).abs() <= EXACT_TOL, "{charge}: {}", of(charge));
    }
}

#[test]
fn halves_what_a_rotor_gives_when_its_propeller_is_damaged() {
    let plant = Plant::new(&quad(), &AIR);
    let mut state = held(0.5);
    let whole = state.clone();
    plant.weaken_rotor(&mut state, 2, 0.5);
    let thrusts_n = plant.thrusts_n(&state);
    assert_eq!(thrusts_n[..4], [2.0, 2.0, 1.0, 2.0]);
    // The rear left counter-clockwise rotor held its corner up and the nose from turning left.
    plant.advance(&mut state, &[], 1e-6);
    assert!(state.rate_rad_s.x < 0.0 && state.rate_rad_s.y > 0.0 && state.rate_rad_s.z < 0.0, "{}", state.rate_rad_s);
    let unchanged = state.clone();
    plant.weaken_rotor(&mut state, 4, 0.1);
    assert_eq!(state, unchanged);
    assert_eq!(whole.thrust_left[2], 1.0);
}

#[test]
fn slows_every_rotor_when_the_battery_collapses() {
    for craft in [quad(), fed_by(Battery { capacity_ah: 1e9, resistance_ohm: 0.0, charge: 1.0, ..battery() })] {
        let plant = Plant::new(&craft, &AIR);
        let mut state = PlantState::default();
        (0..1000).for_each(|_| plant.advance(&mut state, &[0.8; 4], 0.001));
        assert!((state.rotor_speed[3] - 0.8).abs() <= 1e-9);
        plant.collapse_battery(&mut state, 0.7);
        assert!((plant.voltage_share(&state) - 0.7).abs() <= EXACT_TOL);
        (0..1500).for_each(|_| plant.advance(&mut state, &[0.8; 4], 0.001));
        assert!((state.rotor_speed[3] - 0.56).abs() <= 1e-9, "{}", state.rotor_speed[3]);
    }
}
