//! What the loops bear, from the frequency response of the sampled loop as it flies.
//!
//! [`AxisLoops`] takes the response from the blocks themselves, [`StabilityMargins`] reads the margins off it, and
//! [`Margins`] holds each against its limit. docs/margins.md says what is in the model and what is not.

mod axis;
mod driven;
mod gains;
mod gyro;
mod mend;
mod plant;
mod response;
mod rotors;
mod stability;
mod step_demand;
mod text;
mod write_gains;

pub use axis::AxisLoops;
pub use driven::{Driven, LINEAR_TOL, NoResponse};
pub(crate) use gains::any_of;
pub use gains::{ANGLE_GAIN_MIN_PER_S, AxisGains, CraftGains, GainsError};
pub(crate) use gyro::gyro_dead_time_s;
pub use mend::{Change, MEND_TOL, Mend};
pub use plant::{RotorGroup, SampledPlant};
pub use response::{LoopResponse, RESPONSE_PER_DECADE, ResponsePoint};
pub(crate) use rotors::spin_up_s;
pub use stability::{FREQUENCY_TOL, PER_DECADE, StabilityMargins};
pub use write_gains::{UnwritableGains, with_gains};

use std::f64::consts::TAU;

use serde::Serialize;

use crate::craft::Craft;
use crate::onboard::{Onboard, Unflyable};
use crate::verdict::Limit;

/// Gain margin up and down (SAE AS94900, from memory).
pub const GAIN_MARGIN_MIN_DB: f64 = 6.0;
/// Phase margin (SAE AS94900, from memory).
pub const PHASE_MARGIN_MIN_DEG: f64 = 45.0;
/// Largest sensitivity; 1.2 to 2 is common practice, the limit is our choice.
pub const PEAK_SENSITIVITY_MAX: f64 = 1.6;
/// Delay margin in sample periods; our choice.
pub const DELAY_MARGIN_MIN_SAMPLES: f64 = 2.0;
/// Delay margin as a share of the slowest rotor's lag; our choice.
pub const DELAY_MARGIN_MIN_LAG_SHARE: f64 = 0.25;
/// Crossover of the rate loop over that of the angle loop above it; common practice.
pub const SEPARATION_MIN: f64 = 3.0;

const AXES: [&str; 3] = ["roll", "pitch", "yaw"];

/// All loops of a craft.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Margins {
    /// Whether every loop keeps every limit.
    pub held: bool,
    /// Roll, pitch, yaw; of each the rate loop, then the angle loop.
    pub loops: Vec<LoopMargins>,
}

/// One loop, each figure with the limit it is held to.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LoopMargins {
    /// "roll", "pitch" or "yaw".
    pub axis: &'static str,
    /// "rate": cut at the torque demand; "angle": cut at the rate set-point.
    #[serde(rename = "loop")]
    pub name: &'static str,
    /// Whether the closed loop is stable.
    pub stable: bool,
    /// Whether every limit is kept.
    pub held: bool,
    /// The smaller of up and down.
    pub gain_margin_db: f64,
    /// How much more gain it bears.
    pub gain_margin_up_db: f64,
    /// How much less; `None` when it bears any.
    pub gain_margin_down_db: Option<f64>,
    /// Phase margin.
    pub phase_margin_deg: f64,
    /// Where the open loop's gain is one.
    pub crossover_hz: f64,
    /// Further delay it bears.
    pub delay_margin_s: f64,
    /// Where the closed loop has fallen by 3 dB.
    pub bandwidth_hz: f64,
    /// Largest sensitivity.
    pub peak_sensitivity: f64,
    /// Symmetric disk margin.
    pub disk_margin: f64,
    /// Gain, either way, that may change together with the phase.
    pub disk_gain_margin_db: f64,
    /// Phase that may change together with the gain.
    pub disk_phase_margin_deg: f64,
    /// Crossover of the rate loop over this one's; only for an angle loop.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub separation: Option<f64>,
    /// What the figures are held to.
    pub limits: Limits,
}

/// What one loop is held to.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Limits {
    /// Decibels, both ways.
    pub gain_margin_db: Limit,
    /// Degrees.
    pub phase_margin_deg: Limit,
    /// Seconds.
    pub delay_margin_s: Limit,
    /// Ratio.
    pub peak_sensitivity: Limit,
    /// Ratio.
    pub separation: Limit,
}

impl Margins {
    /// Whether every loop keeps every limit; stops at the first that does not.
    pub(crate) fn hold(craft: &Craft, onboard: &Onboard<f64>) -> bool {
        let limits = Limits::of(craft);
        let holds = |flown: &AxisLoops| {
            LoopMargins::new("", "", &flown.rate(), None, limits).held && {
                let angle = flown.angle();
                let separation = flown.rate_alone().crossover_rad_s / angle.crossover_rad_s;
                LoopMargins::new("", "", &angle, Some(separation), limits).held
            }
        };
        AxisLoops::all(craft, onboard).is_ok_and(|loops| loops.iter().all(holds))
    }

    /// Works them out under this gravity.
    ///
    /// # Errors
    /// When the craft cannot be flown, and why.
    pub fn of(craft: &Craft, gravity_m_s2: f64) -> Result<Self, Unflyable> {
        let onboard = Onboard::<f64>::new(craft, gravity_m_s2)?;
        let limits = Limits::of(craft);
        let mut loops = Vec::new();
        for (axis, flown) in AXES.into_iter().zip(AxisLoops::all(craft, &onboard)?) {
            loops.extend(LoopMargins::of_axis(axis, &flown, limits).map(|(_, judged)| judged));
        }
        Ok(Margins { held: loops.iter().all(|one| one.held), loops })
    }
}

impl Limits {
    /// What a craft's loops are held to.
    pub fn of(craft: &Craft) -> Self {
        let samples_s = DELAY_MARGIN_MIN_SAMPLES / craft.loops.rate_hz;
        Limits {
            gain_margin_db: Limit::at_least(GAIN_MARGIN_MIN_DB),
            phase_margin_deg: Limit::at_least(PHASE_MARGIN_MIN_DEG),
            delay_margin_s: Limit::at_least(samples_s.max(DELAY_MARGIN_MIN_LAG_SHARE * craft.slowest_lag_s())),
            peak_sensitivity: Limit::at_most(PEAK_SENSITIVITY_MAX),
            separation: Limit::at_least(SEPARATION_MIN),
        }
    }
}

impl LoopMargins {
    /// The rate loop, then the angle loop, as found and as judged.
    fn of_axis(axis: &'static str, flown: &AxisLoops, limits: Limits) -> [(StabilityMargins, Self); 2] {
        let (rate, angle) = (flown.rate(), flown.angle());
        // The angle loop's own crossover counts against that of the rate loop by itself.
        let separation = flown.rate_alone().crossover_rad_s / angle.crossover_rad_s;
        [
            (rate, LoopMargins::new(axis, "rate", &rate, None, limits)),
            (angle, LoopMargins::new(axis, "angle", &angle, Some(separation), limits)),
        ]
    }

    fn new(
        axis: &'static str,
        name: &'static str,
        found: &StabilityMargins,
        separation: Option<f64>,
        limits: Limits,
    ) -> Self {
        let decibels = |factor: f64| 20.0 * factor.log10();
        let mut one = LoopMargins {
            axis,
            name,
            stable: found.stable,
            held: false,
            gain_margin_db: found.gain_margin_db(),
            gain_margin_up_db: decibels(found.gain_up),
            gain_margin_down_db: (found.gain_down > 0.0).then(|| -decibels(found.gain_down)),
            phase_margin_deg: found.phase_margin_rad.to_degrees(),
            crossover_hz: found.crossover_rad_s / TAU,
            delay_margin_s: found.delay_margin_s,
            bandwidth_hz: found.bandwidth_rad_s / TAU,
            peak_sensitivity: found.peak_sensitivity,
            disk_margin: found.disk,
            disk_gain_margin_db: found.disk_gain_db(),
            disk_phase_margin_deg: found.disk_phase_rad().to_degrees(),
            separation,
            limits,
        };
        one.held = one.stable && one.judged().iter().all(|(_, value, limit)| limit.holds(*value));
        one
    }

    /// The figures that have a limit, each with its name and its limit.
    pub fn judged(&self) -> Vec<(&'static str, f64, Limit)> {
        let limits = &self.limits;
        let mut judged = vec![
            ("gain margin, dB", self.gain_margin_db, limits.gain_margin_db),
            ("phase margin, deg", self.phase_margin_deg, limits.phase_margin_deg),
            ("delay margin, s", self.delay_margin_s, limits.delay_margin_s),
            ("peak sensitivity", self.peak_sensitivity, limits.peak_sensitivity),
        ];
        judged.extend(self.separation.map(|value| ("separation from the rate loop", value, limits.separation)));
        judged
    }
}
