//! Air that moves: a steady wind, single gusts, and turbulence.
//!
//! World axes north, east, down; the velocity is the air's own. [`Wind`] holds what does not change in flight,
//! [`WindState`] what does. Everything depends on the flight's clock, the craft's height and its speed through the air, and on
//! the seed: the same flight meets the same air to the bit, whatever else is random.
//!
//! Source: MIL-F-8785C, sections 3.7.2 to 3.7.3; what of it was read stands in each file.

mod dryden;
mod filter;
mod gust;
mod rotation;
mod turbulence;

use nalgebra::Vector3;

pub use dryden::{DrydenScales, HIGHEST_M, LOWEST_M, low_altitude_scales};
pub use filter::{FirstOrderFilter, LowPassedFilter, SecondOrderFilter};
pub use gust::gust_share;
pub use turbulence::{SAMPLE_PERIOD_NS, SLOWEST_ADVECTION_M_S, TurbulenceState};

use crate::script::{Gust, World};
use turbulence::Turbulence;

/// The air of one flight.
#[derive(Clone, Debug)]
pub struct Wind {
    steady_m_s: Vector3<f64>,
    gusts: Vec<Gust>,
    turbulence: Option<Turbulence>,
    seed: u64,
}

/// What of the air changes in flight.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct WindState {
    /// `None` before the first sample, and for good in smooth air.
    pub turbulence: Option<TurbulenceState>,
}

impl Wind {
    /// The wind of `world`, with turbulence drawn from `seed`.
    pub fn new(world: &World, seed: u64) -> Wind {
        let steady_m_s = Vector3::from(world.wind_m_s);
        let turbulence = world.turbulence.map(|turbulence| Turbulence::new(&turbulence, &steady_m_s));
        Wind { steady_m_s, gusts: world.gusts.clone(), turbulence, seed }
    }

    /// The same wind from another seed.
    #[must_use]
    pub fn seeded(self, seed: u64) -> Wind {
        Wind { seed, ..self }
    }

    /// The same wind for a craft of this span that feels the air turn; 0 for one that does not.
    #[must_use]
    pub fn over(self, span_m: f64) -> Wind {
        Wind { turbulence: self.turbulence.map(|turbulence| turbulence.over(span_m)), ..self }
    }

    /// Draws the samples of turbulence that are due at `clock_ns`.
    ///
    /// `height_m` and `velocity_m_s` are the craft's: they set scale and pace, and count from the next sample on.
    pub fn advance(&self, state: &mut WindState, clock_ns: u64, height_m: f64, velocity_m_s: &Vector3<f64>) {
        let Some(turbulence) = &self.turbulence else { return };
        let airspeed_m_s = (velocity_m_s - self.steady_m_s).norm();
        let memory = state.turbulence.get_or_insert_with(|| TurbulenceState::new(self.seed));
        turbulence.advance(memory, clock_ns, height_m, airspeed_m_s);
    }

    /// Velocity of the air at `t_s` on the flight's clock; turbulence as last drawn.
    pub fn velocity_m_s(&self, state: &WindState, t_s: f64) -> Vector3<f64> {
        let mut velocity_m_s = self.steady_m_s;
        for gust in &self.gusts {
            velocity_m_s += Vector3::from(gust.velocity_m_s) * gust_share(gust, t_s);
        }
        if let Some(memory) = &state.turbulence {
            velocity_m_s += memory.velocity_m_s();
        }
        velocity_m_s
    }

    /// Rotation of the air as last drawn, about north, east, down; `None` in smooth air and over no span.
    pub fn rotation_rad_s(&self, state: &WindState) -> Option<Vector3<f64>> {
        let turning = self.turbulence.as_ref().is_some_and(Turbulence::turns);
        state.turbulence.as_ref().filter(|_| turning).map(TurbulenceState::rotation_rad_s)
    }
}
