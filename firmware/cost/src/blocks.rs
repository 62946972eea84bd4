//! The blocks of one step, each counted alone with what that step gave it.
//!
//! The flight computer flies; beside it each block that can be called by itself takes the same step once more, with
//! its own memory, and must answer with the bits that the flight computer found. What cannot be called by itself is in
//! the difference to the whole step.

use core::hint::black_box;

use evenkeel_controller::estimate::{AttitudeEstimator, AttitudeEstimatorState, Estimate};
use evenkeel_controller::filter::{GyroFilter, GyroFilterState};
use evenkeel_controller::{
    AngleLoop, AxisSetpoint, Battery, BatteryState, BodyAxes, FlightComputer, FlightComputerConfig, FlightStep,
    Inertia, PilotDemand, Quaternion, RateLoop, RateLoopState, Reference, ReferenceState, Sample, State, Step,
    Supervisor, SupervisorInput, SupervisorState,
};
use evenkeel_counts::counter::Counter;
use evenkeel_mixer::{Design, Mixer};

use crate::flights::{Counted, Flights, Flown};
use crate::floor::{self, Memory, Numbers};
use crate::inputs::{GENTLE, Noise, PERIOD_US, input};

/// What is counted, in the order of the step.
pub const BLOCKS: [&str; 9] = [
    "gyro filter",
    "estimate",
    "supervisor",
    "battery",
    "shaping and angle loop",
    "rate loops",
    "inertia",
    "allocation",
    "thrust curve",
];

/// What one step costs, whole and in its blocks.
pub struct Blocks {
    /// The whole step.
    pub whole: u32,
    /// Each of [`BLOCKS`], with what that step gave it.
    pub alone: [u32; BLOCKS.len()],
    /// The most that a step takes in which the angle loop rests.
    pub at_rest: u32,
}

/// Takes the dearest apart of so many gentle steps that are met.
///
/// # Panics
/// When a configuration is refused, or a block alone answers otherwise than in the step.
pub fn taken_apart<const N: usize, const F: usize>(
    counter: &Counter,
    design: &Design<N, F>,
    config: &FlightComputerConfig,
    steps: u64,
) -> Blocks {
    let Ok(computer) = FlightComputer::<f32>::new(config) else { panic!("the configuration is refused") };
    let mut alone = Alone::<N, F>::new(design, config);
    let (mut dearest, mut whole, mut at_rest) = (0, 0, 0);
    let mut flights = Flights::new(&computer, design, config, alone.begun_us);
    for place in 0..steps {
        let Flown { counted: Counted { count, saturated, .. }, number, steps_to_angle_loop, .. } =
            flights.step(counter, None);
        // In the first step of a flight the ceilings are planned.
        if saturated != Some(false) || number == 0 {
            continue;
        }
        if steps_to_angle_loop > 0 {
            at_rest = at_rest.max(count);
        }
        if count > whole {
            (dearest, whole) = (place, count);
        }
    }
    // The same flights once more, as far as that step, with the blocks beside them.
    let mut blocks = [0; BLOCKS.len()];
    let mut flights = Flights::new(&computer, design, config, alone.begun_us);
    for _ in 0..=dearest {
        let mut record = None;
        let flown = flights.step(counter, Some(&mut record));
        if flown.number == 0 {
            alone.begin();
        }
        let Some(step) = &record else { panic!("there is no record") };
        if flown.counted.saturated == Some(false) {
            blocks = alone.again(counter, &flown, step);
        }
    }
    Blocks { whole, alone: blocks, at_rest }
}

/// Every block by itself, and what it remembers.
struct Alone<const N: usize, const F: usize> {
    gyro_filter: (GyroFilter<f32>, GyroFilterState<f32, N>),
    estimator: (AttitudeEstimator<f32>, AttitudeEstimatorState<f32>),
    supervisor: (Supervisor<f32>, SupervisorState),
    battery: (Battery<f32>, BatteryState<f32>),
    reference: (Reference<f32>, ReferenceState<f32>),
    angle: AngleLoop<f32>,
    rate: ([RateLoop<f32>; 3], [RateLoopState<f32>; 3]),
    inertia: Inertia<f32>,
    mixer: Mixer<f32, N, F>,
    /// The supervisor's memory when a flight begins, armed and taken off, and when that is.
    flying: SupervisorState,
    begun_us: u64,
}

impl<const N: usize, const F: usize> Alone<N, F> {
    fn new(design: &Design<N, F>, config: &FlightComputerConfig) -> Self {
        let controller = &config.controller;
        let period_s = controller.period_s;
        let rate = |axis: usize| made(RateLoop::new(&controller.rate[axis], period_s));
        let supervisor = made(Supervisor::new(&config.supervisor));
        let (flying, begun_us) = flying(&supervisor, config.supervisor.hover_thrust_n as f32);
        Alone {
            gyro_filter: (made(GyroFilter::new(&config.gyro_filter, period_s)), GyroFilterState::default()),
            estimator: (made(AttitudeEstimator::new(&config.estimator, period_s)), AttitudeEstimatorState::default()),
            supervisor: (supervisor, flying),
            battery: (made(Battery::new(&config.battery, period_s)), BatteryState::default()),
            reference: (
                made(Reference::new(&controller.reference, period_s, controller.angle_divider)),
                ReferenceState::default(),
            ),
            angle: made(AngleLoop::new(&controller.angle)),
            rate: ([rate(0), rate(1), rate(2)], [RateLoopState::default(); 3]),
            inertia: made(Inertia::new(controller.inertia_kg_m2)),
            mixer: Mixer::new(design),
            flying,
            begun_us,
        }
    }

    /// Level and at rest, as the flight computer begins.
    fn begin(&mut self) {
        self.gyro_filter.1.reset();
        self.estimator.1.reset();
        self.estimator.1.restart_at(Quaternion::IDENTITY);
        self.supervisor.1 = self.flying;
        self.battery.1.reset();
        self.reference.1.reset();
        self.rate.1.iter_mut().for_each(RateLoopState::reset);
    }

    /// The step once more, block by block.
    fn again(&mut self, counter: &Counter, flown: &Flown<N>, step: &FlightStep<f32, N>) -> [u32; BLOCKS.len()] {
        let Flown { sample, pilot, steps_to_angle_loop, .. } = flown;
        let Some(control) = &step.control else { panic!("the loops did not run") };
        let shaping = match steps_to_angle_loop {
            0 => self.shaping(counter, pilot, step, control),
            steps => self.part_of_shaping(counter, pilot, *steps),
        };
        [
            self.gyro_filter(counter, sample, step),
            self.estimate(counter, sample, &step.estimate),
            self.supervisor(counter, sample, pilot, step),
            self.battery(counter, sample, step),
            shaping,
            self.rate_loops(counter, step, control),
            self.inertia(counter, step, control),
            self.allocation(counter, control),
            self.thrust_curve(counter, control),
        ]
    }

    fn gyro_filter(&mut self, counter: &Counter, sample: &Sample<f32, N>, step: &FlightStep<f32, N>) -> u32 {
        let (filter, state) = &mut self.gyro_filter;
        let gyro_rad_s = sample.inertial.gyro_rad_s;
        let (count, filtered) = counted(counter, || {
            black_box(&*filter).step(black_box(state), *black_box(&gyro_rad_s), black_box(&sample.rotor_speeds_rad_s))
        });
        let [roll, pitch, yaw] = filtered.rate_rad_s.to_array();
        let bias = step.estimate.bias_rad_s;
        let rate_rad_s = BodyAxes { roll: roll - bias.roll, pitch: pitch - bias.pitch, yaw: yaw - bias.yaw };
        assert!(rate_rad_s == step.rate_rad_s, "the gyro filter alone");
        count
    }

    fn estimate(&mut self, counter: &Counter, sample: &Sample<f32, N>, found: &Estimate<f32>) -> u32 {
        let (estimator, state) = &mut self.estimator;
        let (count, estimate) =
            counted(counter, || black_box(&*estimator).step(black_box(state), black_box(&sample.inertial)));
        assert!(estimate == *found, "the estimate alone");
        count
    }

    fn supervisor(
        &mut self,
        counter: &Counter,
        sample: &Sample<f32, N>,
        pilot: &PilotDemand<f32>,
        step: &FlightStep<f32, N>,
    ) -> u32 {
        let (supervisor, memory) = &mut self.supervisor;
        let (count, decision) = counted(counter, || {
            let (sample, pilot, step) = (black_box(sample), black_box(pilot), black_box(step));
            let [_, _, cos_tilt] = step.estimate.attitude.down_in_body();
            let input = SupervisorInput {
                now_us: sample.now_us,
                arm_request: pilot.arm,
                disarm: pilot.disarm,
                demand_at_us: pilot.at_us,
                thrust_n: pilot.thrust_n,
                sensed_at_us: sample.sensed_at_us,
                sensors_finite: true,
                cos_tilt,
                rate_rad_s: step.rate_rad_s,
                on_ground: sample.on_ground,
                battery_share: sample.battery_share,
                configuration_valid: true,
                attitude_known: true,
                rotor_stopped: !step.stopped_rotors.is_empty(),
            };
            black_box(&*supervisor).step(black_box(memory), &input)
        });
        assert!(decision.permission == step.decision.permission && !decision.hold, "the supervisor alone");
        count
    }

    fn battery(&mut self, counter: &Counter, sample: &Sample<f32, N>, step: &FlightStep<f32, N>) -> u32 {
        let (battery, state) = &mut self.battery;
        let mixer = &mut self.mixer;
        let (count, ()) = counted(counter, || {
            black_box(&*battery).step(black_box(state), *black_box(&sample.voltage_share), black_box(mixer))
        });
        assert!(state.ceiling_share() == step.ceiling_share, "the battery alone");
        count
    }

    fn shaping(
        &mut self,
        counter: &Counter,
        pilot: &PilotDemand<f32>,
        step: &FlightStep<f32, N>,
        control: &Step<f32, N>,
    ) -> u32 {
        let (reference, state) = &mut self.reference;
        let angle = &self.angle;
        let (count, rate_rad_s) = counted(counter, || {
            let step = black_box(step);
            let (attitude, rate_rad_s) = (step.estimate.attitude, step.rate_rad_s);
            let followed =
                black_box(&*reference).step(black_box(state), attitude, rate_rad_s, black_box(&pilot.motion));
            black_box(&followed);
            match followed.attitude {
                Some(_) => black_box(angle).close(followed.error, followed.rate_rad_s),
                None => followed.rate_rad_s,
            }
        });
        assert!(rate_rad_s == control.rate_setpoint.rate_rad_s, "shaping and angle loop alone");
        count
    }

    fn part_of_shaping(&mut self, counter: &Counter, pilot: &PilotDemand<f32>, steps_to_run: u32) -> u32 {
        let (reference, state) = &mut self.reference;
        let (count, ()) = counted(counter, || {
            black_box(&*reference).prepare(black_box(state), black_box(&pilot.motion), black_box(steps_to_run));
        });
        count
    }

    fn rate_loops(&mut self, counter: &Counter, step: &FlightStep<f32, N>, control: &Step<f32, N>) -> u32 {
        let (loops, states) = &mut self.rate;
        let (count, acceleration) = counted(counter, || {
            let ([roll, pitch, yaw], [of_roll, of_pitch, of_yaw]) = (black_box(&*loops), black_box(&mut *states));
            let (setpoint, rate) = (&black_box(control).rate_setpoint, black_box(step).rate_rad_s);
            let (wanted, known, expected) =
                (setpoint.rate_rad_s, setpoint.acceleration_rad_s2, setpoint.expected_rad_s2);
            let axis = |wanted_rad_s, known_rad_s2, expected_rad_s2| AxisSetpoint {
                wanted_rad_s,
                known_rad_s2,
                expected_rad_s2,
            };
            let one = |axis: &RateLoop<f32>, state: &mut RateLoopState<f32>, setpoint, rate| {
                let acceleration = axis.step(state, setpoint, rate);
                axis.integrate(state, 0.0);
                acceleration
            };
            BodyAxes {
                roll: one(roll, of_roll, axis(wanted.roll, known.roll, expected.roll), rate.roll),
                pitch: one(pitch, of_pitch, axis(wanted.pitch, known.pitch, expected.pitch), rate.pitch),
                yaw: one(yaw, of_yaw, axis(wanted.yaw, known.yaw, expected.yaw), rate.yaw),
            }
        });
        assert!(acceleration == control.acceleration_rad_s2, "the rate loops alone");
        count
    }

    fn inertia(&self, counter: &Counter, step: &FlightStep<f32, N>, control: &Step<f32, N>) -> u32 {
        let (acceleration, rate) = (control.acceleration_rad_s2, step.rate_rad_s);
        let (count, torque) =
            counted(counter, || black_box(&self.inertia).torque(*black_box(&acceleration), *black_box(&rate)));
        let demand = &control.allocation.demand;
        assert!(torque.to_array() == [demand.roll_nm, demand.pitch_nm, demand.yaw_nm], "the inertia alone");
        count
    }

    fn allocation(&self, counter: &Counter, control: &Step<f32, N>) -> u32 {
        let demand = control.allocation.demand;
        let (count, allocation) = counted(counter, || black_box(&self.mixer).allocate(*black_box(&demand)));
        assert!(allocation == control.allocation, "the allocation alone");
        count
    }

    fn thrust_curve(&self, counter: &Counter, control: &Step<f32, N>) -> u32 {
        let Ok(thrusts_n) = <[f32; N]>::try_from(control.allocation.thrusts_n.as_slice()) else { panic!("rotors") };
        let (count, commands) = counted(counter, || black_box(&self.mixer).commands_for(black_box(&thrusts_n)));
        assert!(control.commands == commands, "the thrust curve alone");
        count
    }
}

/// The same blocks of the floor, as far as it has them; each the most that it took.
pub fn floor<const N: usize>(
    counter: &Counter,
    numbers: &Numbers<N>,
    hover_n: f32,
    steps: u64,
) -> [Option<u32>; BLOCKS.len()] {
    let (mut memory, mut noise) = (Memory::level(), Noise::new());
    let mut most = [0; 7];
    for number in 0..steps {
        let (sample, pilot) = input::<N>(&mut noise, number * PERIOD_US, hover_n, GENTLE);
        let gyro = sample.inertial.gyro_rad_s.to_array();
        let acceleration = sample.inertial.acceleration_m_s2;
        let (filter, mut rate) = counted(counter, || floor::gyro_filter(black_box(&mut memory), black_box(&gyro)));
        let (estimate, down) = counted(counter, || {
            floor::estimate(black_box(&mut memory), black_box(&acceleration), black_box(&mut rate))
        });
        let (angle, wanted) =
            counted(counter, || floor::angle_loop(black_box(&down), black_box(&[0.0, 0.0, 1.0]), black_box(0.0)));
        let (loops, turning) =
            counted(counter, || floor::rate_loops(black_box(&mut memory), black_box(&wanted), black_box(&rate)));
        let (inertia, wrench) = counted(counter, || {
            floor::inertia(black_box(numbers), black_box(&rate), black_box(&turning), black_box(pilot.thrust_n))
        });
        let (allocation, thrusts) = counted(counter, || floor::allocation(black_box(numbers), black_box(&wrench)));
        let (curve, _) = counted(counter, || {
            let mut commands = [0.0; N];
            floor::thrust_curve(black_box(numbers), black_box(&thrusts), &mut commands);
            commands
        });
        let found = [filter, estimate, angle, loops, inertia, allocation, curve];
        most.iter_mut().zip(found).for_each(|(most, found)| *most = (*most).max(found));
    }
    let [filter, estimate, angle, loops, inertia, allocation, curve] = most.map(Some);
    [filter, estimate, None, None, angle, loops, inertia, allocation, curve]
}

/// Instructions of this work, and what it gives.
fn counted<T>(counter: &Counter, mut work: impl FnMut() -> T) -> (u32, T) {
    let mut given = None;
    let count = counter.instructions(|| {
        given = Some(work());
        black_box(&given);
    });
    let Some(given) = given else { panic!("the work was not done") };
    (count, given)
}

/// A block whose configuration is accepted.
fn made<T, E>(block: Result<T, E>) -> T {
    let Ok(block) = block else { panic!("a configuration is refused") };
    block
}

/// A supervisor's memory in flight, and when it is: it is armed on the ground and takes off.
fn flying(supervisor: &Supervisor<f32>, hover_n: f32) -> (SupervisorState, u64) {
    /// Long enough for it to see the craft still before it is armed.
    const STILL: u64 = 2000;
    const STANDING: u64 = 1000;
    const GIVEN_UP: u64 = 10_000;
    let mut memory = SupervisorState::default();
    for number in 0..GIVEN_UP {
        let now_us = number * PERIOD_US;
        let input = SupervisorInput {
            now_us,
            arm_request: number >= STILL,
            disarm: false,
            demand_at_us: Some(now_us),
            thrust_n: if number >= STILL + STANDING { hover_n } else { 0.0 },
            sensed_at_us: Some(now_us),
            sensors_finite: true,
            cos_tilt: 1.0,
            rate_rad_s: BodyAxes::default(),
            on_ground: Some(number < STILL + STANDING),
            battery_share: Some(0.9),
            configuration_valid: true,
            attitude_known: true,
            rotor_stopped: false,
        };
        if supervisor.step(&mut memory, &input).state == State::Flying {
            return (memory, now_us + PERIOD_US);
        }
    }
    panic!("the supervisor does not fly");
}
