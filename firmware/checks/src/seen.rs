//! What a check sees, and the list of them.

use evenkeel_controller::link::CRC;

use crate::{controller, mixer};

/// What a check has seen so far.
pub struct Seen {
    digest: crc::Digest<'static, u32>,
    /// Whether all that was asked held.
    pub held: bool,
}

impl Seen {
    fn nothing() -> Self {
        Seen { digest: CRC.digest(), held: true }
    }

    /// Takes the bits of a number in.
    pub fn number(&mut self, value: f32) {
        self.digest.update(&value.to_bits().to_le_bytes());
    }

    /// Takes the bits of several in.
    pub fn numbers(&mut self, values: &[f32]) {
        values.iter().for_each(|value| self.number(*value));
    }

    /// Asks for something to hold.
    pub fn ask(&mut self, holds: bool) {
        self.held &= holds;
    }

    /// Asks for a number to be within `tolerance` of what it should be, and takes its bits in.
    pub fn near(&mut self, value: f32, expected: f64, tolerance: f64) {
        self.number(value);
        let error = f64::from(value) - expected;
        self.ask(error <= tolerance && error >= -tolerance);
    }
}

/// One check: `does_this_when_that`.
pub struct Check {
    /// Its name.
    pub name: &'static str,
    run: fn(&mut Seen),
}

impl Check {
    pub(crate) const fn new(name: &'static str, run: fn(&mut Seen)) -> Self {
        Check { name, run }
    }

    /// Whether it holds, and the check value of what it saw.
    pub fn run(&self) -> (bool, u32) {
        let mut seen = Seen::nothing();
        (self.run)(&mut seen);
        (seen.held, seen.digest.finalize())
    }
}

/// All of them.
pub const CHECKS: [&[Check]; 2] = [mixer::CHECKS, controller::CHECKS];
