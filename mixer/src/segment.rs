//! A line of wrenches: what is left of the attainable set once a facet has been met.

use crate::cut::FAR;
use crate::facets::dot;
use crate::priority::AxisSet;
use crate::scalar::Scalar;
use crate::wrench::Axis;

/// What moves by less than this along the line, in units of the machine epsilon, stands still.
const STILL_ULPS: f64 = 64.0;

/// Wrenches `start + t·along`, in units, for `low ≤ t ≤ high`: a point where they do not move.
#[derive(Clone, Copy)]
pub(crate) struct Segment<S> {
    start: [S; 4],
    along: [S; 4],
    low: S,
    high: S,
}

impl<S: Scalar> Segment<S> {
    /// A line that nothing bounds yet.
    pub fn new(start: [S; 4], along: [S; 4]) -> Self {
        let far = S::from_f64(FAR);
        Segment { start, along, low: -far, high: far }
    }

    /// Keeps a thrust that is `from` at the start and moves at `speed` within its limits.
    pub fn keep(&mut self, from: S, speed: S, floor: S, ceiling: S) {
        if !moves(speed) {
            return;
        }
        let inverse = S::ONE / speed;
        let (a, b) = ((floor - from) * inverse, (ceiling - from) * inverse);
        let (enters, leaves) = if speed > S::ZERO { (a, b) } else { (b, a) };
        // In this order a NaN bounds nothing.
        (self.low, self.high) = (enters.larger(self.low), leaves.smaller(self.high));
    }

    /// Where rounding has turned the bounds inside out, the middle of them.
    pub fn closed(mut self) -> Self {
        if !(self.low <= self.high) {
            let far = S::from_f64(FAR);
            self.low = (S::HALF * (self.low + self.high)).limit(-far, far);
            self.high = self.low;
        }
        self
    }

    /// Whether moving along the line changes this axis.
    fn motion(&self, place: usize) -> Option<(S, S)> {
        let (start, along) = (*self.start.get(place)?, *self.along.get(place)?);
        moves(along).then_some((start, along))
    }

    /// Narrows the line to where `axis` lies in `from..=to`, or is nearest to it.
    pub fn narrow(&mut self, axis: Axis, from: S, to: S) {
        let Some((start, along)) = self.motion(axis.index()) else { return };
        let a = (from - start) / along;
        if from == to {
            let place = a.limit(self.low, self.high);
            (self.low, self.high) = (place, place);
            return;
        }
        let b = (to - start) / along;
        let (enters, leaves) = if along > S::ZERO { (a, b) } else { (b, a) };
        (self.low, self.high) = (enters.limit(self.low, self.high), leaves.limit(self.low, self.high));
    }

    /// Narrows the line by a tier of several axes: scaled along `direction` where zero lies on the line
    /// to within `rounding`, otherwise nearest to it.
    pub fn narrow_along(&mut self, direction: &[S; 4], axes: AxisSet, rounding: S) {
        let within = |values: &[S; 4]| axes.of(values).iter().all(|value| value.abs() <= rounding);
        let along = axes.of(&self.along);
        let square = dot(&along, &along);
        if !(square > S::EPSILON * S::EPSILON) {
            return;
        }
        let from_start = -dot(&along, &self.start) / square;
        let wanted = dot(&along, direction) / square;
        let zero = from_start.limit(self.low, self.high);
        let mut t = (from_start + wanted).limit(self.low, self.high);
        if within(&sum(&self.start, zero, &along)) && !within(&sum(direction, -wanted, &along)) {
            t = zero;
        }
        (self.low, self.high) = (t, t);
    }

    /// The wrench at [`Segment::t`].
    pub fn wrench(&self) -> [S; 4] {
        sum(&self.start, self.t(), &self.along)
    }

    /// The place on what is left that is nearest to the start.
    pub fn t(&self) -> S {
        S::ZERO.limit(self.low, self.high)
    }
}

fn moves<S: Scalar>(speed: S) -> bool {
    speed.abs() > S::from_f64(STILL_ULPS) * S::EPSILON
}

/// a + t·b
pub(crate) fn sum<S: Scalar>(a: &[S; 4], t: S, b: &[S; 4]) -> [S; 4] {
    let ([a0, a1, a2, a3], [b0, b1, b2, b3]) = (*a, *b);
    [a0 + t * b0, a1 + t * b1, a2 + t * b2, a3 + t * b3]
}
