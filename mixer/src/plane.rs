//! Four rotors that all work, and an order of priority that begins with two torques at once and goes on one axis at a
//! time: every quadrotor in the default order.
//!
//! The wrench alone says the thrusts of four rotors. So once the first tier is decided, what can be had in the other two
//! axes is a plane from which each rotor's limits cut a strip, and four strips are fewer than the facets of two tiers.
//! A strip is kept in terms of the last axis.
//!
//! * Math: u = B⁻¹w; with w₁, w₂ the axes of the first tier, x and y those after it and c_i rotor i's share of y,
//!   u_i/c_i = y + d_i·x + a_i·w₁ + b_i·w₂
//! * Source: docs/allocation.md, "Four rotors"

mod overlap;

use heapless::Vec;

use crate::box_least_squares::Bounded;
use crate::cut::component;
use crate::facets::{Facet, Run, Side, dot};
use crate::scalar::Scalar;
use crate::walk::{met, rounding};
use crate::wrench::Axis;

use overlap::{Bound, Cut, Overlap, are_parallel, crossing, nearest_overlap, over};

/// Each rotor must be moved by the last axis by more than this, as a share of the most that one is.
const LEAST_SHARE: f64 = 1.0e-3;

const ROTORS: usize = 4;

/// The axes: the two of the first tier, then those of the second and the third.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Order {
    pub first: [Axis; 2],
    pub second: Axis,
    pub third: Axis,
    /// Facets of the first tier.
    pub run: Run,
    /// Whether the second tier keeps the sign of the third.
    pub banded: bool,
}

/// What a rotor's limits leave of the plane.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Strip<S> {
    /// Thrust of one unit of the last axis.
    share: S,
    /// What one unit of each axis before counts in the last.
    first: [S; 2],
    second: S,
    /// The limits in terms of the last axis.
    low: S,
    high: S,
}

/// A craft of four rotors, as the strips see it.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Plane<S> {
    order: Order,
    strips: [Strip<S>; ROTORS],
    /// What counts as rounding along a normal, and in terms of the last axis.
    met: S,
    slack: S,
    /// No demand beyond these is looked at: rounding would be all that is left.
    farthest: [S; 2],
    /// Whether the first tier can be scaled: whether all of it can be zero, and more to each side.
    zero_within: bool,
}

/// What was chosen.
pub(crate) struct Choice<S> {
    pub wrench: [S; 4],
    pub thrusts: [S; ROTORS],
}

/// Where the first tier ends.
#[derive(Clone, Copy)]
struct Edge<'a, S> {
    facet: &'a Facet<S>,
    side: Side,
}

impl<S: Scalar> Plane<S> {
    /// None where another number of rotors works, or one that the last axis hardly moves.
    pub fn new(order: Order, inverse: &[[f64; 4]]) -> Option<Self> {
        let share = |row: &[f64; 4]| row[order.third.index()];
        let most = inverse.iter().fold(0.0_f64, |most, row| most.max(share(row).abs()));
        if inverse.len() != ROTORS || inverse.iter().any(|row| !(share(row).abs() > LEAST_SHARE * most)) {
            return None;
        }
        let mut strips = [Strip::default(); ROTORS];
        for (strip, row) in strips.iter_mut().zip(inverse) {
            let lever = |axis: Axis| S::from_f64(row[axis.index()] / share(row));
            strip.share = S::from_f64(share(row));
            strip.first = order.first.map(lever);
            strip.second = lever(order.second);
        }
        let (met, slack, farthest) = (S::ZERO, S::ZERO, [S::ZERO; 2]);
        Some(Plane { order, strips, met, slack, farthest, zero_within: false })
    }

    /// Takes over the rotors' limits as they are now, and where the facets stand with them.
    pub fn set_limits(&mut self, rotors: &[Bounded<S>], facets: &[Facet<S>], strength: S, units: &[S; 4]) {
        (self.met, self.slack) = (met(strength), S::ZERO);
        for (strip, rotor) in self.strips.iter_mut().zip(rotors) {
            let (a, b) = (rotor.floor / strip.share, rotor.ceiling / strip.share);
            (strip.low, strip.high) = if strip.share > S::ZERO { (a, b) } else { (b, a) };
            self.slack = self.slack.larger((self.met / strip.share).abs());
        }
        self.farthest = [self.order.second, self.order.third].map(|axis| S::TWO * strength * component(units, axis));
        let rounding = rounding(strength);
        let holds_zero = |facet: &Facet<S>| facet.half_width - facet.middle.abs() > rounding;
        self.zero_within = self.order.run.of(facets).iter().all(holds_zero);
    }

    /// The best wrench and its thrusts; none where the strips cannot tell.
    ///
    /// * Input: demand, newtons and newton metres, and one over the units of the facets
    pub fn choose(
        &self,
        facets: &[Facet<S>],
        inverse_units: &[S; 4],
        demand: &[S; 4],
        keep_yaw_sign: bool,
    ) -> Option<Choice<S>> {
        if !self.zero_within {
            return None;
        }
        let Order { first: [one, other], second, third, .. } = self.order;
        let [far_second, far_third] = self.farthest;
        let wanted = [component(demand, second).limit_size(far_second), component(demand, third).limit_size(far_third)];
        let (scale, edge) = self.first_tier(facets, inverse_units, demand);
        let torque = [scale * component(demand, one), scale * component(demand, other)];
        let levels = self.strips.map(|strip| strip.first[0] * torque[0] + strip.first[1] * torque[1]);
        let band = (self.order.banded && keep_yaw_sign).then_some(wanted[1]);
        let [x, y] = match edge {
            None => self.in_the_plane(&levels, wanted, band)?,
            Some(edge) => self.on_an_edge(&levels, wanted, band, edge)?,
        };
        let mut wrench = [S::ZERO; 4];
        for (axis, value) in [one, other, second, third].iter().zip([torque[0], torque[1], x, y]) {
            if let Some(slot) = wrench.get_mut(axis.index()) {
                *slot = value;
            }
        }
        let mut thrusts = levels;
        for (thrust, strip) in thrusts.iter_mut().zip(&self.strips) {
            *thrust = strip.share * (y + strip.second * x + *thrust);
        }
        Some(Choice { wrench, thrusts })
    }

    /// One scale for two axes, and the facet that made it smaller than one.
    fn first_tier<'a>(
        &self,
        facets: &'a [Facet<S>],
        inverse_units: &[S; 4],
        demand: &[S; 4],
    ) -> (S, Option<Edge<'a, S>>) {
        let mut direction = [S::ZERO; 4];
        for axis in self.order.first {
            if let Some(slot) = direction.get_mut(axis.index()) {
                *slot = component(demand, axis) * component(inverse_units, axis);
            }
        }
        let (mut scale, mut edge, mut beyond) = (S::ONE, None, S::ZERO);
        for facet in self.order.run.of(facets) {
            let slope = dot(&facet.normal, &direction);
            let off = slope * scale - facet.middle;
            if !(off.abs() <= facet.half_width) {
                let (limit, side) =
                    if off > S::ZERO { (facet.half_width, Side::Upper) } else { (-facet.half_width, Side::Lower) };
                (scale, edge) = ((limit + facet.middle) / slope, Some(Edge { facet, side }));
                beyond = beyond.larger((S::ONE - scale) * slope.abs());
            }
        }
        // Outside by rounding alone is inside, and which facet that was is noise.
        if beyond <= self.met {
            return (S::ONE, None);
        }
        (scale.larger(S::ZERO), edge)
    }

    /// Nothing but the strips and the band bounds the second tier, and then the third.
    fn in_the_plane(&self, levels: &[S; ROTORS], [wanted, then]: [S; 2], band: Option<S>) -> Option<[S; 2]> {
        let mut cuts = [Cut::default(); ROTORS];
        for ((cut, strip), level) in cuts.iter_mut().zip(&self.strips).zip(levels) {
            *cut = Cut { slope: strip.second, low: strip.low - *level, high: strip.high - *level };
        }
        let [_, far] = self.farthest;
        let (from, to) = band.map_or((-far, far), |then| (then.smaller(S::ZERO), then.larger(S::ZERO)));
        match nearest_overlap(&cuts, (from, to), wanted, self.slack) {
            Overlap::At { x, low, high } => Some([x, then.limit(low, high)]),
            Overlap::Nowhere if band.is_some() => self.beside_the_band(&cuts, wanted),
            Overlap::Nowhere | Overlap::NotFound => None,
        }
    }

    /// Nothing in the band can be had: the last axis takes what is nearest to zero, the one before what that leaves.
    #[cold]
    fn beside_the_band(&self, cuts: &[Cut<S>; ROTORS], wanted: S) -> Option<[S; 2]> {
        let mut across = [Cut::default(); ROTORS];
        let mut slack = S::ZERO;
        for (turned, cut) in across.iter_mut().zip(cuts) {
            *turned = cut.across()?;
            slack = slack.larger(self.slack * turned.slope.abs());
        }
        let [far, _] = self.farthest;
        match nearest_overlap(&across, (-far, far), S::ZERO, slack) {
            Overlap::At { x: y, low, high } => Some([wanted.limit(low, high), y]),
            Overlap::Nowhere | Overlap::NotFound => None,
        }
    }

    /// On a facet of the first tier all rotors but those that span it stand at a limit: they leave a line or a point.
    fn on_an_edge(
        &self,
        levels: &[S; ROTORS],
        [x, _]: [S; 2],
        band: Option<S>,
        Edge { facet, side }: Edge<S>,
    ) -> Option<[S; 2]> {
        // Of each pinned rotor, where it holds the last axis.
        let mut pinned: Vec<Bound<S>, ROTORS> = Vec::new();
        for ((i, strip), level) in self.strips.iter().enumerate().zip(levels) {
            if !facet.free.contains(i) {
                let at_ceiling = facet.rising.contains(i) == (side == Side::Upper);
                let limit = if at_ceiling == (strip.share > S::ZERO) { strip.high } else { strip.low };
                pinned.push(Bound { at: limit - *level, slope: -strip.second }).ok()?;
            }
        }
        if let Some(lines) = pinned.as_array() {
            return crossing(*lines);
        }
        let [line, _] = *pinned.as_array()?;
        let [far, _] = self.farthest;
        let (mut from, mut to) = (-far, far);
        for ((i, strip), level) in self.strips.iter().enumerate().zip(levels) {
            if facet.free.contains(i) {
                let off = line.at + *level;
                let slope = strip.second + line.slope;
                let steepest = strip.second.abs().larger(line.slope.abs());
                if are_parallel(slope, steepest) {
                    continue;
                }
                let (enters, leaves) = over(strip.low - off, strip.high - off, slope);
                (from, to) = (enters.larger(from), leaves.smaller(to));
            }
        }
        if !(from <= to) {
            (from, to) = (S::HALF * (from + to), S::HALF * (from + to));
        }
        if let (Some(wanted), true) = (band, line.slope != S::ZERO) {
            let (low, high) = (wanted.smaller(S::ZERO), wanted.larger(S::ZERO));
            let (enters, leaves) = over(low - line.at, high - line.at, line.slope);
            (from, to) = (enters.limit(from, to), leaves.limit(from, to));
        }
        let x = x.limit(from, to);
        Some([x, line.at + line.slope * x])
    }
}

#[cfg(test)]
mod tests;
