//! What the loops are to follow: the pilot's demand, shaped, with the motion it implies.
//!
//! The shaped acceleration goes to the rotors at once, ahead of any error. The shaped angles and rates
//! reach the feedback behind a lag as long as the rotors': a craft that answers the acceleration as
//! the rotors let it is then exactly where the feedback expects it, and the feedback has only
//! disturbances left to deal with.
//!
//! Runs at the angle loop's pace.
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

use evenkeel_mixer::Scalar;

pub use self::config::{ReferenceConfig, ReferenceError};
use self::lagged::Lagged;
use self::lean::{Lean, runs_ahead, tilt_of, turned};
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
    period_s: S,
}

/// What the loops are to follow now.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Followed<S> {
    /// Attitude; none while rates are flown.
    pub attitude: Option<Quaternion<S>>,
    /// Body rates of the wanted motion, behind the rotors' lag.
    pub rate_rad_s: BodyAxes<S>,
    /// Angular acceleration of the wanted motion, ahead of it.
    pub acceleration_rad_s2: BodyAxes<S>,
    /// The same behind the rotors' lag.
    pub expected_rad_s2: BodyAxes<S>,
}

/// What the reference remembers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReferenceState<S> {
    behaviour: Behaviour,
    /// Rates flown or, for yaw, the turn: shaped and lagged.
    rate: [Lagged<S>; 3],
    /// Roll and pitch; of no meaning unless angles are flown.
    tilt: [Lagged<S>; 2],
    /// The same of where the nose should point.
    heading: Quaternion<S>,
}

/// Which of the two behaviours is flown.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
enum Behaviour {
    /// Neither yet, or not since the last reset.
    #[default]
    None,
    Angles,
    Rates,
}

impl<S: Scalar> Default for ReferenceState<S> {
    fn default() -> Self {
        ReferenceState {
            behaviour: Behaviour::None,
            rate: [Lagged::default(); 3],
            tilt: [Lagged::default(); 2],
            heading: Quaternion::IDENTITY,
        }
    }
}

impl<S: Scalar> ReferenceState<S> {
    /// Forgets everything; the next step starts from the attitude and rates of the craft.
    pub fn reset(&mut self) {
        *self = Self::default();
    }

    /// Angles are flown from now on, from where the craft is and how it turns.
    #[cold]
    fn begin_angles(&mut self, attitude: Quaternion<S>, rate_rad_s: BodyAxes<S>) {
        let tilt @ [roll, pitch] = tilt_of(attitude);
        // Body rates stand in for the rates of the angles: the same where the tilt is small.
        let [_, _, turn] = &mut self.rate;
        *turn = Lagged::at(rate_rad_s.yaw);
        self.tilt = [Lagged::moving(roll, rate_rad_s.roll), Lagged::moving(pitch, rate_rad_s.pitch)];
        self.heading = Lean::of(tilt).beneath(attitude);
        self.behaviour = Behaviour::Angles;
    }
}

impl<S: Scalar> Reference<S> {
    /// Checks, bakes the angle loop's period in and quantises.
    ///
    /// # Errors
    /// The first value that makes no sense.
    pub fn new(config: &ReferenceConfig, period_s: f64) -> Result<Self, ReferenceError> {
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
        })
    }

    /// One step of the angle loop's period.
    ///
    /// * Input: attitude of unit length, rates and motion finite. A change of behaviour starts from where
    ///   the craft is and how it turns.
    /// * Output: what to follow; rates and tilt within the limits
    pub fn step(
        &self,
        state: &mut ReferenceState<S>,
        attitude: Quaternion<S>,
        rate_rad_s: BodyAxes<S>,
        motion: &Motion<S>,
    ) -> Followed<S> {
        match *motion {
            Motion::Rates(rates) => self.follow_rates(state, rate_rad_s, rates),
            Motion::Angles { roll_rad, pitch_rad, yaw_rate_rad_s } => {
                self.follow_angles(state, attitude, rate_rad_s, [roll_rad, pitch_rad], yaw_rate_rad_s)
            }
        }
    }

    fn follow_rates(&self, state: &mut ReferenceState<S>, rate_rad_s: BodyAxes<S>, wanted: BodyAxes<S>) -> Followed<S> {
        if state.behaviour != Behaviour::Rates {
            state.behaviour = Behaviour::Rates;
            state.rate = rate_rad_s.to_array().map(Lagged::at);
        }
        let axes = state.rate.iter_mut().zip(&self.rate).zip(self.rate_max_rad_s).zip(wanted.to_array());
        for (((axis, shaper), limit), target) in axes {
            axis.step(shaper, self.keep, target.limit_size(limit));
        }
        Followed {
            attitude: None,
            rate_rad_s: BodyAxes::from_array(state.rate.map(|axis| axis.value)),
            acceleration_rad_s2: BodyAxes::from_array(state.rate.map(|axis| axis.shaped.rate)),
            expected_rad_s2: BodyAxes::from_array(state.rate.map(|axis| axis.rate)),
        }
    }

    fn follow_angles(
        &self,
        state: &mut ReferenceState<S>,
        attitude: Quaternion<S>,
        rate_rad_s: BodyAxes<S>,
        tilt_rad: [S; 2],
        turn_rad_s: S,
    ) -> Followed<S> {
        if state.behaviour != Behaviour::Angles {
            state.begin_angles(attitude, rate_rad_s);
        }
        let [_, _, turn] = &mut state.rate;
        let [_, _, turn_shaper] = &self.rate;
        let [_, _, turn_max] = self.rate_max_rad_s;
        turn.step(turn_shaper, self.keep, turn_rad_s.limit_size(turn_max));
        for ((axis, shaper), target) in state.tilt.iter_mut().zip(&self.tilt).zip(self.within_tilt(tilt_rad)) {
            axis.step(shaper, self.keep, target);
        }
        let [roll, pitch] = &state.tilt;
        let lean = Lean::of([roll.value, pitch.value]);
        let mut wanted = lean.at(state.heading);
        if !runs_ahead(attitude, wanted, HEADING_LEAD_MAX, turn.value) {
            state.heading = turned(state.heading, turn.value * self.period_s);
            wanted = lean.at(state.heading);
        }
        Followed {
            attitude: Some(wanted),
            rate_rad_s: lean.body_rates(roll.rate, pitch.rate, turn.value),
            acceleration_rad_s2: BodyAxes {
                roll: roll.shaped.acceleration,
                pitch: pitch.shaped.acceleration,
                yaw: turn.shaped.rate,
            },
            expected_rad_s2: BodyAxes { roll: roll.acceleration, pitch: pitch.acceleration, yaw: turn.rate },
        }
    }

    /// The tilt asked for, limited with its direction kept; beyond two radians each axis is cut first.
    fn within_tilt(&self, [roll, pitch]: [S; 2]) -> [S; 2] {
        let limit = self.tilt_max_rad;
        let (roll, pitch) = (roll.limit_size(S::TWO), pitch.limit_size(S::TWO));
        let square = roll * roll + pitch * pitch;
        let share = if square > limit * limit { limit * square.recip_sqrt() } else { S::ONE };
        [share * roll, share * pitch]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::attitude_error::AttitudeError;
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
        Reference::new(&CONFIG, PERIOD_S).unwrap()
    }

    fn tilted(roll_rad: f64, pitch_rad: f64, yaw_rate_rad_s: f64) -> Motion<f64> {
        Motion::Angles { roll_rad, pitch_rad, yaw_rate_rad_s }
    }

    #[test]
    fn angles_start_from_where_the_craft_is() {
        let attitude = Quaternion::yaw(1.0) * Quaternion::pitch(-0.2) * Quaternion::roll(0.3);
        let followed =
            made().step(&mut ReferenceState::default(), attitude, BodyAxes::default(), &tilted(0.3, -0.2, 0.0));
        let error = AttitudeError::between(attitude, followed.attitude.unwrap());
        assert!(error.roll.abs() + error.pitch.abs() + error.yaw.abs() < 4.0 * ANGLE_TOL, "{error:?}");
        assert!(followed.acceleration_rad_s2.roll.abs() < 80.0 * ANGLE_TOL / PERIOD_S);
    }

    #[test]
    fn change_of_behaviour_starts_from_how_the_craft_turns() {
        let (reference, mut state) = (made(), ReferenceState::default());
        let turning = BodyAxes { roll: 1.5, pitch: -0.5, yaw: 0.2 };
        let followed = reference.step(&mut state, Quaternion::IDENTITY, turning, &Motion::Rates(turning));
        assert_eq!(followed.rate_rad_s, turning);
        assert_eq!(followed.acceleration_rad_s2, BodyAxes::default());
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
        let made = |config: ReferenceConfig| Reference::<f32>::new(&config, PERIOD_S).map(|_| ());
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
