//! Where a line leaves the attainable set, and whether a point lies in it.

use crate::facets::{Facet, Side, dot};
use crate::scalar::Scalar;
use crate::wrench::Axis;

/// Stands for "no bound" in a line cut.
const FAR: f64 = 1.0e18;

/// A line runs along a slab when its slope is below this, in units of the machine epsilon.
const PARALLEL_ULPS: f64 = 4.0;

/// Which way a line runs.
#[derive(Clone, Copy)]
pub(crate) enum Along<'d, S> {
    /// One axis: a slope is a component of the normal.
    Axis(Axis),
    /// Any direction.
    Direction(&'d [S; 4]),
}

/// Slabs that bound a choice.
#[derive(Clone, Copy)]
pub(crate) struct Slabs<'f, S> {
    pub facets: &'f [Facet<S>],
    /// An axis that may take any value in a band: the slabs widen by the reach of a virtual actuator
    /// that works in that axis alone. What a point holds in it counts for nothing.
    pub band: &'f Band<S>,
}

/// The two ends of a cut, and the facet at either.
///
/// Empty (low above high) when the line misses the set.
pub(crate) struct Cut<'a, S> {
    pub low: S,
    pub high: S,
    at_low: Option<Stop<'a, S>>,
    at_high: Option<Stop<'a, S>>,
    /// How far the line runs outside the worst of the slabs it is parallel to; zero or less inside.
    pub beside: S,
}

/// The facet at one end while the cut is being made.
#[derive(Clone, Copy)]
struct Stop<'a, S> {
    facet: &'a Facet<S>,
    slope: S,
    band: &'a Band<S>,
}

/// An axis and the values it may take.
pub(crate) type Band<S> = Option<(Axis, S, S)>;

/// The facet that ends a cut.
#[derive(Clone, Copy)]
pub(crate) struct End<'a, S> {
    pub facet: &'a Facet<S>,
    pub side: Side,
    /// Where in its band the axis with a band stands there, if the band had a part in it.
    pub held: Option<(Axis, S)>,
}

impl<'f, S: Scalar> Slabs<'f, S> {
    pub fn plain(facets: &'f [Facet<S>]) -> Self {
        Slabs { facets, band: &None }
    }

    /// Whether a point lies within every slab, or outside by no more than `rounding`.
    pub fn hold(&self, point: &[S; 4], rounding: S) -> bool {
        match *self.band {
            None => self.facets.iter().all(|facet| {
                let offset = dot(&facet.normal, point);
                offset - facet.upper <= rounding && facet.lower - offset <= rounding
            }),
            Some((axis, low, high)) => {
                let point = without(point, axis);
                self.facets.iter().all(|facet| {
                    let offset = dot(&facet.normal, &point);
                    let (down, up) = reach(facet, axis, low, high);
                    offset + down - facet.upper <= rounding && facet.lower - offset - up <= rounding
                })
            }
        }
    }
}

/// The point with nothing in one axis.
fn without<S: Scalar>(point: &[S; 4], axis: Axis) -> [S; 4] {
    let mut point = *point;
    if let Some(value) = point.get_mut(axis.index()) {
        *value = S::ZERO;
    }
    point
}

/// How far the band moves a point along the normal at least and at most.
fn reach<S: Scalar>(facet: &Facet<S>, axis: Axis, low: S, high: S) -> (S, S) {
    let lever = facet.normal.get(axis.index()).copied().unwrap_or_default();
    if lever > S::ZERO { (lever * low, lever * high) } else { (lever * high, lever * low) }
}

impl<'a, S: Scalar> Cut<'a, S> {
    /// A line that nothing bounds yet.
    pub fn unbounded() -> Self {
        let far = S::from_f64(FAR);
        Cut { low: -far, high: far, at_low: None, at_high: None, beside: -far }
    }

    /// The interval of `s` for which `base + s·direction` lies within every slab.
    pub fn by(&mut self, slabs: Slabs<'a, S>, base: &[S; 4], along: Along<S>) {
        match along {
            Along::Axis(axis) => {
                let slope = |facet: &Facet<S>| facet.normal.get(axis.index()).copied().unwrap_or_default();
                self.by_slopes(slabs, base, slope)
            }
            Along::Direction(direction) => {
                let least = least_slope(direction);
                let slope = |facet: &Facet<S>| {
                    let slope = dot(&facet.normal, direction);
                    if slope.abs() > least { slope } else { S::ZERO }
                };
                self.by_slopes(slabs, base, slope)
            }
        }
    }

    fn by_slopes(&mut self, slabs: Slabs<'a, S>, base: &[S; 4], slope: impl Fn(&Facet<S>) -> S) {
        let Some((axis, low, high)) = *slabs.band else {
            for facet in slabs.facets {
                let offset = dot(&facet.normal, base);
                self.narrow(facet, slabs.band, slope(facet), facet.lower - offset, facet.upper - offset);
            }
            return;
        };
        let base = without(base, axis);
        for facet in slabs.facets {
            let offset = dot(&facet.normal, &base);
            let (down, up) = reach(facet, axis, low, high);
            self.narrow(facet, slabs.band, slope(facet), facet.lower - offset - up, facet.upper - offset - down);
        }
    }

    fn narrow(&mut self, facet: &'a Facet<S>, band: &'a Band<S>, slope: S, lower: S, upper: S) {
        if slope == S::ZERO {
            self.beside = self.beside.larger(lower).larger(-upper);
            return;
        }
        let inverse = S::ONE / slope;
        let (near, far) =
            if slope > S::ZERO { (lower * inverse, upper * inverse) } else { (upper * inverse, lower * inverse) };
        if near > self.low {
            self.low = near;
            self.at_low = Some(Stop { facet, slope, band });
        }
        if far < self.high {
            self.high = far;
            self.at_high = Some(Stop { facet, slope, band });
        }
    }

    /// The facet where the line enters the set.
    pub fn low_end(&self) -> Option<End<'a, S>> {
        self.at_low.map(|stop| stop.end(if stop.slope > S::ZERO { Side::Lower } else { Side::Upper }))
    }

    /// The facet where the line leaves the set.
    pub fn high_end(&self) -> Option<End<'a, S>> {
        self.at_high.map(|stop| stop.end(if stop.slope > S::ZERO { Side::Upper } else { Side::Lower }))
    }

    /// How far a place on the line lies outside the slabs that end it; zero within.
    pub fn outside(&self, place: S) -> S {
        let beyond = |stop: Option<Stop<S>>, by: S| stop.map_or(S::ZERO, |stop| stop.slope.abs() * by);
        if place > self.high {
            beyond(self.at_high, place - self.high)
        } else if place < self.low {
            beyond(self.at_low, self.low - place)
        } else {
            S::ZERO
        }
    }
}

impl<'a, S: Scalar> Stop<'a, S> {
    /// Against the upper facet the band gives way as far down as it can, against the lower as far up.
    fn end(self, side: Side) -> End<'a, S> {
        let held = self.band.and_then(|(axis, low, high)| {
            let lever = self.facet.normal.get(axis.index()).copied().unwrap_or_default();
            match (side == Side::Upper) == (lever > S::ZERO) {
                _ if lever == S::ZERO => None,
                true => Some((axis, low)),
                false => Some((axis, high)),
            }
        });
        End { facet: self.facet, side, held }
    }
}

/// A slope that is rounding of zero.
fn least_slope<S: Scalar>(direction: &[S; 4]) -> S {
    S::from_f64(PARALLEL_ULPS)
        * S::EPSILON
        * direction.iter().fold(S::ZERO, |largest, value| largest.larger(value.abs()))
}
