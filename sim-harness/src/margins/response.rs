//! The open loops' frequency response as Bode and Nyquist pictures take it: decibels, and a phase that does not jump.
//!
//! * Math: the phase is followed from a frequency so low that only the poles at zero are left, n of them, where it is
//!   −90°·n; n is the slope of the magnitude there
//! * Accuracy: the phase may slip by whole turns where it moves by half a turn within a [`PER_DECADE`]th of a decade

use std::f64::consts::{FRAC_PI_2, TAU};
use std::ops::RangeInclusive;

use nalgebra::Complex;
use serde::Serialize;

use super::{AXES, AxisLoops, Limits, LoopMargins, PER_DECADE, StabilityMargins};
use crate::craft::Craft;
use crate::onboard::{Onboard, Unflyable};

/// Points told of each decade.
pub const RESPONSE_PER_DECADE: u32 = 200;
/// The lowest frequency told, as a share of half the sample rate...
const FIRST_SHARE: f64 = 1.0e-4;
/// ... or this share of the lowest frequency at which a margin stands, where that is lower.
const BELOW_MARGINS: f64 = 0.2;
/// Of the points followed each so many is told.
const FOLLOWED: u32 = PER_DECADE as u32 / RESPONSE_PER_DECADE;

/// One loop cut open, with what it bears.
#[derive(Clone, Debug, PartialEq)]
pub struct LoopResponse {
    /// Half the loop's sample rate: there is no higher frequency in it.
    pub nyquist_hz: f64,
    /// Rising in frequency, [`RESPONSE_PER_DECADE`] a decade; the last is at half the sample rate.
    pub points: Vec<ResponsePoint>,
    /// Margins, and the frequencies at which they stand.
    pub found: StabilityMargins,
    /// The same margins as they are told and judged.
    pub judged: LoopMargins,
}

/// The open loop at one frequency.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct ResponsePoint {
    /// Frequency.
    pub frequency_hz: f64,
    /// 20·log10 of the gain.
    pub magnitude_db: f64,
    /// Carried on past half a turn instead of jumping.
    pub phase_deg: f64,
}

impl ResponsePoint {
    /// The same as a complex number: real and imaginary part.
    pub fn value(&self) -> Complex<f64> {
        Complex::from_polar(10_f64.powf(self.magnitude_db / 20.0), self.phase_deg.to_radians())
    }
}

impl LoopResponse {
    /// Roll, pitch, yaw; of each the rate loop, then the angle loop, in the order of [`super::Margins`].
    ///
    /// # Errors
    /// When the craft cannot be flown, and why.
    pub fn all(craft: &Craft, gravity_m_s2: f64) -> Result<Vec<Self>, Unflyable> {
        let onboard = Onboard::<f64>::new(craft, gravity_m_s2)?;
        let limits = Limits::of(craft);
        let mut loops = Vec::new();
        for (axis, flown) in AXES.into_iter().zip(AxisLoops::all(craft, &onboard)?) {
            let [rate, angle] = LoopMargins::of_axis(axis, &flown, limits);
            loops.push(Self::traced(&|omega| flown.rate_response(omega), flown.span(1.0), rate));
            let span = flown.span(flown.angle_divider());
            loops.push(Self::traced(&|omega| flown.angle_response(omega), span, angle));
        }
        Ok(loops)
    }

    /// Follows a response, given over frequency in rad/s, to the end of its span.
    pub(crate) fn traced(
        response: &dyn Fn(f64) -> Complex<f64>,
        span_rad_s: RangeInclusive<f64>,
        (found, judged): (StabilityMargins, LoopMargins),
    ) -> Self {
        let (lowest, last) = (*span_rad_s.start(), *span_rad_s.end());
        let standing = [found.crossover_rad_s, found.phase_crossover_rad_s, found.phase_crossover_down_rad_s];
        // `min` passes over the NaN of a margin that is not there.
        let first =
            standing.iter().fold(FIRST_SHARE * last, |first, omega| first.min(BELOW_MARGINS * omega)).max(lowest);
        let count = ((last / lowest).log10() * PER_DECADE).floor() as u32;
        let omega = |below: u32| last * 10_f64.powf(-f64::from(below) / PER_DECADE);
        let mut before = response(omega(count));
        let mut phase_rad = at_the_start(before, response(omega(count.saturating_sub(1))));
        let mut points = Vec::new();
        for below in (0..=count).rev() {
            let value = response(omega(below));
            phase_rad += (value / before).arg();
            before = value;
            if omega(below) >= first && below % FOLLOWED == 0 {
                points.push(ResponsePoint {
                    frequency_hz: omega(below) / TAU,
                    magnitude_db: 20.0 * value.norm().log10(),
                    phase_deg: phase_rad.to_degrees(),
                });
            }
        }
        LoopResponse { nyquist_hz: last / TAU, points, found, judged }
    }
}

/// The phase of the first point, in the turn that the poles at zero ask for.
fn at_the_start(first: Complex<f64>, second: Complex<f64>) -> f64 {
    let poles = (PER_DECADE * (first.norm() / second.norm()).log10()).round();
    first.arg() + TAU * ((-poles * FRAC_PI_2 - first.arg()) / TAU).round()
}

#[cfg(test)]
impl LoopResponse {
    /// A loop that is given by its response, for pictures and their tests.
    pub(crate) fn of_textbook(response: &dyn Fn(f64) -> Complex<f64>, last_rad_s: f64, limits: Limits) -> Self {
        let span = 1.0e-6 * last_rad_s..=last_rad_s;
        let found = StabilityMargins::of(response, span.clone());
        let judged = LoopMargins::new("roll", "rate", &found, None, limits);
        Self::traced(response, span, (found, judged))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo;

    const GRAVITY_M_S2: f64 = 9.806_65;
    /// Rounding of decibels and degrees, and back.
    const ROUNDING_TOL: f64 = 1e-9;

    #[test]
    fn is_the_loop_as_flown_when_it_is_turned_back_into_a_number() {
        let craft = demo::quad().unwrap();
        let onboard = Onboard::<f64>::new(&craft, GRAVITY_M_S2).unwrap();
        let told = LoopResponse::all(&craft, GRAVITY_M_S2).unwrap();
        for (axis, flown) in AxisLoops::all(&craft, &onboard).unwrap().iter().enumerate() {
            for point in &told[2 * axis].points {
                let direct = flown.rate_response(TAU * point.frequency_hz);
                assert!((point.value() / direct - 1.0).norm() < ROUNDING_TOL, "{} {point:?}", AXES[axis]);
            }
            for point in &told[2 * axis + 1].points {
                let direct = flown.angle_response(TAU * point.frequency_hz);
                assert!((point.value() / direct - 1.0).norm() < ROUNDING_TOL, "{} {point:?}", AXES[axis]);
            }
        }
    }

    #[test]
    fn carries_the_phase_on_from_its_poles_at_zero_to_half_the_sample_rate() {
        for one in LoopResponse::all(&demo::quad().unwrap(), GRAVITY_M_S2).unwrap() {
            // A loop may have a zero at half the sample rate: nothing is left there that could have a phase.
            let left: Vec<&ResponsePoint> = one.points.iter().filter(|point| point.magnitude_db > -200.0).collect();
            for pair in left.windows(2) {
                let turned = pair[1].phase_deg - pair[0].phase_deg;
                assert!(
                    turned.abs() < 45.0,
                    "{} {}: {turned} degrees at {:?}",
                    one.judged.axis,
                    one.judged.name,
                    pair[1]
                );
            }
            // Body, attitude and the rate loop's integrator make three poles; the angle loop has the attitude's alone.
            let poles = if one.judged.name == "rate" { 3.0 } else { 1.0 };
            assert_eq!((one.points[0].phase_deg / 90.0).round(), -poles, "{} {}", one.judged.axis, one.judged.name);
            let (first, last) = (one.points.first().unwrap(), one.points.last().unwrap());
            assert!((last.frequency_hz / one.nyquist_hz - 1.0).abs() < ROUNDING_TOL);
            assert!(first.frequency_hz <= 1e-4 * 1.02 * one.nyquist_hz);
        }
    }

    /// Source: any textbook: k/(s·(τs + 1)²) turns by half a turn at 1/τ, where its gain is kτ/2.
    #[test]
    fn has_its_margins_within_its_points_when_the_loop_is_a_textbook_one() {
        let (gain, lag) = (4.0, 0.1);
        let response = |omega: f64| {
            let s = Complex::new(0.0, omega);
            gain / (s * (lag * s + 1.0) * (lag * s + 1.0))
        };
        let limits = Limits::of(&demo::quad().unwrap());
        let one = LoopResponse::of_textbook(&response, 3.0e5, limits);
        assert!((one.found.phase_crossover_rad_s * lag - 1.0).abs() < 1e-6);
        let expected_db = -20.0 * (gain * lag / 2.0).log10();
        assert!((one.judged.gain_margin_up_db - expected_db).abs() < 1e-6);
        // Half the sample rate is four decades and a half above: the points reach down to the margin all the same.
        assert!(TAU * one.points[0].frequency_hz <= BELOW_MARGINS * one.found.crossover_rad_s * 1.02);
    }
}
