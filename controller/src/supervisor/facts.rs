//! From inputs to facts: what holds, for how long, and which events that makes.

use evenkeel_mixer::Scalar;

use crate::supervisor::config::{SupervisorConfig, micros};
use crate::supervisor::freshness::{Freshness, brief};
use crate::supervisor::reasons::{Reason, Reasons};
use crate::supervisor::sample_clock::Tick;
use crate::supervisor::since::Since;
use crate::supervisor::state::State;
use crate::supervisor::supervise::SupervisorInput;
use crate::supervisor::transitions::{Event, Happened};
use crate::trigonometry::sin_cos;

/// The limits, quantised.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Limits<S> {
    thrust_low_n: S,
    handback_min_n: S,
    handback_max_n: S,
    arm_cos_tilt: S,
    arm_rate_rad_s: S,
    arm_battery_share: S,
    cos_tilt: S,
    arm_still_us: u32,
    standing_us: u32,
    touch_down_us: u32,
    link_timeout_us: u32,
    link_good_us: u32,
    descent_us: u32,
    tilt_level_us: u32,
    tilt_stop_us: u32,
    sensor_timeout_us: u32,
    sensor_good_us: u32,
    blind_us: u32,
}

impl<S: Scalar> Limits<S> {
    /// Of a configuration that was checked.
    pub(super) fn new(config: &SupervisorConfig) -> Self {
        let thrust = |share: f64| S::from_f64(share * config.hover_thrust_n);
        let cosine = |tilt_rad: f64| S::from_f64(sin_cos(tilt_rad).1);
        Limits {
            thrust_low_n: thrust(config.thrust_low_share),
            handback_min_n: thrust(config.handback_thrust_min_share),
            handback_max_n: thrust(config.handback_thrust_max_share),
            arm_cos_tilt: cosine(config.arm_tilt_max_rad),
            arm_rate_rad_s: S::from_f64(config.arm_rate_max_rad_s),
            arm_battery_share: S::from_f64(config.arm_battery_min_share),
            cos_tilt: cosine(config.tilt_max_rad),
            arm_still_us: micros(config.arm_still_s),
            standing_us: micros(config.standing_max_s),
            touch_down_us: micros(config.touch_down_s),
            link_timeout_us: micros(config.link_timeout_s),
            link_good_us: micros(config.link_good_s),
            descent_us: micros(config.descent_max_s),
            tilt_level_us: micros(config.tilt_level_s),
            tilt_stop_us: micros(config.tilt_stop_s),
            sensor_timeout_us: micros(config.sensor_timeout_s),
            sensor_good_us: micros(config.sensor_good_s),
            blind_us: micros(config.blind_max_s),
        }
    }
}

/// What is remembered from step to step.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Watch {
    steady_us: u64,
    link: Freshness,
    sensors: Freshness,
    link_alive: Since,
    sensors_good: Since,
    still: Since,
    tilted: Since,
    /// The last good sample was tilted too far: held while there is no new one.
    beyond: bool,
    touching: Since,
    standing: Since,
    descending: Since,
    blind: Since,
    request_was_on: bool,
    seen_off: bool,
}

/// What holds at this step.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Facts {
    /// No new good sample came with this step.
    pub(super) hold: bool,
    /// What speaks against arming.
    pub(super) refusals: Reasons,
    pub(super) happened: Happened,
    sensors_finite: bool,
}

impl Facts {
    /// What is wrong in flight.
    pub(super) fn faults(&self) -> Reasons {
        let lost = self.happened.contains(Event::SensorsLost);
        let tilted = self.happened.contains(Event::TiltBeyond) || self.happened.contains(Event::TiltHopeless);
        Reasons::NONE
            .with(Reason::LinkSilent, self.happened.contains(Event::LinkLost))
            .with(Reason::SensorsStale, lost && self.sensors_finite)
            .with(Reason::SensorsNotFinite, lost && !self.sensors_finite)
            .with(Reason::SamplesLate, self.happened.contains(Event::SamplesLate))
            .with(Reason::TiltBeyondRecovery, tilted)
            .with(Reason::DescentTooLong, self.happened.contains(Event::DescentTooLong))
    }
}

/// What the sensors say of this sample.
struct Sensors {
    finite: bool,
    alive: bool,
}

impl Watch {
    /// Looks at one step's input.
    ///
    /// * Input: the state before the step; the sample clock's answer to this step's time
    pub(super) fn step<S: Scalar>(
        &mut self,
        limits: &Limits<S>,
        state: State,
        input: &SupervisorInput<S>,
        tick: &Tick,
    ) -> Facts {
        // The first of all comes after nothing: no run has begun.
        let elapsed_us = brief(tick.steady_us.saturating_sub(self.steady_us));
        self.steady_us = tick.steady_us;
        let mut facts = Facts::default();
        let thrust_low = input.thrust_n <= limits.thrust_low_n;
        let link = self.look_at_link(&mut facts, limits, input, elapsed_us);
        let sensors = self.look_at_sensors(&mut facts, limits, input, elapsed_us);
        self.look_at_clocks(&mut facts, limits, state, input.on_ground == Some(true), thrust_low, elapsed_us);
        let asked = input.arm_request && !self.request_was_on;
        // Off counts while the link lives; over a silent one it is the receiver's own idea.
        self.seen_off = if input.arm_request { self.seen_off } else { link };
        let calm = !facts.hold && input.rate_rad_s <= limits.arm_rate_rad_s;
        let still = self.still.lasted(elapsed_us, calm, limits.arm_still_us);
        let charged = input.battery_share.is_none_or(|share| share >= limits.arm_battery_share);
        facts.refusals = Reasons::NONE
            .with(Reason::ConfigurationInvalid, !input.configuration_valid)
            .with(Reason::AttitudeUnknown, !input.attitude_known)
            .with(Reason::ArmRequestNotSeenOff, !self.seen_off)
            .with(Reason::DisarmHeld, input.disarm)
            .with(Reason::LinkSilent, !link)
            .with(Reason::ThrustNotLow, !thrust_low)
            .with(Reason::NotLevel, !(input.cos_tilt >= limits.arm_cos_tilt))
            .with(Reason::Moving, !still)
            .with(Reason::SensorsStale, !sensors.alive && sensors.finite)
            .with(Reason::SensorsNotFinite, !sensors.finite)
            .with(Reason::SamplesLate, tick.at_fault)
            .with(Reason::BatteryLow, !charged);
        facts.happened.mark(Event::Disarm, input.disarm || (!input.arm_request && link));
        facts.happened.mark(Event::SamplesLate, tick.at_fault);
        facts.happened.mark(Event::ThrustRaised, input.thrust_n > limits.thrust_low_n);
        facts.happened.mark(Event::ArmAccepted, asked && facts.refusals.is_empty());
        facts.happened.mark(Event::ArmRefused, asked && !facts.refusals.is_empty());
        // One try each: a request that stays on does not arm when the last reason goes away.
        self.seen_off = self.seen_off && !asked;
        self.request_was_on = input.arm_request;
        facts
    }

    /// Whether the link is alive.
    fn look_at_link<S: Scalar>(
        &mut self,
        facts: &mut Facts,
        limits: &Limits<S>,
        input: &SupervisorInput<S>,
        elapsed_us: u32,
    ) -> bool {
        let alive = self.link.step(input.demand_at_us, input.now_us, elapsed_us).within(limits.link_timeout_us);
        let plausible = input.thrust_n >= limits.handback_min_n && input.thrust_n <= limits.handback_max_n;
        let good = self.link_alive.lasted(elapsed_us, alive, limits.link_good_us);
        facts.happened.mark(Event::LinkLost, !alive);
        facts.happened.mark(Event::LinkBack, good && plausible);
        alive
    }

    fn look_at_sensors<S: Scalar>(
        &mut self,
        facts: &mut Facts,
        limits: &Limits<S>,
        input: &SupervisorInput<S>,
        elapsed_us: u32,
    ) -> Sensors {
        let finite = input.sensors_finite && input.cos_tilt.is_finite() && input.rate_rad_s.is_finite();
        let sample = self.sensors.step(input.sensed_at_us.filter(|_| finite), input.now_us, elapsed_us);
        let alive = sample.within(limits.sensor_timeout_us);
        facts.sensors_finite = finite;
        facts.hold = !(sample.new && alive);
        facts.happened.mark(Event::SensorsLost, !alive);
        let good = self.sensors_good.lasted(elapsed_us, alive, limits.sensor_good_us);
        facts.happened.mark(Event::SensorsBack, good);
        if !facts.hold {
            self.beyond = input.cos_tilt < limits.cos_tilt;
        }
        let tilted_us = self.tilted.step(elapsed_us, self.beyond);
        let beyond_for = |limit_us| tilted_us.is_some_and(|run_us| run_us >= limit_us);
        let to_be_levelled = beyond_for(limits.tilt_level_us);
        // A craft that lies on its side will not rise from there: its rotors are in the grass.
        let lies = to_be_levelled && input.on_ground == Some(true);
        facts.happened.mark(Event::TiltBeyond, to_be_levelled);
        facts.happened.mark(Event::TiltHopeless, lies || beyond_for(limits.tilt_stop_us));
        Sensors { finite, alive }
    }

    fn look_at_clocks<S: Scalar>(
        &mut self,
        facts: &mut Facts,
        limits: &Limits<S>,
        state: State,
        on_ground: bool,
        thrust_low: bool,
        elapsed_us: u32,
    ) {
        let touching = on_ground && (thrust_low || state != State::Flying);
        let mut lasted = |event, since: &mut Since, holds, limit_us| {
            facts.happened.mark(event, since.lasted(elapsed_us, holds, limit_us));
        };
        lasted(Event::TouchedDown, &mut self.touching, touching, limits.touch_down_us);
        lasted(Event::StandingTooLong, &mut self.standing, state == State::Standing, limits.standing_us);
        // One clock for all kinds of descent: changing between them does not buy time.
        lasted(Event::DescentTooLong, &mut self.descending, state.is_descent(), limits.descent_us);
        lasted(Event::BlindTooLong, &mut self.blind, state == State::FaultBlind, limits.blind_us);
    }
}
