//! Roots and bounds of functions of one variable, by halving.

/// Evaluations at most; far fewer where the function is nearly straight.
const STEPS: u32 = 80;
/// The root is known to this share of the first interval.
const WIDTH_TOL: f64 = 1.0e-14;
/// A value this small against those at the ends is rounding.
const VALUE_TOL: f64 = 1.0e-15;
/// Steps in which a first bound is looked for.
const SCAN: u32 = 16;
/// Halvings of the step in which it lies.
const HALVINGS: u32 = 30;

/// The root of a falling function between `low` and `high`; that end where it does not change its sign between them.
///
/// * Method: regula falsi, the stale end's value halved (Illinois), and plain halving in every third step
/// * Source: M. Dowell, P. Jarratt, BIT 11, 1971 (from memory)
pub(crate) fn falling_root(low: f64, high: f64, value: impl Fn(f64) -> f64) -> f64 {
    let (mut a, mut b) = ((low, value(low)), (high, value(high)));
    if !(b.1 < 0.0) {
        return high;
    }
    if !(a.1 > 0.0) {
        return low;
    }
    let (width, settled, mut kept_low) = (high - low, VALUE_TOL * (a.1 - b.1), 0_i32);
    for step in 0..STEPS {
        if !(b.0 - a.0 > WIDTH_TOL * width) {
            break;
        }
        let straight = a.0 + (b.0 - a.0) * a.1 / (a.1 - b.1);
        let at = if step % 3 == 2 || !(straight > a.0 && straight < b.0) { 0.5 * (a.0 + b.0) } else { straight };
        let found = value(at);
        if found.abs() <= settled {
            return at;
        }
        if found > 0.0 {
            a = (at, found);
            if kept_low > 0 {
                b.1 *= 0.5;
            }
            kept_low = 1;
        } else {
            b = (at, found);
            if kept_low < 0 {
                a.1 *= 0.5;
            }
            kept_low = -1;
        }
    }
    a.0
}

/// The largest value in 0 to `most` below which a condition that holds at zero holds without a gap, to a step in
/// [`SCAN`] of the range.
pub(crate) fn first_bound(most: f64, holds: impl Fn(f64) -> bool) -> f64 {
    let step = most / f64::from(SCAN);
    let place = |k: u32| if k == SCAN { most } else { step * f64::from(k) };
    let Some(fails) = (1..=SCAN).find(|k| !holds(place(*k))) else { return most };
    halved(place(fails - 1), place(fails), holds)
}

/// The largest value in 0 to `most` up to which a condition holds that holds at zero, and beyond which it does not again.
pub(crate) fn only_bound(most: f64, holds: impl Fn(f64) -> bool) -> f64 {
    if holds(most) { most } else { halved(0.0, most, holds) }
}

fn halved(mut low: f64, mut high: f64, holds: impl Fn(f64) -> bool) -> f64 {
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        if holds(middle) { low = middle } else { high = middle }
    }
    low
}

/// Largest factor that a change is asked for.
const MOST_TIMES: f64 = 8.0;
/// Factors are told in hundredths.
const HUNDREDTHS: f64 = 100.0;

/// The least factor above one, rounded up to hundredths, with which a value reaches `least`; `None` where none up to
/// [`MOST_TIMES`] does. What is told holds: the rounded factor is put back.
pub(crate) fn least_factor(least: f64, value: impl Fn(f64) -> f64) -> Option<f64> {
    let short = |more: f64| !(value(1.0 + more) >= least);
    let exact = 1.0 + first_bound(MOST_TIMES - 1.0, short);
    let rounded = (exact * HUNDREDTHS).ceil() / HUNDREDTHS;
    [rounded, rounded + 1.0 / HUNDREDTHS].into_iter().find(|times| value(*times) >= least)
}

#[cfg(test)]
mod tests {
    use std::cell::Cell;

    use super::*;

    #[test]
    fn finds_the_root_of_falling_functions_in_few_steps() {
        for root in [0.0, 0.01, 0.3, 0.77, 1.0] {
            let calls = Cell::new(0);
            let cubic = |x: f64| {
                calls.set(calls.get() + 1);
                root + root * root * root - x - x * x * x
            };
            let found = falling_root(0.0, 1.0, cubic);
            assert!((found - root).abs() < 1e-12, "{found} for {root}");
            assert!(calls.get() < 40, "{} evaluations for {root}", calls.get());
        }
        assert_eq!(falling_root(0.0, 1.0, |x| 2.0 - x), 1.0);
        // A jump is a root.
        assert!((falling_root(0.0, 1.0, |x| if x < 0.6 { 1.0 } else { -0.1 }) - 0.6).abs() < 1e-9);
    }

    #[test]
    fn stops_at_the_first_bound_where_there_are_two() {
        let gap = |x: f64| !(x > 0.4 && x < 0.7);
        assert!((first_bound(1.0, gap) - 0.4).abs() < 1e-9);
        assert_eq!((first_bound(2.0, |_| true), only_bound(2.0, |_| true)), (2.0, 2.0));
        assert!((only_bound(2.0, |x| x < 0.3) - 0.3).abs() < 1e-8);
        assert!(first_bound(2.0, |x| x == 0.0) < 1e-9);
    }

    #[test]
    fn tells_a_factor_that_holds_and_none_where_none_does() {
        assert_eq!(least_factor(2.345, |times| times), Some(2.35));
        assert_eq!(least_factor(2.0, |times| times * times), Some(1.42));
        assert_eq!(least_factor(2.0, |times| times.min(1.9)), None);
        assert_eq!(least_factor(2.0, |_| f64::NAN), None);
    }
}
