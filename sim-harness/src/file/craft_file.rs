//! From the keys of a craft file to a checked [`Craft`].

use toml::de::DeTable;

use super::craft_keys::{CraftKeys, DispersionKeys, GainsKeys, LimitsKeys, RateAxisKeys};
use super::error::FileError;
use super::key::Keys;
use super::source::Source;
use super::table::Table;
use super::{battery, inertia, rotors, sensors};
use crate::craft::{Body, Craft, Figures, Gains, GroundEffect, Limits, Loops, RateGains, Saturation};
use crate::dispersion::Dispersion;

/// Checks the text of a craft file; messages call it `name_for_messages`.
///
/// # Errors
/// The text is no TOML, or does not describe a physically possible craft.
pub fn parse_craft(name_for_messages: &str, text: &str) -> Result<Craft, FileError> {
    let source = Source::new(name_for_messages, text, "craft")?;
    let document = parse_toml(&source)?;
    let root = Table::root(&source, &document);
    root.check_format()?;
    craft(&CraftKeys::read(&root)?)
}

/// Parses TOML, with the parser's own message on failure.
pub(super) fn parse_toml<'t>(source: &Source<'t>) -> Result<DeTable<'t>, FileError> {
    match DeTable::parse(source.text) {
        Ok(document) => Ok(document.into_inner()),
        Err(error) => Err(source.syntax_error(error.span(), error.message())),
    }
}

fn craft(file: &CraftKeys<'_>) -> Result<Craft, FileError> {
    let body = Body {
        mass_kg: file.body.mass_kg,
        center_of_mass_m: file.body.center_of_mass_m,
        inertia_kg_m2: inertia::tensor(&file.body)?,
        drag_area_m2: file.body.drag_area_m2,
    };
    let loops = Loops {
        rate_hz: file.loops.rate_hz,
        angle_divider: u32::try_from(file.loops.angle_divider).unwrap_or(u32::MAX),
        extra_delay_s: file.loops.extra_delay_s,
    };
    let battery = file.battery.as_ref().map(battery::battery).transpose()?;
    Ok(Craft {
        name: file.name.clone(),
        body,
        rotors: rotors::rotors(file, battery.as_ref().map(|battery| battery.full_v))?,
        saturation: Saturation {
            priority: file.saturation.priority.clone(),
            keep_yaw_sign: file.saturation.keep_yaw_sign,
        },
        gains: gains(&file.gains, loops.rate_hz)?,
        limits: limits(&file.limits),
        dispersion: dispersion(&file.dispersion),
        battery,
        sensors: sensors::sensors(&file.sensors, loops.rate_hz)?,
        ground_effect: file.ground_effect.as_ref().map(|keys| GroundEffect { datum_height_m: keys.datum_height_m }),
        figures: figures(file),
        loops,
    })
}

fn figures(file: &CraftKeys<'_>) -> Figures {
    let stated = |at: &Table<'_>, key: &str| at.get(key, "").is_some();
    let in_layout = file.layout.as_ref().is_some_and(|layout| stated(&layout.at, "lower_thrust_share"));
    Figures {
        measured: file.figures.measured.clone(),
        from_layout: file.layout.is_some(),
        thrust_share_stated: in_layout || file.rotor.iter().any(|rotor| stated(&rotor.placed.at, "thrust_share")),
    }
}

fn gains(keys: &GainsKeys<'_>, rate_hz: f64) -> Result<Gains, FileError> {
    let axis = |keys: &RateAxisKeys<'_>| match keys.d_filter_hz {
        Some(corner) if corner >= rate_hz / 2.0 => {
            let must = format!("must be below half of loops.rate_hz, {} Hz", rate_hz / 2.0);
            Err(keys.at.refuse("d_filter_hz", &must, "lower the corner or raise loops.rate_hz"))
        }
        _ => Ok(RateGains { p_per_s: keys.p_per_s, i_per_s2: keys.i_per_s2, d: keys.d, d_filter_hz: keys.d_filter_hz }),
    };
    Ok(Gains {
        rate: [axis(&keys.rate.roll)?, axis(&keys.rate.pitch)?, axis(&keys.rate.yaw)?],
        angle_per_s: [keys.angle.roll_per_s, keys.angle.pitch_per_s, keys.angle.yaw_per_s],
    })
}

fn limits(keys: &LimitsKeys<'_>) -> Limits {
    let rates = [keys.roll_rate_deg_s, keys.pitch_rate_deg_s, keys.yaw_rate_deg_s];
    Limits { tilt_rad: keys.tilt_deg.map(f64::to_radians), rate_rad_s: rates.map(|rate| rate.map(f64::to_radians)) }
}

fn dispersion(keys: &DispersionKeys<'_>) -> Dispersion {
    Dispersion {
        shape: keys.shape,
        mass_share: keys.mass_share,
        inertia_share: keys.inertia_share,
        center_of_mass_share: keys.center_of_mass_share,
        thrust_share: keys.thrust_share,
        lag_share: keys.lag_share,
        torque_share: keys.torque_share,
        drag_share: keys.drag_share,
        delay_s: keys.delay_s,
        wind_m_s: keys.wind_m_s,
        battery_capacity_share: keys.battery_capacity_share,
        battery_resistance_share: keys.battery_resistance_share,
        battery_charge_share: keys.battery_charge_share,
        gyro_bias_deg_s: keys.gyro_bias_deg_s,
        accelerometer_bias_m_s2: keys.accelerometer_bias_m_s2,
        misalignment_deg: keys.misalignment_deg,
        sensor_noise_share: keys.sensor_noise_share,
        sensor_latency_s: keys.sensor_latency_s,
    }
}
