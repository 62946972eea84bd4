//! What can be wrong with a filter's configuration.

use core::fmt;

/// What is wrong with a filter's configuration.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FilterError {
    /// The sample period is not above zero.
    Period,
    /// The corner or centre is not above zero, is too near half the sample rate, or is so low that the
    /// flying scalar cannot hold the coefficient.
    Frequency,
    /// The quality factor is not above zero, or out of the flying scalar's range.
    Quality,
}

impl fmt::Display for FilterError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            FilterError::Period => "the sample period must be above 0",
            FilterError::Frequency => "the filter's frequency must be above 0 and below 0.45 of the sample rate",
            FilterError::Quality => "the filter's quality factor must be above 0",
        })
    }
}

impl core::error::Error for FilterError {}
