//! Drag of the body in the air around it.
//!
//! * Math: −½·ρ·(Cd·A)ᵢ·vᵢ·|vᵢ| on each body axis i, v the velocity relative to the air
//! * It acts at the centre of mass and so turns nothing.
//! * Source: the definition of the drag area; the split by axis is common practice, no source

use nalgebra::Vector3;

use crate::craft::Body;

#[derive(Clone, Debug)]
pub(super) struct Drag {
    /// ½·ρ·Cd·A of each body axis in the air on the ground, kg/m.
    newtons_per_square_speed: Vector3<f64>,
}

impl Drag {
    pub(super) fn new(body: &Body, air_density_kg_m3: f64) -> Drag {
        Drag { newtons_per_square_speed: Vector3::from(body.drag_area_m2) * (0.5 * air_density_kg_m3) }
    }

    /// Body axes; `density_share` of the density on the ground.
    pub(super) fn force_n(&self, airspeed_m_s: &Vector3<f64>, density_share: f64) -> Vector3<f64> {
        let force = |factor: f64, speed: f64| -factor * speed * speed.abs() * density_share;
        self.newtons_per_square_speed.zip_map(airspeed_m_s, force)
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
        let drag = Drag::new(&specimen::craft(Vec::new()).body, 1.0);
        let force_n = drag.force_n(&Vector3::new(2.0, -2.0, 4.0), 0.5);
        // ½·ρ·CdA·v², in air half as dense.
        let expected = Vector3::new(-0.005 * 4.0, 0.010 * 4.0, -0.015 * 16.0) * 0.5;
        assert!((force_n - expected).amax() < EXACT_TOL, "{force_n}");
    }
}
