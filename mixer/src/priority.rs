//! What gives way first: an ordered partition of the four axes into tiers.

use core::fmt;

use crate::scalar::Scalar;
use crate::wrench::Axis;

/// A set of axes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct AxisSet(u8);

impl AxisSet {
    pub(crate) const EMPTY: AxisSet = AxisSet(0);
    pub(crate) const ALL: AxisSet = AxisSet(0b1111);

    pub(crate) const fn with(self, axis: Axis) -> Self {
        AxisSet(self.0 | 1 << axis.index())
    }

    pub(crate) const fn union(self, other: Self) -> Self {
        AxisSet(self.0 | other.0)
    }

    pub(crate) const fn without(self, other: Self) -> Self {
        AxisSet(self.0 & !other.0)
    }

    pub(crate) const fn contains(self, axis: Axis) -> bool {
        self.0 & (1 << axis.index()) != 0
    }

    pub(crate) const fn same(self, other: Self) -> bool {
        self.0 == other.0
    }

    /// The components in these axes, zero in the others.
    pub(crate) fn of<S: Scalar>(self, values: &[S; 4]) -> [S; 4] {
        let mut kept = *values;
        for (axis, value) in Axis::ALL.iter().zip(&mut kept) {
            if !self.contains(*axis) {
                *value = S::ZERO;
            }
        }
        kept
    }

    /// Axes in the order of a wrench's components.
    pub(crate) fn iter(self) -> impl Iterator<Item = Axis> {
        let mut left = self.0;
        core::iter::from_fn(move || {
            let axis = Axis::ALL.get(left.trailing_zeros() as usize);
            left &= left.wrapping_sub(1);
            axis.copied()
        })
    }

    pub(crate) const fn len(self) -> usize {
        self.0.count_ones() as usize
    }
}

/// The order in which demands are met: the first tier takes what it needs, each further tier the best
/// that those above it leave possible.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct Priority {
    /// Tier of each axis, 0 the most important, without gaps.
    tier_of: [u8; 4],
    keep_yaw_sign: bool,
}

/// Why a priority order is none.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PriorityError {
    /// This axis stands in no tier.
    Missing(Axis),
    /// This axis stands in more than one place.
    Twice(Axis),
    /// A tier without axes.
    EmptyTier,
}

impl fmt::Display for PriorityError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            PriorityError::Missing(axis) => write!(f, "{axis} is in no tier; each axis must be named once"),
            PriorityError::Twice(axis) => write!(f, "{axis} is named twice; each axis must be named once"),
            PriorityError::EmptyTier => f.write_str("a tier is empty"),
        }
    }
}

impl core::error::Error for PriorityError {}

impl Priority {
    /// Roll and pitch together, then thrust, then yaw; yaw never turns against its demand.
    pub const DEFAULT: Priority = Priority { tier_of: [1, 0, 0, 2], keep_yaw_sign: true };

    /// An order of one's own, most important tier first.
    ///
    /// # Errors
    /// When the tiers do not name each of the four axes exactly once.
    pub fn new<'a>(tiers: impl IntoIterator<Item = &'a [Axis]>, keep_yaw_sign: bool) -> Result<Self, PriorityError> {
        const NONE: u8 = u8::MAX;
        let mut tier_of = [NONE; 4];
        for (tier, axes) in (0_u8..).zip(tiers) {
            if axes.is_empty() {
                return Err(PriorityError::EmptyTier);
            }
            for (axis, place) in
                axes.iter().flat_map(|wanted| Axis::ALL.iter().zip(0..).filter(move |(a, _)| *a == wanted))
            {
                match tier_of.get_mut(place) {
                    Some(slot) if *slot == NONE => *slot = tier,
                    _ => return Err(PriorityError::Twice(*axis)),
                }
            }
        }
        match Axis::ALL.iter().zip(tier_of).find(|(_, tier)| *tier == NONE) {
            Some((axis, _)) => Err(PriorityError::Missing(*axis)),
            None => Ok(Priority { tier_of, keep_yaw_sign }),
        }
    }

    /// The same order with or without the rule that yaw never turns against its demand.
    pub const fn with_keep_yaw_sign(self, keep_yaw_sign: bool) -> Self {
        Priority { tier_of: self.tier_of, keep_yaw_sign }
    }

    /// Whether yaw may never turn against its demand to please a lower tier.
    pub const fn keep_yaw_sign(&self) -> bool {
        self.keep_yaw_sign
    }

    /// Axes of a tier; empty past the last.
    pub(crate) const fn tier(&self, tier: u8) -> AxisSet {
        let mut axes = AxisSet::EMPTY;
        let mut i = 0;
        while i < 4 {
            if self.tier_of[i] == tier {
                axes = axes.with(Axis::ALL[i]);
            }
            i += 1;
        }
        axes
    }
}

impl Default for Priority {
    fn default() -> Self {
        Self::DEFAULT
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use Axis::{Pitch, Roll, Thrust, Yaw};

    #[test]
    fn default_order_is_roll_and_pitch_then_thrust_then_yaw() {
        let tiers: [&[Axis]; 3] = [&[Roll, Pitch], &[Thrust], &[Yaw]];
        assert_eq!(Priority::new(tiers, true), Ok(Priority::DEFAULT));
        assert_eq!(Priority::DEFAULT.tier(0).len(), 2);
        assert!(Priority::DEFAULT.tier(1).contains(Thrust));
        assert!(Priority::DEFAULT.tier(2).contains(Yaw));
        assert_eq!(Priority::DEFAULT.tier(3), AxisSet::EMPTY);
    }

    #[test]
    fn refuses_what_is_no_partition() {
        let twice: [&[Axis]; 2] = [&[Roll, Pitch, Roll], &[Thrust, Yaw]];
        assert_eq!(Priority::new(twice, true), Err(PriorityError::Twice(Roll)));
        let missing: [&[Axis]; 2] = [&[Roll, Pitch], &[Thrust]];
        assert_eq!(Priority::new(missing, true), Err(PriorityError::Missing(Yaw)));
        let empty: [&[Axis]; 2] = [&[], &[Roll, Pitch, Thrust, Yaw]];
        assert_eq!(Priority::new(empty, true), Err(PriorityError::EmptyTier));
    }
}
