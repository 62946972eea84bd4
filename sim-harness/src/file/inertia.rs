//! Whether a body with this inertia tensor can exist.
//!
//! The principal moments of any mass distribution are positive, and none exceeds the sum of the other
//! two (∫(y²+z²) ≤ ∫(x²+z²) + ∫(x²+y²)). Source: any text on rigid-body mechanics, from memory.

use nalgebra::{Matrix3, SymmetricEigen};

use super::craft_keys::BodyKeys;
use super::error::FileError;

/// How far the largest principal moment may exceed the sum of the other two, as a part of itself: room
/// for a flat body whose moments were rounded to three figures.
pub const INERTIA_TOLERANCE: f64 = 1e-3;
/// Smallest principal moment, as a part of the largest: below it lies rounding error.
const SMALLEST_PART: f64 = 1e-9;
const EIGEN_ITERATIONS: usize = 100;

/// The checked tensor.
pub(super) fn tensor(body: &BodyKeys<'_>) -> Result<[[f64; 3]; 3], FileError> {
    let keys = &body.inertia_kg_m2;
    let tensor = [[keys.xx, keys.xy, keys.xz], [keys.xy, keys.yy, keys.yz], [keys.xz, keys.yz, keys.zz]];
    let Some([small, middle, large]) = principal_moments(tensor) else {
        return Err(body.at.refuse("inertia_kg_m2", "must have principal moments", "check each entry, in kg m²"));
    };
    let found = format!("its principal moments are {small:.3e}, {middle:.3e} and {large:.3e} kg m²");
    if !is_positive([small, middle, large]) {
        let must = format!("must have three principal moments above 0; {found}");
        let mend = "the products xy, xz, yz are too large beside xx, yy, zz: check them, or leave them out";
        return Err(body.at.refuse("inertia_kg_m2", &must, mend));
    }
    if !keeps_the_triangle([small, middle, large]) {
        let must = format!("must have no principal moment above the sum of the other two; {found}");
        let mend = "no body is like that: check for a slipped digit, and that all entries are about the centre of mass";
        return Err(body.at.refuse("inertia_kg_m2", &must, mend));
    }
    Ok(tensor)
}

/// Whether some body has this tensor.
pub(crate) fn can_exist(tensor: [[f64; 3]; 3]) -> bool {
    principal_moments(tensor).is_some_and(|moments| is_positive(moments) && keeps_the_triangle(moments))
}

fn is_positive([small, _, large]: [f64; 3]) -> bool {
    small > large * SMALLEST_PART
}

fn keeps_the_triangle([small, middle, large]: [f64; 3]) -> bool {
    large <= (small + middle) + large * INERTIA_TOLERANCE
}

/// Smallest first; `None` when the iteration does not settle.
fn principal_moments(tensor: [[f64; 3]; 3]) -> Option<[f64; 3]> {
    let matrix = Matrix3::from(tensor);
    let scale = matrix.amax();
    let eigen = SymmetricEigen::try_new(matrix / scale, f64::EPSILON, EIGEN_ITERATIONS)?;
    let mut moments: [f64; 3] = (eigen.eigenvalues * scale).into();
    moments.sort_by(f64::total_cmp);
    Some(moments)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Relative error allowed in the principal moments of a 3x3 tensor.
    const MOMENT_TOL: f64 = 1e-12;

    #[test]
    fn finds_the_moments_of_a_turned_box_when_its_axes_are_not_the_body_axes() {
        // A box with moments 1, 2, 2.5 turned by the angle with cosine 0.6 and sine 0.8 about z.
        let (c, s) = (0.6, 0.8);
        let turned = [
            [c * c * 1.0 + s * s * 2.0, c * s * (1.0 - 2.0), 0.0],
            [c * s * (1.0 - 2.0), s * s * 1.0 + c * c * 2.0, 0.0],
            [0.0, 0.0, 2.5],
        ];
        let moments = principal_moments(turned).unwrap();
        for (found, known) in moments.iter().zip([1.0, 2.0, 2.5]) {
            assert!((found / known - 1.0).abs() < MOMENT_TOL, "{moments:?}");
        }
    }
}
