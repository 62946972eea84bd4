//! Standing on the ground, falling on it, sliding over it. Common practice, no source: it only pushes,
//! damps and rubs.

use evenkeel::craft::Craft;
use evenkeel::plant::{FRICTION_COEFFICIENT, Plant, PlantState};
use evenkeel::script::World;
use evenkeel_tests::specimen::quad;
use nalgebra::{UnitQuaternion, Vector3};

const DT_S: f64 = 0.001;
/// Over ten seconds at rest.
const REST_TOL_M: f64 = 1e-6;
/// After settling: position and attitude (rad), speed (m/s) and rate (rad/s).
const SETTLED_TOL: f64 = 1e-4;

fn fly(plant: &Plant, state: &mut PlantState, commands: &[f64], seconds: f64, dt_s: f64) {
    for _ in 0..(seconds / dt_s).round() as u32 {
        plant.advance(state, commands, dt_s);
        assert!(plant.is_finite(state), "diverged");
    }
}

fn assert_settled(plant: &Plant, state: &PlantState) {
    assert!(plant.on_ground(state));
    assert!(state.position_m.z.abs() <= SETTLED_TOL, "down {}", state.position_m.z);
    assert!(state.velocity_m_s.amax() <= SETTLED_TOL, "still moves: {}", state.velocity_m_s);
    assert!(state.rate_rad_s.amax() <= SETTLED_TOL, "still turns: {}", state.rate_rad_s);
    let tilt_rad = (state.attitude * Vector3::z()).xy().norm();
    assert!(tilt_rad <= SETTLED_TOL, "stands askew by {tilt_rad} rad");
}

/// The same shape at another size: mass with the cube, inertia with the fifth power.
fn scaled(mass_kg: f64) -> Craft {
    let mut craft = quad();
    let mass_ratio = mass_kg / craft.body.mass_kg;
    let scale = mass_ratio.cbrt();
    craft.body.mass_kg = mass_kg;
    for row in &mut craft.body.inertia_kg_m2 {
        *row = row.map(|value| value * mass_ratio * scale * scale);
    }
    for rotor in &mut craft.rotors {
        rotor.position_m = rotor.position_m.map(|value| value * scale);
        rotor.thrust_max_n *= mass_ratio;
    }
    craft
}

#[test]
fn stays_where_it_is_when_at_rest() {
    let plant = Plant::new(&quad(), &World::default());
    let mut state = PlantState::default();
    assert!(plant.on_ground(&state));
    fly(&plant, &mut state, &[0.0; 4], 10.0, DT_S);
    assert!(state.position_m.amax() <= REST_TOL_M, "drifts to {}", state.position_m);
    assert!(state.attitude.angle() <= REST_TOL_M);
    let felt = plant.specific_force_m_s2(&state);
    assert!((felt - Vector3::new(0.0, 0.0, -9.806_65)).amax() <= 1e-9, "an accelerometer feels {felt}");
}

#[test]
fn comes_to_rest_when_dropped_whatever_its_size() {
    for mass_kg in [0.03, 0.25, 1.6, 30.0] {
        for dt_s in [0.0005, 0.001, 0.002] {
            let plant = Plant::new(&scaled(mass_kg), &World::default());
            let mut state = PlantState::default();
            state.position_m.z = -0.5;
            assert!(!plant.on_ground(&state));
            fly(&plant, &mut state, &[0.0; 4], 3.0, dt_s);
            assert_settled(&plant, &state);
        }
    }
}

#[test]
fn comes_to_rest_when_it_falls_askew_turning_and_drifting() {
    for mass_kg in [0.03, 1.6, 30.0] {
        let plant = Plant::new(&scaled(mass_kg), &World::default());
        let mut state = PlantState::default();
        state.position_m.z = -2.0;
        state.velocity_m_s = Vector3::new(2.0, -1.0, 3.0);
        state.rate_rad_s = Vector3::new(3.0, -4.0, 6.0);
        state.attitude = UnitQuaternion::from_euler_angles(0.4, -0.3, 1.0);
        fly(&plant, &mut state, &[0.0; 4], 10.0, 0.002);
        // It may have come to lie on its back, which stands as well.
        assert_settled(&plant, &state);
    }
}

/// All its mass near the middle: feet under the rotors would rock it faster than the step resolves.
#[test]
fn comes_to_rest_when_its_inertia_is_small_for_its_arms() {
    let mut craft = quad();
    for row in &mut craft.body.inertia_kg_m2 {
        *row = row.map(|value| value / 100.0);
    }
    let plant = Plant::new(&craft, &World::default());
    let mut state = PlantState::default();
    state.position_m.z = -0.5;
    state.attitude = UnitQuaternion::from_euler_angles(0.1, -0.2, 0.0);
    fly(&plant, &mut state, &[0.0; 4], 5.0, 0.002);
    assert_settled(&plant, &state);
}

/// Energy: no bounce is higher than the one before, and the first is well below the drop.
#[test]
fn bounces_no_higher_than_a_tenth_when_dropped_flat() {
    let plant = Plant::new(&quad(), &World::default());
    let mut state = PlantState::default();
    state.position_m.z = -0.5;
    let mut touched = false;
    let mut highest_m = 0.0_f64;
    for _ in 0..2000 {
        plant.advance(&mut state, &[0.0; 4], DT_S);
        touched |= plant.on_ground(&state);
        if touched && state.velocity_m_s.z < 0.0 {
            highest_m = highest_m.max(-state.position_m.z);
        }
    }
    assert!(touched && highest_m < 0.05, "bounces to {highest_m} m");
}

/// Source: Coulomb friction stops a slide after v²/(2·μ·g). Below the slip speed it creeps to a stop, which
/// adds slip speed over creep rate, a fraction of a millimetre.
#[test]
fn stops_after_the_distance_of_coulomb_when_it_slides() {
    const DISTANCE_TOL: f64 = 0.01;
    let mut craft = quad();
    craft.body.drag_area_m2 = [0.0; 3];
    let plant = Plant::new(&craft, &World::default());
    let mut state = PlantState { velocity_m_s: Vector3::new(2.0, 0.0, 0.0), ..PlantState::default() };
    fly(&plant, &mut state, &[0.0; 4], 2.0, DT_S);
    assert_settled(&plant, &state);
    let expected_m = 2.0 * 2.0 / (2.0 * FRICTION_COEFFICIENT * 9.806_65);
    let ratio = state.position_m.x / expected_m;
    assert!((ratio - 1.0).abs() <= DISTANCE_TOL, "slides {} m, Coulomb says {expected_m} m", state.position_m.x);
}

/// It only pushes: thrust above weight lifts off as in free air, thrust below it does not.
#[test]
fn lets_go_when_thrust_is_above_weight() {
    let craft = quad();
    let plant = Plant::new(&craft, &World::default());
    let weight_share = 1.6 * 9.806_65 / (4.0 * 8.0_f64);
    let mut state = PlantState::default();
    fly(&plant, &mut state, &[(0.9 * weight_share).sqrt(); 4], 2.0, DT_S);
    assert!(plant.on_ground(&state), "{}", state.position_m);
    fly(&plant, &mut state, &[(1.5 * weight_share).sqrt(); 4], 2.0, DT_S);
    assert!(!plant.on_ground(&state));
    assert!(state.position_m.z < -5.0, "half a g for two seconds, less drag and lag: {}", state.position_m.z);
}

#[test]
fn has_no_ground_when_there_is_no_gravity() {
    let space = World { gravity_m_s2: 0.0, ..World::default() };
    let plant = Plant::new(&quad(), &space);
    let mut state = PlantState::default();
    state.velocity_m_s.z = 1.0;
    assert!(!plant.on_ground(&state));
    fly(&plant, &mut state, &[0.0; 4], 1.0, DT_S);
    assert!(state.position_m.z > 0.9);
}
