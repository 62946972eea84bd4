//! How well a pass rate is known from so many flights.

/// Standard deviations either way that hold 95 % of a normal distribution.
pub const Z_95: f64 = 1.959_963_984_540_054;

/// The 95 % score interval of a proportion; (0, 1) when nothing was counted.
///
/// * Math: (p + z²/2n ± z·√(p(1−p)/n + z²/4n²)) / (1 + z²/n): the proportions π for which
///   |p − π| = z·√(π(1−π)/n)
/// * Source: E. B. Wilson, Probable inference, the law of succession, and statistical inference,
///   Journal of the American Statistical Association 22, 1927, 209-212 (formula from memory)
pub fn wilson(passed: u64, flights: u64) -> (f64, f64) {
    if flights == 0 {
        return (0.0, 1.0);
    }
    let n = flights as f64;
    let p = passed as f64 / n;
    let z2 = Z_95 * Z_95;
    let middle = p + z2 / (2.0 * n);
    let half = Z_95 * (p * (1.0 - p) / n + z2 / (4.0 * n * n)).sqrt();
    let scale = 1.0 + z2 / n;
    // At the ends the formula gives 0 and 1 but for rounding.
    (((middle - half) / scale).max(0.0), ((middle + half) / scale).min(1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rounding of the closed form beside bisection.
    const SAME_TOL: f64 = 1.0e-12;
    /// Half a unit of the last digit printed in the tables.
    const PRINTED_TOL: f64 = 0.000_5;

    /// Where |p − π| = z·√(π(1−π)/n), by bisection between `p` and an end of 0..1.
    fn root(passed: u64, flights: u64, end: f64) -> f64 {
        let n = flights as f64;
        let p = passed as f64 / n;
        let beyond = |rate: f64| (p - rate).abs() > Z_95 * (rate * (1.0 - rate) / n).sqrt();
        let (mut inside, mut outside) = (p, end);
        for _ in 0..200 {
            let middle = 0.5 * (inside + outside);
            if beyond(middle) { outside = middle } else { inside = middle }
        }
        0.5 * (inside + outside)
    }

    /// Source: the definition of the score interval, its equation solved by bisection instead of in closed form.
    #[test]
    fn solves_its_equation_when_any_share_passed() {
        for flights in [1, 2, 7, 40, 1000, 1_000_000] {
            for passed in [0, 1, flights / 3, flights / 2, flights - 1, flights] {
                let (low, high) = wilson(passed, flights);
                assert!((low - root(passed, flights, 0.0)).abs() < SAME_TOL, "{passed}/{flights}: {low}");
                assert!((high - root(passed, flights, 1.0)).abs() < SAME_TOL, "{passed}/{flights}: {high}");
            }
        }
    }

    /// Source: intervals as printed in textbooks of statistics (0 of 10, 5 of 10; 81 of 263: R. G. Newcombe, Statistics
    /// in Medicine 17, 1998, 857-872, table I). All from memory.
    #[test]
    fn agrees_with_printed_intervals_when_they_are_known() {
        let printed =
            [(0, 10, 0.0, 0.2775), (5, 10, 0.2366, 0.7634), (81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605)];
        for (passed, flights, low, high) in printed {
            let found = wilson(passed, flights);
            assert!((found.0 - low).abs() < PRINTED_TOL && (found.1 - high).abs() < PRINTED_TOL, "{passed}: {found:?}");
        }
    }

    #[test]
    fn mirrors_when_passing_and_failing_change_places() {
        for (passed, flights) in [(0, 5), (3, 40), (17, 200)] {
            let ((low, high), (other_low, other_high)) = (wilson(passed, flights), wilson(flights - passed, flights));
            assert!((low - (1.0 - other_high)).abs() < SAME_TOL && (high - (1.0 - other_low)).abs() < SAME_TOL);
        }
    }

    #[test]
    fn says_nothing_when_nothing_was_flown() {
        assert_eq!(wilson(0, 0), (0.0, 1.0));
        assert_eq!(wilson(0, 9).0, 0.0);
        assert_eq!(wilson(9, 9).1, 1.0);
    }
}
