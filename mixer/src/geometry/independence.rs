//! Whether each axis can be moved by itself: the rank of the effectiveness matrix, axis by axis.

use crate::geometry::Effectiveness;
use crate::scalar::recip_sqrt_f64;
use crate::wrench::Axis;

/// A row of the effectiveness matrix counts as dependent on the rows before it when less than this
/// share of its length is left after they are projected out.
pub const INDEPENDENCE_TOL: f64 = 1.0e-6;

impl<const N: usize> Effectiveness<N> {
    /// The first axis whose row depends on the rows before it: Gram-Schmidt on the rows.
    pub(super) const fn dependent_axis(&self) -> Option<Axis> {
        let mut basis = [[0.0; N]; 4];
        let mut row = 0;
        while row < 4 {
            let mut rest = [0.0; N];
            let mut i = 0;
            while i < self.len {
                rest[i] = self.columns[i][row];
                i += 1;
            }
            let length = dot(&rest, &rest);
            let mut before = 0;
            while before < row {
                let share = dot(&rest, &basis[before]);
                let mut i = 0;
                while i < self.len {
                    rest[i] -= share * basis[before][i];
                    i += 1;
                }
                before += 1;
            }
            let left = dot(&rest, &rest);
            if !(left > INDEPENDENCE_TOL * INDEPENDENCE_TOL * length) {
                return Some(Axis::ALL[row]);
            }
            let scale = recip_sqrt_f64(left);
            let mut i = 0;
            while i < self.len {
                basis[row][i] = rest[i] * scale;
                i += 1;
            }
            row += 1;
        }
        None
    }
}

const fn dot<const N: usize>(a: &[f64; N], b: &[f64; N]) -> f64 {
    let mut sum = 0.0;
    let mut i = 0;
    while i < N {
        sum += a[i] * b[i];
        i += 1;
    }
    sum
}
