//! How the programs that count begin and end.

use core::fmt::{self, Write};
use core::panic::PanicInfo;

use cortex_m_semihosting::debug;
use cortex_m_semihosting::hio::{self, HostStream};

use crate::counter::Counter;

/// The whole program: prints what `figures` writes and ends the emulator, with success if all could be counted and
/// printed.
pub fn run(figures: impl FnOnce(&mut HostStream, &Counter) -> fmt::Result) -> ! {
    let printed = counted(figures);
    end(if printed.is_ok() { debug::EXIT_SUCCESS } else { debug::EXIT_FAILURE })
}

fn counted(figures: impl FnOnce(&mut HostStream, &Counter) -> fmt::Result) -> fmt::Result {
    let mut out = hio::hstdout().map_err(|()| fmt::Error)?;
    let counter = Counter::start(cortex_m::Peripherals::take().ok_or(fmt::Error)?.SYST);
    let hundred = counter.hundred();
    assert!(
        hundred == 100,
        "100 instructions are counted as {hundred}; was the emulator started with -icount shift=10?"
    );
    figures(&mut out, &counter)
}

/// What a program does when it panics: says why, and fails.
pub fn panicked(cause: &PanicInfo) -> ! {
    let _ = hio::hstderr().map(|mut out| writeln!(out, "{cause}"));
    end(debug::EXIT_FAILURE)
}

fn end(status: debug::ExitStatus) -> ! {
    debug::exit(status);
    loop {
        cortex_m::asm::nop();
    }
}
