//! One step on board: sensors and pilot in, commands out, and what is left for the log.

use evenkeel_controller::{FlightStep, Motors, PilotDemand, Sample, Setpoint, State};
use evenkeel_mixer::{Scalar, Wrench};

use super::clock::{nanoseconds, seconds};
use super::delay::CommandDelay;
use super::faults::Change;
use super::link::Link;
use super::schedule::Schedule;
use crate::craft::{Craft, MAX_ROTORS};
use crate::onboard::{CraftMixer, Onboard};
use crate::pilot::{Pilot, View};
use crate::plant::{Plant, PlantState};
use crate::recording::OnBoard;
use crate::script::{FaultKind, Flight};
use crate::sensors::{InFlight, Sensors};

/// After power-up the pilot arms at this time: the estimate has aligned and the craft has stood still.
pub const ARMS_AT_S: f64 = 2.0;
/// ... and from this time the legs are flown.
pub const FLIES_AT_S: f64 = 2.5;

/// All that flies a craft.
pub(super) struct Aboard<'a, S: Scalar, C> {
    computer: C,
    sensors: Sensors<S>,
    pilot: Pilot<'a>,
    /// After power-up the pilot waits: to arm, and then to fly.
    arms_at_s: f64,
    flies_at_s: f64,
    link: Link,
    schedule: Schedule,
    commands: CommandDelay,
    extra_delay_ns: u64,
    /// For the margin in the log alone; its ceilings and its rotors follow the computer's.
    mixer: CraftMixer<S>,
    ceiling_share: S,
    last: Option<FlightStep<S, MAX_ROTORS>>,
    demand: Wrench<S>,
    achieved: Wrench<S>,
}

impl<'a, S, C, E> Aboard<'a, S, C>
where
    S: Scalar,
    C: FnMut(&Sample<S, MAX_ROTORS>, &PilotDemand<S>) -> Result<FlightStep<S, MAX_ROTORS>, E>,
{
    pub(super) fn new(
        craft: &Craft,
        flight: &'a Flight,
        onboard: &Onboard<S>,
        computer: C,
        commands_at_the_start: [f64; MAX_ROTORS],
    ) -> Self {
        let tilt_max_rad = onboard.config.reference.tilt_max_rad;
        let [arms_at_s, flies_at_s] = if flight.initial.power_up { [ARMS_AT_S, FLIES_AT_S] } else { [0.0; 2] };
        Aboard {
            computer,
            arms_at_s,
            flies_at_s,
            sensors: Sensors::new(&craft.sensors, craft.loops.rate_hz, flight.seed),
            pilot: Pilot::new(craft, flight.world.gravity_m_s2, tilt_max_rad, &flight.legs).in_the_air_of(flight),
            link: Link::default(),
            schedule: Schedule::new(craft.loops.rate_hz, flight.seed),
            commands: CommandDelay::new(commands_at_the_start),
            extra_delay_ns: nanoseconds(craft.loops.extra_delay_s),
            mixer: onboard.mixer.clone(),
            ceiling_share: S::ONE,
            last: None,
            demand: Wrench::default(),
            achieved: Wrench::default(),
        }
    }

    /// Takes what goes wrong here; `false` when it concerns the plant.
    pub(super) fn takes(&mut self, change: Change, now_ns: u64) -> bool {
        match change {
            Change::Begins(FaultKind::RotorStopped(rotor)) => {
                // Known here in its time, and felt at once.
                self.sensors.rotor_stops(rotor, now_ns);
                return false;
            }
            Change::Begins(FaultKind::LinkLost { .. }) => self.link.set_lost(true),
            Change::Ends(FaultKind::LinkLost { .. }) => self.link.set_lost(false),
            Change::Begins(FaultKind::Sensor { sensor, failure, .. }) => self.sensors.fail(sensor, Some(failure)),
            Change::Ends(FaultKind::Sensor { sensor, .. }) => self.sensors.fail(sensor, None),
            Change::Begins(FaultKind::SamplesLate { late_s, .. }) => self.schedule.set_late(nanoseconds(late_s)),
            Change::Ends(FaultKind::SamplesLate { .. }) => self.schedule.set_late(0),
            Change::Begins(_) | Change::Ends(_) => return false,
        }
        true
    }

    /// Measures what is to be measured now, and steps the computer if it is time to.
    pub(super) fn act(&mut self, now_ns: u64, plant: &Plant, state: &PlantState) -> Result<(), E> {
        let truth = InFlight { plant, state };
        if self.sensors.next_ns() <= now_ns {
            self.sensors.measure(now_ns, &truth);
        }
        if self.schedule.next_ns() > now_ns {
            return Ok(());
        }
        let sample = self.sensors.sample(now_ns, &truth);
        let view = View {
            position_m: state.position_m,
            velocity_m_s: state.velocity_m_s,
            attitude: state.attitude,
            on_ground: plant.on_ground(state),
        };
        let period_ns = self.schedule.period_ns();
        let t_s = seconds(now_ns);
        let asked = if t_s < self.arms_at_s {
            Setpoint::DISARMED
        } else if t_s < self.flies_at_s {
            Setpoint { motors: Motors::Idle, ..Setpoint::DISARMED }
        } else if self.last.as_ref().is_some_and(|step| step.decision.state == State::LinkLost) {
            self.pilot.waiting()
        } else {
            self.pilot.setpoint(t_s, seconds(period_ns), &view)
        };
        let step = (self.computer)(&sample, &self.link.carry(now_ns, asked))?;
        // Commands are worked out while the period runs, and written at its end.
        self.schedule.advance(now_ns);
        let mut commands = [0.0; MAX_ROTORS];
        for (slot, command) in commands.iter_mut().zip(&step.commands) {
            *slot = command.to_f64();
        }
        self.commands.send(now_ns + period_ns + self.extra_delay_ns, commands);
        if let Some(control) = &step.control {
            self.demand = control.allocation.demand;
            self.achieved = control.allocation.achieved;
        }
        self.last = Some(step);
        Ok(())
    }

    /// What the rotors are told at this time.
    pub(super) fn commands(&mut self, now_ns: u64) -> &[f64; MAX_ROTORS] {
        self.commands.at(now_ns)
    }

    /// When something happens next.
    pub(super) fn next_ns(&self) -> u64 {
        let next_ns = self.sensors.next_ns().min(self.schedule.next_ns());
        self.commands.next_ns().map_or(next_ns, |arrival_ns| arrival_ns.min(next_ns))
    }

    /// Demand and achieved wrench of the last step in which the loops ran.
    pub(super) fn wrenches(&self) -> [Wrench<f64>; 2] {
        [self.demand, self.achieved].map(|wrench| Wrench::from_array(wrench.to_array().map(S::to_f64)))
    }

    /// What the computer answered last.
    pub(super) fn answered(&self) -> [f64; MAX_ROTORS] {
        let mut commands = [0.0; MAX_ROTORS];
        for (slot, command) in commands.iter_mut().zip(self.last.iter().flat_map(|step| &step.commands)) {
            *slot = command.to_f64();
        }
        commands
    }

    /// What the log says of the computer.
    pub(super) fn logged(&mut self) -> OnBoard {
        let Some(step) = &self.last else { return OnBoard::default() };
        if step.ceiling_share != self.ceiling_share && self.mixer.scale_ceilings(step.ceiling_share) {
            self.ceiling_share = step.ceiling_share;
        }
        for rotor in step.stopped_rotors.less(self.mixer.failed()).iter() {
            self.mixer.fail_rotor(rotor);
        }
        for rotor in self.mixer.failed().less(step.stopped_rotors).iter() {
            self.mixer.restore_rotor(rotor);
        }
        OnBoard::of(step, self.mixer.control_margin_nm(self.demand).to_f64())
    }
}
