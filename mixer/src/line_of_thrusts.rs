//! The thrusts of a few rotors that make some rows of a wrench, where they form a line or a point.
//!
//! One rotor more than there are independent rows leaves one thrust to choose. With so few rotors elimination is the
//! shortest way there.
//!
//! * Math: Gauss-Jordan elimination, largest row first and largest entry in it, cut at numerical rank; of the line the
//!   point of the least effort
//! * Source: G. Golub, C. Van Loan, Matrix Computations, 4th ed., section 3.4 (from memory)

use crate::box_least_squares::Bounded;
use crate::cut::component;
use crate::priority::AxisSet;
use crate::rotor_set::RotorSet;
use crate::rows::RANK_ULPS;
use crate::scalar::Scalar;
use crate::wrench::Axis;

/// Most rotors that leave no more than a line: one more than the rows of a wrench on a facet.
pub(crate) const ON_A_LINE: usize = 4;

/// Thrusts `start + t·along` of some rotors, in order.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct LineOfThrusts<S> {
    /// The one of the least effort.
    pub start: [S; ON_A_LINE],
    /// Zero where they are a point.
    pub along: [S; ON_A_LINE],
}

/// What one axis asks of the rotors. Once it is solved for one of them, that rotor's share is one and not kept.
#[derive(Clone, Copy, Default)]
struct Row<S> {
    shares: [S; ON_A_LINE],
    wanted: S,
    solved_for: Option<usize>,
}

impl<S: Scalar> LineOfThrusts<S> {
    /// Of these rotors, no more than [`ON_A_LINE`], that make `wrench` in these axes, of which no more than `most` are
    /// independent. None where more than one thrust is left to choose.
    pub fn new(rotors: &[Bounded<S>], axes: AxisSet, most: usize, wrench: &[S; 4]) -> Option<Self> {
        let mut rows = rows(rotors, axes, wrench);
        let mut left = RotorSet::first(rotors.len());
        let mut least = None;
        for _ in 0..most {
            let (place, size) = largest(&rows);
            let least = *least.get_or_insert(S::from_f64(RANK_ULPS) * S::EPSILON * size);
            if !(size > least) {
                break;
            }
            left = left.without(solve(&mut rows, place));
        }
        let choice = match left.count() {
            0 => None,
            1 => left.lowest(),
            _ => return None,
        };
        Some(LineOfThrusts::through(&rows, choice))
    }

    /// From solved rows, and the rotor that none is solved for.
    fn through(rows: &[Row<S>; 4], choice: Option<usize>) -> Self {
        let mut line = LineOfThrusts { start: [S::ZERO; ON_A_LINE], along: [S::ZERO; ON_A_LINE] };
        if let Some(speed) = choice.and_then(|rotor| line.along.get_mut(rotor)) {
            *speed = S::ONE;
        }
        for row in rows {
            let Some(rotor) = row.solved_for else { continue };
            if let (Some(start), Some(speed)) = (line.start.get_mut(rotor), line.along.get_mut(rotor)) {
                *start = row.wanted;
                *speed = choice.and_then(|other| row.shares.get(other)).map_or(S::ZERO, |share| -*share);
            }
        }
        if choice.is_some() {
            let to_the_least = inner(&line.start, &line.along) / inner(&line.along, &line.along);
            for (start, speed) in line.start.iter_mut().zip(line.along) {
                *start = *start - to_the_least * speed;
            }
        }
        line
    }
}

fn rows<S: Scalar>(rotors: &[Bounded<S>], axes: AxisSet, wrench: &[S; 4]) -> [Row<S>; 4] {
    let mut rows = [Row { shares: [S::ZERO; ON_A_LINE], wanted: S::ZERO, solved_for: None }; 4];
    for ((row, axis), wanted) in rows.iter_mut().zip(Axis::ALL).zip(wrench) {
        if axes.contains(axis) {
            row.wanted = *wanted;
            for (share, rotor) in row.shares.iter_mut().zip(rotors) {
                *share = component(&rotor.column, axis);
            }
        }
    }
    rows
}

/// Where the largest row stands that is not solved yet, and the sum of its magnitudes.
fn largest<S: Scalar>(rows: &[Row<S>; 4]) -> (usize, S) {
    let mut found = (0, S::ZERO);
    for (place, row) in rows.iter().enumerate().filter(|(_, row)| row.solved_for.is_none()) {
        let size = row.shares.iter().fold(S::ZERO, |sum, share| sum + share.abs());
        if size > found.1 {
            found = (place, size);
        }
    }
    found
}

/// Solves this row for the rotor with the largest share and puts that into all others; returns the rotor.
fn solve<S: Scalar>(rows: &mut [Row<S>; 4], place: usize) -> usize {
    let mut row = rows.get(place).copied().unwrap_or_default();
    let (mut rotor, mut pivot) = (0, S::ZERO);
    for (i, share) in row.shares.iter().enumerate() {
        if share.abs() > pivot.abs() {
            (rotor, pivot) = (i, *share);
        }
    }
    let inverse = S::ONE / pivot;
    row.shares = row.shares.map(|share| share * inverse);
    row.wanted = row.wanted * inverse;
    row.solved_for = Some(rotor);
    if let Some(own) = row.shares.get_mut(rotor) {
        *own = S::ZERO;
    }
    for other in rows.iter_mut() {
        let Some(share) = other.shares.get_mut(rotor) else { continue };
        let factor = core::mem::replace(share, S::ZERO);
        other.wanted = other.wanted - factor * row.wanted;
        for (share, of_row) in other.shares.iter_mut().zip(row.shares) {
            *share = *share - factor * of_row;
        }
    }
    if let Some(slot) = rows.get_mut(place) {
        *slot = row;
    }
    rotor
}

fn inner<S: Scalar>(a: &[S; ON_A_LINE], b: &[S; ON_A_LINE]) -> S {
    a.iter().zip(b).fold(S::ZERO, |sum, (x, y)| sum + *x * *y)
}

#[cfg(test)]
mod tests {
    use super::*;
    use heapless::Vec;

    use crate::facets::dot;
    use crate::segment::sum;
    use crate::walk::wrench_of;

    /// Thrusts of a newton or so agree to this, newtons.
    const THRUST_TOL_N: f64 = 1e-13;

    fn rotors(columns: &[[f64; 4]]) -> Vec<Bounded<f64>, 5> {
        columns.iter().map(|column| Bounded { column: *column, floor: 0.0, ceiling: 1.0 }).collect()
    }

    fn axes(axes: &[Axis]) -> AxisSet {
        axes.iter().fold(AxisSet::EMPTY, |set, axis| set.with(*axis))
    }

    /// Three rotors without symmetry.
    const COLUMNS: [[f64; 4]; 3] = [[1.0, 0.5, -1.25, 1.0], [1.0, -1.5, 0.25, -1.0], [0.75, 1.0, 1.5, -0.5]];

    fn largest(values: &[f64]) -> f64 {
        values.iter().fold(0.0, |most, value| most.larger(value.abs()))
    }

    #[test]
    fn line_keeps_what_is_decided_and_starts_where_the_effort_is_least() {
        let (rotors, decided) = (rotors(&COLUMNS), axes(&[Axis::Roll, Axis::Yaw]));
        let wanted = [0.0, 0.5, 0.0, -0.25];
        let line = LineOfThrusts::new(&rotors, decided, 2, &wanted).expect("a line");
        let made = decided.of(&wrench_of(&rotors, &line.start));
        assert!(largest(&sum(&made, -1.0, &wanted)) <= THRUST_TOL_N, "{made:?}");
        assert!(largest(&decided.of(&wrench_of(&rotors, &line.along))) <= THRUST_TOL_N, "{line:?}");
        assert!(largest(&line.along) >= 1.0);
        // No thrust along the line is left in the start.
        assert!(dot(&line.start, &line.along).abs() <= THRUST_TOL_N, "{line:?}");
    }

    #[test]
    fn point_is_the_thrusts_that_make_the_wrench() {
        let (rotors, thrusts) = (rotors(&COLUMNS), [0.25, 0.75, 0.5]);
        let decided = axes(&[Axis::Thrust, Axis::Roll, Axis::Pitch]);
        let line = LineOfThrusts::new(&rotors, decided, 3, &wrench_of(&rotors, &thrusts)).expect("a point");
        let [a, b, c, _] = line.start;
        assert!(largest(&[a - 0.25, b - 0.75, c - 0.5]) <= THRUST_TOL_N, "{line:?}");
        assert_eq!(line.along, [0.0; ON_A_LINE]);
    }

    /// A facet leaves rows that depend on each other: of two, one counts.
    #[test]
    fn row_that_depends_takes_no_rotor() {
        let rotors = rotors(&[[1.0, 0.5, 0.25, 1.0], [1.0, -1.0, -0.5, -1.0]]);
        let decided = axes(&[Axis::Roll, Axis::Pitch]);
        for most in [1, 2] {
            let line = LineOfThrusts::new(&rotors, decided, most, &[0.0, 0.5, 0.25, 0.0]).expect("a line");
            let [a, b, ..] = line.start;
            // Of the smallest size with a/2 − b = 1/2.
            assert!(largest(&[a - 0.2, b + 0.4]) <= THRUST_TOL_N, "{line:?}");
        }
    }

    #[test]
    fn more_than_one_thrust_to_choose_is_no_line() {
        let rotors = rotors(&COLUMNS);
        assert_eq!(LineOfThrusts::new(&rotors, axes(&[Axis::Roll]), 1, &[0.0; 4]), None);
        assert_eq!(LineOfThrusts::new(&rotors, axes(&[Axis::Roll, Axis::Yaw]), 1, &[0.0; 4]), None);
    }
}
