//! Least effort over some of the rotors by the normal equations: four unknowns, one an axis.
//!
//! The cheapest of the factorisations here, and the least exact: it squares the condition number. Enough for a step
//! that is taken again from what it left over, and only where no pivot comes near to rounding; elsewhere there is none,
//! and [`crate::rows`] takes over.
//!
//! * Math: A·Aᵀ = L·D·Lᵀ over the columns of A, without pivoting; rows that depend on those before them are left out
//! * Source: G. Golub, C. Van Loan, Matrix Computations, 4th ed., sections 4.1 and 5.3 (from memory)

use crate::box_least_squares::Bounded;
use crate::rotor_set::RotorSet;
use crate::scalar::Scalar;

/// Share of its diagonal that has to be left of a pivot for its row to count. A pivot is off by some ten roundings of
/// the diagonal: in `f32` by a thousandth of itself at this share, and so is a step.
pub(crate) const PIVOT_SHARE: f64 = 1.0 / 1024.0;

/// A·Aᵀ below and on its diagonal.
struct Gram<S> {
    diagonal: [S; 4],
    g10: S,
    g20: S,
    g21: S,
    g30: S,
    g31: S,
    g32: S,
}

impl<S: Scalar> Gram<S> {
    fn of(rotors: &[Bounded<S>], taking_part: RotorSet) -> Self {
        let [mut d0, mut d1, mut d2, mut d3] = [S::ZERO; 4];
        let [mut g10, mut g20, mut g21, mut g30, mut g31, mut g32] = [S::ZERO; 6];
        for (_, rotor) in taking_part.among(rotors) {
            let [a, b, c, d] = rotor.column;
            d0 = d0 + a * a;
            (g10, d1) = (g10 + b * a, d1 + b * b);
            (g20, g21, d2) = (g20 + c * a, g21 + c * b, d2 + c * c);
            (g30, g31, g32, d3) = (g30 + d * a, g31 + d * b, g32 + d * c, d3 + d * d);
        }
        Gram { diagonal: [d0, d1, d2, d3], g10, g20, g21, g30, g31, g32 }
    }
}

/// The factorisation: entries of L, reciprocals of the pivots, zero for rows that are left out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct NormalEquations<S> {
    l10: S,
    l20: S,
    l21: S,
    l30: S,
    l31: S,
    l32: S,
    inverse_pivots: [S; 4],
}

impl<S: Scalar> NormalEquations<S> {
    /// Of the rotors that take part, if as many directions as they should span, `rank`, stand clear of rounding.
    pub fn new(rotors: &[Bounded<S>], taking_part: RotorSet, rank: usize) -> Option<Self> {
        let Gram { diagonal, g10, g20, g21, g30, g31, g32 } = Gram::of(rotors, taking_part);
        let [d0, d1, d2, d3] = diagonal;
        let mut found = 0;
        let mut inverse = |pivot: S, diagonal: S| {
            if !(pivot > S::from_f64(PIVOT_SHARE) * diagonal) {
                return S::ZERO;
            }
            found += 1;
            S::ONE / pivot
        };
        let i0 = inverse(d0, d0);
        let (l10, l20, l30) = (g10 * i0, g20 * i0, g30 * i0);
        let i1 = inverse(d1 - l10 * g10, d1);
        let (c21, c31) = (g21 - l20 * g10, g31 - l30 * g10);
        let (l21, l31) = (c21 * i1, c31 * i1);
        let i2 = inverse(d2 - l20 * g20 - l21 * c21, d2);
        let c32 = g32 - l30 * g20 - l31 * c21;
        let l32 = c32 * i2;
        let i3 = inverse(d3 - l30 * g30 - l31 * c31 - l32 * c32, d3);
        let equations = NormalEquations { l10, l20, l21, l30, l31, l32, inverse_pivots: [i0, i1, i2, i3] };
        (found == rank).then_some(equations)
    }

    /// Multipliers λ with A·Aᵀ·λ = `wrench` in the rows that count, zero in the others.
    pub fn multipliers(&self, wrench: &[S; 4]) -> [S; 4] {
        let NormalEquations { l10, l20, l21, l30, l31, l32, inverse_pivots } = *self;
        let ([w0, w1, w2, w3], [i0, i1, i2, i3]) = (*wrench, inverse_pivots);
        let y0 = w0;
        let y1 = w1 - l10 * y0;
        let y2 = w2 - l20 * y0 - l21 * y1;
        let y3 = w3 - l30 * y0 - l31 * y1 - l32 * y2;
        let x3 = y3 * i3;
        let x2 = y2 * i2 - l32 * x3;
        let x1 = y1 * i1 - l21 * x2 - l31 * x3;
        let x0 = y0 * i0 - l10 * x1 - l20 * x2 - l30 * x3;
        [x0, x1, x2, x3]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use heapless::Vec;

    use crate::priority::AxisSet;
    use crate::rows::Rows;

    /// Multipliers of either factorisation agree to this, relative to the largest.
    const AGREE_TOL: f64 = 1e-13;

    /// A flat eight in units: thrust, roll, pitch, yaw.
    fn eight() -> Vec<Bounded<f64>, 8> {
        let turn = |k: usize| core::f64::consts::FRAC_PI_8 * (2 * k + 1) as f64;
        let yaw = |k: usize| if k.is_multiple_of(2) { 1.1 } else { -1.1 };
        let column = |k: usize| [1.0, -1.3 * turn(k).sin(), 1.3 * turn(k).cos(), yaw(k)];
        (0..8).map(|k| Bounded { column: column(k), floor: 0.0, ceiling: 8.0 }).collect()
    }

    fn largest(values: [f64; 4]) -> f64 {
        values.iter().fold(0.0, |largest, value| largest.larger(value.abs()))
    }

    #[test]
    fn multipliers_are_those_of_orthogonal_rows_for_every_set_that_spans_all_axes() {
        let (rotors, wrench) = (eight(), [20.0, 3.0, -2.0, 0.5]);
        let mut compared = 0;
        for taking_part in (0..256).map(RotorSet::from_bits) {
            let rows = Rows::new(&rotors, AxisSet::ALL, 4, |i, _| taking_part.contains(i));
            let Some(equations) = NormalEquations::new(&rotors, taking_part, 4) else { continue };
            assert_eq!(rows.rank(), 4, "{taking_part:?}");
            let (ours, theirs) = (equations.multipliers(&wrench), rows.multipliers(&wrench));
            let apart: [f64; 4] = core::array::from_fn(|k| ours[k] - theirs[k]);
            assert!(largest(apart) <= AGREE_TOL * largest(theirs), "{taking_part:?}: {apart:?}");
            compared += 1;
        }
        // Four neighbours, or any five, and most other fours.
        assert!(compared > 93 && NormalEquations::new(&rotors, RotorSet::from_bits(0b1111), 4).is_some(), "{compared}");
    }

    #[test]
    fn row_that_depends_is_left_out_where_the_rank_says_so_and_nowhere_else() {
        let mut rotors = eight();
        for rotor in &mut rotors {
            let [thrust, roll, pitch, _] = rotor.column;
            rotor.column = [thrust, roll, pitch, 0.5 * thrust - roll];
        }
        let all = RotorSet::first(8);
        assert!(NormalEquations::new(&rotors, all, 4).is_none());
        assert!(NormalEquations::new(&rotors, all, 2).is_none());
        let [a, b, c, d] =
            NormalEquations::new(&rotors, all, 3).expect("three directions").multipliers(&[8.0, 0.0, 0.0, 4.0]);
        assert_eq!(d, 0.0);
        assert!(largest([a - 1.0, b, c, 0.0]) <= AGREE_TOL, "one newton of each rotor makes eight: {:?}", [a, b, c]);
    }

    /// Two rows of length one at an angle whose squared sine is what is left of the second.
    #[test]
    fn nearly_dependent_rows_are_refused_below_the_share_and_taken_above() {
        for (factor, taken) in [(0.99, false), (1.01, true)] {
            let left = factor * PIVOT_SHARE;
            let columns = [
                [1.0, (1.0 - left).sqrt(), 0.0, 0.0],
                [0.0, left.sqrt(), 0.0, 0.0],
                [0.0, 0.0, 1.0, 0.0],
                [0.0, 0.0, 0.0, 1.0],
            ];
            let rotors = columns.map(|column| Bounded { column, floor: 0.0, ceiling: 1.0 });
            assert_eq!(NormalEquations::new(&rotors, RotorSet::first(4), 4).is_some(), taken, "{factor}");
        }
    }
}
