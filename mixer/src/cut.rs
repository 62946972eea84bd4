//! Where a line leaves the attainable set.

use crate::facets::{Facet, Side, dot};
use crate::scalar::Scalar;
use crate::wrench::Axis;

/// Stands for "no bound" in a line cut.
const FAR: f64 = 1.0e18;

/// A line runs along a slab when its slope is below this, in units of the machine epsilon.
const PARALLEL_ULPS: f64 = 4.0;

/// The two ends of a cut, and the facet at either.
///
/// Empty (low above high) when the line misses the set.
pub(crate) struct Cut<'a, S> {
    pub low: S,
    pub high: S,
    pub at_low: Option<End<'a, S>>,
    pub at_high: Option<End<'a, S>>,
    /// How far the base itself lies outside the worst slab; zero or less inside.
    pub outside: S,
    /// The same among the slabs that the line runs along, which no step along it can mend.
    pub beside: S,
    /// How far `base + wanted·direction` lies outside.
    pub short: S,
    wanted: S,
}

type Held<S> = Option<(Axis, S)>;

/// The facet that ends a cut.
#[derive(Clone, Copy)]
pub(crate) struct End<'a, S> {
    pub facet: &'a Facet<S>,
    pub side: Side,
    /// Where in its band the axis with a band stands there, if the band had a part in it.
    pub held: Held<S>,
}

impl<'a, S: Scalar> Cut<'a, S> {
    /// A line that nothing bounds yet, on which `wanted` is the place one would like to reach.
    pub fn unbounded(wanted: S) -> Self {
        let far = S::from_f64(FAR);
        Cut { low: -far, high: far, at_low: None, at_high: None, outside: -far, beside: -far, short: -far, wanted }
    }

    /// The interval of `s` for which `base + s·direction` lies within every slab.
    pub fn by(mut self, facets: &'a [Facet<S>], base: &[S; 4], direction: &[S; 4]) -> Self {
        let least = least_slope(direction);
        for facet in facets {
            let slope = dot(&facet.normal, direction);
            let slope = if slope.abs() > least { slope } else { S::ZERO };
            let offset = dot(&facet.normal, base);
            let (lower, upper) = (facet.lower - offset, facet.upper - offset);
            self.narrow(facet, slope, (lower, None), (upper, None));
        }
        self
    }

    /// The same with `axis` free to take any value in a band: the slabs widen by the reach of a virtual
    /// actuator that works in that axis alone. What `base` holds in it counts for nothing.
    pub fn by_banded(
        mut self,
        facets: &'a [Facet<S>],
        base: &[S; 4],
        direction: &[S; 4],
        axis: Axis,
        (band_low, band_high): (S, S),
    ) -> Self {
        let mut base = *base;
        if let Some(value) = base.get_mut(axis.index()) {
            *value = S::ZERO;
        }
        let least = least_slope(direction);
        for facet in facets {
            let slope = dot(&facet.normal, direction);
            let slope = if slope.abs() > least { slope } else { S::ZERO };
            let offset = dot(&facet.normal, &base);
            let lever = facet.normal.get(axis.index()).copied().unwrap_or_default();
            let (towards, away) = if lever > S::ZERO { (band_high, band_low) } else { (band_low, band_high) };
            let lower = facet.lower - offset - lever * towards;
            let upper = facet.upper - offset - lever * away;
            let held = |value| if lever == S::ZERO { None } else { Some((axis, value)) };
            self.narrow(facet, slope, (lower, held(towards)), (upper, held(away)));
        }
        self
    }

    fn narrow(&mut self, facet: &'a Facet<S>, slope: S, lower: (S, Held<S>), upper: (S, Held<S>)) {
        let there = self.wanted * slope;
        self.short = self.short.larger(lower.0 - there).larger(there - upper.0);
        self.outside = self.outside.larger(lower.0).larger(-upper.0);
        if slope == S::ZERO {
            self.beside = self.beside.larger(lower.0).larger(-upper.0);
            return;
        }
        let inverse = S::ONE / slope;
        let (lower, upper) = ((lower.0 * inverse, lower.1, Side::Lower), (upper.0 * inverse, upper.1, Side::Upper));
        let (near, far) = if slope > S::ZERO { (lower, upper) } else { (upper, lower) };
        if near.0 > self.low {
            self.low = near.0;
            self.at_low = Some(End { facet, side: near.2, held: near.1 });
        }
        if far.0 < self.high {
            self.high = far.0;
            self.at_high = Some(End { facet, side: far.2, held: far.1 });
        }
    }
}

/// A slope that is rounding of zero.
fn least_slope<S: Scalar>(direction: &[S; 4]) -> S {
    S::from_f64(PARALLEL_ULPS)
        * S::EPSILON
        * direction.iter().fold(S::ZERO, |largest, value| largest.larger(value.abs()))
}
