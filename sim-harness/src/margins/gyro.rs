//! By how much what the gyro says is late: one figure for the gains and for the margins.

use std::f64::consts::{SQRT_2, TAU};

use crate::craft::Craft;

/// A latency of whole samples but for rounding is that many.
const WHOLE_TOL: f64 = 1.0e-9;

/// Latest that a gyro sample is when the loop uses it, in whole samples of the loop: its latency, and its own period where
/// that is longer than the loop's.
pub(crate) fn gyro_late_s(craft: &Craft, period_s: f64) -> f64 {
    let gyro = &craft.sensors.gyro;
    let held_s = gyro.rate_hz.map_or(0.0, |rate_hz| (1.0 / rate_hz - period_s).max(0.0));
    ((gyro.latency_s + held_s) / period_s - WHOLE_TOL).ceil().max(0.0) * period_s
}

/// Dead time that the gyro is worth far below its low-pass: a Butterworth filter of order two lags √2/ωc.
pub(crate) fn gyro_dead_time_s(craft: &Craft, period_s: f64) -> f64 {
    let filter_s = |corner_hz: f64| SQRT_2 / (TAU * corner_hz);
    craft.sensors.gyro_low_pass_hz.map_or(0.0, filter_s) + gyro_late_s(craft, period_s)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo;

    #[test]
    fn slow_gyro_counts_by_what_its_period_is_longer_and_its_latency_in_whole_samples() {
        let mut craft = demo::quad().unwrap();
        let mut late_s = |rate_hz, latency_s| {
            (craft.sensors.gyro.rate_hz, craft.sensors.gyro.latency_s) = (rate_hz, latency_s);
            gyro_late_s(&craft, 1e-3)
        };
        for (rate_hz, latency_s, told_s) in [
            (None, 0.0, 0.0),
            (Some(4000.0), 0.0, 0.0),
            (Some(250.0), 0.0, 3e-3),
            (None, 2e-3, 2e-3),
            (None, 2.1e-3, 3e-3),
            (Some(250.0), 0.5e-3, 4e-3),
        ] {
            assert!((late_s(rate_hz, latency_s) - told_s).abs() < 1e-12, "{rate_hz:?} {latency_s}");
        }
    }

    /// The gains must know what the margins count: a gyro four times slower than the loop, or as late, is as much dead time.
    #[test]
    fn gains_are_lower_by_the_same_when_the_gyro_is_slow_or_late() {
        let gain = |rate_hz, latency_s| {
            let mut craft = demo::quad().unwrap();
            (craft.sensors.gyro.rate_hz, craft.sensors.gyro.latency_s) = (rate_hz, latency_s);
            crate::onboard::Onboard::<f64>::new(&craft, 9.806_65).unwrap().config.rate[0].p_per_s
        };
        assert!(gain(Some(250.0), 0.0) < 0.9 * gain(None, 0.0));
        assert!((gain(Some(250.0), 0.0) / gain(None, 3e-3) - 1.0).abs() < 1e-9);
    }
}
