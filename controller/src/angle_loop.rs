//! The angle loop: attitude error in, body rates out.
//!
//! Proportional: below the rate loop the craft is an integrator. The rates demanded are limited, tilt
//! with its direction kept.

use core::fmt;

use evenkeel_mixer::Scalar;

use crate::attitude_error::AttitudeError;
use crate::quaternion::Quaternion;
use crate::setpoint::BodyAxes;

/// Gains and limits, human side; may be wrong until [`AngleLoop::new`] has seen them.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct AngleLoopConfig {
    /// Rate demanded per radian of error: roll, pitch, yaw.
    pub gain_per_s: [f64; 3],
    /// Largest rate demanded: roll, pitch, yaw.
    pub rate_max_rad_s: [f64; 3],
}

/// What is wrong with an [`AngleLoopConfig`]. Axes count roll 0, pitch 1, yaw 2.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AngleLoopError {
    /// A gain is negative or not finite.
    Gain {
        /// Which axis.
        axis: usize,
    },
    /// A rate limit is not above zero.
    RateLimit {
        /// Which axis.
        axis: usize,
    },
}

impl fmt::Display for AngleLoopError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            AngleLoopError::Gain { axis } => write!(f, "angle gain of axis {axis} must be finite and at least 0"),
            AngleLoopError::RateLimit { axis } => write!(f, "rate limit of axis {axis} must be above 0"),
        }
    }
}

impl core::error::Error for AngleLoopError {}

/// A validated angle loop. It keeps no state.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AngleLoop<S> {
    gain_per_s: [S; 3],
    rate_max_rad_s: [S; 3],
}

impl<S: Scalar> AngleLoop<S> {
    /// Checks and quantises.
    ///
    /// # Errors
    /// The first value that makes no sense.
    pub fn new(config: &AngleLoopConfig) -> Result<Self, AngleLoopError> {
        for (axis, (gain, limit)) in config.gain_per_s.iter().zip(config.rate_max_rad_s).enumerate() {
            if !(*gain >= 0.0 && gain.is_finite()) {
                return Err(AngleLoopError::Gain { axis });
            }
            if !(limit > 0.0) {
                return Err(AngleLoopError::RateLimit { axis });
            }
        }
        Ok(AngleLoop {
            gain_per_s: config.gain_per_s.map(S::from_f64),
            rate_max_rad_s: config.rate_max_rad_s.map(S::from_f64),
        })
    }

    /// Body rates that close the error, on top of those of the wanted motion.
    ///
    /// * Input: unit quaternions; the wanted motion's own body rates, rad/s
    /// * Output: rad/s, inside the rate limits
    pub fn step(&self, attitude: Quaternion<S>, wanted: Quaternion<S>, moving_rad_s: BodyAxes<S>) -> BodyAxes<S> {
        self.close(AttitudeError::between(attitude, wanted), moving_rad_s)
    }

    /// [`AngleLoop::step`] with the error known.
    pub fn close(&self, error: AttitudeError<S>, moving_rad_s: BodyAxes<S>) -> BodyAxes<S> {
        let [roll_gain, pitch_gain, yaw_gain] = self.gain_per_s;
        let [roll_max, pitch_max, yaw_max] = self.rate_max_rad_s;
        let roll = roll_gain * error.roll + moving_rad_s.roll;
        let pitch = pitch_gain * error.pitch + moving_rad_s.pitch;
        let yaw = yaw_gain * error.yaw + moving_rad_s.yaw;
        let yaw = yaw.limit_size(yaw_max);
        if roll.abs() <= roll_max && pitch.abs() <= pitch_max {
            return BodyAxes { roll, pitch, yaw };
        }
        let share = S::ONE / (roll.abs() / roll_max).larger(pitch.abs() / pitch_max);
        BodyAxes { roll: share * roll, pitch: share * pitch, yaw }
    }
}
