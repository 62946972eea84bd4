//! Propellers and motors: diameter from disc loading, coefficients from measured propellers, torque, speed, lag and
//! inertia that follow from them.
//!
//! * T = C_T·ρ·n²·D⁴, torque per thrust C_P·D/(2·π·C_T), figure of merit C_T^1.5·√(2/π)/C_P
//! * C_T 0.10 to 0.14 and figures of merit 0.45 to 0.72 are those of the propellers of `reference/propeller_static.csv`;
//!   a small propeller is the worse one (Reynolds number)
//! * Shares of C_T and C_P over the advance ratio: parabolas by eye through `reference/propeller_axial.csv`

use std::f64::consts::{FRAC_2_PI, PI, TAU};

use super::AIR_DENSITY_KG_M3;
use super::random::Random;
use super::table::{Table, keys, numbers, rounded};

/// A propeller with its motor.
#[derive(Clone, Debug, PartialEq)]
pub struct Propeller {
    /// Diameter.
    pub diameter_m: f64,
    /// Static thrust coefficient.
    pub thrust_coefficient: f64,
    /// Static power coefficient.
    pub power_coefficient: f64,
    /// Pitch against the propellers the parabolas were laid through.
    pub pitch_ratio: f64,
    /// First-order lag of the speed.
    pub response_time_s: f64,
    /// Share of full thrust at the slowest safe spin.
    pub idle_share: f64,
}

impl Propeller {
    /// A propeller of this diameter.
    pub fn draw(random: &mut Random, diameter_m: f64) -> Propeller {
        let thrust_coefficient = random.between(0.10, 0.14);
        // 0.45 to 0.6 at 5 cm, 0.55 to 0.72 from 25 cm up.
        let size = ((diameter_m / 0.05).ln() / 5f64.ln()).clamp(0.0, 1.0);
        let merit = random.between(0.45 + 0.10 * size, 0.60 + 0.12 * size);
        // 0.02 s at 5 cm, 0.1 s at 0.7 m: common practice, no source.
        let response_time_s = 0.02 * (diameter_m / 0.05).powf(0.61) * random.between(0.7, 1.3);
        Propeller {
            diameter_m,
            thrust_coefficient,
            power_coefficient: thrust_coefficient.powf(1.5) * FRAC_2_PI.sqrt() / merit,
            pitch_ratio: random.between(0.9, 1.4),
            response_time_s,
            idle_share: random.between(0.02, 0.06),
        }
    }

    /// Another propeller, of more torque for its size: of more pitch, down to a figure of merit of 0.45, then a smaller one.
    pub fn turn_harder(&mut self) {
        if self.figure_of_merit() > 0.45 {
            self.power_coefficient *= 1.06;
        } else {
            self.diameter_m = rounded(0.96 * self.diameter_m, 3);
        }
    }

    /// Ideal power over shaft power in hover.
    pub fn figure_of_merit(&self) -> f64 {
        self.thrust_coefficient.powf(1.5) * FRAC_2_PI.sqrt() / self.power_coefficient
    }

    /// Reaction torque per newton of thrust.
    pub fn torque_per_thrust_m(&self) -> f64 {
        self.power_coefficient * self.diameter_m / (TAU * self.thrust_coefficient)
    }

    /// Speed at which it gives `thrust_n` in still air.
    pub fn speed_rad_s(&self, thrust_n: f64) -> f64 {
        TAU * (thrust_n / (self.thrust_coefficient * AIR_DENSITY_KG_M3)).sqrt() / self.diameter_m.powi(2)
    }

    /// Shaft power at which it gives `thrust_n` in still air.
    pub fn shaft_power_w(&self, thrust_n: f64) -> f64 {
        self.torque_per_thrust_m() * thrust_n * self.speed_rad_s(thrust_n)
    }

    /// Mass of the propeller: 11 g at 0.254 m (common practice, no source).
    pub fn mass_kg(&self) -> f64 {
        0.011 * (self.diameter_m / 0.254).powf(2.5)
    }

    /// Inertia of what spins: tapered blades, and a motor bell of two fifths of the motor's mass.
    pub fn inertia_kg_m2(&self, motor_kg: f64) -> f64 {
        let bell_radius_m = motor_radius_m(motor_kg);
        self.mass_kg() * self.diameter_m.powi(2) / 20.0 + 0.4 * motor_kg * bell_radius_m.powi(2)
    }

    /// The `[rotors.propeller]` of a craft file.
    pub fn table(&self) -> Table {
        let fitted = [0.0, 0.1, 0.2, 0.3, 0.4, 0.5];
        let thrust = |j: f64| self.thrust_coefficient * (1.0 - 0.75 * j - 0.95 * j * j);
        let power = |j: f64| self.power_coefficient * (1.0 - 0.1 * j - 1.2 * j * j);
        keys([
            ("advance_ratio", numbers(&fitted.map(|j| j * self.pitch_ratio))),
            ("thrust_coefficient", numbers(&fitted.map(thrust))),
            ("power_coefficient", numbers(&fitted.map(power))),
        ])
    }
}

/// Radius of a motor: a can as wide as it is high, twice, of 3000 kg/m³ (common practice, no source).
pub fn motor_radius_m(motor_kg: f64) -> f64 {
    (motor_kg / (PI * 3000.0)).cbrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reference::table;

    /// AIAA 2011-1255 in a secondary transcription: thrust, torque and power follow from the coefficients.
    #[test]
    fn gives_the_published_thrust_and_torque_when_it_has_the_published_coefficients() {
        for row in table("propeller_static").rows() {
            let propeller = Propeller {
                diameter_m: row.number("D_m"),
                thrust_coefficient: row.number("CT"),
                power_coefficient: row.number("CP"),
                pitch_ratio: 1.0,
                response_time_s: 0.03,
                idle_share: 0.04,
            };
            let near = |found: f64, column: &str| {
                let published = row.number(column);
                assert!((found / published - 1.0).abs() < 1e-4, "{column}: {found}, {published}");
            };
            near(propeller.figure_of_merit(), "FM");
            near(propeller.torque_per_thrust_m(), "Q_over_T_m");
            near(propeller.speed_rad_s(row.number("T_N")), "omega_rad_s");
            near(propeller.shaft_power_w(row.number("T_N")), "P_W");
        }
    }
}
