//! What the loops are to follow: the pilot's demand, shaped, with the motion it implies.
//!
//! The shaped acceleration goes to the rotors at once, ahead of any error. The shaped angles and rates
//! reach the feedback behind a lag as long as the rotors': a craft that answers the acceleration as
//! the rotors let it is then exactly where the feedback expects it, and the feedback has only
//! disturbances left to deal with.
//!
//! Runs at the angle loop's pace, and is worked out ahead of it, in the steps in which it rests: see `stages.rs`. The
//! price is that a demand reaches the loops up to one period of the angle loop later than it would if it were worked
//! out in the step that follows it; with a loop that runs in every step, nothing.
//!
//! The acceleration passed on is that of the angles, not quite that of the body: exact when level, 18 %
//! too large about yaw at 35 degrees of tilt. What is wrong with it the feedback makes good.
//!
//! * Math: ω_body of roll φ, pitch θ and turn ψ̇: p = φ̇ − ψ̇ sin θ, q = θ̇ cos φ + ψ̇ sin φ cos θ,
//!   r = −θ̇ sin φ + ψ̇ cos φ cos θ
//! * Source: 3-2-1 Euler kinematics, any textbook; model following: K. J. Åström, R. M. Murray,
//!   Feedback Systems, 2nd ed., section 13.1 (two degrees of freedom; from memory)

mod config;
mod lagged;
mod lean;
mod stages;

use evenkeel_mixer::Scalar;

pub use self::config::{ReferenceConfig, ReferenceError};
pub use self::stages::ReferenceState;
use self::stages::STAGES;
use crate::attitude_error::AttitudeError;
use crate::quaternion::Quaternion;
use crate::setpoint::{BodyAxes, Motion};
use crate::shaping::Shaper;

/// The heading wanted does not run further ahead of the nose than this (2·sin of half the angle): a
/// turn that the rotors cannot follow is not saved up.
pub const HEADING_LEAD_MAX: f64 = 0.5;

/// A validated reference.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reference<S> {
    tilt: [Shaper<S>; 2],
    rate: [Shaper<S>; 3],
    /// Share of the old value that the lag keeps over one step.
    keep: S,
    tilt_max_rad: S,
    rate_max_rad_s: [S; 3],
    /// Of the angle loop.
    period_s: S,
    stages_a_step: u32,
}

/// What the loops are to follow now.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Followed<S> {
    /// Attitude; none while rates are flown.
    pub attitude: Option<Quaternion<S>>,
    /// What separates the craft from it; zero while rates are flown.
    pub error: AttitudeError<S>,
    /// Body rates of the wanted motion, behind the rotors' lag.
    pub rate_rad_s: BodyAxes<S>,
    /// Angular acceleration of the wanted motion, ahead of it.
    pub acceleration_rad_s2: BodyAxes<S>,
    /// The same behind the rotors' lag.
    pub expected_rad_s2: BodyAxes<S>,
}

impl<S: Scalar> Reference<S> {
    /// Checks, bakes the angle loop's period in and quantises.
    ///
    /// * Input: the period of a step; the loop runs once in `divider` of them, 0 counts as 1
    ///
    /// # Errors
    /// The first value that makes no sense.
    pub fn new(config: &ReferenceConfig, step_s: f64, divider: u32) -> Result<Self, ReferenceError> {
        let divider = divider.max(1);
        let period_s = step_s * f64::from(divider);
        let tilt = |axis, shaper| Shaper::new(shaper, period_s).map_err(|cause| ReferenceError::Tilt { axis, cause });
        let rate = |axis, shaper| Shaper::new(shaper, period_s).map_err(|cause| ReferenceError::Rate { axis, cause });
        let [roll, pitch] = &config.tilt;
        let [roll_rate, pitch_rate, yaw_rate] = &config.rate;
        config.check()?;
        let lag_s = config.rotor_lag_s;
        Ok(Reference {
            tilt: [tilt(0, roll)?, tilt(1, pitch)?],
            rate: [rate(0, roll_rate)?, rate(1, pitch_rate)?, rate(2, yaw_rate)?],
            keep: S::from_f64(lag_s / (lag_s + period_s)),
            tilt_max_rad: S::from_f64(config.tilt_max_rad),
            rate_max_rad_s: config.rate_max_rad_s.map(S::from_f64),
            period_s: S::from_f64(period_s),
            // The loop itself counts as one more.
            stages_a_step: (STAGES + 1).div_ceil(divider),
        })
    }

    /// A step in which the angle loop rests: some of what its next run follows.
    ///
    /// * Input: a finite motion; how many steps it is until the loop runs, at least 1
    /// * Cost: nothing but in the last three steps before the run; a third of the work in each
    pub fn prepare(&self, state: &mut ReferenceState<S>, motion: &Motion<S>, steps_to_run: u32) {
        if steps_to_run > STAGES {
            return;
        }
        for _ in 0..self.stages_a_step {
            self.work_out(state, motion);
        }
    }

    /// The step in which the angle loop runs.
    ///
    /// * Input: attitude of unit length, rates and motion finite
    /// * Output: what to follow; rates and tilt within the limits. The first time, after a reset and after a change of
    ///   behaviour: from where the craft is and how it turns to a stand, whatever is asked for.
    pub fn step(
        &self,
        state: &mut ReferenceState<S>,
        attitude: Quaternion<S>,
        rate_rad_s: BodyAxes<S>,
        motion: &Motion<S>,
    ) -> Followed<S> {
        let begins = !state.flies(motion);
        if begins {
            self.begin(state, motion, attitude, rate_rad_s);
        }
        // What the steps before have left, which is all of it when the loop runs in every step.
        while !state.is_ready() {
            self.work_out(state, motion);
        }
        let followed = state.follow(attitude, begins);
        if state.yaw_is_short() {
            state.limit_turn_to_craft(attitude, rate_rad_s);
        }
        followed
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reference::lean::tilt_of;
    use crate::shaping::{ShaperConfig, ShaperError};

    const SHAPER: ShaperConfig = ShaperConfig { slew_max: 4.0, acceleration_max: 80.0, gain_per_s: 12.0 };
    const CONFIG: ReferenceConfig = ReferenceConfig {
        tilt: [SHAPER; 2],
        rate: [ShaperConfig { slew_max: 80.0, acceleration_max: 2000.0, gain_per_s: 30.0 }; 3],
        rotor_lag_s: 0.03,
        tilt_max_rad: 0.6,
        rate_max_rad_s: [5.0, 5.0, 2.0],
    };
    const PERIOD_S: f64 = 4.0e-3;
    /// Single-precision polynomials behind every angle.
    const ANGLE_TOL: f64 = 1.0e-6;

    fn made() -> Reference<f64> {
        Reference::new(&CONFIG, PERIOD_S, 1).unwrap()
    }

    fn tilted(roll_rad: f64, pitch_rad: f64, yaw_rate_rad_s: f64) -> Motion<f64> {
        Motion::Angles { roll_rad, pitch_rad, yaw_rate_rad_s }
    }

    #[test]
    fn angles_start_from_where_the_craft_is() {
        let (reference, mut state) = (made(), ReferenceState::default());
        let attitude = Quaternion::yaw(1.0) * Quaternion::pitch(-0.2) * Quaternion::roll(0.3);
        for run in 0..4 {
            let followed = reference.step(&mut state, attitude, BodyAxes::default(), &tilted(0.3, -0.2, 0.0));
            let error = AttitudeError::between(attitude, followed.attitude.unwrap());
            assert!(error.roll.abs() + error.pitch.abs() + error.yaw.abs() < 4.0 * ANGLE_TOL, "{run}: {error:?}");
            assert_eq!(followed.error, error);
            assert!(followed.acceleration_rad_s2.roll.abs() < 80.0 * ANGLE_TOL / PERIOD_S);
        }
    }

    /// Kinematics of constant deceleration, behind a lag of the first order.
    #[test]
    fn angles_begin_by_braking_and_take_the_demand_two_runs_later() {
        let turning = BodyAxes { roll: 1.5, pitch: -0.9, yaw: 0.0 };
        let attitude = Quaternion::roll(0.1);
        let first_runs = |motion: Motion<f64>| {
            let (reference, mut state) = (made(), ReferenceState::default());
            [(); 3].map(|()| reference.step(&mut state, attitude, turning, &motion))
        };
        let [first, second, third] = first_runs(tilted(0.0, 0.0, 0.0));
        assert_eq!(first.attitude, Some(attitude));
        for (run, followed) in [first, second].iter().enumerate() {
            let BodyAxes { roll, pitch, yaw } = followed.acceleration_rad_s2;
            assert!((roll + 80.0).abs() < 1e-9 && (pitch - 80.0).abs() < 1e-9 && yaw == 0.0, "{run}: {followed:?}");
        }
        let keep = 0.03 / (0.03 + PERIOD_S);
        assert!((first.rate_rad_s.roll - (1.5 - 80.0 * PERIOD_S * (1.0 - keep))).abs() < 1e-12);
        let [roll, _] = tilt_of(second.attitude.unwrap());
        // Behind the lag: (1 − keep) of the way that the shaped motion makes.
        let way = (1.0 - keep) * PERIOD_S * (1.5 - 2.0 * 80.0 * PERIOD_S);
        assert!((roll - 0.1 - way).abs() < 2.0 * ANGLE_TOL, "{roll} {way}");
        let [other_first, other_second, other_third] = first_runs(tilted(0.5, 0.5, 1.0));
        assert_eq!([&other_first, &other_second], [&first, &second], "no demand yet");
        assert_ne!(other_third, third);
    }

    #[test]
    fn change_of_behaviour_starts_from_how_the_craft_turns() {
        let (reference, mut state) = (made(), ReferenceState::default());
        let turning = BodyAxes { roll: 1.5, pitch: -0.5, yaw: 0.2 };
        for _ in 0..4 {
            let followed = reference.step(&mut state, Quaternion::IDENTITY, turning, &Motion::Rates(turning));
            assert_eq!(followed.rate_rad_s, turning);
            assert_eq!(followed.acceleration_rad_s2, BodyAxes::default());
        }
    }

    #[test]
    fn tilt_is_limited_with_its_direction_kept() {
        let (reference, mut state) = (made(), ReferenceState::default());
        let mut followed = None;
        for _ in 0..2000 {
            let step = reference.step(&mut state, Quaternion::IDENTITY, BodyAxes::default(), &tilted(1.2, -0.9, 0.0));
            followed = step.attitude;
        }
        let [roll, pitch] = tilt_of(followed.unwrap());
        assert!((roll - 0.6 * 0.8).abs() < 1e-3 && (pitch + 0.6 * 0.6).abs() < 1e-3, "{roll} {pitch}");
    }

    #[test]
    fn heading_waits_for_a_nose_that_does_not_follow() {
        let (reference, mut state) = (made(), ReferenceState::default());
        let mut lead = 0.0;
        for _ in 0..5000 {
            let stuck = Quaternion::IDENTITY;
            let followed = reference.step(&mut state, stuck, BodyAxes::default(), &tilted(0.0, 0.0, 1.0));
            lead = AttitudeError::between(stuck, followed.attitude.unwrap()).yaw;
        }
        assert!((lead - HEADING_LEAD_MAX).abs() < 0.01, "{lead}");
    }

    #[test]
    fn rates_are_limited() {
        let (reference, mut state) = (made(), ReferenceState::default());
        let wanted = BodyAxes { roll: 50.0, pitch: -50.0, yaw: 50.0 };
        let mut rates = BodyAxes::default();
        for _ in 0..5000 {
            rates = reference.step(&mut state, Quaternion::IDENTITY, rates, &Motion::Rates(wanted)).rate_rad_s;
        }
        for (rate, limit) in rates.to_array().iter().zip([5.0, -5.0, 2.0]) {
            assert!((rate - limit).abs() < 1e-3, "{rates:?}");
        }
    }

    #[test]
    fn refuses_what_makes_no_sense() {
        let made = |config: ReferenceConfig| Reference::<f32>::new(&config, PERIOD_S, 1).map(|_| ());
        assert_eq!(made(CONFIG), Ok(()));
        for bad in [-0.1, f64::NAN, f64::INFINITY] {
            assert_eq!(made(ReferenceConfig { rotor_lag_s: bad, ..CONFIG }), Err(ReferenceError::RotorLag), "{bad}");
        }
        for bad in [0.0, 1.6, f64::NAN] {
            assert_eq!(made(ReferenceConfig { tilt_max_rad: bad, ..CONFIG }), Err(ReferenceError::TiltMax), "{bad}");
        }
        let limits = ReferenceConfig { rate_max_rad_s: [5.0, f64::NAN, 2.0], ..CONFIG };
        assert_eq!(made(limits), Err(ReferenceError::RateMax { axis: 1 }));
        let mut shapers = CONFIG;
        shapers.tilt[1].slew_max = 0.0;
        assert_eq!(made(shapers), Err(ReferenceError::Tilt { axis: 1, cause: ShaperError::SlewMax }));
    }
}
