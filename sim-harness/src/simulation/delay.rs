//! Commands on their way to the rotors.

use std::collections::VecDeque;

use crate::craft::MAX_ROTORS;

/// What the rotors are told now, and what is to come.
#[derive(Clone, Debug)]
pub(super) struct CommandDelay {
    under_way: VecDeque<(u64, [f64; MAX_ROTORS])>,
    arrived: [f64; MAX_ROTORS],
}

impl CommandDelay {
    pub(super) fn new(at_the_start: [f64; MAX_ROTORS]) -> Self {
        CommandDelay { under_way: VecDeque::new(), arrived: at_the_start }
    }

    pub(super) fn send(&mut self, arrival_ns: u64, commands: [f64; MAX_ROTORS]) {
        self.under_way.push_back((arrival_ns, commands));
    }

    /// When the next commands arrive.
    pub(super) fn next_ns(&self) -> Option<u64> {
        self.under_way.front().map(|(arrival_ns, _)| *arrival_ns)
    }

    /// What the rotors are told at this time.
    pub(super) fn at(&mut self, now_ns: u64) -> &[f64; MAX_ROTORS] {
        while let Some((arrival_ns, commands)) = self.under_way.front()
            && *arrival_ns <= now_ns
        {
            self.arrived = *commands;
            self.under_way.pop_front();
        }
        &self.arrived
    }
}
