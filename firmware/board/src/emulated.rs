//! The emulated board: QEMU's mps2-an386 (Cortex-M4F) and lm3s6965evb (as Cortex-M0).
//!
//! It has a timer and a link. Its gyro and accelerometer show a craft that stands still and level, and its rotors
//! are four numbers: in lock-step the host's model of the craft takes the place of both.
#![allow(unsafe_code, reason = "registers of the emulated board and calls to the emulator")]

mod link;

use cortex_m::peripheral::SYST;
use cortex_m::peripheral::syst::SystClkSource;
use cortex_m_semihosting::debug;
use evenkeel_board::Flying;
use evenkeel_board::board::Board;
use evenkeel_board::craft::{CONFIG, ROTORS};
use evenkeel_controller::BodyAxes;
use evenkeel_controller::estimate::InertialSample;
use evenkeel_mixer::Scalar;

#[cfg(feature = "defmt")]
use defmt_semihosting as _;

/// SysTick's ticks in a microsecond: the emulated boards run at 25 MHz (mps2) and 12 MHz (lm3s6965evb).
const TICKS_PER_US: u32 = if cfg!(cortex_m0) { 12 } else { 25 };
const TICKS_MAX: u32 = 1 << 24;

/// The emulated board.
pub struct Emulated {
    link: link::Link,
    ticks: u64,
    last_tick: u32,
    next_sample_us: u64,
    commands: [Flying; ROTORS],
}

impl Emulated {
    /// The one there is; none when it was taken before or has no link.
    pub fn take() -> Option<Self> {
        let mut timer = cortex_m::Peripherals::take()?.SYST;
        timer.set_clock_source(SystClkSource::Core);
        timer.set_reload(TICKS_MAX - 1);
        timer.clear_current();
        timer.enable_counter();
        Some(Emulated {
            link: link::Link::open()?,
            ticks: 0,
            last_tick: TICKS_MAX - 1,
            next_sample_us: 0,
            commands: [Flying::ZERO; ROTORS],
        })
    }
}

/// Ends the emulation.
pub fn stop() -> ! {
    debug::exit(debug::EXIT_FAILURE);
    loop {
        cortex_m::asm::nop();
    }
}

impl Board for Emulated {
    fn now_us(&mut self) -> u64 {
        // Counts down, and is read more often than it wraps (0.6 s).
        let tick = SYST::get_current();
        self.ticks += u64::from(self.last_tick.wrapping_sub(tick) % TICKS_MAX);
        self.last_tick = tick;
        self.ticks / u64::from(TICKS_PER_US)
    }

    fn inertial(&mut self) -> Option<(u64, InertialSample<Flying>)> {
        let now_us = self.now_us();
        if now_us < self.next_sample_us {
            return None;
        }
        let period_us = (CONFIG.controller.period_s * 1.0e6) as u64;
        self.next_sample_us =
            if self.next_sample_us + period_us > now_us { self.next_sample_us + period_us } else { now_us + period_us };
        let gravity = Flying::from_f64(CONFIG.estimator.gravity_m_s2);
        let sample = InertialSample {
            gyro_rad_s: BodyAxes::default(),
            acceleration_m_s2: [Flying::ZERO, Flying::ZERO, -gravity],
            heading: None,
        };
        Some((now_us, sample))
    }

    fn on_ground(&mut self) -> Option<bool> {
        Some(true)
    }

    fn battery_share(&mut self) -> Option<Flying> {
        Some(Flying::ONE)
    }

    fn rotors(&mut self, commands: &[Flying]) {
        for (slot, command) in self.commands.iter_mut().zip(commands) {
            *slot = *command;
        }
    }

    fn receive(&mut self, into: &mut [u8]) -> usize {
        self.link.receive(into)
    }

    fn send(&mut self, bytes: &[u8]) {
        self.link.send(bytes);
    }
}
