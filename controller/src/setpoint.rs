//! What the pilot asks for, and what the loops hand each other.

use evenkeel_mixer::Scalar;

use crate::finite::all_finite;

/// Three values about the body axes: x forward (roll), y right (pitch), z down (yaw).
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct BodyAxes<S> {
    /// About x, right side down positive.
    pub roll: S,
    /// About y, nose up positive.
    pub pitch: S,
    /// About z, nose right positive.
    pub yaw: S,
}

impl<S: Scalar> BodyAxes<S> {
    /// From an array in the order roll, pitch, yaw.
    pub fn from_array([roll, pitch, yaw]: [S; 3]) -> Self {
        BodyAxes { roll, pitch, yaw }
    }

    /// In the order roll, pitch, yaw.
    pub fn to_array(self) -> [S; 3] {
        [self.roll, self.pitch, self.yaw]
    }

    /// Square of their length.
    pub(crate) fn square(self) -> S {
        self.roll * self.roll + self.pitch * self.pitch + self.yaw * self.yaw
    }

    /// Whether all three are finite.
    pub fn is_finite(&self) -> bool {
        all_finite(self.to_array())
    }
}

/// How the craft is asked to move.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Motion<S> {
    /// Hold this tilt and turn the heading at this rate.
    Angles {
        /// Right side down, radians.
        roll_rad: S,
        /// Nose up, radians.
        pitch_rad: S,
        /// About the world's down axis, radians a second.
        yaw_rate_rad_s: S,
    },
    /// Turn at these body rates, rad/s.
    Rates(BodyAxes<S>),
}

impl<S: Scalar> Motion<S> {
    /// Level, heading held.
    pub const LEVEL: Self = Motion::Angles { roll_rad: S::ZERO, pitch_rad: S::ZERO, yaw_rate_rad_s: S::ZERO };

    /// Whether every number is finite.
    pub fn is_finite(&self) -> bool {
        all_finite(self.to_array())
    }

    /// The three numbers, whatever they mean.
    pub(crate) fn to_array(self) -> [S; 3] {
        match self {
            Motion::Angles { roll_rad, pitch_rad, yaw_rate_rad_s } => [roll_rad, pitch_rad, yaw_rate_rad_s],
            Motion::Rates(rates) => rates.to_array(),
        }
    }
}

/// What the rate loop is asked for.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct RateSetpoint<S> {
    /// Body rates, radians a second.
    pub rate_rad_s: BodyAxes<S>,
    /// Angular acceleration known in advance, fed forward; zero when nothing is known.
    pub acceleration_rad_s2: BodyAxes<S>,
    /// Angular acceleration that should be seen by now, behind the rotors' lag.
    pub expected_rad_s2: BodyAxes<S>,
}

/// What the motors do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Motors {
    /// Every command is zero, whatever else is asked.
    Off,
    /// Standing on the ground, armed: rotors as near to their floors as leaves no torque, integrators
    /// empty. Never in flight: the attitude is not held.
    Idle,
    /// On the ground, thrust rising or falling: the loops act, but the integrators stay empty and no
    /// torque may raise the thrust above its demand. A craft that stands on a slope cannot follow, and
    /// must not jump.
    Grounded,
    /// The loops hold the attitude, whatever the thrust demand.
    Flying,
}

/// The pilot's demand for one step.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Setpoint<S> {
    /// Whether the motors run, and whether the craft may turn.
    pub motors: Motors,
    /// Along body −z, newtons.
    pub thrust_n: S,
    /// Tilt and heading, or body rates.
    pub motion: Motion<S>,
}

impl<S: Scalar> Setpoint<S> {
    /// Everything off.
    pub const DISARMED: Self = Setpoint { motors: Motors::Off, thrust_n: S::ZERO, motion: Motion::LEVEL };

    /// Whether every number is finite.
    pub(crate) fn is_finite(&self) -> bool {
        let [first, second, third] = self.motion.to_array();
        all_finite([self.thrust_n, first, second, third])
    }
}
