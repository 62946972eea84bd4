//! Prints what the flying code costs as Markdown tables.
#![no_std]
#![no_main]

use core::fmt::{self, Write};
use core::hint::black_box;

use cortex_m_rt::entry;
use evenkeel_controller::{BodyAxes, ControllerState, FlightState, Motion, Motors, Quaternion, Sensed, Setpoint};
use evenkeel_counts::bare::Bare;
use evenkeel_counts::counter::Counter;
use evenkeel_counts::crafts::{self, ANGLE_DIVIDER, HOVER_N, default_order_facets};
use evenkeel_counts::demands::{self, DEMANDS, gentle, wide};
use evenkeel_counts::program;
use evenkeel_mixer::{Design, Mixer, Wrench, facet_capacity};

/// A demand that can be met costs at most this many times the bare product and clamp.
const MET_TARGET: f32 = 2.0;
/// Steps of the controller: half a second of them.
const STEPS: usize = 512;

#[entry]
fn main() -> ! {
    program::run(tables)
}

#[panic_handler]
fn panic(cause: &core::panic::PanicInfo) -> ! {
    program::panicked(cause)
}

fn tables(out: &mut impl Write, counter: &Counter) -> fmt::Result {
    writeln!(out, "Compiler: {}, `-O3`, fat LTO; Cortex-M4F, `f32`.\n", env!("COMPILER"))?;
    allocation(out, counter)?;
    step(out, counter)?;
    flight_step(out, counter)?;
    memory(out)
}

fn allocation(out: &mut impl Write, counter: &Counter) -> fmt::Result {
    writeln!(
        out,
        "| craft | product and clamp | demand met | ratio (target) | at the limits, median | ratio | at the limits, worst \
         | ratio (target) | commands |\n| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |"
    )?;
    row(out, counter, "quad", &crafts::QUAD, Some(20.0))?;
    row(out, counter, "quad, off balance", &crafts::QUAD_OFF_BALANCE, None)?;
    row(out, counter, "flat six", &crafts::FLAT_SIX, None)?;
    row(out, counter, "flat eight", &crafts::FLAT_EIGHT, Some(100.0))?;
    row(out, counter, "coaxial eight", &crafts::COAXIAL_EIGHT, Some(100.0))?;
    writeln!(out)
}

fn row<const N: usize, const F: usize>(
    out: &mut impl Write,
    counter: &Counter,
    name: &str,
    design: &Design<N, F>,
    worst_target: Option<f32>,
) -> fmt::Result {
    let mixer = &Mixer::<f32, N, F>::new(design);
    let bare = Bare::new(design);
    let allocate = |demand: Wrench<f32>| {
        counter.instructions(|| {
            black_box(&black_box(mixer).allocate(black_box(demand)));
        })
    };

    let (mut product, mut met, mut commands) = (0, 0, 0);
    for demand in gentle(design) {
        let allocation = mixer.allocate(demand);
        assert!(!allocation.saturated(), "{name}: a gentle demand is not met: {demand:?}");
        let (wrench, mut thrusts) = (demand.to_array(), [0.0; N]);
        product = product.max(counter.instructions(|| {
            black_box(&bare).product_and_clamp(black_box(&wrench), &mut thrusts);
            black_box(&thrusts);
        }));
        met = met.max(allocate(demand));
        commands = commands.max(counter.instructions(|| {
            black_box(&black_box(mixer).commands(black_box(&allocation)));
        }));
    }

    let mut counts = [0; DEMANDS];
    let mut at_the_limits = 0;
    for demand in wide(design).filter(|demand| mixer.thrusts_off_the_limits(demand).is_none()) {
        counts[at_the_limits] = allocate(demand);
        at_the_limits += 1;
    }
    let counts = &mut counts[..at_the_limits];
    counts.sort_unstable();
    let (median, worst) = (counts[at_the_limits / 2], counts[at_the_limits - 1]);

    let ratio = |count: u32| count as f32 / product as f32;
    writeln!(
        out,
        "| {name} | {product} | {met} | {} | {median} | {:.1} | {worst} | {} | {commands} |",
        Against { ratio: ratio(met), target: Some(MET_TARGET) },
        ratio(median),
        Against { ratio: ratio(worst), target: worst_target },
    )
}

/// A ratio beside what it should at most be.
struct Against {
    ratio: f32,
    target: Option<f32>,
}

impl fmt::Display for Against {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.target {
            None => write!(f, "{:.2} (none)", self.ratio),
            Some(target) if self.ratio <= target => write!(f, "{:.2} ({target})", self.ratio),
            Some(target) => write!(f, "**{:.2} ({target}: missed)**", self.ratio),
        }
    }
}

fn step(out: &mut impl Write, counter: &Counter) -> fmt::Result {
    let controller = crafts::quad_controller().ok_or(fmt::Error)?;
    let mixer = Mixer::<f32, 4, _>::new(&crafts::QUAD);
    let mut state = ControllerState::default();
    let (mut most, mut least) = (0, u32::MAX);
    for k in 0..STEPS {
        let turn = k as f32 / STEPS as f32;
        let sensed = Sensed {
            attitude: Quaternion { w: 1.0, x: 0.02 * turn, y: -0.03 * turn, z: 0.01 },
            rate_rad_s: BodyAxes { roll: 0.02 * turn, pitch: -0.01, yaw: 0.01 * turn },
        };
        let setpoint = Setpoint {
            motors: Motors::Flying,
            thrust_n: HOVER_N as f32,
            motion: Motion::Angles { roll_rad: 0.02, pitch_rad: -0.02 * turn, yaw_rate_rad_s: 0.02 },
        };
        let mut met = true;
        let count = counter.instructions(|| {
            let step =
                black_box(&controller).step(&mut state, black_box(&sensed), black_box(&setpoint), black_box(&mixer));
            met = !black_box(&step).allocation.saturated();
        });
        assert!(met, "step {k} asks for more than the rotors have");
        (most, least) = (most.max(count), least.min(count));
    }
    writeln!(
        out,
        "| quad: one step of the controller, demand met | instructions, most |\n| --- | ---: |\n\
         | with the angle loop (one step in {ANGLE_DIVIDER}) | {most} |\n| rate loop alone, least | {least} |\n"
    )
}

/// The whole of what runs between one sample and the next, in flight: filters, estimate, supervisor, loops, allocation,
/// thrust curve.
fn flight_step(out: &mut impl Write, counter: &Counter) -> fmt::Result {
    let computer = crafts::quad_computer().ok_or(fmt::Error)?;
    let mut mixer = Mixer::<f32, 4, _>::new(&crafts::QUAD);
    let (mut most, mut seen) = ([0; 2], [0; 2]);
    for reach in [0.005, 0.5] {
        let mut state = FlightState::in_flight(Quaternion::IDENTITY, BodyAxes::default());
        for k in 0..STEPS {
            let (sample, pilot) = demands::moment(k, reach);
            let mut cut = false;
            let count = counter.instructions(|| {
                let step =
                    black_box(&computer).step(&mut state, black_box(&sample), black_box(&pilot), black_box(&mut mixer));
                cut = black_box(&step).control.as_ref().is_none_or(|control| control.allocation.saturated());
            });
            // The first step plans for the battery as it is.
            if k > 0 {
                most[usize::from(cut)] = count.max(most[usize::from(cut)]);
                seen[usize::from(cut)] += 1;
            }
        }
    }
    assert!(seen.iter().all(|seen| *seen > STEPS / 8), "too few of one kind: {seen:?}");
    let [met, cut] = most;
    writeln!(
        out,
        "| quad: one step of the flight computer with four notches, most | instructions |\n| --- | ---: |\n\
         | demand met | {met} |\n| at the limits | {cut} |\n"
    )
}

fn memory(out: &mut impl Write) -> fmt::Result {
    writeln!(
        out,
        "| rotors | facets, default order | `Design`, bytes | `Mixer`, bytes | facets, any order | `Design`, bytes \
         | `Mixer`, bytes |\n| ---: | ---: | ---: | ---: | ---: | ---: | ---: |"
    )?;
    bytes::<4, { default_order_facets(4) }, { facet_capacity(4) }>(out)?;
    bytes::<6, { default_order_facets(6) }, { facet_capacity(6) }>(out)?;
    bytes::<8, { default_order_facets(8) }, { facet_capacity(8) }>(out)
}

fn bytes<const N: usize, const D: usize, const G: usize>(out: &mut impl Write) -> fmt::Result {
    writeln!(
        out,
        "| {N} | {D} | {} | {} | {G} | {} | {} |",
        size_of::<Design<N, D>>(),
        size_of::<Mixer<f32, N, D>>(),
        size_of::<Design<N, G>>(),
        size_of::<Mixer<f32, N, G>>()
    )
}
