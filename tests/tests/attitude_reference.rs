//! The attitude algebra that flies, in both scalars, against tables from outside the project.

use evenkeel::attitude::{components, from_euler_rad};
use evenkeel_controller::{AttitudeError, Quaternion, SIN_COS_TOL};
use evenkeel_mixer::Scalar;
use evenkeel_tests::reference::{Row, table};

/// The error has two sines of half angles, and the table 14 decimals.
const ERROR_TOL_F64: f64 = 2.0e-14;
/// The angles of that table have 11 decimals of a degree.
const ERROR_ANGLE_TOL: f64 = 1.0e-13;
/// A dozen roundings of numbers up to 2.
const ERROR_TOL_F32: f64 = 8.0e-7;
/// Three rotations, each with the error of its sine and cosine, in either scalar.
const EULER_TOL: f64 = 3.0 * SIN_COS_TOL;
/// Entries of the matrix are sums of two doubled products.
const DOWN_TOL: f64 = 4.0 * EULER_TOL;
/// A hundred products, each rounded.
const HUNDRED_PRODUCTS_TOL_F64: f64 = 1.0e-14;
const HUNDRED_PRODUCTS_TOL_F32: f64 = 6.0e-6;

fn exact<S: Scalar>(euler_deg: [f64; 3]) -> Quaternion<S> {
    Quaternion::from_array(components(&from_euler_rad(euler_deg.map(f64::to_radians))).map(S::from_f64))
}

fn from_angles<S: Scalar>(euler_deg: [f64; 3]) -> Quaternion<S> {
    let [roll, pitch, yaw] = euler_deg.map(|angle| S::from_f64(angle.to_radians()));
    Quaternion::yaw(yaw) * Quaternion::pitch(pitch) * Quaternion::roll(roll)
}

fn numbers<S: Scalar, const N: usize>(values: [S; N]) -> [f64; N] {
    values.map(S::to_f64)
}

/// Largest difference of two lists.
fn off<const N: usize>(ours: [f64; N], theirs: [f64; N]) -> f64 {
    ours.iter().zip(theirs).map(|(a, b)| (a - b).abs()).fold(0.0, |most, next| if next > most { next } else { most })
}

/// As [`off`], with q and −q as one attitude.
fn attitude_off(ours: [f64; 4], theirs: [f64; 4]) -> f64 {
    off(ours, theirs).min(off(ours.map(|value| -value), theirs))
}

fn split_agrees<S: Scalar>(tolerance: f64) {
    for row in table("tilt_yaw_split").rows() {
        let now = exact::<S>(row.numbers(["phi", "theta", "psi_deg_current"]));
        let wanted = exact::<S>(row.numbers(["phi_d", "theta_d", "psi_d_deg"]));
        let error = AttitudeError::between(now, wanted);
        // The table has unit quaternions: sines of half angles, of which ours is twice.
        let expected = row.numbers(["qt1", "qt2", "qy3"]).map(|sine| 2.0 * sine);
        let ours = numbers([error.roll, error.pitch, error.yaw]);
        assert!(off(ours, expected) <= tolerance, "{ours:?} against {expected:?}");
        // And by angle: 2·sin of half the tilt and of half the yaw.
        let tilt = 2.0 * (0.5 * row.number("tilt_deg").to_radians()).sin();
        let yaw = 2.0 * (0.5 * row.number("yaw_deg").to_radians()).sin();
        let [tilt_off, yaw_off] = [ours[0].hypot(ours[1]) - tilt, ours[2] - yaw].map(f64::abs);
        assert!(tilt_off.max(yaw_off) <= tolerance + ERROR_ANGLE_TOL, "{ours:?} against {tilt} and {yaw}");
    }
}

/// Source: `reference/tilt_yaw_split.csv` (algebra after Brescianini and D'Andrea 2020, from memory; values
/// computed).
#[test]
fn splits_tilt_from_yaw_as_the_table_when_given_two_attitudes() {
    split_agrees::<f64>(ERROR_TOL_F64);
    split_agrees::<f32>(ERROR_TOL_F32);
}

/// Turning by the error closes it: the rates asked for point where the error says.
#[test]
fn points_along_the_rotation_vector_of_the_table_when_the_turn_is_about_one_axis() {
    for row in table("tilt_yaw_split").rows() {
        let vector = row.numbers(["rotvec_x", "rotvec_y", "rotvec_z_rad"]);
        if vector.iter().filter(|part| part.abs() > 1e-12).count() != 1 {
            continue;
        }
        let now = exact::<f64>(row.numbers(["phi", "theta", "psi_deg_current"]));
        let wanted = exact::<f64>(row.numbers(["phi_d", "theta_d", "psi_d_deg"]));
        let error = AttitudeError::between(now, wanted);
        let expected = vector.map(|angle| 2.0 * (0.5 * angle).sin());
        assert!(off([error.roll, error.pitch, error.yaw], expected) <= ERROR_TOL_F64, "{error:?} against {vector:?}");
    }
}

fn angles_agree<S: Scalar>() {
    let angles = |row: Row<'_>| row.numbers(["phi_deg", "theta_deg", "psi_deg"]);
    for row in table("euler_quaternion_dcm").rows() {
        let ours = from_angles::<S>(angles(row));
        let theirs = row.numbers(["q0", "q1", "q2", "q3"]);
        assert!(attitude_off(numbers(ours.to_array()), theirs) <= EULER_TOL, "{:?}: {ours:?}", angles(row));
        // v_ned = R·v_body: the world's down axis, in body axes, is the third row of R.
        let down = numbers(ours.down_in_body());
        assert!(off(down, row.numbers(["r31", "r32", "r33"])) <= DOWN_TOL, "{:?}: {down:?}", angles(row));
    }
}

/// Source: `reference/euler_quaternion_dcm.csv` (computed with a general-purpose library; axes from memory).
#[test]
fn gives_the_quaternion_and_down_axis_of_the_table_when_turned_in_yaw_pitch_and_roll() {
    angles_agree::<f64>();
    angles_agree::<f32>();
}

fn hundred_small_turns<S: Scalar>() -> f64 {
    let reference = table("quaternion_propagation");
    let find = |dt: &str| reference.rows().find(|row| row.text("wx") == "1" && row.text("dt_s") == dt);
    let (Some(small), Some(whole)) = (find("0.001"), find("0.1")) else { panic!("rows are gone") };
    let columns = ["q0", "q1", "q2", "q3"];
    let turn = Quaternion::from_array(small.numbers(columns).map(S::from_f64));
    let after = (0..100).fold(Quaternion::IDENTITY, |attitude, _| attitude * turn);
    attitude_off(numbers(after.to_array()), whole.numbers(columns))
}

/// Source: `reference/quaternion_propagation.csv` (exact exponential, computed): turning at (1, 2, 3) rad/s,
/// a hundred rows of 1 ms against the row of 0.1 s.
#[test]
fn composes_to_the_long_turn_of_the_table_when_multiplied_by_the_short_one() {
    assert!(hundred_small_turns::<f64>() <= HUNDRED_PRODUCTS_TOL_F64, "{:e}", hundred_small_turns::<f64>());
    assert!(hundred_small_turns::<f32>() <= HUNDRED_PRODUCTS_TOL_F32, "{:e}", hundred_small_turns::<f32>());
}
