//! One rotor as measured on the frame, and its column of the effectiveness matrix.

use crate::geometry::GeometryError;
use crate::scalar::recip_sqrt_f64;

/// Sense of rotation of a rotor, seen from above the craft.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub enum Spin {
    /// Clockwise; the body is pushed nose left.
    Cw,
    /// Counter-clockwise; the body is pushed nose right.
    Ccw,
}

/// One rotor, as measured on the frame.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct Rotor {
    /// Hub from the datum, body axes.
    pub position_m: [f64; 3],
    /// Direction of thrust, body axes, any length above zero.
    pub axis: [f64; 3],
    /// Sense of rotation seen from above.
    pub spin: Spin,
    /// Reaction torque per newton of thrust, not negative.
    pub torque_per_thrust_m: f64,
    /// Floor: thrust at the slowest safe spin.
    pub thrust_min_n: f64,
    /// Ceiling: thrust at full command.
    pub thrust_max_n: f64,
}

impl Rotor {
    /// A rotor at the datum, thrust straight up; a start for `Rotor { position_m: .., ..Rotor::UP }`.
    pub const UP: Rotor = Rotor {
        position_m: [0.0; 3],
        axis: [0.0, 0.0, -1.0],
        spin: Spin::Ccw,
        torque_per_thrust_m: 0.0,
        thrust_min_n: 0.0,
        thrust_max_n: 1.0,
    };
}

/// Thrust, roll, pitch and yaw torque of one newton of a rotor, once its values are found sound.
///
/// * Math: `[−a_z, (p − c) × a ± k·a]`, `+` for a clockwise rotor
pub(super) const fn column(
    rotor: &Rotor,
    number: usize,
    center_of_mass_m: [f64; 3],
) -> Result<[f64; 4], GeometryError> {
    let numbers = [rotor.torque_per_thrust_m, rotor.thrust_min_n, rotor.thrust_max_n];
    if !(finite(rotor.position_m) && finite(rotor.axis) && finite(numbers)) {
        return Err(GeometryError::NotFinite { rotor: number });
    }
    if !(rotor.thrust_min_n >= 0.0 && rotor.thrust_min_n < rotor.thrust_max_n) {
        return Err(GeometryError::FloorNotBelowCeiling { rotor: number });
    }
    if !(rotor.torque_per_thrust_m >= 0.0) {
        return Err(GeometryError::NegativeTorqueRatio { rotor: number });
    }
    let [x, y, z] = rotor.axis;
    let scale = recip_sqrt_f64(x * x + y * y + z * z);
    if !(scale > 0.0 && scale.is_finite()) {
        return Err(GeometryError::NoDirection { rotor: number });
    }
    let [ax, ay, az] = [x * scale, y * scale, z * scale];
    let [px, py, pz] = [
        rotor.position_m[0] - center_of_mass_m[0],
        rotor.position_m[1] - center_of_mass_m[1],
        rotor.position_m[2] - center_of_mass_m[2],
    ];
    let k = match rotor.spin {
        Spin::Cw => rotor.torque_per_thrust_m,
        Spin::Ccw => -rotor.torque_per_thrust_m,
    };
    Ok([-az, py * az - pz * ay + k * ax, pz * ax - px * az + k * ay, px * ay - py * ax + k * az])
}

pub(super) const fn finite(values: [f64; 3]) -> bool {
    values[0].is_finite() && values[1].is_finite() && values[2].is_finite()
}
