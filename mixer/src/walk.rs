//! One walk down the tiers: what each takes, and where it was stopped.
//!
//! While no facet has been met the walk cuts the attainable set with a line for each tier. Once a tier
//! has stopped at a facet that leaves no more than a line of thrusts, the rest is read off that line.

use heapless::Vec;

use crate::box_least_squares::Bounded;
use crate::cut::{Along, Band, Cut, End, Slabs};
use crate::direct::Direct;
use crate::face::Face;
use crate::facets::{Facet, Run};
use crate::four_rotors;
use crate::nearest::nearest_in_two_axes;
use crate::priority::AxisSet;
use crate::rotor_set::RotorSet;
use crate::rows::Rows;
use crate::scalar::Scalar;
use crate::segment::{Segment, sum};
use crate::wrench::Axis;

/// What counts as rounding where a face is tested, in units of the machine epsilon.
const ROUNDING_ULPS: f64 = 32.0;

/// Shortfall that counts as none, in units of the machine epsilon.
const MET_ULPS: f64 = 4.0;

/// The craft as it is now.
pub(crate) struct Craft<'a, S, const N: usize> {
    pub rotors: &'a Vec<Bounded<S>, N>,
    pub direct: &'a Direct<S, N>,
    pub units: &'a [S; 4],
    /// All rotors at their ceilings: no thrust is larger.
    pub strength: S,
    pub failed: RotorSet,
}

impl<S, const N: usize> Craft<'_, S, N> {
    /// Four rotors that all work: the wrench alone says their thrusts.
    pub fn is_square(&self) -> bool {
        self.rotors.len() == 4 && self.failed == RotorSet::EMPTY
    }
}

/// The state of the walk.
pub(crate) struct Walk<'a, S, const N: usize> {
    craft: &'a Craft<'a, S, N>,
    table: &'a [Facet<S>],
    demand: &'a [S; 4],
    wrench: [S; 4],
    decided: AxisSet,
    band: Option<(S, S)>,
    cap: Option<S>,
    face: Face<S, N>,
    segment: Option<Segment<S>>,
}

/// What bounds one tier.
#[derive(Clone, Copy)]
pub(crate) struct Bounds {
    /// Facets of the axes decided once the tier is.
    pub facets: Run,
    /// The same with yaw, to be widened by the yaw band.
    pub banded: Run,
    /// The same with thrust, to be widened by what the cap leaves to thrust.
    pub capped: Run,
}

impl<'a, S: Scalar, const N: usize> Walk<'a, S, N> {
    /// Starts at zero, maybe with a cap on thrust.
    pub fn new(craft: &'a Craft<'a, S, N>, table: &'a [Facet<S>], demand: &'a [S; 4], cap: Option<S>) -> Self {
        Walk {
            craft,
            table,
            demand,
            wrench: [S::ZERO; 4],
            decided: AxisSet::EMPTY,
            band: None,
            cap,
            face: Face::without(craft.failed),
            segment: None,
        }
    }

    /// The yaw torques worth having: from zero to the demand, as far as what is decided allows; where
    /// none of them is attainable, the one that comes nearest.
    pub fn draw_yaw_band(&mut self, facets: Run, capped: Run) {
        let [_, _, _, wanted] = *self.demand;
        let (from, to) = (wanted.smaller(S::ZERO), wanted.larger(S::ZERO));
        if let Some(segment) = &mut self.segment {
            return segment.narrow(Axis::Yaw, from, to);
        }
        let bounds = Bounds { facets, banded: Run::EMPTY, capped };
        let bands = self.bands();
        let cut = self.cut(bounds, &bands, &self.wrench, Along::Axis(Axis::Yaw));
        if from > cut.high {
            self.stop_at(cut.high_end(), Axis::Yaw, cut.high);
        } else if to < cut.low {
            self.stop_at(cut.low_end(), Axis::Yaw, cut.low);
        }
        self.band = Some((within(from, cut.low, cut.high), within(to, cut.low, cut.high)));
    }

    /// Takes the best that the tiers so far leave for these axes.
    pub fn take(&mut self, axes: AxisSet, bounds: Bounds) {
        if axes.len() == 1 {
            self.one_axis_at_a_time(axes, bounds);
        } else {
            self.along_the_demand(axes, bounds);
        }
    }

    /// The wrench it ended at, in units.
    pub fn wrench(&self) -> &[S; 4] {
        &self.wrench
    }

    /// The rotors that wrench holds at a limit, as far as the tiers met facets.
    pub fn face(&self) -> &Face<S, N> {
        &self.face
    }

    /// The thrusts, where the face leaves no more than a line of them.
    pub fn thrusts(&self) -> Option<[S; N]> {
        match &self.segment {
            Some(segment) if !self.craft.is_square() => Some(self.face.thrusts(self.craft.rotors, segment.t())),
            _ => None,
        }
    }

    fn yaw_band(&self) -> Band<S> {
        self.band.map(|(low, high)| (Axis::Yaw, low, high))
    }

    /// What thrust may still become below the cap.
    fn below_cap(&self) -> Band<S> {
        let cap = self.cap.filter(|_| !self.decided.contains(Axis::Thrust));
        cap.map(|cap| (Axis::Thrust, -self.craft.strength, cap))
    }

    fn hold(&self, bounds: Bounds, point: &[S; 4], rounding: S) -> bool {
        let within = |run: Run, band: Band<S>| Slabs { facets: run.of(self.table), band: &band }.hold(point, rounding);
        within(bounds.facets, None)
            && self.yaw_band().is_none_or(|band| within(bounds.banded, Some(band)))
            && self.below_cap().is_none_or(|band| within(bounds.capped, Some(band)))
    }

    /// The bands that a cut may refer to: none, the yaw band, what is left below the cap.
    fn bands(&self) -> [Band<S>; 3] {
        [None, self.yaw_band(), self.below_cap()]
    }

    fn cut<'b>(&self, bounds: Bounds, bands: &'b [Band<S>; 3], base: &[S; 4], along: Along<S>) -> Cut<'b, S>
    where
        'a: 'b,
    {
        let mut cut = Cut::unbounded();
        let [none, yaw, thrust] = bands;
        cut.by(Slabs { facets: bounds.facets.of(self.table), band: none }, base, along);
        if yaw.is_some() {
            cut.by(Slabs { facets: bounds.banded.of(self.table), band: yaw }, base, along);
        }
        if thrust.is_some() {
            cut.by(Slabs { facets: bounds.capped.of(self.table), band: thrust }, base, along);
        }
        cut
    }

    /// Several axes keep their direction and share one scale. Where scaling cannot help, because even
    /// zero is out of reach in these axes, they take the attainable point nearest to the demand.
    fn along_the_demand(&mut self, axes: AxisSet, bounds: Bounds) {
        let (axes, direction) = self.still_open(axes);
        let within = self.rounding();
        if let Some(segment) = &mut self.segment {
            segment.narrow_along(&direction, axes, within);
            self.wrench = segment.wrench();
            self.decided = self.decided.union(axes);
            return;
        }
        let wanted = sum(&self.wrench, S::ONE, &direction);
        if self.hold(bounds, &wanted, self.met()) {
            self.wrench = wanted;
            self.decided = self.decided.union(axes);
            return;
        }
        if !self.hold(bounds, &self.wrench, within) {
            return self.nearest(axes, bounds);
        }
        self.advance(axes, bounds, self.wrench, &direction);
    }

    /// What is left of a tier when a facet of the yaw band or the cap has already held one of its axes:
    /// the others keep their direction with it.
    fn still_open(&self, axes: AxisSet) -> (AxisSet, [S; 4]) {
        let open = axes.without(self.decided);
        let mut scale = S::ONE;
        for ((axis, held), wanted) in Axis::ALL.iter().zip(self.wrench).zip(self.demand) {
            if axes.contains(*axis) && !open.contains(*axis) && *wanted != S::ZERO {
                scale = scale.smaller((held / *wanted).limit(S::ZERO, S::ONE));
            }
        }
        (open, open.of(self.demand).map(|wanted| scale * wanted))
    }

    /// Wrenches that differ by less than this, in units, differ by rounding.
    fn rounding(&self) -> S {
        S::from_f64(ROUNDING_ULPS) * S::EPSILON * self.craft.strength
    }

    /// A demand that lies outside by less than this, in units, is met.
    fn met(&self) -> S {
        S::from_f64(MET_ULPS) * S::EPSILON * self.craft.strength
    }

    /// A tier of several axes of which neither the demand nor zero can be had: the attainable point nearest to it (two axes), or nearest on the way from the middle of the set.
    fn nearest(&mut self, axes: AxisSet, bounds: Bounds) {
        let mut wanted = self.wrench;
        for (value, demand) in wanted.iter_mut().zip(axes.of(self.demand)) {
            *value = *value + demand;
        }
        let rounding = self.rounding();
        let plain = axes.len() == 2 && bounds.banded == Run::EMPTY && self.cap.is_none();
        if plain && let Some((foot, end)) = nearest_in_two_axes(bounds.facets.of(self.table), &wanted, axes, rounding) {
            self.wrench = foot;
            self.decided = self.decided.union(axes);
            return self.stop(Some(end));
        }
        self.advance_from_middle(axes, &wanted, bounds);
    }

    /// As far towards the demand as the set goes, from its middle as moved to what is decided.
    fn advance_from_middle(&mut self, axes: AxisSet, wanted: &[S; 4], bounds: Bounds) {
        let mut middle = [S::ZERO; 4];
        for (_, rotor) in self.craft.rotors.iter().enumerate().filter(|(i, _)| self.face.is_free(*i)) {
            let half = S::HALF * (rotor.floor + rotor.ceiling);
            middle = sum(&middle, half, &rotor.column);
        }
        let rows = Rows::new(self.craft.rotors, self.decided, self.decided.len(), |i, _| self.face.is_free(i));
        let missing = self.decided.of(&sum(&self.face.rest(&self.wrench), -S::ONE, &middle));
        for (rotor, thrust) in self.craft.rotors.iter().zip(rows.least_effort(&missing)) {
            middle = sum(&middle, thrust, &rotor.column);
        }
        let mut base = self.wrench;
        for ((value, axis), middle) in base.iter_mut().zip(Axis::ALL).zip(middle) {
            if axes.contains(axis) {
                *value = middle;
            }
        }
        let direction = sum(wanted, -S::ONE, &base);
        if !self.hold(bounds, &base, self.rounding()) {
            return self.one_axis_at_a_time(axes, bounds);
        }
        self.advance(axes, bounds, base, &direction);
    }

    /// From `base` along `direction` until a slab ends it, but no further than all of it.
    fn advance(&mut self, axes: AxisSet, bounds: Bounds, base: [S; 4], direction: &[S; 4]) {
        let bands = self.bands();
        let cut = self.cut(bounds, &bands, &base, Along::Direction(direction));
        self.wrench = sum(&base, cut.high.limit(S::ZERO, S::ONE), direction);
        self.decided = self.decided.union(axes);
        if cut.high < S::ONE {
            self.stop(cut.high_end());
        }
    }

    fn one_axis_at_a_time(&mut self, axes: AxisSet, bounds: Bounds) {
        for axis in axes.iter() {
            if !self.decided.contains(axis) {
                self.one_axis(axis, bounds);
            }
        }
    }

    fn one_axis(&mut self, axis: Axis, bounds: Bounds) {
        let Some(wanted) = self.demand.get(axis.index()).copied() else { return };
        if let Some(segment) = &mut self.segment {
            segment.narrow(axis, wanted, wanted);
            self.wrench = segment.wrench();
            self.decided = self.decided.with(axis);
            return;
        }
        let bands = self.bands();
        let cut = self.cut(bounds, &bands, &self.wrench, Along::Axis(axis));
        if wanted >= cut.low && wanted <= cut.high {
            return self.decide(axis, wanted);
        }
        let met = self.met();
        let mut there = self.wrench;
        if let Some(value) = there.get_mut(axis.index()) {
            *value = wanted;
        }
        let value = within(wanted, cut.low, cut.high);
        if cut.outside(wanted) <= met && self.hold(bounds, &there, met) {
            self.decide(axis, wanted);
        } else if wanted > cut.high {
            self.stop_at(cut.high_end(), axis, value);
        } else {
            self.stop_at(cut.low_end(), axis, value);
        }
    }

    fn decide(&mut self, axis: Axis, value: S) {
        if let Some(slot) = self.wrench.get_mut(axis.index()) {
            *slot = value;
        }
        self.decided = self.decided.with(axis);
    }

    fn stop_at(&mut self, end: Option<End<S>>, axis: Axis, value: S) {
        self.decide(axis, value);
        self.stop(end);
    }

    /// A facet was met: pins its rotors and looks whether a line is left.
    fn stop(&mut self, end: Option<End<S>>) {
        let Some(end) = end else { return };
        if let Some((axis, value)) = end.held {
            self.decide(axis, value);
        }
        self.face.pin(end.facet, end.side, self.craft.rotors);
        self.segment = self.what_is_left();
        let (lowest, band, cap) = (-self.craft.strength, self.band, self.cap);
        let Some(segment) = &mut self.segment else { return };
        if let (Some((low, high)), false) = (band, self.decided.contains(Axis::Yaw)) {
            segment.narrow(Axis::Yaw, low, high);
        }
        if let (Some(cap), false) = (cap, self.decided.contains(Axis::Thrust)) {
            segment.narrow(Axis::Thrust, lowest, cap);
        }
    }

    fn what_is_left(&mut self) -> Option<Segment<S>> {
        let craft = self.craft;
        if craft.is_square() {
            if self.decided.same(AxisSet::ALL) {
                return None;
            }
            let found =
                four_rotors::segment(craft.rotors, craft.direct, craft.units, &self.face, self.decided, &self.wrench);
            if found.is_some() {
                return found;
            }
        }
        self.face.segment(craft.rotors, self.decided, &self.wrench)
    }
}

/// Clamp that stays defined when rounding has turned a point interval inside out.
fn within<S: Scalar>(wanted: S, low: S, high: S) -> S {
    if low <= high { wanted.limit(low, high) } else { S::HALF * (low + high) }
}
