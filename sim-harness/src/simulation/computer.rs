//! The flying code on this machine, and what any flight computer knows when a flight begins.

use evenkeel_controller::link::Start;
use evenkeel_controller::{BodyAxes, FlightComputer, FlightState, FlightStep, PilotDemand, Quaternion, Sample};
use evenkeel_mixer::Scalar;

use crate::attitude;
use crate::craft::MAX_ROTORS;
use crate::onboard::{CraftMixer, Onboard};
use crate::script::Flight;

/// A start higher than this is a start in flight: the rotors already carry the weight.
pub const IN_FLIGHT_M: f64 = 0.05;

/// As the flight says; the estimate begins at the true attitude unless the computer has just been switched on.
pub fn start_of<S: Scalar>(flight: &Flight) -> Start<S> {
    let initial = &flight.initial;
    let truth = attitude::components(&attitude::from_euler_rad(initial.attitude_rad));
    let attitude = Quaternion::from_array(truth.map(S::from_f64));
    if initial.power_up {
        Start::PowerUp
    } else if -initial.position_m[2] > IN_FLIGHT_M {
        Start::InFlight { attitude, rate_rad_s: BodyAxes::from_array(initial.rate_rad_s.map(S::from_f64)) }
    } else {
        Start::OnTheGroundArmed { attitude }
    }
}

/// The flying code on this machine.
#[derive(Clone, Debug)]
pub struct HostComputer<S: Scalar> {
    computer: FlightComputer<S>,
    mixer: CraftMixer<S>,
    state: FlightState<S, MAX_ROTORS>,
}

impl<S: Scalar> HostComputer<S> {
    /// The craft's flying code at the start of a flight.
    pub fn new(onboard: &Onboard<S>, start: Start<S>) -> Self {
        HostComputer { computer: onboard.computer.clone(), mixer: onboard.mixer.clone(), state: start.state() }
    }

    /// One sample; the code of this machine always answers.
    pub fn step(&mut self, sample: &Sample<S, MAX_ROTORS>, pilot: &PilotDemand<S>) -> FlightStep<S, MAX_ROTORS> {
        self.computer.step(&mut self.state, sample, pilot, &mut self.mixer)
    }
}
