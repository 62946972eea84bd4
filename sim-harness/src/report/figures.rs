//! Numbers as a reader sees them: few digits, yet never so few that a figure belies its verdict.

use crate::verdict::{Check, Limit};

/// What stands in the place of a value that is not a number.
pub const NO_VALUE: &str = "no value";

/// Significant digits of a value, as long as they suffice.
const VALUE_DIGITS: usize = 3;
/// Significant digits of a limit, as long as they suffice.
const LIMIT_DIGITS: usize = 4;
/// Digits that tell any two `f64` apart.
const MOST_DIGITS: usize = 17;

/// A check's value and limit, printed.
pub struct Figures {
    /// The value without its unit.
    pub value: String,
    /// What it is held to, without the unit: "at least 1.8".
    pub limit: String,
}

/// Prints a check's value and limit.
///
/// Digits are added until the printed value keeps the printed limit exactly when the true one does:
/// 2.996 against "at least 3" is not printed as 3.00.
pub fn figures(check: &Check) -> Figures {
    figures_of(check.value, check.limit)
}

/// The same for a value and its limit.
pub fn figures_of(value: f64, held_to: Limit) -> Figures {
    let truth = held_to.holds(value);
    let digits = (VALUE_DIGITS..MOST_DIGITS).find(|&digits| {
        let printed =
            Limit { min: held_to.min.map(|x| limit_at(x, digits)), max: held_to.max.map(|x| limit_at(x, digits)) };
        printed.holds(rounded(value, digits)) == truth
    });
    let digits = digits.unwrap_or(MOST_DIGITS);
    Figures { value: figure(value, digits), limit: limit(held_to, digits) }
}

/// Prints one number with this many significant digits; whole numbers without decimals.
pub fn figure(value: f64, digits: usize) -> String {
    if !value.is_finite() {
        return NO_VALUE.to_owned();
    }
    if value == 0.0 {
        return "0".to_owned();
    }
    let exponent = value.abs().log10().floor();
    if !(-4.0..7.0).contains(&exponent) {
        return format!("{value:.*e}", digits.saturating_sub(1));
    }
    if value.fract() == 0.0 {
        return format!("{value:.0}");
    }
    let decimals = (digits as i32 - 1 - exponent as i32).max(0) as usize;
    format!("{value:.decimals$}")
}

fn limit(limit: Limit, digits: usize) -> String {
    let print = |x| trimmed(figure(x, digits.max(LIMIT_DIGITS)));
    match (limit.min, limit.max) {
        (None, None) => "no limit".to_owned(),
        (Some(min), None) => format!("at least {}", print(min)),
        (None, Some(max)) => format!("at most {}", print(max)),
        (Some(min), Some(max)) if min == -max => format!("within ±{}", print(max)),
        (Some(min), Some(max)) => format!("{} to {}", print(min), print(max)),
    }
}

fn limit_at(value: f64, digits: usize) -> f64 {
    rounded(value, digits.max(LIMIT_DIGITS))
}

fn rounded(value: f64, digits: usize) -> f64 {
    figure(value, digits).parse().unwrap_or(value)
}

/// Without the zeros that say nothing: 0.2500 is 0.25.
pub fn trimmed(printed: String) -> String {
    if printed.contains('.') && !printed.contains('e') {
        printed.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        printed
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn check(value: f64, limit: Limit) -> Check {
        let held = limit.holds(value);
        Check { id: "a.b".into(), title: "t".into(), held, value, unit: "", limit, source: "s".into(), mend: None }
    }

    fn printed(value: f64, limit: Limit) -> (String, String) {
        let Figures { value, limit } = figures(&check(value, limit));
        (value, limit)
    }

    #[test]
    fn adds_digits_when_rounding_would_belie_the_verdict() {
        assert_eq!(printed(2.996, Limit::at_least(3.0)), ("2.996".into(), "at least 3".into()));
        assert_eq!(printed(2.9984, Limit::at_least(2.99841)), ("2.99840".into(), "at least 2.99841".into()));
        assert_eq!(printed(2.99, Limit::at_least(3.0)).0, "2.99");
    }

    #[test]
    fn prints_limits_as_a_reader_says_them() {
        assert_eq!(printed(0.1, Limit::at_most(0.25)).1, "at most 0.25");
        assert_eq!(printed(0.1, Limit::between(-0.25, 0.25)).1, "within ±0.25");
        assert_eq!(printed(1.0, Limit::between(0.95, 1.05)).1, "0.95 to 1.05");
    }

    #[test]
    fn prints_no_number_when_there_is_none() {
        for value in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert_eq!(figure(value, 3), NO_VALUE);
        }
        assert_eq!(figure(-0.0, 3), "0");
    }

    proptest! {
        #[test]
        fn keeps_the_verdict_in_print(value in -1e3..1e3_f64, gap in -1e-3..1e-3_f64) {
            let limit = Limit::at_most(value + gap);
            let (value_text, limit_text) = printed(value, limit);
            let limit_text = limit_text.trim_start_matches("at most ").to_owned();
            prop_assert_eq!(value_text.parse::<f64>().unwrap() <= limit_text.parse::<f64>().unwrap(), limit.holds(value));
        }
    }
}
