//! The value of one axis that slabs leave nearest to what is wanted.
//!
//! A slab that holds the value costs a product and a comparison. One that does not is met; the value moves there,
//! and is all that the slabs after it are asked about.

use crate::cut::{End, lever, with};
use crate::facets::{Facet, Side};
use crate::scalar::Scalar;
use crate::wrench::Axis;

/// The other axes stay as they are.
pub(crate) struct Clamp<'a, S> {
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
    pub fn new(axis: Axis, wanted: S, rounding: S, avoided: Option<&'a Facet<S>>) -> Self {
        Clamp { axis, rounding, avoided, value: wanted, end: None, down: false }
    }

    /// Moves the value into these slabs.
    #[inline(always)]
    pub fn by(&mut self, facets: &'a [Facet<S>], base: &[S; 4]) {
        let mut point = with(base, self.axis, self.value);
        let mut slabs = facets.iter();
        while let Some(facet) = slabs.find(|facet| !(facet.off_middle(&point).abs() <= facet.half_width)) {
            self.meet(facet, facet.half_width, &mut point, None);
        }
    }

    /// The same with slabs that a band widens: from its middle, by as far as it reaches along the normal.
    #[inline(always)]
    pub fn by_banded(&mut self, facets: &'a [Facet<S>], base: &[S; 4], (axis, low, high): (Axis, S, S)) {
        let (middle, half_band) = (S::HALF * (low + high), S::HALF * (high - low));
        let mut point = with(&with(base, axis, middle), self.axis, self.value);
        let half_width = |facet: &Facet<S>| facet.half_width + lever(facet, axis).abs() * half_band;
        let mut slabs = facets.iter();
        while let Some(facet) = slabs.find(|facet| !(facet.off_middle(&point).abs() <= half_width(facet))) {
            self.meet(facet, half_width(facet), &mut point, Some(axis));
        }
    }

    /// A slab that the point lies beyond.
    fn meet(&mut self, facet: &'a Facet<S>, half_width: S, point: &mut [S; 4], banded: Option<Axis>) {
        let (off, lever) = (facet.off_middle(point), lever(facet, self.axis));
        let passed_over = self.avoided.is_some_and(|avoided| core::ptr::eq(avoided, facet));
        if off.abs() - half_width <= self.rounding || lever == S::ZERO || passed_over {
            return;
        }
        let (limit, side) = if off > S::ZERO { (half_width, Side::Upper) } else { (-half_width, Side::Lower) };
        // From the point with nothing in the axis: a value far outside would leave its rounding behind.
        let place = (limit - facet.off_middle(&with(point, self.axis, S::ZERO))) / lever;
        let down = (side == Side::Upper) == (lever > S::ZERO);
        if self.end.is_some() && down != self.down {
            // Rounding has turned a point inside out: half way. It was still met from the other side.
            self.value = S::HALF * (self.value + place);
        } else {
            (self.value, self.down) = (place, down);
            self.end = Some(End { facet, side, banded });
        }
        *point = with(point, self.axis, self.value);
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
