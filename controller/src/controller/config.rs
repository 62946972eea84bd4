//! What a controller is made from, and what can be wrong with it.

use core::fmt;

use crate::angle_loop::{AngleLoopConfig, AngleLoopError};
use crate::inertia::InertiaError;
use crate::rate_loop::{RateLoopConfig, RateLoopError};
use crate::reference::{ReferenceConfig, ReferenceError};

/// Everything the controller is told about a craft, human side.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct ControllerConfig {
    /// Period of the rate loop and of [`Controller::step`](crate::Controller::step).
    pub period_s: f64,
    /// The angle loop runs once in this many steps. What it follows is worked out in up to three steps before, so that
    /// no step does all of it: a demand acts up to three steps later, but never by more than a period of the angle
    /// loop, than it would if it were worked out at once, which it is with 1.
    pub angle_divider: u32,
    /// Rate loops: roll, pitch, yaw.
    pub rate: [RateLoopConfig; 3],
    /// Angle loop.
    pub angle: AngleLoopConfig,
    /// Set-point shaping.
    pub reference: ReferenceConfig,
    /// Inertia tensor about the centre of mass, body axes.
    pub inertia_kg_m2: [[f64; 3]; 3],
    /// Most by which thrust is raised to make up for tilt, as a factor: thrust over the cosine of the tilt up to this.
    /// 1 leaves the demand as it is.
    pub tilt_compensation_max: f64,
}

/// What is wrong with a [`ControllerConfig`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ControllerError {
    /// The angle divider is zero.
    AngleDivider,
    /// The rate loop of this axis: roll 0, pitch 1, yaw 2.
    RateLoop {
        /// Which axis.
        axis: usize,
        /// What is wrong with it.
        cause: RateLoopError,
    },
    /// The angle loop.
    AngleLoop(AngleLoopError),
    /// The set-point shaping.
    Reference(ReferenceError),
    /// The inertia tensor.
    Inertia(InertiaError),
    /// The tilt compensation is below 1 or not finite.
    TiltCompensation,
}

impl fmt::Display for ControllerError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            ControllerError::AngleDivider => f.write_str("the angle divider must be at least 1"),
            ControllerError::RateLoop { axis, cause } => write!(f, "rate loop of axis {axis}: {cause}"),
            ControllerError::AngleLoop(cause) => write!(f, "angle loop: {cause}"),
            ControllerError::Reference(cause) => cause.fmt(f),
            ControllerError::Inertia(cause) => cause.fmt(f),
            ControllerError::TiltCompensation => f.write_str("tilt_compensation_max must be at least 1 and finite"),
        }
    }
}

impl core::error::Error for ControllerError {}
