//! Numbers as one types and reads them.

use crate::report::{figure, trimmed};

/// Significant digits of a number to type.
const DIGITS: usize = 2;

/// Three significant digits, in the form that a craft file takes: `6.0`, `0.0165`, `2.5e-7`.
pub(super) fn number(value: f64) -> String {
    let rounded: f64 = format!("{value:.DIGITS$e}").parse().unwrap_or(value);
    format!("{rounded:?}")
}

/// Three significant digits, to be read.
pub(super) fn shown(value: f64) -> String {
    trimmed(figure(value, DIGITS + 1))
}
