//! Runs the checks on the emulated board: name, whether it holds, check value of all it saw.
#![cfg_attr(target_arch = "arm", no_std, no_main)]

#[cfg(target_arch = "arm")]
mod board {
    use core::fmt::Write;

    use cortex_m_rt::entry;
    use cortex_m_semihosting::{debug, hio};
    use evenkeel_checks::CHECKS;

    #[entry]
    fn main() -> ! {
        if let Ok(mut out) = hio::hstdout() {
            let _ = writeln!(out, "check,holds,seen");
            for check in CHECKS.iter().copied().flatten() {
                let (held, seen) = check.run();
                let _ = writeln!(out, "{},{held},{seen:08x}", check.name);
            }
            debug::exit(debug::EXIT_SUCCESS);
        }
        stop()
    }

    #[panic_handler]
    fn panic(cause: &core::panic::PanicInfo) -> ! {
        let _ = hio::hstderr().map(|mut out| writeln!(out, "{cause}"));
        stop()
    }

    fn stop() -> ! {
        debug::exit(debug::EXIT_FAILURE);
        loop {
            cortex_m::asm::nop();
        }
    }
}

/// On the host the tests run the checks.
#[cfg(not(target_arch = "arm"))]
fn main() {}
