//! Prints the instructions of a step, one line a figure: craft, part, instructions.
#![no_std]
#![no_main]

use core::fmt::{self, Write};
use core::hint::black_box;

use cortex_m_rt::entry;
use evenkeel_board::craft::CONFIG;
use evenkeel_controller::estimate::{AttitudeEstimator, AttitudeEstimatorState};
use evenkeel_controller::{
    BodyAxes, Controller, ControllerState, FlightComputer, FlightComputerConfig, FlightState, Motors, Quaternion,
    Sensed, Setpoint,
};
use evenkeel_cost::floor::{self, Memory, Numbers};
use evenkeel_cost::inputs::{GENTLE, Noise, Reach, SAGGING, WILD, input};
use evenkeel_counts::counter::Counter;
use evenkeel_counts::{crafts, program};
use evenkeel_mixer::{Design, Mixer, Wrench};

/// Steps of each kind. The worst is the worst that was found in them, not a bound.
const STEPS: u64 = 8192;
/// The wild ones begin anew at level so often, or the craft would tumble and be switched off.
const ANEW: u64 = 16;
const PERIOD_US: u64 = 1000;

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
    part(out, "floor", bare(counter, design, &config, hover_n))?;
    part(out, "estimate", estimate(counter, &config, hover_n))?;
    part(out, "allocation", allocation(counter, design, hover_n))?;
    part(out, "rate loop only", rate_loop(counter, design, &config, hover_n))?;
    let gentle = whole(counter, design, &config, hover_n, GENTLE);
    let wild = whole(counter, design, &config, hover_n, WILD);
    part(out, "full step unsaturated", gentle.met)?;
    let sagging = whole(counter, design, &config, hover_n, SAGGING);
    part(out, "full step with ceilings planned anew", sagging.planned)?;
    part(out, "full step saturated", wild.saturated)
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
    let mut most = Most { met: 0, saturated: 0, planned: 0 };
    for number in 0..STEPS {
        if reach.rate_rad_s > 1.0 && number % ANEW == 0 {
            state = begin();
        }
        let (sample, pilot) = input::<N>(&mut noise, number * PERIOD_US, hover_n, reach);
        let mut saturated = None;
        let mut share = 0.0;
        let count = counter.instructions(|| {
            let step = black_box(&computer).step(
                black_box(&mut state),
                black_box(&sample),
                black_box(&pilot),
                black_box(&mut mixer),
            );
            share = black_box(&step).ceiling_share;
            saturated = step.control.as_ref().map(|control| control.allocation.saturated());
        });
        let moved = share != core::mem::replace(&mut last_share, share);
        match saturated {
            Some(false) if moved => most.planned = most.planned.max(count),
            Some(true) => most.saturated = most.saturated.max(count),
            Some(false) => most.met = most.met.max(count),
            None => {}
        }
    }
    most
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

fn allocation<const N: usize, const F: usize>(counter: &Counter, design: &Design<N, F>, hover_n: f32) -> u32 {
    let mixer = Mixer::<f32, N, F>::new(design);
    let mut noise = Noise::new();
    let mut most = 0;
    for number in 0..STEPS {
        let (sample, pilot) = input::<N>(&mut noise, number * PERIOD_US, hover_n, GENTLE);
        let [roll_nm, pitch_nm, yaw_nm] = sample.inertial.gyro_rad_s.to_array();
        let demand = Wrench { thrust_n: pilot.thrust_n, roll_nm, pitch_nm, yaw_nm };
        assert!(!mixer.allocate(demand).saturated(), "a gentle demand is met");
        most = most.max(counter.instructions(|| {
            black_box(&black_box(&mixer).allocate(black_box(demand)));
        }));
    }
    most
}

/// Steps of the controller in which the angle loop rests, mixer and commands included.
fn rate_loop<const N: usize, const F: usize>(
    counter: &Counter,
    design: &Design<N, F>,
    config: &FlightComputerConfig,
    hover_n: f32,
) -> u32 {
    let Ok(controller) = Controller::<f32>::new(&config.controller) else { panic!("refused") };
    let mixer = Mixer::<f32, N, F>::new(design);
    let mut state = ControllerState::default();
    let mut noise = Noise::new();
    let divider = u64::from(config.controller.angle_divider);
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
        if met && number % divider != 0 {
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
    let matrix = design.effectiveness();
    let mut numbers = Numbers {
        rows: matrix.pseudo_inverse().map(|row| row.map(|value| value as f32)),
        floors: [0.0; N],
        ceilings: [0.0; N],
        inverse_ceilings: [0.0; N],
        inertia: [0, 1, 2].map(|axis| config.controller.inertia_kg_m2[axis][axis] as f32),
    };
    for (rotor, (floor, ceiling)) in matrix.floors_n().iter().zip(matrix.ceilings_n()).enumerate() {
        numbers.floors[rotor] = *floor as f32;
        numbers.ceilings[rotor] = *ceiling as f32;
        numbers.inverse_ceilings[rotor] = (1.0 / ceiling) as f32;
    }
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
