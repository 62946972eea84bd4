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

    /// The axis, where there is just one.
    pub(crate) const fn only(self) -> Option<Axis> {
        match self.0 {
            0b0001 => Some(Axis::Thrust),
            0b0010 => Some(Axis::Roll),
            0b0100 => Some(Axis::Pitch),
            0b1000 => Some(Axis::Yaw),
            _ => None,
        }
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
    pub const fn new(tiers: &[&[Axis]], keep_yaw_sign: bool) -> Result<Self, PriorityError> {
        // Five tiers for four axes hold an empty one or name an axis twice, so that a tier's number fits a byte.
        const NONE: u8 = u8::MAX;
        let mut tier_of = [NONE; 4];
        let mut tier = 0;
        let mut left = tiers;
        while let Some((axes, further)) = left.split_first() {
            if axes.is_empty() {
                return Err(PriorityError::EmptyTier);
            }
            let mut named = *axes;
            while let Some((axis, others)) = named.split_first() {
                if tier_of[axis.index()] != NONE {
                    return Err(PriorityError::Twice(*axis));
                }
                tier_of[axis.index()] = tier;
                named = others;
            }
            tier += 1;
            left = further;
        }
        let mut i = 0;
        while i < 4 {
            if tier_of[i] == NONE {
                return Err(PriorityError::Missing(Axis::ALL[i]));
            }
            i += 1;
        }
        Ok(Priority { tier_of, keep_yaw_sign })
    }

    /// The same for an order that is a constant: one that is no order does not compile.
    ///
    /// ```
    /// use evenkeel_mixer::Axis::{Pitch, Roll, Thrust, Yaw};
    /// use evenkeel_mixer::Priority;
    /// const THRUST_FIRST: Priority = Priority::expect(&[&[Thrust], &[Roll, Pitch], &[Yaw]], true);
    /// ```
    ///
    /// ```compile_fail,E0080
    /// use evenkeel_mixer::Axis::{Pitch, Roll, Thrust};
    /// use evenkeel_mixer::Priority;
    /// const NO_YAW: Priority = Priority::expect(&[&[Thrust], &[Roll, Pitch]], true);
    /// ```
    ///
    /// # Panics
    /// With the reason, where [`Priority::new`] returns it as an error. Meant for constants only, where the panic is a
    /// compiler error.
    pub const fn expect(tiers: &[&[Axis]], keep_yaw_sign: bool) -> Self {
        match Self::new(tiers, keep_yaw_sign) {
            Ok(priority) => priority,
            Err(error) => panic!("{}", reason(error)),
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

const fn reason(error: PriorityError) -> &'static str {
    match error {
        PriorityError::Missing(Axis::Thrust) => "thrust is in no tier of this priority; each axis must be named once",
        PriorityError::Missing(Axis::Roll) => "roll is in no tier of this priority; each axis must be named once",
        PriorityError::Missing(Axis::Pitch) => "pitch is in no tier of this priority; each axis must be named once",
        PriorityError::Missing(Axis::Yaw) => "yaw is in no tier of this priority; each axis must be named once",
        PriorityError::Twice(Axis::Thrust) => "thrust is named twice in this priority; each axis must be named once",
        PriorityError::Twice(Axis::Roll) => "roll is named twice in this priority; each axis must be named once",
        PriorityError::Twice(Axis::Pitch) => "pitch is named twice in this priority; each axis must be named once",
        PriorityError::Twice(Axis::Yaw) => "yaw is named twice in this priority; each axis must be named once",
        PriorityError::EmptyTier => "a tier of this priority is empty",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use Axis::{Pitch, Roll, Thrust, Yaw};

    #[test]
    fn default_order_is_roll_and_pitch_then_thrust_then_yaw() {
        let tiers: [&[Axis]; 3] = [&[Roll, Pitch], &[Thrust], &[Yaw]];
        assert_eq!(Priority::new(&tiers, true), Ok(Priority::DEFAULT));
        assert_eq!(Priority::DEFAULT.tier(0).len(), 2);
        assert!(Priority::DEFAULT.tier(1).contains(Thrust));
        assert!(Priority::DEFAULT.tier(2).contains(Yaw));
        assert_eq!(Priority::DEFAULT.tier(3), AxisSet::EMPTY);
    }

    #[test]
    fn refuses_what_is_no_partition() {
        let twice: [&[Axis]; 2] = [&[Roll, Pitch, Roll], &[Thrust, Yaw]];
        assert_eq!(Priority::new(&twice, true), Err(PriorityError::Twice(Roll)));
        let missing: [&[Axis]; 2] = [&[Roll, Pitch], &[Thrust]];
        assert_eq!(Priority::new(&missing, true), Err(PriorityError::Missing(Yaw)));
        let empty: [&[Axis]; 2] = [&[], &[Roll, Pitch, Thrust, Yaw]];
        assert_eq!(Priority::new(&empty, true), Err(PriorityError::EmptyTier));
    }

    #[test]
    fn refuses_more_tiers_than_axes_however_many() {
        let many = [&[Roll] as &[Axis]; 300];
        assert_eq!(Priority::new(&many, true), Err(PriorityError::Twice(Roll)));
        let five: [&[Axis]; 5] = [&[Roll], &[Pitch], &[Thrust], &[Yaw], &[]];
        assert_eq!(Priority::new(&five, true), Err(PriorityError::EmptyTier));
        assert_eq!(Priority::new(&[], true), Err(PriorityError::Missing(Thrust)));
    }

    #[test]
    fn constant_is_the_order_that_is_made_at_run_time() {
        const CONSTANT: Priority = Priority::expect(&[&[Yaw], &[Thrust, Pitch], &[Roll]], false);
        let tiers = std::hint::black_box([&[Yaw] as &[Axis], &[Thrust, Pitch], &[Roll]]);
        assert_eq!(Priority::new(&tiers, false), Ok(CONSTANT));
        assert_ne!(CONSTANT, Priority::DEFAULT);
    }

    #[test]
    fn constant_says_the_reason_of_the_error() {
        for axis in Axis::ALL {
            for error in [PriorityError::Missing(axis), PriorityError::Twice(axis)] {
                let (constant, run_time) = (reason(error), std::format!("{error}"));
                let words = run_time.split_once(';').map(|(words, _)| words).unwrap();
                assert!(constant.starts_with(words), "{constant}: {run_time}");
            }
        }
    }
}
