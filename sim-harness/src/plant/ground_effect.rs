//! The thrust that the ground adds to a rotor near it.
//!
//! * Math: T/T∞ = 1/(1 − (R/4z)²/(1 + (V/v)²)), z the height of the hub, V the air's speed across the axis, v the induced
//!   velocity in hover. At the same speed the torque stays. A leaning rotor gains by the cosine of its lean, and
//!   one that points down gains nothing
//! * Range: z ≥ R/2 and V of the order of v; nearer than [`NEAREST_IN_RADII`] counts as there. The formula is that of a
//!   single rotor: several close together gain more, and a wide body beneath them changes it
//! * Source: I.C. Cheeseman, W.E. Bennett, ARC R&M 3021, 1955 (abstract read, both formulas from memory); the cosine is a
//!   choice of this project

use nalgebra::Vector3;

/// Lowest height of the hub, in rotor radii, at which the formula is used.
pub const NEAREST_IN_RADII: f64 = 0.5;

/// Share that is added to the thrust.
///
/// * `height_in_radii`: of the hub; `edgewise_square`: (V/v)²
/// * `down`: unit vector, same axes as `axis`
pub(super) fn gain(height_in_radii: f64, edgewise_square: f64, axis: &Vector3<f64>, down: &Vector3<f64>) -> f64 {
    let upright = -axis.dot(down);
    if upright > 0.0 {
        let image = 0.25 / height_in_radii.max(NEAREST_IN_RADII);
        let image = image * image / (1.0 + edgewise_square);
        upright * image / (1.0 - image)
    } else {
        0.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rounding of a few operations.
    const EXACT_TOL: f64 = 1e-14;

    #[test]
    fn adds_a_third_at_most_when_the_rotor_is_as_low_as_the_formula_goes() {
        let (up, down) = (-Vector3::z(), Vector3::z());
        for height in [0.5, 0.2, 0.0, -3.0] {
            assert!((gain(height, 0.0, &up, &down) - 1.0 / 3.0).abs() < EXACT_TOL);
        }
        assert!((gain(1.0, 0.0, &up, &down) - 1.0 / 15.0).abs() < EXACT_TOL);
        assert!((gain(0.5, 1.0, &up, &down) - 1.0 / 7.0).abs() < EXACT_TOL);
    }

    #[test]
    fn adds_nothing_when_the_rotor_points_down_or_across() {
        assert_eq!(gain(1.0, 0.0, &Vector3::z(), &Vector3::z()), 0.0);
        assert_eq!(gain(1.0, 0.0, &Vector3::x(), &Vector3::z()), 0.0);
    }
}
