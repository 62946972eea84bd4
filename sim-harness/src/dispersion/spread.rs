//! By how much a craft may differ from its file.

/// Bounds of what varies, and the distribution between them.
///
/// A bound is the largest deviation either way, for both shapes: nothing is ever further off. The
/// defaults are common practice for a craft that was measured with care at home; no source.
#[derive(Clone, Debug, PartialEq)]
pub struct Dispersion {
    /// How deviations lie between their bounds.
    pub shape: Shape,
    /// Mass, as a share.
    pub mass_share: f64,
    /// Each moment of inertia, as a share.
    pub inertia_share: f64,
    /// Centre of mass along each body axis, as a share of the mean arm.
    pub center_of_mass_share: f64,
    /// Thrust of each rotor at every command, as a share.
    pub thrust_share: f64,
    /// Lag of each rotor, as a share.
    pub lag_share: f64,
    /// Torque per thrust of each rotor, as a share.
    pub torque_share: f64,
    /// Drag area along each body axis, as a share.
    pub drag_share: f64,
    /// Transport delay on top of the file's, one way only.
    pub delay_s: f64,
    /// Speed of a level wind from any direction, on top of the flight's.
    pub wind_m_s: f64,
    /// Capacity of the battery, as a share.
    pub battery_capacity_share: f64,
    /// Resistance of the battery, as a share.
    pub battery_resistance_share: f64,
    /// Charge that is missing at the start, as a share of a full one.
    pub battery_charge_share: f64,
    /// Bias of the gyro about each axis, on top of the file's.
    pub gyro_bias_deg_s: f64,
    /// Bias of the accelerometer along each axis, on top of the file's.
    pub accelerometer_bias_m_s2: f64,
    /// Turn of gyro and accelerometer against the body about each axis, on top of the file's.
    pub misalignment_deg: f64,
    /// Noise of each sensor, as a share.
    pub sensor_noise_share: f64,
    /// Latency of gyro and accelerometer, each by its own, on top of the file's, one way only.
    pub sensor_latency_s: f64,
}

/// How deviations lie between their bounds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shape {
    /// Evenly.
    Uniform,
    /// Normal with a standard deviation of a third of the bound, drawn anew beyond it.
    Normal,
}

/// Words of the craft file.
pub const SHAPES: &[(&str, Shape)] = &[("uniform", Shape::Uniform), ("normal", Shape::Normal)];

impl Shape {
    /// Its word in the craft file.
    pub fn word(self) -> &'static str {
        SHAPES.iter().find(|(_, shape)| *shape == self).map_or("", |(word, _)| word)
    }
}

impl Default for Dispersion {
    fn default() -> Self {
        Dispersion::DEFAULT
    }
}

impl Dispersion {
    /// What holds for a craft file that says nothing.
    pub const DEFAULT: Dispersion = Dispersion {
        shape: Shape::Uniform,
        mass_share: 0.05,
        inertia_share: 0.10,
        center_of_mass_share: 0.03,
        thrust_share: 0.05,
        lag_share: 0.20,
        torque_share: 0.10,
        drag_share: 0.20,
        delay_s: 0.002,
        wind_m_s: 3.0,
        battery_capacity_share: 0.10,
        battery_resistance_share: 0.30,
        battery_charge_share: 0.05,
        gyro_bias_deg_s: 1.0,
        accelerometer_bias_m_s2: 0.1,
        misalignment_deg: 0.5,
        sensor_noise_share: 0.5,
        sensor_latency_s: 0.0005,
    };
}
