//! How long something has been so without a break.

/// Start of the present run; none while it is not so.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Since(Option<u64>);

impl Since {
    /// Time for which `holds` has been true at every step up to this one, microseconds; none when it
    /// is not true now.
    pub(super) fn step(&mut self, now_us: u64, holds: bool) -> Option<u64> {
        self.0 = holds.then(|| self.0.unwrap_or(now_us));
        self.0.map(|start_us| now_us.saturating_sub(start_us))
    }

    /// Whether `holds` has been true for at least this long.
    pub(super) fn lasted(&mut self, now_us: u64, holds: bool, limit_us: u64) -> bool {
        self.step(now_us, holds).is_some_and(|run_us| run_us >= limit_us)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn counts_from_the_first_step_of_the_present_run() {
        let mut since = Since::default();
        assert_eq!(since.step(10, false), None);
        assert_eq!(since.step(20, true), Some(0));
        assert_eq!(since.step(50, true), Some(30));
        assert_eq!(since.step(60, false), None);
        assert_eq!(since.step(70, true), Some(0), "a break starts it anew");
    }

    #[test]
    fn has_lasted_at_the_limit_and_not_before() {
        let mut since = Since::default();
        assert!(!since.lasted(0, true, 30));
        assert!(!since.lasted(29, true, 30));
        assert!(since.lasted(30, true, 30));
        assert!(!since.lasted(31, false, 30));
    }
}
