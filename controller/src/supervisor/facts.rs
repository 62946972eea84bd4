//! From inputs to facts: what holds, for how long, and which events that makes.

use evenkeel_mixer::Scalar;

use crate::supervisor::config::{SupervisorConfig, micros};
use crate::supervisor::freshness::Freshness;
use crate::supervisor::reasons::{Reason, Reasons};
use crate::supervisor::sample_clock::Tick;
use crate::supervisor::since::Since;
use crate::supervisor::state::State;
use crate::supervisor::supervise::SupervisorInput;
use crate::supervisor::transitions::Event;
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
    arm_still_us: u64,
    standing_us: u64,
    touch_down_us: u64,
    link_timeout_us: u64,
    link_good_us: u64,
    descent_us: u64,
    tilt_level_us: u64,
    tilt_stop_us: u64,
    sensor_timeout_us: u64,
    sensor_good_us: u64,
    blind_us: u64,
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
    /// What is wrong in flight.
    pub(super) faults: Reasons,
    disarm: bool,
    arm_asked: bool,
    tilt_level: bool,
    tilt_stop: bool,
    sensors_lost: bool,
    sensors_back: bool,
    blind_too_long: bool,
    descent_too_long: bool,
    touched_down: bool,
    samples_late: bool,
    link_lost: bool,
    link_back: bool,
    standing_too_long: bool,
    thrust_raised: bool,
}

impl Facts {
    /// Whether this event happened.
    pub(super) fn happened(&self, event: Event) -> bool {
        match event {
            Event::Disarm => self.disarm,
            Event::TiltHopeless => self.tilt_stop,
            Event::SensorsLost => self.sensors_lost,
            Event::BlindTooLong => self.blind_too_long,
            Event::DescentTooLong => self.descent_too_long,
            Event::TouchedDown => self.touched_down,
            Event::TiltBeyond => self.tilt_level,
            Event::SamplesLate => self.samples_late,
            Event::LinkLost => self.link_lost,
            Event::SensorsBack => self.sensors_back,
            Event::LinkBack => self.link_back,
            Event::StandingTooLong => self.standing_too_long,
            Event::ThrustRaised => self.thrust_raised,
            Event::ArmAccepted => self.arm_asked && self.refusals.is_empty(),
            Event::ArmRefused => self.arm_asked && !self.refusals.is_empty(),
        }
    }
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
        let mut facts = Facts { samples_late: tick.at_fault, ..Facts::default() };
        self.look_at_link(&mut facts, limits, input, tick);
        let finite = self.look_at_sensors(&mut facts, limits, input, tick);
        self.look_at_clocks(&mut facts, limits, state, input, tick);
        let thrust_low = input.thrust_n <= limits.thrust_low_n;
        facts.thrust_raised = input.thrust_n > limits.thrust_low_n;
        facts.disarm = input.disarm || (!input.arm_request && !facts.link_lost);
        facts.arm_asked = input.arm_request && !self.request_was_on;
        // Off counts while the link lives; over a silent one it is the receiver's own idea.
        self.seen_off = if input.arm_request { self.seen_off } else { !facts.link_lost };
        facts.faults = Reasons::NONE
            .with(Reason::LinkSilent, facts.link_lost)
            .with(Reason::SensorsStale, facts.sensors_lost && finite)
            .with(Reason::SensorsNotFinite, facts.sensors_lost && !finite)
            .with(Reason::SamplesLate, facts.samples_late)
            .with(Reason::TiltBeyondRecovery, facts.tilt_level || facts.tilt_stop)
            .with(Reason::DescentTooLong, facts.descent_too_long);
        let still = !facts.hold && input.rate_rad_s <= limits.arm_rate_rad_s;
        let level = input.cos_tilt >= limits.arm_cos_tilt;
        let charged = input.battery_share.is_none_or(|share| share >= limits.arm_battery_share);
        facts.refusals = Reasons::NONE
            .with(Reason::ConfigurationInvalid, !input.configuration_valid)
            .with(Reason::AttitudeUnknown, !input.attitude_known)
            .with(Reason::ArmRequestNotSeenOff, !self.seen_off)
            .with(Reason::DisarmHeld, input.disarm)
            .with(Reason::LinkSilent, facts.link_lost)
            .with(Reason::ThrustNotLow, !thrust_low)
            .with(Reason::NotLevel, !level)
            .with(Reason::Moving, !self.still.lasted(tick.steady_us, still, limits.arm_still_us))
            .with(Reason::SensorsStale, facts.sensors_lost && finite)
            .with(Reason::SensorsNotFinite, !finite)
            .with(Reason::SamplesLate, facts.samples_late)
            .with(Reason::BatteryLow, !charged);
        // One try each: a request that stays on does not arm when the last reason goes away.
        self.seen_off = self.seen_off && !facts.arm_asked;
        self.request_was_on = input.arm_request;
        facts
    }

    fn look_at_link<S: Scalar>(
        &mut self,
        facts: &mut Facts,
        limits: &Limits<S>,
        input: &SupervisorInput<S>,
        tick: &Tick,
    ) {
        let alive = self.link.step(input.demand_at_us, input.now_us, tick.steady_us).within(limits.link_timeout_us);
        facts.link_lost = !alive;
        let plausible = input.thrust_n >= limits.handback_min_n && input.thrust_n <= limits.handback_max_n;
        facts.link_back = self.link_alive.lasted(tick.steady_us, alive, limits.link_good_us) && plausible;
    }

    /// Whether what the sensors say is finite.
    fn look_at_sensors<S: Scalar>(
        &mut self,
        facts: &mut Facts,
        limits: &Limits<S>,
        input: &SupervisorInput<S>,
        tick: &Tick,
    ) -> bool {
        let finite = input.sensors_finite && input.cos_tilt.is_finite() && input.rate_rad_s.is_finite();
        let sample = self.sensors.step(input.sensed_at_us.filter(|_| finite), input.now_us, tick.steady_us);
        let alive = sample.within(limits.sensor_timeout_us);
        facts.hold = !(sample.new && alive);
        facts.sensors_lost = !alive;
        facts.sensors_back = self.sensors_good.lasted(tick.steady_us, alive, limits.sensor_good_us);
        if !facts.hold {
            self.beyond = input.cos_tilt < limits.cos_tilt;
        }
        let tilted_us = self.tilted.step(tick.steady_us, self.beyond);
        let beyond_for = |limit_us| tilted_us.is_some_and(|run_us| run_us >= limit_us);
        facts.tilt_level = beyond_for(limits.tilt_level_us);
        // A craft that lies on its side will not rise from there: its rotors are in the grass.
        let lies = facts.tilt_level && input.on_ground == Some(true);
        facts.tilt_stop = lies || beyond_for(limits.tilt_stop_us);
        finite
    }

    fn look_at_clocks<S: Scalar>(
        &mut self,
        facts: &mut Facts,
        limits: &Limits<S>,
        state: State,
        input: &SupervisorInput<S>,
        tick: &Tick,
    ) {
        let now_us = tick.steady_us;
        let thrust_low = input.thrust_n <= limits.thrust_low_n;
        let touching = input.on_ground == Some(true) && (thrust_low || state != State::Flying);
        facts.touched_down = self.touching.lasted(now_us, touching, limits.touch_down_us);
        facts.standing_too_long = self.standing.lasted(now_us, state == State::Standing, limits.standing_us);
        // One clock for all kinds of descent: changing between them does not buy time.
        facts.descent_too_long = self.descending.lasted(now_us, state.is_descent(), limits.descent_us);
        facts.blind_too_long = self.blind.lasted(now_us, state == State::FaultBlind, limits.blind_us);
    }
}
