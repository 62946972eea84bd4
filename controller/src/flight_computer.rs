//! Everything between the sensors and the rotors in one call: filters, attitude estimate, supervisor,
//! control loops, mixer.
//!
//! ```text
//! gyro ─► gyro filter ─► less bias ─────────────┐
//! gyro, accelerometer, heading ─► estimate ─┬─► Sensed ─► Controller::step ─► commands
//! link, ground, battery ─► supervisor ◄─────┘      ▲
//!                              └─ Permission ─► Setpoint (pilot's, level, or none)
//! ```
//!
//! [`Controller::step`] alone serves boards that have an attitude already; this is the whole of it.

use core::fmt;

use evenkeel_mixer::{Mixer, Scalar};
use heapless::Vec;

use crate::controller::{Controller, ControllerConfig, ControllerError, ControllerState, Sensed, Step};
use crate::estimate::{
    Alignment, AttitudeEstimator, AttitudeEstimatorConfig, AttitudeEstimatorError, AttitudeEstimatorState, Estimate,
    InertialSample,
};
use crate::filter::{GyroFilter, GyroFilterConfig, GyroFilterError, GyroFilterState};
use crate::quaternion::Quaternion;
use crate::setpoint::{BodyAxes, Motion, Motors, Setpoint};
use crate::supervisor::{
    Decision, Permission, Supervisor, SupervisorConfig, SupervisorError, SupervisorInput, SupervisorState,
};

/// All the blocks, human side.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FlightComputerConfig {
    /// Between gyro and rate loop.
    pub gyro_filter: GyroFilterConfig,
    /// Attitude from gyro and accelerometer.
    pub estimator: AttitudeEstimatorConfig,
    /// What the craft may do.
    pub supervisor: SupervisorConfig,
    /// The loops.
    pub controller: ControllerConfig,
}

/// Which block refused its configuration.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum FlightComputerError {
    /// The gyro filter.
    GyroFilter(GyroFilterError),
    /// The attitude estimate.
    Estimator(AttitudeEstimatorError),
    /// The supervisor.
    Supervisor(SupervisorError),
    /// The control loops.
    Controller(ControllerError),
}

impl fmt::Display for FlightComputerError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            FlightComputerError::GyroFilter(cause) => cause.fmt(f),
            FlightComputerError::Estimator(cause) => write!(f, "attitude estimate: {cause}"),
            FlightComputerError::Supervisor(cause) => write!(f, "supervisor: {cause}"),
            FlightComputerError::Controller(cause) => cause.fmt(f),
        }
    }
}

impl core::error::Error for FlightComputerError {}

/// What the board measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sample<S, const N: usize> {
    /// Now, microseconds of a clock that only runs forward.
    pub now_us: u64,
    /// When the inertial sample was taken; none before the first.
    pub sensed_at_us: Option<u64>,
    /// Gyro, accelerometer, heading.
    pub inertial: InertialSample<S>,
    /// Speed of each rotor, for the notches; zero where it is not known.
    pub rotor_speeds_rad_s: [S; N],
    /// Whether the craft stands on the ground; none when nothing on board can tell.
    pub on_ground: Option<bool>,
    /// Charge left, 0 to 1; none when it is not measured.
    pub battery_share: Option<S>,
}

/// What came over the link.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PilotDemand<S> {
    /// When it was received; none before the first.
    pub at_us: Option<u64>,
    /// The arm request, a level.
    pub arm: bool,
    /// Disarms at once, whatever else holds.
    pub disarm: bool,
    /// Along body −z, newtons.
    pub thrust_n: S,
    /// Tilt and heading, or body rates.
    pub motion: Motion<S>,
}

/// Every signal of one step.
#[derive(Clone, Debug, PartialEq)]
pub struct FlightStep<S, const N: usize> {
    /// Attitude, bias and what they rest on.
    pub estimate: Estimate<S>,
    /// Filtered body rates less bias, as the rate loop saw them.
    pub rate_rad_s: BodyAxes<S>,
    /// What the supervisor decided, and why.
    pub decision: Decision<S>,
    /// The loops' and the mixer's signals; none while the last commands are held.
    pub control: Option<Step<S, N>>,
    /// Command to each rotor, 0 to 1.
    pub commands: Vec<S, N>,
}

/// All the blocks, validated.
#[derive(Clone, Debug, PartialEq)]
pub struct FlightComputer<S> {
    gyro_filter: GyroFilter<S>,
    estimator: AttitudeEstimator<S>,
    supervisor: Supervisor<S>,
    controller: Controller<S>,
}

/// What all the blocks remember.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FlightState<S: Scalar, const N: usize> {
    gyro_filter: GyroFilterState<S, N>,
    estimator: AttitudeEstimatorState<S>,
    supervisor: SupervisorState,
    controller: ControllerState<S>,
    commands: Vec<S, N>,
}

impl<S: Scalar, const N: usize> FlightState<S, N> {
    /// Forgets everything: disarmed, not aligned.
    pub fn reset(&mut self) {
        *self = Self::default();
    }
}

impl<S: Scalar> FlightComputer<S> {
    /// Checks every block and quantises.
    ///
    /// # Errors
    /// The first block whose configuration makes no sense.
    pub fn new(config: &FlightComputerConfig) -> Result<Self, FlightComputerError> {
        let period_s = config.controller.period_s;
        Ok(FlightComputer {
            gyro_filter: GyroFilter::new(&config.gyro_filter, period_s).map_err(FlightComputerError::GyroFilter)?,
            estimator: AttitudeEstimator::new(&config.estimator, period_s).map_err(FlightComputerError::Estimator)?,
            supervisor: Supervisor::new(&config.supervisor).map_err(FlightComputerError::Supervisor)?,
            controller: Controller::new(&config.controller).map_err(FlightComputerError::Controller)?,
        })
    }

    /// One sample; never fails, whatever comes in.
    pub fn step<const N: usize, const F: usize, const P: usize>(
        &self,
        state: &mut FlightState<S, N>,
        sample: &Sample<S, N>,
        pilot: &PilotDemand<S>,
        mixer: &Mixer<S, N, F, P>,
    ) -> FlightStep<S, N> {
        let gyro = sample.inertial.gyro_rad_s;
        let filtered = self.gyro_filter.step(&mut state.gyro_filter, gyro, &sample.rotor_speeds_rad_s);
        let estimate = self.estimator.step(&mut state.estimator, &sample.inertial);
        let rate_rad_s = less(filtered.rate_rad_s, estimate.bias_rad_s);
        let whole = !(filtered.held || estimate.status.gyro_faulty || estimate.status.accelerometer_faulty);
        let input = SupervisorInput {
            now_us: sample.now_us,
            arm_request: pilot.arm,
            disarm: pilot.disarm,
            demand_at_us: pilot.at_us,
            thrust_n: pilot.thrust_n,
            sensed_at_us: sample.sensed_at_us,
            sensors_finite: whole,
            cos_tilt: cos_tilt(estimate.attitude),
            rate_rad_s: size(rate_rad_s),
            on_ground: sample.on_ground,
            battery_share: sample.battery_share,
            configuration_valid: true,
            attitude_known: estimate.status.alignment == Alignment::Aligned,
        };
        let decision = self.supervisor.step(&mut state.supervisor, &input);
        let mut answer = FlightStep { estimate, rate_rad_s, decision, control: None, commands: Vec::new() };
        if decision.hold && runs_the_loops(decision.permission) {
            answer.commands.clone_from(&state.commands);
            return answer;
        }
        let sensed = Sensed { attitude: estimate.attitude, rate_rad_s };
        let setpoint = permitted(decision.permission, pilot, sample.on_ground == Some(true));
        let control = match decision.permission {
            Permission::BlindDescent { thrust_n } => self.controller.step_blind(&mut state.controller, thrust_n, mixer),
            _ => self.controller.step(&mut state.controller, &sensed, &setpoint, mixer),
        };
        state.commands.clone_from(&control.commands);
        answer.commands.clone_from(&control.commands);
        answer.control = Some(control);
        answer
    }
}

/// Whether the loops hold the attitude under this permission.
fn runs_the_loops<S>(permission: Permission<S>) -> bool {
    matches!(permission, Permission::PilotDemand | Permission::LevelDescent { .. })
}

/// What the loops are asked for under this permission.
fn permitted<S: Scalar>(permission: Permission<S>, pilot: &PilotDemand<S>, on_ground: bool) -> Setpoint<S> {
    let flying = if on_ground { Motors::Grounded } else { Motors::Flying };
    let level = |motors, thrust_n| Setpoint { motors, thrust_n, motion: Motion::LEVEL };
    match permission {
        Permission::MotorsOff => Setpoint::DISARMED,
        Permission::RotorsAtFloor => level(Motors::Idle, S::ZERO),
        Permission::PilotDemand => Setpoint { motors: flying, thrust_n: pilot.thrust_n, motion: pilot.motion },
        Permission::LevelDescent { thrust_n } | Permission::BlindDescent { thrust_n } => level(flying, thrust_n),
    }
}

fn less<S: Scalar>(a: BodyAxes<S>, b: BodyAxes<S>) -> BodyAxes<S> {
    BodyAxes { roll: a.roll - b.roll, pitch: a.pitch - b.pitch, yaw: a.yaw - b.yaw }
}

fn size<S: Scalar>(v: BodyAxes<S>) -> S {
    (v.roll * v.roll + v.pitch * v.pitch + v.yaw * v.yaw).sqrt()
}

fn cos_tilt<S: Scalar>(attitude: Quaternion<S>) -> S {
    let [_, _, down] = attitude.down_in_body();
    down
}
