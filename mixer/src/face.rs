//! Where a tier met a facet: which rotors that pins, and what is left to choose.
//!
//! On a facet with normal n every rotor with n·b ≠ 0 stands at a known limit. From there on the
//! remaining choice is made among the free rotors alone. Going on with the facets of larger sets of
//! axes instead would divide rounding by the small slopes of those that meet at an edge.
//!
//! * Source: docs/allocation.md, "On a face"

use heapless::Vec;

use crate::box_least_squares::Bounded;
use crate::facets::{Facet, Side, dot};
use crate::priority::AxisSet;
use crate::rotor_set::RotorSet;
use crate::rows::Rows;
use crate::scalar::Scalar;
use crate::wrench::Axis;

/// A thrust that moves by less than this along the line, in units of the machine epsilon, stands still.
const STILL_ULPS: f64 = 64.0;

/// The part of the attainable set that the tiers so far have narrowed it to.
pub(crate) struct Face<S, const N: usize> {
    pinned: RotorSet,
    thrusts: [S; N],
    facets: usize,
}

impl<S: Scalar, const N: usize> Face<S, N> {
    /// Nothing is pinned but rotors that give no thrust any more.
    pub fn without(failed: RotorSet) -> Self {
        Face { pinned: failed, thrusts: [S::ZERO; N], facets: 0 }
    }

    pub fn is_whole(&self) -> bool {
        self.facets == 0
    }

    /// Most of these rows that the free rotors can move: each facet takes one direction away.
    pub fn most_rows(&self, axes: AxisSet) -> usize {
        axes.len().saturating_sub(self.facets)
    }

    pub fn is_free(&self, rotor: usize) -> bool {
        !self.pinned.contains(rotor)
    }

    /// Narrows to this side of a facet. What is pinned already stays where it is.
    pub fn pin(&mut self, facet: &Facet<S>, side: Side, rotors: &Vec<Bounded<S>, N>) {
        self.facets += 1;
        for ((i, rotor), thrust) in rotors.iter().enumerate().zip(&mut self.thrusts) {
            if !facet.free.contains(i) && !self.pinned.contains(i) {
                let ceiling = facet.rising.contains(i) == (side == Side::Upper);
                *thrust = if ceiling { rotor.ceiling } else { rotor.floor };
                self.pinned = self.pinned.with(i);
            }
        }
    }

    /// What the free rotors must still make of `wrench`.
    pub fn rest(&self, rotors: &Vec<Bounded<S>, N>, wrench: &[S; 4]) -> [S; 4] {
        let mut rest = *wrench;
        for ((i, rotor), thrust) in rotors.iter().enumerate().zip(self.thrusts) {
            if self.pinned.contains(i) {
                for (value, share) in rest.iter_mut().zip(rotor.column) {
                    *value = *value - share * thrust;
                }
            }
        }
        rest
    }

    /// Thrust of a pinned rotor, none of a free one.
    pub fn pinned_thrust(&self, rotor: usize) -> Option<S> {
        if self.pinned.contains(rotor) { self.thrusts.get(rotor).copied() } else { None }
    }

    /// The thrusts that keep `wrench` in the axes decided, if they form a line or a point.
    pub fn line(&self, rotors: &Vec<Bounded<S>, N>, decided: AxisSet, wrench: &[S; 4]) -> Option<Line<S, N>> {
        if self.is_whole() {
            return None;
        }
        let free = rotors.iter().enumerate().filter(|(i, _)| self.is_free(*i)).count();
        let rows = Rows::new(rotors, decided, self.most_rows(decided), |i, _| self.is_free(i));
        let along = match free - rows.rank().min(free) {
            0 => [S::ZERO; N],
            1 => rows.neutral(|i| i < rotors.len() && self.is_free(i)),
            _ => return None,
        };
        let rest = self.rest(rotors, wrench);
        let mut start = rows.least_effort(&rest);
        let mut left = rest;
        for (rotor, thrust) in rotors.iter().zip(start) {
            for (value, share) in left.iter_mut().zip(rotor.column) {
                *value = *value - share * thrust;
            }
        }
        for (thrust, correction) in start.iter_mut().zip(rows.least_effort(&left)) {
            *thrust = *thrust + correction;
        }
        for (thrust, (i, _)) in start.iter_mut().zip(rotors.iter().enumerate()) {
            if let Some(pinned) = self.pinned_thrust(i) {
                *thrust = pinned;
            }
        }
        Some(Line::new(rotors, start, along))
    }
}

/// One-parameter family of thrusts, `start + t·along`, within the limits for `low ≤ t ≤ high`.
pub(crate) struct Line<S, const N: usize> {
    start: [S; N],
    along: [S; N],
    wrench_start: [S; 4],
    wrench_along: [S; 4],
    low: S,
    high: S,
}

impl<S: Scalar, const N: usize> Line<S, N> {
    fn new(rotors: &Vec<Bounded<S>, N>, start: [S; N], along: [S; N]) -> Self {
        let still = S::from_f64(STILL_ULPS) * S::EPSILON;
        let (mut low, mut high) = (None, None);
        let (mut wrench_start, mut wrench_along) = ([S::ZERO; 4], [S::ZERO; 4]);
        for ((rotor, from), speed) in rotors.iter().zip(start).zip(along) {
            for ((value, change), share) in wrench_start.iter_mut().zip(&mut wrench_along).zip(rotor.column) {
                *value = *value + share * from;
                *change = *change + share * speed;
            }
            if !(speed.abs() > still) {
                continue;
            }
            let (a, b) = ((rotor.floor - from) / speed, (rotor.ceiling - from) / speed);
            let (enters, leaves) = if speed > S::ZERO { (a, b) } else { (b, a) };
            low = Some(low.map_or(enters, |low: S| low.larger(enters)));
            high = Some(high.map_or(leaves, |high: S| high.smaller(leaves)));
        }
        let (mut low, mut high) = (low.unwrap_or_default(), high.unwrap_or_default());
        if !(low <= high) {
            low = S::HALF * (low + high);
            high = low;
        }
        Line { start, along, wrench_start, wrench_along, low, high }
    }

    /// Whether moving along the line changes this axis.
    fn moves(&self, place: usize) -> Option<(S, S)> {
        let (start, along) = (*self.wrench_start.get(place)?, *self.wrench_along.get(place)?);
        (along.abs() > S::from_f64(STILL_ULPS) * S::EPSILON).then_some((start, along))
    }

    /// Narrows the line to where `axis` lies in `from..=to`, or is nearest to it.
    pub fn narrow(&mut self, axis: Axis, from: S, to: S) {
        let Some((start, along)) = self.moves(axis.index()) else { return };
        let (a, b) = ((from - start) / along, (to - start) / along);
        let (enters, leaves) = if along > S::ZERO { (a, b) } else { (b, a) };
        (self.low, self.high) = (enters.limit(self.low, self.high), leaves.limit(self.low, self.high));
    }

    /// Narrows the line by a tier of several axes: scaled along `direction` where zero lies on the line
    /// to within `rounding`, otherwise nearest to it.
    pub fn narrow_along(&mut self, direction: &[S; 4], axes: AxisSet, rounding: S) {
        let within = |values: &[S; 4]| axes.of(values).iter().all(|value| value.abs() <= rounding);
        let along = axes.of(&self.wrench_along);
        let square = dot(&along, &along);
        if !(square > S::EPSILON * S::EPSILON) {
            return;
        }
        let from_start = -dot(&along, &self.wrench_start) / square;
        let wanted = dot(&along, direction) / square;
        let zero = from_start.limit(self.low, self.high);
        let mut t = (from_start + wanted).limit(self.low, self.high);
        if within(&sum(&self.wrench_start, zero, &along)) && !within(&sum(direction, -wanted, &along)) {
            t = zero;
        }
        (self.low, self.high) = (t, t);
    }

    /// Thrusts of the least effort on what is left of the line.
    pub fn thrusts(&self, rotors: &Vec<Bounded<S>, N>) -> [S; N] {
        let t = self.t();
        let mut thrusts = [S::ZERO; N];
        for (((thrust, rotor), start), along) in thrusts.iter_mut().zip(rotors).zip(self.start).zip(self.along) {
            *thrust = (start + t * along).limit(rotor.floor, rotor.ceiling);
        }
        thrusts
    }

    /// The wrench there.
    pub fn wrench(&self) -> [S; 4] {
        let t = self.t();
        sum(&self.wrench_start, t, &self.wrench_along)
    }

    /// `start` is the least effort of the whole line, so the nearest to it is that of the rest.
    fn t(&self) -> S {
        S::ZERO.limit(self.low, self.high)
    }
}

/// a + t·b
pub(crate) fn sum<S: Scalar>(a: &[S; 4], t: S, b: &[S; 4]) -> [S; 4] {
    let ([a0, a1, a2, a3], [b0, b1, b2, b3]) = (*a, *b);
    [a0 + t * b0, a1 + t * b1, a2 + t * b2, a3 + t * b3]
}
