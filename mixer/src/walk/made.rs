//! What comes of a walk: thrusts and the wrench they make, and whether that is what the walk chose.

use super::Walk;
use crate::box_least_squares::{self, Bounded, MAX_PASSES};
use crate::box_residual;
use crate::priority::AxisSet;
use crate::scalar::Scalar;
use crate::segment::sum;

/// What was achieved may differ from what a tier chose by this much, in units of the machine epsilon and of
/// all rotors at their ceilings, before the facet it met is doubted.
const STRAYED_ULPS: f64 = 64.0;

/// What came of a walk.
pub(crate) struct Made<S, const N: usize> {
    pub thrusts: [S; N],
    /// What they make, in units.
    pub wrench: [S; 4],
    /// Newton passes of their least squares.
    pub passes: u8,
    /// Whether they needed none.
    read_off: bool,
}

impl<S, const N: usize> Made<S, N> {
    /// Without least squares.
    pub fn read_off(thrusts: [S; N], wrench: [S; 4]) -> Self {
        Made { thrusts, wrench, passes: 0, read_off: true }
    }
}

impl<S: Scalar, const N: usize> Walk<'_, S, N> {
    /// What came of it.
    pub fn made(&self) -> Made<S, N> {
        let craft = self.craft;
        let (mut passes, mut read_off) = (0, true);
        let thrusts = if craft.is_square() {
            let mut thrusts = craft.direct.thrusts_in_units(&self.wrench, craft.units);
            craft.direct.limit(&mut thrusts);
            thrusts
        } else if let Some(segment) = &self.segment {
            self.face.thrusts(craft.rotors, segment.t())
        } else {
            let known = craft.equations.as_ref();
            let (thrusts, taken) =
                box_least_squares::solve(craft.rotors, known, &self.face, AxisSet::ALL, &self.wrench);
            (passes, read_off) = (taken, false);
            thrusts
        };
        Made { thrusts, wrench: wrench_of(craft.rotors, &thrusts), passes, read_off }
    }

    /// The same, or what comes nearer to the wrench that was chosen where the thrusts miss it by more than rounding.
    pub fn mended(&self, made: Made<S, N>) -> Made<S, N> {
        if self.missed_by(&made) <= self.rounding() { made } else { self.moved_nearer(made) }
    }

    /// How far what the thrusts make lies from what was chosen, in units.
    fn missed_by(&self, made: &Made<S, N>) -> S {
        largest(&sum(&self.wrench, -S::ONE, &made.wrench))
    }

    #[cold]
    fn moved_nearer(&self, mut made: Made<S, N>) -> Made<S, N> {
        let left = MAX_PASSES.saturating_sub(made.passes);
        let rotors = self.craft.rotors;
        made.passes += box_residual::reduce(rotors, &self.wrench, &mut made.thrusts, self.rounding(), left);
        made.wrench = wrench_of(rotors, &made.thrusts);
        made
    }

    /// Whether the first facet that was met turns out the wrong one: at the corner of two facets that are almost
    /// parallel rounding decides which of them a line meets, and on the wrong one a rotor would have to leave its limits
    /// to make what was chosen.
    pub fn has_strayed(&self, made: &Made<S, N>) -> bool {
        self.strayed(made) > S::from_f64(STRAYED_ULPS) * S::EPSILON * self.craft.strength
    }

    /// The same walk from its start, past the first facet that was met.
    pub fn another_way(&self) -> Self {
        let avoided = self.first_met.as_ref().map(|met| met.facet);
        Walk { avoided, ..Walk::new(self.craft, self.table, self.demand, self.cap) }
    }

    /// Whether this walk, past a facet that another met, chose the same but for what led the other astray, and made
    /// more of it.
    pub fn is_closer_than(&self, made: &Made<S, N>, other: &Self, other_made: &Made<S, N>) -> bool {
        let Some(theirs) = &other.first_met else { return false };
        // Past that facet there may be none that ends anything: rounding had met it.
        let (decided, chosen, missed) = match &self.first_met {
            Some(mine) => (mine.decided, &mine.wrench, self.strayed(made)),
            None => (theirs.decided, &self.wrench, self.missed_by(made)),
        };
        let strayed = other.strayed(other_made);
        let apart = largest(&theirs.decided.of(&sum(chosen, -S::ONE, &theirs.wrench)));
        decided.same(theirs.decided) && apart <= strayed && missed < strayed
    }

    /// How far what the thrusts make lies from what was decided at the first facet, in units.
    fn strayed(&self, made: &Made<S, N>) -> S {
        match self.first_met.as_ref().filter(|_| made.read_off) {
            Some(met) => largest(&met.decided.of(&sum(&met.wrench, -S::ONE, &made.wrench))),
            None => S::ZERO,
        }
    }
}

fn largest<S: Scalar>(values: &[S; 4]) -> S {
    values.iter().fold(S::ZERO, |worst, value| worst.larger(value.abs()))
}

/// What thrusts make, in units; those left out count as zero.
pub(crate) fn wrench_of<S: Scalar>(rotors: &[Bounded<S>], thrusts: &[S]) -> [S; 4] {
    rotors.iter().zip(thrusts).fold([S::ZERO; 4], |made, (rotor, thrust)| sum(&made, *thrust, &rotor.column))
}
