//! Air that turns: the angular rates p, q, r of Dryden turbulence over the span of a craft.
//!
//! * Spectra, one-sided in spatial frequency Ω, b the span:
//!   Φ_p = (σ_w²/L_w)·0.8·(π·L_w/4b)^(1/3)/(1 + (4bΩ/π)²), Φ_q = Ω²·Φ_w/(1 + (4bΩ/π)²), Φ_r = Ω²·Φ_v/(1 + (3bΩ/π)²)
//! * Math: p is a filter of the first order with noise of its own. q and r are the gradients of w and v along the way, as far as they
//!   are longer than the span: with w̃ = w/σ_w and z̃ its first-order low-pass at Ω = π/4b, q = (π/4b)·σ_w·(w̃ − z̃)
//! * Signs: the rotation of the air itself, so that ω×r is its velocity: q = −∂w/∂x, r = ∂v/∂x. A craft that keeps its place goes
//!   against the wind through the field, and x is along the wind: q = ẇ/V, r = −v̇/V
//! * Source: MIL-F-8785C, section 3.7 (from memory). It has wings in mind; that the span of a craft with rotors is twice its longest
//!   arm is a choice of this project

use std::f64::consts::PI;

use nalgebra::Vector3;
use rand_chacha::ChaCha8Rng;

use super::dryden::DrydenScales;
use super::filter::{FirstOrderFilter, LowPassedFilter, SecondOrderFilter};
use super::turbulence::normal;

/// Share of σ_w²/L_w in the spectrum of p.
const ROLL_SHARE: f64 = 0.8;

/// Memory of the three.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct RotationState {
    generator: ChaCha8Rng,
    /// Of unit variance.
    roll: f64,
    /// Low-passed over the span, of v and w of unit variance; `None` before the first sample.
    low_passed: Option<[f64; 2]>,
}

/// One sample of v or w on its way from one state to the next.
pub(super) struct Passing {
    /// Travel over the scale in one sample.
    pub(super) theta: f64,
    pub(super) length_m: f64,
    pub(super) from: [f64; 2],
    pub(super) to: [f64; 2],
    /// What was drawn for it.
    pub(super) normals: [f64; 2],
}

impl RotationState {
    /// Draws from a stream of its own: whoever asks for rotation meets the same u, v, w.
    pub(super) fn new(mut generator: ChaCha8Rng) -> Self {
        let roll = normal(&mut generator);
        RotationState { generator, roll, low_passed: None }
    }

    /// The next sample: about the wind's direction, the axis to its right, and down.
    pub(super) fn sample(&mut self, span_m: f64, scales: &DrydenScales, [v, w]: [Passing; 2]) -> Vector3<f64> {
        let DrydenScales { vertical_sigma_m_s, horizontal_sigma_m_s, vertical_length_m, .. } = *scales;
        // The corner of p and q, and of r, rad/m.
        let (corner, yaw_corner) = (PI / (4.0 * span_m), PI / (3.0 * span_m));
        let roll_filter = FirstOrderFilter::new(w.theta * w.length_m * corner);
        self.roll = roll_filter.step(self.roll, normal(&mut self.generator));
        // ∫Φ_p over all Ω.
        let roll_square = ROLL_SHARE * (vertical_length_m * corner).cbrt() * corner * 0.5 * PI / vertical_length_m;
        let before = self.low_passed;
        let mut gradient = |passing: &Passing, corner: f64, before: Option<f64>| {
            let filter = LowPassedFilter::new(passing.theta, passing.length_m * corner);
            let before = before.unwrap_or_else(|| filter.stationary(passing.from, normal(&mut self.generator)));
            let low = filter.step(before, passing.from, passing.to, passing.normals, normal(&mut self.generator));
            (low, corner * (SecondOrderFilter::output(passing.to) - low))
        };
        let (low_v, yaw) = gradient(&v, yaw_corner, before.map(|[v, _]| v));
        let (low_w, pitch) = gradient(&w, corner, before.map(|[_, w]| w));
        self.low_passed = Some([low_v, low_w]);
        Vector3::new(
            self.roll * roll_square.sqrt() * vertical_sigma_m_s,
            pitch * vertical_sigma_m_s,
            -yaw * horizontal_sigma_m_s,
        )
    }
}
