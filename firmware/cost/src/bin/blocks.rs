//! Prints where the quad's unsaturated step goes, one line a figure: craft, block, instructions.
//!
//! A program of its own: to call a block from a second place takes it out of line in the step, and that costs some.
#![no_std]
#![no_main]

use core::fmt::{self, Write};

use cortex_m_rt::entry;
use evenkeel_board::craft::CONFIG;
use evenkeel_cost::blocks::{self, BLOCKS};
use evenkeel_cost::floor::Numbers;
use evenkeel_counts::counter::Counter;
use evenkeel_counts::{crafts, program};

/// The dearest of so many steps is taken apart.
const STEPS: u64 = 8192;

#[entry]
fn main() -> ! {
    program::run(figures)
}

#[panic_handler]
fn panic(cause: &core::panic::PanicInfo) -> ! {
    program::panicked(cause)
}

fn figures(out: &mut impl Write, counter: &Counter) -> fmt::Result {
    let design = &crafts::QUAD;
    let step = blocks::taken_apart(counter, design, &CONFIG, STEPS);
    let floor = blocks::floor(counter, &Numbers::of(design, &CONFIG), CONFIG.supervisor.hover_thrust_n as f32, STEPS);
    writeln!(out, "craft,part,figure")?;
    for ((block, alone), floor) in BLOCKS.iter().zip(step.alone).zip(floor) {
        writeln!(out, "quad,step: {block},{alone}")?;
        if let Some(floor) = floor {
            writeln!(out, "quad,floor: {block},{floor}")?;
        }
    }
    writeln!(out, "quad,step: whole,{}", step.whole)?;
    writeln!(out, "quad,step: whole while the angle loop rests,{}", step.at_rest)
}
