//! Rotor thrusts for an attainable wrench when there are more rotors than axes: the smallest sum of
//! squares within the limits.
//!
//! The dual of that problem has one unknown an axis and is concave and piecewise quadratic. Newton's
//! method climbs it: each pass solves the least squares over the rotors that are off their limits. Where that neither
//! halves what is left of the wrench nor ends where the dual still rises, it goes as far along the step as the dual
//! rises, past the points where a rotor meets or leaves a limit. From the least squares of all free rotors it needs no
//! pass when nothing saturates.
//!
//! * Math: max over λ of w·λ − Σ ½uᵢ² …, uᵢ = limit(bᵢ·λ); gradient w − Bu
//! * Output: always inside the limits, whether or not the passes sufficed
//! * Source: K. Madsen, H. B. Nielsen, Finite algorithms for robust linear regression, BIT 30, 1990
//!   (the same piecewise quadratic; from memory); derivation in docs/allocation.md

use heapless::Vec;

use crate::face::Face;
use crate::facets::dot;
use crate::line_search::{Along, line_search};
use crate::newton_step::NewtonStep;
use crate::normal_equations::NormalEquations;
use crate::priority::AxisSet;
use crate::rotor_set::RotorSet;
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
/// `wrench` is scaled as the columns are, which have entries in `axes` alone; rotors that the face pins stay where they
/// are. `of_all` are the equations of all rotors, if they are known.
pub(crate) fn solve<S: Scalar, const N: usize>(
    all: &Vec<Bounded<S>, N>,
    of_all: Option<&NormalEquations<S>>,
    face: &Face<S, N>,
    axes: AxisSet,
    wrench: &[S; 4],
) -> ([S; N], u8) {
    let climb = Climb::new(all, of_all, face, axes, wrench);
    let (multipliers, passes) = climb.to_the_top();
    let mut thrusts = [S::ZERO; N];
    for ((i, rotor), thrust) in all.iter().enumerate().zip(&mut thrusts) {
        *thrust = face.pinned_thrust(i).unwrap_or_else(|| rotor.thrust(&multipliers));
    }
    (thrusts, passes)
}

/// The problem: what the free rotors should make.
struct Climb<'a, S, const N: usize> {
    rotors: &'a Vec<Bounded<S>, N>,
    of_all: Option<&'a NormalEquations<S>>,
    free: RotorSet,
    wrench: [S; 4],
    /// Directions that they span, as far as the facets tell that were met.
    rank: usize,
    largest: S,
}

/// A place on the way up.
#[derive(Clone, Copy)]
struct Place<S> {
    multipliers: [S; 4],
    /// What the thrusts there leave of the wrench: the gradient of the dual.
    residual: [S; 4],
    /// The largest of it.
    error: S,
    /// The rotors off their limits, and those at their ceilings.
    moving: RotorSet,
    high: RotorSet,
}

impl<'a, S: Scalar, const N: usize> Climb<'a, S, N> {
    fn new(
        rotors: &'a Vec<Bounded<S>, N>,
        of_all: Option<&'a NormalEquations<S>>,
        face: &Face<S, N>,
        axes: AxisSet,
        wrench: &[S; 4],
    ) -> Self {
        let free = face.free(rotors.len());
        let largest = free.among(rotors).fold(S::ZERO, |largest, (_, rotor)| largest.larger(rotor.ceiling));
        Climb { rotors, of_all, free, wrench: face.rest(rotors, wrench), rank: face.most_rows(axes), largest }
    }

    /// The step from nowhere: the least squares of all free rotors.
    fn first_step(&self) -> NewtonStep<S> {
        match self.of_all {
            Some(known) if self.free == RotorSet::first(self.rotors.len()) => {
                NewtonStep::known(self.free, self.rank, known)
            }
            _ => NewtonStep::new(self.rotors, self.free, self.rank),
        }
    }

    // Within the loop over passes its numbers would not all find a register.
    #[inline(never)]
    fn at(&self, multipliers: [S; 4]) -> Place<S> {
        let (mut residual, mut moving, mut high) = (self.wrench, RotorSet::EMPTY, RotorSet::EMPTY);
        for (alone, rotor) in self.free.among(self.rotors) {
            let mut thrust = dot(&rotor.column, &multipliers);
            if !(thrust > rotor.floor) {
                thrust = rotor.floor;
            } else if thrust >= rotor.ceiling {
                thrust = rotor.ceiling;
                high = high.and(alone);
            } else {
                moving = moving.and(alone);
            }
            residual = sum(&residual, -thrust, &rotor.column);
        }
        let error = residual.iter().fold(S::ZERO, |worst, r| worst.larger(r.abs()));
        Place { multipliers, residual, error, moving, high }
    }

    /// The multipliers at the top, or as near to it as rounding lets them come, and the passes there.
    fn to_the_top(&self) -> ([S; 4], u8) {
        let mut newton = self.first_step();
        let mut here = self.at(newton.multipliers(self.rotors, &self.wrench));
        let met = S::from_f64(RESIDUAL_ULPS) * S::EPSILON * self.largest;
        let (near, small) = (S::from_f64(NEAR_ULPS) * S::EPSILON * self.largest, S::EPSILON.sqrt() * self.largest);
        let (mut best, mut passes, mut stalled) = (here, 0, 0);
        while !(best.error <= met) && passes < MOST_NEWTON_PASSES {
            passes += 1;
            if newton.moving() != here.moving {
                newton = NewtonStep::new(self.rotors, here.moving, self.rank);
            }
            let (next, last) = self.pass(&newton, &here, best.error, near);
            stalled = if next.error < S::HALF * best.error { 0 } else { stalled + 1 };
            if next.error < best.error {
                best = next;
            }
            here = next;
            let patience = if best.error <= small { STALLED_PASSES } else { STUCK_PASSES };
            if last || stalled >= patience {
                break;
            }
        }
        (best.multipliers, passes)
    }

    /// Where one step leads, and whether there is no point in another.
    fn pass(&self, newton: &NewtonStep<S>, here: &Place<S>, least: S, near: S) -> (Place<S>, bool) {
        let (change, whole) = newton.change(self.rotors, &here.residual);
        let mut along_it = Along { steady: RotorSet::EMPTY, crossing: self.free };
        if whole {
            let next = self.at(sum(&here.multipliers, S::ONE, &change));
            if next.error < S::HALF * least {
                return (next, false);
            }
            // A wrench on the boundary may lie outside by rounding, and the dual then rises for ever. What is left
            // where no rotor met a limit, or is rounding, is for `box_residual`.
            let unbent = (next.moving, next.high) == (here.moving, here.high);
            if unbent || least <= near {
                return (next, true);
            }
            // The dual is concave: where it still rises at the end of the step it has risen all the way.
            if dot(&change, &next.residual) >= S::ZERO {
                return (next, false);
            }
            // It stops rising before: only rotors that stand elsewhere at the end can bend it till then.
            let crossing = here.moving.apart(next.moving).and(here.high.apart(next.high));
            along_it = Along { steady: here.moving.less(crossing), crossing };
        }
        let rise = dot(&change, &here.residual);
        let length = line_search(self.rotors, along_it, &here.multipliers, &change, rise);
        let next = self.at(sum(&here.multipliers, length, &change));
        let halved = next.error < S::HALF * least;
        (next, least <= near && !halved)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wrench::Axis;

    /// Thrusts of rotors that only lift, and the passes; each starts as the fourth of 8 N.
    fn lifting(limits: [(f64, f64); 4]) -> ([f64; 4], u8) {
        let rotor = |(floor, ceiling)| Bounded { column: [1.0, 0.0, 0.0, 0.0], floor, ceiling };
        let rotors: Vec<_, 4> = limits.map(rotor).into_iter().collect();
        let lift = AxisSet::EMPTY.with(Axis::Thrust);
        solve(&rotors, None, &Face::without(RotorSet::EMPTY), lift, &[8.0, 0.0, 0.0, 0.0])
    }

    /// They make 7 N. The last three should rise by 1/3 N; two of them meet their ceilings at once, and more is left than
    /// half of what was.
    #[test]
    fn whole_step_is_taken_where_more_is_wanted_at_its_end() {
        assert_eq!(lifting([(0.0, 1.0), (0.0, 2.0625), (0.0, 2.0625), (0.0, 9.0)]), ([1.0, 2.0625, 2.0625, 2.875], 2));
    }

    /// They make 6.25 N. The first should rise by 1.75 N; the second leaves its floor on the way, and too much is made.
    #[test]
    fn step_that_goes_too_far_is_cut_to_where_the_thrusts_make_the_wrench() {
        assert_eq!(lifting([(0.0, 9.0), (2.25, 9.0), (0.0, 1.0), (0.0, 1.0)]), ([3.0, 3.0, 1.0, 1.0], 1));
    }
}
