//! Times in 32 bits: microseconds up to an hour, which is longer than any limit. It is what the smallest targets count in
//! at once.

/// The same time in 32 bits, the most they hold for all that is longer.
pub(crate) fn brief(time_us: u64) -> u32 {
    u32::try_from(time_us).unwrap_or(u32::MAX)
}
