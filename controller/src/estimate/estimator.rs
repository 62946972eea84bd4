//! The estimator: one step a gyro sample.
//!
//! * Math: q ← q ⊗ exp(½·(Ω − b + kP·e)·T), b ← b − kI·e·T, e = w·(v × v̂) + heading part;
//!   v the down the accelerometer sees, v̂ the down of the estimate, w its weight
//! * Source: see the module

use evenkeel_mixer::Scalar;

use crate::estimate::alignment::{Aligner, Alignment, Means, Start};
use crate::estimate::config::{AttitudeEstimatorConfig, AttitudeEstimatorError};
use crate::estimate::direction::{attitude_with_down, direction_error, dot, scaled, sum};
use crate::estimate::gate::{SeenDown, fade, seen_down};
use crate::estimate::heading::{HeadingReference, heading_turn, turned};
use crate::quaternion::Quaternion;
use crate::setpoint::BodyAxes;

/// What the sensors show at one sample, body axes.
#[derive(Clone, Copy, Debug, PartialEq)]
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
    per_gravity: S,
    per_gate_share: S,
    per_rate_gate: S,
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
        let per_rate_gate = S::from_f64(1.0 / config.rate_gate_rad_s);
        if !per_gate_share.is_finite() {
            return Err(AttitudeEstimatorError::Gate);
        }
        if !per_rate_gate.is_finite() {
            return Err(AttitudeEstimatorError::RateGate);
        }
        let aligner = Aligner {
            // Above zero and at most a minute: the count fits, the fraction is rounded.
            samples: ((config.align_s / period_s + 0.5) as u32).max(1),
            still_rad_s: S::from_f64(config.still_rad_s),
            bias_max_rad_s: S::from_f64(config.bias_max_rad_s),
            gate_share: S::from_f64(config.gate_share),
        };
        Ok(AttitudeEstimator {
            period_s: S::from_f64(period_s),
            kp_per_s: S::from_f64(config.kp_per_s),
            ki_per_step,
            heading_weight: S::from_f64(config.heading_weight),
            bias_max_rad_s: S::from_f64(config.bias_max_rad_s),
            rate_max_rad_s: S::from_f64(config.rate_max_rad_s),
            per_gravity,
            per_gate_share,
            per_rate_gate,
            aligner,
        })
    }

    /// Attitude after one more sample.
    ///
    /// * Input: anything; what is not finite or out of range is passed over and flagged
    /// * Output: finite, attitude of unit length
    /// * Cost: four inverse square roots at most, no division once aligned
    pub fn step(&self, state: &mut AttitudeEstimatorState<S>, sample: &InertialSample<S>) -> Estimate<S> {
        let gyro = Some(sample.gyro_rad_s.to_array()).filter(|gyro| gyro.iter().all(|rate| self.believes(*rate)));
        let seen = seen_down(sample.acceleration_m_s2, self.per_gravity);
        let mut status = EstimateStatus {
            alignment: state.alignment,
            accelerometer_weight: S::ZERO,
            gyro_faulty: gyro.is_none(),
            accelerometer_faulty: seen.is_none(),
            heading_faulty: sample.heading.is_some_and(|heading| !heading.is_finite()),
            heading_used: false,
            bias_limited: false,
        };
        if state.alignment == Alignment::Aligned {
            if let Some(gyro) = gyro {
                self.turn(state, gyro, seen, sample.heading, &mut status);
            }
        } else {
            let (alignment, start) = self.aligner.step(&mut state.means, gyro, seen);
            state.alignment = alignment;
            if let Some(start) = start {
                status.heading_used = begin(state, start, sample.heading);
            }
            if let Some(gyro) = gyro {
                state.rate_rad_s = sum(gyro, state.bias_rad_s.map(|bias| -bias));
            }
        }
        status.alignment = state.alignment;
        status.bias_limited = state.bias_rad_s.iter().any(|bias| bias.abs() >= self.bias_max_rad_s);
        Estimate {
            attitude: state.attitude.shortest(),
            rate_rad_s: BodyAxes::from_array(state.rate_rad_s),
            bias_rad_s: BodyAxes::from_array(state.bias_rad_s),
            status,
        }
    }

    fn believes(&self, rate_rad_s: S) -> bool {
        rate_rad_s.abs() <= self.rate_max_rad_s
    }

    fn turn(
        &self,
        state: &mut AttitudeEstimatorState<S>,
        gyro_rad_s: [S; 3],
        seen: Option<SeenDown<S>>,
        heading: Option<HeadingReference<S>>,
        status: &mut EstimateStatus<S>,
    ) {
        let rate = sum(gyro_rad_s, state.bias_rad_s.map(|bias| -bias));
        let down = state.attitude.down_in_body();
        let mut tilt_error = [S::ZERO; 3];
        if let Some(seen) = seen {
            let turning = dot(rate, rate).sqrt() * self.per_rate_gate;
            let weight = fade(seen.off_share * self.per_gate_share) * fade(turning);
            tilt_error = scaled(direction_error(seen.down_body, down), weight);
            status.accelerometer_weight = weight;
        }
        let mut heading_error = [S::ZERO; 3];
        if let Some(off) = heading.and_then(|heading| heading.error(state.attitude)) {
            heading_error = scaled(down, self.heading_weight * heading_turn(off));
            status.heading_used = true;
        }
        let error = sum(tilt_error, heading_error);
        let turn = scaled(sum(rate, scaled(error, self.kp_per_s)), self.period_s);
        if let Some(attitude) = (state.attitude * Quaternion::small_turn(turn)).normalized() {
            state.attitude = attitude;
        }
        self.learn_bias(state, tilt_error, heading_error);
        state.rate_rad_s = rate;
    }

    /// The limit cuts axis by axis, which would turn what a wrong heading teaches about down into a
    /// tilt: that part is left out where it would reach the limit.
    fn learn_bias(&self, state: &mut AttitudeEstimatorState<S>, tilt_error: [S; 3], heading_error: [S; 3]) {
        let learned = |error: [S; 3]| sum(state.bias_rad_s, scaled(error, -self.ki_per_step));
        let within = |bias: [S; 3]| bias.iter().all(|axis| axis.abs() < self.bias_max_rad_s);
        let both = learned(sum(tilt_error, heading_error));
        let bias = if within(both) { both } else { learned(tilt_error) };
        state.bias_rad_s = bias.map(|axis| axis.limit(-self.bias_max_rad_s, self.bias_max_rad_s));
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
mod tests {
    use super::*;

    const G: f64 = 9.806_65;
    const PERIOD_S: f64 = 4e-3;
    const CONFIG: AttitudeEstimatorConfig = AttitudeEstimatorConfig {
        kp_per_s: 1.0,
        ki_per_s2: 0.3,
        heading_weight: 0.5,
        bias_max_rad_s: 0.1,
        rate_max_rad_s: 35.0,
        gravity_m_s2: G,
        gate_share: 0.2,
        rate_gate_rad_s: f64::INFINITY,
        align_s: 0.4,
        still_rad_s: 0.06,
    };

    fn made() -> AttitudeEstimator<f64> {
        AttitudeEstimator::new(&CONFIG, PERIOD_S).unwrap()
    }

    fn at_rest(attitude: Quaternion<f64>, bias: [f64; 3]) -> InertialSample<f64> {
        let acceleration_m_s2 = attitude.down_in_body().map(|down| -G * down);
        InertialSample { gyro_rad_s: BodyAxes::from_array(bias), acceleration_m_s2, heading: None }
    }

    fn tilt_off(estimate: &Estimate<f64>, truth: Quaternion<f64>) -> f64 {
        dot(estimate.attitude.down_in_body(), truth.down_in_body()).clamp(-1.0, 1.0).acos()
    }

    #[test]
    fn aligns_in_the_stated_time_to_tilt_heading_and_bias() {
        for (yaw, pitch, roll) in
            [(0.0, 0.0, 0.0), (1.0, 0.3, -0.5), (-2.0, -0.2, 3.0), (3.0, 1.0, core::f64::consts::PI)]
        {
            let truth =
                (Quaternion::yaw(yaw) * Quaternion::pitch(pitch) * Quaternion::roll(roll)).normalized().unwrap();
            let (block, mut state) = (made(), AttitudeEstimatorState::default());
            let heading = Some(HeadingReference::nose(yaw));
            let sample = InertialSample { heading, ..at_rest(truth, [0.01, -0.02, 0.03]) };
            for _ in 0..99 {
                let estimate = block.step(&mut state, &sample);
                assert_eq!(estimate.status.alignment, Alignment::Collecting);
                assert_eq!(estimate.attitude, Quaternion::IDENTITY);
            }
            let estimate = block.step(&mut state, &sample);
            assert_eq!(estimate.status.alignment, Alignment::Aligned);
            assert!(estimate.status.heading_used);
            let between = truth.conjugate() * estimate.attitude;
            assert!(between.w.abs() > 1.0 - 1e-12, "{yaw} {pitch} {roll}: {estimate:?}");
            let off = sum(estimate.bias_rad_s.to_array(), [-0.01, 0.02, -0.03]);
            assert!(dot(off, off) < 1e-24, "{off:?}");
            assert!(dot(estimate.rate_rad_s.to_array(), estimate.rate_rad_s.to_array()) < 1e-24);
        }
    }

    #[test]
    fn says_what_keeps_it_from_aligning_and_starts_again() {
        let still = at_rest(Quaternion::IDENTITY, [0.0; 3]);
        let bent = |acceleration_m_s2| InertialSample { acceleration_m_s2, ..still };
        let cases = [
            (at_rest(Quaternion::IDENTITY, [0.0, 0.061, 0.0]), Alignment::GyroMoving),
            (bent([0.0, 0.0, -1.21 * G]), Alignment::AccelerationOffGravity),
            (bent([0.0; 3]), Alignment::AccelerationOffGravity),
            (bent([0.0, f64::NAN, -G]), Alignment::BadSample),
            (at_rest(Quaternion::IDENTITY, [0.0, 0.0, 36.0]), Alignment::BadSample),
        ];
        for (sample, why) in cases {
            let (block, mut state) = (made(), AttitudeEstimatorState::default());
            for _ in 0..60 {
                block.step(&mut state, &still);
            }
            assert_eq!(block.step(&mut state, &sample).status.alignment, why);
            for _ in 0..99 {
                assert_eq!(block.step(&mut state, &still).status.alignment, Alignment::Collecting, "{why:?}");
            }
            assert_eq!(block.step(&mut state, &still).status.alignment, Alignment::Aligned, "{why:?}");
        }
    }

    #[test]
    fn mean_rate_above_the_bias_limit_is_motion() {
        let config = AttitudeEstimatorConfig { bias_max_rad_s: 0.05, ..CONFIG };
        let block = AttitudeEstimator::new(&config, PERIOD_S).unwrap();
        let mut state = AttitudeEstimatorState::default();
        let drifting = at_rest(Quaternion::IDENTITY, [0.055, 0.0, 0.0]);
        let last = (0..100).map(|_| block.step(&mut state, &drifting).status.alignment).last();
        assert_eq!(last, Some(Alignment::GyroMoving));
    }

    #[test]
    fn directions_that_cancel_are_no_gravity() {
        let (block, mut state) = (made(), AttitudeEstimatorState::default());
        let last = (0..100).map(|k| {
            let up_or_down = if k % 2 == 0 { -G } else { G };
            let sample =
                InertialSample { acceleration_m_s2: [0.0, 0.0, up_or_down], ..at_rest(Quaternion::IDENTITY, [0.0; 3]) };
            block.step(&mut state, &sample).status.alignment
        });
        assert_eq!(last.last(), Some(Alignment::AccelerationOffGravity));
    }

    #[test]
    fn holds_everything_when_the_gyro_is_faulty() {
        let (block, mut state) = (made(), AttitudeEstimatorState::default());
        state.restart_at(Quaternion::roll(0.3));
        let before = block.step(&mut state, &at_rest(Quaternion::IDENTITY, [0.5, 0.2, -0.1]));
        for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 35.1, -35.1, f64::MAX] {
            let estimate = block.step(&mut state, &at_rest(Quaternion::IDENTITY, [0.0, bad, 0.0]));
            assert!(estimate.status.gyro_faulty, "{bad}");
            assert_eq!((estimate.attitude, estimate.rate_rad_s), (before.attitude, before.rate_rad_s), "{bad}");
            assert_eq!(estimate.bias_rad_s, before.bias_rad_s, "{bad}");
        }
        assert!(!block.step(&mut state, &at_rest(Quaternion::IDENTITY, [35.0; 3])).status.gyro_faulty);
    }

    #[test]
    fn goes_on_with_the_gyro_when_the_accelerometer_is_faulty() {
        let (block, mut state) = (made(), AttitudeEstimatorState::default());
        state.restart_at(Quaternion::IDENTITY);
        for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 1e200] {
            let mut sample = at_rest(Quaternion::IDENTITY, [0.5, 0.0, 0.0]);
            sample.acceleration_m_s2[1] = bad;
            let before = state.attitude.x;
            let estimate = block.step(&mut state, &sample);
            assert!(estimate.status.accelerometer_faulty && estimate.status.accelerometer_weight == 0.0, "{bad}");
            assert!((estimate.attitude.x - before - 0.5 * 0.5 * PERIOD_S).abs() < 1e-6, "{bad}");
            assert_eq!(estimate.bias_rad_s, BodyAxes::default(), "{bad}");
        }
    }

    #[test]
    fn heading_that_is_no_number_is_flagged_and_passed_over() {
        let (block, mut state) = (made(), AttitudeEstimatorState::default());
        state.restart_at(Quaternion::IDENTITY);
        for heading in [HeadingReference::north([f64::NAN; 3]), HeadingReference::nose(f64::INFINITY)] {
            let sample = InertialSample { heading: Some(heading), ..at_rest(Quaternion::IDENTITY, [0.0; 3]) };
            let status = block.step(&mut state, &sample).status;
            assert!(status.heading_faulty && !status.heading_used, "{heading:?}");
        }
        assert_eq!(state.attitude, Quaternion::IDENTITY);
    }

    #[test]
    fn bias_stops_at_its_limit_and_says_so() {
        let (block, mut state) = (made(), AttitudeEstimatorState::default());
        state.restart_at(Quaternion::IDENTITY);
        let mut limited = false;
        for _ in 0..10_000 {
            let estimate = block.step(&mut state, &at_rest(Quaternion::IDENTITY, [0.3, 0.0, 0.0]));
            assert!(estimate.bias_rad_s.roll <= 0.1);
            limited = estimate.status.bias_limited;
        }
        assert!(limited);
        // What is left of the bias leans the estimate by its share of kP: sin e = 0.2.
        let estimate = block.step(&mut state, &at_rest(Quaternion::IDENTITY, [0.3, 0.0, 0.0]));
        assert!((tilt_off(&estimate, Quaternion::IDENTITY).sin() - 0.2).abs() < 1e-6, "{estimate:?}");
    }

    #[test]
    fn rate_gate_shuts_the_accelerometer_out_while_turning_fast() {
        let block =
            AttitudeEstimator::new(&AttitudeEstimatorConfig { rate_gate_rad_s: 2.0, ..CONFIG }, PERIOD_S).unwrap();
        let weight = |rate: f64| {
            let mut state = AttitudeEstimatorState::default();
            state.restart_at(Quaternion::IDENTITY);
            block.step(&mut state, &at_rest(Quaternion::IDENTITY, [0.0, 0.0, rate])).status.accelerometer_weight
        };
        assert_eq!([weight(0.0), weight(0.99), weight(-2.0), weight(30.0)], [1.0, 1.0, 0.0, 0.0]);
        assert!((weight(1.5) - 0.5).abs() < 1e-12);
    }

    #[test]
    fn memory_is_small() {
        assert_eq!(core::mem::size_of::<AttitudeEstimatorState<f32>>(), 76, "bytes");
    }

    #[test]
    fn restart_without_an_attitude_aligns_as_usual() {
        let (block, mut state) = (made(), AttitudeEstimatorState::default());
        state.restart_at(Quaternion { w: f64::NAN, ..Quaternion::IDENTITY });
        let estimate = block.step(&mut state, &at_rest(Quaternion::IDENTITY, [0.0; 3]));
        assert_eq!(estimate.status.alignment, Alignment::Collecting);
    }

    #[test]
    fn refuses_what_makes_no_sense() {
        use AttitudeEstimatorError as E;
        let made = |config: AttitudeEstimatorConfig| AttitudeEstimator::<f32>::new(&config, PERIOD_S).map(|_| ());
        assert_eq!(made(CONFIG), Ok(()));
        for bad in [f64::NAN, f64::INFINITY, -1.0, 0.0] {
            let period = AttitudeEstimator::<f32>::new(&CONFIG, bad).map(|_| ());
            assert_eq!(period, Err(E::Period), "{bad}");
            assert_eq!(made(AttitudeEstimatorConfig { kp_per_s: bad, ..CONFIG }), Err(E::Gain), "{bad}");
            assert_eq!(made(AttitudeEstimatorConfig { rate_max_rad_s: bad, ..CONFIG }), Err(E::RateLimit), "{bad}");
            assert_eq!(made(AttitudeEstimatorConfig { gravity_m_s2: bad, ..CONFIG }), Err(E::Gravity), "{bad}");
            assert_eq!(made(AttitudeEstimatorConfig { gate_share: bad, ..CONFIG }), Err(E::Gate), "{bad}");
            assert_eq!(made(AttitudeEstimatorConfig { align_s: bad, ..CONFIG }), Err(E::AlignTime), "{bad}");
            assert_eq!(made(AttitudeEstimatorConfig { still_rad_s: bad, ..CONFIG }), Err(E::Stillness), "{bad}");
        }
        for bad in [f64::NAN, f64::INFINITY, -1.0] {
            assert_eq!(made(AttitudeEstimatorConfig { ki_per_s2: bad, ..CONFIG }), Err(E::Gain), "{bad}");
            assert_eq!(made(AttitudeEstimatorConfig { bias_max_rad_s: bad, ..CONFIG }), Err(E::BiasLimit), "{bad}");
            assert_eq!(made(AttitudeEstimatorConfig { heading_weight: bad, ..CONFIG }), Err(E::HeadingWeight), "{bad}");
        }
        for bad in [f64::NAN, -1.0, 0.0] {
            assert_eq!(made(AttitudeEstimatorConfig { rate_gate_rad_s: bad, ..CONFIG }), Err(E::RateGate), "{bad}");
        }
        assert_eq!(made(AttitudeEstimatorConfig { rate_max_rad_s: 73.0, ..CONFIG }), Err(E::StepTooLarge));
        assert_eq!(made(AttitudeEstimatorConfig { align_s: 61.0, ..CONFIG }), Err(E::AlignTime));
        assert_eq!(made(AttitudeEstimatorConfig { ki_per_s2: 1e-60, ..CONFIG }), Err(E::Gain));
        assert_eq!(made(AttitudeEstimatorConfig { gravity_m_s2: 1e-60, ..CONFIG }), Err(E::Gravity));
    }
}
