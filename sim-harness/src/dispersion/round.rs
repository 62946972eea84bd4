//! The flight that varied crafts are put through when no other is given: a little of every flight of the
//! maiden-flight check, in half a minute.

use crate::craft::Craft;
use crate::onboard::Onboard;
use crate::script::{Flight, Initial, Lateral, Leg, Vertical, World};

const HEIGHT_M: f64 = 3.0;
/// Tilt each way, unless the craft's own limit is lower.
const TILT_RAD: f64 = 10.0 * std::f64::consts::PI / 180.0;
/// Share of the craft's own limit of tilt that is asked for at most.
const TILT_SHARE: f64 = 0.8;
const YAW_RATE_RAD_S: f64 = 30.0 * std::f64::consts::PI / 180.0;
/// The pilot holds the place.
const STAY: Lateral = Lateral::Velocity([0.0, 0.0]);
const LOG_PERIOD_S: f64 = 0.02;

/// Up, lean each way, turn, hold the place, and down.
pub fn round<S>(craft: &Craft, onboard: &Onboard<S>) -> Flight {
    let tilt_rad = TILT_RAD.min(TILT_SHARE * onboard.config.reference.tilt_max_rad);
    let lean = |roll_rad, pitch_rad| Lateral::Angles { roll_rad, pitch_rad, yaw_rate_rad_s: 0.0 };
    let turn = Lateral::Angles { roll_rad: 0.0, pitch_rad: 0.0, yaw_rate_rad_s: YAW_RATE_RAD_S };
    let legs = [
        ("up", 6.0, HEIGHT_M, STAY),
        ("lean right", 8.0, HEIGHT_M, lean(tilt_rad, 0.0)),
        ("lean left", 10.0, HEIGHT_M, lean(-tilt_rad, 0.0)),
        ("nose down", 12.0, HEIGHT_M, lean(0.0, -tilt_rad)),
        ("nose up", 14.0, HEIGHT_M, lean(0.0, tilt_rad)),
        ("turn", 17.0, HEIGHT_M, turn),
        ("hold the place", 20.0, HEIGHT_M, STAY),
        ("down", 30.0, 0.0, STAY),
    ];
    let leg = |(name, until_s, height_m, lateral): (&str, f64, f64, Lateral)| Leg {
        name: name.into(),
        until_s,
        vertical: Vertical::Height(height_m),
        lateral,
    };
    Flight {
        name: format!("round of {}", craft.name),
        duration_s: legs.last().map_or(0.0, |(_, until_s, ..)| *until_s),
        log_period_s: LOG_PERIOD_S,
        seed: 0,
        control: true,
        initial: Initial::default(),
        world: World::default(),
        legs: legs.into_iter().map(leg).collect(),
        faults: Vec::new(),
        expectations: Vec::new(),
    }
}
