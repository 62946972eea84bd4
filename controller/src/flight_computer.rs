//! Everything between the sensors and the rotors in one call: filters, attitude estimate, supervisor,
//! control loops, mixer.
//!
//! ```text
//! gyro ─► gyro filter ─► less bias ─────────────┐
//! gyro, accelerometer, heading ─► estimate ─┬─► Sensed ─► Controller::step ─► commands
//! link, ground, battery ─► supervisor ◄─────┘      ▲
//! rotors reported stopped ─┬─► ┘ └─ Permission ─► Setpoint (pilot's, level, or none)
//!                          └─► mixer: does without them
//! ```
//!
//! [`Controller::step`] alone serves boards that have an attitude already; this is the whole of it.

use core::fmt;

use evenkeel_mixer::{Mixer, RotorSet, Scalar};
use heapless::Vec;

use crate::battery::{Battery, BatteryConfig, BatteryError, BatteryState};
use crate::controller::{
    Asked, Controller, ControllerConfig, ControllerError, ControllerState, Decided, Step, of_rotors,
};
use crate::descent::{Descent, DescentConfig, DescentError, DescentState};
use crate::estimate::{
    Alignment, AttitudeEstimator, AttitudeEstimatorConfig, AttitudeEstimatorError, AttitudeEstimatorState, Estimate,
    InertialSample,
};
use crate::filter::{GyroFilter, GyroFilterConfig, GyroFilterError, GyroFilterState};
use crate::missed_periods::{MissedPeriods, MissedPeriodsState};
use crate::passed_over::PassedOver;
use crate::quaternion::Quaternion;
use crate::rotor_reports::{RotorReports, RotorReportsConfig, RotorReportsError, RotorReportsState};
use crate::setpoint::{BodyAxes, Motion, Motors};
use crate::supervisor::{
    Decision, InTime, Permission, State, Supervisor, SupervisorConfig, SupervisorError, SupervisorInput,
    SupervisorState,
};

/// All the blocks, human side.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct FlightComputerConfig {
    /// Between gyro and rate loop.
    pub gyro_filter: GyroFilterConfig,
    /// Attitude from gyro and accelerometer.
    pub estimator: AttitudeEstimatorConfig,
    /// What the craft may do.
    pub supervisor: SupervisorConfig,
    /// The loops.
    pub controller: ControllerConfig,
    /// How thrust keeps its size while the battery sags.
    pub battery: BatteryConfig,
    /// How the craft comes down without a pilot.
    pub descent: DescentConfig,
    /// When a rotor that is reported stopped counts as failed.
    pub rotor_reports: RotorReportsConfig,
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
    /// The battery compensation.
    Battery(BatteryError),
    /// The descent.
    Descent(DescentError),
    /// The reports of stopped rotors.
    RotorReports(RotorReportsError),
}

impl fmt::Display for FlightComputerError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            FlightComputerError::GyroFilter(cause) => cause.fmt(f),
            FlightComputerError::Estimator(cause) => write!(f, "attitude estimate: {cause}"),
            FlightComputerError::Supervisor(cause) => write!(f, "supervisor: {cause}"),
            FlightComputerError::Controller(cause) => cause.fmt(f),
            FlightComputerError::Battery(cause) => write!(f, "battery: {cause}"),
            FlightComputerError::Descent(cause) => write!(f, "descent: {cause}"),
            FlightComputerError::RotorReports(cause) => write!(f, "reports of stopped rotors: {cause}"),
        }
    }
}

impl core::error::Error for FlightComputerError {}

/// What the board measured.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Sample<S, const N: usize> {
    /// Now, microseconds of a clock that only runs forward.
    pub now_us: u64,
    /// When the inertial sample was taken; none before the first.
    pub sensed_at_us: Option<u64>,
    /// Gyro, accelerometer, heading.
    pub inertial: InertialSample<S>,
    /// Speed of each rotor, for the notches; zero where it is not known.
    #[cfg_attr(feature = "serde", serde(with = "crate::sequence"))]
    pub rotor_speeds_rad_s: [S; N],
    /// Rotors that have stopped or do not obey, by a fault that the motor electronics report or by a measured speed far
    /// below the one commanded. A rotor that merely does not turn because it was not told to is not among them. Empty
    /// when nothing on board can tell.
    pub stopped_rotors: RotorSet,
    /// Whether the craft stands on the ground; none when nothing on board can tell.
    pub on_ground: Option<bool>,
    /// Charge left, 0 to 1; none when it is not measured.
    pub battery_share: Option<S>,
    /// Supply voltage over that of a full battery; none when it is not measured.
    pub voltage_share: Option<S>,
    /// Vertical speed, up positive; none when nothing on board can tell.
    pub climb_m_s: Option<S>,
}

/// What came over the link.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
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
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
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
    /// Rotor ceilings as a share of those on a full battery, as the mixer has them.
    pub ceiling_share: S,
    /// Rotors that count as stopped: the mixer does without them. While disarmed: those that are reported.
    pub stopped_rotors: RotorSet,
    /// What was given and is not to be believed.
    pub passed_over: PassedOver,
}

/// All the blocks, validated.
#[derive(Clone, Debug, PartialEq)]
pub struct FlightComputer<S> {
    gyro_filter: GyroFilter<S>,
    estimator: AttitudeEstimator<S>,
    supervisor: Supervisor<S>,
    controller: Controller<S>,
    battery: Battery<S>,
    descent: Descent<S>,
    rotor_reports: RotorReports,
    missed_periods: MissedPeriods,
}

/// What all the blocks remember.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FlightState<S: Scalar, const N: usize> {
    gyro_filter: GyroFilterState<S, N>,
    estimator: AttitudeEstimatorState<S>,
    supervisor: SupervisorState,
    controller: ControllerState<S>,
    battery: BatteryState<S>,
    descent: DescentState<S>,
    rotor_reports: RotorReportsState,
    missed_periods: MissedPeriodsState,
    /// The last; none before the first.
    commands: Option<[S; N]>,
}

impl<S: Scalar, const N: usize> FlightState<S, N> {
    /// Forgets everything: disarmed, not aligned.
    pub fn reset(&mut self) {
        *self = Self::default();
    }

    /// Begins in flight, the pilot in command: the estimate stands at this attitude with no bias
    /// ([`FlightState::knowing_bias`]), the filters at these rates as the gyro shows them. A simulation may begin so, or a
    /// computer that restarted in the air and was told the rest.
    ///
    /// The link must be alive and the arm request on from the first step, or the supervisor acts on it. What is no
    /// attitude is aligned as at power-up, which never ends in flight.
    pub fn in_flight(attitude: Quaternion<S>, rate_rad_s: BodyAxes<S>) -> Self {
        let mut state = Self { supervisor: SupervisorState::flying(), ..Self::default() };
        state.estimator.restart_at(attitude);
        state.gyro_filter.reset_to(rate_rad_s);
        state
    }

    /// Begins armed, standing on the ground at this attitude: the next thrust demand that is not low takes off.
    /// As with [`FlightState::in_flight`], the link must be alive and the arm request on.
    pub fn on_the_ground_armed(attitude: Quaternion<S>) -> Self {
        let mut state = Self { supervisor: SupervisorState::standing(), ..Self::default() };
        state.estimator.restart_at(attitude);
        state
    }

    /// Knows the gyro's bias from the start, as after an alignment. What is not finite is taken as zero.
    #[must_use]
    pub fn knowing_bias(mut self, bias_rad_s: BodyAxes<S>) -> Self {
        self.estimator.know_bias(bias_rad_s);
        self
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
            battery: Battery::new(&config.battery, period_s).map_err(FlightComputerError::Battery)?,
            descent: Descent::new(&config.descent, config.supervisor.hover_thrust_n, period_s)
                .map_err(FlightComputerError::Descent)?,
            rotor_reports: RotorReports::new(&config.rotor_reports, period_s)
                .map_err(FlightComputerError::RotorReports)?,
            missed_periods: MissedPeriods::new(period_s, config.supervisor.samples.gap_max_s),
        })
    }

    /// One sample; never fails, whatever comes in.
    pub fn step<const N: usize, const F: usize, const P: usize>(
        &self,
        state: &mut FlightState<S, N>,
        sample: &Sample<S, N>,
        pilot: &PilotDemand<S>,
        mixer: &mut Mixer<S, N, F, P>,
    ) -> FlightStep<S, N> {
        let in_time = self.supervisor.in_time(&mut state.supervisor, sample.now_us, pilot.at_us, sample.sensed_at_us);
        let missed = self.missed_periods.step(&mut state.missed_periods, sample.now_us, sample.sensed_at_us);
        let gyro = sample.inertial.gyro_rad_s;
        let filtered = self.gyro_filter.step(&mut state.gyro_filter, gyro, &sample.rotor_speeds_rad_s);
        if missed != 0 {
            self.estimator.bridge(&mut state.estimator, &sample.inertial, missed);
        }
        let estimate = self.estimator.step(&mut state.estimator, &sample.inertial);
        let rate_rad_s = less(filtered.rate_rad_s, estimate.bias_rad_s);
        let whole = !(filtered.held || estimate.status.gyro_faulty || estimate.status.accelerometer_faulty);
        let disarmed = state.supervisor.state() == State::Disarmed;
        let rotors = self.rotor_reports.step(&mut state.rotor_reports, sample.stopped_rotors, disarmed, mixer);
        let rotor_stopped = !rotors.stopped.is_empty();
        // At most one new plan of the mixer a step: a rotor's comes first.
        if !rotors.mixer_changed {
            self.battery.step(&mut state.battery, sample.voltage_share, mixer);
        }
        let (ceiling_share, stopped_rotors) = (state.battery.ceiling_share(), rotors.stopped);
        let passed_over = PassedOver::of(sample, pilot, rotors.passed_over);
        // Put together where it is asked for, so that the usual step need not put it into memory.
        let found = || Found { estimate: &estimate, rate_rad_s, whole, rotor_stopped };
        let mut decision = match self.supervisor.quiet(&mut state.supervisor, in_time, &found().with(sample, pilot)) {
            Some(decision) => decision,
            None => self.look(&mut state.supervisor, in_time, found(), sample, pilot),
        };
        match &mut decision.permission {
            Permission::LevelDescent { thrust_n } => {
                *thrust_n = self.descent.step(&mut state.descent, sample.climb_m_s, *thrust_n);
            }
            _ => state.descent.reset(),
        }
        let known = || Known {
            estimate: &estimate,
            rate_rad_s,
            decision: &decision,
            ceiling_share,
            stopped_rotors,
            passed_over,
        };
        // Before the first commands there is nothing to hold.
        if decision.hold
            && runs_the_loops(decision.permission)
            && let Some(held) = state.commands
        {
            return known().with(None, held, mixer.rotors());
        }
        let loops = &mut state.controller;
        let decided = match decision.permission {
            Permission::BlindDescent { thrust_n } => self.controller.decide_blind(loops, thrust_n),
            _ => {
                let asked = permitted(decision.permission, pilot, passed_over.demand, sample.on_ground);
                self.controller.decide_at(loops, Some(estimate.attitude), rate_rad_s, asked)
            }
        };
        match mixer.thrusts_off_the_limits(&decided.demand) {
            Some(thrusts_n) => {
                let allocation = mixer.met(decided.demand, thrusts_n);
                let (control, commands) = self.controller.conclude(loops, &decided, allocation, &thrusts_n, mixer);
                state.commands = Some(commands);
                known().with(Some(control), commands, mixer.rotors())
            }
            None => self.end_at_the_limits(state, known(), decided, mixer),
        }
    }
}

impl<S: Scalar> FlightComputer<S> {
    /// The supervisor's whole look. Its input is put together here, and not in every step.
    #[cold]
    #[inline(never)]
    fn look<const N: usize>(
        &self,
        memory: &mut SupervisorState,
        in_time: Option<InTime>,
        found: Found<'_, S>,
        sample: &Sample<S, N>,
        pilot: &PilotDemand<S>,
    ) -> Decision<S> {
        self.supervisor.look(memory, in_time, &found.with(sample, pilot))
    }

    /// The end of a step whose demand the rotors may not meet.
    #[cold]
    #[inline(never)]
    fn end_at_the_limits<const N: usize, const F: usize, const P: usize>(
        &self,
        state: &mut FlightState<S, N>,
        known: Known<'_, S>,
        decided: Decided<S>,
        mixer: &Mixer<S, N, F, P>,
    ) -> FlightStep<S, N> {
        let (control, commands) = self.controller.conclude_at_the_limits(&mut state.controller, &decided, mixer);
        state.commands = Some(commands);
        known.with(Some(control), commands, mixer.rotors())
    }
}

/// What the supervisor is told beside the sample and the demand.
#[derive(Clone, Copy)]
struct Found<'a, S> {
    estimate: &'a Estimate<S>,
    rate_rad_s: BodyAxes<S>,
    /// What was sensed is finite and within range.
    whole: bool,
    rotor_stopped: bool,
}

impl<S: Scalar> Found<'_, S> {
    #[inline(always)]
    fn with<const N: usize>(self, sample: &Sample<S, N>, pilot: &PilotDemand<S>) -> SupervisorInput<S> {
        SupervisorInput {
            now_us: sample.now_us,
            arm_request: pilot.arm,
            disarm: pilot.disarm,
            demand_at_us: pilot.at_us,
            thrust_n: pilot.thrust_n,
            sensed_at_us: sample.sensed_at_us,
            sensors_finite: self.whole,
            cos_tilt: cos_tilt(self.estimate.attitude),
            rate_rad_s: self.rate_rad_s,
            on_ground: sample.on_ground,
            battery_share: sample.battery_share,
            configuration_valid: true,
            attitude_known: self.estimate.status.alignment == Alignment::Aligned,
            rotor_stopped: self.rotor_stopped,
        }
    }
}

/// What of a step is known before the loops run.
#[derive(Clone, Copy)]
struct Known<'a, S> {
    estimate: &'a Estimate<S>,
    rate_rad_s: BodyAxes<S>,
    decision: &'a Decision<S>,
    ceiling_share: S,
    stopped_rotors: RotorSet,
    passed_over: PassedOver,
}

impl<S: Scalar> Known<'_, S> {
    /// In line, so that the record is written where it stays.
    #[inline(always)]
    fn with<const N: usize>(self, control: Option<Step<S, N>>, commands: [S; N], rotors: usize) -> FlightStep<S, N> {
        let Known { estimate, rate_rad_s, decision, ceiling_share, stopped_rotors, passed_over } = self;
        let (estimate, decision) = (*estimate, *decision);
        let commands = of_rotors(commands, rotors);
        FlightStep { estimate, rate_rad_s, decision, control, commands, ceiling_share, stopped_rotors, passed_over }
    }
}

/// Whether the loops hold the attitude under this permission.
fn runs_the_loops<S>(permission: Permission<S>) -> bool {
    matches!(permission, Permission::PilotDemand | Permission::LevelDescent { .. })
}

/// What the loops are asked for under this permission. Beside the pilot's demand all of it is ours.
#[inline(always)]
fn permitted<S: Scalar>(
    permission: Permission<S>,
    pilot: &PilotDemand<S>,
    demand_passed_over: bool,
    on_ground: Option<bool>,
) -> Asked<'_, S> {
    let flying = if on_ground == Some(true) { Motors::Grounded } else { Motors::Flying };
    let level = |motors, thrust_n| Asked { motors, thrust_n, motion: None, finite: true };
    match permission {
        Permission::PilotDemand => {
            let PilotDemand { thrust_n, motion, .. } = pilot;
            Asked { motors: flying, thrust_n: *thrust_n, motion: Some(motion), finite: !demand_passed_over }
        }
        Permission::MotorsOff => level(Motors::Off, S::ZERO),
        Permission::RotorsAtFloor => level(Motors::Idle, S::ZERO),
        Permission::LevelDescent { thrust_n } | Permission::BlindDescent { thrust_n } => level(flying, thrust_n),
    }
}

fn less<S: Scalar>(a: BodyAxes<S>, b: BodyAxes<S>) -> BodyAxes<S> {
    BodyAxes { roll: a.roll - b.roll, pitch: a.pitch - b.pitch, yaw: a.yaw - b.yaw }
}

fn cos_tilt<S: Scalar>(attitude: Quaternion<S>) -> S {
    let [_, _, down] = attitude.down_in_body();
    down
}
