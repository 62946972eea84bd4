//! From inputs to facts: what holds, for how long, and which events that makes.

use evenkeel_mixer::Scalar;

use crate::finite::all_finite;
use crate::supervisor::config::{SupervisorConfig, micros};
use crate::supervisor::freshness::Freshness;
use crate::supervisor::reasons::{Reason, Reasons};
use crate::supervisor::since::Since;
use crate::supervisor::state::State;
use crate::supervisor::supervise::SupervisorInput;
use crate::supervisor::times::Times;
use crate::supervisor::transitions::{Event, Happened};
use crate::trigonometry::sin_cos;

/// The limits, quantised.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Limits<S> {
    pub(super) thrust_low_n: S,
    handback_min_n: S,
    handback_max_n: S,
    arm_cos_tilt: S,
    pub(super) arm_rate_square: S,
    arm_battery_share: S,
    pub(super) cos_tilt: S,
    arm_still_us: u32,
    standing_us: u32,
    touch_down_us: u32,
    pub(super) link_timeout_us: u32,
    link_good_us: u32,
    descent_us: u32,
    tilt_level_us: u32,
    tilt_stop_us: u32,
    pub(super) sensor_timeout_us: u32,
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
            arm_rate_square: S::from_f64(config.arm_rate_max_rad_s * config.arm_rate_max_rad_s),
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
    pub(super) link: Freshness,
    pub(super) sensors: Freshness,
    pub(super) link_alive: Since,
    pub(super) sensors_good: Since,
    pub(super) still: Since,
    tilted: Since,
    /// The last good sample was tilted too far: held while there is no new one.
    pub(super) beyond: bool,
    pub(super) clocks: Clocks,
    request_was_on: bool,
    seen_off: bool,
}

/// What does not last for ever. None of them runs while the pilot flies above the ground.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Clocks {
    touching: Since,
    standing: Since,
    descending: Since,
    blind: Since,
}

/// What holds at this step.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Facts {
    /// No new good sample came with this step.
    pub(super) hold: bool,
    pub(super) happened: Happened,
    sensors_finite: bool,
    thrust_low: bool,
    still: bool,
    /// The arm request has been off, and not been asked since.
    seen_off: bool,
}

impl Facts {
    /// What speaks against arming. Asked of a craft that is disarmed, and in no other step. In line, so that in all others
    /// nothing is put into memory for it.
    #[inline(always)]
    pub(super) fn refusals<S: Scalar>(&self, limits: &Limits<S>, input: &SupervisorInput<S>) -> Reasons {
        let charged = input.battery_share.is_none_or(|share| share >= limits.arm_battery_share);
        let stale = self.happened.contains(Event::SensorsLost) && self.sensors_finite;
        Reasons::NONE
            .with(Reason::ConfigurationInvalid, !input.configuration_valid)
            .with(Reason::AttitudeUnknown, !input.attitude_known)
            .with(Reason::ArmRequestNotSeenOff, !self.seen_off)
            .with(Reason::DisarmHeld, input.disarm)
            .with(Reason::LinkSilent, self.happened.contains(Event::LinkLost))
            .with(Reason::ThrustNotLow, !self.thrust_low)
            .with(Reason::NotLevel, !(input.cos_tilt >= limits.arm_cos_tilt))
            .with(Reason::Moving, !self.still)
            .with(Reason::SensorsStale, stale)
            .with(Reason::SensorsNotFinite, !self.sensors_finite)
            .with(Reason::SamplesLate, self.happened.contains(Event::SamplesLate))
            .with(Reason::BatteryLow, !charged)
            .with(Reason::RotorStopped, input.rotor_stopped)
    }

    /// What is wrong while the pilot flies on.
    pub(super) fn to_land_for(self, state: State) -> Reasons {
        let stopped = state == State::Flying && self.happened.contains(Event::RotorStopped);
        Reasons::NONE.with(Reason::RotorStopped, stopped)
    }

    /// What is wrong in flight.
    #[inline(always)]
    pub(super) fn faults(&self) -> Reasons {
        let lost = self.happened.contains(Event::SensorsLost);
        let tilted = self.happened.contains(Event::TiltBeyond) || self.happened.contains(Event::TiltHopeless);
        Reasons::NONE
            .with(Reason::LinkSilent, self.happened.contains(Event::LinkLost))
            .with(Reason::SensorsStale, lost && self.sensors_finite)
            .with(Reason::SensorsNotFinite, lost && !self.sensors_finite)
            .with(Reason::SamplesLate, self.happened.contains(Event::SamplesLate))
            .with(Reason::RotorStopped, self.happened.contains(Event::RotorStopped))
            .with(Reason::TiltBeyondRecovery, tilted)
            .with(Reason::DescentTooLong, self.happened.contains(Event::DescentTooLong))
    }
}

impl Watch {
    /// Looks at one step's input.
    ///
    /// * Input: the state before the step; what was found of this step's stamps
    pub(super) fn step<S: Scalar>(
        &mut self,
        limits: &Limits<S>,
        state: State,
        input: &SupervisorInput<S>,
        times: &Times,
    ) -> Facts {
        let elapsed_us = times.elapsed_us;
        let mut facts = Facts { thrust_low: input.thrust_n <= limits.thrust_low_n, ..Facts::default() };
        self.look_at_link(&mut facts, limits, input, times);
        self.look_at_sensors(&mut facts, limits, input, elapsed_us);
        let on_ground = input.on_ground == Some(true);
        if state == State::Flying && !on_ground {
            self.clocks = Clocks::default();
        } else {
            self.clocks.step(&mut facts, limits, state, on_ground, elapsed_us);
        }
        let calm = !facts.hold && input.rate_rad_s.square() <= limits.arm_rate_square;
        facts.still = self.still.lasted(elapsed_us, calm, limits.arm_still_us);
        facts.happened.mark(Event::SamplesLate, times.tick.at_fault);
        facts.happened.mark(Event::RotorStopped, input.rotor_stopped);
        facts.happened.mark(Event::ThrustRaised, input.thrust_n > limits.thrust_low_n);
        self.look_at_requests(&mut facts, limits, input);
        facts
    }

    fn look_at_requests<S: Scalar>(&mut self, facts: &mut Facts, limits: &Limits<S>, input: &SupervisorInput<S>) {
        let asked = input.arm_request && !self.request_was_on;
        let link = !facts.happened.contains(Event::LinkLost);
        facts.happened.mark(Event::Disarm, input.disarm || (!input.arm_request && link));
        // Off counts while the link lives; over a silent one it is the receiver's own idea.
        self.seen_off = if input.arm_request { self.seen_off } else { link };
        facts.seen_off = self.seen_off;
        if asked {
            let refused = !facts.refusals(limits, input).is_empty();
            facts.happened.mark(Event::ArmAccepted, !refused);
            facts.happened.mark(Event::ArmRefused, refused);
            // One try each: a request that stays on does not arm when the last reason goes away.
            self.seen_off = false;
        }
        self.request_was_on = input.arm_request;
    }

    fn look_at_link<S: Scalar>(
        &mut self,
        facts: &mut Facts,
        limits: &Limits<S>,
        input: &SupervisorInput<S>,
        times: &Times,
    ) {
        let plausible = input.thrust_n >= limits.handback_min_n && input.thrust_n <= limits.handback_max_n;
        let good = self.link_alive.lasted(times.elapsed_us, times.link_alive, limits.link_good_us);
        facts.happened.mark(Event::LinkLost, !times.link_alive);
        facts.happened.mark(Event::LinkBack, good && plausible);
    }

    fn look_at_sensors<S: Scalar>(
        &mut self,
        facts: &mut Facts,
        limits: &Limits<S>,
        input: &SupervisorInput<S>,
        elapsed_us: u32,
    ) {
        let [roll, pitch, yaw] = input.rate_rad_s.to_array();
        let finite = input.sensors_finite && all_finite([input.cos_tilt, roll, pitch, yaw]);
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
        if let Some(tilted_us) = self.tilted.step(elapsed_us, self.beyond) {
            let to_be_levelled = tilted_us >= limits.tilt_level_us;
            // A craft that lies on its side will not rise from there: its rotors are in the grass.
            let lies = to_be_levelled && input.on_ground == Some(true);
            facts.happened.mark(Event::TiltBeyond, to_be_levelled);
            facts.happened.mark(Event::TiltHopeless, lies || tilted_us >= limits.tilt_stop_us);
        }
    }
}

impl Clocks {
    fn step<S: Scalar>(
        &mut self,
        facts: &mut Facts,
        limits: &Limits<S>,
        state: State,
        on_ground: bool,
        elapsed_us: u32,
    ) {
        let touching = on_ground && (facts.thrust_low || state != State::Flying);
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
