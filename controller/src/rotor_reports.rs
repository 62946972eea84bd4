//! Rotors reported stopped: from what the motor electronics say to what the mixer does without.
//!
//! A report is believed when it has held without a break; a rotor that has been believed stopped stays out until the
//! craft is disarmed, since one that starts again by itself may stop again at the worst moment, and each change is a jerk.
//!
//! * Math: the reports are looked at over runs of so many steps; what was reported at every step of a run is believed
//!   at its end. A run begins with the first report that is new, so a first failure is believed after one run and one
//!   that falls into the run of another after two at most.
//! * Source: common practice (persistence of a fault before it is acted upon), no source

use core::fmt;

use evenkeel_mixer::{Mixer, RotorSet, Scalar};

/// Longest time for which a report may have to hold.
pub const BELIEVE_MAX_S: f64 = 1.0;

/// When a report is believed, human side; may be wrong until the flight computer has seen it.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct RotorReportsConfig {
    /// A rotor reported stopped at every step for this long counts as failed; 0 believes the first report.
    pub believe_s: f64,
}

impl Default for RotorReportsConfig {
    /// Several steps, so that a telegram that was garbled once is not believed; short beside the time in which the
    /// craft tilts. Common practice, no source.
    fn default() -> Self {
        RotorReportsConfig { believe_s: 0.01 }
    }
}

/// What is wrong with a [`RotorReportsConfig`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RotorReportsError {
    /// The time is not between zero and [`BELIEVE_MAX_S`].
    Believe,
}

impl fmt::Display for RotorReportsError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            RotorReportsError::Believe => write!(f, "believe_s must lie between 0 and {BELIEVE_MAX_S} s"),
        }
    }
}

impl core::error::Error for RotorReportsError {}

/// Validated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct RotorReports {
    /// Steps of a run, at least one.
    steps: u32,
}

/// What is remembered: the present run. What counts as failed is the mixer's to know.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct RotorReportsState {
    /// Reported at every step of the run so far.
    held: RotorSet,
    /// Steps left of it; 0 outside a run.
    left: u32,
}

/// What one step says of the rotors.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct RotorReport {
    /// Count as failed; while disarmed, those reported as well.
    pub(crate) stopped: RotorSet,
    /// Something was reported that cannot be.
    pub(crate) passed_over: bool,
    /// The mixer was given a new plan.
    pub(crate) mixer_changed: bool,
}

impl RotorReports {
    /// Checks, and turns the time into steps, the broken one counted.
    ///
    /// # Errors
    /// A time that makes no sense. The period is checked elsewhere.
    pub(crate) fn new(config: &RotorReportsConfig, period_s: f64) -> Result<Self, RotorReportsError> {
        if !(config.believe_s >= 0.0 && config.believe_s <= BELIEVE_MAX_S) {
            return Err(RotorReportsError::Believe);
        }
        let (whole, exact) = ((config.believe_s / period_s) as u32, config.believe_s / period_s);
        // What rounding leaves of a whole number of periods is none.
        let broken = exact - f64::from(whole) > 1.0e-6;
        Ok(RotorReports { steps: whole.saturating_add(u32::from(broken)).max(1) })
    }

    /// One sample: takes over into the mixer what has changed, at most one rotor a step, so that a step costs at most
    /// one new plan.
    ///
    /// * Input: rotors reported stopped; whether the craft is disarmed. Bits beyond the craft's rotors are passed over.
    ///   So is, in flight, a report that leaves no rotor: were it true, nothing could be done about it, and were it
    ///   not, believing it would stop a craft that flies
    pub(crate) fn step<S: Scalar, const N: usize, const F: usize, const P: usize>(
        self,
        state: &mut RotorReportsState,
        reported: RotorSet,
        disarmed: bool,
        mixer: &mut Mixer<S, N, F, P>,
    ) -> RotorReport {
        let failed = mixer.failed();
        // Nearly always.
        if reported == failed {
            state.left = 0;
            return RotorReport { stopped: failed, ..RotorReport::default() };
        }
        self.take_over(state, reported, disarmed, mixer)
    }

    #[cold]
    fn take_over<S: Scalar, const N: usize, const F: usize, const P: usize>(
        self,
        state: &mut RotorReportsState,
        reported: RotorSet,
        disarmed: bool,
        mixer: &mut Mixer<S, N, F, P>,
    ) -> RotorReport {
        let failed = mixer.failed();
        let all = RotorSet::first(mixer.rotors());
        let known = reported.common(all);
        let mut report = if disarmed {
            state.left = 0;
            let mixer_changed = failed.less(known).lowest().is_some_and(|rotor| mixer.restore_rotor(rotor));
            RotorReport { stopped: known.and(mixer.failed()), passed_over: false, mixer_changed }
        } else {
            let none_left = known.and(failed) == all;
            let new = if none_left { RotorSet::EMPTY } else { known.less(failed) };
            let mixer_changed = self.believed(state, new).is_some_and(|rotor| mixer.fail_rotor(rotor));
            RotorReport { stopped: mixer.failed(), passed_over: none_left && known != failed, mixer_changed }
        };
        if report.mixer_changed {
            // Better up and turning than down with the nose held.
            mixer.let_yaw_go(!mixer.failed().is_empty());
        }
        report.passed_over |= known != reported;
        report
    }

    /// The rotor that counts as failed from this step on.
    fn believed(self, state: &mut RotorReportsState, new: RotorSet) -> Option<usize> {
        let held = state.held.common(new);
        if state.left == 0 || held.is_empty() {
            *state = RotorReportsState { held: new, left: self.steps };
        } else {
            state.held = held;
        }
        if new.is_empty() {
            state.left = 0;
            return None;
        }
        state.left = state.left.saturating_sub(1);
        let rotor = if state.left == 0 { state.held.lowest() } else { None };
        if let Some(rotor) = rotor {
            state.held = state.held.without(rotor);
            // The others of the same run follow, one a step.
            state.left = u32::from(!state.held.is_empty());
        }
        rotor
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenkeel_mixer::{Design, Priority, Rotor, Spin, facet_capacity};
    use std::vec::Vec;

    type Six = Mixer<f64, 8, { facet_capacity(8) }>;

    const PERIOD_S: f64 = 1.0e-3;
    /// Of the usual configuration at that period.
    const STEPS: usize = 10;

    /// Six arms, room for eight.
    fn six() -> Six {
        let arm = |k: usize| {
            let (sin, cos) = (k as f64 * core::f64::consts::FRAC_PI_3).sin_cos();
            Rotor {
                position_m: [0.35 * cos, 0.35 * sin, 0.0],
                spin: if k.is_multiple_of(2) { Spin::Ccw } else { Spin::Cw },
                torque_per_thrust_m: 0.016,
                thrust_min_n: 0.3,
                thrust_max_n: 8.0,
                ..Rotor::UP
            }
        };
        let rotors: Vec<Rotor> = (0..6).map(arm).collect();
        Mixer::new(&Design::new(&rotors, [0.0; 3], Priority::DEFAULT).unwrap())
    }

    fn set(rotors: &[usize]) -> RotorSet {
        rotors.iter().fold(RotorSet::EMPTY, |set, rotor| set.with(*rotor))
    }

    struct Bench {
        block: RotorReports,
        state: RotorReportsState,
        mixer: Six,
        disarmed: bool,
    }

    impl Bench {
        fn in_flight() -> Self {
            let block = RotorReports::new(&RotorReportsConfig::default(), PERIOD_S).unwrap();
            Bench { block, state: RotorReportsState::default(), mixer: six(), disarmed: false }
        }

        fn see(&mut self, reported: RotorSet) -> RotorReport {
            let before = self.mixer.failed();
            let report = self.block.step(&mut self.state, reported, self.disarmed, &mut self.mixer);
            let changed = before.less(self.mixer.failed()).and(self.mixer.failed().less(before));
            assert!(changed.count() <= 1 && report.mixer_changed != changed.is_empty(), "one new plan a step at most");
            report
        }

        /// The last of so many steps.
        fn see_for(&mut self, steps: usize, reported: RotorSet) -> RotorReport {
            (0..steps).map(|_| self.see(reported)).last().unwrap()
        }
    }

    #[test]
    fn report_is_believed_after_the_stated_time_and_not_before() {
        let mut bench = Bench::in_flight();
        assert!(bench.see_for(STEPS - 1, set(&[2])).stopped.is_empty());
        assert_eq!(bench.see(set(&[2])), RotorReport { stopped: set(&[2]), passed_over: false, mixer_changed: true });
        assert!(bench.mixer.has_failed(2));
        let limits: Vec<_> = bench.mixer.limits_n().collect();
        assert_eq!(limits.iter().filter(|limits| **limits == (0.0, 0.0)).count(), 1);
        assert!(!bench.see_for(100, set(&[2])).mixer_changed, "nothing is new");
    }

    #[test]
    fn report_that_is_broken_once_starts_anew() {
        let mut bench = Bench::in_flight();
        for _ in 0..5 {
            bench.see_for(STEPS - 1, set(&[4]));
            assert!(bench.see(RotorSet::EMPTY).stopped.is_empty());
        }
        bench.see_for(STEPS - 1, set(&[4]));
        assert_eq!(bench.see(set(&[4])).stopped, set(&[4]));
    }

    #[test]
    fn flickering_report_of_one_does_not_keep_another_from_being_believed() {
        let mut bench = Bench::in_flight();
        for k in 0..2 * STEPS {
            bench.see(if k % 2 == 0 { set(&[1]) } else { set(&[1, 5]) });
        }
        assert_eq!(bench.mixer.failed(), set(&[1]));
    }

    #[test]
    fn second_report_within_the_run_of_the_first_is_believed_after_two_runs_at_most() {
        for offset in 1..STEPS {
            let mut bench = Bench::in_flight();
            bench.see_for(offset, set(&[0]));
            bench.see_for(2 * STEPS - 1, set(&[0, 3]));
            assert_eq!(bench.mixer.failed(), set(&[0, 3]), "{offset} steps later");
        }
    }

    #[test]
    fn several_at_once_follow_one_a_step() {
        let mut bench = Bench::in_flight();
        bench.see_for(STEPS - 1, set(&[0, 2, 4]));
        let counts = [(); 4].map(|()| bench.see(set(&[0, 2, 4])).stopped.count());
        assert_eq!(counts, [1, 2, 3, 3]);
    }

    #[test]
    fn rotor_stays_out_in_flight_and_is_put_back_once_disarmed() {
        let mut bench = Bench::in_flight();
        bench.see_for(STEPS, set(&[1]));
        assert_eq!(bench.see_for(10 * STEPS, RotorSet::EMPTY).stopped, set(&[1]), "it turns again, they say");
        bench.disarmed = true;
        assert_eq!(bench.see_for(10, set(&[1])).stopped, set(&[1]), "not while it is reported");
        assert!(bench.see(RotorSet::EMPTY).stopped.is_empty());
        assert!(bench.mixer.limits_n().all(|limits| limits == (0.3, 8.0)));
    }

    #[test]
    fn disarmed_it_says_at_once_what_is_reported_and_leaves_the_mixer_alone() {
        let mut bench = Bench { disarmed: true, ..Bench::in_flight() };
        let report = bench.see(set(&[5]));
        assert_eq!(report, RotorReport { stopped: set(&[5]), ..RotorReport::default() });
        assert!(bench.see_for(10 * STEPS, RotorSet::first(6)).stopped == RotorSet::first(6));
        assert!(bench.mixer.failed().is_empty());
    }

    #[test]
    fn rotors_the_craft_does_not_have_are_passed_over() {
        for bits in [0x40_u16, 0x80, 0x8000, 0xffc0] {
            let mut bench = Bench::in_flight();
            let report = bench.see_for(10 * STEPS, RotorSet::from_bits(bits));
            assert_eq!(report, RotorReport { passed_over: true, ..RotorReport::default() }, "{bits:#x}");
            let with_one = bench.see_for(STEPS, RotorSet::from_bits(bits | 2));
            assert_eq!((with_one.stopped, with_one.passed_over), (set(&[1]), true), "{bits:#x}");
        }
    }

    #[test]
    fn report_that_leaves_no_rotor_is_passed_over_in_flight() {
        for bits in [0x3f_u16, 0xffff] {
            let mut bench = Bench::in_flight();
            let report = bench.see_for(10 * STEPS, RotorSet::from_bits(bits));
            assert_eq!(report, RotorReport { passed_over: true, ..RotorReport::default() }, "{bits:#x}");
            bench.see_for(STEPS, set(&[3]));
            let rest = bench.see_for(10 * STEPS, RotorSet::from_bits(bits));
            assert_eq!((rest.stopped, rest.passed_over), (set(&[3]), true), "{bits:#x}");
        }
        // One by one it is no different: the last stays.
        let mut bench = Bench::in_flight();
        (0..6).for_each(|rotor| {
            bench.see_for(3 * STEPS, RotorSet::first(rotor + 1));
        });
        assert_eq!(bench.mixer.failed(), RotorSet::first(5));
    }

    #[test]
    fn time_becomes_steps_the_broken_one_counted() {
        let steps = |believe_s, period_s| RotorReports::new(&RotorReportsConfig { believe_s }, period_s).unwrap().steps;
        assert_eq!((steps(0.0, 1e-3), steps(0.01, 1e-3), steps(0.0101, 1e-3)), (1, 10, 11));
        assert_eq!((steps(0.01, 1.0 / 400.0), steps(1.0, 1.25e-4), steps(1e-9, 1e-3)), (4, 8000, 1));
        for bad in [-1e-9, 1.001, f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            let made = RotorReports::new(&RotorReportsConfig { believe_s: bad }, 1e-3);
            assert_eq!(made, Err(RotorReportsError::Believe), "{bad}");
        }
    }
}
