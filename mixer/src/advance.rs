//! How far slabs let a direction be followed.
//!
//! A slab that holds the end of the way costs two products and four comparisons. One that does not shortens the way,
//! and is the only one that is divided by.

use crate::cut::{End, least_slope, lever, with};
use crate::facets::{Facet, Side, dot};
use crate::scalar::Scalar;
use crate::wrench::Axis;

/// The way `base + scale·direction`.
pub(crate) struct Advance<'a, S> {
    /// At most one.
    pub scale: S,
    /// The facet that ends it before one.
    pub end: Option<End<'a, S>>,
    /// Whether the base lies outside by more than rounding. The scale then means nothing below one.
    pub base_outside: bool,
    /// Whether all of it ends outside, ahead or behind.
    pub missed: bool,
    rounding: S,
    base_rounding: S,
    /// A facet that is passed over.
    avoided: Option<&'a Facet<S>>,
}

impl<'a, S: Scalar> Advance<'a, S> {
    /// All of the direction, while nothing bounds it. What lies outside by no more than `rounding` is inside, and so is
    /// a base that does by no more than `base_rounding`.
    pub fn new(rounding: S, base_rounding: S, avoided: Option<&'a Facet<S>>) -> Self {
        let (base_outside, missed) = (false, false);
        Advance { scale: S::ONE, end: None, base_outside, missed, rounding, base_rounding, avoided }
    }

    /// Shortens it to these slabs.
    pub fn by(&mut self, facets: &'a [Facet<S>], base: &[S; 4], direction: &[S; 4]) {
        for facet in facets {
            let (offset, slope) = (dot(&facet.normal, base), dot(&facet.normal, direction));
            self.meet(facet, facet.lower - offset, facet.upper - offset, slope, direction, None);
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
        let (middle, half_width) = (S::HALF * (low + high), S::HALF * (high - low));
        let center = with(base, axis, middle);
        for facet in facets {
            let reach = lever(facet, axis).abs() * half_width;
            let (offset, slope) = (dot(&facet.normal, &center), dot(&facet.normal, direction));
            self.meet(facet, facet.lower - reach - offset, facet.upper + reach - offset, slope, direction, Some(axis));
        }
    }

    /// How far all of it lies outside the slab that shortened it.
    pub fn beyond(&self, direction: &[S; 4]) -> S {
        match &self.end {
            Some(end) => dot(&end.facet.normal, direction).abs() * (S::ONE - self.scale),
            None => S::ZERO,
        }
    }

    /// A slab with this much room below and above the base.
    #[inline(always)]
    fn meet(&mut self, facet: &'a Facet<S>, lower: S, upper: S, slope: S, direction: &[S; 4], banded: Option<Axis>) {
        self.base_outside |= !(lower <= self.base_rounding && -upper <= self.base_rounding);
        let along = slope * self.scale;
        if along >= lower && along <= upper {
            return;
        }
        self.missed |= !(along - upper <= self.rounding && lower - along <= self.rounding);
        // Only what lies ahead ends the way; behind it there can be rounding, or a base outside.
        let (limit, side, beyond) =
            if slope > S::ZERO { (upper, Side::Upper, along - upper) } else { (lower, Side::Lower, lower - along) };
        let passed_over = self.avoided.is_some_and(|avoided| core::ptr::eq(avoided, facet));
        if beyond > self.rounding && slope.abs() > least_slope(direction) && !passed_over {
            self.scale = limit / slope;
            self.end = Some(End { facet, side, banded });
        }
    }
}
