//! The classical Runge-Kutta method of order four over all coordinates of the plant.
//!
//! Source: any textbook of numerical analysis (from memory); its order is shown by halving the step.

use nalgebra::{Matrix3, Quaternion, UnitQuaternion, Vector3};

use crate::craft::MAX_ROTORS;

/// Every coordinate, or how fast every coordinate changes.
#[derive(Clone, Debug)]
pub(super) struct Motion {
    pub(super) position_m: Vector3<f64>,
    pub(super) velocity_m_s: Vector3<f64>,
    /// Not of unit length inside a step.
    pub(super) attitude: Quaternion<f64>,
    pub(super) rate_rad_s: Vector3<f64>,
    pub(super) rotor_speed: [f64; MAX_ROTORS],
    /// Share of the battery's capacity used since the start.
    pub(super) charge_used: f64,
}

impl Motion {
    /// Turns body components into world components.
    ///
    /// Inside a step the quaternion's length is off by the method's own error. The equations keep
    /// the length, so any smooth continuation off the unit sphere leaves the order of the method alone.
    pub(super) fn world_from_body(&self) -> Matrix3<f64> {
        UnitQuaternion::new_unchecked(self.attitude).to_rotation_matrix().into_inner()
    }

    /// * Math: q̇ = ½·q·ω, ω in body axes
    pub(super) fn attitude_slope(&self) -> Quaternion<f64> {
        self.attitude * Quaternion::from_imag(self.rate_rad_s * 0.5)
    }

    fn along(&self, slope: &Motion, dt_s: f64) -> Motion {
        let mut rotor_speed = self.rotor_speed;
        for (speed, change) in rotor_speed.iter_mut().zip(&slope.rotor_speed) {
            *speed += change * dt_s;
        }
        Motion {
            position_m: self.position_m + slope.position_m * dt_s,
            velocity_m_s: self.velocity_m_s + slope.velocity_m_s * dt_s,
            attitude: self.attitude + slope.attitude * dt_s,
            rate_rad_s: self.rate_rad_s + slope.rate_rad_s * dt_s,
            rotor_speed,
            charge_used: self.charge_used + slope.charge_used * dt_s,
        }
    }
}

/// One step of `dt_s` from `start`.
pub(super) fn runge_kutta_4(start: &Motion, dt_s: f64, slope: impl Fn(&Motion) -> Motion) -> Motion {
    let k1 = slope(start);
    let k2 = slope(&start.along(&k1, 0.5 * dt_s));
    let k3 = slope(&start.along(&k2, 0.5 * dt_s));
    let k4 = slope(&start.along(&k3, dt_s));
    // k1 + 2·k2 + 2·k3 + k4
    let sum = k1.along(&k2, 2.0).along(&k3, 2.0).along(&k4, 1.0);
    start.along(&sum, dt_s / 6.0)
}
