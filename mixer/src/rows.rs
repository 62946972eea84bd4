//! The rows of the effectiveness matrix over some of the rotors, made orthogonal.
//!
//! Two questions are asked of it: which thrusts reach a wrench with the least effort, and which Newton step the box
//! least squares takes where columns are nearly dependent.
//!
//! * Math: A = L·Q by modified Gram-Schmidt, largest remaining row first, cut at numerical rank
//! * Source: G. Golub, C. Van Loan, Matrix Computations, 4th ed., sections 5.2 and 5.4 (from memory)

use heapless::Vec;

use crate::box_least_squares::Bounded;
use crate::priority::AxisSet;
use crate::scalar::Scalar;
use crate::wrench::Axis;

/// A row of which less than this is left, in units of the machine epsilon and of the largest row,
/// depends on the rows before it.
pub(crate) const RANK_ULPS: f64 = 64.0;

/// The factorisation. Only the first `rank` rows of each part mean anything.
pub(crate) struct Rows<S, const N: usize> {
    /// Orthonormal directions among the thrusts.
    basis: [[S; N]; 4],
    /// Row `j` of L, and the reciprocal of its diagonal.
    factor: [[S; 4]; 4],
    inverse_diagonal: [S; 4],
    /// Which axis each row is.
    axis: [usize; 4],
    rank: usize,
}

impl<S: Scalar, const N: usize> Rows<S, N> {
    /// Rows `axes` over the rotors for which `takes_part` holds, no more than `most` of them.
    pub fn new(
        rotors: &Vec<Bounded<S>, N>,
        axes: AxisSet,
        most: usize,
        takes_part: impl Fn(usize, &Bounded<S>) -> bool,
    ) -> Self {
        let mut rest = [[S::ZERO; N]; 4];
        for (i, rotor) in rotors.iter().enumerate().filter(|(i, rotor)| takes_part(*i, rotor)) {
            for (row, (axis, share)) in rest.iter_mut().zip(Axis::ALL.iter().zip(rotor.column)) {
                if let (true, Some(entry)) = (axes.contains(*axis), row.get_mut(i)) {
                    *entry = share;
                }
            }
        }
        let mut rows = Rows {
            basis: [[S::ZERO; N]; 4],
            factor: [[S::ZERO; 4]; 4],
            inverse_diagonal: [S::ZERO; 4],
            axis: [0; 4],
            rank: 0,
        };
        // Shares of each axis in the directions found so far.
        let mut shares = [[S::ZERO; 4]; 4];
        let mut smallest = S::ZERO;
        for place in 0..4_usize.min(most) {
            let (mut pivot, mut largest) = (0, S::ZERO);
            for (k, row) in rest.iter().enumerate() {
                let size = size(row);
                if size > largest {
                    (pivot, largest) = (k, size);
                }
            }
            if place == 0 {
                smallest = S::from_f64(RANK_ULPS) * S::EPSILON * largest;
            }
            if !(largest > smallest) {
                break;
            }
            rows.take(place, pivot, S::ONE / largest, &mut rest, &mut shares);
        }
        rows
    }

    /// Makes row `pivot` the next direction and takes it out of all others.
    /// `scale` brings its entries to one or less, so that squares lose no digits.
    fn take(&mut self, place: usize, pivot: usize, scale: S, rest: &mut [[S; N]; 4], shares: &mut [[S; 4]; 4]) {
        let Some(row) = rest.get(pivot) else { return };
        let row = row.map(|entry| entry * scale);
        let inverse = inner(&row, &row).recip_sqrt();
        let direction = row.map(|entry| entry * inverse);
        let inverse = inverse * scale;
        for (row, share) in rest.iter_mut().zip(shares.iter_mut()) {
            let along = inner(row, &direction);
            for (entry, unit) in row.iter_mut().zip(direction) {
                *entry = *entry - along * unit;
            }
            if let Some(slot) = share.get_mut(place) {
                *slot = along;
            }
        }
        if let Some(row) = rest.get_mut(pivot) {
            *row = [S::ZERO; N];
        }
        let places = self.basis.iter_mut().zip(&mut self.factor).zip(&mut self.inverse_diagonal).zip(&mut self.axis);
        if let Some((((basis, factor), diagonal), axis)) = places.into_iter().nth(place) {
            *basis = direction;
            *factor = shares.get(pivot).copied().unwrap_or_default();
            *diagonal = inverse;
            *axis = pivot;
        }
        self.rank = place + 1;
    }

    /// How many rows are independent.
    pub fn rank(&self) -> usize {
        self.rank
    }

    /// Solves L·y = wrench.
    fn forward(&self, wrench: &[S; 4]) -> [S; 4] {
        let mut y = [S::ZERO; 4];
        for place in 0..self.rank.min(4) {
            let wanted = self.axis.get(place).and_then(|axis| wrench.get(*axis)).copied().unwrap_or_default();
            let known = self.factor.get(place).map_or(S::ZERO, |row| {
                row.iter().zip(y).take(place).fold(S::ZERO, |sum, (share, value)| sum + *share * value)
            });
            let inverse = self.inverse_diagonal.get(place).copied().unwrap_or_default();
            if let Some(slot) = y.get_mut(place) {
                *slot = (wanted - known) * inverse;
            }
        }
        y
    }

    /// Thrusts of the least effort that reach `wrench` in these rows.
    pub fn least_effort(&self, wrench: &[S; 4]) -> [S; N] {
        let mut thrusts = [S::ZERO; N];
        for (direction, amount) in self.basis.iter().zip(self.forward(wrench)).take(self.rank) {
            for (thrust, unit) in thrusts.iter_mut().zip(direction) {
                *thrust = *thrust + amount * *unit;
            }
        }
        thrusts
    }

    /// Multipliers λ with A·Aᵀ·λ = `residual` in the independent rows, zero in the others.
    pub fn multipliers(&self, residual: &[S; 4]) -> [S; 4] {
        let mut y = self.forward(residual);
        let mut step = [S::ZERO; 4];
        for place in (0..self.rank.min(4)).rev() {
            let (Some(amount), Some(inverse)) = (y.get(place), self.inverse_diagonal.get(place)) else { continue };
            let value = *amount * *inverse;
            if let Some(row) = self.factor.get(place) {
                for (rest, share) in y.iter_mut().zip(row).take(place) {
                    *rest = *rest - *share * value;
                }
            }
            if let Some(slot) = self.axis.get(place).and_then(|axis| step.get_mut(*axis)) {
                *slot = value;
            }
        }
        step
    }
}

/// Sum of magnitudes: as good a size as any, and the cheapest.
fn size<S: Scalar, const N: usize>(row: &[S; N]) -> S {
    row.iter().fold(S::ZERO, |sum, entry| sum + entry.abs())
}

fn inner<S: Scalar, const N: usize>(a: &[S; N], b: &[S; N]) -> S {
    a.iter().zip(b).fold(S::ZERO, |sum, (x, y)| sum + *x * *y)
}
