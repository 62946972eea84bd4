//! One Newton step of the box least squares: the least squares over the rotors off their limits.
//!
//! By the normal equations wherever those hold, by orthogonal rows where columns are nearly dependent; and where they
//! span less than they should, a direction along which the dual rises.

use heapless::Vec;

use crate::box_least_squares::Bounded;
use crate::normal_equations::NormalEquations;
use crate::priority::AxisSet;
use crate::rotor_set::RotorSet;
use crate::rows::Rows;
use crate::scalar::Scalar;

/// Share of the diagonal added so that a step exists when the rotors off their limits span fewer directions than they
/// should, in units of the machine epsilon.
const DAMPING_ULPS: f64 = 64.0;

/// What is worked out once for a set of rotors that span so many directions.
pub(crate) struct NewtonStep<S> {
    moving: RotorSet,
    rank: usize,
    equations: Option<NormalEquations<S>>,
}

impl<S: Scalar> NewtonStep<S> {
    pub fn new(rotors: &[Bounded<S>], moving: RotorSet, rank: usize) -> Self {
        // Fewer of them than directions: no need to look.
        let enough = moving.count() >= rank;
        let equations = if enough { NormalEquations::new(rotors, moving, rank) } else { None };
        NewtonStep { moving, rank, equations }
    }

    /// The same where that has been done.
    pub fn known(moving: RotorSet, rank: usize, equations: &NormalEquations<S>) -> Self {
        NewtonStep { moving, rank, equations: Some(*equations) }
    }

    /// The rotors that it is worked out for.
    pub fn moving(&self) -> RotorSet {
        self.moving
    }

    /// Multipliers with which these rotors make the wrench with the least effort, or come near to it.
    pub fn multipliers<const N: usize>(&self, rotors: &Vec<Bounded<S>, N>, wrench: &[S; 4]) -> [S; 4] {
        match &self.equations {
            Some(equations) => equations.multipliers(wrench),
            None => rows(rotors, self.moving, self.rank).multipliers(wrench),
        }
    }

    /// The step that a residual calls for, and whether nothing is left of it after the whole of the step, as long as no
    /// rotor meets or leaves a limit. Otherwise it is a direction in which the dual rises, and no length.
    pub fn change<const N: usize>(&self, rotors: &Vec<Bounded<S>, N>, residual: &[S; 4]) -> ([S; 4], bool) {
        match &self.equations {
            Some(equations) => (equations.multipliers(residual), true),
            None => nearly_dependent(rotors, self.moving, self.rank, residual),
        }
    }
}

/// Their rows made orthogonal, without squaring the condition number.
#[cold]
#[inline(never)]
fn rows<S: Scalar, const N: usize>(rotors: &Vec<Bounded<S>, N>, moving: RotorSet, rank: usize) -> Rows<S, N> {
    Rows::new(rotors, AxisSet::ALL, rank, |i, _| moving.contains(i))
}

#[cold]
fn nearly_dependent<S: Scalar, const N: usize>(
    rotors: &Vec<Bounded<S>, N>,
    moving: RotorSet,
    rank: usize,
    residual: &[S; 4],
) -> ([S; 4], bool) {
    if moving.count() >= rank {
        let rows = rows(rotors, moving, rank);
        if rows.rank() == rank {
            return (rows.multipliers(residual), true);
        }
    }
    let step = damped(rotors, moving, residual);
    // The line search finds its own length: a direction of moderate size keeps its digits in fixed point.
    let size = step.iter().fold(S::ONE, |largest, value| largest.larger(value.abs()));
    (step.map(|value| value / size), false)
}

/// Solves (B_moving B_movingᵀ + δI) step = residual.
fn damped<S: Scalar>(rotors: &[Bounded<S>], moving: RotorSet, residual: &[S; 4]) -> [S; 4] {
    let mut gram = [[S::ZERO; 4]; 4];
    for (_, rotor) in moving.among(rotors) {
        for (row, a) in gram.iter_mut().zip(rotor.column) {
            for (entry, b) in row.iter_mut().zip(rotor.column) {
                *entry = *entry + a * b;
            }
        }
    }
    let damping = S::from_f64(DAMPING_ULPS) * S::EPSILON;
    for (k, row) in gram.iter_mut().enumerate() {
        if let Some(diagonal) = row.get_mut(k) {
            *diagonal = *diagonal + damping * (*diagonal + S::ONE);
        }
    }
    solve_symmetric(gram, *residual)
}

/// Gaussian elimination of a symmetric positive definite system; needs no pivoting.
fn solve_symmetric<S: Scalar>(mut a: [[S; 4]; 4], mut x: [S; 4]) -> [S; 4] {
    for pivot in 0..4 {
        for row in pivot + 1..4 {
            let factor = a[row][pivot] / a[pivot][pivot];
            for column in pivot..4 {
                a[row][column] = a[row][column] - factor * a[pivot][column];
            }
            x[row] = x[row] - factor * x[pivot];
        }
    }
    for row in (0..4).rev() {
        for column in row + 1..4 {
            x[row] = x[row] - a[row][column] * x[column];
        }
        x[row] = x[row] / a[row][row];
    }
    x
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::facets::dot;

    /// Steps of rows of length one agree to this.
    const STEP_TOL: f64 = 1e-12;

    fn rotors(columns: &[[f64; 4]]) -> Vec<Bounded<f64>, 5> {
        columns.iter().map(|column| Bounded { column: *column, floor: 0.0, ceiling: 1.0 }).collect()
    }

    #[test]
    fn whole_step_leaves_nothing_also_where_the_normal_equations_do_not_hold() {
        // Two rows at an angle of 1e-4.
        let rotors = rotors(&[[1.0, 1.0, 0.0, 0.0], [0.0, 1e-4, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0], [0.0, 0.0, 0.0, 1.0]]);
        let newton = NewtonStep::new(&rotors, RotorSet::first(4), 4);
        assert!(newton.equations.is_none());
        let residual = [1e-4, 1e-4, 0.5, 0.25];
        let (step, whole) = newton.change(&rotors, &residual);
        assert!(whole);
        let made = rotors
            .iter()
            .fold([0.0; 4], |made, rotor| crate::segment::sum(&made, dot(&rotor.column, &step), &rotor.column));
        assert!(made.iter().zip(residual).all(|(made, wanted)| (made - wanted).abs() <= STEP_TOL), "{made:?}");
    }

    /// What no rotor off its limits can make asks for a way to those on their limits.
    #[test]
    fn direction_rises_where_rotors_off_their_limits_span_too_little() {
        let rotors = rotors(&[[1.0, 0.0, 0.0, 0.0], [0.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0], [0.0, 0.0, 0.0, 1.0]]);
        for moving in (0..15).map(RotorSet::from_bits) {
            let residual = [0.5, -0.25, 0.125, 0.5];
            let (step, whole) = NewtonStep::new(&rotors, moving, 4).change(&rotors, &residual);
            assert!(!whole && dot(&step, &residual) > 0.0, "{moving:?}: {step:?}");
            assert!(step.iter().all(|value| value.abs() <= 1.0), "{moving:?}: {step:?}");
        }
    }
}
