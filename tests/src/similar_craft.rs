//! Quads of any size: geometric similarity with times as the root of the length (common practice, no source read).

use evenkeel::craft::{Craft, RateGains};
use evenkeel::file::parse_craft;
use evenkeel::margins::{AxisLoops, CraftGains};
use evenkeel::onboard::Onboard;
use evenkeel::sensors::SensorsConfig;

/// Standard gravity.
pub const GRAVITY_M_S2: f64 = 9.806_65;
/// A tenth of a kilogram to ten.
pub const MASSES_KG: [f64; 3] = [0.1, 1.6, 10.0];

/// What of a similar quad is not similar.
#[derive(Clone, Debug)]
pub struct Similar {
    /// Mass.
    pub mass_kg: f64,
    /// Full thrust over weight.
    pub thrust_to_weight: f64,
    /// Lag of the rotors; none: as the size has it.
    pub lag_s: Option<f64>,
    /// The rotors' inertia over that of a similar demo quad.
    pub spinning_share: f64,
    /// Further lines at the end of the craft file.
    pub lines: String,
}

impl Similar {
    /// As the size has it.
    pub fn of(mass_kg: f64) -> Self {
        Similar { mass_kg, thrust_to_weight: 2.1, lag_s: None, spinning_share: 0.0, lines: String::new() }
    }

    /// Its craft file.
    pub fn text(&self) -> String {
        let length = (self.mass_kg / 1.6).cbrt();
        let full = self.thrust_to_weight * self.mass_kg * GRAVITY_M_S2 / 4.0;
        let [xx, yy, zz] = [0.0165, 0.0170, 0.0310].map(|inertia: f64| inertia * length.powi(5));
        format!(
            "format = 1\nname = \"similar\"\n[body]\nmass_kg = {}\n\
             inertia_kg_m2 = {{ xx = {xx}, yy = {yy}, zz = {zz} }}\ndrag_area_m2 = [0.0, 0.0, 0.0]\n[rotors]\n\
             thrust_max_n = {full}\nthrust_min_n = {}\ntorque_per_thrust_m = {}\nresponse_time_s = {}\n\
             inertia_kg_m2 = {}\n[layout]\nrotors = 4\narm_m = {}\nfirst_azimuth_deg = 45.0\n{}",
            self.mass_kg,
            0.04 * full,
            0.016 * length,
            self.lag_s.unwrap_or(0.035 * length.sqrt()),
            4e-5 * self.spinning_share * length.powi(5),
            0.25 * length,
            self.lines
        )
    }

    /// The craft.
    ///
    /// # Panics
    /// When its file is wrong.
    pub fn craft(&self) -> Craft {
        parse_craft("similar.toml", &self.text()).unwrap_or_else(|error| panic!("{error}\n{}", self.text()))
    }

    /// The craft without noise, which would hide what dies away; the gyro's low-pass stays, and the derived gains are fixed,
    /// so that what is changed next does not change them.
    ///
    /// # Panics
    /// When it has no gains.
    pub fn quiet(&self) -> Craft {
        let mut craft = self.craft();
        craft.sensors = SensorsConfig { gyro_low_pass_hz: craft.sensors.gyro_low_pass_hz, ..SensorsConfig::PERFECT };
        let gains = CraftGains::of(&craft, GRAVITY_M_S2).unwrap_or_else(|error| panic!("{error}"));
        for ((rate, angle), axis) in craft.gains.rate.iter_mut().zip(&mut craft.gains.angle_per_s).zip(&gains.axes) {
            *rate = RateGains {
                p_per_s: Some(axis.p_per_s),
                i_per_s2: Some(axis.i_per_s2),
                d: Some(axis.d),
                d_filter_hz: Some(axis.d_filter_hz),
            };
            *angle = Some(axis.angle_per_s);
        }
        craft
    }
}

/// Its flying code in double precision.
///
/// # Panics
/// When it cannot be flown.
pub fn onboard(craft: &Craft) -> Onboard<f64> {
    Onboard::new(craft, GRAVITY_M_S2).unwrap_or_else(|error| panic!("{error}"))
}

/// Its loops: roll, pitch, yaw.
///
/// # Panics
/// When it cannot be flown.
pub fn loops(craft: &Craft) -> [AxisLoops; 3] {
    AxisLoops::all(craft, &onboard(craft)).unwrap_or_else(|error| panic!("{error}"))
}
