//! Time as a whole number of nanoseconds, and beats that come at exact instants.

/// To the nearest nanosecond.
pub(crate) fn nanoseconds(seconds: f64) -> u64 {
    (seconds * 1.0e9).round() as u64
}

pub(crate) fn seconds(nanoseconds: u64) -> f64 {
    nanoseconds as f64 / 1.0e9
}

/// Whole microseconds, as a board's clock counts them.
pub(crate) fn microseconds(nanoseconds: u64) -> u64 {
    nanoseconds / 1000
}

/// Beats at a steady rate from time zero; no error adds up.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Beat {
    rate_hz: f64,
    count: u64,
    next_ns: u64,
}

impl Beat {
    /// The first beat is at time zero; `rate_hz` is above 0.
    pub(crate) fn new(rate_hz: f64) -> Self {
        Beat { rate_hz, count: 0, next_ns: 0 }
    }

    /// When the next beat is.
    pub(crate) fn next_ns(&self) -> u64 {
        self.next_ns
    }

    /// From one beat to the next, rounded.
    pub(crate) fn period_ns(&self) -> u64 {
        (1.0e9 / self.rate_hz).round() as u64
    }

    /// Goes on to the beat after.
    pub(crate) fn advance(&mut self) {
        self.count += 1;
        self.next_ns = (self.count as f64 * 1.0e9 / self.rate_hz).round() as u64;
    }
}
