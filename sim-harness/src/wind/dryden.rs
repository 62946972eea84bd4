//! How large and how strong Dryden turbulence is near the ground.
//!
//! * Math, h in feet: L_w = h, L_u = L_v = h/(0.177 + 0.000823·h)^1.2; σ_w = 0.1·W₂₀, σ_u = σ_v = σ_w/(0.177 + 0.000823·h)^0.4,
//!   W₂₀ the wind at 20 ft: 15, 30 and 45 knots for light, moderate and severe
//! * Range: 10 to 1,000 ft; below and above that the values at the end of the range are kept
//! * Source: MIL-F-8785C (1980), section 3.7.3.4 (formulas read in secondary sources)

/// Lowest height of the model: 10 ft.
pub const LOWEST_M: f64 = 10.0 * METRES_PER_FOOT;
/// Greatest height of the model: 1,000 ft.
pub const HIGHEST_M: f64 = 1000.0 * METRES_PER_FOOT;
const METRES_PER_FOOT: f64 = 0.3048;

/// Scale lengths and standard deviations.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DrydenScales {
    /// L_u = L_v.
    pub horizontal_length_m: f64,
    /// L_w.
    pub vertical_length_m: f64,
    /// σ_u = σ_v.
    pub horizontal_sigma_m_s: f64,
    /// σ_w.
    pub vertical_sigma_m_s: f64,
}

/// The scales at a height above the ground under a wind of `wind_20ft_m_s` at 20 ft.
pub fn low_altitude_scales(height_m: f64, wind_20ft_m_s: f64) -> DrydenScales {
    // Above the floor in this form also when the height is not a number.
    let height_m = if height_m > LOWEST_M { height_m.min(HIGHEST_M) } else { LOWEST_M };
    let height_ft = height_m / METRES_PER_FOOT;
    let base = 0.177 + 0.000_823 * height_ft;
    let vertical_sigma_m_s = 0.1 * wind_20ft_m_s;
    DrydenScales {
        horizontal_length_m: height_m / base.powf(1.2),
        vertical_length_m: height_m,
        horizontal_sigma_m_s: vertical_sigma_m_s / base.powf(0.4),
        vertical_sigma_m_s,
    }
}
