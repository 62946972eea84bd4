//! Drag of the body in uniform air that moves steadily.
//!
//! * Math: −½·ρ·(Cd·A)ᵢ·vᵢ·|vᵢ| on each body axis i, v the velocity relative to the air
//! * It acts at the centre of mass and so turns nothing.
//! * Source: the definition of the drag area; the split by axis is common practice, no source

use nalgebra::{Matrix3, Vector3};

use crate::craft::Body;

#[derive(Clone, Debug)]
pub(super) struct Drag {
    /// ½·ρ·Cd·A of each body axis, kg/m.
    newtons_per_square_speed: Vector3<f64>,
    wind_m_s: Vector3<f64>,
}

impl Drag {
    pub(super) fn new(body: &Body, air_density_kg_m3: f64, wind_m_s: [f64; 3]) -> Drag {
        let newtons_per_square_speed = Vector3::from(body.drag_area_m2) * (0.5 * air_density_kg_m3);
        Drag { newtons_per_square_speed, wind_m_s: Vector3::from(wind_m_s) }
    }

    /// Body axes.
    pub(super) fn force_n(&self, world_from_body: &Matrix3<f64>, velocity_m_s: &Vector3<f64>) -> Vector3<f64> {
        let airspeed = world_from_body.tr_mul(&(velocity_m_s - self.wind_m_s));
        self.newtons_per_square_speed.zip_map(&airspeed, |factor, speed| -factor * speed * speed.abs())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plant::specimen;

    /// Rounding of a few operations.
    const EXACT_TOL: f64 = 1e-12;

    #[test]
    fn opposes_the_airspeed_on_each_axis_when_the_craft_moves() {
        let drag = Drag::new(&specimen::craft(Vec::new()).body, 1.0, [1.0, 0.0, 0.0]);
        let force_n = drag.force_n(&Matrix3::identity(), &Vector3::new(3.0, -2.0, 4.0));
        // ½·ρ·CdA·v², with a following wind of 1 m/s.
        let expected = Vector3::new(-0.005 * 4.0, 0.010 * 4.0, -0.015 * 16.0);
        assert!((force_n - expected).amax() < EXACT_TOL, "{force_n}");
    }
}
