//! What a long run says without a terminal, where it has no bar to draw.

use std::time::{Duration, Instant};

/// A line this often, so that nobody waits for ten seconds without a word.
const EVERY: Duration = Duration::from_secs(8);

/// Counts what is done, and says when it is time for a line.
#[derive(Debug)]
pub struct SignOfLife {
    last: Instant,
    done: u64,
}

impl SignOfLife {
    /// Starts at `now`.
    pub fn new(now: Instant) -> Self {
        SignOfLife { last: now, done: 0 }
    }

    /// One more is done: how many that makes, when a line is due.
    pub fn one_more(&mut self, now: Instant) -> Option<u64> {
        self.done += 1;
        let due = now.saturating_duration_since(self.last) >= EVERY;
        if due {
            self.last = now;
        }
        due.then_some(self.done)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn speaks_once_a_period_when_a_run_is_long() {
        let start = Instant::now();
        let mut sign = SignOfLife::new(start);
        let mut said = Vec::new();
        for second in 1..=30 {
            said.extend(sign.one_more(start + Duration::from_secs(second)).map(|done| (second, done)));
        }
        assert_eq!(said, [(8, 8), (16, 16), (24, 24)]);
        assert!(EVERY < Duration::from_secs(10), "what the commands promise");
    }
}
