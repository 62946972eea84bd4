//! Rotor thrusts for an attainable wrench when there are more rotors than axes: the smallest sum of
//! squares within the limits.
//!
//! The dual of that problem has one unknown an axis and is concave and piecewise quadratic. Newton's
//! method with an exact line search climbs it: each pass solves the least squares over the rotors that
//! are off their limits, then goes as far along the step as the dual still rises, past the points
//! where a rotor meets or leaves a limit. From the pseudo-inverse it needs no pass when nothing
//! saturates.
//!
//! * Math: max over λ of w·λ − Σ ½uᵢ² …, uᵢ = limit(bᵢ·λ); gradient w − Bu
//! * Output: always inside the limits, whether or not the passes sufficed
//! * Source: K. Madsen, H. B. Nielsen, Finite algorithms for robust linear regression, BIT 30, 1990
//!   (the same piecewise quadratic; from memory); derivation in docs/allocation.md

use heapless::Vec;

use crate::face::Face;
use crate::facets::dot;
use crate::priority::AxisSet;
use crate::rows::Rows;
use crate::scalar::Scalar;
use crate::segment::sum;

/// Most passes of one allocation: Newton passes, and those that `box_residual` takes after them.
pub const MAX_PASSES: u8 = 40;

/// Most of them that are Newton passes.
const MOST_NEWTON_PASSES: u8 = 24;

/// Residual, in units of the machine epsilon and the largest ceiling, at which passes end.
const RESIDUAL_ULPS: f64 = 8.0;

/// Residual, in the same units, that is small enough to end at the first pass which does not halve it. Between
/// this and half the digits, so many of these in a row end it; above, where columns all but lie in one facet and
/// multipliers outgrow the scalar, so many more.
const NEAR_ULPS: f64 = 64.0;
const STALLED_PASSES: u8 = 3;
const STUCK_PASSES: u8 = 6;

/// What counts as rounding in the line search, in units of the machine epsilon.
const LINE_ULPS: f64 = 4096.0;

/// Share of the diagonal added so that a step exists when the rotors off their limits span fewer than
/// four axes, in units of the machine epsilon.
const DAMPING_ULPS: f64 = 64.0;

/// A rotor as this problem sees it: its column with rows scaled, its limits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Bounded<S> {
    pub column: [S; 4],
    pub floor: S,
    pub ceiling: S,
}

impl<S: Scalar> Bounded<S> {
    fn thrust(&self, multipliers: &[S; 4]) -> S {
        dot(&self.column, multipliers).limit(self.floor, self.ceiling)
    }
}

/// Least-squares thrusts within the limits, and the number of passes they took.
///
/// `wrench` is scaled as the columns are; rotors that the face pins stay where they are.
pub(crate) fn solve<S: Scalar, const N: usize>(
    all: &Vec<Bounded<S>, N>,
    face: &Face<S, N>,
    wrench: &[S; 4],
) -> ([S; N], u8) {
    let wrench = &face.rest(all, wrench);
    let rows = Rows::new(all, AxisSet::ALL, face.most_rows(AxisSet::ALL), |i, _| face.is_free(i));
    let mut multipliers = rows.multipliers(wrench);
    let mut free: Vec<Bounded<S>, N> = Vec::new();
    for (_, rotor) in all.iter().enumerate().filter(|(i, _)| face.is_free(*i)) {
        let _ = free.push(*rotor);
    }
    let rotors = &free;
    let mut largest = S::ZERO;
    for rotor in rotors {
        largest = largest.larger(rotor.ceiling);
    }
    let met = S::from_f64(RESIDUAL_ULPS) * S::EPSILON * largest;
    // A wrench on the boundary may lie outside by rounding, and the dual then rises for ever: once the
    // residual is down to rounding, a pass that does not halve it again ends the climb, and once it is down to
    // half the digits, a few such passes do. What they leave over is for `box_residual`.
    let (near, small) = (S::from_f64(NEAR_ULPS) * S::EPSILON * largest, S::EPSILON.sqrt() * largest);
    let mut best = (multipliers, None);
    let (mut passes, mut stalled) = (0, 0);
    loop {
        let residual = residual(rotors, wrench, &multipliers);
        let error = residual.iter().fold(S::ZERO, |worst, r| worst.larger(r.abs()));
        let improved = best.1.is_none_or(|least| error < S::HALF * least);
        if best.1.is_none_or(|least| error < least) {
            best = (multipliers, Some(error));
        }
        stalled = if improved { 0 } else { stalled + 1 };
        let patience = |least: S| match () {
            () if least <= near => 1,
            () if least <= small => STALLED_PASSES,
            () => STUCK_PASSES,
        };
        let enough = |least: S| stalled >= patience(least);
        if error <= met || passes == MOST_NEWTON_PASSES || best.1.is_some_and(enough) {
            break;
        }
        let step = newton_step(rotors, &multipliers, &residual);
        let length = line_search(rotors, &multipliers, &step, dot(&step, &residual));
        for (value, change) in multipliers.iter_mut().zip(step) {
            *value = *value + length * change;
        }
        passes += 1;
    }
    let mut thrusts = [S::ZERO; N];
    for ((i, rotor), thrust) in all.iter().enumerate().zip(&mut thrusts) {
        *thrust = face.pinned_thrust(i).unwrap_or_else(|| rotor.thrust(&best.0));
    }
    (thrusts, passes)
}

fn residual<S: Scalar, const N: usize>(rotors: &Vec<Bounded<S>, N>, wrench: &[S; 4], multipliers: &[S; 4]) -> [S; 4] {
    rotors.iter().fold(*wrench, |rest, rotor| sum(&rest, -rotor.thrust(multipliers), &rotor.column))
}

/// Solves (B_free B_freeᵀ + δI) step = residual by LDLᵀ.
fn newton_step<S: Scalar, const N: usize>(
    rotors: &Vec<Bounded<S>, N>,
    multipliers: &[S; 4],
    residual: &[S; 4],
) -> [S; 4] {
    // Where they span all axes, without squaring the condition number.
    let moves = |rotor: &Bounded<S>| {
        let thrust = dot(&rotor.column, multipliers);
        thrust > rotor.floor && thrust < rotor.ceiling
    };
    let rows = Rows::new(rotors, AxisSet::ALL, 4, |_, rotor| moves(rotor));
    if rows.rank() == 4 {
        return rows.multipliers(residual);
    }
    let mut gram = [[S::ZERO; 4]; 4];
    for rotor in rotors {
        let thrust = dot(&rotor.column, multipliers);
        if thrust > rotor.floor && thrust < rotor.ceiling {
            for (row, a) in gram.iter_mut().zip(rotor.column) {
                for (entry, b) in row.iter_mut().zip(rotor.column) {
                    *entry = *entry + a * b;
                }
            }
        }
    }
    let damping = S::from_f64(DAMPING_ULPS) * S::EPSILON;
    for (k, row) in gram.iter_mut().enumerate() {
        if let Some(diagonal) = row.get_mut(k) {
            *diagonal = *diagonal + damping * (*diagonal + S::ONE);
        }
    }
    // The line search finds its own length: a damped step is only a direction, and one of moderate size
    // keeps its digits in fixed point.
    let step = solve_symmetric(gram, *residual);
    let size = step.iter().fold(S::ONE, |largest, value| largest.larger(value.abs()));
    step.map(|value| value / size)
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

/// Where the dual stops rising along the step: the root of its piecewise linear slope.
///
/// `rise` is the slope at the start, above zero. What is left of it after the bends is known only to
/// rounding, and so is which rotors do not move along the step: both thresholds are relative.
fn line_search<S: Scalar, const N: usize>(
    rotors: &Vec<Bounded<S>, N>,
    multipliers: &[S; 4],
    step: &[S; 4],
    mut rise: S,
) -> S {
    let rounding = S::from_f64(LINE_ULPS) * S::EPSILON;
    let level = rounding * rise;
    let crossings = crossings(rotors, multipliers, step, rounding);
    let mut along = S::ZERO;
    // Each rotor crosses its two limits at most once.
    for _ in 0..2 * N {
        let mut bend = S::ZERO;
        let mut next = None;
        for crossing in &crossings {
            if crossing.enters <= along && along < crossing.leaves {
                bend = bend + crossing.speed * crossing.speed;
            }
            for place in [crossing.enters, crossing.leaves] {
                if place > along && next.is_none_or(|earliest| place < earliest) {
                    next = Some(place);
                }
            }
        }
        let Some(next) = next else { break };
        let drop = bend * (next - along);
        if rise <= drop {
            return along + rise / bend;
        }
        rise = rise - drop;
        if rise <= level {
            return next;
        }
        along = next;
    }
    along
}

/// Where along the step a rotor comes off one limit and meets the other.
struct Crossing<S> {
    speed: S,
    enters: S,
    leaves: S,
}

fn crossings<S: Scalar, const N: usize>(
    rotors: &Vec<Bounded<S>, N>,
    multipliers: &[S; 4],
    step: &[S; 4],
    rounding: S,
) -> Vec<Crossing<S>, N> {
    let fastest = rotors.iter().fold(S::ZERO, |most, rotor| most.larger(dot(&rotor.column, step).abs()));
    let mut crossings = Vec::new();
    for rotor in rotors {
        let speed = dot(&rotor.column, step);
        if !(speed.abs() > rounding * fastest) {
            continue;
        }
        let start = dot(&rotor.column, multipliers);
        let (at_floor, at_ceiling) = ((rotor.floor - start) / speed, (rotor.ceiling - start) / speed);
        let (enters, leaves) = if speed > S::ZERO { (at_floor, at_ceiling) } else { (at_ceiling, at_floor) };
        // There are no more crossings than rotors.
        let _ = crossings.push(Crossing { speed, enters, leaves });
    }
    crossings
}
