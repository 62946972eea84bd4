//! Air that thins with height: the standard atmosphere, troposphere and lower stratosphere.
//!
//! * Math: geopotential H = r·h/(r + h). Up to 11 km T = T₀ − L·H and ρ = ρ₀·(T/T₀)^(g₀/(R·L) − 1); above, T stays and
//!   ρ falls as e^(−(H − 11 km)·g₀/(R·T))
//! * Range: −5 to 20 km; above that the layer of constant temperature goes on, which is too cold, so too thin
//! * Source: ISO 2533:1975 (constants and the equations from memory); checked against its table

use crate::script::World;

/// Temperature at sea level.
const SEA_LEVEL_K: f64 = 288.15;
/// Pressure at sea level.
const SEA_LEVEL_PA: f64 = 101_325.0;
/// Fall of temperature with geopotential height in the troposphere.
const LAPSE_K_M: f64 = 0.0065;
/// Top of the troposphere, geopotential.
const TROPOPAUSE_M: f64 = 11_000.0;
/// Specific gas constant of dry air, J/(kg·K).
const GAS_CONSTANT: f64 = 287.052_87;
/// The gravity that defines geopotential height.
const STANDARD_GRAVITY_M_S2: f64 = 9.806_65;
/// Earth's radius of the standard.
const EARTH_RADIUS_M: f64 = 6_356_766.0;

/// Air of the standard atmosphere.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StandardAir {
    /// Temperature.
    pub temperature_k: f64,
    /// Pressure.
    pub pressure_pa: f64,
    /// Density.
    pub density_kg_m3: f64,
}

/// The standard atmosphere at a geopotential height above sea level.
pub fn standard_air(geopotential_m: f64) -> StandardAir {
    let below_m = geopotential_m.min(TROPOPAUSE_M);
    let temperature_k = SEA_LEVEL_K - LAPSE_K_M * below_m;
    let exponent = STANDARD_GRAVITY_M_S2 / (GAS_CONSTANT * LAPSE_K_M);
    let above = (geopotential_m - below_m) * STANDARD_GRAVITY_M_S2 / (GAS_CONSTANT * temperature_k);
    let pressure_pa = SEA_LEVEL_PA * (temperature_k / SEA_LEVEL_K).powf(exponent) * (-above).exp();
    StandardAir { temperature_k, pressure_pa, density_kg_m3: pressure_pa / (GAS_CONSTANT * temperature_k) }
}

/// Geopotential height of a geometric altitude.
pub fn geopotential_m(altitude_m: f64) -> f64 {
    EARTH_RADIUS_M * altitude_m / (EARTH_RADIUS_M + altitude_m)
}

/// Density of the air of a world at a height above its ground.
pub fn air_density_kg_m3(world: &World, height_m: f64) -> f64 {
    let profile = DensityProfile::new(world.air_density_kg_m3, world.ground_altitude_m);
    profile.ground_kg_m3() * profile.around(height_m).share(height_m)
}

/// How the density goes with height above the ground, as a share of that on the ground.
#[derive(Clone, Debug)]
pub(super) struct DensityProfile {
    /// `None`: the same everywhere.
    ground_altitude_m: Option<f64>,
    ground_kg_m3: f64,
}

/// The density near one height, good over the travel of a step.
#[derive(Clone, Copy, Debug)]
pub(super) struct LocalDensity {
    height_m: f64,
    share: f64,
    share_per_m: f64,
    share_per_m2: f64,
}

impl DensityProfile {
    pub(super) fn new(uniform_kg_m3: f64, ground_altitude_m: Option<f64>) -> DensityProfile {
        let on_ground = |altitude_m| standard_air(geopotential_m(altitude_m)).density_kg_m3;
        DensityProfile { ground_altitude_m, ground_kg_m3: ground_altitude_m.map_or(uniform_kg_m3, on_ground) }
    }

    pub(super) fn ground_kg_m3(&self) -> f64 {
        self.ground_kg_m3
    }

    /// Taylor's series to the second order, so that a step takes one power and not four. What it leaves out is of the third
    /// order in metres over the 10 km scale height: below 1e-13 for a step of half a metre.
    pub(super) fn around(&self, height_m: f64) -> LocalDensity {
        let Some(ground_altitude_m) = self.ground_altitude_m else {
            return LocalDensity { height_m: 0.0, share: 1.0, share_per_m: 0.0, share_per_m2: 0.0 };
        };
        let altitude_m = ground_altitude_m + height_m;
        let level_m = geopotential_m(altitude_m);
        let air = standard_air(level_m);
        let scale_per_m = STANDARD_GRAVITY_M_S2 / (GAS_CONSTANT * air.temperature_k);
        // ρ'/ρ and ρ''/ρ along geopotential height.
        let (first, second) = if level_m < TROPOPAUSE_M {
            let thins = LAPSE_K_M / air.temperature_k - scale_per_m;
            (thins, thins * (thins + LAPSE_K_M / air.temperature_k))
        } else {
            (-scale_per_m, scale_per_m * scale_per_m)
        };
        let stretch = EARTH_RADIUS_M / (EARTH_RADIUS_M + altitude_m);
        let (slope, bend) = (stretch * stretch, -2.0 * stretch * stretch / (EARTH_RADIUS_M + altitude_m));
        let share = air.density_kg_m3 / self.ground_kg_m3;
        LocalDensity {
            height_m,
            share,
            share_per_m: share * first * slope,
            share_per_m2: 0.5 * share * (second * slope * slope + first * bend),
        }
    }
}

impl LocalDensity {
    pub(super) fn share(&self, height_m: f64) -> f64 {
        let off_m = height_m - self.height_m;
        self.share + off_m * (self.share_per_m + off_m * self.share_per_m2)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Relative, at ten metres: (10 m/10 km)³/6 and room.
    const SERIES_TOL: f64 = 1e-9;

    #[test]
    fn agrees_with_the_atmosphere_itself_when_the_step_has_moved() {
        for ground_m in [-300.0, 0.0, 2500.0, 12_000.0] {
            let profile = DensityProfile::new(0.0, Some(ground_m));
            for height_m in [0.0, 120.0, 4000.0] {
                let exact = |height_m: f64| {
                    standard_air(geopotential_m(ground_m + height_m)).density_kg_m3 / profile.ground_kg_m3()
                };
                let local = profile.around(height_m);
                for off_m in [-10.0, 0.0, 3.0, 10.0] {
                    let ratio = local.share(height_m + off_m) / exact(height_m + off_m);
                    assert!((ratio - 1.0).abs() < SERIES_TOL, "{ground_m} {height_m} {off_m}: {ratio}");
                }
            }
        }
    }

    #[test]
    fn is_one_to_the_bit_when_the_air_is_uniform() {
        let local = DensityProfile::new(1.1, None).around(300.0);
        assert!([-1e5, -0.0, 0.1, 1e5].iter().all(|height_m| local.share(*height_m) == 1.0));
    }
}
