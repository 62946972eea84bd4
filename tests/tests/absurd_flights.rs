//! Whatever the whole flight computer is told, field by field, in whatever state it is: the commands are numbers within
//! limits, off when they should be off, and each number that is none is reported by its own flag.

use evenkeel::onboard::{Onboard, rotors};
use evenkeel_controller::estimate::{HeadingReference, InertialSample};
use evenkeel_controller::filter::NotchBankConfig;
use evenkeel_controller::{
    BodyAxes, FlightComputer, FlightComputerConfig, FlightState, FlightStep, Motion, Permission, PilotDemand,
    Quaternion, Sample, State,
};
use evenkeel_mixer::{Design, Fixed, Mixer, Priority, RotorSet, Scalar, facet_capacity};
use evenkeel_tests::specimen::quad;

type Quad<S> = Mixer<S, 4, { facet_capacity(4) }>;

const GRAVITY: f64 = 9.806_65;
/// A new life begins after this many steps: long enough for every clock of the supervisor to run out at times.
const LIFE_STEPS: usize = 5_000;
/// Thrusts at a limit are within rounding of it.
const LIMIT_SHARE_TOL: f64 = 1.0e-6;

/// A stream of numbers, some sensible, some absurd, some no numbers at all (splitmix64; G. Steele and others, 2014,
/// from memory).
struct Absurd {
    state: u64,
    /// One number in this many is not what it should be.
    rarity: u64,
    largest: f64,
    mood: Mood,
}

/// What a life is about, beside its absurdities.
#[derive(Clone, Copy, Default)]
struct Mood {
    /// The pilot waits on the ground for half of it.
    waits: bool,
    /// The sensors fall silent two thirds through.
    goes_blind: bool,
    /// The gyro shakes so little that most demands can be met.
    calm: bool,
    /// Rotors are reported stopped at times ...
    loses_rotors: bool,
    /// ... at present these, a bit each.
    stopped: u16,
}

impl Absurd {
    fn bits(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    fn one_in(&mut self, count: u64) -> bool {
        self.bits().is_multiple_of(count)
    }

    fn number<S: Scalar>(&mut self, middle: f64, spread: f64) -> S {
        let plain = middle + spread * (2.0 * (self.bits() >> 11) as f64 / (1_u64 << 53) as f64 - 1.0);
        if !self.one_in(self.rarity) {
            return S::from_f64(plain);
        }
        let bad = [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, self.largest, -self.largest, -0.0, 0.0, 1e-310];
        let bits = self.bits();
        S::from_f64(match bits % 4 {
            0 => plain * 1.0e30,
            1 => plain * 1.0e-40,
            _ => bad[(bits >> 8) as usize % bad.len()],
        })
    }

    fn numbers<S: Scalar, const M: usize>(&mut self, middle: [f64; M], spread: f64) -> [S; M] {
        middle.map(|value| self.number(value, spread))
    }

    fn perhaps<T>(&mut self, value: impl FnOnce(&mut Self) -> T) -> Option<T> {
        let there = !self.one_in(8);
        there.then(|| value(self))
    }

    fn time_us(&mut self, usual_us: u64) -> u64 {
        if !self.one_in(20 * self.rarity) {
            return usual_us;
        }
        let bits = self.bits();
        [0, u64::MAX, usual_us / 2, usual_us.saturating_add(1), bits][bits as usize % 5]
    }

    fn sample<S: Scalar>(&mut self, now_us: u64, age: usize) -> Sample<S, 4> {
        let sensed_at_us = self.time_us(now_us);
        let blind = self.mood.goes_blind && age > LIFE_STEPS * 2 / 3;
        let shake_rad_s = if self.mood.calm { 0.001 } else { 0.3 };
        Sample {
            now_us,
            sensed_at_us: if blind || self.one_in(50) { None } else { Some(sensed_at_us) },
            inertial: InertialSample {
                gyro_rad_s: BodyAxes::from_array(self.numbers([0.0; 3], shake_rad_s)),
                acceleration_m_s2: self.numbers([0.0, 0.0, -GRAVITY], 0.5),
                heading: self.perhaps(|stream| HeadingReference {
                    direction_body: stream.numbers([1.0, 0.0, 0.0], 0.1),
                    north_east: stream.numbers([1.0, 0.0], 0.1),
                }),
            },
            rotor_speeds_rad_s: self.numbers([600.0; 4], 400.0),
            stopped_rotors: self.stopped_rotors(),
            on_ground: if self.one_in(8) { None } else { Some(self.one_in(50)) },
            battery_share: self.perhaps(|stream| stream.number(0.8, 0.1)),
            voltage_share: self.perhaps(|stream| stream.number(0.85, 0.1)),
            climb_m_s: self.perhaps(|stream| stream.number(0.0, 3.0)),
        }
    }

    /// Now and then any bits at all, for one step or until the next time.
    fn stopped_rotors(&mut self) -> RotorSet {
        if !self.mood.loses_rotors {
            return RotorSet::EMPTY;
        }
        if self.one_in(2_000) {
            self.mood.stopped = self.bits() as u16 & self.bits() as u16;
        } else if self.one_in(200) {
            self.mood.stopped = 0;
        }
        RotorSet::from_bits(if self.one_in(500) { self.bits() as u16 } else { self.mood.stopped })
    }

    fn demand<S: Scalar>(&mut self, now_us: u64, age: usize) -> PilotDemand<S> {
        let waits = self.mood.waits && age < LIFE_STEPS / 2;
        let at_us = self.time_us(now_us);
        let [a, b, c] = self.numbers([0.0; 3], 0.5);
        PilotDemand {
            at_us: if self.one_in(50) { None } else { Some(at_us) },
            arm: !self.one_in(5_000),
            disarm: self.one_in(20_000),
            thrust_n: if waits { self.number(0.0, 2.0) } else { self.number(16.0, 12.0) },
            motion: if self.one_in(2) {
                Motion::Rates(BodyAxes::from_array([a, b, c]))
            } else {
                Motion::Angles { roll_rad: a, pitch_rad: b, yaw_rate_rad_s: c }
            },
        }
    }

    fn life<S: Scalar>(&mut self) -> FlightState<S, 4> {
        match self.bits() % 8 {
            _ if self.mood.waits => FlightState::on_the_ground_armed(Quaternion::IDENTITY),
            0 => FlightState::default(),
            _ => FlightState::in_flight(
                Quaternion::from_array(self.numbers([1.0, 0.0, 0.0, 0.0], 0.1)),
                BodyAxes::from_array(self.numbers([0.0; 3], 0.5)),
            ),
        }
    }
}

struct Bench<S: Scalar> {
    computer: FlightComputer<S>,
    mixer: Quad<S>,
    ceiling_n: f64,
}

impl<S: Scalar> Bench<S> {
    fn new() -> Self {
        let craft = quad();
        let onboard = Onboard::<S>::new(&craft, GRAVITY).unwrap_or_else(|error| panic!("{error}"));
        let mut config: FlightComputerConfig = onboard.computer_config;
        config.gyro_filter.notches = Some(NotchBankConfig { quality: 3.0, cycles_per_turn: 1.0, least_hz: 60.0 });
        config.controller.tilt_compensation_max = 1.5;
        let design =
            Design::new(&rotors(&craft), [0.0; 3], Priority::DEFAULT).unwrap_or_else(|error| panic!("{error}"));
        let computer = FlightComputer::new(&config).unwrap_or_else(|error| panic!("{error}"));
        Bench { computer, mixer: Mixer::new(&design), ceiling_n: craft.rotors[0].thrust_max_n }
    }

    fn hold_to_its_promises(&self, step: &FlightStep<S, 4>, sample: &Sample<S, 4>, demand: &PilotDemand<S>) {
        let commands: Vec<f64> = step.commands.iter().map(|command| command.to_f64()).collect();
        assert_eq!(commands.len(), 4, "{step:?}");
        assert!(commands.iter().all(|command| (0.0..=1.0).contains(command)), "{commands:?}");
        let off = step.decision.permission == Permission::MotorsOff;
        assert!(!off || commands.iter().all(|command| *command == 0.0), "motors off: {commands:?}");
        assert!(!demand.disarm || off, "disarmed: {:?}", step.decision);
        let share = step.ceiling_share.to_f64();
        assert!((0.25..=1.0).contains(&share), "{share}");
        if let Some(control) = &step.control {
            let most_n = self.ceiling_n * share * (1.0 + LIMIT_SHARE_TOL);
            let within = |(rotor, thrust_n): (usize, &S)| match self.mixer.has_failed(rotor) {
                true => *thrust_n == S::ZERO && commands[rotor] == 0.0,
                false => (0.3 * (1.0 - LIMIT_SHARE_TOL)..=most_n).contains(&thrust_n.to_f64()),
            };
            assert!(control.allocation.thrusts_n.iter().enumerate().all(within), "{share}: {:?}", control.allocation);
        }
        let estimate = step.estimate.attitude.to_array().map(S::to_f64);
        let length: f64 = estimate.iter().map(|part| part * part).sum();
        assert!((length - 1.0).abs() < 1e-5, "{estimate:?}");
        assert!(step.rate_rad_s.is_finite() && step.estimate.bias_rad_s.is_finite(), "{step:?}");
        let rotors_left = step.decision.state == State::Disarmed || self.mixer.failed() != RotorSet::first(4);
        assert!(rotors_left, "there is always one that is not given up: {step:?}");
        self.look_for_flags(step, sample, demand);
    }

    /// Each field has its own flag.
    fn look_for_flags(&self, step: &FlightStep<S, 4>, sample: &Sample<S, 4>, demand: &PilotDemand<S>) {
        let inertial = &sample.inertial;
        let (status, passed) = (&step.estimate.status, &step.passed_over);
        let bad = |value: Option<S>| value.is_some_and(|value| !value.is_finite());
        let bad_demand = !(demand.thrust_n.is_finite() && demand.motion.is_finite());
        let flown_by = step.decision.permission == Permission::PilotDemand;
        let by_the_loops = step.control.as_ref().is_none_or(|control| control.invalid_input);
        let fields = [
            ("gyro", !inertial.gyro_rad_s.is_finite(), status.gyro_faulty),
            ("accelerometer", inertial.acceleration_m_s2.iter().any(|v| !v.is_finite()), status.accelerometer_faulty),
            ("heading", inertial.heading.is_some_and(|heading| !heading.is_finite()), status.heading_faulty),
            ("rotor speed", sample.rotor_speeds_rad_s.iter().any(|v| !v.is_finite()), passed.rotor_speed),
            ("battery", bad(sample.battery_share), passed.battery),
            ("voltage", bad(sample.voltage_share), passed.voltage),
            ("climb", bad(sample.climb_m_s), passed.climb),
            ("rotor that there is not", sample.stopped_rotors.bits() > 0xf, passed.stopped_rotors),
            ("demand", bad_demand, passed.demand),
            ("demand, by the loops", bad_demand && flown_by, by_the_loops),
        ];
        for (field, is_bad, flag) in fields {
            assert!(!is_bad || flag, "nothing is said of the {field}: {sample:?} {demand:?} {step:?}");
        }
    }
}

/// What came to pass on the way.
#[derive(Debug, Default)]
struct Met {
    states: [usize; 7],
    loops_ran: usize,
    /// With a rotor given up.
    lamed: usize,
    held: usize,
    saturated: usize,
    met: usize,
    flagged: usize,
}

fn survives<S: Scalar>(largest: f64, steps: usize, numbers_can_be_bad: bool) {
    let mut bench = Bench::<S>::new();
    let mut stream = Absurd { state: 11, rarity: 1, largest, mood: Mood::default() };
    let (mut state, mut now_us, mut met) = (FlightState::default(), 0_u64, Met::default());
    for count in 0..steps {
        if count.is_multiple_of(LIFE_STEPS) {
            // Some lives are mad throughout, some meet one bad number now and then.
            stream.rarity = [20, 200, 2_000, 20_000][count / LIFE_STEPS % 4];
            let bits = stream.bits();
            stream.mood = Mood {
                waits: bits & 3 == 0,
                goes_blind: bits & 12 == 0,
                calm: bits & 16 == 0,
                loses_rotors: bits & 96 == 0,
                stopped: 0,
            };
            state = stream.life();
            now_us = 1_000_000;
        }
        let usual_us = now_us.saturating_add(1000);
        now_us = stream.time_us(usual_us);
        let age = count % LIFE_STEPS;
        let (sample, demand) = (stream.sample(now_us, age), stream.demand(now_us, age));
        let step = bench.computer.step(&mut state, &sample, &demand, &mut bench.mixer);
        bench.hold_to_its_promises(&step, &sample, &demand);
        let place = State::ALL.iter().position(|one| *one == step.decision.state).expect("a state");
        met.states[place] += 1;
        met.lamed += usize::from(!bench.mixer.failed().is_empty() && step.control.is_some());
        met.held += usize::from(step.control.is_none());
        met.flagged += usize::from(step.passed_over.any());
        if let Some(control) = &step.control {
            met.loops_ran += usize::from(step.decision.permission == Permission::PilotDemand);
            met.saturated += usize::from(control.allocation.saturated());
            met.met += usize::from(!control.allocation.saturated());
        }
        // A clock that jumped to its end has no tomorrow.
        now_us = if now_us > u64::MAX / 2 { usual_us } else { now_us };
    }
    let often = steps / 1000;
    assert!(met.states.iter().all(|times| *times > often / 10), "{met:?}");
    assert!(met.lamed > steps / 50, "{met:?}");
    assert!(met.loops_ran > steps / 5 && met.held > often, "{met:?}");
    assert!(met.saturated > steps / 10 && met.met > steps / 20, "{met:?}");
    assert!(!numbers_can_be_bad || met.flagged > often, "{met:?}");
    flies_on(&mut bench, now_us);
}

/// And the mixer that went through all this has taken no harm.
fn flies_on<S: Scalar>(bench: &mut Bench<S>, now_us: u64) {
    let mut calm = Absurd { state: 1, rarity: 1 << 40, largest: 0.0, mood: Mood::default() };
    let sample = Sample {
        sensed_at_us: Some(now_us),
        inertial: InertialSample {
            gyro_rad_s: BodyAxes::default(),
            acceleration_m_s2: [0.0, 0.0, -GRAVITY].map(S::from_f64),
            heading: None,
        },
        voltage_share: Some(S::ONE),
        on_ground: Some(false),
        ..calm.sample(now_us, 0)
    };
    let demand = PilotDemand {
        at_us: Some(now_us),
        arm: true,
        disarm: false,
        thrust_n: S::from_f64(15.7),
        motion: Motion::LEVEL,
    };
    // Rotors that were given up are back once it has been disarmed.
    let mut on_the_ground = FlightState::default();
    let demand_none = PilotDemand { arm: false, ..demand };
    (0..4).for_each(|_| {
        bench.computer.step(&mut on_the_ground, &sample, &demand_none, &mut bench.mixer);
    });
    let mut state = FlightState::in_flight(Quaternion::IDENTITY, BodyAxes::default());
    let step = bench.computer.step(&mut state, &sample, &demand, &mut bench.mixer);
    let achieved = step.control.expect("the loops run").allocation.achieved.thrust_n.to_f64();
    assert!((achieved - 15.7).abs() < 1e-4 && step.ceiling_share == S::ONE, "{achieved}");
}

#[test]
fn commands_stay_within_limits_in_single_precision_for_a_million_absurd_steps() {
    survives::<f32>(f64::from(f32::MAX), 1_000_000, true);
}

#[test]
fn commands_stay_within_limits_in_double_precision() {
    survives::<f64>(f64::MAX, 200_000, true);
}

/// Fixed point has no number that is none: all the absurd ones are merely large.
#[test]
fn commands_stay_within_limits_in_fixed_point() {
    survives::<Fixed>(f64::MAX, 200_000, false);
}

#[test]
fn has_commands_to_give_when_a_flight_begins_without_a_sample() {
    let mut bench = Bench::<f32>::new();
    let mut calm = Absurd { state: 1, rarity: 1 << 40, largest: 0.0, mood: Mood::default() };
    let (sample, demand) = (calm.sample(1000, 0), calm.demand(1000, 0));
    let sample = Sample { sensed_at_us: None, ..sample };
    let mut state = FlightState::in_flight(Quaternion::IDENTITY, BodyAxes::default());
    let step =
        bench.computer.step(&mut state, &sample, &PilotDemand { arm: true, disarm: false, ..demand }, &mut bench.mixer);
    bench.hold_to_its_promises(&step, &sample, &demand);
}
