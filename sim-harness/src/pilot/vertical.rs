//! Thrust for height or climb, and the touch-down.
//!
//! Thrust is asked for in newtons at the density a craft file gives it for. In other air the same command gives more or less;
//! a pilot who has hovered knows it, so this one asks for as much more as the air where the flight starts is thinner.

use crate::craft::Craft;
use crate::plant::{RATED_AIR_DENSITY_KG_M3, air_density_kg_m3};
use crate::script::{Flight, Vertical};

use super::View;

/// Climb demanded per metre of height error.
const HEIGHT_GAIN_PER_S: f64 = 1.0;
/// Acceleration demanded per m/s of climb error.
const CLIMB_GAIN_PER_S: f64 = 3.0;
/// Acceleration gathered per metre of climb error over time: trims out drag and a weak battery.
const CLIMB_INTEGRAL_PER_S2: f64 = 1.5;
/// Largest climb and descent asked for to reach a height.
const CLIMB_MAX_M_S: f64 = 2.0;
/// Descent at the ground, and how much it may grow with each metre above it.
const TOUCH_DOWN_M_S: f64 = 0.3;
const FLARE_PER_S: f64 = 0.5;
/// A foot must touch this long before the craft counts as landed.
const LANDED_AFTER_S: f64 = 0.3;
/// The thrust demand stays above this share of the weight in flight: attitude needs it.
const LEAST_SHARE: f64 = 0.3;
/// Tilt compensation goes up to this cosine.
const LEAST_COSINE: f64 = 0.5;

#[derive(Clone, Debug)]
pub(super) struct ThrustPilot {
    mass_kg: f64,
    gravity_m_s2: f64,
    thrust_max_n: f64,
    /// Thrust given over thrust asked for.
    pub(super) density_share: f64,
    trim_m_s2: f64,
    touching_s: f64,
}

/// Density where the flight starts over that at which a craft file gives thrust; 1 in a vacuum, where nothing helps.
pub fn density_share(flight: &Flight) -> f64 {
    let share = air_density_kg_m3(&flight.world, -flight.initial.position_m[2]) / RATED_AIR_DENSITY_KG_M3;
    if share > 0.0 { share } else { 1.0 }
}

impl ThrustPilot {
    pub(super) fn new(craft: &Craft, gravity_m_s2: f64) -> Self {
        ThrustPilot {
            mass_kg: craft.body.mass_kg,
            gravity_m_s2,
            density_share: 1.0,
            thrust_max_n: craft.rotors.iter().map(|rotor| rotor.thrust_max_n * -rotor.axis[2]).sum(),
            trim_m_s2: 0.0,
            touching_s: 0.0,
        }
    }

    /// Newtons along body −z.
    pub(super) fn demand_n(&mut self, vertical: Vertical, period_s: f64, view: &View) -> f64 {
        let height_m = -view.position_m.z;
        let (climb_m_s, landing) = match vertical {
            Vertical::Thrust(newtons) => return newtons,
            Vertical::Climb(climb) => (climb, climb < 0.0),
            Vertical::Height(target) if target <= 0.0 => {
                let flare = TOUCH_DOWN_M_S + FLARE_PER_S * height_m.max(0.0);
                (-flare.min(CLIMB_MAX_M_S), true)
            }
            Vertical::Height(target) => {
                ((HEIGHT_GAIN_PER_S * (target - height_m)).clamp(-CLIMB_MAX_M_S, CLIMB_MAX_M_S), false)
            }
        };
        self.touching_s = if view.on_ground { self.touching_s + period_s } else { 0.0 };
        if landing && self.touching_s >= LANDED_AFTER_S {
            self.trim_m_s2 = 0.0;
            return 0.0;
        }
        self.climb_n(climb_m_s, period_s, view)
    }

    /// Forgets the trim; what carries the weight.
    pub(super) fn let_go(&mut self) -> f64 {
        self.trim_m_s2 = 0.0;
        self.mass_kg * self.gravity_m_s2 / self.density_share
    }

    /// Too little thrust to think of leaving the ground.
    pub(super) fn is_low(&self, thrust_n: f64) -> bool {
        thrust_n < LEAST_SHARE * self.mass_kg * self.gravity_m_s2
    }

    fn climb_n(&mut self, climb_m_s: f64, period_s: f64, view: &View) -> f64 {
        let error = climb_m_s + view.velocity_m_s.z;
        let cosine = view.attitude.transform_vector(&nalgebra::Vector3::z()).z.max(LEAST_COSINE);
        let weight_n = self.mass_kg * self.gravity_m_s2;
        let acceleration = CLIMB_GAIN_PER_S * error + self.trim_m_s2;
        let wanted = self.mass_kg * (self.gravity_m_s2 + acceleration) / cosine / self.density_share;
        let (least, most) = (LEAST_SHARE * weight_n, self.thrust_max_n);
        let given = wanted.max(least).min(most);
        // On the ground and at a limit there is nothing to learn about the trim.
        if given == wanted && !view.on_ground {
            let limit = 0.5 * self.gravity_m_s2;
            self.trim_m_s2 = (self.trim_m_s2 + CLIMB_INTEGRAL_PER_S2 * error * period_s).clamp(-limit, limit);
        }
        given
    }
}
