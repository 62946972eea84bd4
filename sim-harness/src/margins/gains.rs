//! Gains derived from a craft, with the margins they reach.

use std::fmt::{self, Write};

use serde::Serialize;

use super::mend::{Mend, Short, mends};
use super::{AxisLoops, Margins};
use crate::craft::{Craft, Gains};
use crate::enough::{ENOUGH_TILT_RAD_S2, ENOUGH_YAW_RAD_S2};
use crate::onboard::{Onboard, Unflyable};

/// Angle gain about roll, pitch, yaw: an error in tilt falls to a third in a second, one in heading in four. Our choice.
pub const ANGLE_GAIN_MIN_PER_S: [f64; 3] = [1.0, 1.0, 0.25];

const AXES: [&str; 3] = ["roll", "pitch", "yaw"];

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
    /// Largest sudden change in the rate asked for, unshaped and from hover, with which no rotor meets a limit: authority over
    /// the peak of what the rate loop then asks for.
    pub rate_step_max_rad_s: f64,
    /// Fastest steady change in the rate asked for that the shaping lets through: half of the authority.
    pub shaped_acceleration_rad_s2: f64,
}

/// Why there are no gains to give, and every single change that would mend it.
#[derive(Clone, Debug, PartialEq)]
pub enum GainsError {
    /// The craft cannot be flown at all.
    Unflyable {
        /// Why.
        cause: Unflyable,
        /// What would do by itself.
        mends: Vec<Mend>,
    },
    /// The criteria are out of reach.
    OutOfReach {
        /// What falls short: loop, figure, value, limit.
        short: Vec<String>,
        /// What would do by itself.
        mends: Vec<Mend>,
    },
}

impl GainsError {
    /// Every single change that would do.
    pub fn mends(&self) -> &[Mend] {
        match self {
            GainsError::Unflyable { mends, .. } | GainsError::OutOfReach { mends, .. } => mends,
        }
    }
}

impl fmt::Display for GainsError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            GainsError::Unflyable { cause, .. } => write!(f, "this craft cannot be flown: {cause}")?,
            GainsError::OutOfReach { short, .. } => {
                write!(f, "no gains keep the criteria: {}", short.join("; "))?;
            }
        }
        match self.mends() {
            [] => f.write_str(
                "; no single change would do: not less delay, a faster loop, angle loop or gyro, quicker or stronger rotors, propellers with more reaction torque, less mass",
            ),
            mends => write!(f, "; {}", any_of(mends)),
        }
    }
}

impl std::error::Error for GainsError {}

/// The changes in words.
pub(crate) fn any_of(mends: &[Mend]) -> String {
    let words: Vec<String> = mends.iter().map(Mend::to_string).collect();
    format!("any one of these would do: {}", words.join(", or "))
}

impl CraftGains {
    /// Derives them under this gravity; what the craft file fixes is left aside.
    ///
    /// # Errors
    /// When the craft cannot be flown, or the gains cannot reach the margins, with what would help.
    pub fn of(craft: &Craft, gravity_m_s2: f64) -> Result<Self, GainsError> {
        let free = Craft { gains: Gains::default(), ..craft.clone() };
        let refused = |cause| GainsError::Unflyable { cause, mends: mends(&free, gravity_m_s2, Short::Strength) };
        let margins = Margins::of(&free, gravity_m_s2).map_err(refused)?;
        let onboard = Onboard::<f64>::new(&free, gravity_m_s2).map_err(refused)?;
        let (weak, slow) = (too_weak(&onboard), too_slow(&onboard));
        let kind = match (weak.is_empty(), slow.is_empty()) {
            (false, _) => Short::Strength,
            (true, false) => Short::Speed,
            (true, true) => Short::Margins,
        };
        let short: Vec<String> = weak.into_iter().chain(slow).chain(margins.short()).collect();
        if !short.is_empty() {
            return Err(GainsError::OutOfReach { short, mends: mends(&free, gravity_m_s2, kind) });
        }
        let loops = AxisLoops::all(&free, &onboard).map_err(refused)?;
        let Onboard { config, authority, .. } = onboard;
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
                rate_step_max_rad_s: authority_rad_s2 / loops[index].peak_demand_per_s(),
                shaped_acceleration_rad_s2: config.reference.rate[index].slew_max,
            }
        };
        Ok(CraftGains { axes: [axis(0, AXES[0]), axis(1, AXES[1]), axis(2, AXES[2])], margins })
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

/// Whether the derived gains keep every criterion, the cheap ones first.
pub(super) fn found(craft: &Craft, gravity_m_s2: f64) -> bool {
    Onboard::<f64>::new(craft, gravity_m_s2).is_ok_and(|onboard| {
        too_weak(&onboard).is_empty() && too_slow(&onboard).is_empty() && Margins::hold(craft, &onboard)
    })
}

/// Axes that the rotors cannot turn quickly, in words.
fn too_weak(onboard: &Onboard<f64>) -> Vec<String> {
    let (tilt, yaw) = (ENOUGH_TILT_RAD_S2, ENOUGH_YAW_RAD_S2);
    below("angular acceleration from hover, rad/s2", onboard.authority.acceleration_rad_s2, [tilt, tilt, yaw])
}

/// Axes that lag, delay or weakness do not let be held quickly, in words.
fn too_slow(onboard: &Onboard<f64>) -> Vec<String> {
    below("angle gain, 1/s", onboard.config.angle.gain_per_s, ANGLE_GAIN_MIN_PER_S)
}

fn below(what: &str, values: [f64; 3], least: [f64; 3]) -> Vec<String> {
    let short = AXES.into_iter().zip(values.into_iter().zip(least)).filter(|(_, (value, least))| !(value >= least));
    short.map(|(axis, (value, least))| format!("{axis}: {what} {value:.4}, must be at least {least:.4}")).collect()
}
