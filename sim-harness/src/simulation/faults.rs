//! What goes wrong, and when: every fault begins and, where it may, ends at its exact instant.

use super::clock::nanoseconds;
use crate::script::{Fault, FaultKind};

/// A fault begins or ends.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Change {
    Begins(FaultKind),
    Ends(FaultKind),
}

/// The changes to come, in order of time.
#[derive(Clone, Debug)]
pub(super) struct Faults {
    changes: Vec<(u64, Change)>,
    done: usize,
}

impl Faults {
    pub(super) fn new(faults: &[Fault]) -> Self {
        let begins = faults.iter().map(|fault| (nanoseconds(fault.at_s), Change::Begins(fault.kind)));
        let ends = faults.iter().filter_map(|fault| {
            let until_s = until_s(fault.kind)?;
            until_s.is_finite().then(|| (nanoseconds(until_s), Change::Ends(fault.kind)))
        });
        let mut changes: Vec<_> = begins.chain(ends).collect();
        // Stable: what happens at one instant happens in the order of the script.
        changes.sort_by_key(|(at_ns, _)| *at_ns);
        Faults { changes, done: 0 }
    }

    /// When the next change is.
    pub(super) fn next_ns(&self) -> Option<u64> {
        self.changes.get(self.done).map(|(at_ns, _)| *at_ns)
    }

    /// The next change that is due, once.
    pub(super) fn due(&mut self, now_ns: u64) -> Option<Change> {
        let (_, change) = self.changes.get(self.done).filter(|(at_ns, _)| *at_ns <= now_ns)?;
        self.done += 1;
        Some(*change)
    }
}

fn until_s(kind: FaultKind) -> Option<f64> {
    match kind {
        FaultKind::RotorStopped(_) | FaultKind::RotorWeakened { .. } | FaultKind::BatteryCollapse { .. } => None,
        FaultKind::LinkLost { until_s }
        | FaultKind::Sensor { until_s, .. }
        | FaultKind::SamplesLate { until_s, .. } => Some(until_s),
    }
}
