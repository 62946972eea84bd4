//! What a long run says without a terminal, where it has no bar to draw.

use std::sync::mpsc::{self, RecvTimeoutError};
use std::thread;
use std::time::Duration;

/// A line this often, so that nobody waits for ten seconds without a word.
const EVERY: Duration = Duration::from_secs(8);

/// Does `work`, and says `line` on standard error every few seconds meanwhile, whatever the work is busy with; nothing where
/// `silent`, because a bar says it.
pub fn with_sign_of_life<R>(silent: bool, line: impl Fn() -> String + Sync, work: impl FnOnce() -> R) -> R {
    every(EVERY, silent, || super::terminal::complain(&line()), work)
}

fn every<R>(period: Duration, silent: bool, say: impl Fn() + Sync, work: impl FnOnce() -> R) -> R {
    if silent {
        return work();
    }
    thread::scope(|scope| {
        // Dropped at the end of the work, also where it panics: that ends the wait at once.
        let (_at_work, wait) = mpsc::channel::<()>();
        let say = &say;
        scope.spawn(move || {
            while wait.recv_timeout(period) == Err(RecvTimeoutError::Timeout) {
                say();
            }
        });
        work()
    })
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::{AtomicU32, Ordering};

    use super::*;

    #[test]
    fn speaks_while_the_work_says_nothing_and_stops_with_it() {
        let said = AtomicU32::new(0);
        let say = || {
            said.fetch_add(1, Ordering::Relaxed);
        };
        let answer = every(Duration::from_millis(2), false, say, || {
            while said.load(Ordering::Relaxed) < 3 {
                thread::yield_now();
            }
            7
        });
        assert_eq!(answer, 7);
        let count = said.load(Ordering::Relaxed);
        assert_eq!(every(Duration::from_secs(3600), false, say, || 8), 8, "a short run does not wait for its line");
        assert_eq!(every(Duration::ZERO, true, say, || 9), 9);
        assert_eq!(said.load(Ordering::Relaxed), count);
        assert!(EVERY < Duration::from_secs(10), "what the commands promise");
    }
}
