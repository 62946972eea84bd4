//! One walk down the tiers: what each takes, and where it was stopped.
//!
//! While no facet has been met the walk cuts the attainable set with a line for each tier. Once a tier
//! has stopped at a facet that leaves no more than a line of thrusts, the rest is read off that line.

use heapless::Vec;

use crate::box_least_squares::Bounded;
use crate::cut::{Cut, End};
use crate::face::{Face, Line, sum};
use crate::facets::Facet;
use crate::nearest::nearest_in_two_axes;
use crate::priority::AxisSet;
use crate::rotor_set::RotorSet;
use crate::rows::Rows;
use crate::scalar::Scalar;
use crate::tiers::Attained;
use crate::wrench::Axis;

/// What counts as rounding where a face is tested, in units of the machine epsilon.
const ROUNDING_ULPS: f64 = 32.0;

/// Shortfall that counts as none, in units of the machine epsilon.
const MET_ULPS: f64 = 4.0;

/// The state of the walk.
pub(crate) struct Walk<'a, S, const N: usize> {
    rotors: &'a Vec<Bounded<S>, N>,
    demand: &'a [S; 4],
    wrench: [S; 4],
    decided: AxisSet,
    band: Option<(S, S)>,
    cap: Option<S>,
    face: Face<S, N>,
    line: Option<Line<S, N>>,
}

/// What bounds one tier.
#[derive(Clone, Copy)]
pub(crate) struct Bounds<'f, S> {
    /// Facets of the axes decided once the tier is.
    pub facets: &'f [Facet<S>],
    /// The same with yaw, to be widened by the yaw band.
    pub banded: &'f [Facet<S>],
    /// The same with thrust, to be widened by what the cap leaves to thrust.
    pub capped: &'f [Facet<S>],
}

impl<'a, S: Scalar, const N: usize> Walk<'a, S, N> {
    /// Starts with some rotors out of work, and maybe with a cap on thrust.
    pub fn new(rotors: &'a Vec<Bounded<S>, N>, demand: &'a [S; 4], failed: RotorSet, cap: Option<S>) -> Self {
        Walk {
            rotors,
            demand,
            wrench: [S::ZERO; 4],
            decided: AxisSet::EMPTY,
            band: None,
            cap,
            face: Face::without(failed),
            line: None,
        }
    }

    /// The yaw torques worth having: from zero to the demand, as far as what is decided allows; where
    /// none of them is attainable, the one that comes nearest.
    pub fn draw_yaw_band(&mut self, facets: &[Facet<S>], capped: &[Facet<S>]) {
        let [_, _, _, wanted] = *self.demand;
        let (from, to) = (wanted.smaller(S::ZERO), wanted.larger(S::ZERO));
        if let Some(line) = &mut self.line {
            return line.narrow(Axis::Yaw, from, to);
        }
        let bounds = Bounds { facets, banded: &[], capped };
        let cut = self.cut(bounds, &self.wrench, &[S::ZERO, S::ZERO, S::ZERO, S::ONE], S::ZERO);
        if from > cut.high {
            self.stop_at(cut.at_high, Axis::Yaw, cut.high);
        } else if to < cut.low {
            self.stop_at(cut.at_low, Axis::Yaw, cut.low);
        }
        self.band = Some((within(from, cut.low, cut.high), within(to, cut.low, cut.high)));
    }

    /// Takes the best that the tiers so far leave for these axes.
    pub fn take(&mut self, axes: AxisSet, bounds: Bounds<S>) {
        if axes.len() == 1 {
            self.one_axis_at_a_time(axes, bounds);
        } else {
            self.along_the_demand(axes, bounds);
        }
    }

    pub fn finish(self) -> Attained<S, N> {
        let thrusts = self.line.as_ref().map(|line| line.thrusts(self.rotors));
        Attained { wrench: self.wrench, face: self.face, thrusts }
    }

    fn cut<'f>(&self, bounds: Bounds<'f, S>, base: &[S; 4], direction: &[S; 4], wanted: S) -> Cut<'f, S> {
        let mut cut = Cut::unbounded(wanted).by(bounds.facets, base, direction);
        if let Some(band) = self.band {
            cut = cut.by_banded(bounds.banded, base, direction, Axis::Yaw, band);
        }
        if let (Some(cap), false) = (self.cap, self.decided.contains(Axis::Thrust)) {
            cut = cut.by_banded(bounds.capped, base, direction, Axis::Thrust, (-self.strength(), cap));
        }
        cut
    }

    /// All rotors at their ceilings: no thrust is larger.
    fn strength(&self) -> S {
        self.rotors.iter().fold(S::ZERO, |sum, rotor| sum + rotor.ceiling)
    }

    /// Several axes keep their direction and share one scale. Where scaling cannot help, because even
    /// zero is out of reach in these axes, they take the attainable point nearest to the demand.
    fn along_the_demand(&mut self, axes: AxisSet, bounds: Bounds<S>) {
        let (axes, direction) = self.still_open(axes);
        let within = self.rounding();
        if let Some(line) = &mut self.line {
            line.narrow_along(&direction, axes, within);
            self.wrench = line.wrench();
            self.decided = self.decided.union(axes);
            return;
        }
        let cut = self.cut(bounds, &self.wrench, &direction, S::ONE);
        let met = cut.short <= self.met();
        if !(met || cut.outside <= within) {
            return self.nearest(axes, bounds);
        }
        let stopped = !met && cut.high < S::ONE;
        let scale = if stopped { cut.high.larger(S::ZERO) } else { S::ONE };
        for (value, wanted) in self.wrench.iter_mut().zip(direction) {
            *value = *value + scale * wanted;
        }
        self.decided = self.decided.union(axes);
        if stopped {
            self.stop(cut.at_high);
        }
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
        S::from_f64(ROUNDING_ULPS) * S::EPSILON * self.strength()
    }

    /// A demand that lies outside by less than this, in units, is met.
    fn met(&self) -> S {
        S::from_f64(MET_ULPS) * S::EPSILON * self.strength()
    }

    /// A tier of several axes of which neither the demand nor zero can be had: the attainable point nearest to it (two axes), or nearest on the way from the middle of the set.
    fn nearest(&mut self, axes: AxisSet, bounds: Bounds<S>) {
        let mut wanted = self.wrench;
        for (value, demand) in wanted.iter_mut().zip(axes.of(self.demand)) {
            *value = *value + demand;
        }
        let rounding = self.rounding();
        let plain = axes.len() == 2 && bounds.banded.is_empty() && self.cap.is_none();
        if plain && let Some((foot, end)) = nearest_in_two_axes(bounds.facets, &wanted, axes, rounding) {
            self.wrench = foot;
            self.decided = self.decided.union(axes);
            return self.stop(Some(end));
        }
        self.advance_from_middle(axes, &wanted, bounds);
    }

    /// As far towards the demand as the set goes, from its middle as moved to what is decided.
    fn advance_from_middle(&mut self, axes: AxisSet, wanted: &[S; 4], bounds: Bounds<S>) {
        let mut middle = [S::ZERO; 4];
        for (_, rotor) in self.rotors.iter().enumerate().filter(|(i, _)| self.face.is_free(*i)) {
            let half = S::HALF * (rotor.floor + rotor.ceiling);
            middle = sum(&middle, half, &rotor.column);
        }
        let rows = Rows::new(self.rotors, self.decided, self.decided.len(), |i, _| self.face.is_free(i));
        let missing = self.decided.of(&sum(&self.face.rest(self.rotors, &self.wrench), -S::ONE, &middle));
        for (rotor, thrust) in self.rotors.iter().zip(rows.least_effort(&missing)) {
            middle = sum(&middle, thrust, &rotor.column);
        }
        let mut base = self.wrench;
        for ((value, axis), middle) in base.iter_mut().zip(Axis::ALL).zip(middle) {
            if axes.contains(axis) {
                *value = middle;
            }
        }
        let direction = sum(wanted, -S::ONE, &base);
        let cut = self.cut(bounds, &base, &direction, S::ONE);
        if !(cut.outside <= self.rounding()) {
            return self.one_axis_at_a_time(axes, bounds);
        }
        let stopped = cut.high < S::ONE;
        let scale = if stopped { cut.high.larger(S::ZERO) } else { S::ONE };
        self.wrench = sum(&base, scale, &direction);
        self.decided = self.decided.union(axes);
        if stopped {
            self.stop(cut.at_high);
        }
    }

    fn one_axis_at_a_time(&mut self, axes: AxisSet, bounds: Bounds<S>) {
        for axis in Axis::ALL.iter().filter(|axis| axes.contains(**axis)) {
            if !self.decided.contains(*axis) {
                self.one_axis(*axis, bounds);
            }
        }
    }

    fn one_axis(&mut self, axis: Axis, bounds: Bounds<S>) {
        let Some(wanted) = self.demand.get(axis.index()).copied() else { return };
        if let Some(line) = &mut self.line {
            line.narrow(axis, wanted, wanted);
            self.wrench = line.wrench();
            self.decided = self.decided.with(axis);
            return;
        }
        let mut direction = [S::ZERO; 4];
        if let Some(along) = direction.get_mut(axis.index()) {
            *along = S::ONE;
        }
        let cut = self.cut(bounds, &self.wrench, &direction, wanted);
        let value = within(wanted, cut.low, cut.high);
        if cut.short <= self.met() {
            self.decide(axis, wanted);
        } else if wanted > cut.high {
            self.stop_at(cut.at_high, axis, value);
        } else if wanted < cut.low {
            self.stop_at(cut.at_low, axis, value);
        } else {
            self.decide(axis, value);
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
        self.face.pin(end.facet, end.side, self.rotors);
        self.line = self.face.line(self.rotors, self.decided, &self.wrench);
        if let (Some(line), Some((low, high)), false) = (&mut self.line, self.band, self.decided.contains(Axis::Yaw)) {
            line.narrow(Axis::Yaw, low, high);
        }
        let lowest = -self.strength();
        if let (Some(line), Some(cap), false) = (&mut self.line, self.cap, self.decided.contains(Axis::Thrust)) {
            line.narrow(Axis::Thrust, lowest, cap);
        }
    }
}

/// Clamp that stays defined when rounding has turned a point interval inside out.
fn within<S: Scalar>(wanted: S, low: S, high: S) -> S {
    if low <= high { wanted.limit(low, high) } else { S::HALF * (low + high) }
}
