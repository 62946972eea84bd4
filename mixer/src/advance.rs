//! How far slabs let a direction be followed.
//!
//! A slab that holds the end of the way costs a product and a comparison. One that does not shortens the way,
//! and is the only one that is divided by.

use crate::cut::{End, Slabs, least_slope, lever, with};
use crate::facets::{Facet, Side, dot};
use crate::scalar::Scalar;
use crate::segment::sum;
use crate::wrench::Axis;

/// The way `base + scale·direction`.
pub(crate) struct Advance<'a, S> {
    /// At most one.
    pub scale: S,
    /// The facet that ends it before one.
    pub end: Option<End<'a, S>>,
    /// Whether all of it ends outside, ahead or behind.
    pub missed: bool,
    rounding: S,
    /// A facet that is passed over.
    avoided: Option<&'a Facet<S>>,
}

impl<'a, S: Scalar> Advance<'a, S> {
    /// All of the direction, while nothing bounds it. What lies outside by no more than `rounding` is inside.
    pub fn new(rounding: S, avoided: Option<&'a Facet<S>>) -> Self {
        Advance { scale: S::ONE, end: None, missed: false, rounding, avoided }
    }

    /// Shortens it to these slabs.
    pub fn by(&mut self, facets: &'a [Facet<S>], base: &[S; 4], direction: &[S; 4]) {
        let mut point = sum(base, self.scale, direction);
        let mut slabs = facets.iter();
        while let Some(facet) = slabs.find(|facet| !(facet.off_middle(&point).abs() <= facet.half_width)) {
            self.meet(facet, facet.half_width, base, direction, None);
            point = sum(base, self.scale, direction);
        }
    }

    /// The same with slabs that a band widens.
    pub fn by_banded(
        &mut self,
        facets: &'a [Facet<S>],
        base: &[S; 4],
        direction: &[S; 4],
        (axis, low, high): (Axis, S, S),
    ) {
        let (middle, half_band) = (S::HALF * (low + high), S::HALF * (high - low));
        let center = with(base, axis, middle);
        for facet in facets {
            let half_width = facet.half_width + lever(facet, axis).abs() * half_band;
            self.meet(facet, half_width, &center, direction, Some(axis));
        }
    }

    /// How far all of it lies outside the slab that shortened it.
    pub fn beyond(&self, direction: &[S; 4]) -> S {
        match &self.end {
            Some(end) => dot(&end.facet.normal, direction).abs() * (S::ONE - self.scale),
            None => S::ZERO,
        }
    }

    /// How far the base lies inside the slab that shortened it; all of the way where none did.
    pub fn room(&self, direction: &[S; 4]) -> S {
        match &self.end {
            Some(end) => dot(&end.facet.normal, direction).abs() * self.scale,
            None => dot(direction, direction).sqrt(),
        }
    }

    /// A slab of this half width.
    #[inline(always)]
    fn meet(&mut self, facet: &'a Facet<S>, half_width: S, base: &[S; 4], direction: &[S; 4], banded: Option<Axis>) {
        let (start, slope) = (facet.off_middle(base), dot(&facet.normal, direction));
        let off = start + slope * self.scale;
        let beyond = off.abs() - half_width;
        if beyond <= S::ZERO {
            return;
        }
        self.missed |= !(beyond <= self.rounding);
        // Only what lies ahead ends the way; behind it there can be rounding, or a base outside.
        let ahead = (off > S::ZERO) == (slope > S::ZERO);
        let passed_over = self.avoided.is_some_and(|avoided| core::ptr::eq(avoided, facet));
        if ahead && beyond > self.rounding && slope.abs() > least_slope(direction) && !passed_over {
            let (limit, side) = if off > S::ZERO { (half_width, Side::Upper) } else { (-half_width, Side::Lower) };
            self.scale = (limit - start) / slope;
            self.end = Some(End { facet, side, banded });
        }
    }
}

/// Whether a point lies outside of slabs by more than `rounding`, or is none.
pub(crate) fn is_outside<S: Scalar>(slabs: Slabs<S>, point: &[S; 4], rounding: S) -> bool {
    slabs.facets.iter().any(|facet| {
        let (down, up) = slabs.room(facet, point);
        !(down <= rounding && -up <= rounding)
    })
}
