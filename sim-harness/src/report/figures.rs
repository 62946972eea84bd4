//! Numbers as a reader sees them: few digits, yet never so few that a figure contradicts its verdict.

use crate::verdict::{Check, Limit};

/// What stands in the place of a value that is not a number.
pub const NO_VALUE: &str = "no value";

/// Significant digits of a value, as long as they suffice.
const VALUE_DIGITS: usize = 3;
/// Significant digits of a limit, as long as they suffice.
const LIMIT_DIGITS: usize = 4;
/// Digits that tell any two `f64` apart.
const MOST_DIGITS: usize = 17;
/// Decimals that a value has at most while they suffice, however small its limit: steps below this mean nothing to a builder.
const MOST_DECIMALS: usize = 5;
/// A value is printed in steps of about this share of its limit: what is smaller says nothing beside the limit, and is 0.
const STEP_SHARE: f64 = 1.0e-3;

/// A check's value and limit, printed.
pub struct Figures {
    /// The value without its unit.
    pub value: String,
    /// What it is held to: "at least 1.8"; [`figures`] adds the unit, [`figures_of`] has none to add.
    pub limit: String,
}

/// Prints a check's value and limit, the limit with the check's unit.
///
/// Digits are added until the printed value keeps the printed limit exactly when the true one does:
/// 2.996 against "at least 3" is not printed as 3.00.
pub fn figures(check: &Check) -> Figures {
    let Figures { value, limit } = figures_of(check.value, check.limit);
    Figures { value, limit: with_unit(&limit, check.unit) }
}

/// "0.79 m"; a ratio or a count stands alone.
pub fn with_unit(printed: &str, unit: &str) -> String {
    if unit.is_empty() { printed.to_owned() } else { format!("{printed} {unit}") }
}

/// A value and its limit, printed as [`figures`] does, without a unit.
pub fn figures_of(value: f64, held_to: Limit) -> Figures {
    let truth = held_to.holds(value);
    let decimals = decimals_beside(held_to);
    // More digits also mean finer steps.
    let value_at = |digits: usize| beside_its_limit(value, digits, decimals.map(|most| most + digits - VALUE_DIGITS));
    let digits = (VALUE_DIGITS..MOST_DIGITS).find(|&digits| {
        let printed =
            Limit { min: held_to.min.map(|x| limit_at(x, digits)), max: held_to.max.map(|x| limit_at(x, digits)) };
        printed.holds(value_at(digits).parse().unwrap_or(value)) == truth
    });
    match digits {
        Some(digits) => Figures { value: value_at(digits), limit: limit(held_to, digits) },
        None => Figures { value: figure(value, MOST_DIGITS), limit: limit(held_to, MOST_DIGITS) },
    }
}

/// Decimals of the step in which a value stands beside this limit; `None` where the limit has no size.
fn decimals_beside(held_to: Limit) -> Option<usize> {
    let size = held_to.min.into_iter().chain(held_to.max).fold(0.0, |most: f64, end| most.max(end.abs()));
    let step = STEP_SHARE * size;
    // A hair above, so that the step of 0.1 is 0.0001 whatever the rounding of the product.
    (step > 0.0 && step.is_finite())
        .then(|| (-(step * (1.0 + 1.0e-9)).log10().floor()).clamp(0.0, MOST_DECIMALS as f64) as usize)
}

fn beside_its_limit(value: f64, digits: usize, decimals: Option<usize>) -> String {
    let printed = figure(value, digits);
    let Some(most) = decimals.filter(|_| value.is_finite()) else { return printed };
    let has = printed.split_once('.').map_or(0, |(_, decimals)| decimals.len());
    if has <= most && !printed.contains("e-") {
        return printed;
    }
    let shorter = format!("{value:.most$}");
    if shorter.chars().any(|c| matches!(c, '1'..='9')) { shorter } else { "0".to_owned() }
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
    figure(value, digits.max(LIMIT_DIGITS)).parse().unwrap_or(value)
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
    fn prints_zero_and_no_needless_digits_when_a_value_is_small_beside_its_limit() {
        assert_eq!(printed(8.07e-18, Limit::at_most(0.01)).0, "0");
        assert_eq!(printed(1.92e-5, Limit::at_most(0.1)).0, "0");
        assert_eq!(printed(-1.92e-5, Limit::between(-0.1, 0.1)).0, "0");
        assert_eq!(printed(2.1e-4, Limit::at_most(0.1)).0, "0.0002");
        assert_eq!(printed(0.0117, Limit::at_most(1.0)).0, "0.012");
        assert_eq!(printed(0.0399, Limit::at_most(5.0)).0, "0.040");
        assert_eq!(printed(1.17e-6, Limit::at_most(0.001)).0, "0");
        assert_eq!(printed(151.6, Limit::at_most(1.0e6)).0, "152");
    }

    #[test]
    fn keeps_every_digit_a_failed_check_needs_however_small_its_value() {
        // Beside a limit of nothing all is large.
        assert_eq!(printed(1.5e-7, Limit::at_most(0.0)).0, "1.50e-7");
        assert_eq!(printed(-1.6e-7, Limit::between(0.0, 1.0)).0, "-0.0000002");
        assert_eq!(printed(1.0 - 2.0e-6, Limit::at_least(1.0)).0, "0.999998");
    }

    #[test]
    fn prints_value_and_limit_in_one_unit() {
        let figures = figures(&Check { unit: "m/s", ..check(23.2, Limit::between(22.14, 23.51)) });
        assert_eq!((figures.value.as_str(), figures.limit.as_str()), ("23.2", "22.14 to 23.51 m/s"));
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
        fn keeps_the_verdict_in_print(value in prop_oneof![-1e3..1e3_f64, -1e-6..1e-6_f64], gap in -1e-3..1e-3_f64) {
            let limit = Limit::at_most(value + gap);
            let (value_text, limit_text) = printed(value, limit);
            let limit_text = limit_text.trim_start_matches("at most ").to_owned();
            prop_assert_eq!(value_text.parse::<f64>().unwrap() <= limit_text.parse::<f64>().unwrap(), limit.holds(value));
        }
    }
}
