//! What holds whatever happens: random stories, and input that is no input.

use evenkeel_controller::{
    BodyAxes, Decision, Event, Permission, State, Supervisor, SupervisorConfig, SupervisorInput, SupervisorState,
};
use proptest::prelude::*;

#[path = "supervisor/bench.rs"]
mod bench;

use bench::{Bench, HOVER_N, PERIOD_US, World};

fn config() -> SupervisorConfig {
    SupervisorConfig {
        // Short, so that random stories run into them.
        standing_max_s: 2.0,
        descent_max_s: 1.5,
        ..SupervisorConfig::usual(1.0e-6 * PERIOD_US as f64, HOVER_N)
    }
}

/// Samples by which a time limit may be overrun: one to see it, one because one move is made a step.
const SLACK_STEPS: u64 = 2;

/// Watches one story and checks each step against what was before.
struct Judge {
    before: State,
    /// A request that was off while the link lived, since the last one that was on.
    seen_off: bool,
    entered_us: u64,
    descent_us: u64,
}

impl Judge {
    const POWER_UP: Self = Judge { before: State::Disarmed, seen_off: false, entered_us: 0, descent_us: 0 };

    fn check(&mut self, input: &SupervisorInput<f32>, step: &Decision<f32>) {
        let (from, to) = (self.before, step.state);
        let stopped = matches!(to, State::Disarmed | State::FaultStopped);
        assert_eq!(stopped, step.permission == Permission::MotorsOff, "{to}");
        assert!(!input.disarm || to == State::Disarmed, "disarming takes one step, from {from}");
        assert!(!from.is_fault() || to.is_fault() || step.event == Some(Event::Disarm), "{from} {to}");
        assert!(from == to || step.event.is_some(), "{from} {to} without an event");
        if to.is_fault() {
            assert!(!step.reasons.is_empty(), "{from} {to}: a fault has a reason");
        }
        if let Permission::LevelDescent { thrust_n } | Permission::BlindDescent { thrust_n } = step.permission {
            assert!(thrust_n > 0.0 && thrust_n < HOVER_N as f32, "{thrust_n}");
        }
        if from == State::Disarmed && to != State::Disarmed {
            self.check_arming(input, step);
        }
        self.check_clocks(step);
        self.before = to;
    }

    /// Against the limits as they stand in the configuration, not as the supervisor reads them.
    fn check_arming(&self, input: &SupervisorInput<f32>, step: &Decision<f32>) {
        let config = config();
        assert_eq!((step.state, step.event), (State::Standing, Some(Event::ArmAccepted)));
        assert!(input.arm_request && !input.disarm && self.seen_off, "asked, and seen off before");
        assert!(input.configuration_valid && input.attitude_known && input.sensors_finite);
        assert!(input.thrust_n <= (config.thrust_low_share * HOVER_N) as f32, "{}", input.thrust_n);
        assert!(f64::from(input.cos_tilt) >= config.arm_tilt_max_rad.cos() - 1.0e-6, "{}", input.cos_tilt);
        let size = input.rate_rad_s.to_array().map(f64::from).iter().map(|rate| rate * rate).sum::<f64>().sqrt();
        assert!(size <= config.arm_rate_max_rad_s + 1.0e-6, "{size}");
        assert!(input.battery_share.is_none_or(|share| f64::from(share) >= config.arm_battery_min_share - 1.0e-6));
        let age = |stamp: Option<u64>| input.now_us - stamp.expect("there was one");
        assert!(age(input.demand_at_us) as f64 <= 1.0e6 * config.link_timeout_s);
        assert!(age(input.sensed_at_us) as f64 <= 1.0e6 * config.sensor_timeout_s);
        assert!(!step.tick.at_fault);
    }

    fn check_clocks(&mut self, step: &Decision<f32>) {
        let (config, now_us) = (config(), step.tick.steady_us);
        if step.state != self.before {
            self.entered_us = now_us;
            if !self.before.is_descent() {
                self.descent_us = now_us;
            }
        }
        let longest_step_us = 1.0e6 * config.samples.gap_max_s;
        let within = |start_us: u64, limit_s: f64| {
            let limit_us = 1.0e6 * limit_s + SLACK_STEPS as f64 * longest_step_us;
            assert!((now_us - start_us) as f64 <= limit_us, "{}: since {start_us}, now {now_us}", step.state);
        };
        if step.state.is_descent() {
            within(self.descent_us, config.descent_max_s);
        }
        match step.state {
            State::FaultBlind => within(self.entered_us, config.blind_max_s),
            State::Standing => within(self.entered_us, config.standing_max_s),
            _ => (),
        }
    }
}

/// One turn of a story: what changes, and for how long it then stays so.
type Turn = (u8, bool, u64);

/// Half of the turns mend what is broken, so that stories come to fly.
fn turned(world: &mut World, (what, good, _): Turn) {
    match what {
        0 => world.link = good,
        1 => world.sensors = good,
        2 => world.sensors_finite = good,
        3 | 4 => world.arm_request = good,
        5 => world.disarm = !good,
        6 => (world.thrust_share, world.on_ground) = (1.0, Some(false)),
        7 => world.thrust_share = if good { 0.0 } else { f64::NAN },
        8 => world.tilt_deg = if good { 0.0 } else { 150.0 },
        9 => world.rate_rad_s = if good { 0.0 } else { 1.0 },
        10 => world.on_ground = if good { Some(true) } else { None },
        11 => world.battery_share = if good { None } else { Some(0.1) },
        12 => world.configuration_valid = good,
        13 => world.period_us = if good { PERIOD_US } else { 2 * PERIOD_US },
        14 => world.period_us = if good { PERIOD_US } else { 70 * PERIOD_US },
        15 => world.attitude_known = good,
        _ => *world = World { arm_request: world.arm_request, ..bench::SOUND },
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn rules_hold_when_stories_are_random(
        take_off in any::<bool>(),
        turns in prop::collection::vec((0_u8..18, prop::bool::weighted(0.6), 1_u64..1200), 1..40),
    ) {
        let (mut bench, mut judge) = (Bench::new(&config()), Judge::POWER_UP);
        let start: &[Turn] = &[(15, true, 800), (3, true, 100), (6, true, 100)];
        for turn in start.iter().filter(|_| take_off).chain(&turns) {
            turned(&mut bench.world, *turn);
            for _ in 0..turn.2 {
                let decision = bench.step();
                let input = bench.input();
                judge.check(&input, &decision);
                // The bench's link was alive when its last demand is young enough.
                let young = input.demand_at_us.is_some_and(|at| (input.now_us - at) as f64 <= 1.0e6 * config().link_timeout_s);
                judge.seen_off = if input.arm_request { false } else { young };
            }
        }
    }

    #[test]
    fn nothing_breaks_when_input_is_no_input(
        steps in prop::collection::vec(
            (
                (any::<u64>(), any::<bool>(), prop::bool::weighted(0.1), any::<Option<u64>>(), prop::num::f32::ANY),
                (any::<Option<u64>>(), any::<bool>(), prop::num::f32::ANY, prop::num::f32::ANY),
                (any::<Option<bool>>(), prop::option::of(prop::num::f32::ANY), any::<bool>()),
            ),
            1..200,
        ),
        near in any::<bool>(),
    ) {
        let (supervisor, mut memory) = (Supervisor::<f32>::new(&config()).unwrap(), SupervisorState::default());
        let mut before = State::Disarmed;
        for ((now, arm_request, disarm, demand, thrust_n), (sensed, finite, cos_tilt, rate), (ground, battery, valid)) in steps {
            // Far apart, or so near that limits are met.
            let time = |value: u64| if near { value % 3_000_000 } else { value };
            let input = SupervisorInput {
                now_us: time(now),
                arm_request,
                disarm,
                demand_at_us: demand.map(time),
                thrust_n,
                sensed_at_us: sensed.map(time),
                sensors_finite: finite,
                cos_tilt,
                rate_rad_s: BodyAxes { roll: rate, pitch: -rate, yaw: 0.0 },
                on_ground: ground,
                battery_share: battery,
                configuration_valid: valid,
                attitude_known: valid,
                rotor_stopped: !valid,
            };
            let step = supervisor.step(&mut memory, &input);
            prop_assert_eq!(memory.state(), step.state);
            prop_assert_eq!(
                step.permission.motors_on(),
                !matches!(step.state, State::Disarmed | State::FaultStopped)
            );
            prop_assert!(!disarm || step.state == State::Disarmed);
            prop_assert!(!before.is_fault() || step.state.is_fault() || step.state == State::Disarmed);
            prop_assert!(step.state != State::Flying || before != State::Disarmed);
            before = step.state;
        }
    }
}

/// The random stories are worth something only if they get about.
#[test]
fn random_stories_reach_every_state() {
    use proptest::strategy::ValueTree;
    use proptest::test_runner::TestRunner;

    let mut runner = TestRunner::deterministic();
    let stories = prop::collection::vec((0_u8..18, prop::bool::weighted(0.6), 1_u64..1200), 1..40);
    let mut visits = [0; State::ALL.len()];
    for _ in 0..100 {
        let turns = stories.new_tree(&mut runner).unwrap().current();
        let mut bench = Bench::new(&config());
        let start: &[Turn] = &[(15, true, 800), (3, true, 100), (6, true, 100)];
        let mut before = State::Disarmed;
        for turn in start.iter().chain(&turns) {
            turned(&mut bench.world, *turn);
            for _ in 0..turn.2 {
                let to = bench.step().state;
                if to != before {
                    visits.iter_mut().zip(State::ALL).filter(|(_, state)| *state == to).for_each(|(n, _)| *n += 1);
                }
                before = to;
            }
        }
    }
    assert!(visits.iter().all(|visits| *visits >= 10), "{visits:?}");
}

#[test]
fn clock_set_in_flight_neither_drops_the_craft_nor_frees_it_of_limits() {
    for jump_us in [-1_000_000_i64, 3_600_000_000] {
        let mut bench = Bench::new(&config());
        for _ in 0..1000 {
            bench.step();
        }
        bench.world.arm_request = true;
        bench.step();
        (bench.world.thrust_share, bench.world.on_ground) = (1.0, Some(false));
        bench.step();
        bench.world.link = false;
        bench.until(State::LinkLost);
        // One more step, by the new clock.
        bench.now_us = bench.now_us.saturating_add_signed(jump_us);
        let (start, mut steps) = (bench.step(), 0);
        assert!(start.permission.motors_on(), "{jump_us}: {:?}", start.state);
        while bench.step().permission.motors_on() {
            steps += 1;
            assert!(steps < 1600, "{jump_us}: the descent's limit still holds");
        }
        assert!(steps > 1300, "{jump_us}: {steps} steps, and was not used up");
    }
}
