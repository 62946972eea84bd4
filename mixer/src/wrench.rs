//! The wrench: one force and three torques, what the floors of the house hand each other.
//!
//! Body axes x forward, y right, z down (ISO 1151-1), torques about the centre of mass, thrust along
//! −z. Units: newtons and newton metres.

/// One axis of a [`Wrench`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Axis {
    /// Force along body −z.
    Thrust,
    /// Torque about body x, right side down positive.
    Roll,
    /// Torque about body y, nose up positive.
    Pitch,
    /// Torque about body z, nose right positive.
    Yaw,
}

impl Axis {
    /// Every axis, in the order of a wrench's components.
    pub const ALL: [Axis; 4] = [Axis::Thrust, Axis::Roll, Axis::Pitch, Axis::Yaw];

    /// Place in a wrench's components.
    pub const fn index(self) -> usize {
        self as usize
    }
}

/// Thrust and torque, demanded or achieved.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Wrench<S> {
    /// Force along body −z.
    pub thrust_n: S,
    /// Torque about body x, right side down positive.
    pub roll_nm: S,
    /// Torque about body y, nose up positive.
    pub pitch_nm: S,
    /// Torque about body z, nose right positive.
    pub yaw_nm: S,
}

impl<S> Wrench<S> {
    /// From components in the order thrust, roll, pitch, yaw.
    pub fn from_array([thrust_n, roll_nm, pitch_nm, yaw_nm]: [S; 4]) -> Self {
        Wrench { thrust_n, roll_nm, pitch_nm, yaw_nm }
    }

    /// Components in the order thrust, roll, pitch, yaw.
    pub fn to_array(self) -> [S; 4] {
        [self.thrust_n, self.roll_nm, self.pitch_nm, self.yaw_nm]
    }
}

impl core::fmt::Display for Axis {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Axis::Thrust => "thrust",
            Axis::Roll => "roll",
            Axis::Pitch => "pitch",
            Axis::Yaw => "yaw",
        })
    }
}
