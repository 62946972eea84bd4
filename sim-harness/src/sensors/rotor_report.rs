//! What the motor electronics say of their rotors: a rotor that has stopped is reported a stated time later, for good.
//!
//! A rotor that merely gives less thrust turns as it is told to, and is not reported.

use evenkeel_mixer::RotorSet;

use crate::craft::MAX_ROTORS;
use crate::simulation::clock::nanoseconds;

/// The reports of all the rotors of a craft.
#[derive(Clone, Debug)]
pub(super) struct RotorReport {
    /// `None`: nothing is ever reported.
    delay_ns: Option<u64>,
    reported_at_ns: [Option<u64>; MAX_ROTORS],
}

impl RotorReport {
    /// Seconds from the stop to the report; `None`: never.
    pub(super) fn after(delay_s: Option<f64>) -> Self {
        RotorReport { delay_ns: delay_s.map(nanoseconds), reported_at_ns: [None; MAX_ROTORS] }
    }

    /// This rotor (from 0) has stopped now.
    pub(super) fn stopped(&mut self, rotor: usize, now_ns: u64) {
        if let (Some(delay_ns), Some(slot)) = (self.delay_ns, self.reported_at_ns.get_mut(rotor)) {
            slot.get_or_insert(now_ns.saturating_add(delay_ns));
        }
    }

    /// Those that are reported now.
    pub(super) fn read(&self, now_ns: u64) -> RotorSet {
        let due = |at_ns: &Option<u64>| at_ns.is_some_and(|at_ns| at_ns <= now_ns);
        let reported = self.reported_at_ns.iter().enumerate().filter(|(_, at_ns)| due(at_ns));
        reported.fold(RotorSet::EMPTY, |set, (rotor, _)| set.with(rotor))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const MS_NS: u64 = 1_000_000;

    #[test]
    fn rotor_is_reported_after_its_time_and_stays_so() {
        let mut report = RotorReport::after(Some(0.05));
        report.stopped(2, 100 * MS_NS);
        report.stopped(2, 140 * MS_NS);
        assert_eq!(report.read(150 * MS_NS - 1), RotorSet::EMPTY);
        for now_ns in [150 * MS_NS, 151 * MS_NS, u64::MAX] {
            assert_eq!(report.read(now_ns), RotorSet::EMPTY.with(2), "stopping again changes nothing");
        }
        report.stopped(5, 200 * MS_NS);
        assert_eq!(report.read(250 * MS_NS), RotorSet::EMPTY.with(2).with(5));
    }

    #[test]
    fn nothing_is_reported_where_nothing_tells_or_there_is_no_such_rotor() {
        let mut never = RotorReport::after(None);
        never.stopped(0, 0);
        let mut other = RotorReport::after(Some(0.0));
        other.stopped(MAX_ROTORS, 0);
        assert!(never.read(u64::MAX).is_empty() && other.read(u64::MAX).is_empty());
    }
}
