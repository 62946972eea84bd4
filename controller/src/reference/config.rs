//! What a reference is made from, and what can be wrong with it.

use core::fmt;

use crate::shaping::{ShaperConfig, ShaperError};

/// Shaping, human side; may be wrong until [`crate::Reference::new`] has seen it.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct ReferenceConfig {
    /// Roll and pitch angles: slew in rad/s, acceleration in rad/s².
    pub tilt: [ShaperConfig; 2],
    /// Roll, pitch and yaw rates: slew in rad/s², acceleration in rad/s³.
    pub rate: [ShaperConfig; 3],
    /// Lag of the rotors.
    pub rotor_lag_s: f64,
    /// Largest tilt accepted from the pilot.
    pub tilt_max_rad: f64,
    /// Largest rates accepted from the pilot: roll, pitch, yaw.
    pub rate_max_rad_s: [f64; 3],
}

/// What is wrong with a [`ReferenceConfig`]. Axes count roll 0, pitch 1, yaw 2.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ReferenceError {
    /// A tilt shaper.
    Tilt {
        /// Which axis.
        axis: usize,
        /// What is wrong with it.
        cause: ShaperError,
    },
    /// A rate shaper.
    Rate {
        /// Which axis.
        axis: usize,
        /// What is wrong with it.
        cause: ShaperError,
    },
    /// The rotor lag is negative or not finite.
    RotorLag,
    /// The tilt limit is not above zero and below a quarter turn.
    TiltMax,
    /// A rate limit is not above zero.
    RateMax {
        /// Which axis.
        axis: usize,
    },
}

impl fmt::Display for ReferenceError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            ReferenceError::Tilt { axis, cause } => write!(f, "tilt shaping of axis {axis}: {cause}"),
            ReferenceError::Rate { axis, cause } => write!(f, "rate shaping of axis {axis}: {cause}"),
            ReferenceError::RotorLag => f.write_str("rotor_lag_s must be finite and at least 0"),
            ReferenceError::TiltMax => f.write_str("tilt_max_rad must be above 0 and below a quarter turn"),
            ReferenceError::RateMax { axis } => write!(f, "rate_max_rad_s of axis {axis} must be above 0"),
        }
    }
}

impl core::error::Error for ReferenceError {}

impl ReferenceConfig {
    /// What is not a shaper's own to check.
    pub(crate) fn check(&self) -> Result<(), ReferenceError> {
        if !(self.rotor_lag_s >= 0.0 && self.rotor_lag_s.is_finite()) {
            return Err(ReferenceError::RotorLag);
        }
        if !(self.tilt_max_rad > 0.0 && self.tilt_max_rad < core::f64::consts::FRAC_PI_2) {
            return Err(ReferenceError::TiltMax);
        }
        match self.rate_max_rad_s.iter().position(|limit| !(*limit > 0.0)) {
            Some(axis) => Err(ReferenceError::RateMax { axis }),
            None => Ok(()),
        }
    }
}
