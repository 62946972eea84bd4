//! The demo quad, and what varies of it.

use evenkeel::craft::Craft;
use evenkeel::dispersion::{Dispersion, Sample, Shape, vary};
use evenkeel::file::{parse_craft, parse_flight};
use evenkeel::script::Flight;
use evenkeel::sensors::SensorsConfig;

pub const QUAD: &str = include_str!("../../crafts/quad.toml");
pub const SEED: u64 = 5;

pub fn quad() -> Craft {
    parse_craft("quad.toml", QUAD).unwrap()
}

/// Nothing varies.
pub const NONE: Dispersion = Dispersion {
    shape: Shape::Uniform,
    mass_share: 0.0,
    inertia_share: 0.0,
    center_of_mass_share: 0.0,
    thrust_share: 0.0,
    lag_share: 0.0,
    torque_share: 0.0,
    drag_share: 0.0,
    delay_s: 0.0,
    wind_m_s: 0.0,
    battery_capacity_share: 0.0,
    battery_resistance_share: 0.0,
    battery_charge_share: 0.0,
    gyro_bias_deg_s: 0.0,
    accelerometer_bias_m_s2: 0.0,
    misalignment_deg: 0.0,
    sensor_noise_share: 0.0,
    sensor_latency_s: 0.0,
};

/// On perfect sensors: the noise of two flights is not the same.
pub fn varied(dispersion: Dispersion) -> Craft {
    Craft { dispersion, sensors: SensorsConfig::PERFECT, ..quad() }
}

pub fn short(craft: &Craft, expect: &str) -> Flight {
    let text = format!(
        "format = 1\nname = \"short\"\nduration_s = 2.0\n[initial]\nposition_m = [0.0, 0.0, -5.0]\n\
         [[leg]]\nname = \"lean\"\nheight_m = 5.0\nroll_deg = 8.0\n{expect}"
    );
    parse_flight("short.toml", &text, craft).unwrap()
}

pub fn samples(craft: &Craft, count: u64) -> Vec<Sample> {
    (1..=count).map(|index| vary(craft, SEED, index).unwrap()).collect()
}
