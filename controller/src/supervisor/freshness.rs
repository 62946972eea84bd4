//! How old the newest of something is, judged by its time stamp.
//!
//! A stamp counts when it is new (differs from the last one) and does not lie in the future. The age is
//! kept on the sample clock's own time, which never runs backwards, so that a clock that is set back
//! neither revives old news nor freezes its age.

use crate::brief::brief;

/// The newest stamp, and how old it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Freshness {
    stamp_us: u64,
    age_us: u32,
}

impl Default for Freshness {
    fn default() -> Self {
        Freshness { stamp_us: NEVER_AT_US, age_us: NEVER_US }
    }
}

/// Age of what has never come: older than any limit.
const NEVER_US: u32 = u32::MAX;

/// Stamp of what has never come. At a clock's very last moment nothing new comes any more.
const NEVER_AT_US: u64 = u64::MAX;

/// What [`Freshness::step`] found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Age {
    /// Something new came with this step.
    pub(super) new: bool,
    /// Age of the newest, microseconds; as much as fits when there has never been one, and for all that is older.
    pub(super) age_us: u32,
}

impl Age {
    /// There is one, and it is no older than this, which is less than an hour.
    pub(super) fn within(&self, limit_us: u32) -> bool {
        self.age_us <= limit_us
    }
}

impl Freshness {
    /// As [`Freshness::step`] where something new with this age has come.
    pub(super) fn renew(&mut self, stamp_us: u64, age_us: u32) {
        *self = Freshness { stamp_us, age_us };
    }

    /// Whether a stamp is not the last one.
    pub(super) fn differs(&self, stamp_us: u64) -> bool {
        self.stamp_us != stamp_us
    }

    /// Age of the last one when so much time has passed since.
    pub(super) fn older_by(&self, elapsed_us: u32) -> u32 {
        self.age_us.saturating_add(elapsed_us)
    }

    /// * Input: the stamp, none for nothing worth counting; now, by the clock that made the stamp; steady time since
    ///   the step before
    pub(super) fn step(&mut self, stamp_us: Option<u64>, now_us: u64, elapsed_us: u32) -> Age {
        match stamp_us {
            Some(stamp) if stamp <= now_us && self.differs(stamp) => {
                self.renew(stamp, brief(now_us - stamp));
                Age { new: true, age_us: self.age_us }
            }
            _ => {
                self.age_us = self.older_by(elapsed_us);
                Age { new: false, age_us: self.age_us }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn age_grows_while_the_stamp_stays() {
        let mut link = Freshness::default();
        assert_eq!(link.step(None, 5, 0), Age { new: false, age_us: NEVER_US });
        assert_eq!(link.step(Some(7), 10, 5), Age { new: true, age_us: 3 });
        assert_eq!(link.step(Some(7), 30, 20), Age { new: false, age_us: 23 });
        assert_eq!(link.step(None, 40, 10), Age { new: false, age_us: 33 });
        assert_eq!(link.step(Some(50), 50, 10), Age { new: true, age_us: 0 });
    }

    #[test]
    fn stamp_from_the_future_does_not_count() {
        let mut link = Freshness::default();
        assert_eq!(link.step(Some(11), 10, 10), Age { new: false, age_us: NEVER_US });
        assert_eq!(link.step(Some(11), 12, 2), Age { new: true, age_us: 1 }, "once it is past, it does");
    }

    #[test]
    fn age_keeps_growing_when_the_clock_is_set_back() {
        let mut link = Freshness::default();
        link.step(Some(1000), 1000, 0);
        assert_eq!(link.step(Some(1000), 3, 20), Age { new: false, age_us: 20 });
        assert_eq!(link.step(Some(4), 5, 2), Age { new: true, age_us: 1 }, "a stamp of the new time");
    }

    #[test]
    fn what_is_too_old_to_count_is_as_old_as_can_be() {
        let mut link = Freshness::default();
        assert_eq!(link.step(Some(0), u64::MAX, 0), Age { new: true, age_us: u32::MAX });
        assert_eq!(link.step(Some(0), u64::MAX, 9), Age { new: false, age_us: u32::MAX });
    }

    #[test]
    fn is_within_a_limit_at_the_limit_and_not_beyond() {
        let age = |age_us| Age { new: false, age_us };
        assert!(age(20).within(20));
        assert!(!age(21).within(20));
        assert!(!Freshness::default().step(None, 0, 0).within(20));
    }
}
