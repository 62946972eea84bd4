//! Checks on the craft at rest: can it be controlled, can it hover, what has it to spare.

use evenkeel_mixer::GeometryError;

use crate::available_thrust::{AvailableThrust, Feed, HoverEndurance, hover_endurance, least_factor};
use crate::craft::Craft;
use crate::enough::{ENOUGH_THRUST_TO_WEIGHT, ENOUGH_TILT_RAD_S2, ENOUGH_YAW_RAD_S2};
use crate::margins::{CraftGains, any_of};
use crate::onboard::{Onboard, Unflyable};
use crate::saturation::{AxisReach, reaches_under_load};
use crate::script::World;
use crate::verdict::{Check, Limit};

use super::effectiveness::axes_moved;
use super::remedy::{balanced, more_thrust};
use super::sticks;

/// Least thrust with no torque, over weight: it must be able to come down.
const FLOOR_SHARE_MAX: f64 = 0.5;
/// Share of the arm by which the payload may sit off centre and still leave half the torque.
const OFFSET_SHARE_MIN: f64 = 0.05;
/// Least minutes of hover: as long as the longest flight of the check twice over, and down again.
const HOVER_MIN: f64 = 3.0;

pub(super) fn checks(craft: &Craft, onboard: &Onboard<f32>) -> Vec<Check> {
    let world = World::default();
    let weight = onboard.authority.hover_n;
    let (least, most) = (f64::from(onboard.mixer.balanced_thrust_n().0), most_n(craft, &world));
    let hovering = hovering(craft, &world);
    let [roll, pitch, yaw] = accelerations(&hovering);
    let mut checks = vec![
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
            let ways = more_thrust(craft, most / weight, ENOUGH_THRUST_TO_WEIGHT, |craft| most_n(craft, &world));
            format!("{ways}{balanced}.")
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
            let share = (100.0 * FLOOR_SHARE_MAX * weight / least).floor();
            format!("Lower thrust_min_n to {share:.0} % of what it is, if the rotors may safely spin so slowly.")
        }),
        tilt_check(craft, 0, "bench.roll_authority", "Roll from hover, the weaker way", roll),
        tilt_check(craft, 1, "bench.pitch_authority", "Pitch from hover, the weaker way", pitch),
        Check::new(
            "bench.yaw_authority",
            "Yaw from hover, the weaker way",
            yaw,
            "rad/s\u{b2}",
            Limit::at_least(ENOUGH_YAW_RAD_S2),
            "our choice: half a turn in under four seconds",
        )
        .or_else(|| {
            let more_torque = |times: f64| {
                with(craft, 2, &world, |craft| {
                    craft.rotors.iter_mut().for_each(|rotor| rotor.torque_per_thrust_m *= times)
                })
            };
            let propellers = least_factor(ENOUGH_YAW_RAD_S2, more_torque)
                .map(|times| format!("Propellers with {times:.2} times the reaction torque, or "));
            let lighter = |times: f64| with(craft, 2, &world, |craft| craft.body.inertia_kg_m2[2][2] /= times);
            let inertia = least_factor(ENOUGH_YAW_RAD_S2, lighter).map(|times| {
                format!("inertia zz of {:.4} kg m\u{b2} at most, or ", craft.body.inertia_kg_m2[2][2] / times)
            });
            format!("{}{}rotors tilted a few degrees.", propellers.unwrap_or_default(), inertia.unwrap_or_default())
        }),
        offset_check(craft, weight, &hovering),
        sticks::check(craft, onboard),
    ];
    checks.extend(hover_endurance(craft, &world).ok().flatten().map(|hover| time_check(craft, &hover)));
    checks
}

/// Thrust with torques balanced that the battery as charged feeds; 0 where it carries nothing.
pub(super) fn most_n(craft: &Craft, world: &World) -> f64 {
    AvailableThrust::of(craft, world).map_or(0.0, |available| available.least_of_most_n(&[Feed::as_charged(craft)]))
}

/// The largest torques from hover while the battery as charged feeds it; `None` where it does not carry the craft.
pub(super) fn hovering(craft: &Craft, world: &World) -> Option<[AxisReach; 3]> {
    let available = AvailableThrust::of(craft, world).ok()?;
    reaches_under_load(&available, Feed::as_charged(craft), craft.body.mass_kg * world.gravity_m_s2)
}

/// Roll, pitch and yaw, the weaker way; nothing where the craft cannot hover.
pub(super) fn accelerations(hovering: &Option<[AxisReach; 3]>) -> [f64; 3] {
    hovering.as_ref().map_or([0.0; 3], |axes| axes.map(|axis| axis.weaker_rad_s2()))
}

/// Angular acceleration from hover about an axis (roll 0, pitch 1, yaw 2) of a changed craft.
fn with(craft: &Craft, axis: usize, world: &World, change: impl Fn(&mut Craft)) -> f64 {
    let mut changed = craft.clone();
    change(&mut changed);
    accelerations(&hovering(&changed, world))[axis]
}

/// Minutes of hover, and what would lengthen them.
fn time_check(craft: &Craft, hover: &HoverEndurance) -> Check {
    let title = "Minutes of hover on the battery as charged";
    let limit = Limit::at_least(HOVER_MIN);
    let source =
        "charge over current down to a fifth left (common practice), or to 1.2 weights; the limit is our choice";
    Check::new("bench.hover_time", title, hover.minutes, "min", limit, source).or_else(|| {
        let battery = craft.battery.as_ref();
        match battery.filter(|_| hover.minutes > 0.0) {
            // The current does not depend on the capacity.
            Some(battery) => {
                let capacity_ah = (100.0 * battery.capacity_ah * HOVER_MIN / hover.minutes).ceil() / 100.0;
                format!("A battery of {capacity_ah:.2} Ah at least, of the same resistance and mass.")
            }
            None => {
                "Charge it (battery.charge); if it is charged, a battery that sags less, or stronger rotors.".into()
            }
        }
    })
}

fn tilt_check(craft: &Craft, axis: usize, id: &str, title: &str, value: f64) -> Check {
    let limit = Limit::at_least(ENOUGH_TILT_RAD_S2);
    Check::new(id, title, value, "rad/s\u{b2}", limit, "our choice: 10 degrees in 0.27 s").or_else(|| {
        let world = World::default();
        let first = balanced(craft).map(|how| format!("First {how}. ")).unwrap_or_default();
        let longer = |times: f64| {
            with(craft, axis, &world, |craft| {
                let places = craft.rotors.iter_mut().flat_map(|rotor| rotor.position_m.iter_mut().take(2));
                places.for_each(|place| *place *= times);
            })
        };
        let arms = least_factor(ENOUGH_TILT_RAD_S2, longer).map(|times| format!("Arms {times:.2} times as long"));
        let share = (100.0 * value / ENOUGH_TILT_RAD_S2).floor();
        let inertia = (share > 0.0).then(|| format!("{share:.0} % of the inertia"));
        let ways: Vec<String> = arms.into_iter().chain(inertia).collect();
        match ways.as_slice() {
            [] => format!("{first}Stronger rotors, or less mass."),
            ways => format!("{first}{}, or stronger rotors.", ways.join(", ")),
        }
    })
}

/// How far off centre the mass may move before half the roll or pitch torque holds it up.
fn offset_check(craft: &Craft, weight_n: f64, hovering: &Option<[AxisReach; 3]>) -> Check {
    let arm = craft
        .rotors
        .iter()
        .map(|rotor| {
            let [x, y] = [0, 1].map(|k| rotor.position_m[k] - craft.body.center_of_mass_m[k]);
            x.hypot(y)
        })
        .fold(0.0, f64::max);
    let weakest_nm = hovering.as_ref().map_or(0.0, |[roll, pitch, _]| roll.weaker_nm().min(pitch.weaker_nm()));
    let offset_m = 0.5 * weakest_nm / weight_n;
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
