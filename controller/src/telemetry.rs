//! Records from the control loop to whoever sends or stores them.
//!
//! A lock-free queue of fixed size between one writer (the loop, in an interrupt if need be) and one
//! reader. The loop never waits: when the queue is full, the newest record is dropped and counted. The
//! oldest could only be dropped by locking the reader out, and losing the newest keeps the records that
//! led up to a jam in one piece. Each record carries the number dropped before it, so that a gap shows
//! where it is, also after the records have left the craft.

use heapless::spsc::{Consumer, Producer, Queue};

/// A record, and how many were dropped before it since power-up. Stops at `u32::MAX`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Telemetered<R> {
    /// Records dropped before this one.
    pub dropped: u32,
    /// The record.
    pub record: R,
}

/// Room for `SLOTS` − 1 records.
#[derive(Debug)]
pub struct TelemetryQueue<R, const SLOTS: usize>(Queue<Telemetered<R>, SLOTS>);

/// The loop's end.
pub struct TelemetryWriter<'q, R> {
    producer: Producer<'q, Telemetered<R>>,
    dropped: u32,
}

/// The other end.
pub struct TelemetryReader<'q, R>(Consumer<'q, Telemetered<R>>);

impl<R, const SLOTS: usize> TelemetryQueue<R, SLOTS> {
    /// An empty queue; at least two slots, checked when compiled.
    pub const fn new() -> Self {
        TelemetryQueue(Queue::new())
    }

    /// The two ends. Each may go to another context.
    pub fn split(&mut self) -> (TelemetryWriter<'_, R>, TelemetryReader<'_, R>) {
        let (producer, consumer) = self.0.split();
        (TelemetryWriter { producer, dropped: 0 }, TelemetryReader(consumer))
    }
}

impl<R, const SLOTS: usize> Default for TelemetryQueue<R, SLOTS> {
    fn default() -> Self {
        Self::new()
    }
}

impl<R> TelemetryWriter<'_, R> {
    /// Puts a record in; whether there was room. Never waits.
    pub fn push(&mut self, record: R) -> bool {
        let taken = self.producer.enqueue(Telemetered { dropped: self.dropped, record }).is_ok();
        if !taken {
            self.dropped = self.dropped.saturating_add(1);
        }
        taken
    }

    /// Records dropped so far.
    pub fn dropped(&self) -> u32 {
        self.dropped
    }
}

impl<R> TelemetryReader<'_, R> {
    /// Takes the oldest record out.
    pub fn pop(&mut self) -> Option<Telemetered<R>> {
        self.0.dequeue()
    }
}

#[cfg(test)]
mod tests {
    use std::thread;

    use super::*;

    #[test]
    fn records_come_out_in_order() {
        let mut queue = TelemetryQueue::<u8, 4>::new();
        let (mut writer, mut reader) = queue.split();
        assert_eq!(reader.pop(), None);
        assert!(writer.push(1) && writer.push(2));
        assert_eq!(reader.pop(), Some(Telemetered { dropped: 0, record: 1 }));
        assert_eq!(reader.pop(), Some(Telemetered { dropped: 0, record: 2 }));
        assert_eq!(reader.pop(), None);
    }

    #[test]
    fn newest_is_dropped_and_counted_when_full() {
        let mut queue = TelemetryQueue::<u8, 3>::new();
        let (mut writer, mut reader) = queue.split();
        let taken = [1, 2, 3, 4].map(|record| writer.push(record));
        assert_eq!((taken, writer.dropped()), ([true, true, false, false], 2));
        assert_eq!(reader.pop(), Some(Telemetered { dropped: 0, record: 1 }));
        assert!(writer.push(5));
        assert_eq!(reader.pop(), Some(Telemetered { dropped: 0, record: 2 }));
        assert_eq!(reader.pop(), Some(Telemetered { dropped: 2, record: 5 }), "the gap shows where it is");
    }

    #[test]
    fn nothing_is_lost_uncounted_between_two_threads() {
        const RECORDS: u32 = 100_000;
        let mut queue = TelemetryQueue::<u32, 16>::new();
        let (mut writer, mut reader) = queue.split();
        thread::scope(|scope| {
            let writing = scope.spawn(move || {
                // Ends with a record that is taken, so that the last gap shows too.
                (0..RECORDS).for_each(|record| {
                    writer.push(record);
                });
                while !writer.push(u32::MAX) {
                    thread::yield_now();
                }
            });
            let mut taken = 0;
            loop {
                match reader.pop() {
                    Some(Telemetered { record: u32::MAX, dropped }) => {
                        assert!(taken + dropped >= RECORDS, "{taken} taken, {dropped} dropped");
                        break;
                    }
                    Some(Telemetered { record, dropped }) => {
                        assert_eq!(record, taken + dropped, "in order, and every gap counted");
                        taken += 1;
                    }
                    None => thread::yield_now(),
                }
            }
            writing.join().unwrap();
        });
    }
}
