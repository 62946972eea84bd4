//! What is said over the link, and by whom.
//!
//! The order of the fields and of the variants is the format: adding, removing or moving one raises
//! [`super::PROTOCOL`]. [`Hello`], [`Welcome`] and [`Refusal::Protocol`] never change, so that two
//! ends of different versions can say so.

use evenkeel_mixer::{RotorSet, Scalar};
use heapless::{String, Vec};
use serde::{Deserialize, Serialize};

use crate::estimate::InertialSample;
use crate::flight_computer::{FlightState, FlightStep, PilotDemand, Sample};
use crate::link::Fingerprint;
use crate::quaternion::Quaternion;
use crate::setpoint::BodyAxes;

/// Longest craft name that a board tells, bytes; longer ones are cut.
pub const NAME_MAX: usize = 32;
/// A craft's name as far as it fits.
pub type CraftName = String<NAME_MAX>;

/// From the host.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum ToBoard<S, const N: usize> {
    /// Who is there? Ends what ran before.
    Hello(Hello),
    /// Begin a flight.
    Begin(Begin<S>),
    /// Lock-step: one sample, to be answered by one [`FromBoard::Record`].
    Step(StepRequest<S, N>),
    /// Free-running: what the pilot asks. The board stamps it when it comes; its own time is not read.
    Demand(PilotDemand<S>),
    /// End the flight: rotors off, everything forgotten.
    End,
}

/// From the board.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum FromBoard<S, const N: usize> {
    /// Answers [`ToBoard::Hello`].
    Welcome(Welcome),
    /// Cannot, and why.
    Refused(Refusal),
    /// Answers [`ToBoard::Begin`].
    Begun,
    /// Lock-step: answers [`ToBoard::Step`]. Free-running: one in [`Mode::FreeRunning`]'s count.
    Record(Record<S, N>),
    /// Answers [`ToBoard::End`].
    Ended,
}

/// The first message.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Hello {
    /// The host's [`super::PROTOCOL`].
    pub protocol: u16,
}

/// What the board is.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Welcome {
    /// The board's [`super::PROTOCOL`].
    pub protocol: u16,
    /// The arithmetic it flies with.
    pub arithmetic: Arithmetic,
    /// Rotors of its craft.
    pub rotors: u8,
    /// What tells its craft from others.
    pub fingerprint: Fingerprint,
    /// The craft's name.
    pub name: CraftName,
}

/// The arithmetic of the numbers on the wire.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Arithmetic {
    /// IEEE-754 single precision, 4 bytes, lowest first.
    F32,
    /// Signed fixed point, 32 bits before the point and 32 behind, as a zigzag varint of up to 10 bytes.
    Fixed,
}

/// How a flight begins.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Begin<S> {
    /// The craft the host means. Another one is refused.
    pub fingerprint: Fingerprint,
    /// Whose clock and sensors.
    pub mode: Mode,
    /// Where it begins.
    pub start: Start<S>,
}

/// Whose clock and sensors drive the steps.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Mode {
    /// The host's: each [`ToBoard::Step`] is one step. The rotors stay off, whatever the commands.
    LockStep,
    /// The board's own. The rotors turn when armed.
    FreeRunning {
        /// One record in this many steps is sent; 0 sends none.
        steps_per_record: u16,
    },
}

/// Where a flight begins.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub enum Start<S> {
    /// As after power-up: disarmed, not aligned. The only one in free-running.
    PowerUp,
    /// See [`FlightState::in_flight`].
    InFlight {
        /// Body to world.
        attitude: Quaternion<S>,
        /// Body rates as the gyro shows them, its bias included.
        rate_rad_s: BodyAxes<S>,
        /// Bias of the gyro as alignment found it.
        gyro_bias_rad_s: BodyAxes<S>,
    },
    /// See [`FlightState::on_the_ground_armed`].
    OnTheGroundArmed {
        /// Body to world.
        attitude: Quaternion<S>,
        /// Bias of the gyro as alignment found it.
        gyro_bias_rad_s: BodyAxes<S>,
    },
}

impl<S: Scalar> Start<S> {
    /// The memory of a flight computer that begins so.
    pub fn state<const N: usize>(self) -> FlightState<S, N> {
        match self {
            Start::PowerUp => FlightState::default(),
            Start::InFlight { attitude, rate_rad_s, gyro_bias_rad_s } => {
                FlightState::in_flight(attitude, rate_rad_s).knowing_bias(gyro_bias_rad_s)
            }
            Start::OnTheGroundArmed { attitude, gyro_bias_rad_s } => {
                FlightState::on_the_ground_armed(attitude).knowing_bias(gyro_bias_rad_s)
            }
        }
    }
}

/// One sample and what the pilot asks. Units and meaning of each field as in [`Sample`] and [`PilotDemand`].
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct StepRequest<S, const N: usize> {
    /// Counts the steps of a flight from 0; the answer carries it back.
    pub number: u32,
    /// Now, microseconds.
    pub now_us: u64,
    /// When the inertial sample was taken.
    pub sensed_at_us: Option<u64>,
    /// Gyro, accelerometer, heading.
    pub inertial: InertialSample<S>,
    /// Speed of each rotor, rad/s.
    pub rotor_speeds_rad_s: Vec<S, N>,
    /// Rotors reported stopped, a bit each, the first rotor's the lowest.
    pub stopped_rotors: RotorSet,
    /// Whether the craft stands on the ground.
    pub on_ground: Option<bool>,
    /// Charge left, 0 to 1.
    pub battery_share: Option<S>,
    /// Supply voltage over that of a full battery.
    pub voltage_share: Option<S>,
    /// Vertical speed, up positive, m/s.
    pub climb_m_s: Option<S>,
    /// What the pilot asks.
    pub pilot: PilotDemand<S>,
}

impl<S: Scalar, const N: usize> StepRequest<S, N> {
    /// For a craft of this many rotors, of which a sample may have room for more.
    pub fn new(number: u32, rotors: usize, sample: &Sample<S, N>, pilot: &PilotDemand<S>) -> Self {
        let mut rotor_speeds_rad_s = Vec::new();
        for speed in sample.rotor_speeds_rad_s.iter().take(rotors) {
            // As many as there is room for at most.
            let _ = rotor_speeds_rad_s.push(*speed);
        }
        StepRequest {
            number,
            now_us: sample.now_us,
            sensed_at_us: sample.sensed_at_us,
            inertial: sample.inertial,
            rotor_speeds_rad_s,
            stopped_rotors: sample.stopped_rotors,
            on_ground: sample.on_ground,
            battery_share: sample.battery_share,
            voltage_share: sample.voltage_share,
            climb_m_s: sample.climb_m_s,
            pilot: *pilot,
        }
    }

    /// The sample in it; speeds that are missing are not known, zero.
    pub fn sample(&self) -> Sample<S, N> {
        let mut rotor_speeds_rad_s = [S::ZERO; N];
        for (slot, speed) in rotor_speeds_rad_s.iter_mut().zip(&self.rotor_speeds_rad_s) {
            *slot = *speed;
        }
        Sample {
            now_us: self.now_us,
            sensed_at_us: self.sensed_at_us,
            inertial: self.inertial,
            rotor_speeds_rad_s,
            stopped_rotors: self.stopped_rotors,
            on_ground: self.on_ground,
            battery_share: self.battery_share,
            voltage_share: self.voltage_share,
            climb_m_s: self.climb_m_s,
        }
    }
}

/// Every signal of one step.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Record<S, const N: usize> {
    /// The request's number in lock-step; else steps since the flight began.
    pub number: u32,
    /// The signals.
    pub step: FlightStep<S, N>,
}

/// Why the board does not do what it was asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Refusal {
    /// It speaks another version.
    Protocol {
        /// The board's.
        board: u16,
    },
    /// It has another craft.
    Craft {
        /// The board's.
        board: Fingerprint,
    },
    /// A step or a demand, and no flight of that mode has begun.
    NotBegun,
    /// Free-running begins at power-up and nowhere else: a craft on the bench does not fly.
    Start,
    /// A frame that cannot be read: damaged, too long, or no message.
    Unreadable,
}
