//! Marks of a logarithmic axis: one a decade with a label, and the eight between without.

use super::figures::{figure, trimmed};
use super::ticks::Ticks;

/// The decades from `low` to `high`, both above zero; values are logarithms to base ten.
pub fn decades(low: f64, high: f64) -> Ticks {
    let values: Vec<f64> =
        exponents(low, high).map(f64::from).filter(|&e| low.log10() <= e && e <= high.log10()).collect();
    let labels = values.iter().map(|exponent| trimmed(figure(10_f64.powf(*exponent), 1))).collect();
    Ticks { values, labels }
}

/// Twice to nine times each decade, as logarithms.
pub fn between_decades(low: f64, high: f64) -> Vec<f64> {
    let minor = exponents(low, high).flat_map(|e| (2..10).map(move |k| f64::from(e) + f64::from(k).log10()));
    minor.filter(|&e| low.log10() <= e && e <= high.log10()).collect()
}

/// Whole exponents around the range; none where it is no range.
fn exponents(low: f64, high: f64) -> impl Iterator<Item = i32> {
    let range = low > 0.0 && high > low && high.is_finite();
    range.then(|| low.log10().floor() as i32..=high.log10().ceil() as i32).into_iter().flatten()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn are_labelled_as_a_reader_says_them() {
        assert_eq!(decades(0.05, 600.0).labels, ["0.1", "1", "10", "100"]);
        assert_eq!(decades(0.01, 1000.0).labels, ["0.01", "0.1", "1", "10", "100", "1000"]);
    }

    #[test]
    fn stay_inside_and_are_none_when_the_range_is_no_range() {
        let minor = between_decades(0.045, 650.0);
        assert!(minor.iter().all(|e| (0.045_f64.log10()..=650_f64.log10()).contains(e)));
        assert_eq!(minor.len(), 5 + 8 * 3 + 5);
        for (low, high) in [(0.0, 1.0), (1.0, 1.0), (f64::NAN, 1.0), (1.0, f64::INFINITY)] {
            assert!(decades(low, high).values.is_empty() && between_decades(low, high).is_empty());
        }
    }
}
