//! How the next motion comes about: stage by stage, in the steps in which the angle loop rests.
//!
//! ```text
//! begin ──► followed ──► BaseTilt ──► BaseHeading ──┐
//!   ▲                                               ▼
//!   │                                 Demand ────► Tilt ──► Attitude ──► Ready ──► followed: the loop runs
//!   │                                   ▲                                            │
//!   │                                   └────────────────────────────────────────────┤
//!   └── the other behaviour is asked for, a reset ───────────────────────────────────┘
//! ```
//!
//! The demand is taken whole, in [`Stage::Demand`]: all that is followed at one run of the angle loop comes from one
//! sample of the pilot's, and angles, rates and accelerations belong to one point of the shaped motion. What the craft
//! does enters nowhere but at the beginning, by the lead of the heading, as the last run saw it, and by the turn where the
//! rotors lack the yaw torque for it.

use evenkeel_mixer::Scalar;

use crate::attitude_error::AttitudeError;
use crate::quaternion::Quaternion;
use crate::reference::lagged::Lagged;
use crate::reference::lean::{Lean, heading_rate, tilt_of, turned};
use crate::reference::{Followed, HEADING_LEAD_MAX, Reference};
use crate::setpoint::{BodyAxes, Motion};

/// Stages between two runs of the angle loop, the run itself not counted.
pub(super) const STAGES: u32 = 3;

/// What the reference remembers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReferenceState<S> {
    behaviour: Behaviour,
    stage: Stage,
    /// Roll and pitch asked for, within their limits: angles or rates, as is flown.
    target: [S; 2],
    /// Rates flown or, for yaw, the turn: shaped and lagged.
    rate: [Lagged<S>; 3],
    /// Roll and pitch; of no meaning unless angles are flown.
    tilt: [Lagged<S>; 2],
    /// Where the nose should point, unless rates are flown.
    heading: Quaternion<S>,
    /// How far that was ahead of the nose at the last run, 2·sin of half the angle.
    lead: S,
    /// What angles come to.
    wanted: Quaternion<S>,
    /// The motion's body rates.
    moving_rad_s: BodyAxes<S>,
    /// Yaw torque that was missing at the last step that fell short since the last run, N·m; 0 when none did.
    yaw_short_nm: S,
}

/// Which of the two behaviours is flown.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
enum Behaviour {
    /// Neither yet, or not since the last reset.
    #[default]
    None,
    Angles,
    Rates,
}

/// What is to be worked out next.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
enum Stage {
    /// Roll and pitch of the attitude that angles begin from. Until that is known the motion brakes, and no demand is
    /// taken.
    BaseTilt,
    /// The heading of that attitude.
    BaseHeading,
    /// The pilot's demand within its limits; the turn, shaped; the heading.
    Demand,
    /// Roll and pitch, or their rates, shaped.
    Tilt,
    /// Attitude and body rates of the motion.
    Attitude,
    /// Nothing: it can be followed.
    #[default]
    Ready,
}

impl<S: Scalar> Default for ReferenceState<S> {
    fn default() -> Self {
        ReferenceState {
            behaviour: Behaviour::None,
            stage: Stage::Ready,
            target: [S::ZERO; 2],
            rate: [Lagged::default(); 3],
            tilt: [Lagged::default(); 2],
            heading: Quaternion::IDENTITY,
            lead: S::ZERO,
            wanted: Quaternion::IDENTITY,
            moving_rad_s: BodyAxes::default(),
            yaw_short_nm: S::ZERO,
        }
    }
}

impl Behaviour {
    fn of<S>(motion: &Motion<S>) -> Self {
        match motion {
            Motion::Angles { .. } => Behaviour::Angles,
            Motion::Rates(_) => Behaviour::Rates,
        }
    }
}

impl<S: Scalar> ReferenceState<S> {
    /// Forgets everything; the next step starts from the attitude and rates of the craft.
    pub fn reset(&mut self) {
        *self = Self::default();
    }

    /// The rotors gave this much less yaw torque than was demanded.
    pub(crate) fn yaw_fell_short(&mut self, unmet_nm: S) {
        self.yaw_short_nm = unmet_nm;
    }

    /// Whether yaw torque was missing since the last run.
    pub(super) fn yaw_is_short(&self) -> bool {
        self.yaw_short_nm != S::ZERO
    }

    /// While yaw torque is missing in the sense of the turn, the turn wanted is no faster than the nose turns. The heading,
    /// its integral, then stays where the nose can follow, and the nose has no turn to make up for when the torque is back.
    /// A heading that is held does not move by this: a nose that is blown away comes back to it.
    ///
    /// The shaped acceleration stays, and with it the demand for torque.
    ///
    /// * Source: conditioned set-points against windup: K. J. Åström, T. Hägglund, Advanced PID Control, 2006, ch. 3 (from
    ///   memory)
    #[cold]
    pub(super) fn limit_turn_to_craft(&mut self, attitude: Quaternion<S>, rate_rad_s: BodyAxes<S>) {
        let short_nm = core::mem::replace(&mut self.yaw_short_nm, S::ZERO);
        if self.behaviour != Behaviour::Angles {
            return;
        }
        let nose_rad_s = heading_rate(attitude, rate_rad_s);
        let [_, _, turn] = &mut self.rate;
        for wanted_rad_s in [&mut turn.shaped.value, &mut turn.value] {
            *wanted_rad_s = match short_nm > S::ZERO {
                true => wanted_rad_s.smaller(nose_rad_s.larger(S::ZERO)),
                false => wanted_rad_s.larger(nose_rad_s.smaller(S::ZERO)),
            };
        }
    }

    /// Whether what is worked out so far is this behaviour's.
    pub(super) fn flies(&self, motion: &Motion<S>) -> bool {
        self.behaviour == Behaviour::of(motion)
    }

    pub(super) fn is_ready(&self) -> bool {
        self.stage == Stage::Ready
    }

    /// This behaviour is flown from now on, from where the craft is and how it turns; nothing that was worked out
    /// before is left.
    fn begin(motion: &Motion<S>, attitude: Quaternion<S>, rate_rad_s: BodyAxes<S>) -> Self {
        // Body rates stand in for the rates of the angles: the same where the tilt is small. The angles come later.
        let BodyAxes { roll, pitch, .. } = rate_rad_s;
        ReferenceState {
            behaviour: Behaviour::of(motion),
            rate: rate_rad_s.to_array().map(Lagged::at),
            tilt: [Lagged::moving(S::ZERO, roll), Lagged::moving(S::ZERO, pitch)],
            wanted: attitude,
            moving_rad_s: rate_rad_s,
            ..Self::default()
        }
    }

    /// The motion as far as it is worked out, and the first stage of the next.
    pub(super) fn follow(&mut self, attitude: Quaternion<S>, begun: bool) -> Followed<S> {
        let angles = self.behaviour == Behaviour::Angles;
        self.stage = if begun && angles { Stage::BaseTilt } else { Stage::Demand };
        let [roll_rate, pitch_rate, turn] = &self.rate;
        if !angles {
            let axes = |of: fn(&Lagged<S>) -> S| BodyAxes { roll: of(roll_rate), pitch: of(pitch_rate), yaw: of(turn) };
            return Followed {
                attitude: None,
                error: AttitudeError::default(),
                rate_rad_s: self.moving_rad_s,
                acceleration_rad_s2: axes(|axis| axis.shaped.rate),
                expected_rad_s2: axes(|axis| axis.rate),
            };
        }
        let [roll, pitch] = &self.tilt;
        let error = AttitudeError::between(attitude, self.wanted);
        self.lead = error.yaw;
        Followed {
            attitude: Some(self.wanted),
            error,
            rate_rad_s: self.moving_rad_s,
            acceleration_rad_s2: BodyAxes {
                roll: roll.shaped.acceleration,
                pitch: pitch.shaped.acceleration,
                yaw: turn.shaped.rate,
            },
            expected_rad_s2: BodyAxes { roll: roll.acceleration, pitch: pitch.acceleration, yaw: turn.rate },
        }
    }

    /// Roll and pitch of the attitude that was wanted at the beginning.
    fn find_base_tilt(&mut self) {
        self.target = tilt_of(self.wanted);
        for (axis, base) in self.tilt.iter_mut().zip(self.target) {
            axis.value = base;
            axis.shaped.value = base;
        }
    }

    /// Its heading. Roll and pitch go on braking where they are.
    fn find_base_heading(&mut self, period_s: S) {
        self.heading = Lean::of(self.target).beneath(self.wanted);
        self.turn_heading(period_s);
    }

    /// The heading wanted a run later, unless it is too far ahead of the nose already.
    fn turn_heading(&mut self, period_s: S) {
        let [_, _, turn] = &self.rate;
        let ahead = self.lead.abs() > S::from_f64(HEADING_LEAD_MAX) && (self.lead > S::ZERO) == (turn.value > S::ZERO);
        if !ahead {
            self.heading = turned(self.heading, turn.value * period_s);
        }
    }
}

impl<S: Scalar> Reference<S> {
    /// The next stage; none of them while the pilot asks for the other behaviour, which begins at the next run. A call
    /// each: a loop over all stages in line would make ready for all of them, and run one.
    #[inline(never)]
    pub(super) fn work_out(&self, state: &mut ReferenceState<S>, motion: &Motion<S>) {
        if !state.flies(motion) {
            return;
        }
        state.stage = match state.stage {
            Stage::BaseTilt => {
                state.find_base_tilt();
                Stage::BaseHeading
            }
            Stage::BaseHeading => {
                state.find_base_heading(self.period_s);
                Stage::Tilt
            }
            Stage::Demand => {
                self.take_demand(state, motion);
                Stage::Tilt
            }
            Stage::Tilt => {
                self.shape_tilt(state);
                Stage::Attitude
            }
            Stage::Attitude => {
                self.find_attitude(state);
                Stage::Ready
            }
            Stage::Ready => Stage::Ready,
        };
    }

    /// The first motion of a behaviour: with angles roll and pitch brake at their limits, whatever is asked for, so that
    /// a craft that turns is slowed at once.
    #[cold]
    pub(super) fn begin(
        &self,
        state: &mut ReferenceState<S>,
        motion: &Motion<S>,
        attitude: Quaternion<S>,
        rate_rad_s: BodyAxes<S>,
    ) {
        *state = ReferenceState::begin(motion, attitude, rate_rad_s);
        if state.behaviour == Behaviour::Angles {
            self.shape_tilt(state);
            let [roll, pitch] = &state.tilt;
            state.moving_rad_s = BodyAxes { roll: roll.rate, pitch: pitch.rate, ..rate_rad_s };
        }
    }

    fn take_demand(&self, state: &mut ReferenceState<S>, motion: &Motion<S>) {
        let [roll_max, pitch_max, turn_max] = self.rate_max_rad_s;
        let [first, second, turn_rad_s] = motion.to_array();
        let [_, _, turn] = &mut state.rate;
        let [_, _, shaper] = &self.rate;
        turn.step(shaper, self.keep, turn_rad_s.limit_size(turn_max));
        match motion {
            Motion::Rates(_) => state.target = [first.limit_size(roll_max), second.limit_size(pitch_max)],
            Motion::Angles { .. } => {
                state.target = self.within_tilt([first, second]);
                state.turn_heading(self.period_s);
            }
        }
    }

    fn shape_tilt(&self, state: &mut ReferenceState<S>) {
        let [roll_rate, pitch_rate, _] = &mut state.rate;
        let [roll_rate_shaper, pitch_rate_shaper, _] = &self.rate;
        let [roll, pitch] = &mut state.tilt;
        let [roll_shaper, pitch_shaper] = &self.tilt;
        let ((roll, roll_shaper), (pitch, pitch_shaper)) = match state.behaviour {
            Behaviour::Angles => ((roll, roll_shaper), (pitch, pitch_shaper)),
            Behaviour::Rates | Behaviour::None => ((roll_rate, roll_rate_shaper), (pitch_rate, pitch_rate_shaper)),
        };
        let [roll_target, pitch_target] = state.target;
        roll.step(roll_shaper, self.keep, roll_target);
        pitch.step(pitch_shaper, self.keep, pitch_target);
    }

    fn find_attitude(&self, state: &mut ReferenceState<S>) {
        let [roll_rate, pitch_rate, turn] = &state.rate;
        if state.behaviour == Behaviour::Angles {
            let [roll, pitch] = &state.tilt;
            let lean = Lean::of([roll.value, pitch.value]);
            state.wanted = lean.at(state.heading);
            state.moving_rad_s = lean.body_rates(roll.rate, pitch.rate, turn.value);
        } else {
            state.moving_rad_s = BodyAxes { roll: roll_rate.value, pitch: pitch_rate.value, yaw: turn.value };
        }
    }

    /// The tilt asked for, limited with its direction kept; beyond two radians each axis is cut first.
    fn within_tilt(&self, [roll, pitch]: [S; 2]) -> [S; 2] {
        let limit = self.tilt_max_rad;
        let (roll, pitch) = (roll.limit_size(S::TWO), pitch.limit_size(S::TWO));
        let square = roll * roll + pitch * pitch;
        let share = if square > limit * limit { limit * square.recip_sqrt() } else { S::ONE };
        [share * roll, share * pitch]
    }
}

#[cfg(test)]
mod tests;
