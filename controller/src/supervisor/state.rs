//! The states of the supervisor, and what the loops may do in each.

use core::fmt;

/// Where the craft stands.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum State {
    /// Motors off, waiting to be armed.
    #[default]
    Disarmed,
    /// Armed on the ground: rotors at their floors.
    Standing,
    /// The pilot flies.
    Flying,
    /// The link is silent: level, and down. The pilot gets the craft back when the link does.
    LinkLost,
    /// At fault with sensors that work: level, and down. Until disarmed.
    FaultDescent,
    /// At fault without sensors: thrust below the weight, no torque, for a moment. Until disarmed.
    FaultBlind,
    /// At fault, motors off. Until disarmed.
    FaultStopped,
}

impl State {
    /// Every state.
    pub const ALL: [State; 7] = [
        State::Disarmed,
        State::Standing,
        State::Flying,
        State::LinkLost,
        State::FaultDescent,
        State::FaultBlind,
        State::FaultStopped,
    ];

    /// One of the fault states: only disarming ends them.
    pub const fn is_fault(self) -> bool {
        matches!(self, State::FaultDescent | State::FaultBlind | State::FaultStopped)
    }

    /// On the way down without the pilot.
    pub const fn is_descent(self) -> bool {
        matches!(self, State::LinkLost | State::FaultDescent | State::FaultBlind)
    }

    /// What the loops may do.
    ///
    /// * Input: the thrust of a descent, newtons
    pub fn permission<S>(self, descent_thrust_n: S) -> Permission<S> {
        match self {
            State::Disarmed | State::FaultStopped => Permission::MotorsOff,
            State::Standing => Permission::RotorsAtFloor,
            State::Flying => Permission::PilotDemand,
            State::LinkLost | State::FaultDescent => Permission::LevelDescent { thrust_n: descent_thrust_n },
            State::FaultBlind => Permission::BlindDescent { thrust_n: descent_thrust_n },
        }
    }
}

impl fmt::Display for State {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            State::Disarmed => "disarmed",
            State::Standing => "standing",
            State::Flying => "flying",
            State::LinkLost => "link lost",
            State::FaultDescent => "fault, descent",
            State::FaultBlind => "fault, blind",
            State::FaultStopped => "fault, stopped",
        })
    }
}

/// What the loops may do in this step.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Permission<S> {
    /// Every command zero.
    MotorsOff,
    /// Every rotor at its floor, no torque.
    RotorsAtFloor,
    /// What the pilot demands.
    PilotDemand,
    /// Level attitude, no yaw rate, this thrust.
    LevelDescent {
        /// Along body −z, newtons.
        thrust_n: S,
    },
    /// No torque, this thrust: nothing is known of attitude and rate.
    BlindDescent {
        /// Along body −z, newtons.
        thrust_n: S,
    },
}

impl<S> Permission<S> {
    /// Whether any rotor may turn.
    pub const fn motors_on(&self) -> bool {
        !matches!(self, Permission::MotorsOff)
    }
}

impl<S> fmt::Display for Permission<S> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Permission::MotorsOff => "motors off",
            Permission::RotorsAtFloor => "rotors at floor",
            Permission::PilotDemand => "pilot's demand",
            Permission::LevelDescent { .. } => "level, descend",
            Permission::BlindDescent { .. } => "no torque, descend",
        })
    }
}
