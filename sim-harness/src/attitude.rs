//! Attitude between files and the plant: Euler 3-2-1 angles and the unit quaternion.
//!
//! Euler 3-2-1: from the world axes (north, east, down) turn by yaw about down, then by pitch about
//! the new y axis, then by roll about the new x axis; the result is the body axes. The quaternion
//! turns a vector's body components into its world components.
//!
//! Axes and signs: ISO 1151-1, ANSI/AIAA R-004 (from memory).

use nalgebra::UnitQuaternion;

/// From this |sin(pitch)| on, roll and yaw are one rotation and roll is given as 0.
///
/// Within 1e-6 rad of the vertical; further out the two angles keep at least nine digits.
pub const VERTICAL_SIN_PITCH: f64 = 1.0 - 5e-13;

/// Quaternion of the attitude `[roll, pitch, yaw]`, radians.
pub fn from_euler_rad([roll, pitch, yaw]: [f64; 3]) -> UnitQuaternion<f64> {
    UnitQuaternion::from_euler_angles(roll, pitch, yaw)
}

/// `[roll, pitch, yaw]` in radians: roll and yaw in −π..π, pitch in −π/2..π/2.
///
/// With the nose straight up or down ([`VERTICAL_SIN_PITCH`]) only the sum or difference of roll and
/// yaw exists: roll is 0 and yaw carries it.
pub fn to_euler_rad(attitude: &UnitQuaternion<f64>) -> [f64; 3] {
    let [w, x, y, z] = components(attitude);
    let sin_pitch = 2.0 * (w * y - z * x);
    if sin_pitch.abs() >= VERTICAL_SIN_PITCH {
        let turn = 2.0 * x.atan2(w) * -sin_pitch.signum();
        return [0.0, sin_pitch.clamp(-1.0, 1.0).asin(), turn.sin().atan2(turn.cos())];
    }
    [
        (2.0 * (w * x + y * z)).atan2(1.0 - 2.0 * (x * x + y * y)),
        sin_pitch.asin(),
        (2.0 * (w * z + x * y)).atan2(1.0 - 2.0 * (y * y + z * z)),
    ]
}

/// `[w, x, y, z]` with w ≥ 0: of the two quaternions of one attitude, the one that goes into files.
pub fn components(attitude: &UnitQuaternion<f64>) -> [f64; 4] {
    let sign = if attitude.w < 0.0 { -1.0 } else { 1.0 };
    [attitude.w * sign, attitude.i * sign, attitude.j * sign, attitude.k * sign]
}
