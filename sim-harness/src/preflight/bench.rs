//! Checks on the craft at rest: can it be controlled, can it hover, what has it to spare.

use evenkeel_mixer::GeometryError;

use crate::craft::Craft;
use crate::enough::{ENOUGH_THRUST_TO_WEIGHT, ENOUGH_TILT_RAD_S2, ENOUGH_YAW_RAD_S2};
use crate::margins::{CraftGains, any_of};
use crate::onboard::{Onboard, Unflyable};
use crate::verdict::{Check, Limit};

use super::effectiveness::axes_moved;
use super::remedy::balanced;
use super::sticks;

/// Least thrust with no torque, over weight: it must be able to come down.
const FLOOR_SHARE_MAX: f64 = 0.5;
/// Share of the arm by which the payload may sit off centre and still leave half the torque.
const OFFSET_SHARE_MIN: f64 = 0.05;

pub(super) fn checks(craft: &Craft, onboard: &Onboard<f32>) -> Vec<Check> {
    let authority = &onboard.authority;
    let (least, most) = onboard.mixer.balanced_thrust_n();
    let (least, most) = (f64::from(least), f64::from(most));
    let weight = authority.hover_n;
    let [roll, pitch, yaw] = authority.acceleration_rad_s2;
    vec![
        Check::new(
            "bench.axes",
            "Axes the rotors move by themselves",
            axes_moved(craft) as f64,
            "",
            Limit::at_least(4.0),
            "rank of the effectiveness matrix",
        ),
        Check::new(
            "bench.thrust_to_weight",
            "Thrust to weight, torques balanced",
            most / weight,
            "",
            Limit::at_least(ENOUGH_THRUST_TO_WEIGHT),
            "common practice asks for 2; the limit is our choice",
        )
        .or_else(|| {
            let balanced = balanced(craft).map(|how| format!(", or {how}")).unwrap_or_default();
            format!(
                "Take off {:.2} kg, or fit rotors that push {:.2} N more together{balanced}.",
                craft.body.mass_kg * (1.0 - most / weight / ENOUGH_THRUST_TO_WEIGHT),
                ENOUGH_THRUST_TO_WEIGHT * weight - most
            )
        }),
        Check::new(
            "bench.descent",
            "Least thrust to weight, rotors at floor",
            least.max(0.0) / weight,
            "",
            Limit::at_most(FLOOR_SHARE_MAX),
            "common practice; the limit is our choice",
        )
        .or_else(|| {
            let share = FLOOR_SHARE_MAX * weight / least;
            format!("Lower thrust_min_n to {:.0} % of what it is, if the rotors may safely spin so slowly.", 100.0 * share)
        }),
        tilt_check(craft, "bench.roll_authority", "Roll from hover, the weaker way", roll),
        tilt_check(craft, "bench.pitch_authority", "Pitch from hover, the weaker way", pitch),
        Check::new(
            "bench.yaw_authority",
            "Yaw from hover, the weaker way",
            yaw,
            "rad/s\u{b2}",
            Limit::at_least(ENOUGH_YAW_RAD_S2),
            "our choice: half a turn in under four seconds",
        )
        .or_else(|| {
            let Some(times) = times_short(ENOUGH_YAW_RAD_S2, yaw) else {
                return "Propellers with more reaction torque, or rotors tilted a few degrees.".into();
            };
            format!(
                "Propellers with {times:.2} times the reaction torque, inertia zz of {:.4} kg m\u{b2} at most, or rotors tilted a \
                 few degrees.",
                craft.body.inertia_kg_m2[2][2] / times
            )
        }),
        offset_check(craft, onboard),
        sticks::check(craft, onboard),
    ]
}

fn tilt_check(craft: &Craft, id: &str, title: &str, value: f64) -> Check {
    let limit = Limit::at_least(ENOUGH_TILT_RAD_S2);
    Check::new(id, title, value, "rad/s\u{b2}", limit, "our choice: 10 degrees in 0.27 s").or_else(|| {
        let first = balanced(craft).map(|how| format!("First {how}. ")).unwrap_or_default();
        match times_short(ENOUGH_TILT_RAD_S2, value) {
            Some(times) => {
                let share = 100.0 / times;
                format!("{first}Arms {times:.2} times as long, {share:.0} % of the inertia, or stronger rotors.")
            }
            None => format!("{first}Stronger rotors, or less mass."),
        }
    })
}

/// How many times more it should be; `None` where there is nothing to multiply.
fn times_short(least: f64, value: f64) -> Option<f64> {
    (value > 0.0).then_some(least / value)
}

/// How far off centre the mass may move before half the roll or pitch torque holds it up.
fn offset_check(craft: &Craft, onboard: &Onboard<f32>) -> Check {
    let arm = craft
        .rotors
        .iter()
        .map(|rotor| {
            let [x, y] = [0, 1].map(|k| rotor.position_m[k] - craft.body.center_of_mass_m[k]);
            x.hypot(y)
        })
        .fold(0.0, f64::max);
    let [(roll_left, roll_right), (pitch_down, pitch_up), _] = onboard.authority.torque_nm;
    let weakest = roll_right.min(-roll_left).min(pitch_up).min(-pitch_down);
    let offset_m = 0.5 * weakest / onboard.authority.hover_n;
    Check::new(
        "bench.payload_offset",
        "Payload offset that leaves half the torque",
        offset_m / arm,
        "of arm",
        Limit::at_least(OFFSET_SHARE_MIN),
        "our choice; torque = weight x offset",
    )
    .or_else(|| match balanced(craft) {
        Some(how) => format!("With the battery or the load, {how}."),
        None => "It balances on its centre; stronger rotors, less mass, or longer arms leave it more.".into(),
    })
}

/// The one check that tells why a craft cannot be flown, and what `evenkeel gains` says would help.
pub(super) fn refusal(craft: &Craft, reason: Unflyable, gravity_m_s2: f64) -> Vec<Check> {
    let axes = |value: f64, title: &str| {
        Check::new("bench.axes", title, value, "", Limit::at_least(4.0), "rank of the effectiveness matrix")
    };
    let check = match reason {
        Unflyable::Geometry(GeometryError::NotControllable { .. }) => {
            axes(axes_moved(craft) as f64, "Axes the rotors move by themselves")
        }
        Unflyable::CannotHover { weight_n, balanced_thrust_n: (least, _) } if !(weight_n > least) => Check::new(
            "bench.hover",
            "Least thrust to weight, torques balanced",
            least / weight_n,
            "",
            Limit::at_most(FLOOR_SHARE_MAX),
            "weight and the sum of thrusts",
        ),
        Unflyable::CannotHover { weight_n, balanced_thrust_n: (_, most) } => Check::new(
            "bench.hover",
            "Thrust to weight, torques balanced",
            most / weight_n,
            "",
            Limit::at_least(ENOUGH_THRUST_TO_WEIGHT),
            "weight and the sum of thrusts",
        ),
        _ => Check::new(
            "bench.flyable",
            "Can be flown at all",
            0.0,
            "",
            Limit::at_least(1.0),
            "the mixer and controller",
        ),
    };
    let mut reason = reason.to_string();
    if let Err(refused) = CraftGains::of(craft, gravity_m_s2)
        && !refused.mends().is_empty()
    {
        reason = format!("{reason}; {}", any_of(refused.mends()));
    }
    let stop = if reason.ends_with('?') { "" } else { "." };
    vec![check.or_else(|| format!("{}: {reason}{stop}", craft.name))]
}
