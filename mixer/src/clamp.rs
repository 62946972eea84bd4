//! The value of one axis that slabs leave nearest to what is wanted.
//!
//! A slab that holds the value costs a product and two comparisons. One that does not is met; the value moves there,
//! and is all that the slabs after it are asked about.

use crate::cut::{End, lever, with};
use crate::facets::{Facet, Side, dot};
use crate::scalar::Scalar;
use crate::wrench::Axis;

/// The other axes stay as they are.
pub(crate) struct Clamp<'a, S> {
    base: [S; 4],
    axis: Axis,
    /// Outside by no more than this is inside.
    rounding: S,
    /// A facet that is passed over.
    avoided: Option<&'a Facet<S>>,
    pub value: S,
    /// The facet that moved it.
    pub end: Option<End<'a, S>>,
    /// Whether it moved down.
    down: bool,
}

impl<'a, S: Scalar> Clamp<'a, S> {
    /// What is wanted, while nothing bounds it.
    #[inline(always)]
    pub fn new(base: &[S; 4], axis: Axis, wanted: S, rounding: S, avoided: Option<&'a Facet<S>>) -> Self {
        let base = with(base, axis, S::ZERO);
        Clamp { base, axis, rounding, avoided, value: wanted, end: None, down: false }
    }

    /// Moves the value into these slabs.
    #[inline(always)]
    pub fn by(&mut self, facets: &'a [Facet<S>]) {
        for facet in facets {
            let offset = dot(&facet.normal, &self.base);
            self.keep_within(facet, facet.lower - offset, facet.upper - offset, None);
        }
    }

    /// The same with slabs that a band widens: from its middle, by as far as it reaches along the normal.
    #[inline(always)]
    pub fn by_banded(&mut self, facets: &'a [Facet<S>], (axis, low, high): (Axis, S, S)) {
        let (middle, half_width) = (S::HALF * (low + high), S::HALF * (high - low));
        let center = with(&self.base, axis, middle);
        for facet in facets {
            let reach = lever(facet, axis).abs() * half_width;
            let offset = dot(&facet.normal, &center);
            self.keep_within(facet, facet.lower - reach - offset, facet.upper + reach - offset, Some(axis));
        }
    }

    /// A slab with this much room below and above the point with nothing in the axis.
    #[inline(always)]
    fn keep_within(&mut self, facet: &'a Facet<S>, lower: S, upper: S, banded: Option<Axis>) {
        let lever = lever(facet, self.axis);
        let moved = lever * self.value;
        if moved >= lower && moved <= upper {
            return;
        }
        let (limit, side, beyond) =
            if moved > upper { (upper, Side::Upper, moved - upper) } else { (lower, Side::Lower, lower - moved) };
        let passed_over = self.avoided.is_some_and(|avoided| core::ptr::eq(avoided, facet));
        if beyond <= self.rounding || lever == S::ZERO || passed_over {
            return;
        }
        let place = limit / lever;
        let down = (side == Side::Upper) == (lever > S::ZERO);
        if self.end.is_some() && down != self.down {
            // Rounding has turned a point inside out: half way. It was still met from the other side.
            self.value = S::HALF * (self.value + place);
            return;
        }
        (self.value, self.down) = (place, down);
        self.end = Some(End { facet, side, banded });
    }
}

/// What came of it.
pub(crate) struct Clamped<'a, S> {
    pub value: S,
    /// The facet that moved it from what was wanted.
    pub end: Option<End<'a, S>>,
}

impl<S: Scalar> Clamped<'_, S> {
    /// How far what was wanted of the axis lies outside the slab that moved it.
    pub fn beyond(&self, axis: Axis, wanted: S) -> S {
        match &self.end {
            Some(end) => (lever(end.facet, axis) * (wanted - self.value)).abs(),
            None => S::ZERO,
        }
    }
}
