//! Rotors: lag, thrust, reaction torque, momentum, and the fault that stops one.

use std::f64::consts::TAU;

use evenkeel::craft::{Craft, MAX_ROTORS, Spin, ThrustTable};
use evenkeel::plant::{Plant, PlantState, TYPICAL_SPEED_TOL, typical_speed_rad_s};
use evenkeel::script::World;
use evenkeel_tests::reference::table;
use evenkeel_tests::specimen::{SPACE, bare_body, quad, rotor};
use nalgebra::{Matrix3, Vector3};

const DT_S: f64 = 0.001;
/// Relative error of a method of order four on e^(−t/T) at T = 35 steps: (1/35)^4/120, times t/T.
const LAG_TOL: f64 = 1e-7;
/// Rounding of a few operations.
const EXACT_TOL: f64 = 1e-13;
/// Angular momentum, relative, over a second of spinning up with the step above.
const MOMENTUM_TOL: f64 = 1e-8;
const WEIGHTLESS_AIR: World = World::uniform(0.0, 1.225, [0.0; 3]);

fn fly(plant: &Plant, state: &mut PlantState, commands: &[f64], steps: u32) {
    for _ in 0..steps {
        plant.advance(state, commands, DT_S);
    }
}

fn assert_close(what: &str, ours: f64, exact: f64, tolerance: f64) {
    let off = (ours - exact).abs() / exact.abs().max(1.0);
    assert!(off <= tolerance, "{what}: {ours}, expected {exact}, off by {off:e}");
}

/// Angular acceleration in the first instant with these speeds held, on a body of unit inertia.
fn torque_nm(mut craft: Craft, speeds: &[f64]) -> Vector3<f64> {
    craft.body.inertia_kg_m2 = [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
    let mut state = PlantState::default();
    state.rotor_speed[..speeds.len()].copy_from_slice(speeds);
    let dt_s = 1e-6;
    // Without a bench table the settled speed is the command, so the speeds stay.
    Plant::new(&craft, &WEIGHTLESS_AIR).advance(&mut state, speeds, dt_s);
    state.rate_rad_s / dt_s
}

/// Source: closed form of a first-order lag.
#[test]
fn speeds_up_as_one_minus_exp_when_the_command_steps() {
    let plant = Plant::new(&quad(), &SPACE);
    let mut state = PlantState::default();
    for step in 1..=200 {
        fly(&plant, &mut state, &[0.6, 0.0, 1.0, 0.2], 1);
        let risen = 1.0 - (-f64::from(step) * DT_S / 0.035).exp();
        for (speed, target) in state.rotor_speed.into_iter().zip([0.6, 0.0, 1.0, 0.2]) {
            assert_close("speed", speed, target * risen, LAG_TOL);
        }
    }
    let top = state.rotor_speed[2];
    fly(&plant, &mut state, &[0.0; 4], 70);
    assert_close("spun down", state.rotor_speed[2], top * (-2.0_f64).exp(), LAG_TOL);
}

#[test]
fn gives_thrust_by_speed_squared_and_density_when_the_rotor_has_settled() {
    let thin = World { air_density_kg_m3: 0.9, ..WEIGHTLESS_AIR };
    let plant = Plant::new(&quad(), &thin);
    let mut state = PlantState::default();
    fly(&plant, &mut state, &[0.5, 1.0, 7.0, -3.0], 2000);
    let full_n = 8.0 * 0.9 / 1.225;
    for (thrust_n, expected) in plant.thrusts_n(&state).into_iter().zip([0.25 * full_n, full_n, full_n, 0.0]) {
        assert_close("thrust", thrust_n, expected, EXACT_TOL);
    }
    assert!(plant.thrusts_n(&state)[4..].iter().all(|&thrust_n| thrust_n == 0.0));
}

#[test]
fn gives_the_thrust_of_the_bench_table_when_there_is_one() {
    let mut craft = quad();
    craft.rotors[0].thrust_curve = Some(ThrustTable { command: vec![0.2, 0.6, 1.0], thrust_n: vec![1.0, 5.0, 8.0] });
    let plant = Plant::new(&craft, &WEIGHTLESS_AIR);
    for (command, expected_n) in [(0.0, 0.0), (0.1, 0.5), (0.2, 1.0), (0.5, 4.0), (0.6, 5.0), (0.8, 6.5), (1.0, 8.0)] {
        let mut state = PlantState::default();
        fly(&plant, &mut state, &[command], 2000);
        assert_close("thrust", plant.thrusts_n(&state)[0], expected_n, EXACT_TOL);
    }
}

/// Common practice, no source: which way each pair turns a quad.
#[test]
fn turns_each_way_as_a_pilot_expects_when_one_pair_speeds_up() {
    let (slow, fast) = (0.5, 0.6);
    let left_up = torque_nm(quad(), &[slow, slow, fast, fast]);
    assert!(left_up.x > 0.0 && left_up.y.abs() < EXACT_TOL, "left side up is roll right: {left_up}");
    let front_up = torque_nm(quad(), &[fast, slow, slow, fast]);
    assert!(front_up.y > 0.0 && front_up.x.abs() < EXACT_TOL, "front up is nose up: {front_up}");
    let ccw_up = torque_nm(quad(), &[fast, slow, fast, slow]);
    assert!(ccw_up.z > 0.0 && ccw_up.x.abs() < EXACT_TOL, "counter-clockwise pair turns the nose right: {ccw_up}");
    let even = torque_nm(quad(), &[slow; 4]);
    assert!(even.amax() < EXACT_TOL, "even speeds turn nothing: {even}");
}

/// Source: r×F with the arm from the centre of mass, and reaction torque k·F against the spin.
#[test]
fn gives_the_torque_of_its_arm_and_reaction_when_one_rotor_turns() {
    let mut craft = quad();
    craft.body.center_of_mass_m = [0.03, -0.02, 0.05];
    craft.rotors = vec![rotor([0.2, 0.1, -0.04], Spin::Cw)];
    let full_n = 8.0;
    let torque = torque_nm(craft.clone(), &[1.0]);
    let expected = Vector3::new(-(0.1 + 0.02) * full_n, (0.2 - 0.03) * full_n, -0.016 * full_n);
    // The acceleration is the mean over a microsecond of turning; gyroscopic terms are zero for unit inertia.
    assert!((torque - expected).amax() <= 1e-9, "{torque} against {expected}");
    // A rotor tilted to thrust forward: its reaction is about the thrust axis.
    craft.rotors[0].axis = [1.0, 0.0, 0.0];
    craft.rotors[0].position_m = craft.body.center_of_mass_m;
    let tilted = torque_nm(craft, &[1.0]);
    assert!((tilted - Vector3::new(0.016 * full_n, 0.0, 0.0)).amax() <= 1e-9, "{tilted}");
}

/// Four rotors with inertia that spin unevenly in a vacuum: nothing acts from outside.
fn spinning_in_vacuum() -> (Craft, Vector3<f64>) {
    let mut craft = quad();
    craft.body.inertia_kg_m2 = [[0.0165, 0.001, -0.0005], [0.001, 0.0170, 0.0008], [-0.0005, 0.0008, 0.0310]];
    for (rotor, speed) in craft.rotors.iter_mut().zip([700.0, 800.0, 900.0, 600.0]) {
        rotor.inertia_kg_m2 = 4e-5;
        rotor.speed_max_rad_s = Some(speed);
    }
    craft.rotors[1].axis = [0.6, 0.0, -0.8];
    (craft, Vector3::new(0.4, -0.7, 0.2))
}

/// In world axes, from the craft's own numbers.
fn total_momentum(craft: &Craft, state: &PlantState) -> Vector3<f64> {
    let inertia = Matrix3::from_fn(|i, j| craft.body.inertia_kg_m2[i][j]);
    let mut momentum = inertia * state.rate_rad_s;
    for (rotor, speed) in craft.rotors.iter().zip(state.rotor_speed) {
        // Clockwise from above is right-handed about down, against the thrust.
        let sense = if rotor.spin == Spin::Cw { -1.0 } else { 1.0 };
        let speed_rad_s = speed * rotor.speed_max_rad_s.expect("given above");
        momentum += Vector3::from(rotor.axis) * (sense * rotor.inertia_kg_m2 * speed_rad_s);
    }
    state.attitude * momentum
}

/// Source: conservation of angular momentum.
#[test]
fn keeps_total_angular_momentum_when_rotors_spin_up_in_a_vacuum() {
    let (craft, rate) = spinning_in_vacuum();
    let plant = Plant::new(&craft, &SPACE);
    let mut state = PlantState { rate_rad_s: rate, ..PlantState::default() };
    let before = total_momentum(&craft, &state);
    fly(&plant, &mut state, &[1.0, 0.3, 0.7, 0.9], 1000);
    let off = (total_momentum(&craft, &state) - before).norm() / before.norm();
    assert!(off <= MOMENTUM_TOL, "angular momentum off by {off:e}");
    assert!((state.rate_rad_s - rate).norm() > 0.1, "the body must have felt it: {}", state.rate_rad_s);
}

/// Source: conservation of angular momentum.
#[test]
fn gives_its_momentum_to_the_body_when_a_rotor_seizes() {
    let (craft, rate) = spinning_in_vacuum();
    let plant = Plant::new(&craft, &SPACE);
    let mut state = PlantState { rate_rad_s: rate, ..PlantState::default() };
    fly(&plant, &mut state, &[0.8; 4], 300);
    let before = total_momentum(&craft, &state);
    plant.stop_rotor(&mut state, 1);
    let off = (total_momentum(&craft, &state) - before).norm() / before.norm();
    assert!(off <= EXACT_TOL, "angular momentum off by {off:e}");
    fly(&plant, &mut state, &[0.8; 4], 300);
    assert_eq!(state.rotor_speed[1], 0.0, "stays stopped");
    assert!(state.stopped[1] && !state.stopped[0] && state.rotor_speed[0] > 0.7);
    let unchanged = state.clone();
    for past_the_last in [4, MAX_ROTORS, MAX_ROTORS + 3] {
        plant.stop_rotor(&mut state, past_the_last);
        assert_eq!(state, unchanged);
    }
}

/// Source: `reference/propeller_static.csv`: AIAA 2011-1255 (definitions read; values read in a secondary
/// transcription). The two propellers of low pitch at high speed, and the honest miss on one of high pitch.
#[test]
fn spins_like_measured_propellers_when_the_file_gives_no_speed() {
    let (mut low_pitch, mut high_pitch) = (0, 0);
    for row in table("propeller_static").rows() {
        let ratio = typical_speed_rad_s(row.number("T_N"), row.number("Q_over_T_m")) / row.number("omega_rad_s");
        if row.text("prop") == "9x6.75" {
            high_pitch += 1;
            assert!((0.3..1.0).contains(&ratio), "9x6.75: {ratio} of the measured speed");
        } else if row.number("rpm") >= 5000.0 {
            low_pitch += 1;
            assert!((ratio - 1.0).abs() <= TYPICAL_SPEED_TOL, "{}: {ratio} of the measured speed", row.text("prop"));
        }
    }
    assert!(low_pitch >= 8 && high_pitch >= 10, "the table lost rows");
    // And through the plant: the momentum of such a rotor shows in the body it leaves behind.
    let mut craft = bare_body(1.0, Matrix3::identity());
    craft.rotors = vec![rotor([0.0; 3], Spin::Cw)];
    craft.rotors[0].inertia_kg_m2 = 4e-5;
    let mut state = PlantState::default();
    fly(&Plant::new(&craft, &SPACE), &mut state, &[1.0], 2000);
    let diameter_m = 0.016 * TAU * 0.125 / 0.05;
    let speed_rad_s = TAU * (8.0_f64 / (0.125 * 1.225 * diameter_m.powi(4))).sqrt();
    assert_close("rate", state.rate_rad_s.z, -4e-5 * speed_rad_s, 1e-9);
}

#[test]
fn is_exactly_a_free_body_when_no_rotor_is_commanded() {
    let mut without = quad();
    without.rotors.clear();
    let start = PlantState {
        rate_rad_s: Vector3::new(3.0, -2.0, 4.0),
        velocity_m_s: Vector3::new(1.0, 2.0, 3.0),
        ..PlantState::default()
    };
    let (mut bare, mut still) = (start.clone(), start);
    fly(&Plant::new(&without, &WEIGHTLESS_AIR), &mut bare, &[], 1000);
    fly(&Plant::new(&quad(), &WEIGHTLESS_AIR), &mut still, &[0.0; 4], 1000);
    assert_eq!(bare, still);
}

#[test]
fn follows_in_one_step_when_the_lag_is_shorter_than_the_step() {
    let mut craft = quad();
    for rotor in &mut craft.rotors {
        rotor.response_time_s = 1e-5;
    }
    let mut state = PlantState::default();
    fly(&Plant::new(&craft, &SPACE), &mut state, &[0.8; 4], 100);
    assert_close("speed", state.rotor_speed[0], 0.8, EXACT_TOL);
}

#[test]
fn tells_that_it_diverged_when_a_command_is_not_a_number() {
    let mut tabled = quad();
    tabled.rotors[0].thrust_curve = Some(ThrustTable { command: vec![0.2, 1.0], thrust_n: vec![1.0, 8.0] });
    for craft in [quad(), tabled] {
        let plant = Plant::new(&craft, &WEIGHTLESS_AIR);
        let mut state = PlantState::default();
        fly(&plant, &mut state, &[0.5; 4], 10);
        assert!(plant.is_finite(&state));
        fly(&plant, &mut state, &[f64::NAN, 0.5, 0.5, 0.5], 1);
        assert!(!plant.is_finite(&state));
    }
}
