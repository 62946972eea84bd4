//! The flying code on this machine, and what any flight computer knows when a flight begins.

use evenkeel_controller::link::Start;
use evenkeel_controller::{FlightComputer, FlightState, FlightStep, PilotDemand, Sample};
use evenkeel_mixer::Scalar;

use super::alignment::Aligned;
use crate::attitude;
use crate::craft::{Craft, MAX_ROTORS};
use crate::onboard::{CraftMixer, Onboard};
use crate::script::Flight;

/// A start higher than this is a start in flight: the rotors already carry the weight.
pub const IN_FLIGHT_M: f64 = 0.05;

/// As the flight says. Unless the computer has just been switched on it has aligned on the ground before: it begins with
/// the true attitude and the gyro's bias as the craft's own sensors let it know them.
pub fn start_of<S: Scalar>(craft: &Craft, onboard: &Onboard<S>, flight: &Flight) -> Start<S> {
    let initial = &flight.initial;
    if initial.power_up {
        return Start::PowerUp;
    }
    let aligned = Aligned::on_the_ground(craft, onboard, flight.world.gravity_m_s2);
    let attitude = aligned.attitude(&attitude::from_euler_rad(initial.attitude_rad));
    let gyro_bias_rad_s = aligned.bias_rad_s();
    if -initial.position_m[2] > IN_FLIGHT_M {
        let rate_rad_s = aligned.gyro_rad_s(initial.rate_rad_s);
        Start::InFlight { attitude, rate_rad_s, gyro_bias_rad_s }
    } else {
        Start::OnTheGroundArmed { attitude, gyro_bias_rad_s }
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
