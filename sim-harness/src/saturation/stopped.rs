//! What remains with each rotor stopped in turn.
//!
//! Rank is not the test: a craft may move all axes and still have hover on or outside the boundary. The
//! signed distance of the hover wrench to the boundary is. The rotors that are left draw what it takes to hover on them, from
//! the battery as charged.
//!
//! * Source: G.-X. Du, Q. Quan, B. Yang, K.-Y. Cai, JGCD 38(5), 2015 (definition from memory)

use evenkeel_mixer::{Axis, Wrench};
use serde::Serialize;

use super::attainable::TOUCH_TOL;
use super::operating_point::{AxisReach, attainable_under_load, reaches};
use crate::available_thrust::{AvailableThrust, Feed};
use crate::craft::Craft;
use crate::onboard::Unflyable;
use crate::script::World;

/// Below this share of the whole craft's margin what is left counts as none: hover stands on the
/// boundary, and any disturbance at all carries it over.
pub const NOTHING_LEFT: f64 = 1.0e-6;

/// What "not level" leaves open.
pub const SPINNING_NOT_TRIED: &str = "whether it can be flown spinning is not tried here";

/// The craft without one of its rotors.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Stopped {
    /// The rotor that stands still.
    pub rotor: String,
    /// Smallest torque that spends what is left in level hover, all torques kept zero; not above zero where
    /// hover cannot be held so. `None` where this thrust is out of reach whatever the torques.
    pub margin_nm: Option<f64>,
    /// The same in roll and pitch with yaw let go.
    pub margin_without_yaw_nm: Option<f64>,
    /// Level, with the nose held.
    pub holds_level: bool,
    /// Level, while the craft spins about its vertical.
    pub holds_level_without_yaw: bool,
    /// Yaw torque left over in level hover, the smallest and largest; zero between them where the nose can
    /// be held.
    pub yaw_nm: Option<[f64; 2]>,
    /// The largest torques where it can be held level with the nose held.
    pub axes: Option<[AxisReach; 3]>,
}

/// Each rotor stopped in turn, in air of sea level.
///
/// # Errors
/// When the rotors cannot control the whole craft.
pub fn stopped_rotors(craft: &Craft, weight_n: f64) -> Result<Vec<Stopped>, Unflyable> {
    let world = World::default();
    let feed = Feed::as_charged(craft);
    let level = Wrench { thrust_n: weight_n, ..Wrench::default() };
    let whole = attainable_under_load(&AvailableThrust::of(craft, &world)?, feed, weight_n);
    let whole_nm = whole.map_or(0.0, |set| set.torque_margin_nm(level).abs());
    let least_nm = NOTHING_LEFT * whole_nm;
    let one = |(index, rotor): (usize, &crate::craft::Rotor)| {
        let available = AvailableThrust::of(craft, &world)?.without_rotor(index);
        let Some(set) = attainable_under_load(&available, feed, weight_n) else {
            return Ok(Stopped::beyond_all(rotor.name.clone()));
        };
        let margin_nm = set.torque_margin_nm(level);
        let spinning_nm = set.with_yaw_let_go().torque_margin_nm(level);
        let holds_level = margin_nm > least_nm;
        Ok(Stopped {
            rotor: rotor.name.clone(),
            margin_nm: margin_nm.is_finite().then_some(margin_nm),
            margin_without_yaw_nm: spinning_nm.is_finite().then_some(spinning_nm),
            holds_level,
            holds_level_without_yaw: holds_level || spinning_nm > least_nm,
            yaw_nm: set.interval(level, Axis::Yaw).map(|yaw| [yaw.low, yaw.high].map(|nm| settled(nm, whole_nm))),
            axes: if holds_level { reaches(craft, &set, weight_n) } else { None },
        })
    };
    craft.rotors.iter().enumerate().map(one).collect()
}

/// Rounding is no torque.
fn settled(value_nm: f64, whole_nm: f64) -> f64 {
    if value_nm.abs() <= TOUCH_TOL * whole_nm { 0.0 } else { value_nm }
}

impl Stopped {
    /// The battery sinks until a ceiling meets its floor: nothing can be held.
    fn beyond_all(rotor: String) -> Self {
        Stopped {
            rotor,
            margin_nm: None,
            margin_without_yaw_nm: None,
            holds_level: false,
            holds_level_without_yaw: false,
            yaw_nm: None,
            axes: None,
        }
    }

    /// In words.
    pub fn words(&self) -> &'static str {
        match (self.holds_level, self.holds_level_without_yaw) {
            (true, _) => "can be held level",
            (false, true) => "level only while it spins: yaw is lost",
            // Thrust that leans with the body can still hold the height while it spins; no check looks for that.
            (false, false) => "not level",
        }
    }
}
