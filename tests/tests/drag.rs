//! Drag, wind and gravity against closed forms.
//!
//! In uniform air the law of drag has a closed form; the fall through a standard atmosphere is in `atmosphere.rs`.

use evenkeel::craft::Craft;
use evenkeel::plant::{Plant, PlantState};
use evenkeel::script::World;
use evenkeel_tests::specimen::principal_body;
use nalgebra::{UnitQuaternion, Vector3};

const DT_S: f64 = 0.001;
/// Relative; the method of order four leaves rounding only.
const CLOSED_FORM_TOL: f64 = 1e-11;
const AIR: World = World::uniform(9.806_65, 1.225, [0.0; 3]);

fn body(drag_area_m2: [f64; 3]) -> Craft {
    let mut craft = principal_body(0.01, 0.01, 0.01);
    craft.body.mass_kg = 1.6;
    craft.body.drag_area_m2 = drag_area_m2;
    craft
}

fn high_up() -> PlantState {
    PlantState { position_m: Vector3::new(0.0, 0.0, -10_000.0), ..PlantState::default() }
}

fn fly(plant: &Plant, state: &mut PlantState, seconds: u32) {
    for _ in 0..seconds * 1000 {
        plant.advance(state, &[], DT_S);
    }
}

fn assert_close(what: &str, ours: f64, exact: f64) {
    let off = (ours - exact).abs() / exact.abs().max(1.0);
    assert!(off <= CLOSED_FORM_TOL, "{what}: {ours}, exact {exact}, off by {off:e}");
}

/// Source: closed form of m·v̇ = m·g − b·v², from rest: v = v_t·tanh(g·t/v_t), drop v_t²/g·ln cosh(g·t/v_t).
#[test]
fn falls_as_the_closed_form_when_dropped_in_uniform_air() {
    let plant = Plant::new(&body([0.01, 0.02, 0.03]), &AIR);
    let g = AIR.gravity_m_s2;
    let terminal = (2.0 * 1.6 * g / (1.225 * 0.03_f64)).sqrt();
    let mut state = high_up();
    for second in 1..=20 {
        fly(&plant, &mut state, 1);
        let x = g * f64::from(second) / terminal;
        assert_close("speed", state.velocity_m_s.z, terminal * x.tanh());
        assert_close("drop", state.position_m.z + 10_000.0, terminal * terminal / g * x.cosh().ln());
    }
    assert!((state.velocity_m_s.z / terminal - 1.0).abs() < 1e-3, "terminal velocity");
}

/// Source: closed form of v̇ = −k·v²: v = v₀/(1 + k·v₀·t), distance ln(1 + k·v₀·t)/k.
#[test]
fn coasts_as_the_closed_form_when_nothing_else_acts() {
    let weightless = World { gravity_m_s2: 0.0, ..AIR };
    let areas = [0.012, 0.014, 0.030];
    for (axis, area) in areas.into_iter().enumerate() {
        for speed in [12.0, -12.0] {
            let mut state = PlantState::default();
            state.velocity_m_s[axis] = speed;
            fly(&Plant::new(&body(areas), &weightless), &mut state, 10);
            let k = 0.5 * 1.225 * area / 1.6;
            let slowed = 1.0 + k * 12.0 * 10.0;
            assert_close("speed", state.velocity_m_s[axis], speed / slowed);
            assert_close("distance", state.position_m[axis], slowed.ln() / k * speed.signum());
        }
    }
}

/// The drag areas turn with the body: nose east, the east wind meets the area of the nose.
#[test]
fn takes_the_area_of_the_body_axis_when_the_body_is_turned() {
    let weightless = World { gravity_m_s2: 0.0, ..AIR };
    let mut state = PlantState {
        attitude: UnitQuaternion::from_euler_angles(0.0, 0.0, std::f64::consts::FRAC_PI_2),
        velocity_m_s: Vector3::new(0.0, 12.0, 0.0),
        ..PlantState::default()
    };
    fly(&Plant::new(&body([0.05, 0.0, 0.0]), &weightless), &mut state, 5);
    let k = 0.5 * 1.225 * 0.05 / 1.6;
    assert_close("speed", state.velocity_m_s.y, 12.0 / (1.0 + k * 12.0 * 5.0));
}

/// Galilean symmetry: in a wind everything happens as in still air, carried along.
#[test]
fn is_carried_along_when_the_wind_is_steady() {
    let wind = Vector3::new(3.0, -4.0, 1.0);
    let windy = World { wind_m_s: wind.into(), ..AIR };
    let craft = body([0.012, 0.014, 0.030]);
    let mut still = high_up();
    still.velocity_m_s = Vector3::new(5.0, 2.0, 0.0);
    still.rate_rad_s = Vector3::new(0.5, -0.3, 0.8);
    let mut carried = still.clone();
    carried.velocity_m_s += wind;
    fly(&Plant::new(&craft, &AIR), &mut still, 5);
    fly(&Plant::new(&craft, &windy), &mut carried, 5);
    let off = (carried.velocity_m_s - still.velocity_m_s - wind).amax();
    assert!(off <= CLOSED_FORM_TOL * 10.0, "velocity off by {off:e} m/s");
    assert_close("north", carried.position_m.x, still.position_m.x + wind.x * 5.0);
}

/// Source: Galileo's parabola.
#[test]
fn flies_a_parabola_when_there_is_no_air() {
    let vacuum = World { air_density_kg_m3: 0.0, ..AIR };
    let mut state = high_up();
    state.velocity_m_s = Vector3::new(7.0, 0.0, -20.0);
    fly(&Plant::new(&body([0.012, 0.014, 0.030]), &vacuum), &mut state, 4);
    assert_close("north", state.position_m.x, 28.0);
    assert_close("climb", state.position_m.z + 10_000.0, -80.0 + 0.5 * 9.806_65 * 16.0);
}
