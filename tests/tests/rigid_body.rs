//! The plant as a free rigid body, against exact tumbles from outside the project.
//!
//! Tolerances are twice the error that `reference/integrator_errors.csv` gives for the textbook
//! method of order four at the same step, on the row named beside each.

use evenkeel::attitude;
use evenkeel::craft::Craft;
use evenkeel::plant::{Plant, PlantState};
use evenkeel_tests::reference::{Row, table};
use evenkeel_tests::specimen::{SPACE, bare_body, principal_body};
use nalgebra::{Matrix3, Quaternion, Rotation3, UnitQuaternion, Vector3};

/// Room for rounding and for the rows of the table between those of the error table.
const ERROR_ROOM: f64 = 2.0;
/// kg·m² in a slug·ft², from the header of `nasa_case2_tumbling_body.csv`.
const SLUG_FT2: f64 = 1.355_817_948_331_400_4;
/// The published rates have 12 digits; the table's header gives this as their distance from exact.
const PUBLISHED_RATE_TOL_DEG_S: f64 = 5e-10;
/// Rows A (the same craft) at 1 ms, times ten: about its intermediate axis a tumble amplifies errors.
const INTERMEDIATE_AMPLIFICATION: f64 = 10.0;
/// Rounding over 10,000 steps, relative: energy and momentum have no other error at this step.
const KEPT_TOL: f64 = 2e-13;
/// Slope of log error against log step, either way from 4.
const ORDER_TOL: f64 = 0.2;
/// Turning the axes of inertia must change nothing but rounding.
const TURNED_TOL: f64 = 1e-12;

/// The error the textbook method makes: rate, attitude.
fn textbook_error(case: &str, dt_s: f64) -> (f64, f64) {
    let errors = table("integrator_errors");
    let is_it = |row: &Row<'_>| row.text("case") == case && row.text("method") == "rk4" && row.number("dt_s") == dt_s;
    let row = errors.rows().find(is_it).expect("a row of integrator_errors.csv");
    (row.number("max_rate_err_rad_s"), row.number("attitude_err_rad"))
}

fn spinning(rate_rad_s: [f64; 3]) -> PlantState {
    PlantState { rate_rad_s: Vector3::from(rate_rad_s), ..PlantState::default() }
}

fn fly_until(plant: &Plant, state: &mut PlantState, steps_done: &mut u64, until_s: f64, dt_s: f64) {
    while (*steps_done as f64 + 0.5) * dt_s < until_s {
        plant.advance(state, &[], dt_s);
        *steps_done += 1;
    }
}

fn rate_error(state: &PlantState, exact: [f64; 3]) -> f64 {
    (state.rate_rad_s - Vector3::from(exact)).amax()
}

fn attitude_error_rad(state: &PlantState, [w, x, y, z]: [f64; 4]) -> f64 {
    // The angle from the vector part: an arc cosine would lose half the digits.
    let exact = UnitQuaternion::new_normalize(Quaternion::new(w, x, y, z));
    2.0 * (exact.inverse() * state.attitude).imag().norm()
}

/// Flies along a table and holds every row to the tolerances.
fn follows(name: &str, craft: &Craft, rate_columns: [&str; 3], dt_s: f64, rate_tol: f64, attitude_tol: f64) {
    let plant = Plant::new(craft, &SPACE);
    let table = table(name);
    let mut state = spinning(table.rows().next().expect("a first row").numbers(rate_columns));
    let mut steps = 0;
    for row in table.rows() {
        fly_until(&plant, &mut state, &mut steps, row.number("t_s"), dt_s);
        let rate = rate_error(&state, row.numbers(rate_columns));
        let angle = attitude_error_rad(&state, row.numbers(["q0", "q1", "q2", "q3"]));
        let t_s = row.number("t_s");
        assert!(rate <= rate_tol, "{name}, {t_s} s: rate off by {rate:e}, allowed {rate_tol:e}");
        assert!(angle <= attitude_tol, "{name}, {t_s} s: attitude off by {angle:e}, allowed {attitude_tol:e}");
    }
}

/// Source: `reference/rigid_asymmetric_tumble.csv` (computed, exact).
#[test]
fn follows_the_exact_tumble_when_three_inertias_differ() {
    for dt_s in [0.01, 0.004, 0.001] {
        let (rate, angle) = textbook_error("A", dt_s);
        let craft = principal_body(0.012, 0.014, 0.022);
        let columns = ["wx_rad_s", "wy_rad_s", "wz_rad_s"];
        follows("rigid_asymmetric_tumble", &craft, columns, dt_s, ERROR_ROOM * rate, ERROR_ROOM * angle);
    }
}

/// Source: `reference/rigid_axisymmetric.csv` (closed form from memory, computed). The attitude is held to
/// row A at 1 ms. The rates are a pure rotation at the precession rate w, where the phase error of the method of
/// order four is known: w⁵·dt⁴·t/120, from the first term that its series leaves out.
#[test]
fn precesses_as_the_closed_form_when_two_inertias_are_equal() {
    let (_, angle) = textbook_error("A", 0.001);
    let rate = 4.5_f64.powi(5) * 1e-12 * 10.0 / 120.0;
    let craft = principal_body(0.02, 0.02, 0.035);
    follows("rigid_axisymmetric", &craft, ["wx", "wy", "wz"], 0.001, ERROR_ROOM * rate, ERROR_ROOM * angle);
}

/// Source: `reference/rigid_intermediate_axis.csv` (computed, exact).
#[test]
fn flips_over_on_time_when_spun_about_the_intermediate_axis() {
    let (rate, angle) = textbook_error("A", 0.001);
    let craft = principal_body(0.012, 0.014, 0.022);
    let columns = ["wx_rad_s", "wy_rad_s", "wz_rad_s"];
    let room = ERROR_ROOM * INTERMEDIATE_AMPLIFICATION;
    follows("rigid_intermediate_axis", &craft, columns, 0.001, room * rate, room * angle);
}

/// Source: NASA/TM-2015-218675, atmospheric check-case 2, in `reference/nasa_case2_tumbling_body.csv`:
/// published rates (read), exact rates and flat-Earth attitude (computed). The published angles are against
/// a rotating Earth, which this plant does not have; the `flat_*` columns take their place.
#[test]
fn follows_the_published_tumble_of_nasa_check_case_2() {
    let craft = principal_body(0.001894220 * SLUG_FT2, 0.006211019 * SLUG_FT2, 0.007194665 * SLUG_FT2);
    let plant = Plant::new(&craft, &SPACE);
    let dt_s = 0.01;
    let (rate_tol, angle_tol) = textbook_error("NESC_case2", dt_s);
    let table = table("nasa_case2_tumbling_body");
    let mut state = spinning([10.0, 20.0, 30.0].map(f64::to_radians));
    let mut steps = 0;
    for row in table.rows() {
        let t_s = row.number("t_s");
        fly_until(&plant, &mut state, &mut steps, t_s, dt_s);
        let exact = row.numbers(["exact_p_deg_s", "exact_q_deg_s", "exact_r_deg_s"]).map(f64::to_radians);
        let rate = rate_error(&state, exact);
        assert!(rate <= ERROR_ROOM * rate_tol, "{t_s} s: rate off by {rate:e} rad/s");
        let published = row.numbers(["pub_p_deg_s", "pub_q_deg_s", "pub_r_deg_s"]).map(f64::to_radians);
        let off_deg_s = rate_error(&state, published).to_degrees();
        assert!(off_deg_s <= PUBLISHED_RATE_TOL_DEG_S, "{t_s} s: published rate off by {off_deg_s:e} deg/s");
        let angle = attitude_error_rad(&state, row.numbers(["flat_q0", "flat_q1", "flat_q2", "flat_q3"]));
        assert!(angle <= ERROR_ROOM * angle_tol, "{t_s} s: attitude off by {angle:e} rad");
        let flat = row.numbers(["flat_roll_deg", "flat_pitch_deg", "flat_yaw_deg"]);
        for (ours, flat) in attitude::to_euler_rad(&state.attitude).into_iter().zip(flat) {
            let off_rad = (ours - flat.to_radians()).abs();
            assert!(off_rad <= 2.0 * ERROR_ROOM * angle_tol, "{t_s} s: Euler angle off by {off_rad:e} rad");
        }
    }
}

/// Source: conservation laws; what the method itself loses is in `integrator_errors.csv`, row A at 1 ms.
#[test]
fn keeps_energy_and_angular_momentum_when_nothing_acts() {
    let inertia = Matrix3::new(0.012, 0.001, -0.002, 0.001, 0.014, 0.0005, -0.002, 0.0005, 0.022);
    let plant = Plant::new(&bare_body(1.0, inertia), &SPACE);
    let mut state = spinning([3.0, -2.0, 4.0]);
    let momentum = |state: &PlantState| state.attitude * (inertia * state.rate_rad_s);
    let energy_j = |state: &PlantState| 0.5 * state.rate_rad_s.dot(&(inertia * state.rate_rad_s));
    let (momentum_0, energy_0) = (momentum(&state), energy_j(&state));
    fly_until(&plant, &mut state, &mut 0, 10.0, 0.001);
    let energy_drift = (energy_j(&state) / energy_0 - 1.0).abs();
    assert!(energy_drift <= KEPT_TOL, "energy drifts by {energy_drift:e}");
    let length_drift = (momentum(&state).norm() / momentum_0.norm() - 1.0).abs();
    assert!(length_drift <= KEPT_TOL, "angular momentum drifts by {length_drift:e}");
    // Its direction in space is as good as the attitude.
    let turn = (momentum(&state) - momentum_0).norm() / momentum_0.norm();
    assert!(turn <= ERROR_ROOM * textbook_error("A", 0.001).1, "angular momentum turns by {turn:e}");
}

/// Source: definition of the order of a method.
#[test]
fn converges_with_the_fourth_power_of_the_step_when_it_is_halved() {
    let craft = principal_body(0.012, 0.014, 0.022);
    let table = table("rigid_asymmetric_tumble");
    let last = table.rows().last().expect("a last row");
    let error = |dt_s: f64| {
        let mut state = spinning([3.0, -2.0, 4.0]);
        fly_until(&Plant::new(&craft, &SPACE), &mut state, &mut 0, last.number("t_s"), dt_s);
        rate_error(&state, last.numbers(["wx_rad_s", "wy_rad_s", "wz_rad_s"]))
    };
    for dt_s in [0.04, 0.02] {
        let order = (error(dt_s) / error(dt_s / 2.0)).log2();
        assert!((order - 4.0).abs() <= ORDER_TOL, "order {order} from {dt_s} s");
    }
}

/// Symmetry: the same body described in turned axes tumbles the same; this is where products of inertia count.
#[test]
fn tumbles_the_same_when_the_body_axes_are_turned() {
    let turn = Rotation3::from_euler_angles(0.3, -0.5, 0.8);
    let principal = Matrix3::from_diagonal(&Vector3::new(0.012, 0.014, 0.022));
    let turned = turn.matrix() * principal * turn.matrix().transpose();
    let rate = Vector3::new(3.0, -2.0, 4.0);
    let mut plain = spinning(rate.into());
    let mut other = spinning((turn * rate).into());
    fly_until(&Plant::new(&bare_body(1.0, principal), &SPACE), &mut plain, &mut 0, 2.0, 0.001);
    fly_until(&Plant::new(&bare_body(1.0, turned), &SPACE), &mut other, &mut 0, 2.0, 0.001);
    let off = (turn * plain.rate_rad_s - other.rate_rad_s).amax();
    assert!(off <= TURNED_TOL, "rates differ by {off:e} rad/s");
}

/// Source: `reference/quaternion_propagation.csv` (computed): q(t) = exp(ω·t/2) at a constant rate.
#[test]
fn turns_by_the_exponential_map_when_the_rate_is_constant() {
    /// At pi rad/s for a second the method of order four is off by 2·(pi/2)⁵·dt⁴/120 = 1e-14 rad.
    const LONGEST_STEP_S: f64 = 5e-4;
    /// Rounding of 2,000 steps.
    const TURN_TOL_RAD: f64 = 3e-13;
    let plant = Plant::new(&principal_body(0.01, 0.01, 0.01), &SPACE);
    for row in table("quaternion_propagation").rows() {
        let rate = row.numbers(["wx", "wy", "wz_rad_s"]);
        let until_s = row.number("dt_s");
        let steps = (until_s / LONGEST_STEP_S).ceil().max(100.0);
        let mut state = spinning(rate);
        fly_until(&plant, &mut state, &mut 0, until_s, until_s / steps);
        let off = attitude_error_rad(&state, row.numbers(["q0", "q1", "q2", "q3"]));
        assert!(off <= TURN_TOL_RAD, "rate {rate:?}: off by {off:e} rad");
    }
}

/// The method alone shortens the quaternion by (ω·dt/2)⁶/144 a step: 3e-10 at this rate, 2e-6 in all.
#[test]
fn keeps_the_quaternion_at_unit_length_when_it_turns_fast() {
    const UNIT_TOL: f64 = 1e-15;
    let mut state = spinning([60.0, 0.0, 0.0]);
    fly_until(&Plant::new(&principal_body(0.01, 0.01, 0.01), &SPACE), &mut state, &mut 0, 10.0, 0.002);
    let off = (state.attitude.coords.norm() - 1.0).abs();
    assert!(off <= UNIT_TOL, "length off by {off:e}");
}
