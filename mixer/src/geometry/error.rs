//! Why a set of rotors cannot be controlled, and what to look at.

use core::fmt;

use crate::wrench::Axis;

/// Why a set of rotors cannot be controlled. Rotors are counted from 1, as in the craft file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GeometryError {
    /// There is no rotor at all.
    NoRotors,
    /// More rotors than the storage was sized for, or than [`crate::MAX_ROTORS`].
    TooManyRotors {
        /// What was given.
        given: usize,
        /// What fits.
        capacity: usize,
    },
    /// A value of this rotor, or the centre of mass (rotor 0), is NaN or infinite.
    NotFinite {
        /// Which rotor, 0 for the centre of mass.
        rotor: usize,
    },
    /// The thrust axis of this rotor has no direction.
    NoDirection {
        /// Which rotor.
        rotor: usize,
    },
    /// The floor is negative, or not below the ceiling.
    FloorNotBelowCeiling {
        /// Which rotor.
        rotor: usize,
    },
    /// The reaction torque ratio is negative.
    NegativeTorqueRatio {
        /// Which rotor.
        rotor: usize,
    },
    /// No combination of rotor thrusts moves this axis independently of the axes before it
    /// (thrust, roll, pitch, yaw).
    NotControllable {
        /// The axis that cannot be moved by itself.
        axis: Axis,
    },
    /// There is no thrust at which roll, pitch and yaw torque can all be zero.
    Unbalanced,
    /// The facets of the attainable set do not fit the storage; see [`crate::facet_capacity`].
    TooManyFacets {
        /// What fits.
        capacity: usize,
    },
}

impl fmt::Display for GeometryError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            GeometryError::NoRotors => f.write_str("there is no rotor"),
            GeometryError::TooManyRotors { given, capacity } => {
                write!(f, "{given} rotors, but this mixer holds at most {capacity}")
            }
            GeometryError::NotFinite { rotor: 0 } => f.write_str("the centre of mass is not a finite number"),
            GeometryError::NotFinite { rotor } => write!(f, "a value of rotor {rotor} is not a finite number"),
            GeometryError::NoDirection { rotor } => write!(f, "the thrust axis of rotor {rotor} has no direction"),
            GeometryError::FloorNotBelowCeiling { rotor } => {
                write!(f, "the thrust floor of rotor {rotor} must be at least 0 and below its ceiling")
            }
            GeometryError::NegativeTorqueRatio { rotor } => {
                write!(f, "the torque ratio of rotor {rotor} must be at least 0; its sign comes from the spin")
            }
            GeometryError::NotControllable { axis } => {
                let (axis, remedy) = match axis {
                    Axis::Thrust => ("thrust", "do the thrust axes point up?"),
                    Axis::Roll => ("roll", "are there rotors on both sides of the centre of mass?"),
                    Axis::Pitch => ("pitch", "are there rotors ahead of and behind the centre of mass?"),
                    Axis::Yaw => ("yaw", "do neighbouring rotors spin opposite ways?"),
                };
                write!(f, "the rotors cannot turn or lift the craft in {axis} by itself; {remedy}")
            }
            GeometryError::Unbalanced => f.write_str(
                "at no thrust can roll, pitch and yaw torque all be zero: the centre of mass lies outside the rotors, \
                 or their reaction torques do not cancel",
            ),
            GeometryError::TooManyFacets { capacity } => {
                write!(f, "the attainable set has more than {capacity} facets; size the mixer with facet_capacity")
            }
        }
    }
}

impl core::error::Error for GeometryError {}
