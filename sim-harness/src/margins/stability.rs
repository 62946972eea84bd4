//! Margins of one loop from its frequency response: gain, phase, delay, sensitivity, disk.
//!
//! * Math: L the loop cut open, S = 1/(1 + L), T = L/(1 + L). Gain margins at Im L = 0, phase and delay margin at |L| = 1,
//!   bandwidth where |T| first falls below 1/√2, disk margin α = 1/max|S − ½|: gains from (1 − α/2)/(1 + α/2) to its
//!   inverse and phases of 2·atan(α/2) are borne together. The loop is stable when 1 + L goes round the origin as its
//!   poles at zero frequency ask (Nyquist); L has no pole of its own that grows
//! * Source: P. Seiler, A. Packard, P. Gahinet, An Introduction to Disk Margins, IEEE Control Systems Magazine 40(5), 2020
//!   (from memory); the rest is any textbook's
//! * Accuracy: frequencies to [`FREQUENCY_TOL`]; two crossings closer than a [`PER_DECADE`]th of a decade may be missed

use std::f64::consts::{FRAC_1_SQRT_2, FRAC_PI_2, PI, TAU};
use std::ops::RangeInclusive;

use nalgebra::Complex;
use serde::Serialize;

/// Points looked at in each decade.
pub const PER_DECADE: f64 = 400.0;
/// Relative error of a frequency found.
pub const FREQUENCY_TOL: f64 = 1.0e-9;
/// Halvings that reach it.
const HALVINGS: u32 = 40;
/// Golden sections that close in on a peak.
const SECTIONS: u32 = 50;

/// What one loop bears. Every figure is zero, and the peak infinite, for a loop that is unstable as it is.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct StabilityMargins {
    /// Whether the closed loop is stable.
    pub stable: bool,
    /// Smallest factor above 1 that the loop gain does not bear; infinite when there is none.
    pub gain_up: f64,
    /// Largest factor below 1 that it does not bear; 0 when there is none.
    pub gain_down: f64,
    /// Where the loop's phase is half a turn at the smallest gain margin upwards; NaN when there is none.
    pub phase_crossover_rad_s: f64,
    /// The same at the largest factor downwards; NaN when there is none.
    pub phase_crossover_down_rad_s: f64,
    /// Smallest phase margin.
    pub phase_margin_rad: f64,
    /// Where that is; of several crossings the one with the smallest phase margin.
    pub crossover_rad_s: f64,
    /// Smallest delay the loop does not bear.
    pub delay_margin_s: f64,
    /// Where the closed loop first falls 3 dB below one; NaN when it never does.
    pub bandwidth_rad_s: f64,
    /// Largest |S|.
    pub peak_sensitivity: f64,
    /// Where that is.
    pub peak_sensitivity_rad_s: f64,
    /// Largest |T|.
    pub peak_complementary: f64,
    /// Symmetric disk margin α.
    pub disk: f64,
    /// Where the disk is touched.
    pub disk_rad_s: f64,
}

impl StabilityMargins {
    /// Looks at `response` from the first to the last of these frequencies, rad/s; a sampled loop ends at half its sample
    /// rate.
    pub fn of(response: &dyn Fn(f64) -> Complex<f64>, span_rad_s: RangeInclusive<f64>) -> Self {
        let curve = Curve::new(response, span_rad_s);
        if !curve.stable() {
            return Self::none();
        }
        let crossings = curve.crossings(&|value| value.norm().ln());
        let phase = |omega: f64| response(omega).arg() + PI;
        let (crossover_rad_s, phase_margin_rad) = crossings
            .iter()
            .map(|omega| (*omega, phase(*omega).min(TAU - phase(*omega))))
            .fold((f64::NAN, PI), |least, found| if found.1 <= least.1 { found } else { least });
        let delays = crossings.iter().map(|omega| phase(*omega) / omega);
        let ((gain_down, phase_crossover_down_rad_s), (gain_up, phase_crossover_rad_s)) = curve.gains();
        let (peak_sensitivity_rad_s, peak_sensitivity) = curve.peak(&|value| (1.0 + value).inv().norm());
        let (disk_rad_s, farthest) = curve.peak(&|value| ((1.0 + value).inv() - 0.5).norm());
        StabilityMargins {
            stable: true,
            gain_up,
            gain_down,
            phase_crossover_rad_s,
            phase_crossover_down_rad_s,
            phase_margin_rad,
            crossover_rad_s,
            delay_margin_s: delays.fold(f64::INFINITY, f64::min),
            bandwidth_rad_s: curve.bandwidth(),
            peak_sensitivity,
            peak_sensitivity_rad_s,
            peak_complementary: curve.peak(&|value| (value / (1.0 + value)).norm()).1,
            disk: 1.0 / farthest,
            disk_rad_s,
        }
    }

    /// What a loop that does not hold bears.
    pub fn none() -> Self {
        StabilityMargins {
            stable: false,
            gain_up: 1.0,
            gain_down: 1.0,
            phase_crossover_rad_s: f64::NAN,
            phase_crossover_down_rad_s: f64::NAN,
            phase_margin_rad: 0.0,
            crossover_rad_s: f64::NAN,
            delay_margin_s: 0.0,
            bandwidth_rad_s: f64::NAN,
            peak_sensitivity: f64::INFINITY,
            peak_sensitivity_rad_s: f64::NAN,
            peak_complementary: f64::INFINITY,
            disk: 0.0,
            disk_rad_s: f64::NAN,
        }
    }

    /// Gain margin, the nearer of up and down, decibels.
    pub fn gain_margin_db(&self) -> f64 {
        20.0 * self.gain_up.min(1.0 / self.gain_down).log10()
    }

    /// Gain that may change together with the phase, decibels either way.
    pub fn disk_gain_db(&self) -> f64 {
        let half = 0.5 * self.disk;
        if half < 1.0 { 20.0 * ((1.0 + half) / (1.0 - half)).log10() } else { f64::INFINITY }
    }

    /// Phase that may change together with the gain.
    pub fn disk_phase_rad(&self) -> f64 {
        2.0 * (0.5 * self.disk).atan()
    }
}

/// A response with its points.
struct Curve<'a> {
    response: &'a dyn Fn(f64) -> Complex<f64>,
    points: Vec<(f64, Complex<f64>)>,
}

impl<'a> Curve<'a> {
    fn new(response: &'a dyn Fn(f64) -> Complex<f64>, span_rad_s: RangeInclusive<f64>) -> Self {
        let (first, last) = (*span_rad_s.start(), *span_rad_s.end());
        let count = ((last / first).log10() * PER_DECADE).ceil().max(2.0);
        let omega = |step: f64| if step < count { first * (last / first).powf(step / count) } else { last };
        let points = (0..=count as u32).map(|step| omega(f64::from(step)));
        Curve { response, points: points.map(|omega| (omega, response(omega))).collect() }
    }

    /// Whether 1 + L turns by a quarter for each pole at zero frequency, and no more.
    fn stable(&self) -> bool {
        let mut turned = 0.0;
        for pair in self.points.windows(2) {
            let [(_, before), (_, after)] = pair else { continue };
            turned += ((1.0 + after) / (1.0 + before)).arg();
        }
        let [(first, at_first), (second, at_second), ..] = self.points.as_slice() else { return false };
        let slope = -((1.0 + at_second).norm() / (1.0 + at_first).norm()).ln() / (second / first).ln();
        (turned - slope.round() * FRAC_PI_2).abs() < 0.5 * FRAC_PI_2
    }

    /// Where a quantity of L changes its sign.
    fn crossings(&self, quantity: &dyn Fn(Complex<f64>) -> f64) -> Vec<f64> {
        let mut found = Vec::new();
        for pair in self.points.windows(2) {
            let [(mut low, at_low), (mut high, at_high)] = *pair else { continue };
            let above = quantity(at_low) > 0.0;
            if above == (quantity(at_high) > 0.0) {
                continue;
            }
            for _ in 0..HALVINGS {
                let middle = (low * high).sqrt();
                if (quantity((self.response)(middle)) > 0.0) == above { low = middle } else { high = middle }
            }
            found.push((low * high).sqrt());
        }
        found
    }

    /// Largest factor below one and smallest above one that bring L to −1, each with its frequency.
    fn gains(&self) -> ((f64, f64), (f64, f64)) {
        let mut places = self.crossings(&|value| value.im);
        // A sampled loop ends on the real axis.
        places.extend(self.points.last().filter(|(_, value)| value.im.abs() <= 1.0e-6 * value.norm()).map(|(w, _)| *w));
        let (mut down, mut up) = ((0.0, f64::NAN), (f64::INFINITY, f64::NAN));
        for omega in places {
            let value = (self.response)(omega);
            let factor = 1.0 / value.norm();
            if !(value.re < 0.0) {
                continue;
            }
            if factor > 1.0 && factor < up.0 {
                up = (factor, omega);
            } else if factor <= 1.0 && factor > down.0 {
                down = (factor, omega);
            }
        }
        (down, up)
    }

    fn bandwidth(&self) -> f64 {
        let over = |value: Complex<f64>| (value / (1.0 + value)).norm() - FRAC_1_SQRT_2;
        self.crossings(&over).first().copied().unwrap_or(f64::NAN)
    }

    /// The largest of a quantity of L, and where.
    fn peak(&self, quantity: &dyn Fn(Complex<f64>) -> f64) -> (f64, f64) {
        let at = |omega: f64| quantity((self.response)(omega));
        let largest = |best: usize, (index, (_, value)): (usize, &(f64, Complex<f64>))| {
            let known = self.points.get(best).map_or(0.0, |(_, known)| quantity(*known));
            if quantity(*value) > known { index } else { best }
        };
        let best = self.points.iter().enumerate().fold(0, largest);
        let omega = |index: usize| self.points.get(index).or(self.points.last()).map_or(f64::NAN, |(omega, _)| *omega);
        let (mut low, mut high) = (omega(best.saturating_sub(1)), omega(best + 1));
        let golden = 0.5 * (5.0_f64.sqrt() - 1.0);
        for _ in 0..SECTIONS {
            let (left, right) = (high - golden * (high - low), low + golden * (high - low));
            if at(left) > at(right) { high = right } else { low = left }
        }
        let middle = 0.5 * (low + high);
        [middle, omega(best)]
            .map(|omega| (omega, at(omega)))
            .into_iter()
            .fold((f64::NAN, 0.0), |most, found| if found.1 > most.1 { found } else { most })
    }
}
