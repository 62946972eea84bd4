//! The floor that ratios refer to: the product of the pseudo-inverse with the demand, and the limits.

use evenkeel_mixer::Design;

/// What the bare product needs of a craft.
pub struct Bare<const N: usize> {
    rows: [[f32; 4]; N],
    floors: [f32; N],
    ceilings: [f32; N],
}

impl<const N: usize> Bare<N> {
    /// In the scalar that flies.
    pub fn new<const F: usize>(design: &Design<N, F>) -> Self {
        let matrix = design.effectiveness();
        let single = |value: &f64| *value as f32;
        let mut bare = Bare {
            rows: matrix.pseudo_inverse().map(|row| row.map(|v| v as f32)),
            floors: [0.0; N],
            ceilings: [0.0; N],
        };
        for (to, from) in bare.floors.iter_mut().zip(matrix.floors_n()) {
            *to = single(from);
        }
        for (to, from) in bare.ceilings.iter_mut().zip(matrix.ceilings_n()) {
            *to = single(from);
        }
        bare
    }

    /// Thrusts for a wrench, each forced into its limits.
    #[inline(never)]
    pub fn product_and_clamp(&self, wrench: &[f32; 4], thrusts: &mut [f32; N]) {
        let [w0, w1, w2, w3] = *wrench;
        for (((thrust, [a, b, c, d]), floor), ceiling) in
            thrusts.iter_mut().zip(&self.rows).zip(&self.floors).zip(&self.ceilings)
        {
            let wanted = a * w0 + b * w1 + c * w2 + d * w3;
            *thrust = if wanted < *floor {
                *floor
            } else if wanted > *ceiling {
                *ceiling
            } else {
                wanted
            };
        }
    }
}
