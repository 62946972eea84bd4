//! What the estimator is made from, and what can be wrong with it.

use core::fmt;

/// Largest turn in one sample that the integration is good for.
pub const STEP_MAX_RAD: f64 = 0.5;

/// Longest alignment: beyond, the sums would lose digits.
const ALIGN_MAX_S: f64 = 60.0;

/// An attitude estimator, human side; may be wrong until `AttitudeEstimator::new` has seen it.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct AttitudeEstimatorConfig {
    /// Proportional: turn towards the accelerometer, rad/s per radian of error.
    pub kp_per_s: f64,
    /// Integral: bias learned, rad/s² per radian of error. Natural frequency √kI, damping kP/(2√kI).
    pub ki_per_s2: f64,
    /// Weight of the heading beside that of the accelerometer, 0 to 1.
    pub heading_weight: f64,
    /// Largest gyro bias believed, each axis.
    pub bias_max_rad_s: f64,
    /// Largest rate believed, each axis: the gyro's range. Beyond, the sample counts as faulty.
    pub rate_max_rad_s: f64,
    /// What the accelerometer shows at rest.
    pub gravity_m_s2: f64,
    /// Share of gravity by which the accelerometer's length may be off: no weight from here on, full
    /// weight up to half of it. While aligning, that of means over a tenth of a second.
    pub gate_share: f64,
    /// No weight at this rate of turn and above, full weight up to half of it; infinite: never.
    pub rate_gate_rad_s: f64,
    /// How long the craft must be still to align; rounded to whole windows of whole samples.
    pub align_s: f64,
    /// Largest rate, each axis, bias included, that counts as still: root mean square over a tenth of a second.
    pub still_rad_s: f64,
}

/// What is wrong with an [`AttitudeEstimatorConfig`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AttitudeEstimatorError {
    /// The sample period is not above zero.
    Period,
    /// A gain is negative, not finite, or too small for the flying scalar; kP must be above zero.
    Gain,
    /// The heading's weight is outside 0 to 1.
    HeadingWeight,
    /// The bias limit is negative or not finite.
    BiasLimit,
    /// The largest rate is not above zero.
    RateLimit,
    /// The craft could turn more than [`STEP_MAX_RAD`] in one sample.
    StepTooLarge,
    /// Gravity is not above zero.
    Gravity,
    /// The accelerometer's gate is not between 0 and 1, both excluded.
    Gate,
    /// The gate on the rate of turn is not above zero.
    RateGate,
    /// The time to align is not above zero, or above a minute.
    AlignTime,
    /// The rate that counts as still is not above zero, or its square vanishes in the flying scalar.
    Stillness,
}

impl fmt::Display for AttitudeEstimatorError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        use AttitudeEstimatorError as E;
        f.write_str(match self {
            E::Period => "the sample period must be above 0",
            E::Gain => "kp must be finite and above 0, ki finite and at least 0",
            E::HeadingWeight => "the heading's weight must lie between 0 and 1",
            E::BiasLimit => "the bias limit must be finite and at least 0",
            E::RateLimit => "the largest rate must be finite and above 0",
            E::StepTooLarge => "the largest rate would turn the craft by more than 0.5 rad in a sample",
            E::Gravity => "gravity must be finite and above 0",
            E::Gate => "the accelerometer's gate must lie between 0 and 1",
            E::RateGate => "the gate on the rate of turn must be above 0",
            E::AlignTime => "the time to align must be above 0 and at most 60 s",
            E::Stillness => "the rate that counts as still must be finite and above 0",
        })
    }
}

impl core::error::Error for AttitudeEstimatorError {}

impl AttitudeEstimatorConfig {
    /// The first value that makes no sense.
    pub(crate) fn check(&self, period_s: f64) -> Result<(), AttitudeEstimatorError> {
        use AttitudeEstimatorError as E;
        let whole = |value: f64| value >= 0.0 && value.is_finite();
        let positive = |value: f64| value > 0.0 && value.is_finite();
        // A rate at its limit on every axis, and both corrections in full.
        let step_rad = (self.rate_max_rad_s * 1.7321 + self.bias_max_rad_s * 1.7321 + self.kp_per_s * 2.5) * period_s;
        let checks = [
            (positive(period_s), E::Period),
            (positive(self.kp_per_s) && whole(self.ki_per_s2), E::Gain),
            ((0.0..=1.0).contains(&self.heading_weight), E::HeadingWeight),
            (whole(self.bias_max_rad_s), E::BiasLimit),
            (positive(self.rate_max_rad_s), E::RateLimit),
            (step_rad <= STEP_MAX_RAD, E::StepTooLarge),
            (positive(self.gravity_m_s2), E::Gravity),
            (self.gate_share > 0.0 && self.gate_share < 1.0, E::Gate),
            (self.rate_gate_rad_s > 0.0, E::RateGate),
            (positive(self.align_s) && self.align_s <= ALIGN_MAX_S, E::AlignTime),
            (positive(self.still_rad_s), E::Stillness),
        ];
        checks.into_iter().find(|(holds, _)| !holds).map_or(Ok(()), |(_, cause)| Err(cause))
    }
}
