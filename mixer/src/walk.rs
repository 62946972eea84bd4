//! One walk down the tiers: what each takes, and where it was stopped.
//!
//! While no facet has been met the walk cuts the attainable set with a line for each tier. Once a tier
//! has stopped at a facet that leaves no more than a line of thrusts, the rest is read off that line.

mod made;

use heapless::Vec;

use crate::advance::{Advance, is_outside};
use crate::box_least_squares::{self, Bounded};
use crate::clamp::{Clamp, Clamped};
use crate::cut::{Band, End, Slabs, component};
use crate::direct::Direct;
use crate::face::Face;
use crate::facets::{Facet, Run};
use crate::nearest::nearest_in_two_axes;
use crate::normal_equations::NormalEquations;
use crate::priority::AxisSet;
use crate::rotor_set::RotorSet;
use crate::scalar::Scalar;
use crate::segment::{Segment, sum};
use crate::tiers::YawBand;
use crate::wrench::Axis;

pub(crate) use made::{Made, wrench_of};

/// What counts as rounding where a face is tested, in units of the machine epsilon.
const ROUNDING_ULPS: f64 = 32.0;

/// Shortfall that counts as none, in units of the machine epsilon.
const MET_ULPS: f64 = 4.0;

/// The craft as it is now.
pub(crate) struct Craft<'a, S, const N: usize> {
    pub rotors: &'a Vec<Bounded<S>, N>,
    /// Of all rotors, failed or not.
    pub equations: &'a Option<NormalEquations<S>>,
    pub direct: &'a Direct<S, N>,
    pub units: &'a [S; 4],
    /// All rotors at their ceilings: no thrust is larger.
    pub strength: S,
    pub failed: RotorSet,
    /// Whether every rotor has its designed floor, and its designed ceiling or the share of it that all have.
    pub as_designed: bool,
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
    first_met: Option<Met<'a, S>>,
    /// A facet that is passed over, because going by it led astray.
    avoided: Option<&'a Facet<S>>,
}

/// A facet that was met, and what was decided there.
#[derive(Clone, Copy)]
struct Met<'a, S> {
    facet: &'a Facet<S>,
    decided: AxisSet,
    wrench: [S; 4],
}

/// What bounds one tier, or a band.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Bounds {
    /// Facets of the axes decided once the tier is.
    pub facets: Run,
    /// The same with yaw, to be widened by the yaw band; empty where no band is kept.
    pub banded: Run,
    /// The same with thrust, to be widened by what the cap leaves to thrust.
    pub capped: Run,
}

impl Bounds {
    pub const NONE: Bounds = Bounds { facets: Run::EMPTY, banded: Run::EMPTY, capped: Run::EMPTY };
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
            first_met: None,
            avoided: None,
        }
    }

    /// Takes all that is demanded, if it lies within the facets of all axes: then no tier gives way. Without a rotor they
    /// may no longer be all there are.
    pub fn meets_the_demand(&mut self, full: Run) -> bool {
        let within = |facet: &Facet<S>| facet.off_middle(self.demand).abs() <= facet.half_width;
        let met = self.craft.failed == RotorSet::EMPTY && full.of(self.table).iter().all(within);
        if met {
            (self.wrench, self.decided) = (*self.demand, AxisSet::ALL);
        }
        met
    }

    /// The yaw torques worth having: from zero to the demand, as far as what is decided allows; where
    /// none of them is attainable, the one that comes nearest.
    ///
    /// Of these only the end at zero is looked for: what cannot be had at the other is no wrench of the set, and the
    /// facets of the tiers to come say so.
    pub fn draw_yaw_band(&mut self, band: &YawBand) {
        let [_, _, _, wanted] = *self.demand;
        let wanted = wanted.limit_size(self.farthest());
        let (from, to) = (wanted.smaller(S::ZERO), wanted.larger(S::ZERO));
        if let Some(segment) = &mut self.segment {
            return segment.narrow(Axis::Yaw, from, to);
        }
        if band.zero_can_be_had && self.craft.as_designed && self.cap.is_none() {
            self.band = Some((from, to));
            return;
        }
        let least = self.clamp(&band.bounds, Axis::Yaw, S::ZERO, S::ZERO);
        if !(least.value >= from && least.value <= to) {
            self.band = Some((least.value, least.value));
            return self.stop_at(least.end, Axis::Yaw, least.value);
        }
        self.band = Some((least.value.smaller(wanted), least.value.larger(wanted)));
    }

    /// Takes the best that the tiers so far leave for these axes.
    pub fn take(&mut self, axes: AxisSet, bounds: &Bounds) {
        if let Some(axis) = axes.only() {
            if !self.decided.contains(axis) {
                self.one_axis(axis, bounds);
            }
        } else {
            self.along_the_demand(axes, bounds);
        }
    }

    fn yaw_band(&self) -> Band<S> {
        self.band.map(|(low, high)| (Axis::Yaw, low, high))
    }

    /// What thrust may still become below the cap.
    fn below_cap(&self) -> Band<S> {
        let cap = self.cap.filter(|_| !self.decided.contains(Axis::Thrust));
        cap.map(|cap| (Axis::Thrust, -self.craft.strength, cap.smaller(self.farthest())))
    }

    /// More than this, in units, is out of reach in any axis, as no entry of a column is above two. A band that went
    /// beyond would cost digits.
    fn farthest(&self) -> S {
        S::TWO * self.craft.strength
    }

    /// What the bounds leave of what is wanted in one axis.
    #[inline(never)]
    fn clamp(&self, bounds: &Bounds, axis: Axis, wanted: S, rounding: S) -> Clamped<'a, S> {
        let mut clamp = Clamp::new(axis, wanted, rounding, self.avoided);
        clamp.by(bounds.facets.of(self.table), &self.wrench);
        if let Some(band) = self.yaw_band() {
            clamp.by_banded(bounds.banded.of(self.table), &self.wrench, band);
        }
        if let Some(band) = self.below_cap() {
            clamp.by_banded(bounds.capped.of(self.table), &self.wrench, band);
        }
        Clamped { value: clamp.value, end: clamp.end }
    }

    /// How far the bounds let a direction be followed.
    fn follow(&self, bounds: &Bounds, base: &[S; 4], direction: &[S; 4], rounding: S) -> Advance<'a, S> {
        let mut advance = Advance::new(rounding, self.avoided);
        advance.by(bounds.facets.of(self.table), base, direction);
        if let Some(band) = self.yaw_band() {
            advance.by_banded(bounds.banded.of(self.table), base, direction, band);
        }
        if let Some(band) = self.below_cap() {
            advance.by_banded(bounds.capped.of(self.table), base, direction, band);
        }
        advance
    }

    /// Whether what is decided, with nothing in the axes to come, lies outside the bounds by more than `rounding`.
    fn is_outside(&self, bounds: &Bounds, rounding: S) -> bool {
        let outside = |run: Run, band| is_outside(Slabs { facets: run.of(self.table), band }, &self.wrench, rounding);
        let (yaw, thrust) = (self.yaw_band(), self.below_cap());
        outside(bounds.facets, None)
            || yaw.is_some() && outside(bounds.banded, yaw)
            || thrust.is_some() && outside(bounds.capped, thrust)
    }

    /// Everything that bounds a tier.
    fn slabs(&self, bounds: &Bounds) -> [Slabs<'a, S>; 3] {
        [(bounds.facets, None), (bounds.banded, self.yaw_band()), (bounds.capped, self.below_cap())].map(
            |(run, band)| {
                let bounds = run == bounds.facets || band.is_some();
                Slabs { facets: if bounds { run.of(self.table) } else { &[] }, band }
            },
        )
    }

    /// Several axes keep their direction and share one scale. Where scaling cannot help, because even
    /// zero is out of reach in these axes, they take the attainable point nearest to the demand.
    fn along_the_demand(&mut self, axes: AxisSet, bounds: &Bounds) {
        let (axes, direction) = self.still_open(axes);
        let within = self.rounding();
        if let Some(segment) = &mut self.segment {
            segment.narrow_along(&direction, axes, within);
            self.wrench = segment.wrench();
            self.decided = self.decided.union(axes);
            return;
        }
        let mut advance = self.follow(bounds, &self.wrench, &direction, S::ZERO);
        // Outside by rounding alone: which facet it met is noise, if there is none that it lies outside by more.
        if advance.missed && advance.beyond(&direction) <= self.met() {
            let lenient = self.follow(bounds, &self.wrench, &direction, self.met());
            advance = if lenient.missed { advance } else { lenient };
        }
        if advance.missed && self.is_outside(bounds, within) {
            self.nearest(axes, bounds);
        } else {
            self.go(axes, self.wrench, &direction, &advance);
        }
    }

    /// What is left of a tier when a facet of the yaw band or the cap has already held one of its axes:
    /// the others keep their direction with it.
    fn still_open(&self, axes: AxisSet) -> (AxisSet, [S; 4]) {
        let open = axes.without(self.decided);
        if open.same(axes) {
            return (axes, axes.of(self.demand));
        }
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
        rounding(self.craft.strength)
    }

    /// A demand that lies outside by less than this, in units, is met.
    fn met(&self) -> S {
        met(self.craft.strength)
    }

    /// A tier of several axes of which neither the demand nor zero can be had: the attainable point nearest to the
    /// demand (two axes), or nearest on the way from the middle of the set.
    fn nearest(&mut self, axes: AxisSet, bounds: &Bounds) {
        let wanted = sum(&self.wrench, S::ONE, &axes.of(self.demand));
        let slabs = self.slabs(bounds);
        match axes.len() {
            1 => return self.one_axis_at_a_time(axes, bounds),
            2 => {
                if let Some((foot, end)) = nearest_in_two_axes(&slabs, &wanted, axes, self.rounding(), self.avoided) {
                    // A band or cap on an axis of this tier is a strip, and the nearest point on its edge.
                    let bands = [self.yaw_band(), self.below_cap()].into_iter().flatten();
                    for (axis, low, high) in bands.filter(|(axis, _, _)| axes.contains(*axis)) {
                        let value = component(&foot, axis);
                        if !(value >= low && value <= high) {
                            self.decide(axis, value.limit(low, high));
                            return self.one_axis_at_a_time(axes, bounds);
                        }
                    }
                    self.wrench = foot;
                    self.decided = self.decided.union(axes);
                    return self.stop(Some(end));
                }
            }
            _ => {}
        }
        let (mut base, middle) = (self.wrench, self.middle());
        for ((value, axis), middle) in base.iter_mut().zip(Axis::ALL).zip(middle) {
            if axes.contains(axis) {
                *value = middle;
            }
        }
        self.advance(axes, bounds, base, &sum(&wanted, -S::ONE, &base));
    }

    /// What the thrusts nearest to half way make that keep their limits and make what is decided, with thrust
    /// below its cap or yaw in its band.
    fn middle(&self) -> [S; 4] {
        let middle = self.middle_with(self.decided, &self.wrench);
        for (axis, low, high) in [self.below_cap(), self.yaw_band()].into_iter().flatten() {
            let value = component(&middle, axis);
            if !self.decided.contains(axis) && !(value >= low && value <= high) {
                let mut held = self.wrench;
                if let Some(slot) = held.get_mut(axis.index()) {
                    *slot = value.limit(low, high);
                }
                return self.middle_with(self.decided.with(axis), &held);
            }
        }
        middle
    }

    fn middle_with(&self, axes: AxisSet, wanted: &[S; 4]) -> [S; 4] {
        let (mut middle, mut around) = ([S::ZERO; 4], Vec::<Bounded<S>, N>::new());
        for (i, rotor) in self.craft.rotors.iter().enumerate() {
            let pinned = self.face.pinned_thrust(i).map(|thrust| (thrust, thrust));
            let (floor, ceiling) = pinned.unwrap_or((rotor.floor, rotor.ceiling));
            let half = S::HALF * (floor + ceiling);
            middle = sum(&middle, half, &rotor.column);
            // There are no more of them than rotors.
            let _ =
                around.push(Bounded { column: axes.of(&rotor.column), floor: floor - half, ceiling: ceiling - half });
        }
        let missing = axes.of(&sum(wanted, -S::ONE, &middle));
        let (moves, _) = box_least_squares::solve(&around, None, &Face::without(RotorSet::EMPTY), axes, &missing);
        for (rotor, thrust) in self.craft.rotors.iter().zip(moves) {
            middle = sum(&middle, thrust, &rotor.column);
        }
        middle
    }

    /// From `base` along `direction` until a slab ends it, but no further than all of it.
    fn advance(&mut self, axes: AxisSet, bounds: &Bounds, base: [S; 4], direction: &[S; 4]) {
        let mut advance = self.follow(bounds, &base, direction, S::ZERO);
        // Where the set is flat the way leaves it at once; rounding would let it go on for a while.
        if advance.room(direction) <= self.rounding() {
            advance.scale = S::ZERO;
        }
        self.go(axes, base, direction, &advance);
    }

    /// Takes what was found along a direction for these axes.
    fn go(&mut self, axes: AxisSet, base: [S; 4], direction: &[S; 4], advance: &Advance<'a, S>) {
        self.wrench = sum(&base, advance.scale.larger(S::ZERO), direction);
        self.decided = self.decided.union(axes);
        self.stop(advance.end);
    }

    fn one_axis_at_a_time(&mut self, axes: AxisSet, bounds: &Bounds) {
        for axis in axes.iter() {
            if !self.decided.contains(axis) {
                self.one_axis(axis, bounds);
            }
        }
    }

    fn one_axis(&mut self, axis: Axis, bounds: &Bounds) {
        let Some(wanted) = self.demand.get(axis.index()).copied() else { return };
        if let Some(segment) = &mut self.segment {
            segment.narrow(axis, wanted, wanted);
            self.wrench = segment.wrench();
            self.decided = self.decided.with(axis);
            return;
        }
        let mut clamp = self.clamp(bounds, axis, wanted, S::ZERO);
        if clamp.end.is_some() && clamp.beyond(axis, wanted) <= self.met() {
            let lenient = self.clamp(bounds, axis, wanted, self.met());
            clamp = if lenient.end.is_none() { lenient } else { clamp };
        }
        self.stop_at(clamp.end, axis, clamp.value);
    }

    fn decide(&mut self, axis: Axis, value: S) {
        if let Some(slot) = self.wrench.get_mut(axis.index()) {
            *slot = value;
        }
        self.decided = self.decided.with(axis);
    }

    fn stop_at(&mut self, end: Option<End<'a, S>>, axis: Axis, value: S) {
        self.decide(axis, value);
        self.stop(end);
    }

    /// A facet was met: pins its rotors and looks whether a line is left.
    fn stop(&mut self, end: Option<End<'a, S>>) {
        let Some(end) = end else { return };
        let band = match end.banded {
            Some(Axis::Yaw) => self.yaw_band(),
            Some(Axis::Thrust) => self.below_cap(),
            _ => None,
        };
        if let Some((axis, value)) = band.and_then(|band| end.held(band)) {
            self.decide(axis, value);
        }
        if self.first_met.is_none() {
            self.first_met = Some(Met { facet: end.facet, decided: self.decided, wrench: self.wrench });
        }
        if self.craft.is_square() && self.decided.same(AxisSet::ALL) {
            return;
        }
        self.face.pin(end.facet, end.side, self.craft.rotors);
        self.segment = self.face.segment(self.craft.rotors, self.decided, &self.wrench);
        let (lowest, band, cap) = (-self.craft.strength, self.band, self.cap);
        let Some(segment) = &mut self.segment else { return };
        if let (Some((low, high)), false) = (band, self.decided.contains(Axis::Yaw)) {
            segment.narrow(Axis::Yaw, low, high);
        }
        if let (Some(cap), false) = (cap, self.decided.contains(Axis::Thrust)) {
            segment.narrow(Axis::Thrust, lowest, cap);
        }
    }
}

/// Wrenches of rotors of this strength that differ by less than this, in units, differ by rounding.
pub(crate) fn rounding<S: Scalar>(strength: S) -> S {
    S::from_f64(ROUNDING_ULPS) * S::EPSILON * strength
}

/// A demand on rotors of this strength that lies outside by less than this, in units, is met.
pub(crate) fn met<S: Scalar>(strength: S) -> S {
    S::from_f64(MET_ULPS) * S::EPSILON * strength
}
