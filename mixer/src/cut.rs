//! Slabs, the bands that widen them, and what they leave of a line.

use crate::facets::{Facet, Side, dot};
use crate::scalar::Scalar;
use crate::wrench::Axis;

/// Stands for "no bound" along a line.
pub(crate) const FAR: f64 = 1.0e18;

/// A line runs along a slab when its slope is below this, in units of the machine epsilon.
const PARALLEL_ULPS: f64 = 4.0;

/// Slabs that bound a choice.
#[derive(Clone, Copy)]
pub(crate) struct Slabs<'f, S> {
    pub facets: &'f [Facet<S>],
    /// An axis that may take any value in a band: the slabs widen by the reach of a virtual actuator
    /// that works in that axis alone. What a point holds in it counts for nothing.
    pub band: Band<S>,
}

/// What slabs leave of a line. Empty (low above high) when the line misses the set.
pub(crate) struct Cut<S> {
    pub low: S,
    pub high: S,
    /// How far the line runs outside the worst of the slabs it is parallel to; zero or less inside.
    pub beside: S,
}

/// An axis and the values it may take.
pub(crate) type Band<S> = Option<(Axis, S, S)>;

/// The facet that ends a cut.
#[derive(Clone, Copy)]
pub(crate) struct End<'a, S> {
    pub facet: &'a Facet<S>,
    pub side: Side,
    /// The axis by whose band it was widened.
    pub banded: Option<Axis>,
}

impl<'f, S: Scalar> Slabs<'f, S> {
    pub fn plain(facets: &'f [Facet<S>]) -> Self {
        Slabs { facets, band: None }
    }

    /// How far a point may still move along the normal down and up, for the axis with a band as it likes.
    pub fn room(&self, facet: &Facet<S>, point: &[S; 4]) -> (S, S) {
        match self.band {
            None => {
                let off = facet.off_middle(point);
                (-facet.half_width - off, facet.half_width - off)
            }
            Some((axis, low, high)) => {
                let off = facet.off_middle(&with(point, axis, S::ZERO));
                let (down, up) = reach(facet, axis, low, high);
                (-facet.half_width - off - up, facet.half_width - off - down)
            }
        }
    }

    /// One side of a facet as the end of a way.
    pub fn end(&self, facet: &'f Facet<S>, side: Side) -> End<'f, S> {
        End { facet, side, banded: self.band.map(|(axis, _, _)| axis) }
    }
}

impl<S: Scalar> End<'_, S> {
    /// Where in its band that axis stands here, if it has a part in the facet: against the upper facet it gives way as
    /// far down as it can, against the lower as far up.
    pub fn held(&self, (axis, low, high): (Axis, S, S)) -> Option<(Axis, S)> {
        let lever = lever(self.facet, axis);
        match (self.side == Side::Upper) == (lever > S::ZERO) {
            _ if lever == S::ZERO => None,
            true => Some((axis, low)),
            false => Some((axis, high)),
        }
    }
}

/// The point with another value in one axis.
#[inline]
pub(crate) fn with<S: Scalar>(point: &[S; 4], axis: Axis, value: S) -> [S; 4] {
    let [thrust, roll, pitch, yaw] = *point;
    match axis {
        Axis::Thrust => [value, roll, pitch, yaw],
        Axis::Roll => [thrust, value, pitch, yaw],
        Axis::Pitch => [thrust, roll, value, yaw],
        Axis::Yaw => [thrust, roll, pitch, value],
    }
}

/// What values by axis hold in one of them.
#[inline]
pub(crate) fn component<S: Scalar>(values: &[S; 4], axis: Axis) -> S {
    values.get(axis.index()).copied().unwrap_or_default()
}

/// What moving by one along the axis moves along the normal.
#[inline]
pub(crate) fn lever<S: Scalar>(facet: &Facet<S>, axis: Axis) -> S {
    component(&facet.normal, axis)
}

/// How far the band moves a point along the normal at least and at most.
fn reach<S: Scalar>(facet: &Facet<S>, axis: Axis, low: S, high: S) -> (S, S) {
    let lever = lever(facet, axis);
    if lever > S::ZERO { (lever * low, lever * high) } else { (lever * high, lever * low) }
}

impl<S: Scalar> Cut<S> {
    /// A line that nothing bounds yet.
    pub fn unbounded() -> Self {
        let far = S::from_f64(FAR);
        Cut { low: -far, high: far, beside: -far }
    }

    /// Narrows it to where `base + s·direction` lies within every slab.
    pub fn by(&mut self, slabs: Slabs<S>, base: &[S; 4], direction: &[S; 4]) {
        let least = least_slope(direction);
        for facet in slabs.facets {
            let slope = dot(&facet.normal, direction);
            let (lower, upper) = slabs.room(facet, base);
            if !(slope.abs() > least) {
                self.beside = self.beside.larger(lower).larger(-upper);
                continue;
            }
            let inverse = S::ONE / slope;
            let (a, b) = (lower * inverse, upper * inverse);
            let (near, far) = if slope > S::ZERO { (a, b) } else { (b, a) };
            (self.low, self.high) = (near.larger(self.low), far.smaller(self.high));
        }
    }
}

/// A slope that is rounding of zero.
pub(crate) fn least_slope<S: Scalar>(direction: &[S; 4]) -> S {
    S::from_f64(PARALLEL_ULPS)
        * S::EPSILON
        * direction.iter().fold(S::ZERO, |largest, value| largest.larger(value.abs()))
}
