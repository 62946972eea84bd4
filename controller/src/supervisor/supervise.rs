//! The supervisor: what the craft may do in this step.

use evenkeel_mixer::Scalar;

use crate::setpoint::BodyAxes;
use crate::supervisor::config::{SupervisorConfig, SupervisorError};
use crate::supervisor::facts::{Facts, Limits, Watch};
use crate::supervisor::reasons::Reasons;
use crate::supervisor::sample_clock::{SampleClock, SampleClockState, Tick};
use crate::supervisor::state::{Permission, State};
use crate::supervisor::times::InTime;
use crate::supervisor::transitions::Event;

/// What the supervisor is told at one sample. Times are microseconds of one clock.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct SupervisorInput<S> {
    /// Now.
    pub now_us: u64,
    /// The pilot's arm request, a level, as of the last demand received. Going off disarms.
    pub arm_request: bool,
    /// Disarms at once, whatever else holds; also over a second path, if the craft has one.
    pub disarm: bool,
    /// When the last demand from the pilot was received; none before the first.
    pub demand_at_us: Option<u64>,
    /// The pilot's thrust demand, newtons.
    pub thrust_n: S,
    /// When the newest complete sample of the sensors was taken; none before the first.
    pub sensed_at_us: Option<u64>,
    /// Whether all of that sample is finite.
    pub sensors_finite: bool,
    /// Cosine of the angle between body −z and up.
    pub cos_tilt: S,
    /// Body rates, rad/s.
    pub rate_rad_s: BodyAxes<S>,
    /// Whether the craft stands on the ground; none when nothing on board can tell.
    pub on_ground: Option<bool>,
    /// Charge left, 0 to 1; none when it is not measured.
    pub battery_share: Option<S>,
    /// Whether every block accepted its configuration. Asked only at arming: it cannot change in flight.
    pub configuration_valid: bool,
    /// Whether there is an attitude to fly by: an estimate that has found down. Asked only at arming.
    pub attitude_known: bool,
    /// Whether a rotor is reported stopped, while disarmed; or counts as failed, while armed.
    pub rotor_stopped: bool,
}

/// What one step decided.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Decision<S> {
    /// State from this step on.
    pub state: State,
    /// What the loops may do.
    pub permission: Permission<S>,
    /// No new good sample came with this step: where the loops may run, they hold their last commands.
    pub hold: bool,
    /// The event that was acted on, if any.
    pub event: Option<Event>,
    /// Disarmed: all that speaks against arming. Link lost, or at fault: all that went wrong. Flying: what the pilot
    /// should land for, a rotor that has stopped. Else none.
    pub reasons: Reasons,
    /// How this sample came.
    pub tick: Tick,
}

/// A validated supervisor.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Supervisor<S> {
    pub(super) clock: SampleClock,
    pub(super) limits: Limits<S>,
    descent_thrust_n: S,
}

/// What the supervisor remembers. The default is power-up: disarmed, nothing seen yet.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct SupervisorState {
    pub(super) state: State,
    causes: Reasons,
    pub(super) clock: SampleClockState,
    pub(super) watch: Watch,
    /// The last whole look left it so that the next step may be quiet.
    pub(super) settled: bool,
}

impl SupervisorState {
    /// Back to power-up: disarmed, and the arm request must be seen off.
    pub fn reset(&mut self) {
        *self = Self::default();
    }

    /// Begins with the pilot flying.
    pub(crate) fn flying() -> Self {
        SupervisorState { state: State::Flying, ..Self::default() }
    }

    /// Begins armed on the ground.
    pub(crate) fn standing() -> Self {
        SupervisorState { state: State::Standing, ..Self::default() }
    }

    /// Where the craft stands.
    pub fn state(&self) -> State {
        self.state
    }
}

impl<S: Scalar> Supervisor<S> {
    /// Checks and quantises.
    ///
    /// # Errors
    /// The first value that makes no sense.
    pub fn new(config: &SupervisorConfig) -> Result<Self, SupervisorError> {
        let clock = SampleClock::new(&config.samples).map_err(SupervisorError::Samples)?;
        config.check()?;
        Ok(Supervisor {
            clock,
            limits: Limits::new(config),
            descent_thrust_n: S::from_f64(config.descent_thrust_share * config.hover_thrust_n),
        })
    }

    /// One sample: call it before the loops, once a period.
    ///
    /// Never fails, whatever the input. Disarming takes effect in this very step.
    #[inline(always)]
    pub fn step(&self, memory: &mut SupervisorState, input: &SupervisorInput<S>) -> Decision<S> {
        let in_time = self.in_time(memory, input.now_us, input.demand_at_us, input.sensed_at_us);
        self.quiet(memory, in_time, input).unwrap_or_else(|| self.look(memory, in_time, input))
    }

    /// As [`Supervisor::step`] after its first part: every fact, every timer, every event.
    #[cold]
    #[inline(never)]
    pub(crate) fn look(
        &self,
        memory: &mut SupervisorState,
        in_time: Option<InTime>,
        input: &SupervisorInput<S>,
    ) -> Decision<S> {
        let times = self.times(memory, in_time, input);
        let facts = memory.watch.step(&self.limits, memory.state, input, &times);
        let moved = memory.state.moved_by(facts.happened);
        if let Some((_, to)) = moved {
            memory.state = to;
        }
        memory.settled = memory.state == State::Flying && memory.watch.settled();
        Decision {
            state: memory.state,
            permission: memory.state.permission(self.descent_thrust_n),
            hold: facts.hold,
            event: moved.map(|(event, _)| event),
            reasons: self.reasons(memory, &facts, input, moved.is_some()),
            tick: times.tick,
        }
    }

    /// Collects the causes of a fault until it is disarmed. Once the motors have stopped, nothing is added:
    /// what a craft that has come down does then explains nothing.
    fn reasons(&self, memory: &mut SupervisorState, facts: &Facts, input: &SupervisorInput<S>, moved: bool) -> Reasons {
        match memory.state {
            State::Disarmed => facts.refusals(&self.limits, input),
            State::Standing | State::Flying => {
                memory.causes = Reasons::NONE;
                facts.to_land_for(memory.state)
            }
            State::FaultStopped if !moved => memory.causes,
            State::LinkLost | State::FaultDescent | State::FaultBlind | State::FaultStopped => {
                memory.causes = memory.causes.and(facts.faults());
                memory.causes
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::supervisor::reasons::Reason;
    use crate::supervisor::sample_clock::SampleClockError;

    const SOUND: SupervisorInput<f32> = SupervisorInput {
        now_us: 0,
        arm_request: false,
        disarm: false,
        demand_at_us: Some(0),
        thrust_n: 0.0,
        sensed_at_us: Some(0),
        sensors_finite: true,
        cos_tilt: 1.0,
        rate_rad_s: BodyAxes { roll: 0.0, pitch: 0.0, yaw: 0.0 },
        on_ground: Some(true),
        battery_share: None,
        configuration_valid: true,
        attitude_known: true,
        rotor_stopped: false,
    };

    fn config() -> SupervisorConfig {
        SupervisorConfig::usual(1.0e-3, 16.0)
    }

    /// What is decided after a second of samples, each changed like this.
    fn after_a_second(change: impl Fn(&mut SupervisorInput<f32>)) -> Decision<f32> {
        let (supervisor, mut memory) = (Supervisor::new(&config()).unwrap(), SupervisorState::default());
        let mut step = |now_us| {
            let mut input = SupervisorInput { now_us, demand_at_us: Some(now_us), sensed_at_us: Some(now_us), ..SOUND };
            change(&mut input);
            supervisor.step(&mut memory, &input)
        };
        (0..1000).for_each(|k| {
            step(1_000_000 + 1000 * k);
        });
        step(2_000_000)
    }

    #[test]
    fn sound_craft_has_nothing_against_arming() {
        let decision = after_a_second(|_| ());
        assert_eq!((decision.reasons, decision.hold), (Reasons::NONE, false));
        assert_eq!(after_a_second(|input| input.battery_share = Some(0.3)).reasons, Reasons::NONE);
    }

    #[test]
    fn number_that_is_none_speaks_against_arming() {
        let only = |reason| Reasons::NONE.with(reason, true);
        for bad in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
            let tilt = after_a_second(|input| input.cos_tilt = bad);
            assert!(tilt.hold && tilt.reasons.contains(Reason::SensorsNotFinite), "{bad}: {:?}", tilt.reasons);
            let rate = after_a_second(|input| input.rate_rad_s.pitch = bad);
            assert!(rate.hold && rate.reasons.contains(Reason::SensorsNotFinite), "{bad}: {:?}", rate.reasons);
        }
        for bad in [f32::NAN, f32::INFINITY] {
            assert_eq!(after_a_second(|input| input.thrust_n = bad).reasons, only(Reason::ThrustNotLow), "{bad}");
        }
        assert_eq!(after_a_second(|input| input.battery_share = Some(f32::NAN)).reasons, only(Reason::BatteryLow));
    }

    #[test]
    fn sample_that_is_new_but_old_is_held() {
        let late = |age_us: u64| after_a_second(move |input| input.sensed_at_us = Some(input.now_us - age_us));
        assert!(!late(50_000).hold, "at the limit");
        let beyond = late(50_001);
        assert!(beyond.hold && beyond.reasons.contains(Reason::SensorsStale), "{:?}", beyond.reasons);
    }

    #[test]
    fn passes_on_what_its_parts_refuse() {
        let made = |config: SupervisorConfig| Supervisor::<f32>::new(&config).map(|_| ());
        assert_eq!(made(config()), Ok(()));
        let hover = SupervisorConfig { hover_thrust_n: 0.0, ..config() };
        assert_eq!(made(hover), Err(SupervisorError::HoverThrust));
        let period = SupervisorConfig::usual(0.0, 16.0);
        assert_eq!(made(period), Err(SupervisorError::Samples(SampleClockError::Period)));
    }

    #[test]
    fn reset_is_power_up() {
        let (supervisor, mut memory) = (Supervisor::new(&config()).unwrap(), SupervisorState::default());
        supervisor.step(&mut memory, &SOUND);
        assert_ne!(memory, SupervisorState::default());
        memory.reset();
        assert_eq!((memory, memory.state()), (SupervisorState::default(), State::Disarmed));
    }
}
