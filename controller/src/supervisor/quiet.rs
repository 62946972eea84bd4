//! The step in which nothing happens: the pilot flies, samples and demands come in time, nothing is wrong.
//!
//! Nearly every step of a flight is one. What the whole look of [`Supervisor::look`] would find in it is known
//! beforehand, so only what could make it another is looked at. Whatever it is, the whole look follows, as if this had
//! not been tried.
//!
//! * Why it is the same machine: the last whole look left every timer at zero that counts towards an event which means
//!   something in flight, and each condition that could start one is asked for here. The other timers, and the stamps, go
//!   on as they do there.

use evenkeel_mixer::Scalar;

use crate::finite::all_finite;
use crate::supervisor::facts::{Clocks, Limits, Watch};
use crate::supervisor::reasons::Reasons;
use crate::supervisor::state::{Permission, State};
use crate::supervisor::supervise::{Decision, Supervisor, SupervisorInput, SupervisorState};
use crate::supervisor::times::InTime;

impl<S: Scalar> Supervisor<S> {
    /// As [`Supervisor::look`], where nothing happens; none where something may, and nothing is remembered then.
    ///
    /// * Input: what [`Supervisor::in_time`] found of this very input's stamps
    #[inline(always)]
    pub(crate) fn quiet(
        &self,
        memory: &mut SupervisorState,
        in_time: Option<InTime>,
        input: &SupervisorInput<S>,
    ) -> Option<Decision<S>> {
        let InTime { elapsed_us, sensed_us, sample_age_us } = in_time?;
        let Limits { thrust_low_n, cos_tilt, arm_rate_square, .. } = self.limits;
        if !memory.settled || input.disarm || !input.arm_request || input.rotor_stopped {
            return None;
        }
        // Low thrust on the ground would be a landing.
        if input.on_ground == Some(true) && !(input.thrust_n > thrust_low_n) {
            return None;
        }
        // Finite only where all three rates are; one that is not for its size alone is left to the whole look.
        let rate_square = input.rate_rad_s.square();
        let finite = input.sensors_finite && all_finite([input.cos_tilt, rate_square]);
        if !(finite && input.cos_tilt >= cos_tilt) {
            return None;
        }
        let calm = rate_square <= arm_rate_square;
        memory.watch.go_on(elapsed_us, sensed_us, sample_age_us, calm);
        Some(Decision {
            state: State::Flying,
            permission: Permission::PilotDemand,
            hold: false,
            event: None,
            reasons: Reasons::NONE,
            tick: memory.clock.tick_in_time(),
        })
    }
}

impl Watch {
    /// Whether a look that left the craft flying left no more than what a quiet step goes on with. Link, sensors and the
    /// arm request are good then, or it would not fly.
    pub(super) fn settled(&self) -> bool {
        !self.beyond && self.clocks == Clocks::default()
    }

    /// What a quiet step remembers.
    fn go_on(&mut self, elapsed_us: u32, sensed_us: u64, sample_age_us: u32, calm: bool) {
        self.sensors.renew(sensed_us, sample_age_us);
        self.link_alive.go_on(elapsed_us);
        self.sensors_good.go_on(elapsed_us);
        self.still.step(elapsed_us, calm);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::setpoint::BodyAxes;
    use crate::supervisor::config::SupervisorConfig;
    use crate::supervisor::sample_clock::SampleClockConfig;
    use crate::supervisor::transitions::Event;
    use std::vec::Vec;

    const PERIOD_US: u64 = 1000;
    /// Steps of all flights together, and of one flight.
    const STEPS: u64 = 1_000_000;
    const FLIGHT: u64 = 400;

    /// Whole numbers below a bound, the same in every run.
    struct Dice(u64);

    impl Dice {
        /// * Source: splitmix64 (G. Steele and others, 2014; from memory)
        fn below(&mut self, bound: u64) -> u64 {
            self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
            let mut z = self.0;
            z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
            z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
            (z ^ (z >> 31)) % bound
        }

        fn one_in(&mut self, bound: u64) -> bool {
            self.below(bound) == 0
        }

        fn of<T: Copy>(&mut self, all: &[T]) -> T {
            all[self.below(all.len() as u64) as usize]
        }
    }

    /// Times so short that a short flight meets each of them.
    fn config() -> SupervisorConfig {
        let usual = SupervisorConfig::usual(1.0e-3, 16.0);
        SupervisorConfig {
            arm_still_s: 0.02,
            standing_max_s: 0.2,
            touch_down_s: 0.02,
            link_timeout_s: 0.01,
            link_good_s: 0.03,
            descent_max_s: 0.2,
            tilt_level_s: 0.02,
            tilt_stop_s: 0.06,
            sensor_timeout_s: 0.005,
            sensor_good_s: 0.02,
            blind_max_s: 0.05,
            samples: SampleClockConfig { overruns_max: 2, window: 4, ..usual.samples },
            ..usual
        }
    }

    /// Goes wrong now and then, and mostly comes right again after a while.
    fn changed(dice: &mut Dice, input: &mut SupervisorInput<f32>) {
        let odd = [f32::NAN, f32::INFINITY, -1.0, 0.0, 1.0e30];
        match dice.below(14) {
            0 => input.arm_request = dice.one_in(2),
            1 => input.disarm = dice.one_in(4),
            2 => input.thrust_n = dice.of(&[0.0, 3.2, 16.0, 30.0, f32::NAN]),
            3 => input.sensors_finite = !dice.one_in(3),
            4 => input.cos_tilt = dice.of(&[1.0, 0.9, -0.17, -0.18, -1.0]),
            5 => input.rate_rad_s.roll = dice.of(&[0.0, 0.1, 0.11, 5.0]),
            6 => input.on_ground = dice.of(&[None, Some(false), Some(true)]),
            7 => input.battery_share = dice.of(&[None, Some(0.9), Some(0.1)]),
            8 => input.attitude_known = !dice.one_in(4),
            9 => input.rotor_stopped = dice.one_in(2),
            10 => input.rate_rad_s.yaw = dice.of(&odd),
            11 => input.cos_tilt = dice.of(&odd),
            _ => *input = sound(dice),
        }
    }

    /// Nothing is wrong: in flight, armed on the ground, or about to arm.
    fn sound(dice: &mut Dice) -> SupervisorInput<f32> {
        let (flies, armed) = dice.of(&[(true, true), (true, true), (false, true), (false, false)]);
        SupervisorInput {
            now_us: 0,
            arm_request: armed,
            disarm: false,
            demand_at_us: None,
            thrust_n: if flies { 16.0 } else { 0.0 },
            sensed_at_us: None,
            sensors_finite: true,
            cos_tilt: 1.0,
            rate_rad_s: BodyAxes::default(),
            on_ground: Some(!flies),
            battery_share: Some(0.9),
            configuration_valid: true,
            attitude_known: true,
            rotor_stopped: false,
        }
    }

    /// The stamps of a flight's next step, in time but for one in so many.
    fn stamped(dice: &mut Dice, input: &mut SupervisorInput<f32>, now_us: &mut u64, odd_one_in: u64) {
        let passed_us = match dice.below(odd_one_in) {
            0 => dice.of(&[0, 1, 1500, 1501, 5000, 50_001, 1 << 32, 1 << 40]),
            _ => PERIOD_US - 100 + dice.below(200),
        };
        *now_us = now_us.wrapping_add(passed_us);
        if dice.one_in(3 * odd_one_in) {
            *now_us = now_us.saturating_sub(dice.of(&[1, 5000, 1 << 33]));
        }
        input.now_us = *now_us;
        if !dice.one_in(odd_one_in) {
            let old = dice.one_in(odd_one_in);
            input.sensed_at_us =
                Some(now_us.wrapping_sub(if old { dice.of(&[4999, 5000, 5001]) } else { dice.below(200) }));
        }
        if !dice.one_in(3) {
            let old = dice.one_in(odd_one_in);
            input.demand_at_us = Some(now_us.wrapping_sub(if old { dice.of(&[9999, 10_000, 10_001]) } else { 300 }));
        }
        if dice.one_in(3 * odd_one_in) {
            let absurd = [None, Some(0), Some(u64::MAX), Some(now_us.wrapping_add(1))];
            (input.sensed_at_us, input.demand_at_us) = (dice.of(&absurd), dice.of(&absurd));
        }
    }

    #[test]
    fn step_decides_and_remembers_what_the_whole_look_does() {
        let supervisor = Supervisor::<f32>::new(&config()).unwrap();
        let mut dice = Dice(1);
        let (mut quiet, mut states, mut events) = (0, Vec::new(), Vec::new());
        for _ in 0..STEPS / FLIGHT {
            let mut memory =
                dice.of(&[SupervisorState::default(), SupervisorState::flying(), SupervisorState::standing()]);
            let mut whole = memory;
            let mut now_us = dice.of(&[0, 1_000_000, (1 << 32) - 300_000, u64::MAX - 300_000]);
            let (mut input, upset, odd) = (sound(&mut dice), dice.of(&[10, 50, 500]), dice.of(&[20, 200, 2000]));
            for _ in 0..FLIGHT {
                if dice.one_in(upset) {
                    changed(&mut dice, &mut input);
                }
                stamped(&mut dice, &mut input, &mut now_us, odd);
                let (mut stepped, before) = (memory, memory);
                let in_time = supervisor.in_time(&mut stepped, input.now_us, input.demand_at_us, input.sensed_at_us);
                quiet += u64::from(supervisor.quiet(&mut stepped, in_time, &input).is_some());
                let decision = supervisor.step(&mut memory, &input);
                assert_eq!(decision, supervisor.look(&mut whole, None, &input), "{before:#?} {input:#?}");
                assert_eq!(memory, whole, "{before:#?} {input:#?}");
                if !states.contains(&decision.state) {
                    states.push(decision.state);
                }
                events.extend(decision.event.filter(|event| !events.contains(event)));
            }
        }
        assert!(quiet > STEPS / 20 && quiet < STEPS / 2, "both ways are tried: {quiet} quiet steps");
        assert_eq!(states.len(), State::ALL.len(), "{states:?}");
        assert_eq!(events.len(), Event::ALL.len(), "{events:?}");
    }
}
