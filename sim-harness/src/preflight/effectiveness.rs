//! The effectiveness matrix worked out from the craft alone, so that what flies can be held to it.
//!
//! * Math: column i is (−a_z, r×a − k·a), r from the centre of mass to the hub, a the thrust's direction, k the reaction torque per
//!   newton, its sign that of the spin. A demand off the rotors' limits is met with the least sum of squares: f = B⁺·w
//! * Source: statics; pseudo-inverse: E. H. Moore, R. Penrose (any text on linear algebra, from memory)

use nalgebra::{DVector, Matrix3, Matrix4, Matrix4xX, Vector3, Vector4};

use crate::craft::{Craft, Rotor};

/// Singular values below this, of rows of length one, count as none.
const RANK_TOL: f64 = 1.0e-6;

/// Wrench per newton of each rotor: thrust along −z, roll, pitch, yaw.
pub(super) fn effectiveness(craft: &Craft) -> Matrix4xX<f64> {
    let column = |rotor: &Rotor| {
        let axis = Vector3::from(rotor.axis);
        let arm_m = Vector3::from(rotor.position_m) - Vector3::from(craft.body.center_of_mass_m);
        let torque = arm_m.cross(&axis) - rotor.reaction_m() * axis;
        [-axis.z, torque.x, torque.y, torque.z]
    };
    Matrix4xX::from_iterator(craft.rotors.len(), craft.rotors.iter().flat_map(column))
}

/// How many of the four axes the rotors move: the rank, each row scaled to length one.
pub(super) fn axes_moved(craft: &Craft) -> usize {
    let mut matrix = effectiveness(craft);
    for mut row in matrix.row_iter_mut() {
        row.try_normalize_mut(RANK_TOL);
    }
    matrix.rank(RANK_TOL)
}

/// Change of each rotor's thrust for this wrench, least squares; `None` where the rotors cannot give it.
pub(super) fn least_squares_n(craft: &Craft, wrench: [f64; 4]) -> Option<Vec<f64>> {
    let matrix = effectiveness(craft);
    // Newtons and newton metres: the rows are made alike first.
    let scale = Vector4::from_fn(|row, _| {
        let length = matrix.row(row).norm();
        if length > 0.0 { 1.0 / length } else { 1.0 }
    });
    let scaled = Matrix4::from_diagonal(&scale) * &matrix;
    let gram = scaled.clone() * scaled.transpose();
    let solved = gram.lu().solve(&Vector4::from(wrench).component_mul(&scale))?;
    let thrusts: DVector<f64> = scaled.transpose() * solved;
    Some(thrusts.iter().copied().collect())
}

/// Torque about the body axes that turns the craft about one of them (roll 0, pitch 1, yaw 2) by 1 rad/s² and about no other.
pub(super) fn torque_nm(craft: &Craft, axis: usize) -> [f64; 3] {
    (Matrix3::from(craft.body.inertia_kg_m2) * Vector3::ith(axis, 1.0)).into()
}
