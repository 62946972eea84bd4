//! The pseudo-inverse of the effectiveness matrix: least-squares thrusts for a wrench.

use crate::geometry::Effectiveness;

impl<const N: usize> Effectiveness<N> {
    /// Moore-Penrose inverse, one row for each rotor: least-squares thrusts for a wrench.
    ///
    /// * Math: Bᵀ(BBᵀ)⁻¹, rows scaled first, solved by Gauss-Jordan elimination with pivoting
    /// * Source: G. Golub, C. Van Loan, Matrix Computations, 4th ed., section 5.5 (from memory)
    pub const fn pseudo_inverse(&self) -> [[f64; 4]; N] {
        let scales = self.units();
        let inverse = self.scaled_gram_inverse();
        let mut rows = [[0.0; 4]; N];
        let mut i = 0;
        while i < self.len {
            let mut axis = 0;
            while axis < 4 {
                let mut sum = 0.0;
                let mut k = 0;
                while k < 4 {
                    sum += self.columns[i][k] / scales[k] * inverse[k][axis];
                    k += 1;
                }
                rows[i][axis] = sum / scales[axis];
                axis += 1;
            }
            i += 1;
        }
        rows
    }

    /// (BBᵀ)⁻¹ of the matrix in [`Self::units`].
    pub(crate) const fn scaled_gram_inverse(&self) -> [[f64; 4]; 4] {
        invert(self.scaled_gram(self.units()))
    }

    /// BBᵀ of the matrix with its rows divided by `scales`.
    const fn scaled_gram(&self, scales: [f64; 4]) -> [[f64; 4]; 4] {
        let mut gram = [[0.0; 4]; 4];
        let mut row = 0;
        while row < 4 {
            let mut column = 0;
            while column < 4 {
                let mut i = 0;
                while i < self.len {
                    gram[row][column] +=
                        self.columns[i][row] / scales[row] * (self.columns[i][column] / scales[column]);
                    i += 1;
                }
                column += 1;
            }
            row += 1;
        }
        gram
    }
}

/// Inverse of a symmetric positive definite matrix.
const fn invert(mut a: [[f64; 4]; 4]) -> [[f64; 4]; 4] {
    let mut inverse = [[1.0, 0.0, 0.0, 0.0], [0.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0], [0.0, 0.0, 0.0, 1.0]];
    let mut pivot = 0;
    while pivot < 4 {
        let mut best = pivot;
        let mut row = pivot + 1;
        while row < 4 {
            if a[row][pivot].abs() > a[best][pivot].abs() {
                best = row;
            }
            row += 1;
        }
        let (kept_a, kept_inverse) = (a[pivot], inverse[pivot]);
        a[pivot] = a[best];
        inverse[pivot] = inverse[best];
        a[best] = kept_a;
        inverse[best] = kept_inverse;

        let scale = 1.0 / a[pivot][pivot];
        let mut column = 0;
        while column < 4 {
            a[pivot][column] *= scale;
            inverse[pivot][column] *= scale;
            column += 1;
        }
        let mut row = 0;
        while row < 4 {
            let factor = a[row][pivot];
            let mut column = 0;
            while row != pivot && column < 4 {
                a[row][column] -= factor * a[pivot][column];
                inverse[row][column] -= factor * inverse[pivot][column];
                column += 1;
            }
            row += 1;
        }
        pivot += 1;
    }
    inverse
}
