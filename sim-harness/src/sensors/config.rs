//! What a craft senses with, and how well; SI units, already checked.
//!
//! The defaults are the noise densities of a common MEMS part (typical data-sheet figures, from memory), no bias and no
//! misalignment: what a careful calibration leaves. A bias of its own comes with each part, so state it where it matters.

use std::f64::consts::PI;

/// Everything on board that measures.
#[derive(Clone, Debug, PartialEq)]
pub struct SensorsConfig {
    /// Rates of turn, rad/s.
    pub gyro: InertialSensor,
    /// Acceleration less gravity at the centre of mass, m/s².
    pub accelerometer: InertialSensor,
    /// Roll, pitch, yaw by which gyro and accelerometer, in one housing, are turned against the body's axes.
    pub misalignment_rad: [f64; 3],
    /// Where the nose points, rad.
    pub heading: Option<ScalarSensor>,
    /// Vertical speed, m/s.
    pub climb: Option<ScalarSensor>,
    /// Supply voltage over that of a full battery.
    pub voltage: Option<ScalarSensor>,
    /// From the moment a rotor stops to the moment its motor electronics say so; `None`: they never do.
    pub rotor_report_s: Option<f64>,
    /// Corner of the low-pass between gyro and rate loop; `None`: no filter.
    pub gyro_low_pass_hz: Option<f64>,
}

/// A sensor of three axes; the units are the quantity's own.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct InertialSensor {
    /// Samples a second; `None`: with the rate loop.
    pub rate_hz: Option<f64>,
    /// From the moment measured to the moment it can be read.
    pub latency_s: f64,
    /// One-sided, as data sheets give it: per √Hz.
    pub noise_density: f64,
    /// At the start, each axis.
    pub bias: [f64; 3],
    /// Random walk of the bias: per √s.
    pub bias_drift: f64,
    /// Smallest step; 0: none.
    pub resolution: f64,
    /// Larger values read as this; infinite: none.
    pub range: f64,
}

/// A sensor of one value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ScalarSensor {
    /// Samples a second; `None`: with the rate loop.
    pub rate_hz: Option<f64>,
    /// From the moment measured to the moment it can be read.
    pub latency_s: f64,
    /// Standard deviation of each sample.
    pub noise: f64,
    /// Constant error.
    pub bias: f64,
}

const DEG: f64 = PI / 180.0;
const G_M_S2: f64 = 9.806_65;
/// Steps from zero to the end of the range: 16 bits with sign.
const STEPS: f64 = 32_768.0;

impl InertialSensor {
    /// No error at all.
    pub const PERFECT: Self = InertialSensor {
        rate_hz: None,
        latency_s: 0.0,
        noise_density: 0.0,
        bias: [0.0; 3],
        bias_drift: 0.0,
        resolution: 0.0,
        range: f64::INFINITY,
    };
    /// 0.005 deg/s/√Hz, ±2000 deg/s in 16 bits.
    pub const GYRO: Self = InertialSensor {
        noise_density: 0.005 * DEG,
        resolution: 2000.0 * DEG / STEPS,
        range: 2000.0 * DEG,
        ..Self::PERFECT
    };
    /// 100 µg/√Hz, ±16 g in 16 bits.
    pub const ACCELEROMETER: Self = InertialSensor {
        noise_density: 100.0e-6 * G_M_S2,
        resolution: 16.0 * G_M_S2 / STEPS,
        range: 16.0 * G_M_S2,
        ..Self::PERFECT
    };
}

impl ScalarSensor {
    /// No error at all.
    pub const PERFECT: Self = ScalarSensor { rate_hz: None, latency_s: 0.0, noise: 0.0, bias: 0.0 };
    /// A heading that is measured, slowly: 20 times a second to a degree.
    pub const HEADING: Self = ScalarSensor { rate_hz: Some(20.0), noise: DEG, ..Self::PERFECT };
    /// From air pressure: 50 times a second to 0.1 m/s.
    pub const CLIMB: Self = ScalarSensor { rate_hz: Some(50.0), noise: 0.1, ..Self::PERFECT };
    /// 50 times a second to two steps of a 12-bit converter.
    pub const VOLTAGE: Self = ScalarSensor { rate_hz: Some(50.0), noise: 0.0005, ..Self::PERFECT };
}

impl SensorsConfig {
    /// Everything is known, at every step, without error. The estimate still has to be made from it.
    pub const PERFECT: Self = SensorsConfig {
        gyro: InertialSensor::PERFECT,
        accelerometer: InertialSensor::PERFECT,
        misalignment_rad: [0.0; 3],
        heading: Some(ScalarSensor::PERFECT),
        climb: Some(ScalarSensor::PERFECT),
        voltage: Some(ScalarSensor::PERFECT),
        rotor_report_s: Some(0.0),
        gyro_low_pass_hz: None,
    };
    /// A few turns without the motor's own feedback, and a telegram at 50 Hz. Common practice, no source.
    pub const ROTOR_REPORT_S: f64 = 0.05;
    /// Share of the rate loop's rate at which the gyro's low-pass stands unless the file says otherwise.
    pub const LOW_PASS_SHARE: f64 = 0.3;

    /// What a craft has when its file says nothing.
    pub fn usual(rate_hz: f64) -> Self {
        SensorsConfig {
            gyro: InertialSensor::GYRO,
            accelerometer: InertialSensor::ACCELEROMETER,
            misalignment_rad: [0.0; 3],
            heading: Some(ScalarSensor::HEADING),
            climb: Some(ScalarSensor::CLIMB),
            voltage: Some(ScalarSensor::VOLTAGE),
            rotor_report_s: Some(Self::ROTOR_REPORT_S),
            gyro_low_pass_hz: Some(Self::LOW_PASS_SHARE * rate_hz),
        }
    }
}
