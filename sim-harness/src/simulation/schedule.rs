//! When the flight computer steps: at its own rate, or late while a fault says so.

use super::clock::Beat;
use crate::sensors::random::{Random, Stream};

/// The steps of one flight.
#[derive(Clone, Debug)]
pub(super) struct Schedule {
    beat: Beat,
    next_ns: u64,
    /// Latest, after its time; 0 while nothing is wrong.
    late_ns: u64,
    random: Random,
}

impl Schedule {
    /// The first step is at time zero.
    pub(super) fn new(rate_hz: f64, seed: u64) -> Self {
        Schedule { beat: Beat::new(rate_hz), next_ns: 0, late_ns: 0, random: Random::new(seed, Stream::LateSamples) }
    }

    pub(super) fn set_late(&mut self, late_ns: u64) {
        self.late_ns = late_ns;
    }

    /// When the next step is.
    pub(super) fn next_ns(&self) -> u64 {
        self.next_ns
    }

    /// From one step to the next, in time.
    pub(super) fn period_ns(&self) -> u64 {
        self.beat.period_ns()
    }

    /// Goes on to the first step after `now_ns`; those whose time has passed are missed.
    pub(super) fn advance(&mut self, now_ns: u64) {
        loop {
            self.beat.advance();
            let late_ns = if self.late_ns > 0 { (self.late_ns as f64 * self.random.even()) as u64 } else { 0 };
            self.next_ns = self.beat.next_ns() + late_ns;
            if self.next_ns > now_ns {
                return;
            }
        }
    }
}
