//! Dryden turbulence along a flight: three filters that draw a sample every [`SAMPLE_PERIOD_NS`] and hold it.
//!
//! u lies along the steady wind in the horizontal plane (north, where there is none), v to its right, w down. The field is
//! frozen and carried past the craft at its speed through the steady wind; a craft that drifts with the wind would
//! meet no change, so that speed counts as [`SLOWEST_ADVECTION_M_S`] at least.
//!
//! Source: MIL-F-8785C, section 3.7.3 (secondary sources and memory); the slowest speed, the sample period and the axes where there is no
//! wind are choices of this project. How the air turns is in [`rotation`](super::rotation), for crafts that can feel it

use nalgebra::Vector3;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use rand_distr::{Distribution, StandardNormal};

use super::dryden::low_altitude_scales;
use super::filter::{FirstOrderFilter, SecondOrderFilter};
use super::rotation::{Passing, RotationState};
use crate::script;

/// Time between two samples of turbulence, nanoseconds.
pub const SAMPLE_PERIOD_NS: u64 = 5_000_000;
/// The field passes the craft at least this fast.
pub const SLOWEST_ADVECTION_M_S: f64 = 1.0;
/// This stream of the generator is the wind's own.
const STREAM: u64 = 0x5749_4E44;
/// ... and this one that of its rotation.
const ROTATION_STREAM: u64 = 0x5457_4953;
const SAMPLE_PERIOD_S: f64 = SAMPLE_PERIOD_NS as f64 * 1.0e-9;
/// Slower than this a wind has no direction.
const CALM_M_S: f64 = 1.0e-9;

#[derive(Clone, Debug)]
pub(super) struct Turbulence {
    wind_20ft_m_s: f64,
    /// Along u and along v.
    along: Vector3<f64>,
    across: Vector3<f64>,
    /// `None`: nothing on the craft feels the air turn.
    span_m: Option<f64>,
}

/// Memory of the filters, and the generator.
#[derive(Clone, Debug, PartialEq)]
pub struct TurbulenceState {
    generator: ChaCha8Rng,
    next_ns: u64,
    /// Of unit variance.
    along: f64,
    across: [f64; 2],
    down: [f64; 2],
    velocity_m_s: Vector3<f64>,
    rotation: RotationState,
    rotation_rad_s: Vector3<f64>,
}

impl TurbulenceState {
    /// At the start the filters are in their stationary state.
    pub fn new(seed: u64) -> TurbulenceState {
        let mut turning = ChaCha8Rng::seed_from_u64(seed);
        turning.set_stream(ROTATION_STREAM);
        let mut generator = ChaCha8Rng::seed_from_u64(seed);
        generator.set_stream(STREAM);
        let along = normal(&mut generator);
        let across = SecondOrderFilter::stationary([normal(&mut generator), normal(&mut generator)]);
        let down = SecondOrderFilter::stationary([normal(&mut generator), normal(&mut generator)]);
        TurbulenceState {
            generator,
            next_ns: 0,
            along,
            across,
            down,
            velocity_m_s: Vector3::zeros(),
            rotation: RotationState::new(turning),
            rotation_rad_s: Vector3::zeros(),
        }
    }

    /// Rotation of the air: about north, east, down.
    pub fn rotation_rad_s(&self) -> Vector3<f64> {
        self.rotation_rad_s
    }

    /// North, east, down.
    pub fn velocity_m_s(&self) -> Vector3<f64> {
        self.velocity_m_s
    }
}

pub(super) fn normal(generator: &mut ChaCha8Rng) -> f64 {
    StandardNormal.sample(generator)
}

impl Turbulence {
    pub(super) fn new(turbulence: &script::Turbulence, steady_m_s: &Vector3<f64>) -> Turbulence {
        let level = Vector3::new(steady_m_s.x, steady_m_s.y, 0.0);
        let along = level.try_normalize(CALM_M_S).unwrap_or_else(Vector3::x);
        Turbulence { wind_20ft_m_s: turbulence.wind_20ft_m_s, along, across: Vector3::z().cross(&along), span_m: None }
    }

    pub(super) fn over(self, span_m: f64) -> Turbulence {
        Turbulence { span_m: (span_m > 0.0).then_some(span_m), ..self }
    }

    pub(super) fn turns(&self) -> bool {
        self.span_m.is_some()
    }

    pub(super) fn advance(&self, state: &mut TurbulenceState, clock_ns: u64, height_m: f64, airspeed_m_s: f64) {
        while state.next_ns <= clock_ns {
            self.sample(state, height_m, airspeed_m_s);
            state.next_ns += SAMPLE_PERIOD_NS;
        }
    }

    fn sample(&self, state: &mut TurbulenceState, height_m: f64, airspeed_m_s: f64) {
        let scales = low_altitude_scales(height_m, self.wind_20ft_m_s);
        let advection_m_s = if airspeed_m_s > SLOWEST_ADVECTION_M_S { airspeed_m_s } else { SLOWEST_ADVECTION_M_S };
        let theta = |length_m: f64| SAMPLE_PERIOD_S * advection_m_s / length_m;
        let level = theta(scales.horizontal_length_m);
        let (upright, generator) = (theta(scales.vertical_length_m), &mut state.generator);
        state.along = FirstOrderFilter::new(level).step(state.along, normal(generator));
        let mut passed = |from: [f64; 2], theta: f64, length_m: f64| {
            let normals = [normal(generator), normal(generator)];
            Passing { theta, length_m, from, to: SecondOrderFilter::new(theta).step(from, normals), normals }
        };
        let across = passed(state.across, level, scales.horizontal_length_m);
        let down = passed(state.down, upright, scales.vertical_length_m);
        (state.across, state.down) = (across.to, down.to);
        if let Some(span_m) = self.span_m {
            let rotation_rad_s = state.rotation.sample(span_m, &scales, [across, down]);
            state.rotation_rad_s =
                self.along * rotation_rad_s.x + self.across * rotation_rad_s.y + Vector3::z() * rotation_rad_s.z;
        }
        state.velocity_m_s = (self.along * state.along + self.across * SecondOrderFilter::output(state.across))
            * scales.horizontal_sigma_m_s
            + Vector3::z() * (SecondOrderFilter::output(state.down) * scales.vertical_sigma_m_s);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn drawn(seed: u64, wind_m_s: Vector3<f64>) -> Vector3<f64> {
        let turbulence = Turbulence::new(&script::Turbulence { wind_20ft_m_s: 10.0 }, &wind_m_s);
        let mut state = TurbulenceState::new(seed);
        turbulence.advance(&mut state, 50 * SAMPLE_PERIOD_NS, 30.0, 5.0);
        state.velocity_m_s()
    }

    #[test]
    fn draws_the_same_again_when_the_seed_is_the_same() {
        let wind = Vector3::new(3.0, 4.0, 0.0);
        assert_eq!(drawn(7, wind), drawn(7, wind));
        assert_ne!(drawn(7, wind), drawn(8, wind));
    }

    /// Rotation by a right angle of the wind turns what is drawn by a right angle.
    #[test]
    fn turns_with_the_wind_when_the_wind_turns() {
        let north = drawn(7, Vector3::new(5.0, 0.0, 1.0));
        let east = drawn(7, Vector3::new(0.0, 5.0, 1.0));
        assert_eq!((east.x, east.y, east.z), (-north.y, north.x, north.z));
        assert_eq!(drawn(7, Vector3::zeros()), north, "without wind, u is north");
    }

    #[test]
    fn samples_once_a_period_when_it_is_asked_often_or_seldom() {
        let turbulence = Turbulence::new(&script::Turbulence { wind_20ft_m_s: 10.0 }, &Vector3::x());
        let (mut often, mut seldom) = (TurbulenceState::new(1), TurbulenceState::new(1));
        for instant in 0..=100 {
            turbulence.advance(&mut often, instant * SAMPLE_PERIOD_NS / 10, 30.0, 5.0);
        }
        turbulence.advance(&mut seldom, 10 * SAMPLE_PERIOD_NS, 30.0, 5.0);
        assert_eq!(often, seldom);
    }
}
