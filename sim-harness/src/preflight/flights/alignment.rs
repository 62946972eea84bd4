//! What alignment leaves of level and of the gyro's bias, and where that carries a craft which holds itself level.
//!
//! * Math: level by its own sensors a craft leans by ε, known from the accelerometer's bias and the misalignment, and its rotors may
//!   push it sideways by p: it gathers g·ε + p. The noise of a mean over the alignment's time T leaves N/√T of the accelerometer over
//!   g in tilt and N/√T of the gyro in bias b; then the tilt walks off by b·t, by N·√t with the gyro's noise and by D·√(t³/3)
//!   with the drift of its bias. In still air a tilt moves the craft by g·t²/2 of it, b by g·t³/6, the walk by g·N·√(t⁵/20), the
//!   drift by g·D·√(t⁷/252). In flight the accelerometer shows no lean at all, and the estimate goes after it by kP·t
//! * Source: integrals of white noise (any text on random signals, from memory); densities: data sheets give one-sided ones, see
//!   docs/sensors.md

use std::f64::consts::FRAC_1_SQRT_2;

use nalgebra::{UnitQuaternion, Vector3};

use super::Site;
use crate::attitude;
use crate::sensors::InertialSensor;

/// Deviations that a limit leaves for what is random.
const DEVIATIONS: f64 = 5.0;
/// What is known is known to this share: lags, drag and the curve of the sine.
const KNOWN_SHARE: f64 = 0.1;

/// What a craft that has aligned is off by.
#[derive(Clone, Copy, Debug)]
pub(in crate::preflight) struct AfterAlignment {
    /// Roll and pitch of a craft that believes itself level.
    pub(in crate::preflight) lean_rad: [f64; 2],
    /// Sideways push of the rotors in level hover over the weight: ahead, to the right.
    pub(in crate::preflight) push: [f64; 2],
    gravity_m_s2: f64,
    tilt_rad: f64,
    bias_rad_s: f64,
    walk_rad_rts: f64,
    drift_rad_s_rts: f64,
    kp_per_s: f64,
}

impl AfterAlignment {
    pub(in crate::preflight) fn of(site: &Site<'_>) -> Self {
        let (sensors, gravity_m_s2) = (&site.craft.sensors, site.world.gravity_m_s2);
        let estimator = &site.onboard.computer_config.estimator;
        let hover = evenkeel_mixer::Wrench { thrust_n: site.weight_n() as f32, ..Default::default() };
        let thrusts_n = site.onboard.mixer.allocate(hover).thrusts_n;
        let push = [0, 1].map(|axis| {
            let all = site.craft.rotors.iter().zip(&thrusts_n).map(|(rotor, n)| rotor.axis[axis] * f64::from(*n));
            all.sum::<f64>() / site.weight_n()
        });
        AfterAlignment {
            lean_rad: lean_rad(&sensors.accelerometer, sensors.misalignment_rad, gravity_m_s2),
            push,
            gravity_m_s2,
            tilt_rad: mean_off(&sensors.accelerometer, estimator.align_s, site.craft.loops.rate_hz) / gravity_m_s2,
            bias_rad_s: mean_off(&sensors.gyro, estimator.align_s, site.craft.loops.rate_hz),
            walk_rad_rts: two_sided(sensors.gyro.noise_density),
            drift_rad_s_rts: sensors.gyro.bias_drift,
            kp_per_s: estimator.kp_per_s,
        }
    }

    /// The craft leans so while it believes itself level.
    pub(in crate::preflight) fn lean_all_rad(&self) -> f64 {
        let [roll, pitch] = self.lean_rad;
        roll.hypot(pitch)
    }

    /// Sideways acceleration over gravity, ahead and to the right, of a craft that believes itself level: nose up pulls it
    /// back, right side down to the right.
    pub(in crate::preflight) fn pull(&self) -> [f64; 2] {
        let [roll, pitch] = self.lean_rad;
        [self.push[0] - pitch.tan(), self.push[1] + roll.tan()]
    }

    /// By how much roll or pitch may be off what is known, so long after the alignment.
    pub(super) fn tilt_off_rad(&self, time_s: f64) -> f64 {
        let by_drift = self.drift_rad_s_rts * (time_s.powi(3) / 3.0).sqrt();
        let by_walk = self.walk_rad_rts * time_s.sqrt();
        let random = self.tilt_rad.hypot(self.bias_rad_s * time_s).hypot(by_walk).hypot(by_drift);
        DEVIATIONS * random + self.lean_all_rad() * self.kp_per_s * time_s
    }

    /// How far such a craft may drift in still air, drag left out.
    pub(super) fn drift_max_m(&self, time_s: f64) -> f64 {
        let g = self.gravity_m_s2;
        let known_m = 0.5 * g * self.pull()[0].hypot(self.pull()[1]) * time_s * time_s;
        let by_tilt_m = 0.5 * g * self.tilt_rad * time_s.powi(2);
        let by_bias_m = g * self.bias_rad_s * time_s.powi(3) / 6.0;
        let by_walk_m = g * self.walk_rad_rts * (time_s.powi(5) / 20.0).sqrt();
        let by_drift_m = g * self.drift_rad_s_rts * (time_s.powi(7) / 252.0).sqrt();
        let random_m = by_tilt_m.hypot(by_bias_m).hypot(by_walk_m).hypot(by_drift_m);
        known_m * (1.0 + KNOWN_SHARE + self.kp_per_s * time_s) + DEVIATIONS * random_m
    }
}

/// Roll and pitch at which an accelerometer with this bias, turned so against the body, shows level.
fn lean_rad(accelerometer: &InertialSensor, misalignment_rad: [f64; 3], gravity_m_s2: f64) -> [f64; 2] {
    let housing = attitude::from_euler_rad(misalignment_rad);
    let force = housing.inverse() * Vector3::new(0.0, 0.0, -gravity_m_s2) + Vector3::from(accelerometer.bias);
    // What an aligned estimate makes of it, and back to the body that is then held level.
    let estimate = UnitQuaternion::rotation_between(&-force, &Vector3::z()).unwrap_or_default();
    let body = housing * estimate.inverse() * housing.inverse();
    let [roll, pitch, _] = attitude::to_euler_rad(&body);
    [roll, pitch]
}

/// Deviation of the mean of a sensor over this time: its noise, and half a step of its resolution where the noise is too small to
/// carry samples from one step to the next.
fn mean_off(sensor: &InertialSensor, time_s: f64, loop_hz: f64) -> f64 {
    let rate_hz = sensor.rate_hz.unwrap_or(loop_hz);
    let sample = sensor.noise_density * (0.5 * rate_hz).sqrt();
    let stuck = if sample < 0.5 * sensor.resolution { 0.5 * sensor.resolution / DEVIATIONS } else { 0.0 };
    two_sided(sensor.noise_density) / time_s.sqrt() + stuck
}

/// A data sheet's one-sided density as one that counts both signs of the frequency.
fn two_sided(density: f64) -> f64 {
    density * FRAC_1_SQRT_2
}

#[cfg(test)]
mod tests {
    use super::*;

    const GRAVITY_M_S2: f64 = 9.806_65;
    const EXACT_TOL: f64 = 1e-12;

    #[test]
    fn leans_by_bias_over_gravity_and_against_the_misalignment() {
        let biased = InertialSensor { bias: [0.3, -0.2, 0.1], ..InertialSensor::PERFECT };
        // Level it must read (b_x, b_y, b_z - g) over its own axes: the nose goes down where x reads too much.
        let [roll, pitch] = lean_rad(&biased, [0.0; 3], GRAVITY_M_S2);
        assert!((pitch.abs() - (0.3_f64 / (GRAVITY_M_S2 - 0.1)).atan()).abs() < 1e-3 * 0.03, "{pitch}");
        assert!((roll.abs() - (0.2_f64 / (GRAVITY_M_S2 - 0.1)).atan()).abs() < 1e-3 * 0.02, "{roll}");
        let [roll, pitch] = lean_rad(&InertialSensor::PERFECT, [0.01, 0.0, 0.0], GRAVITY_M_S2);
        assert!((roll + 0.01).abs() < EXACT_TOL && pitch.abs() < EXACT_TOL, "{roll} {pitch}");
        assert_eq!(lean_rad(&InertialSensor::PERFECT, [0.0; 3], GRAVITY_M_S2), [0.0; 2]);
    }

    /// Source: white noise N (two-sided) has the deviation N/√T in a mean over T; one-sided densities are √2 of that
    /// (reference/sensor_noise.csv of the tests).
    #[test]
    fn noise_of_a_mean_is_that_of_its_time_and_a_coarse_sensor_is_off_by_half_a_step() {
        let noisy = InertialSensor { noise_density: 0.02, ..InertialSensor::PERFECT };
        assert!((mean_off(&noisy, 4.0, 1000.0) - 0.02 * FRAC_1_SQRT_2 / 2.0).abs() < EXACT_TOL);
        let coarse = InertialSensor { resolution: 0.1, ..InertialSensor::PERFECT };
        assert!((DEVIATIONS * mean_off(&coarse, 1.0, 1000.0) - 0.05).abs() < EXACT_TOL);
    }
}
