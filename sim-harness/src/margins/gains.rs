//! Gains derived from a craft, with the margins they reach.

use std::fmt::{self, Write};

use serde::Serialize;

use super::Margins;
use crate::craft::{Craft, Gains};
use crate::onboard::{Onboard, Unflyable};

/// Shares of the rotors' lag tried, largest first, when looking for what would help.
const LAG_SHARES: [f64; 6] = [0.8, 0.65, 0.5, 0.4, 0.3, 0.2];
/// Factors on the loop rate tried likewise.
const RATE_FACTORS: [f64; 3] = [2.0, 4.0, 8.0];

/// Derived gains. They act on angular acceleration.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CraftGains {
    /// Roll, pitch, yaw.
    pub axes: [AxisGains; 3],
    /// What the loops bear with them.
    pub margins: Margins,
}

/// Gains of one axis.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct AxisGains {
    /// "roll", "pitch" or "yaw".
    pub axis: &'static str,
    /// Rate loop, proportional: rad/s² per rad/s.
    pub p_per_s: f64,
    /// Rate loop, integral: rad/s² per rad.
    pub i_per_s2: f64,
    /// Rate loop, derivative: rad/s² per rad/s².
    pub d: f64,
    /// Corner of the derivative's low-pass.
    pub d_filter_hz: f64,
    /// Angle loop: rad/s per rad.
    pub angle_per_s: f64,
    /// Largest angular acceleration from hover, the weaker way.
    pub authority_rad_s2: f64,
    /// Largest sudden change in the rate asked for whose first demand the rotors still meet: authority over P.
    pub rate_step_max_rad_s: f64,
    /// Fastest steady change in the rate asked for that the shaping lets through: half of the authority.
    pub shaped_acceleration_rad_s2: f64,
}

/// Why there are no gains to give.
#[derive(Clone, Debug, PartialEq)]
pub enum GainsError {
    /// The craft cannot be flown at all.
    Unflyable(Unflyable),
    /// The criteria are out of reach.
    OutOfReach {
        /// What falls short: loop, figure, value, limit.
        short: Vec<String>,
        /// What would mend it, worked out.
        mend: Option<String>,
    },
}

impl fmt::Display for GainsError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            GainsError::Unflyable(cause) => cause.fmt(f),
            GainsError::OutOfReach { short, mend } => {
                write!(f, "no gains reach the margins asked for: {}", short.join("; "))?;
                match mend {
                    Some(mend) => write!(f, "; {mend}"),
                    None => f.write_str("; neither quicker rotors nor a faster loop alone would help enough"),
                }
            }
        }
    }
}

impl std::error::Error for GainsError {}

impl From<Unflyable> for GainsError {
    fn from(cause: Unflyable) -> Self {
        GainsError::Unflyable(cause)
    }
}

impl CraftGains {
    /// Derives them under this gravity; what the craft file fixes is left aside.
    ///
    /// # Errors
    /// When the craft cannot be flown, or the gains cannot reach the margins, with what would help.
    pub fn of(craft: &Craft, gravity_m_s2: f64) -> Result<Self, GainsError> {
        let free = Craft { gains: Gains::default(), ..craft.clone() };
        let margins = Margins::of(&free, gravity_m_s2)?;
        if !margins.held {
            let mend = mend(&free, gravity_m_s2);
            return Err(GainsError::OutOfReach { short: margins.short(), mend });
        }
        let Onboard { config, authority, .. } = Onboard::<f64>::new(&free, gravity_m_s2)?;
        let axis = |index: usize, axis: &'static str| {
            let rate = config.rate[index];
            let authority_rad_s2 = authority.acceleration_rad_s2[index];
            AxisGains {
                axis,
                p_per_s: rate.p_per_s,
                i_per_s2: rate.i_per_s2,
                d: rate.d,
                d_filter_hz: rate.d_filter_hz,
                angle_per_s: config.angle.gain_per_s[index],
                authority_rad_s2,
                rate_step_max_rad_s: authority_rad_s2 / rate.p_per_s,
                shaped_acceleration_rad_s2: config.reference.rate[index].slew_max,
            }
        };
        Ok(CraftGains { axes: [axis(0, "roll"), axis(1, "pitch"), axis(2, "yaw")], margins })
    }

    /// For the terminal.
    pub fn text(&self) -> String {
        let mut text = format!(
            "{:<6} {:>9} {:>9} {:>8} {:>11} {:>9} {:>18}\n{:<6} {:>9} {:>9} {:>8} {:>11} {:>9} {:>18}\n",
            "axis",
            "P",
            "I",
            "D",
            "D low-pass",
            "angle",
            "largest rate step",
            "",
            "1/s",
            "1/s2",
            "-",
            "Hz",
            "1/s",
            "deg/s"
        );
        for axis in &self.axes {
            let _ = writeln!(
                text,
                "{:<6} {:>9.3} {:>9.3} {:>8.4} {:>11.2} {:>9.3} {:>18.1}",
                axis.axis,
                axis.p_per_s,
                axis.i_per_s2,
                axis.d,
                axis.d_filter_hz,
                axis.angle_per_s,
                axis.rate_step_max_rad_s.to_degrees(),
            );
        }
        text + "\n" + &self.margins.text()
    }
}

/// The least change looked at that brings every margin inside its limit.
fn mend(craft: &Craft, gravity_m_s2: f64) -> Option<String> {
    let holds = |changed: &Craft| Margins::of(changed, gravity_m_s2).is_ok_and(|margins| margins.held);
    let mut prompt = craft.clone();
    prompt.loops.extra_delay_s = 0.0;
    if craft.loops.extra_delay_s > 0.0 && holds(&prompt) {
        return Some(format!("without the extra delay of {} s they would", craft.loops.extra_delay_s));
    }
    for factor in RATE_FACTORS {
        let mut changed = craft.clone();
        changed.loops.rate_hz *= factor;
        if holds(&changed) {
            return Some(format!("with loops.rate_hz = {} they would", changed.loops.rate_hz));
        }
    }
    for share in LAG_SHARES {
        let mut changed = craft.clone();
        changed.rotors.iter_mut().for_each(|rotor| rotor.response_time_s *= share);
        if holds(&changed) {
            let lag_s = changed.slowest_lag_s();
            return Some(format!("with rotors whose response_time_s is {lag_s:.4} they would"));
        }
    }
    None
}
