//! One step: from what is sensed and asked to what each rotor is told.

mod asked;
mod config;

use evenkeel_mixer::{Allocation, Mixer, Scalar, Wrench};
use heapless::Vec;

use crate::angle_loop::AngleLoop;
use crate::inertia::Inertia;
use crate::quaternion::Quaternion;
use crate::rate_loop::{AxisSetpoint, RateLoop, RateLoopConfig, RateLoopState};
use crate::reference::{Reference, ReferenceState};
use crate::setpoint::{BodyAxes, Motion, Motors, RateSetpoint, Setpoint};
use crate::tilt_compensation::TiltCompensation;

pub(crate) use asked::Asked;
use asked::Known;
pub use asked::RATE_BELIEVED_MAX;
pub use config::{ControllerConfig, ControllerError};

/// An axis is short of its demand when more than this share of the torque its integrator may hold is missing: far
/// above rounding, far below what matters. Without it rounding would stop integrators whose demand is met.
pub const SHORT_SHARE: f64 = 1.0e-4;

/// What is known of the craft at this sample.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Sensed<S> {
    /// Body to world, unit length.
    pub attitude: Quaternion<S>,
    /// Body rates, rad/s.
    pub rate_rad_s: BodyAxes<S>,
}

/// Everything one step found: the commands, and each signal on the way to them.
#[derive(Clone, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Step<S, const N: usize> {
    /// Attitude the angle loop steers to; what is sensed when it does not run.
    pub wanted_attitude: Quaternion<S>,
    /// What the rate loop was asked for.
    pub rate_setpoint: RateSetpoint<S>,
    /// Angular acceleration the rate loop asks for.
    pub acceleration_rad_s2: BodyAxes<S>,
    /// The mixer's answer; its `demand` is what inertia made of the acceleration.
    pub allocation: Allocation<S, N>,
    /// Command to each rotor, 0 to 1.
    pub commands: Vec<S, N>,
    /// Something sensed or asked was not to be believed. Bad rates: no torque. A bad attitude: the
    /// turning is stopped. Bad angles or rates asked for: level. A bad thrust: the last good one.
    pub invalid_input: bool,
}

/// A validated controller.
#[derive(Clone, Debug, PartialEq)]
pub struct Controller<S> {
    angle_divider: u32,
    rate: [RateLoop<S>; 3],
    angle: AngleLoop<S>,
    reference: Reference<S>,
    inertia: Inertia<S>,
    tilt_compensation: TiltCompensation<S>,
    /// Torque that may be missing before an axis counts as short.
    short_nm: [S; 3],
}

/// What the controller remembers between steps.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ControllerState<S> {
    rate: [RateLoopState<S>; 3],
    steps_to_angle_loop: u32,
    rate_setpoint: RateSetpoint<S>,
    wanted_attitude: Quaternion<S>,
    reference: ReferenceState<S>,
    last_thrust_n: S,
    attitude_was_known: bool,
}

impl<S: Scalar> Default for ControllerState<S> {
    fn default() -> Self {
        ControllerState {
            rate: [RateLoopState::default(); 3],
            steps_to_angle_loop: 0,
            rate_setpoint: RateSetpoint::default(),
            wanted_attitude: Quaternion::IDENTITY,
            reference: ReferenceState::default(),
            last_thrust_n: S::ZERO,
            attitude_was_known: true,
        }
    }
}

impl<S: Scalar> ControllerState<S> {
    /// Forgets everything.
    pub fn reset(&mut self) {
        *self = Self::default();
    }

    /// What a gap in what is sensed makes worthless: everything but what the integrators have learnt.
    fn forget_motion(&mut self) {
        self.rate.iter_mut().for_each(RateLoopState::forget_motion);
        self.reference.reset();
        self.steps_to_angle_loop = 0;
    }

    /// The rate loops' memories: roll, pitch, yaw.
    pub fn rate_loops(&self) -> &[RateLoopState<S>; 3] {
        &self.rate
    }
}

impl<S: Scalar> Controller<S> {
    /// Checks and quantises.
    ///
    /// # Errors
    /// The first block whose configuration makes no sense.
    pub fn new(config: &ControllerConfig) -> Result<Self, ControllerError> {
        if config.angle_divider == 0 {
            return Err(ControllerError::AngleDivider);
        }
        let [roll, pitch, yaw] = config.rate;
        let made = |axis, loop_config| {
            RateLoop::new(&loop_config, config.period_s).map_err(|cause| ControllerError::RateLoop { axis, cause })
        };
        let [[xx, _, _], [_, yy, _], [_, _, zz]] = config.inertia_kg_m2;
        let short_nm =
            |inertia: f64, axis: RateLoopConfig| S::from_f64(SHORT_SHARE * inertia * axis.integral_max_rad_s2);
        Ok(Controller {
            short_nm: [short_nm(xx, roll), short_nm(yy, pitch), short_nm(zz, yaw)],
            angle_divider: config.angle_divider,
            rate: [made(0, roll)?, made(1, pitch)?, made(2, yaw)?],
            angle: AngleLoop::new(&config.angle).map_err(ControllerError::AngleLoop)?,
            reference: Reference::new(&config.reference, config.period_s, config.angle_divider)
                .map_err(ControllerError::Reference)?,
            inertia: Inertia::new(config.inertia_kg_m2).map_err(ControllerError::Inertia)?,
            tilt_compensation: TiltCompensation::new(config.tilt_compensation_max)
                .ok_or(ControllerError::TiltCompensation)?,
        })
    }

    /// One sample: call it once a period.
    ///
    /// Never fails: whatever is sensed or asked, the commands are finite and within limits.
    pub fn step<const N: usize, const F: usize, const P: usize>(
        &self,
        state: &mut ControllerState<S>,
        sensed: &Sensed<S>,
        setpoint: &Setpoint<S>,
        mixer: &Mixer<S, N, F, P>,
    ) -> Step<S, N> {
        let decided = self.decide(state, sensed, setpoint);
        self.carry_out(state, &decided, mixer)
    }

    /// One sample without attitude or rates to go by: this thrust, no torque, and nothing remembered.
    pub fn step_blind<const N: usize, const F: usize, const P: usize>(
        &self,
        state: &mut ControllerState<S>,
        thrust_n: S,
        mixer: &Mixer<S, N, F, P>,
    ) -> Step<S, N> {
        let decided = self.decide_blind(state, thrust_n);
        self.carry_out(state, &decided, mixer)
    }

    /// The first half of [`Controller::step`]: everything before the mixer.
    fn decide(&self, state: &mut ControllerState<S>, sensed: &Sensed<S>, setpoint: &Setpoint<S>) -> Decided<S> {
        let Setpoint { motors, thrust_n, motion } = setpoint;
        let asked = Asked { motors: *motors, thrust_n: *thrust_n, motion: Some(motion), finite: setpoint.is_finite() };
        self.decide_at(state, sensed.attitude.normalized(), sensed.rate_rad_s, asked)
    }

    /// The same with an attitude that is of unit length, none when nothing is known of it.
    #[inline(always)]
    pub(crate) fn decide_at(
        &self,
        state: &mut ControllerState<S>,
        attitude: Option<Quaternion<S>>,
        rate_rad_s: BodyAxes<S>,
        asked: Asked<'_, S>,
    ) -> Decided<S> {
        let motors = asked.motors;
        let known = Known::of(attitude, rate_rad_s, asked, state.last_thrust_n);
        if matches!(motors, Motors::Off | Motors::Idle) {
            state.reset();
            state.wanted_attitude = known.attitude.unwrap_or(Quaternion::IDENTITY);
            return Decided::without_torque(motors, S::ZERO, known.invalid);
        }
        state.last_thrust_n = known.thrust_n;
        let Some(rate_rad_s) = known.rate_rad_s else {
            state.forget_motion();
            return Decided::without_torque(Motors::Idle, known.thrust_n, true);
        };
        if !state.attitude_was_known && known.attitude.is_some() {
            state.reference.reset();
            state.steps_to_angle_loop = 0;
        }
        state.attitude_was_known = known.attitude.is_some();
        // Without an attitude the turning is stopped, and that is all that can be done.
        let (still, level);
        let (attitude, motion) = match (known.attitude, known.motion) {
            (Some(attitude), Some(motion)) => (attitude, motion),
            (Some(attitude), None) => {
                level = Motion::LEVEL;
                (attitude, &level)
            }
            (None, _) => {
                still = Motion::Rates(BodyAxes::default());
                (state.wanted_attitude, &still)
            }
        };
        if state.steps_to_angle_loop == 0 {
            state.steps_to_angle_loop = self.angle_divider;
            self.run_angle_loop(state, &Sensed { attitude, rate_rad_s }, motion);
        } else {
            self.reference.prepare(&mut state.reference, motion, state.steps_to_angle_loop);
        }
        state.steps_to_angle_loop -= 1;
        let acceleration_rad_s2 = self.run_rate_loops(state, rate_rad_s);
        let torque = self.inertia.torque(acceleration_rad_s2, rate_rad_s);
        // Standing on a slope is no reason for more thrust.
        let leaning = known.attitude.filter(|_| motors == Motors::Flying);
        let thrust_n = self.tilt_compensation.raised(known.thrust_n, leaning);
        Decided {
            motors,
            demand: Wrench { thrust_n, roll_nm: torque.roll, pitch_nm: torque.pitch, yaw_nm: torque.yaw },
            rate_setpoint: state.rate_setpoint,
            acceleration_rad_s2,
            invalid_input: known.invalid,
        }
    }

    /// The first half of [`Controller::step_blind`].
    pub(crate) fn decide_blind(&self, state: &mut ControllerState<S>, thrust_n: S) -> Decided<S> {
        let wanted_attitude = state.wanted_attitude;
        state.reset();
        state.wanted_attitude = wanted_attitude;
        Decided::without_torque(Motors::Idle, thrust_n, false)
    }

    /// The other half: the mixer, and what it says to the integrators and to the heading.
    fn carry_out<const N: usize, const F: usize, const P: usize>(
        &self,
        state: &mut ControllerState<S>,
        decided: &Decided<S>,
        mixer: &Mixer<S, N, F, P>,
    ) -> Step<S, N> {
        match mixer.thrusts_off_the_limits(&decided.demand) {
            Some(thrusts_n) => self.conclude(state, decided, mixer.met(decided.demand, thrusts_n), &thrusts_n, mixer).0,
            None => self.carry_out_at_the_limits(state, decided, mixer),
        }
    }

    #[cold]
    #[inline(never)]
    fn carry_out_at_the_limits<const N: usize, const F: usize, const P: usize>(
        &self,
        state: &mut ControllerState<S>,
        decided: &Decided<S>,
        mixer: &Mixer<S, N, F, P>,
    ) -> Step<S, N> {
        self.conclude_at_the_limits(state, decided, mixer).0
    }

    /// As [`Controller::conclude`], with the mixer's answer to any demand.
    #[inline(always)]
    pub(crate) fn conclude_at_the_limits<const N: usize, const F: usize, const P: usize>(
        &self,
        state: &mut ControllerState<S>,
        decided: &Decided<S>,
        mixer: &Mixer<S, N, F, P>,
    ) -> (Step<S, N>, [S; N]) {
        // On the ground no torque may raise the thrust.
        let allocation = match decided.motors {
            Motors::Grounded => mixer.allocate_with_rise(decided.demand, S::ZERO),
            Motors::Off | Motors::Idle | Motors::Flying => mixer.allocate(decided.demand),
        };
        let thrusts_n = core::array::from_fn(|rotor| allocation.thrusts_n.get(rotor).copied().unwrap_or(S::ZERO));
        self.conclude(state, decided, allocation, &thrusts_n, mixer)
    }

    /// What follows the mixer's answer: what it says to the integrators, and the commands, which come beside the step as
    /// well. The thrusts are the allocation's. In line, so that the step is written once: it is large enough for each
    /// copy of it to cost as much as a loop.
    #[inline(always)]
    pub(crate) fn conclude<const N: usize, const F: usize, const P: usize>(
        &self,
        state: &mut ControllerState<S>,
        decided: &Decided<S>,
        allocation: Allocation<S, N>,
        thrusts_n: &[S; N],
        mixer: &Mixer<S, N, F, P>,
    ) -> (Step<S, N>, [S; N]) {
        match decided.motors {
            Motors::Flying => self.integrate(state, &allocation),
            Motors::Grounded => state.rate.iter_mut().for_each(RateLoopState::empty),
            Motors::Off | Motors::Idle => {}
        }
        let off = decided.motors == Motors::Off;
        let commands = if off { [S::ZERO; N] } else { mixer.commands_for(thrusts_n) };
        let step = Step {
            wanted_attitude: state.wanted_attitude,
            rate_setpoint: decided.rate_setpoint,
            acceleration_rad_s2: decided.acceleration_rad_s2,
            commands: of_rotors(commands, mixer.rotors()),
            allocation,
            invalid_input: decided.invalid_input,
        };
        (step, commands)
    }

    /// The pilot's demand, shaped, to a rate set-point; at the angle loop's own pace. The steps between work out what it
    /// follows, and need neither attitude nor rates put into memory for a call.
    #[inline(never)]
    fn run_angle_loop(&self, state: &mut ControllerState<S>, sensed: &Sensed<S>, motion: &Motion<S>) {
        let Sensed { attitude, rate_rad_s } = *sensed;
        let followed = self.reference.step(&mut state.reference, attitude, rate_rad_s, motion);
        state.wanted_attitude = followed.attitude.unwrap_or(attitude);
        state.rate_setpoint = RateSetpoint {
            rate_rad_s: match followed.attitude {
                Some(_) => self.angle.close(followed.error, followed.rate_rad_s),
                None => followed.rate_rad_s,
            },
            acceleration_rad_s2: followed.acceleration_rad_s2,
            expected_rad_s2: followed.expected_rad_s2,
        };
    }

    /// In line: it has one caller, and all it is given would go through memory.
    #[inline(always)]
    fn run_rate_loops(&self, state: &mut ControllerState<S>, rate_rad_s: BodyAxes<S>) -> BodyAxes<S> {
        let RateSetpoint { rate_rad_s: wanted, acceleration_rad_s2: known, expected_rad_s2: expected } =
            state.rate_setpoint;
        let [roll, pitch, yaw] = &self.rate;
        let [roll_state, pitch_state, yaw_state] = &mut state.rate;
        // They begin and forget together: one is asked for all.
        if !roll_state.has_begun() {
            roll_state.begin(rate_rad_s.roll);
            pitch_state.begin(rate_rad_s.pitch);
            yaw_state.begin(rate_rad_s.yaw);
        }
        let axis =
            |wanted_rad_s, known_rad_s2, expected_rad_s2| AxisSetpoint { wanted_rad_s, known_rad_s2, expected_rad_s2 };
        BodyAxes {
            roll: roll.go_on(roll_state, axis(wanted.roll, known.roll, expected.roll), rate_rad_s.roll),
            pitch: pitch.go_on(pitch_state, axis(wanted.pitch, known.pitch, expected.pitch), rate_rad_s.pitch),
            yaw: yaw.go_on(yaw_state, axis(wanted.yaw, known.yaw, expected.yaw), rate_rad_s.yaw),
        }
    }

    #[inline(always)]
    fn integrate<const N: usize>(&self, state: &mut ControllerState<S>, allocation: &Allocation<S, N>) {
        let unmet = allocation.unmet();
        let unmet = [unmet.roll_nm, unmet.pitch_nm, unmet.yaw_nm];
        for (((axis, memory), unmet), least) in self.rate.iter().zip(&mut state.rate).zip(unmet).zip(self.short_nm) {
            // Within rounding of its demand an axis is not short of anything.
            let short = allocation.saturated() && unmet.abs() > least;
            axis.integrate(memory, if short { unmet } else { S::ZERO });
        }
        let ([_, _, yaw_nm], [_, _, least_nm]) = (unmet, self.short_nm);
        if allocation.saturated() && yaw_nm.abs() > least_nm {
            state.reference.yaw_fell_short(yaw_nm);
        }
    }
}

/// The first `rotors` of these, which are all there are. Not `clone` of another list, which calls for a copy of a length
/// that is not known: dearer than all of this for a handful of rotors.
#[inline]
pub(crate) fn of_rotors<S: Scalar, const N: usize>(values: [S; N], rotors: usize) -> Vec<S, N> {
    let mut list = Vec::from_array(values);
    list.truncate(rotors);
    list
}

/// What a step asks of the mixer.
#[derive(Clone, Copy)]
pub(crate) struct Decided<S> {
    /// Flying: the integrators learn from what is achieved. Idle: they do not, whatever the thrust.
    motors: Motors,
    pub(crate) demand: Wrench<S>,
    rate_setpoint: RateSetpoint<S>,
    acceleration_rad_s2: BodyAxes<S>,
    invalid_input: bool,
}

impl<S: Scalar> Decided<S> {
    /// Standing, disarmed, or blind.
    fn without_torque(motors: Motors, thrust_n: S, invalid_input: bool) -> Self {
        Decided {
            motors,
            demand: Wrench { thrust_n, ..Wrench::default() },
            rate_setpoint: RateSetpoint::default(),
            acceleration_rad_s2: BodyAxes::default(),
            invalid_input,
        }
    }
}

#[cfg(test)]
mod tests;
