//! Time as a whole number of nanoseconds, and beats that come at exact instants.

/// To the nearest nanosecond.
pub(crate) fn nanoseconds(seconds: f64) -> u64 {
    nearest(seconds * 1.0e9)
}

/// The nearest whole number, halves up, of a time that is not negative. The same as [`f64::round`], which is a call on most
/// processors, and every beat of every clock asks for it.
fn nearest(value: f64) -> u64 {
    let whole = value as u64;
    // What is large has no part after the point, and the difference is exact.
    whole.saturating_add(u64::from(value - whole as f64 >= 0.5))
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
        self.next_ns = nearest(self.count as f64 * 1.0e9 / self.rate_hz);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rounds_as_the_library_does() {
        let edges = [0.0, -0.0, 0.25, 0.5, 0.499_999_999_999_999_94, 1.5, 2.5, 4.0e15, 4_503_599_627_370_497.5, 1.0e16];
        for value in edges.into_iter().chain((1..2000).map(|k| f64::from(k) * 1.0e9 / 3.0)) {
            assert_eq!(nearest(value), value.round() as u64, "{value}");
        }
        assert_eq!([f64::NAN, -3.0, f64::INFINITY].map(nearest), [0, 0, u64::MAX]);
    }
}
