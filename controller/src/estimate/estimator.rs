//! The estimator: one step a gyro sample.
//!
//! * Math: q ← q ⊗ exp(½·(Ω − b + kP·e)·T), b ← b − kI·e·T, e = w·(v × v̂) + heading part;
//!   v the down the accelerometer sees, v̂ the down of the estimate, w its weight
//! * Source: see the module

use evenkeel_mixer::Scalar;

use crate::estimate::alignment::{Aligner, AlignerConfig, Alignment, Means, Start, Stood};
use crate::estimate::config::{AttitudeEstimatorConfig, AttitudeEstimatorError};
use crate::estimate::direction::{attitude_with_down, dot, scaled, sum, tilt_error};
use crate::estimate::gate::{SeenDown, seen_down, weight};
use crate::estimate::heading::{HeadingReference, heading_turn, turned};
use crate::quaternion::Quaternion;
use crate::setpoint::BodyAxes;

/// What the sensors show at one sample, body axes.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct InertialSample<S> {
    /// Rates of turn, bias included.
    pub gyro_rad_s: BodyAxes<S>,
    /// Acceleration less gravity: (0, 0, −g) at rest and level.
    pub acceleration_m_s2: [S; 3],
    /// A heading, when there is a fresh one.
    pub heading: Option<HeadingReference<S>>,
}

/// What one step found. Every number is finite, whatever came in.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Estimate<S> {
    /// Body to world, unit length, w ≥ 0; no rotation until aligned. Without a heading its yaw is the
    /// gyro's alone, from north at the start.
    pub attitude: Quaternion<S>,
    /// Body rates less bias.
    pub rate_rad_s: BodyAxes<S>,
    /// Gyro bias as far as known; about down only a heading can show it in flight.
    pub bias_rad_s: BodyAxes<S>,
    /// What this step could use.
    pub status: EstimateStatus<S>,
}

/// What one step could use.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct EstimateStatus<S> {
    /// Aligned, or why not.
    pub alignment: Alignment,
    /// How much the accelerometer counted, 0 to 1.
    pub accelerometer_weight: S,
    /// The gyro was not finite or beyond its range: attitude, rates and bias are the last ones.
    pub gyro_faulty: bool,
    /// The accelerometer was not finite: passed over.
    pub accelerometer_faulty: bool,
    /// A heading was given and not finite: passed over.
    pub heading_faulty: bool,
    /// A heading was given and counted.
    pub heading_used: bool,
    /// The bias stands at its limit on some axis.
    pub bias_limited: bool,
}

/// A validated estimator.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AttitudeEstimator<S> {
    period_s: S,
    kp_per_s: S,
    ki_per_step: S,
    heading_weight: S,
    bias_max_rad_s: S,
    rate_max_rad_s: S,
    rate_square_max: S,
    per_gravity: S,
    per_gate_share: S,
    per_rate_gate_square: S,
    aligner: Aligner<S>,
}

/// What the estimator remembers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AttitudeEstimatorState<S> {
    attitude: Quaternion<S>,
    bias_rad_s: [S; 3],
    rate_rad_s: [S; 3],
    alignment: Alignment,
    means: Means<S>,
}

impl<S: Scalar> Default for AttitudeEstimatorState<S> {
    fn default() -> Self {
        AttitudeEstimatorState {
            attitude: Quaternion::IDENTITY,
            bias_rad_s: [S::ZERO; 3],
            rate_rad_s: [S::ZERO; 3],
            alignment: Alignment::default(),
            means: Means::default(),
        }
    }
}

impl<S: Scalar> AttitudeEstimatorState<S> {
    /// Forgets everything: aligns again.
    pub fn reset(&mut self) {
        *self = Self::default();
    }

    /// Starts from a known attitude without aligning, as when restarted in flight; keeps the bias.
    /// Aligns as usual when that is no attitude.
    pub fn restart_at(&mut self, attitude: Quaternion<S>) {
        self.means = Means::default();
        match attitude.normalized() {
            Some(attitude) => (self.attitude, self.alignment) = (attitude, Alignment::Aligned),
            None => (self.attitude, self.alignment) = (Quaternion::IDENTITY, Alignment::BadSample),
        }
    }
}

impl<S: Scalar> AttitudeEstimatorState<S> {
    /// Takes this as the gyro's bias, as an alignment finds it; an axis that is not finite counts as zero.
    pub fn know_bias(&mut self, bias_rad_s: BodyAxes<S>) {
        self.bias_rad_s = bias_rad_s.to_array().map(|axis| if axis.is_finite() { axis } else { S::ZERO });
    }
}

impl<S: Scalar> AttitudeEstimator<S> {
    /// Checks, bakes the sample period in and quantises.
    ///
    /// # Errors
    /// The first value that makes no sense.
    pub fn new(config: &AttitudeEstimatorConfig, period_s: f64) -> Result<Self, AttitudeEstimatorError> {
        config.check(period_s)?;
        let ki_per_step = S::from_f64(config.ki_per_s2 * period_s);
        // The period, too, must not vanish in the flying scalar.
        if !(S::from_f64(period_s) > S::ZERO) {
            return Err(AttitudeEstimatorError::Period);
        }
        if !(S::from_f64(config.kp_per_s) > S::ZERO && (config.ki_per_s2 == 0.0 || ki_per_step > S::ZERO)) {
            return Err(AttitudeEstimatorError::Gain);
        }
        let per_gravity = S::from_f64(1.0 / config.gravity_m_s2);
        if !(per_gravity > S::ZERO && per_gravity.is_finite()) {
            return Err(AttitudeEstimatorError::Gravity);
        }
        let per_gate_share = S::from_f64(1.0 / config.gate_share);
        let per_rate_gate = 1.0 / config.rate_gate_rad_s;
        let per_rate_gate_square = S::from_f64(per_rate_gate * per_rate_gate);
        if !per_gate_share.is_finite() {
            return Err(AttitudeEstimatorError::Gate);
        }
        if !per_rate_gate_square.is_finite() {
            return Err(AttitudeEstimatorError::RateGate);
        }
        let AttitudeEstimatorConfig { align_s, still_rad_s, bias_max_rad_s, gate_share, .. } = *config;
        let aligner = Aligner::new(&AlignerConfig { align_s, still_rad_s, bias_max_rad_s, gate_share }, period_s)
            .ok_or(AttitudeEstimatorError::Stillness)?;
        Ok(AttitudeEstimator {
            period_s: S::from_f64(period_s),
            kp_per_s: S::from_f64(config.kp_per_s),
            ki_per_step,
            heading_weight: S::from_f64(config.heading_weight),
            bias_max_rad_s: S::from_f64(config.bias_max_rad_s),
            rate_max_rad_s: S::from_f64(config.rate_max_rad_s),
            rate_square_max: S::from_f64(config.rate_max_rad_s * config.rate_max_rad_s),
            per_gravity,
            per_gate_share,
            per_rate_gate_square,
            aligner,
        })
    }

    /// Attitude after one more sample.
    ///
    /// * Input: anything; what is not finite or out of range is passed over and flagged
    /// * Output: finite, attitude of unit length
    /// * Cost: four inverse square roots at most, no division once aligned
    #[inline(always)]
    pub fn step(&self, state: &mut AttitudeEstimatorState<S>, sample: &InertialSample<S>) -> Estimate<S> {
        let gyro = Some(sample.gyro_rad_s.to_array()).filter(|gyro| self.believes(gyro));
        let seen = seen_down(sample.acceleration_m_s2, self.per_gravity);
        let mut status = EstimateStatus {
            alignment: state.alignment,
            accelerometer_weight: S::ZERO,
            gyro_faulty: gyro.is_none(),
            accelerometer_faulty: !seen.is_finite(),
            heading_faulty: sample.heading.is_some_and(|heading| !heading.is_finite()),
            heading_used: false,
            bias_limited: false,
        };
        if state.alignment == Alignment::Aligned {
            match gyro {
                Some(gyro) => self.turn(state, gyro, seen, sample.heading, &mut status),
                None => status.bias_limited = self.bias_limited(state),
            }
        } else {
            let SeenDown { force_g, off_share, .. } = seen;
            let stood = gyro.map(|gyro_rad_s| Stood { gyro_rad_s, force_g, off_share });
            let stood = stood.filter(|_| seen.is_finite());
            let (alignment, start) = self.aligner.step(&mut state.means, state.alignment, stood);
            state.alignment = alignment;
            if let Some(start) = start {
                status.heading_used = begin(state, start, sample.heading);
            }
            if let Some(gyro) = gyro {
                state.rate_rad_s = sum(gyro, state.bias_rad_s.map(|bias| -bias));
            }
            status.bias_limited = self.bias_limited(state);
        }
        status.alignment = state.alignment;
        Estimate {
            attitude: state.attitude.shortest(),
            rate_rad_s: BodyAxes::from_array(state.rate_rad_s),
            bias_rad_s: BodyAxes::from_array(state.bias_rad_s),
            status,
        }
    }

    /// Turns on through periods that brought no sample, before the step with the sample that ends them.
    ///
    /// * Input: the sample that ends the gap; how many periods went by before its own
    /// * Math: the mean of the last rate and the new one, for as long; a gyro that is not believed leaves the last
    /// * Cost: a product of quaternions for each period
    pub(crate) fn bridge(&self, state: &mut AttitudeEstimatorState<S>, sample: &InertialSample<S>, periods: u32) {
        if periods == 0 || state.alignment != Alignment::Aligned {
            return;
        }
        let gyro = sample.gyro_rad_s.to_array();
        let rate = if self.believes(&gyro) {
            let now = sum(gyro, state.bias_rad_s.map(|bias| -bias));
            scaled(sum(state.rate_rad_s, now), S::HALF)
        } else {
            state.rate_rad_s
        };
        let turn = Quaternion::small_turn(scaled(rate, self.period_s));
        let after = (0..periods).fold(state.attitude, |attitude, _| attitude * turn);
        state.attitude = after.normalized().unwrap_or(state.attitude);
    }

    /// Whether each axis is within the gyro's range; nearly always all of them together are. Less, and not equal: a
    /// square that has met the end of the scalar's range says nothing.
    fn believes(&self, gyro_rad_s: &[S; 3]) -> bool {
        dot(*gyro_rad_s, *gyro_rad_s) < self.rate_square_max || self.believes_each(gyro_rad_s)
    }

    #[cold]
    fn believes_each(&self, gyro_rad_s: &[S; 3]) -> bool {
        gyro_rad_s.iter().all(|rate| rate.abs() <= self.rate_max_rad_s)
    }

    /// In line: it has one caller, and the call would take everything it is given through memory.
    #[inline(always)]
    fn turn(
        &self,
        state: &mut AttitudeEstimatorState<S>,
        gyro_rad_s: [S; 3],
        seen: SeenDown<S>,
        heading: Option<HeadingReference<S>>,
        status: &mut EstimateStatus<S>,
    ) {
        let rate = sum(gyro_rad_s, state.bias_rad_s.map(|bias| -bias));
        let down = state.attitude.down_in_body();
        let mut of_tilt = [S::ZERO; 3];
        if !status.accelerometer_faulty {
            let SeenDown { force_g, inverse, off_share } = seen;
            let weight = weight(off_share * self.per_gate_share, dot(rate, rate) * self.per_rate_gate_square);
            of_tilt = tilt_error(force_g, inverse, down, weight);
            status.accelerometer_weight = weight;
        }
        let mut error = of_tilt;
        if let Some(off) = heading.and_then(|heading| heading.error(state.attitude)) {
            error = sum(of_tilt, scaled(down, self.heading_weight * heading_turn(off)));
            status.heading_used = true;
        }
        let turn = scaled(sum(rate, scaled(error, self.kp_per_s)), self.period_s);
        if let Some(attitude) = (state.attitude * Quaternion::small_turn(turn)).normalized() {
            state.attitude = attitude;
        }
        state.rate_rad_s = rate;
        let learned = sum(state.bias_rad_s, scaled(error, -self.ki_per_step));
        if learned.iter().all(|axis| axis.abs() < self.bias_max_rad_s) {
            state.bias_rad_s = learned;
        } else {
            let [x, y, z] = of_tilt;
            self.learn_up_to_the_limit(state, [x, y, z]);
            status.bias_limited = self.bias_limited(state);
        }
    }

    /// The limit cuts axis by axis, which would turn what a wrong heading teaches about down into a
    /// tilt: that part is left out where it would reach the limit.
    #[cold]
    fn learn_up_to_the_limit(&self, state: &mut AttitudeEstimatorState<S>, tilt_error: [S; 3]) {
        let learned = sum(state.bias_rad_s, scaled(tilt_error, -self.ki_per_step));
        state.bias_rad_s = learned.map(|axis| axis.limit(-self.bias_max_rad_s, self.bias_max_rad_s));
    }

    fn bias_limited(&self, state: &AttitudeEstimatorState<S>) -> bool {
        state.bias_rad_s.iter().any(|bias| bias.abs() >= self.bias_max_rad_s)
    }
}

/// From the means to an attitude: tilt from down, heading from the reference, else the nose to north.
/// Whether the given heading counted.
fn begin<S: Scalar>(
    state: &mut AttitudeEstimatorState<S>,
    start: Start<S>,
    heading: Option<HeadingReference<S>>,
) -> bool {
    state.bias_rad_s = start.bias_rad_s;
    let level = attitude_with_down(start.down_body);
    let given = heading.and_then(|heading| heading.error(level));
    // A nose on the vertical has no heading: any will do.
    let off = given.or_else(|| HeadingReference::nose(S::ZERO).error(level));
    state.attitude = off.map_or(level, |off| turned(level, off));
    given.is_some()
}

#[cfg(test)]
mod tests;
