//! The sensors of a craft file.

use super::craft_keys::SensorsKeys;
use super::error::FileError;
use crate::sensors::{InertialSensor, ScalarSensor, SensorsConfig};

/// Steps from zero to the end of a range: 16 bits with sign.
const STEPS: f64 = 32_768.0;
/// Highest corner of a low-pass, as a share of the sample rate.
const CORNER_MAX_SHARE: f64 = 0.45;

pub(super) fn sensors(keys: &SensorsKeys<'_>, loop_hz: f64) -> Result<SensorsConfig, FileError> {
    if keys.perfect {
        let beside = ["misalignment_deg", "gyro", "accelerometer", "heading", "climb", "voltage", "rotors"];
        return match beside.into_iter().find(|key| keys.at.get(key, "").is_some()) {
            Some(key) => Err(keys.at.refuse(key, "must not stand beside perfect = true", "keep the one that is meant")),
            None => Ok(SensorsConfig::PERFECT),
        };
    }
    let (gyro, accelerometer) = (&keys.gyro, &keys.accelerometer);
    let low_pass_hz = gyro.low_pass_hz.unwrap_or(SensorsConfig::LOW_PASS_SHARE * loop_hz);
    if !(low_pass_hz < CORNER_MAX_SHARE * loop_hz) {
        let must = format!("must be below 0.45 of loops.rate_hz, {} Hz", CORNER_MAX_SHARE * loop_hz);
        return Err(gyro.at.refuse("low_pass_hz", &must, "lower the corner or raise loops.rate_hz"));
    }
    let scalar = |fitted: bool, noise, bias, rate_hz, latency_s| {
        fitted.then_some(ScalarSensor { rate_hz: Some(rate_hz), latency_s, noise, bias })
    };
    let (heading, climb, voltage) = (&keys.heading, &keys.climb, &keys.voltage);
    let (noise_rad, bias_rad) = (heading.noise_deg.to_radians(), heading.bias_deg.to_radians());
    Ok(SensorsConfig {
        gyro: InertialSensor {
            rate_hz: gyro.rate_hz,
            latency_s: gyro.latency_s,
            noise_density: gyro.noise_deg_s_rthz.to_radians(),
            bias: gyro.bias_deg_s.map(f64::to_radians),
            bias_drift: gyro.drift_deg_s_rts.to_radians(),
            resolution: gyro.resolution_deg_s.unwrap_or(gyro.range_deg_s / STEPS).to_radians(),
            range: gyro.range_deg_s.to_radians(),
        },
        accelerometer: InertialSensor {
            rate_hz: accelerometer.rate_hz,
            latency_s: accelerometer.latency_s,
            noise_density: accelerometer.noise_m_s2_rthz,
            bias: accelerometer.bias_m_s2,
            bias_drift: accelerometer.drift_m_s2_rts,
            resolution: accelerometer.resolution_m_s2.unwrap_or(accelerometer.range_m_s2 / STEPS),
            range: accelerometer.range_m_s2,
        },
        misalignment_rad: keys.misalignment_deg.map(f64::to_radians),
        heading: scalar(heading.fitted, noise_rad, bias_rad, heading.rate_hz, heading.latency_s),
        climb: scalar(climb.fitted, climb.noise_m_s, climb.bias_m_s, climb.rate_hz, climb.latency_s),
        voltage: scalar(voltage.fitted, voltage.noise_share, voltage.bias_share, voltage.rate_hz, voltage.latency_s),
        rotor_report_s: keys.rotors.fitted.then_some(keys.rotors.report_s),
        gyro_low_pass_hz: Some(low_pass_hz),
    })
}
