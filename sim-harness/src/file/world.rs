//! The world of a flight: which air, and what moves it.

use super::error::FileError;
use super::flight_keys::{GustKeys, WorldKeys};
use crate::script::{Gust, Turbulence, World};

pub(super) fn world(keys: &WorldKeys<'_>, duration_s: f64) -> Result<World, FileError> {
    if keys.ground_altitude_m.is_some() && keys.at.get("air_density_kg_m3", "").is_some() {
        let mend = "the altitude gives the density: take one of the two out";
        return Err(keys.at.refuse("air_density_kg_m3", "must not stand beside ground_altitude_m", mend));
    }
    Ok(World {
        gravity_m_s2: keys.gravity_m_s2,
        air_density_kg_m3: keys.air_density_kg_m3,
        ground_altitude_m: keys.ground_altitude_m,
        wind_m_s: keys.wind_m_s,
        turbulence: keys.turbulence.as_ref().map(|keys| Turbulence { wind_20ft_m_s: keys.wind_20ft_m_s }),
        gusts: keys.gust.iter().map(|keys| gust(keys, duration_s)).collect::<Result<_, _>>()?,
    })
}

fn gust(keys: &GustKeys<'_>, duration_s: f64) -> Result<Gust, FileError> {
    if !(keys.at_s < duration_s) {
        let must = format!("must be below duration_s, {duration_s} s");
        return Err(keys.at.refuse("at_s", &must, "it would never blow: move it forward or lengthen the flight"));
    }
    Ok(Gust { at_s: keys.at_s, velocity_m_s: keys.velocity_m_s, rise_s: keys.rise_s, hold_s: keys.hold_s })
}
