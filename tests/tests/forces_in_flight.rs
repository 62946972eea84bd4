//! Everything the plant models at once: the order of its method, and the balance of forces in steady flight.

use evenkeel::craft::{Battery, Craft, GroundEffect, Inflow, PropellerTable};
use evenkeel::plant::{Plant, PlantState};
use evenkeel::script::World;
use evenkeel_tests::reference::table;
use evenkeel_tests::specimen::quad;
use nalgebra::{Matrix3, UnitQuaternion, Vector3};

/// Slope of log error against log step, either way from 4.
const ORDER_TOL: f64 = 0.25;
const DENSITY: f64 = 1.225;

/// A quad with every option that is smooth: a table has corners, at which any method loses its order.
fn with_everything_smooth() -> Craft {
    let mut craft = quad();
    craft.body.inertia_kg_m2 = [[0.0165, 0.001, -0.0005], [0.001, 0.0170, 0.0008], [-0.0005, 0.0008, 0.0310]];
    craft.body.center_of_mass_m = [0.004, -0.003, 0.02];
    for rotor in &mut craft.rotors {
        rotor.inertia_kg_m2 = 4e-5;
        rotor.in_moving_air.inflow = Inflow::Momentum;
        rotor.in_moving_air.drag_n_per_m_s = 0.03;
    }
    craft.battery = Some(Battery {
        capacity_ah: 0.05,
        full_v: 16.8,
        empty_v: 13.2,
        resistance_ohm: 0.03,
        efficiency: 0.8,
        charge: 1.0,
        voltage_curve: None,
    });
    craft.ground_effect = Some(GroundEffect { datum_height_m: 0.2 });
    craft
}

fn flown(craft: &Craft, world: &World, dt_s: f64) -> PlantState {
    let mut state = PlantState {
        position_m: Vector3::new(0.0, 0.0, -0.5),
        velocity_m_s: Vector3::new(3.0, 2.0, -6.0),
        rate_rad_s: Vector3::new(0.4, -0.3, 0.6),
        ..PlantState::default()
    };
    state.rotor_speed[..4].copy_from_slice(&[0.5, 0.6, 0.7, 0.65]);
    let plant = Plant::new(craft, world);
    for _ in 0..(0.32 / dt_s).round() as u32 {
        plant.advance(&mut state, &[0.9, 0.8, 0.85, 0.9], dt_s);
    }
    state
}

fn apart(a: &PlantState, b: &PlantState) -> f64 {
    let turned = 2.0 * (a.attitude.inverse() * b.attitude).imag().norm();
    let speed = a.rotor_speed.iter().zip(b.rotor_speed).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max);
    let moved = (a.position_m - b.position_m).amax().max((a.velocity_m_s - b.velocity_m_s).amax());
    let charge = (a.charge_used - b.charge_used).abs();
    moved.max((a.rate_rad_s - b.rate_rad_s).amax()).max(turned).max(speed).max(charge)
}

/// Source: definition of the order of a method, with the same flight at a sixteenth of the step in place of the exact one.
#[test]
fn converges_with_the_fourth_power_of_the_step_when_rotors_air_and_battery_take_part() {
    let craft = with_everything_smooth();
    let world = World { ground_altitude_m: Some(400.0), wind_m_s: [-4.0, 1.0, 0.5], ..World::default() };
    let exact = flown(&craft, &world, 0.000_25);
    let error = |dt_s: f64| apart(&flown(&craft, &world, dt_s), &exact);
    for dt_s in [0.016, 0.008] {
        let order = (error(dt_s) / error(dt_s / 2.0)).log2();
        assert!((order - 4.0).abs() <= ORDER_TOL, "order {order} from {dt_s} s");
    }
    // And what a flight has of it, at its step of a millisecond.
    assert!(error(0.001) <= 1e-8, "{:e}", error(0.001));
}

/// Source: conservation of energy; a body that tumbles in a vacuum under gravity, kinetic and potential energy together.
#[test]
fn keeps_its_energy_when_it_is_thrown_in_a_vacuum() {
    /// Rounding over ten thousand steps, relative.
    const KEPT_TOL: f64 = 1e-12;
    let mut craft = with_everything_smooth();
    craft.rotors.clear();
    let inertia = Matrix3::from(craft.body.inertia_kg_m2);
    let plant = Plant::new(&craft, &World::uniform(9.806_65, 0.0, [5.0, 0.0, 0.0]));
    let energy_j = |state: &PlantState| {
        let turning = 0.5 * state.rate_rad_s.dot(&(inertia * state.rate_rad_s));
        turning + 0.5 * 1.6 * state.velocity_m_s.norm_squared() - 1.6 * 9.806_65 * state.position_m.z
    };
    let mut state = PlantState {
        position_m: Vector3::new(0.0, 0.0, -1000.0),
        velocity_m_s: Vector3::new(7.0, -3.0, -20.0),
        rate_rad_s: Vector3::new(3.0, -2.0, 4.0),
        ..PlantState::default()
    };
    let before_j = energy_j(&state);
    (0..10_000).for_each(|_| plant.advance(&mut state, &[], 0.001));
    let off = (energy_j(&state) / before_j - 1.0).abs();
    assert!(off <= KEPT_TOL, "energy off by {off:e}");
}

/// Rotors in the plane of the centre of mass, with the table of a measured propeller and drag of their own.
fn cruiser() -> Craft {
    let mut craft = quad();
    let runs = table("propeller_axial");
    let rows: Vec<[f64; 3]> =
        runs.rows().filter(|row| row.text("prop") == "10x4.7").map(|row| row.numbers(["J", "CT", "CP"])).collect();
    let column = |first: f64, at: usize| std::iter::once(first).chain(rows.iter().map(|row| row[at])).collect();
    for rotor in &mut craft.rotors {
        rotor.in_moving_air.diameter_m = Some(0.254);
        rotor.in_moving_air.drag_n_per_m_s = 0.04;
        rotor.in_moving_air.inflow = Inflow::Table(PropellerTable {
            advance_ratio: column(0.0, 0),
            thrust_coefficient: column(0.1299, 1),
            power_coefficient: column(0.0531, 2),
        });
    }
    craft
}

/// The thrust coefficient between the rows of the table, from the table itself.
fn measured_ct(j: f64) -> f64 {
    let runs = table("propeller_axial");
    let rows = runs.rows().filter(|row| row.text("prop") == "10x4.7");
    let points: Vec<(f64, f64)> =
        std::iter::once((0.0, 0.1299)).chain(rows.map(|row| row.numbers(["J", "CT"]).into())).collect();
    let pair = points.windows(2).find(|pair| j <= pair[1].0).expect("inside the table");
    pair[0].1 + (pair[1].1 - pair[0].1) * (j - pair[0].0) / (pair[1].0 - pair[0].0)
}

/// Source: balance of forces in steady flight: weight, drag of the body by the law of drag areas, linear drag of the rotors, thrust from
/// `reference/propeller_axial.csv` (values read in a secondary transcription) by T = C_T(J)·ρ·n²·D⁴.
#[test]
fn balances_weight_thrust_and_drag_when_it_flies_steadily_forward() {
    /// Newtons, of a weight of 15.7 N.
    const BALANCE_TOL_N: f64 = 1e-6;
    let craft = cruiser();
    let plant = Plant::new(&craft, &World::uniform(9.806_65, DENSITY, [0.0; 3]));
    for (pitch_deg, command) in [(-10.0_f64, 0.72), (-25.0, 0.78), (-40.0, 0.9)] {
        let attitude = UnitQuaternion::from_euler_angles(0.0, pitch_deg.to_radians(), 0.0);
        let mut state = PlantState { attitude, ..PlantState::default() };
        state.position_m.z = -5000.0;
        (0..60_000).for_each(|_| plant.advance(&mut state, &[command; 4], 0.002));
        assert!(state.rate_rad_s.amax() < 1e-9, "even rotors in the plane of the mass turn nothing");
        let v = state.attitude.inverse_transform_vector(&state.velocity_m_s);
        let diameter_m = 0.254_f64;
        let full_turns_per_s = (8.0 / (0.1299 * DENSITY * diameter_m.powi(4))).sqrt();
        let turns_per_s = full_turns_per_s * command;
        let j = -v.z / (turns_per_s * diameter_m);
        let thrust_n = 4.0 * measured_ct(j.max(0.0)) * DENSITY * turns_per_s.powi(2) * diameter_m.powi(4);
        let body_n = Vector3::new(0.012, 0.014, 0.030).zip_map(&v, |area, v| -0.5 * DENSITY * area * v * v.abs());
        let rotors_n = Vector3::new(v.x, v.y, 0.0) * (-4.0 * 0.04 * command);
        let weight_n = state.attitude.inverse_transform_vector(&Vector3::new(0.0, 0.0, 1.6 * 9.806_65));
        let sum_n = body_n + rotors_n + weight_n + Vector3::new(0.0, 0.0, -thrust_n);
        assert!(sum_n.amax() <= BALANCE_TOL_N, "{pitch_deg} deg: {sum_n} left over at {}", state.velocity_m_s);
        assert!(state.velocity_m_s.x > 5.0, "{}", state.velocity_m_s);
        if pitch_deg < -20.0 {
            assert!(j > 0.05, "air along the axis at {pitch_deg} deg: J = {j}");
        }
    }
}
