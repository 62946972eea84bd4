//! Flies a script: the flying code in lock-step with the plant.
//!
//! ```text
//! plant ─► sensors ─► (faults) ─► Sample ──────┐
//! pilot ─► (link) ─► PilotDemand ──────────────┴─► flight computer ─► commands ─► delays ─► plant
//! ```
//!
//! Time is an integer number of nanoseconds. Measurements, control steps, command arrivals, faults and log rows each
//! have their exact instants; the plant is integrated from one instant to the next in steps of at most
//! [`SUBSTEP_MAX_NS`]. The same files and seed give the same bytes.

mod aboard;
mod alignment;
pub(crate) mod clock;
mod computer;
mod delay;
mod diverged;
mod faults;
mod link;
mod schedule;

use std::convert::Infallible;
use std::fmt;

use evenkeel_controller::{FlightStep, PilotDemand, Sample};
use evenkeel_mixer::{Scalar, Wrench};

pub use aboard::{ARMS_AT_S, FLIES_AT_S};
pub use computer::{HostComputer, IN_FLIGHT_M, start_of};
pub use diverged::{Diverged, RanAway};

use crate::attitude;
use crate::craft::{Craft, MAX_ROTORS};
use crate::onboard::Onboard;
use crate::pilot::density_share;
use crate::plant::{Plant, PlantState};
use crate::recording::{OnBoard, Recording, Row};
use crate::script::{FaultKind, Flight};
use aboard::Aboard;
use clock::{nanoseconds, seconds};
use faults::{Change, Faults};

/// Longest integration step.
pub const SUBSTEP_MAX_NS: u64 = 1_000_000;

/// Rows may be an hour apart; who watches is told at least this often, on the flight's clock.
const TOLD_EVERY_NS: u64 = 1_000_000_000;

/// Why a flight has no end.
#[derive(Clone, Debug, PartialEq)]
pub enum FlightError<E> {
    /// The computation diverged.
    Diverged(Diverged),
    /// The computer gave no answer.
    Computer {
        /// When, on the flight's clock.
        at_s: f64,
        /// Why.
        cause: E,
    },
}

impl<E: fmt::Display> fmt::Display for FlightError<E> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            FlightError::Diverged(diverged) => diverged.fmt(f),
            FlightError::Computer { at_s, cause } => write!(f, "at {at_s} s: {cause}"),
        }
    }
}

impl<E: fmt::Debug + fmt::Display> std::error::Error for FlightError<E> {}

/// Flies `flight` with the flying code on this machine. Without `onboard`, or with control off, the rotors stand still: a
/// free body. `watch` is told the time at each row of the log, and each second.
///
/// # Errors
/// When the state is no longer finite.
pub fn fly<S: Scalar>(
    craft: &Craft,
    flight: &Flight,
    onboard: Option<&Onboard<S>>,
    watch: &dyn Fn(f64),
) -> Result<Recording, Diverged> {
    let mut recording = Recording::default();
    fly_into(craft, flight, onboard, watch, &mut |row| recording.rows.push(row))?;
    Ok(recording)
}

/// The same, but each row goes to `keep` as it is made: a long flight with many rows needs no memory for them.
///
/// # Errors
/// When the state is no longer finite; the rows up to then have been kept.
pub fn fly_into<S: Scalar>(
    craft: &Craft,
    flight: &Flight,
    onboard: Option<&Onboard<S>>,
    watch: &dyn Fn(f64),
    keep: &mut dyn FnMut(Row),
) -> Result<(), Diverged> {
    let flown = onboard.map(|onboard| {
        let mut host = HostComputer::new(onboard, start_of(craft, onboard, flight));
        let step =
            move |sample: &Sample<_, MAX_ROTORS>, pilot: &PilotDemand<_>| Ok::<_, Infallible>(host.step(sample, pilot));
        (onboard, step)
    });
    Simulation::new(craft, flight, flown).run(watch, keep).map_err(|error| match error {
        FlightError::Diverged(diverged) => diverged,
        FlightError::Computer { cause, .. } => match cause {},
    })
}

/// Flies `flight` with whatever computer answers each sample, here or at the end of a wire; it has been started as
/// [`start_of`] says. `onboard` is what the harness itself has to know of the flying code: limits of the pilot's demands,
/// and the rotors' commands in hover. Each row goes to `keep` as it is made.
///
/// # Errors
/// When the state is no longer finite, or the computer gives no answer.
pub fn fly_with<S: Scalar, E>(
    craft: &Craft,
    flight: &Flight,
    onboard: &Onboard<S>,
    answer: impl FnMut(&Sample<S, MAX_ROTORS>, &PilotDemand<S>) -> Result<FlightStep<S, MAX_ROTORS>, E>,
    watch: &dyn Fn(f64),
    keep: &mut dyn FnMut(Row),
) -> Result<(), FlightError<E>> {
    Simulation::new(craft, flight, Some((onboard, answer))).run(watch, keep)
}

/// A flight under way.
struct Simulation<'a, S: Scalar, C> {
    flight: &'a Flight,
    plant: Plant,
    state: PlantState,
    /// `None`: a free body.
    aboard: Option<Aboard<'a, S, C>>,
    faults: Faults,
    now_ns: u64,
    next_row_ns: u64,
    rows: u64,
}

impl<'a, S, C, E> Simulation<'a, S, C>
where
    S: Scalar,
    C: FnMut(&Sample<S, MAX_ROTORS>, &PilotDemand<S>) -> Result<FlightStep<S, MAX_ROTORS>, E>,
{
    fn new(craft: &Craft, flight: &'a Flight, flown: Option<(&Onboard<S>, C)>) -> Self {
        let plant = Plant::new(craft, &flight.world).seeded(flight.seed);
        let mut state = PlantState::from_initial(&flight.initial);
        let aboard = flown.filter(|_| flight.control).map(|(onboard, computer)| {
            let commands = rotors_at_the_start(craft, flight, onboard, &mut state);
            Aboard::new(craft, flight, onboard, computer, commands)
        });
        let faults = Faults::new(&flight.faults);
        Simulation { flight, plant, state, aboard, faults, now_ns: 0, next_row_ns: 0, rows: 0 }
    }

    fn run(mut self, watch: &dyn Fn(f64), keep: &mut dyn FnMut(Row)) -> Result<(), FlightError<E>> {
        let end_ns = nanoseconds(self.flight.duration_s);
        let mut told_ns = 0;
        loop {
            self.go_wrong();
            if let Some(aboard) = &mut self.aboard {
                let acted = aboard.act(self.now_ns, &self.plant, &self.state);
                acted.map_err(|cause| FlightError::Computer { at_s: seconds(self.now_ns), cause })?;
            }
            if self.now_ns == self.next_row_ns {
                keep(self.row());
                self.rows += 1;
                self.next_row_ns = nanoseconds(self.rows as f64 * self.flight.log_period_s);
                watch(seconds(self.now_ns));
                told_ns = self.now_ns;
            } else if self.now_ns >= told_ns + TOLD_EVERY_NS {
                watch(seconds(self.now_ns));
                told_ns = self.now_ns;
            }
            if self.now_ns >= end_ns {
                return Ok(());
            }
            self.advance(end_ns);
            self.check().map_err(FlightError::Diverged)?;
        }
    }

    /// The faults that begin or end now.
    fn go_wrong(&mut self) {
        while let Some(change) = self.faults.due(self.now_ns) {
            if self.aboard.as_mut().is_some_and(|aboard| aboard.takes(change, self.now_ns)) {
                continue;
            }
            match change {
                Change::Begins(FaultKind::RotorStopped(rotor)) => self.plant.stop_rotor(&mut self.state, rotor),
                Change::Begins(FaultKind::RotorWeakened { rotor, thrust_share }) => {
                    self.plant.weaken_rotor(&mut self.state, rotor, thrust_share);
                }
                Change::Begins(FaultKind::BatteryCollapse { voltage_share }) => {
                    self.plant.collapse_battery(&mut self.state, voltage_share);
                }
                Change::Begins(_) | Change::Ends(_) => {}
            }
        }
    }

    /// Integrates to the next instant at which something happens.
    fn advance(&mut self, end_ns: u64) {
        let next_ns = self.next_row_ns.min(end_ns).min(self.faults.next_ns().unwrap_or(end_ns));
        let (next_ns, commands) = match &mut self.aboard {
            Some(aboard) => {
                // What arrives now is told now; the next arrival is then a later one.
                let commands = *aboard.commands(self.now_ns);
                (next_ns.min(aboard.next_ns()), commands)
            }
            None => (next_ns, [0.0; MAX_ROTORS]),
        };
        while self.now_ns < next_ns {
            let substep_ns = (next_ns - self.now_ns).min(SUBSTEP_MAX_NS);
            self.plant.advance(&mut self.state, &commands, seconds(substep_ns));
            self.now_ns += substep_ns;
        }
    }

    fn check(&self) -> Result<(), Diverged> {
        diverged::check(&self.state).map_err(|ran_away| Diverged { at_s: seconds(self.now_ns), ran_away })
    }

    fn row(&mut self) -> Row {
        let rotors = self.plant.rotor_count();
        let ([demand, achieved], commands, on_board) = match &mut self.aboard {
            Some(aboard) => (aboard.wrenches(), aboard.answered(), aboard.logged()),
            None => ([Wrench::default(); 2], [0.0; MAX_ROTORS], OnBoard::default()),
        };
        Row {
            t_s: seconds(self.now_ns),
            position_m: self.state.position_m.into(),
            velocity_m_s: self.state.velocity_m_s.into(),
            attitude: attitude::components(&self.state.attitude),
            rate_rad_s: self.state.rate_rad_s.into(),
            demand,
            achieved,
            rotor_n: self.plant.thrusts_n(&self.state).into_iter().take(rotors).collect(),
            command: commands.into_iter().take(rotors).collect(),
            on_board: OnBoard {
                voltage_share: self.plant.voltage_share(&self.state),
                state_of_charge: self.plant.state_of_charge(&self.state),
                ..on_board
            },
        }
    }
}

/// A flight that begins in the air begins with its rotors at the speeds of a hover in that air; returns their commands.
fn rotors_at_the_start<S: Scalar>(
    craft: &Craft,
    flight: &Flight,
    onboard: &Onboard<S>,
    state: &mut PlantState,
) -> [f64; MAX_ROTORS] {
    let mut commands = [0.0; MAX_ROTORS];
    if !(-flight.initial.position_m[2] > IN_FLIGHT_M) || flight.initial.power_up {
        return commands;
    }
    // In newtons at the density of the craft file, which is what a command stands for.
    let hover_n = craft.body.mass_kg * flight.world.gravity_m_s2 / density_share(flight);
    let allocation = onboard.mixer.allocate(Wrench { thrust_n: S::from_f64(hover_n), ..Wrench::default() });
    for ((speed, thrust), rotor) in state.rotor_speed.iter_mut().zip(&allocation.thrusts_n).zip(&craft.rotors) {
        *speed = (thrust.to_f64() / rotor.thrust_max_n).max(0.0).sqrt();
    }
    for (slot, command) in commands.iter_mut().zip(&onboard.mixer.commands(&allocation)) {
        *slot = command.to_f64();
    }
    commands
}
