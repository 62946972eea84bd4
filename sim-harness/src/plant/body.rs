//! The rigid body: mass and the full inertia tensor about the centre of mass, body axes.
//!
//! Source: Euler's equations with internal angular momentum, any textbook of rigid-body dynamics
//! (from memory).

use nalgebra::{Matrix3, Vector3};

use crate::craft::Body;

#[derive(Clone, Debug)]
pub(super) struct RigidBody {
    mass_kg: f64,
    inertia_kg_m2: Matrix3<f64>,
    inverse_inertia: Matrix3<f64>,
}

impl RigidBody {
    pub(super) fn new(body: &Body) -> RigidBody {
        let inertia_kg_m2 = Matrix3::from_fn(|row, column| body.inertia_kg_m2[row][column]);
        // A tensor that cannot be inverted must not fly on as something else.
        let inverse_inertia = inertia_kg_m2.try_inverse().unwrap_or_else(|| Matrix3::repeat(f64::NAN));
        RigidBody { mass_kg: body.mass_kg, inertia_kg_m2, inverse_inertia }
    }

    pub(super) fn mass_kg(&self) -> f64 {
        self.mass_kg
    }

    pub(super) fn inverse_inertia(&self) -> &Matrix3<f64> {
        &self.inverse_inertia
    }

    /// * Math: J⁻¹·(τ − ω×(J·ω + h)), h the angular momentum of the rotors relative to the body
    pub(super) fn angular_acceleration(
        &self,
        torque_nm: &Vector3<f64>,
        rate_rad_s: &Vector3<f64>,
        spin_momentum: &Vector3<f64>,
    ) -> Vector3<f64> {
        let momentum = self.inertia_kg_m2 * rate_rad_s + spin_momentum;
        self.inverse_inertia * (torque_nm - rate_rad_s.cross(&momentum))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plant::specimen;

    /// Rounding of a few operations.
    const EXACT_TOL: f64 = 1e-12;

    #[test]
    fn turns_to_not_a_number_when_the_inertia_cannot_be_inverted() {
        let mut craft = specimen::craft(Vec::new());
        craft.body.inertia_kg_m2 = [[0.0; 3]; 3];
        let body = RigidBody::new(&craft.body);
        let acceleration = body.angular_acceleration(&Vector3::x(), &Vector3::zeros(), &Vector3::zeros());
        assert!(acceleration.iter().all(|value| value.is_nan()));
    }

    /// Gyroscopic torque of a rotor: −ω×h.
    #[test]
    fn precesses_square_to_the_momentum_when_a_rotor_spins() {
        let body = RigidBody::new(&specimen::craft(Vec::new()).body);
        let acceleration = body.angular_acceleration(&Vector3::zeros(), &Vector3::x(), &Vector3::new(0.0, 0.0, 0.04));
        assert!((acceleration - Vector3::new(0.0, 2.0, 0.0)).amax() < EXACT_TOL, "{acceleration}");
    }
}
