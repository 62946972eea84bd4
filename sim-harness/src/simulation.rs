//! Flies a script: the real controller and mixer in lock-step with the plant.
//!
//! Time is an integer number of nanoseconds. Control steps, command arrivals, faults and log rows each
//! have their exact instants; the plant is integrated from one instant to the next in steps of at most
//! [`SUBSTEP_MAX_NS`]. The same files and seed give the same bytes.

use std::collections::VecDeque;
use std::fmt;

use evenkeel_controller::{BodyAxes, ControllerState, Motion, Quaternion, Sensed, Setpoint};
use evenkeel_mixer::{Scalar, Wrench};

use crate::attitude;
use crate::craft::{Craft, MAX_ROTORS};
use crate::onboard::Onboard;
use crate::pilot::{Pilot, View};
use crate::plant::{Plant, PlantState};
use crate::recording::{Recording, Row};
use crate::script::{FaultKind, Flight};

/// Longest integration step.
pub const SUBSTEP_MAX_NS: u64 = 1_000_000;

/// Beyond this the flight counts as diverged.
const FARTHEST_M: f64 = 1.0e7;
const FASTEST_RAD_S: f64 = 1.0e5;
/// A start higher than this is a start in flight: the rotors already carry the weight.
const IN_FLIGHT_M: f64 = 0.05;

/// The computation left what is finite or sensible.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Diverged {
    /// When, on the flight's clock.
    pub at_s: f64,
}

impl fmt::Display for Diverged {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "the computation diverged at {} s", self.at_s)
    }
}

impl std::error::Error for Diverged {}

/// Flies `flight`. Without `onboard` the rotors stand still: a free body. `watch` is told the time at
/// each row of the log.
///
/// # Errors
/// When the state is no longer finite.
pub fn fly<S: Scalar>(
    craft: &Craft,
    flight: &Flight,
    onboard: Option<&Onboard<S>>,
    watch: &dyn Fn(f64),
) -> Result<Recording, Diverged> {
    let mut simulation = Simulation::new(craft, flight, onboard);
    let end = nanoseconds(flight.duration_s);
    let mut recording = Recording::default();
    loop {
        simulation.act(craft);
        if simulation.now == simulation.next_row {
            recording.rows.push(simulation.row());
            watch(seconds(simulation.now));
            simulation.rows += 1;
            simulation.next_row = nanoseconds(simulation.rows as f64 * flight.log_period_s);
        }
        if simulation.now >= end {
            return Ok(recording);
        }
        simulation.advance(end);
        simulation.check()?;
    }
}

fn nanoseconds(seconds: f64) -> u64 {
    (seconds * 1.0e9).round() as u64
}

fn seconds(nanoseconds: u64) -> f64 {
    nanoseconds as f64 / 1.0e9
}

/// A flight under way.
struct Simulation<'a, S> {
    flight: &'a Flight,
    plant: Plant,
    state: PlantState,
    control: Option<Control<'a, S>>,
    /// Commands on their way to the rotors, with their time of arrival.
    under_way: VecDeque<(u64, [f64; MAX_ROTORS])>,
    arrived: [f64; MAX_ROTORS],
    faults_done: usize,
    now: u64,
    next_row: u64,
    rows: u64,
}

/// The flying code and what it said last.
struct Control<'a, S> {
    onboard: &'a Onboard<S>,
    memory: ControllerState<S>,
    pilot: Pilot<'a>,
    steps: u64,
    next_step: u64,
    demand: Wrench<f64>,
    achieved: Wrench<f64>,
    commands: [f64; MAX_ROTORS],
}

impl<'a, S: Scalar> Simulation<'a, S> {
    fn new(craft: &Craft, flight: &'a Flight, onboard: Option<&'a Onboard<S>>) -> Self {
        let plant = Plant::new(craft, &flight.world);
        let mut state = PlantState::from_initial(&flight.initial);
        let gravity = flight.world.gravity_m_s2;
        let control = onboard.filter(|_| flight.control).map(|onboard| Control {
            onboard,
            memory: ControllerState::default(),
            pilot: Pilot::new(craft, gravity, onboard.config.reference.tilt_max_rad, &flight.legs),
            steps: 0,
            next_step: 0,
            demand: Wrench::default(),
            achieved: Wrench::default(),
            commands: [0.0; MAX_ROTORS],
        });
        let mut arrived = [0.0; MAX_ROTORS];
        if let Some(control) = &control
            && -flight.initial.position_m[2] > IN_FLIGHT_M
        {
            let hover = Wrench { thrust_n: S::from_f64(craft.body.mass_kg * gravity), ..Wrench::default() };
            let allocation = control.onboard.mixer.allocate(hover);
            for ((speed, thrust), rotor) in state.rotor_speed.iter_mut().zip(&allocation.thrusts_n).zip(&craft.rotors) {
                *speed = (thrust.to_f64() / rotor.thrust_max_n).max(0.0).sqrt();
            }
            for (slot, command) in arrived.iter_mut().zip(&control.onboard.mixer.commands(&allocation)) {
                *slot = command.to_f64();
            }
        }
        Simulation {
            flight,
            plant,
            state,
            control,
            under_way: VecDeque::new(),
            arrived,
            faults_done: 0,
            now: 0,
            next_row: 0,
            rows: 0,
        }
    }

    /// Everything that happens at this instant: faults, then control, then arrivals.
    fn act(&mut self, craft: &Craft) {
        while let Some(fault) = self.flight.faults.get(self.faults_done)
            && nanoseconds(fault.at_s) <= self.now
        {
            match fault.kind {
                FaultKind::RotorStopped(rotor) => self.plant.stop_rotor(&mut self.state, rotor),
            }
            self.faults_done += 1;
        }
        if let Some(control) = &mut self.control
            && control.next_step == self.now
        {
            let view = View {
                position_m: self.state.position_m,
                velocity_m_s: self.state.velocity_m_s,
                attitude: self.state.attitude,
                on_ground: self.plant.on_ground(&self.state),
            };
            control.step(seconds(self.now), craft, &view, &self.state);
            // Commands are worked out while the period runs, and written at its end.
            let arrival = control.next_step + nanoseconds(craft.loops.extra_delay_s);
            self.under_way.push_back((arrival, control.commands));
        }
        while let Some((arrival, commands)) = self.under_way.front()
            && *arrival <= self.now
        {
            self.arrived = *commands;
            self.under_way.pop_front();
        }
    }

    /// Integrates to the next instant at which something happens.
    fn advance(&mut self, end: u64) {
        let fault = self.flight.faults.get(self.faults_done).map(|fault| nanoseconds(fault.at_s));
        let step = self.control.as_ref().map(|control| control.next_step);
        let arrival = self.under_way.front().map(|(arrival, _)| *arrival);
        let happens = [fault, step, arrival, Some(self.next_row), Some(end)].into_iter().flatten();
        let next = happens.filter(|instant| *instant > self.now).min().unwrap_or(end);
        while self.now < next {
            let substep = (next - self.now).min(SUBSTEP_MAX_NS);
            self.plant.advance(&mut self.state, &self.arrived, seconds(substep));
            self.now += substep;
        }
    }

    fn check(&self) -> Result<(), Diverged> {
        let near = self.state.position_m.amax() <= FARTHEST_M && self.state.rate_rad_s.amax() <= FASTEST_RAD_S;
        if near && self.plant.is_finite(&self.state) { Ok(()) } else { Err(Diverged { at_s: seconds(self.now) }) }
    }

    fn row(&self) -> Row {
        let rotors = self.plant.rotor_count();
        let (demand, achieved, commands) = match &self.control {
            Some(control) => (control.demand, control.achieved, control.commands),
            None => (Wrench::default(), Wrench::default(), [0.0; MAX_ROTORS]),
        };
        Row {
            t_s: seconds(self.now),
            position_m: self.state.position_m.into(),
            velocity_m_s: self.state.velocity_m_s.into(),
            attitude: attitude::components(&self.state.attitude),
            rate_rad_s: self.state.rate_rad_s.into(),
            demand,
            achieved,
            rotor_n: self.plant.thrusts_n(&self.state).into_iter().take(rotors).collect(),
            command: commands.into_iter().take(rotors).collect(),
        }
    }
}

impl<S: Scalar> Control<'_, S> {
    fn step(&mut self, t_s: f64, craft: &Craft, view: &View, truth: &PlantState) {
        let setpoint = self.pilot.setpoint(t_s, self.onboard.config.period_s, view);
        let sensed = Sensed {
            attitude: Quaternion::from_array(attitude::components(&truth.attitude).map(S::from_f64)),
            rate_rad_s: BodyAxes::from_array(<[f64; 3]>::from(truth.rate_rad_s).map(S::from_f64)),
        };
        let Onboard { controller, mixer, .. } = self.onboard;
        let step = controller.step(&mut self.memory, &sensed, &quantised(&setpoint), mixer);
        let double = |wrench: Wrench<S>| Wrench::from_array(wrench.to_array().map(S::to_f64));
        self.demand = double(step.allocation.demand);
        self.achieved = double(step.allocation.achieved);
        for (slot, command) in self.commands.iter_mut().zip(&step.commands) {
            *slot = command.to_f64();
        }
        self.steps += 1;
        self.next_step = (self.steps as f64 * 1.0e9 / craft.loops.rate_hz).round() as u64;
    }
}

/// The pilot's demand in the flying scalar.
fn quantised<S: Scalar>(setpoint: &Setpoint<f64>) -> Setpoint<S> {
    let axes = |values: BodyAxes<f64>| BodyAxes::from_array(values.to_array().map(S::from_f64));
    let motion = match setpoint.motion {
        Motion::Angles { roll_rad, pitch_rad, yaw_rate_rad_s } => Motion::Angles {
            roll_rad: S::from_f64(roll_rad),
            pitch_rad: S::from_f64(pitch_rad),
            yaw_rate_rad_s: S::from_f64(yaw_rate_rad_s),
        },
        Motion::Rates(rates) => Motion::Rates(axes(rates)),
    };
    Setpoint { motors: setpoint.motors, thrust_n: S::from_f64(setpoint.thrust_n), motion }
}
