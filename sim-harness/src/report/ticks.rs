//! Round tick values for an axis.

/// Marks of one axis.
#[derive(Clone, Debug, PartialEq)]
pub struct Ticks {
    /// In rising order, inside the axis' range.
    pub values: Vec<f64>,
    /// One label a value.
    pub labels: Vec<String>,
}

/// Ticks from `low` to `high`, both finite and `low < high`, about `wanted` of them.
///
/// Steps are 1, 2 or 5 times a power of ten; each tick is a whole multiple of the step.
pub fn ticks(low: f64, high: f64, wanted: usize) -> Ticks {
    let span = high - low;
    if !(span > 0.0 && span.is_finite() && low.is_finite()) {
        return Ticks { values: Vec::new(), labels: Vec::new() };
    }
    let (step, exponent) = round_step(span / wanted.max(1) as f64);
    let (first, last) = ((low / step).ceil(), (high / step).floor());
    let count = (last - first) as usize + 1;
    let values: Vec<f64> = (0..count).map(|k| (first + k as f64) * step).collect();
    let labels = values.iter().map(|&value| label(value, exponent)).collect();
    Ticks { values, labels }
}

/// The smallest round step not below `raw`, with its power of ten.
fn round_step(raw: f64) -> (f64, i32) {
    let exponent = raw.log10().floor() as i32;
    let power = 10_f64.powi(exponent);
    match raw / power {
        m if m <= 1.0 => (power, exponent),
        m if m <= 2.0 => (2.0 * power, exponent),
        m if m <= 5.0 => (5.0 * power, exponent),
        _ => (10.0 * power, exponent + 1),
    }
}

fn label(value: f64, step_exponent: i32) -> String {
    let decimals = (-step_exponent).max(0) as usize;
    if value == 0.0 {
        "0".to_owned()
    } else if decimals > 6 || value.abs() >= 1e6 {
        format!("{value:e}").replace('-', "−")
    } else {
        format!("{value:.decimals$}").replace('-', "−")
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Rounding of a multiple of the step, as a part of the step.
    const STEP_TOL: f64 = 1e-6;

    #[test]
    fn are_round_when_the_range_is_not() {
        assert_eq!(ticks(-0.13, 3.2, 4).labels, ["0", "1", "2", "3"]);
        assert_eq!(ticks(-0.031, 0.047, 4).labels, ["−0.02", "0", "0.02", "0.04"]);
        assert_eq!(ticks(0.0, 60.0, 6).labels, ["0", "10", "20", "30", "40", "50", "60"]);
    }

    #[test]
    fn are_none_when_the_range_is_no_range() {
        for (low, high) in [(1.0, 1.0), (2.0, 1.0), (f64::NAN, 1.0), (0.0, f64::INFINITY), (f64::NEG_INFINITY, 0.0)] {
            assert!(ticks(low, high, 5).values.is_empty());
        }
    }

    proptest! {
        #[test]
        fn are_round_inside_even_and_told_apart(low in -1e6..1e6_f64, exponent in -3..6_i32, mantissa in 1.0..10.0_f64, wanted in 3..9_usize) {
            let high = low + mantissa * 10_f64.powi(exponent);
            let Ticks { values, labels } = ticks(low, high, wanted);
            prop_assert!((1..=wanted + 1).contains(&values.len()), "{} ticks", values.len());
            prop_assert!(values.iter().all(|&v| low <= v && v <= high));
            let steps: Vec<f64> = values.windows(2).map(|w| w[1] - w[0]).collect();
            prop_assert!(steps.iter().all(|&s| s > 0.0));
            if let [first, ..] = steps[..] {
                prop_assert!(steps.iter().all(|&s| (s - first).abs() <= STEP_TOL * first));
                let mantissa = first / 10_f64.powf((first * (1.0 + STEP_TOL)).log10().floor());
                prop_assert!([1.0, 2.0, 5.0].iter().any(|m| (mantissa - m).abs() <= STEP_TOL * 10.0), "step {first}");
            }
            let mut told_apart = labels.clone();
            told_apart.dedup();
            prop_assert_eq!(told_apart.len(), values.len());
            for (value, label) in values.iter().zip(&labels) {
                let read: f64 = label.replace('−', "-").parse().unwrap();
                prop_assert!((read - value).abs() <= 1e-6 * (high - low));
            }
        }
    }
}
