//! Times in 32 bits: microseconds up to an hour, which is longer than any limit. It is what the smallest targets count in
//! at once.

/// The same time in 32 bits, the most they hold for all that is longer.
pub(crate) fn brief(time_us: u64) -> u32 {
    u32::try_from(time_us).unwrap_or(u32::MAX)
}

/// Time from one stamp to another that is not before it, where both have the same upper half, as nearly always; none
/// otherwise, and then it is to be looked at in full.
#[inline]
pub(crate) fn shortly(from_us: u64, to_us: u64) -> Option<u32> {
    if from_us >> 32 == to_us >> 32 { (to_us as u32).checked_sub(from_us as u32) } else { None }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn short_time_is_the_difference_or_not_told() {
        let turn = 1 << 32;
        for (from_us, to_us) in [(0, 0), (5, 9), (0, turn - 1), (3 * turn + 7, 3 * turn + 8), (u64::MAX - 4, u64::MAX)]
        {
            assert_eq!(shortly(from_us, to_us), Some(brief(to_us - from_us)), "{from_us} {to_us}");
        }
        for (from_us, to_us) in [(9, 5), (turn - 1, turn), (turn, turn - 1), (u64::MAX, 0), (0, u64::MAX)] {
            assert_eq!(shortly(from_us, to_us), None, "{from_us} {to_us}");
        }
    }
}
