//! Where a tier met a facet: which rotors that pins, and what is left to choose.
//!
//! On a facet with normal n every rotor with n·b ≠ 0 stands at a known limit. From there on the
//! remaining choice is made among the free rotors alone. Going on with the facets of larger sets of
//! axes instead would divide rounding by the small slopes of those that meet at an edge.
//!
//! * Source: docs/allocation.md, "On a face"

use heapless::Vec;

use crate::box_least_squares::Bounded;
use crate::facets::{Facet, Side};
use crate::line_of_thrusts::{LineOfThrusts, ON_A_LINE};
use crate::priority::AxisSet;
use crate::rotor_set::RotorSet;
use crate::scalar::Scalar;
use crate::segment::{Segment, sum};

/// The part of the attainable set that the tiers so far have narrowed it to.
pub(crate) struct Face<S, const N: usize> {
    pinned: RotorSet,
    thrusts: [S; N],
    facets: usize,
    /// Thrusts of the free rotors, where they form a line.
    line: Option<LineOfThrusts<S>>,
}

impl<S: Scalar, const N: usize> Face<S, N> {
    /// Nothing is pinned but rotors that give no thrust any more.
    pub fn without(failed: RotorSet) -> Self {
        Face { pinned: failed, thrusts: [S::ZERO; N], facets: 0, line: None }
    }

    /// Most of these rows that the free rotors can move: each facet takes one direction away.
    pub fn most_rows(&self, axes: AxisSet) -> usize {
        axes.len().saturating_sub(self.facets)
    }

    /// Those of the first so many rotors, all there are, that are not pinned.
    pub fn free(&self, rotors: usize) -> RotorSet {
        RotorSet::first(rotors).less(self.pinned)
    }

    fn is_free(&self, rotor: usize) -> bool {
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

    /// The wrench of the rotors that are pinned, in units.
    fn made(&self, rotors: &Vec<Bounded<S>, N>) -> [S; 4] {
        let pinned = rotors.iter().zip(self.thrusts).enumerate().filter(|(i, _)| !self.is_free(*i));
        pinned.fold([S::ZERO; 4], |made, (_, (rotor, thrust))| sum(&made, thrust, &rotor.column))
    }

    /// What the free rotors must still make of `wrench`.
    pub fn rest(&self, rotors: &Vec<Bounded<S>, N>, wrench: &[S; 4]) -> [S; 4] {
        if self.pinned.is_empty() { *wrench } else { sum(wrench, -S::ONE, &self.made(rotors)) }
    }

    /// Thrust of a pinned rotor, none of a free one.
    pub fn pinned_thrust(&self, rotor: usize) -> Option<S> {
        if self.pinned.contains(rotor) { self.thrusts.get(rotor).copied() } else { None }
    }

    /// The wrenches that keep `wrench` in the axes decided, if the thrusts for them form a line or a point.
    pub fn segment(&mut self, rotors: &Vec<Bounded<S>, N>, decided: AxisSet, wrench: &[S; 4]) -> Option<Segment<S>> {
        let most = self.most_rows(decided);
        let mut free: Vec<_, ON_A_LINE> = Vec::new();
        for (_, rotor) in rotors.iter().enumerate().filter(|(i, _)| self.is_free(*i)) {
            // One more than there are rows leaves a line, two more do not.
            if free.len() > most || free.push(*rotor).is_err() {
                return None;
            }
        }
        let made = self.made(rotors);
        let line = LineOfThrusts::new(&free, decided, most, &sum(wrench, -S::ONE, &made))?;
        self.line = Some(line);
        let LineOfThrusts { start, along } = line;
        let (mut wrench_start, mut wrench_along) = (made, [S::ZERO; 4]);
        for ((rotor, from), speed) in free.iter().zip(start).zip(along) {
            wrench_start = sum(&wrench_start, from, &rotor.column);
            wrench_along = sum(&wrench_along, speed, &rotor.column);
        }
        let mut segment = Segment::new(wrench_start, wrench_along);
        for ((rotor, from), speed) in free.iter().zip(start).zip(along) {
            segment.keep(from, speed, rotor.floor, rotor.ceiling);
        }
        Some(segment.closed())
    }

    /// The thrusts at place `t` of the segment.
    pub fn thrusts(&self, rotors: &Vec<Bounded<S>, N>, t: S) -> [S; N] {
        let mut thrusts = self.thrusts;
        let (start, along) = self.line.map_or_else(Default::default, |line| (line.start, line.along));
        let mut free = start.iter().zip(along);
        for ((_, thrust), rotor) in thrusts.iter_mut().enumerate().zip(rotors).filter(|((i, _), _)| self.is_free(*i)) {
            if let Some((start, along)) = free.next() {
                *thrust = (*start + t * along).limit(rotor.floor, rotor.ceiling);
            }
        }
        thrusts
    }
}
