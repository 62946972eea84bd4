//! Euler angles, quaternion and rotation matrix against a table from outside the project.

use evenkeel::attitude::{components, from_euler_rad, to_euler_rad};
use evenkeel_tests::reference::table;
use nalgebra::{Quaternion, UnitQuaternion};

/// The table has 15 digits.
const TABLE_TOL: f64 = 2e-15;
/// Angles lose digits near the vertical, in proportion to 1/cos(pitch): 600 at 89.9 deg.
const ANGLE_TOL_RAD: f64 = 1e-12;

const ANGLES: [&str; 3] = ["phi_deg", "theta_deg", "psi_deg"];

/// Source: `reference/euler_quaternion_dcm.csv` (computed with a general-purpose library; axes from memory).
#[test]
fn gives_the_quaternion_and_matrix_of_the_table_when_given_its_angles() {
    for row in table("euler_quaternion_dcm").rows() {
        let angles_deg = row.numbers(ANGLES);
        let attitude = from_euler_rad(angles_deg.map(f64::to_radians));
        let [w, x, y, z] = row.numbers(["q0", "q1", "q2", "q3"]);
        // q and −q are one attitude.
        let sign = if attitude.coords.dot(&Quaternion::new(w, x, y, z).coords) < 0.0 { -1.0 } else { 1.0 };
        for (ours, theirs) in [attitude.w, attitude.i, attitude.j, attitude.k].into_iter().zip([w, x, y, z]) {
            assert!((sign * ours - theirs).abs() <= TABLE_TOL, "{angles_deg:?}: {ours} against {theirs}");
        }
        let matrix = attitude.to_rotation_matrix();
        for (i, j) in (0..3).flat_map(|i| (0..3).map(move |j| (i, j))) {
            let theirs = row.number(&format!("r{}{}", i + 1, j + 1));
            assert!((matrix[(i, j)] - theirs).abs() <= TABLE_TOL, "{angles_deg:?}: r{}{}", i + 1, j + 1);
        }
    }
}

/// Source: as above; with the nose on the vertical only the attitude as a whole can be given back.
#[test]
fn gives_the_angles_back_when_given_the_quaternion_of_the_table() {
    for row in table("euler_quaternion_dcm").rows() {
        let [w, x, y, z] = row.numbers(["q0", "q1", "q2", "q3"]);
        let attitude = UnitQuaternion::new_normalize(Quaternion::new(w, x, y, z));
        let ours = to_euler_rad(&attitude);
        let theirs = row.numbers(ANGLES).map(f64::to_radians);
        let off_rad = 2.0 * (from_euler_rad(ours).inverse() * attitude).imag().norm();
        assert!(off_rad <= ANGLE_TOL_RAD, "{theirs:?}: {ours:?} is another attitude, by {off_rad:e} rad");
        if theirs[1].cos() > 1e-6 {
            for (ours, theirs) in ours.into_iter().zip(theirs) {
                let off = (ours - theirs).sin().atan2((ours - theirs).cos());
                assert!(off.abs() <= ANGLE_TOL_RAD, "{ours} against {theirs}");
            }
        }
    }
}

#[test]
fn never_gives_a_negative_scalar_part_when_writing_components() {
    for row in table("euler_quaternion_dcm").rows() {
        let [w, x, y, z] = row.numbers(["q0", "q1", "q2", "q3"]);
        let attitude = UnitQuaternion::new_normalize(Quaternion::new(w, x, y, z));
        let flipped = UnitQuaternion::new_unchecked(-attitude.into_inner());
        let [ours, other] = [components(&attitude), components(&flipped)];
        assert!(ours[0] >= 0.0 && other[0] >= 0.0);
        if w != 0.0 {
            assert_eq!(ours, other, "the two quaternions of one attitude");
        }
    }
}
