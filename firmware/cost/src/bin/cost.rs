//! Prints the instructions of a step, one line a figure: craft, part, instructions.
#![no_std]
#![no_main]

use core::fmt::{self, Write};
use core::hint::black_box;

use cortex_m_rt::entry;
use evenkeel_board::craft::CONFIG;
use evenkeel_controller::estimate::{AttitudeEstimator, AttitudeEstimatorState};
use evenkeel_controller::{
    BodyAxes, Controller, ControllerConfig, ControllerState, FlightComputer, FlightComputerConfig, FlightState, Motors,
    Quaternion, Sensed, Setpoint,
};
use evenkeel_cost::floor::{self, Memory, Numbers};
use evenkeel_cost::inputs::{GENTLE, Noise, PERIOD_US, Reach, SAGGING, WILD, input};
use evenkeel_counts::counter::Counter;
use evenkeel_counts::{crafts, program};
use evenkeel_mixer::{Allocation, Design, Mixer, RotorLimit, Wrench};

/// Steps of each kind. The worst is the worst that was found in them, not a bound.
const STEPS: u64 = 8192;
/// The wild ones begin anew at level so often, or the craft would tumble and be switched off.
const ANEW: u64 = 16;
/// Steps in which a flight begins: the battery's first look, the supervisor's, and the loops' from where the craft is to
/// what is asked, which takes the angle loop two runs.
const BEGINNING: u64 = 5;
/// Steps to one of the angle loop where some are to have nothing of it.
const RESTING_DIVIDER: u32 = 8;

#[entry]
fn main() -> ! {
    program::run(figures)
}

#[panic_handler]
fn panic(cause: &core::panic::PanicInfo) -> ! {
    program::panicked(cause)
}

fn figures(out: &mut impl Write, counter: &Counter) -> fmt::Result {
    writeln!(out, "craft,part,figure")?;
    craft(out, counter, "quad", &crafts::QUAD, 1.0)?;
    let ram = size_of::<evenkeel_board::craft::CraftMixer>()
        + size_of::<FlightComputer<f32>>()
        + size_of::<FlightState<f32, { evenkeel_board::craft::ROTORS }>>();
    writeln!(out, "quad,RAM of mixer and flight computer (bytes),{ram}")?;
    craft(out, counter, "six", &crafts::FLAT_SIX, 1.5)?;
    craft(out, counter, "eight", &crafts::FLAT_EIGHT, 2.0)
}

fn craft<const N: usize, const F: usize>(
    out: &mut impl Write,
    counter: &Counter,
    name: &str,
    design: &Design<N, F>,
    size: f64,
) -> fmt::Result {
    let config = sized(size);
    let hover_n = config.supervisor.hover_thrust_n as f32;
    let part = |out: &mut dyn Write, part: &str, count: u32| writeln!(out, "{name},{part},{count}");
    part(out, "rate loop only", rate_loop(counter, design, &config, hover_n))?;
    let (gentle, wild) =
        (whole(counter, design, &config, hover_n, GENTLE), whole(counter, design, &config, hover_n, WILD));
    part(out, "full step unsaturated", gentle.met)?;
    part(out, "full step worst saturated", wild.saturated)?;
    part(out, "full step where a flight begins", gentle.beginning.max(wild.beginning))?;
    part(out, "allocation alone unsaturated", allocation(counter, design, hover_n, GENTLE))?;
    part(out, "allocation alone worst saturated", allocation(counter, design, hover_n, WILD))?;
    part(out, "estimate", estimate(counter, &config, hover_n))?;
    part(out, "full step with ceilings planned anew", whole(counter, design, &config, hover_n, SAGGING).planned)?;
    part(out, "floor", bare(counter, design, &config, hover_n))
}

/// The quad's configuration for a craft this many times as heavy.
fn sized(size: f64) -> FlightComputerConfig {
    let mut config = CONFIG;
    config.supervisor.hover_thrust_n *= size;
    for moment in config.controller.inertia_kg_m2.iter_mut().flatten() {
        *moment *= size;
    }
    config
}

/// The most of each kind of step.
struct Most {
    met: u32,
    saturated: u32,
    planned: u32,
    beginning: u32,
}

fn whole<const N: usize, const F: usize>(
    counter: &Counter,
    design: &Design<N, F>,
    config: &FlightComputerConfig,
    hover_n: f32,
    reach: Reach,
) -> Most {
    let Ok(computer) = FlightComputer::<f32>::new(config) else { panic!("the configuration is refused") };
    let mut mixer = Mixer::<f32, N, F>::new(design);
    let begin = || FlightState::<f32, N>::in_flight(Quaternion::IDENTITY, BodyAxes::default());
    let (mut state, mut noise) = (begin(), Noise::new());
    let mut last_share = 0.0;
    let mut most = Most { met: 0, saturated: 0, planned: 0, beginning: 0 };
    for number in 0..STEPS {
        let anew = if reach.rate_rad_s > 1.0 { ANEW } else { STEPS };
        if number % anew == 0 {
            state = begin();
        }
        let (sample, pilot) = input::<N>(&mut noise, number * PERIOD_US, hover_n, reach);
        // Flown twice: what tells of the rotors' limits does not count.
        let (before, mixer_before) = (state.clone(), mixer.clone());
        let (mut count, mut share, mut at_the_limits) = (0, 0.0, None);
        for looked_at in [false, true] {
            (state, mixer) = (before.clone(), mixer_before.clone());
            let found = counter.instructions(|| {
                let step = black_box(&computer).step(
                    black_box(&mut state),
                    black_box(&sample),
                    black_box(&pilot),
                    black_box(&mut mixer),
                );
                share = black_box(&step).ceiling_share;
                if looked_at {
                    at_the_limits = step.control.as_ref().map(|control| stands_at_a_limit(&control.allocation));
                }
            });
            count = if looked_at { count } else { found };
        }
        let moved = share != core::mem::replace(&mut last_share, share);
        match at_the_limits {
            Some(_) if number % anew < BEGINNING => most.beginning = most.beginning.max(count),
            Some(false) if moved => most.planned = most.planned.max(count),
            Some(true) => most.saturated = most.saturated.max(count),
            Some(false) => most.met = most.met.max(count),
            None => {}
        }
    }
    most
}

/// Whether some rotor stands at a limit: the demand is cut, or met by other thrusts than the pseudo-inverse's.
fn stands_at_a_limit<const N: usize>(allocation: &Allocation<f32, N>) -> bool {
    allocation.saturated() || allocation.limits.iter().any(|limit| *limit != RotorLimit::None)
}

fn estimate(counter: &Counter, config: &FlightComputerConfig, hover_n: f32) -> u32 {
    let period_s = config.controller.period_s;
    let Ok(estimator) = AttitudeEstimator::<f32>::new(&config.estimator, period_s) else { panic!("refused") };
    let mut state = AttitudeEstimatorState::default();
    state.restart_at(Quaternion::IDENTITY);
    let mut noise = Noise::new();
    let mut most = 0;
    for number in 0..STEPS {
        let (sample, _) = input::<4>(&mut noise, number * PERIOD_US, hover_n, GENTLE);
        most = most.max(counter.instructions(|| {
            black_box(&black_box(&estimator).step(black_box(&mut state), black_box(&sample.inertial)));
        }));
    }
    most
}

/// The most that the mixer alone takes: of gentle demands, or of those wild ones that some rotor meets a limit for.
fn allocation<const N: usize, const F: usize>(
    counter: &Counter,
    design: &Design<N, F>,
    hover_n: f32,
    reach: Reach,
) -> u32 {
    /// Wild demands are of all sizes up to their reach: what just cannot be met is not cheaper than what is far off.
    const SIZES: u64 = 16;
    let wild = reach.rate_rad_s > 1.0;
    let mixer = Mixer::<f32, N, F>::new(design);
    let mut noise = Noise::new();
    let mut most = 0;
    for number in 0..STEPS {
        let (sample, pilot) = input::<N>(&mut noise, number * PERIOD_US, hover_n, reach);
        let size = if wild { (number % SIZES + 1) as f32 / SIZES as f32 } else { 1.0 };
        let [roll_nm, pitch_nm, yaw_nm] = sample.inertial.gyro_rad_s.to_array().map(|value| size * value);
        let demand = Wrench { thrust_n: pilot.thrust_n, roll_nm, pitch_nm, yaw_nm };
        let count = counter.instructions(|| {
            black_box(&black_box(&mixer).allocate(black_box(demand)));
        });
        let at_the_limits = stands_at_a_limit(&mixer.allocate(demand));
        assert!(wild || !at_the_limits, "a gentle demand is met off all limits");
        if at_the_limits == wild {
            most = most.max(count);
        }
    }
    most
}

/// Steps of the controller in which the angle loop rests and nothing is worked out for it, mixer and commands included.
/// There are none at the pace of the craft: the last three before the loop runs have a stage each.
fn rate_loop<const N: usize, const F: usize>(
    counter: &Counter,
    design: &Design<N, F>,
    config: &FlightComputerConfig,
    hover_n: f32,
) -> u32 {
    let paced = ControllerConfig { angle_divider: RESTING_DIVIDER, ..config.controller };
    let Ok(controller) = Controller::<f32>::new(&paced) else { panic!("refused") };
    let mixer = Mixer::<f32, N, F>::new(design);
    let mut state = ControllerState::default();
    let mut noise = Noise::new();
    let mut most = 0;
    for number in 0..STEPS {
        let (sample, pilot) = input::<N>(&mut noise, number * PERIOD_US, hover_n, GENTLE);
        let sensed = Sensed { attitude: Quaternion::IDENTITY, rate_rad_s: sample.inertial.gyro_rad_s };
        let setpoint = Setpoint { motors: Motors::Flying, thrust_n: pilot.thrust_n, motion: pilot.motion };
        let mut met = false;
        let count = counter.instructions(|| {
            let step = black_box(&controller).step(
                black_box(&mut state),
                black_box(&sensed),
                black_box(&setpoint),
                black_box(&mixer),
            );
            met = !black_box(&step).allocation.saturated();
        });
        if met && (1..=u64::from(RESTING_DIVIDER) - 4).contains(&(number % u64::from(RESTING_DIVIDER))) {
            most = most.max(count);
        }
    }
    most
}

fn bare<const N: usize, const F: usize>(
    counter: &Counter,
    design: &Design<N, F>,
    config: &FlightComputerConfig,
    hover_n: f32,
) -> u32 {
    let numbers = Numbers::of(design, config);
    let (mut memory, mut noise, mut commands) = (Memory::level(), Noise::new(), [0.0; N]);
    let mut most = 0;
    for number in 0..STEPS {
        let (sample, pilot) = input::<N>(&mut noise, number * PERIOD_US, hover_n, GENTLE);
        let gyro = sample.inertial.gyro_rad_s.to_array();
        most = most.max(counter.instructions(|| {
            floor::step(
                black_box(&numbers),
                black_box(&mut memory),
                black_box(&gyro),
                black_box(&sample.inertial.acceleration_m_s2),
                black_box(&[0.0, 0.0, 1.0]),
                black_box(0.0),
                black_box(pilot.thrust_n),
                &mut commands,
            );
            black_box(&commands);
        }));
    }
    most
}
