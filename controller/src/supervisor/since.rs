//! How long something has been so without a break.

/// Length of the present run, microseconds and one more; zero while it is not so. Runs stop growing after an hour, which
/// is longer than any limit: 32 bits are what the smallest targets count in at once.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Since(u32);

impl Since {
    /// Time for which `holds` has been true at every step up to this one, microseconds; none when it is not true now.
    ///
    /// * Input: time since the step before
    pub(super) fn step(&mut self, elapsed_us: u32, holds: bool) -> Option<u32> {
        if !holds {
            self.0 = 0;
            return None;
        }
        self.0 = if self.0 == 0 { 1 } else { self.0.saturating_add(elapsed_us) };
        Some(self.0 - 1)
    }

    /// As [`Since::step`] where it has been true, and still is.
    pub(super) fn go_on(&mut self, elapsed_us: u32) {
        self.0 = self.0.saturating_add(elapsed_us);
    }

    /// Whether `holds` has been true for at least this long, which is less than an hour.
    pub(super) fn lasted(&mut self, elapsed_us: u32, holds: bool, limit_us: u32) -> bool {
        self.step(elapsed_us, holds).is_some_and(|run_us| run_us >= limit_us)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_from_the_first_step_of_the_present_run() {
        let mut since = Since::default();
        assert_eq!(since.step(10, false), None);
        assert_eq!(since.step(10, true), Some(0));
        assert_eq!(since.step(30, true), Some(30));
        assert_eq!(since.step(10, false), None);
        assert_eq!(since.step(10, true), Some(0), "a break starts it anew");
    }

    #[test]
    fn goes_on_as_a_step_does_while_it_runs() {
        let mut since = Since::default();
        since.step(7, true);
        for elapsed_us in [0, 10, u32::MAX, 5] {
            let mut gone_on = since;
            gone_on.go_on(elapsed_us);
            since.step(elapsed_us, true);
            assert_eq!(gone_on, since, "{elapsed_us}");
        }
    }

    #[test]
    fn has_lasted_at_the_limit_and_not_before() {
        let mut since = Since::default();
        assert!(!since.lasted(5, true, 30));
        assert!(!since.lasted(29, true, 30));
        assert!(since.lasted(1, true, 30));
        assert!(!since.lasted(1, false, 30));
    }

    #[test]
    fn run_never_starts_over_by_itself() {
        let mut since = Since::default();
        since.step(0, true);
        assert_eq!(
            [1, u32::MAX, 7].map(|elapsed| since.step(elapsed, true)),
            [Some(1), Some(u32::MAX - 1), Some(u32::MAX - 1)]
        );
    }
}
