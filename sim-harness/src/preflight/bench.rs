//! Checks on the craft at rest: can it be controlled, can it hover, what has it to spare.

use evenkeel_mixer::GeometryError;
use nalgebra::{Matrix4xX, Vector3};

use crate::craft::{Craft, Rotor};
use crate::onboard::{Onboard, Unflyable};
use crate::verdict::{Check, Limit};

use super::sticks;

/// Most thrust with no torque, over weight.
const THRUST_TO_WEIGHT_MIN: f64 = 1.5;
/// Least thrust with no torque, over weight: it must be able to come down.
const FLOOR_SHARE_MAX: f64 = 0.5;
/// Roll and pitch: from rest to 10 degrees in a little over a quarter of a second.
const TILT_ACCELERATION_MIN_RAD_S2: f64 = 5.0;
/// Yaw.
const YAW_ACCELERATION_MIN_RAD_S2: f64 = 0.5;
/// Share of the arm by which the payload may sit off centre and still leave half the torque.
const OFFSET_SHARE_MIN: f64 = 0.05;

/// Singular values below this, of rows of length one, count as none.
const RANK_TOL: f64 = 1.0e-6;

const PRACTICE: &str = "common practice";

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
            Limit::at_least(THRUST_TO_WEIGHT_MIN),
            "common practice asks for 2; the limit is our choice",
        )
        .or_else(|| {
            format!(
                "Take off {:.2} kg, or fit rotors that push {:.2} N more together.",
                craft.body.mass_kg * (1.0 - most / weight / THRUST_TO_WEIGHT_MIN),
                THRUST_TO_WEIGHT_MIN * weight - most
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
        .or_else(|| "Lower thrust_min_n if the rotors may safely spin slower.".into()),
        tilt_check("bench.roll_authority", "Roll from hover, the weaker way", roll),
        tilt_check("bench.pitch_authority", "Pitch from hover, the weaker way", pitch),
        Check::new(
            "bench.yaw_authority",
            "Yaw from hover, the weaker way",
            yaw,
            "rad/s\u{b2}",
            Limit::at_least(YAW_ACCELERATION_MIN_RAD_S2),
            "our choice: half a turn in under four seconds",
        )
        .or_else(|| "Propellers with more reaction torque, rotors tilted a few degrees, or less inertia.".into()),
        offset_check(craft, onboard),
        Check::new(
            "bench.stick_senses",
            "Rotors that answer a stick the wrong way",
            sticks::against_practice(craft, onboard) as f64,
            "",
            Limit::at_most(0.0),
            PRACTICE,
        )
        .or_else(|| "Compare the spin of each rotor in the craft file with the frame.".into()),
    ]
}

fn tilt_check(id: &str, title: &str, value: f64) -> Check {
    let limit = Limit::at_least(TILT_ACCELERATION_MIN_RAD_S2);
    Check::new(id, title, value, "rad/s\u{b2}", limit, "our choice: 10 degrees in 0.27 s")
        .or_else(|| "Longer arms, stronger rotors, or mass closer to the centre.".into())
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
    .or_else(|| "Move the battery until the craft balances on its centre.".into())
}

/// The one check that tells why a craft cannot be flown.
pub(super) fn refusal(craft: &Craft, reason: Unflyable) -> Vec<Check> {
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
            Limit::at_least(THRUST_TO_WEIGHT_MIN),
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
    let reason = reason.to_string();
    let stop = if reason.ends_with('?') { "" } else { "." };
    vec![check.or_else(|| format!("{}: {reason}{stop}", craft.name))]
}

/// Rank of the effectiveness matrix, each of its rows scaled to length one.
fn axes_moved(craft: &Craft) -> usize {
    let column = |rotor: &Rotor| {
        let axis = Vector3::from(rotor.axis);
        let arm_m = Vector3::from(rotor.position_m) - Vector3::from(craft.body.center_of_mass_m);
        let torque = arm_m.cross(&axis) - rotor.reaction_m() * axis;
        [-axis.z, torque.x, torque.y, torque.z]
    };
    let mut matrix = Matrix4xX::from_iterator(craft.rotors.len(), craft.rotors.iter().flat_map(column));
    for mut row in matrix.row_iter_mut() {
        row.try_normalize_mut(RANK_TOL);
    }
    matrix.rank(RANK_TOL)
}
