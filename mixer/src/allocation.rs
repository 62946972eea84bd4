//! What one allocation gave: rotor thrusts, the wrench they make, and what fell short.

use heapless::Vec;

use crate::scalar::Scalar;
use crate::wrench::Wrench;

/// Whether a rotor stands at one of its limits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum RotorLimit {
    /// Between floor and ceiling.
    None,
    /// At the slowest safe spin.
    Floor,
    /// At full thrust.
    Ceiling,
}

/// The mixer's answer to one demand.
#[derive(Clone, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Allocation<S, const N: usize> {
    /// The demand as it was understood: what was not finite is zero here.
    pub demand: Wrench<S>,
    /// What the rotor thrusts add up to.
    pub achieved: Wrench<S>,
    /// Thrust of each rotor, newtons, always within its limits.
    pub thrusts_n: Vec<S, N>,
    /// Limit state of each rotor.
    pub limits: Vec<RotorLimit, N>,
    /// The most important tier that could not be met, counted from 0; none when the demand is met.
    pub gave_way: Option<u8>,
    /// The demand held a value that was not finite, or a thrust below zero.
    pub invalid_demand: bool,
    /// Newton passes of the rotor thrusts' least squares.
    pub passes: u8,
}

impl<S: Scalar, const N: usize> Allocation<S, N> {
    /// Whether any axis fell short.
    pub fn saturated(&self) -> bool {
        self.gave_way.is_some()
    }

    /// Demand less what was achieved.
    pub fn unmet(&self) -> Wrench<S> {
        Wrench {
            thrust_n: self.demand.thrust_n - self.achieved.thrust_n,
            roll_nm: self.demand.roll_nm - self.achieved.roll_nm,
            pitch_nm: self.demand.pitch_nm - self.achieved.pitch_nm,
            yaw_nm: self.demand.yaw_nm - self.achieved.yaw_nm,
        }
    }
}
