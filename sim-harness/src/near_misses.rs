//! The held checks that are nearest to their limits: where a craft that is fit has least to spare.
//!
//! Share of the limit used, 0 to 1:
//!
//! * at most L: value / L
//! * at least L: L / value
//! * from A to B: |value − (A + B)/2| / ((B − A)/2)
//!
//! Checks that ask for an exact number, such as no rotor the wrong way, have no share: they are held in full or not at all.

use crate::verdict::{Check, Limit, Preflight};

/// As many are told.
pub const MOST: usize = 5;

/// Exact counts whose limit is not zero: every craft that holds them stands at the limit.
const EXACT: [&str; 2] = ["bench.axes", "bench.flyable"];

/// A held check and how much of its limit it uses.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NearMiss<'a> {
    /// "At rest", or the flight's title.
    pub place: &'static str,
    /// The check.
    pub check: &'a Check,
    /// Share of the limit used, 0 to 1.
    pub share: f64,
}

/// The held checks nearest to their limits, the nearest first, at most [`MOST`].
pub fn near_misses(preflight: &Preflight) -> Vec<NearMiss<'_>> {
    let held = preflight.placed().filter(|(_, check)| check.passes() && !EXACT.contains(&check.id.as_str()));
    let mut found: Vec<NearMiss> = held
        .filter_map(|(place, check)| Some(NearMiss { place, check, share: share_used(check.value, check.limit)? }))
        .collect();
    // Stable: checks that are equally near keep their order.
    found.sort_by(|a, b| b.share.total_cmp(&a.share));
    found.truncate(MOST);
    found
}

/// Share of a limit that a value within it uses; `None` where the limit has no size to take a share of.
pub fn share_used(value: f64, limit: Limit) -> Option<f64> {
    let share = match (limit.min, limit.max) {
        (Some(min), Some(max)) if max > min => (value - 0.5 * (min + max)).abs() / (0.5 * (max - min)),
        (None, Some(max)) if max > 0.0 => value / max,
        (Some(min), None) if min > 0.0 && value > 0.0 => min / value,
        _ => return None,
    };
    // A value on the good side of zero uses nothing; rounding uses no more than all.
    share.is_finite().then(|| share.clamp(0.0, 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture;

    #[test]
    fn takes_the_share_of_a_limit_by_the_three_formulas() {
        // Closed forms, by hand.
        assert_eq!(share_used(0.3, Limit::at_most(0.4)), Some(0.3 / 0.4));
        assert_eq!(share_used(2.0, Limit::at_least(1.5)), Some(0.75));
        assert_eq!(share_used(3.0, Limit::between(1.0, 5.0)), Some(0.0));
        assert_eq!(share_used(4.0, Limit::between(1.0, 5.0)), Some(0.5));
        assert_eq!(share_used(2.0, Limit::between(1.0, 5.0)), Some(0.5));
    }

    #[test]
    fn is_one_at_every_limit_and_never_more() {
        assert_eq!(share_used(0.4, Limit::at_most(0.4)), Some(1.0));
        assert_eq!(share_used(1.5, Limit::at_least(1.5)), Some(1.0));
        assert_eq!(share_used(-0.25, Limit::between(-0.25, 0.25)), Some(1.0));
        assert_eq!(share_used(0.1 + 0.2, Limit::at_most(0.3)), Some(1.0));
    }

    #[test]
    fn has_no_share_where_the_limit_has_no_size() {
        for limit in [Limit::at_most(0.0), Limit::at_least(0.0), Limit::at_least(-1.0), Limit::between(2.0, 2.0)] {
            assert_eq!(share_used(0.0, limit), None, "{limit:?}");
        }
        assert_eq!(share_used(0.0, Limit { min: None, max: None }), None);
        assert_eq!(share_used(f64::NAN, Limit::at_most(1.0)), None);
        assert_eq!(share_used(-3.0, Limit::at_most(1.0)), Some(0.0));
    }

    #[test]
    fn lists_held_checks_nearest_first_and_no_failed_one() {
        let (preflight, _) = fixture::unfit();
        let found = near_misses(&preflight);
        assert_eq!(found.len(), MOST);
        assert!(found.iter().all(|near| near.check.passes()));
        assert!(found.windows(2).all(|pair| pair[0].share >= pair[1].share), "{found:?}");
        let listed: Vec<&str> = found.iter().map(|near| near.check.id.as_str()).collect();
        // 36/40 asked of the yaw rate fails here; then 45/58.2 fails too; what is left by hand: 1.8/2.04, 1/1.25, 6/9.87, 1.77/3, ...
        assert_eq!(listed[..2], ["bench.thrust_to_weight", "bench.balance"]);
        let least = found.last().unwrap().share;
        for (_, check) in preflight.placed().filter(|(_, check)| check.passes() && !listed.contains(&&*check.id)) {
            assert!(share_used(check.value, check.limit).is_none_or(|share| share <= least), "{}", check.id);
        }
    }

    #[test]
    fn leaves_exact_counts_out() {
        let (mut preflight, _) = fixture::fit();
        for (slot, (id, value, limit)) in preflight
            .bench
            .iter_mut()
            .zip([("bench.axes", 4.0, Limit::at_least(4.0)), ("bench.stick_senses", 0.0, Limit::at_most(0.0))])
        {
            (slot.id, slot.value, slot.limit) = (id.into(), value, limit);
        }
        assert!(
            near_misses(&preflight).iter().all(|near| !["bench.axes", "bench.stick_senses"].contains(&&*near.check.id))
        );
    }
}
