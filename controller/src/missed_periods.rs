//! How many sample periods went by between two inertial samples without one.
//!
//! The attitude turned meanwhile. What is sensed is stamped, so that the estimate can be carried to the next sample's
//! own time instead of losing what a late sample leaves out.

use core::mem;

use crate::brief::{brief, shortly};

/// How periods are counted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct MissedPeriods {
    period_us: u32,
    /// A period and a half.
    late_us: u32,
    /// Longer gaps are a fault of the clock or of the sensors, and are not bridged further.
    most: u32,
}

/// The last sample, and how far beyond it the estimate has been carried.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct MissedPeriodsState {
    sensed_us: u64,
    carried_us: u32,
}

/// Before the first sample: nothing has passed since, whatever comes.
const NEVER_AT_US: u64 = u64::MAX;

impl Default for MissedPeriodsState {
    fn default() -> Self {
        MissedPeriodsState { sensed_us: NEVER_AT_US, carried_us: 0 }
    }
}

impl MissedPeriods {
    /// Both checked elsewhere: above zero, and less than an hour.
    pub(crate) fn new(period_s: f64, gap_max_s: f64) -> Self {
        let period_us = ((period_s * 1e6 + 0.5) as u32).max(1);
        MissedPeriods { period_us, late_us: period_us + period_us / 2, most: (gap_max_s / period_s) as u32 }
    }

    /// Periods to bridge before this step takes one of its own.
    ///
    /// * Input: now, and when the sample was taken. The same sample again carries the estimate by one period. One from
    ///   the future or from before the last is not believed, and bridges nothing.
    pub(crate) fn step(&self, state: &mut MissedPeriodsState, now_us: u64, sensed_at_us: Option<u64>) -> u32 {
        // Nearly always: one that follows the last in time.
        if let Some(sensed_us) = sensed_at_us
            && shortly(sensed_us, now_us).is_some()
            && let Some(passed_us) = shortly(state.sensed_us, sensed_us)
            && passed_us != 0
            && passed_us < self.late_us
            && state.carried_us == 0
        {
            state.sensed_us = sensed_us;
            return 0;
        }
        self.look(state, now_us, sensed_at_us)
    }

    #[cold]
    #[inline(never)]
    fn look(&self, state: &mut MissedPeriodsState, now_us: u64, sensed_at_us: Option<u64>) -> u32 {
        let Some(sensed_us) = sensed_at_us.filter(|sensed_us| *sensed_us <= now_us) else { return 0 };
        let last_us = mem::replace(&mut state.sensed_us, sensed_us);
        if last_us == sensed_us {
            state.carried_us = state.carried_us.saturating_add(self.period_us);
            return 0;
        }
        let carried_us = mem::take(&mut state.carried_us);
        if sensed_us < last_us && last_us != NEVER_AT_US {
            // Which of the two stamps lies, nobody knows: the next sample has nothing to be counted from.
            state.sensed_us = NEVER_AT_US;
        }
        let passed_us = brief(sensed_us.saturating_sub(last_us)).saturating_sub(carried_us);
        if passed_us < self.late_us { 0 } else { self.missed(passed_us) }
    }

    fn missed(&self, passed_us: u32) -> u32 {
        // The period is above zero; a plain division would still bring its panic along.
        let periods = passed_us.saturating_add(self.period_us / 2).checked_div(self.period_us).unwrap_or(1);
        periods.saturating_sub(1).min(self.most)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bridged(samples: &[(u64, Option<u64>)]) -> std::vec::Vec<u32> {
        let (block, mut state) = (MissedPeriods::new(1e-3, 0.05), MissedPeriodsState::default());
        samples.iter().map(|(now_us, sensed_us)| block.step(&mut state, *now_us, *sensed_us)).collect()
    }

    fn on_time(times_us: &[u64]) -> std::vec::Vec<u32> {
        bridged(&times_us.iter().map(|time| (*time, Some(*time))).collect::<std::vec::Vec<_>>())
    }

    #[test]
    fn bridges_nothing_while_samples_come_in_time() {
        assert_eq!(on_time(&[5000, 6000, 7400, 8000, 9499]), [0; 5]);
    }

    #[test]
    fn bridges_what_a_late_sample_leaves_out() {
        assert_eq!(on_time(&[0, 1000, 4000, 5000, 6600]), [0, 0, 2, 0, 1]);
        assert_eq!(on_time(&[0, 1000, 10_000_000, 10_001_000]), [0, 0, 50, 0], "up to the longest gap");
    }

    #[test]
    fn counts_a_sample_seen_again_as_carried_already() {
        let again = [(0, Some(0)), (1000, Some(1000)), (2000, Some(1000)), (3000, Some(1000)), (4000, Some(4000))];
        assert_eq!(bridged(&again), [0; 5]);
    }

    #[test]
    fn what_was_carried_counts_once() {
        let early = [(0, Some(0)), (1000, Some(1000)), (2000, Some(1000)), (3000, Some(2400)), (4500, Some(4500))];
        assert_eq!(bridged(&early), [0, 0, 0, 0, 1]);
    }

    #[test]
    fn sample_from_the_future_is_as_good_as_none() {
        let future = [(0, Some(0)), (1000, Some(1000)), (2000, Some(2400)), (3000, Some(3000))];
        assert_eq!(bridged(&future), [0, 0, 0, 1]);
    }

    #[test]
    fn counts_nothing_from_a_stamp_that_went_back() {
        let stray = [(0, Some(0)), (1000, Some(1000)), (2000, Some(2000)), (3000, Some(0)), (4000, Some(4000))];
        assert_eq!(bridged(&stray), [0; 5]);
        let after = [(3000, Some(3000)), (4000, Some(0)), (5000, Some(5000)), (8000, Some(8000))];
        assert_eq!(bridged(&after), [0, 0, 0, 2], "from the one after it on");
    }

    #[test]
    fn bridges_nothing_for_a_time_that_cannot_be() {
        let absurd = [(0, None), (1000, Some(u64::MAX)), (2000, Some(2000)), (3000, Some(500)), (4000, None)];
        assert_eq!(bridged(&absurd), [0; 5]);
        assert_eq!(bridged(&[(u64::MAX, Some(0)), (u64::MAX, Some(u64::MAX)), (u64::MAX, Some(u64::MAX))]), [0, 50, 0]);
    }
}
