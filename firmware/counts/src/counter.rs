//! Instructions counted by the emulator's clock.
//!
//! With `-icount shift=10` the emulator lets 1024 ns pass at every instruction, whatever it is. The
//! board's SysTick runs at 25 MHz, so an instruction is 25.6 ticks: the count is exact. The timer has
//! 24 bits and wraps after [`INSTRUCTIONS_MAX`].

use core::hint::black_box;
use core::sync::atomic::{Ordering::SeqCst, compiler_fence};

use cortex_m::peripheral::SYST;
use cortex_m::peripheral::syst::SystClkSource;

/// What the timer counts before it begins anew.
const TICKS: u32 = 1 << 24;
/// Ticks of 40 ns in instructions of 1024 ns.
const TICKS_PER_INSTRUCTION: (u32, u32) = (1024, 40);
/// A longer piece of work is not told from a shorter one.
pub const INSTRUCTIONS_MAX: u32 =
    (TICKS as u64 * TICKS_PER_INSTRUCTION.1 as u64 / TICKS_PER_INSTRUCTION.0 as u64) as u32;

/// The timer, running.
pub struct Counter {
    nothing: u32,
}

impl Counter {
    /// Starts the timer.
    pub fn start(mut timer: SYST) -> Self {
        timer.set_clock_source(SystClkSource::Core);
        timer.set_reload(TICKS - 1);
        timer.clear_current();
        timer.enable_counter();
        Counter { nothing: run(&mut || black_box(())) }
    }

    /// Instructions of this piece of work, without the call.
    pub fn instructions(&self, mut work: impl FnMut()) -> u32 {
        run(&mut work).saturating_sub(self.nothing)
    }

    /// The same, of as many instructions as are written here.
    pub fn hundred(&self) -> u32 {
        self.instructions(hundred)
    }
}

#[inline(never)]
fn run(work: &mut dyn FnMut()) -> u32 {
    let work = black_box(work);
    let before = SYST::get_current();
    compiler_fence(SeqCst);
    work();
    compiler_fence(SeqCst);
    let after = SYST::get_current();
    let ticks = u64::from(before.wrapping_sub(after) % TICKS);
    let (over, under) = (u64::from(TICKS_PER_INSTRUCTION.0), u64::from(TICKS_PER_INSTRUCTION.1));
    ((ticks * under + over / 2) / over) as u32
}

#[allow(unsafe_code, reason = "instructions written out are the only measure for the counter itself")]
fn hundred() {
    // SAFETY: they do nothing.
    unsafe { core::arch::asm!(".rept 100", "nop", ".endr", options(nomem, nostack, preserves_flags)) }
}
