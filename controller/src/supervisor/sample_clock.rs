//! Whether the samples come when they should, and a time that never runs backwards.
//!
//! The loops' coefficients hold for one sample period. A sample that comes late is bridged by holding:
//! the commands stay as they were, and the loops then step once, by one nominal period, whatever the
//! gap. That is harmless now and then and wrong as a habit, so overruns are counted:
//!
//! * more than `late_share` of a period late, or time standing still or running backwards: an overrun;
//! * `overruns_max` overruns among the last `window` samples, or one gap longer than `gap_max_s`: at fault;
//! * a sample that comes early follows a late one and makes up for it: no overrun.
//!
//! Steady time adds up what passed from sample to sample. A step back counts as one period, a leap as
//! `gap_max_s`: a clock that is set in flight neither freezes a time limit nor uses it up.

use core::fmt;

use crate::brief::{brief, shortly};
use crate::supervisor::config::{micros, time};

/// Most samples over which overruns can be counted.
pub const OVERRUN_WINDOW_MAX: u32 = 64;

/// When samples are expected, human side; may be wrong until [`SampleClock::new`] has seen it.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct SampleClockConfig {
    /// One call of `step` a period.
    pub period_s: f64,
    /// How late a sample may be, in periods.
    pub late_share: f64,
    /// A longer gap is a fault by itself, and no gap counts for more.
    pub gap_max_s: f64,
    /// So many overruns in the window are a fault.
    pub overruns_max: u32,
    /// Samples over which overruns are counted, at most [`OVERRUN_WINDOW_MAX`].
    pub window: u32,
}

/// What is wrong with a [`SampleClockConfig`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub enum SampleClockError {
    /// The period is not between 1 µs and 1000 s.
    Period,
    /// The lateness allowed is negative or not finite.
    LateShare,
    /// The largest gap is not longer than a sample that is just not late, or not below 1000 s.
    GapMax,
    /// The window is empty or too long.
    Window,
    /// The overruns that make a fault are none, or more than the window holds.
    OverrunsMax,
}

impl fmt::Display for SampleClockError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            SampleClockError::Period => "period_s must lie between 1 µs and 1000 s",
            SampleClockError::LateShare => "late_share must be finite and at least 0",
            SampleClockError::GapMax => "gap_max_s must exceed (1 + late_share) times the period, up to 1000 s",
            SampleClockError::Window => "window must lie between 1 and 64 samples",
            SampleClockError::OverrunsMax => "overruns_max must lie between 1 and the window",
        })
    }
}

impl core::error::Error for SampleClockError {}

/// How a sample came.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Timing {
    /// The first of all: there is nothing to compare it with.
    First,
    /// In time, or early.
    InTime,
    /// Late: an overrun.
    Late,
    /// After a gap that is a fault by itself.
    Gap,
    /// Time stood still or ran backwards: an overrun.
    Backwards,
}

/// What [`SampleClock::step`] found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Tick {
    /// How this sample came.
    pub timing: Timing,
    /// Steady time, microseconds: the first sample's time plus all that passed since.
    pub steady_us: u64,
    /// Overruns among the last samples.
    pub overruns: u32,
    /// Too many of them.
    pub at_fault: bool,
}

/// A validated sample clock.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SampleClock {
    period_us: u32,
    late_us: u32,
    gap_max_us: u32,
    overruns_max: u32,
    window_mask: u64,
}

/// What the clock remembers. One bit a sample, newest lowest, set for an overrun.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct SampleClockState {
    last_us: Option<u64>,
    steady_us: u64,
    overruns: u64,
}

impl SampleClockState {
    /// As [`SampleClock::advance`] where [`SampleClock::in_time`] has told the time that passed.
    pub(super) fn go_on(&mut self, now_us: u64, passed_us: u32) {
        self.last_us = Some(now_us);
        self.steady_us = self.steady_us.saturating_add(u64::from(passed_us));
    }

    /// The tick of a step that came in time.
    pub(super) fn tick_in_time(&self) -> Tick {
        Tick { timing: Timing::InTime, steady_us: self.steady_us, overruns: 0, at_fault: false }
    }
}

impl SampleClock {
    /// Checks, and turns seconds into microseconds.
    ///
    /// # Errors
    /// The first value that makes no sense.
    pub fn new(config: &SampleClockConfig) -> Result<Self, SampleClockError> {
        if !time(config.period_s) {
            return Err(SampleClockError::Period);
        }
        if !(config.late_share >= 0.0 && config.late_share.is_finite()) {
            return Err(SampleClockError::LateShare);
        }
        let late_s = (1.0 + config.late_share) * config.period_s;
        if !(time(config.gap_max_s) && config.gap_max_s > late_s) {
            return Err(SampleClockError::GapMax);
        }
        if !(1..=OVERRUN_WINDOW_MAX).contains(&config.window) {
            return Err(SampleClockError::Window);
        }
        if !(1..=config.window).contains(&config.overruns_max) {
            return Err(SampleClockError::OverrunsMax);
        }
        Ok(SampleClock {
            period_us: micros(config.period_s),
            late_us: micros(late_s),
            gap_max_us: micros(config.gap_max_s),
            overruns_max: config.overruns_max,
            window_mask: u64::MAX >> (OVERRUN_WINDOW_MAX - config.window),
        })
    }

    /// Call it once a sample.
    ///
    /// * Input: now, microseconds, any value
    pub fn step(&self, state: &mut SampleClockState, now_us: u64) -> Tick {
        self.advance(state, now_us).0
    }

    /// The same, and the steady time since the sample before in 32 bits, which is what the supervisor's times are
    /// counted in; nothing before the first.
    pub(super) fn advance(&self, state: &mut SampleClockState, now_us: u64) -> (Tick, u32) {
        let (timing, passed_us) = match state.last_us {
            Some(last_us) if now_us > last_us => self.timed(brief(now_us - last_us)),
            Some(_) => (Timing::Backwards, self.period_us),
            None => {
                state.steady_us = now_us;
                (Timing::First, 0)
            }
        };
        state.last_us = Some(now_us);
        state.steady_us = state.steady_us.saturating_add(u64::from(passed_us));
        let in_time = matches!(timing, Timing::First | Timing::InTime);
        let overruns = if in_time && state.overruns == 0 { 0 } else { self.count(state, timing) };
        let at_fault = overruns >= self.overruns_max;
        (Tick { timing, steady_us: state.steady_us, overruns, at_fault }, passed_us)
    }

    /// Time since the sample before where this one comes in time and no overrun is within the window; none otherwise,
    /// and where the stamps' upper halves differ.
    pub(super) fn in_time(&self, state: &SampleClockState, now_us: u64) -> Option<u32> {
        let passed_us = shortly(state.last_us?, now_us)?;
        (passed_us != 0 && passed_us <= self.late_us && state.overruns == 0).then_some(passed_us)
    }

    fn timed(&self, passed_us: u32) -> (Timing, u32) {
        if passed_us <= self.late_us {
            (Timing::InTime, passed_us)
        } else if passed_us <= self.gap_max_us {
            (Timing::Late, passed_us)
        } else {
            (Timing::Gap, self.gap_max_us)
        }
    }

    /// Overruns in the window, where there are any.
    #[cold]
    fn count(&self, state: &mut SampleClockState, timing: Timing) -> u32 {
        state.overruns = match timing {
            Timing::First | Timing::InTime => state.overruns << 1,
            Timing::Late | Timing::Backwards => state.overruns << 1 | 1,
            Timing::Gap => self.window_mask,
        } & self.window_mask;
        state.overruns.count_ones()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Late beyond 1.5 ms, a gap beyond 20 ms, 3 overruns in 8 samples.
    const CONFIG: SampleClockConfig =
        SampleClockConfig { period_s: 1.0e-3, late_share: 0.5, gap_max_s: 0.02, overruns_max: 3, window: 8 };

    /// Steps through times; the last tick.
    fn after(times_us: &[u64]) -> Tick {
        let (clock, mut state) = (SampleClock::new(&CONFIG).unwrap(), SampleClockState::default());
        times_us.iter().map(|now| clock.step(&mut state, *now)).last().unwrap()
    }

    #[test]
    fn first_sample_is_not_late_whenever_it_comes() {
        let tick = after(&[123_456_789]);
        assert_eq!(
            tick,
            Tick { timing: Timing::First, steady_us: 123_456_789, overruns: 0, at_fault: false },
            "steady time starts with the clock"
        );
    }

    #[test]
    fn sample_is_late_beyond_the_tolerance_and_not_at_it() {
        assert_eq!(after(&[0, 1500]).timing, Timing::InTime);
        assert_eq!(after(&[0, 1501]).timing, Timing::Late);
        assert_eq!(after(&[0, 1]).timing, Timing::InTime, "an early sample makes up for a late one");
        assert_eq!(after(&[0, 20_000]).timing, Timing::Late);
        assert_eq!(after(&[0, 20_001]).timing, Timing::Gap);
    }

    #[test]
    fn overruns_are_a_fault_at_the_stated_number_within_the_window() {
        assert!(!after(&[0, 2000, 4000]).at_fault);
        assert!(after(&[0, 2000, 4000, 6000]).at_fault);
        let spread = [0, 2000, 3000, 4000, 6000, 7000, 8000, 9000, 11_000];
        assert_eq!((after(&spread).overruns, after(&spread).at_fault), (3, true), "three in eight");
        let wider = [0, 2000, 3000, 4000, 6000, 7000, 8000, 9000, 10_000, 12_000];
        assert_eq!((after(&wider).overruns, after(&wider).at_fault), (2, false), "three in nine");
    }

    #[test]
    fn long_gap_is_a_fault_by_itself_until_the_window_has_passed() {
        let (clock, mut state) = (SampleClock::new(&CONFIG).unwrap(), SampleClockState::default());
        clock.step(&mut state, 0);
        assert!(clock.step(&mut state, 500_000).at_fault);
        for k in 1..=5 {
            assert!(clock.step(&mut state, 500_000 + 1000 * k).at_fault, "{k}");
        }
        assert!(!clock.step(&mut state, 506_000).at_fault, "two of eight are left");
    }

    #[test]
    fn steady_time_neither_stops_nor_leaps_when_the_clock_does() {
        let back = after(&[1_000_000, 1_001_000, 5, 1005]);
        assert_eq!((back.steady_us, back.overruns), (1_003_000, 1), "a step back counts as one period");
        assert_eq!(after(&[1000, 1000]).timing, Timing::Backwards, "standing still is no progress");
        let leap = after(&[0, 3_600_000_000, 3_600_001_000]);
        assert_eq!(leap.steady_us, 21_000, "a leap counts as the longest gap");
        assert_eq!(after(&[u64::MAX - 1, u64::MAX, 0, u64::MAX]).steady_us, u64::MAX, "saturates");
    }

    #[test]
    fn widest_window_is_held_in_full() {
        let config = SampleClockConfig { overruns_max: 64, window: 64, ..CONFIG };
        let (clock, mut state) = (SampleClock::new(&config).unwrap(), SampleClockState::default());
        for k in 0..64 {
            assert!(!clock.step(&mut state, 2000 * k).at_fault, "{k}");
        }
        assert!(clock.step(&mut state, 128_000).at_fault);
    }

    #[test]
    fn refuses_what_makes_no_sense() {
        let made = |config| SampleClock::new(&config).map(|_| ());
        assert_eq!(made(CONFIG), Ok(()));
        for bad in [0.0, -1.0, 1.0e-7, 1.0e9, f64::NAN, f64::INFINITY] {
            assert_eq!(made(SampleClockConfig { period_s: bad, ..CONFIG }), Err(SampleClockError::Period), "{bad}");
        }
        for bad in [-0.1, f64::NAN, f64::INFINITY] {
            let config = SampleClockConfig { late_share: bad, ..CONFIG };
            assert_eq!(made(config), Err(SampleClockError::LateShare), "{bad}");
        }
        for bad in [0.0, 1.5e-3, 1.0e9, f64::NAN] {
            assert_eq!(made(SampleClockConfig { gap_max_s: bad, ..CONFIG }), Err(SampleClockError::GapMax), "{bad}");
        }
        for bad in [0, 65] {
            assert_eq!(made(SampleClockConfig { window: bad, ..CONFIG }), Err(SampleClockError::Window), "{bad}");
        }
        for bad in [0, 9] {
            let config = SampleClockConfig { overruns_max: bad, ..CONFIG };
            assert_eq!(made(config), Err(SampleClockError::OverrunsMax), "{bad}");
        }
    }
}
