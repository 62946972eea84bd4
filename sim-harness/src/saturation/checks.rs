//! The saturation picture's part of the verdict.

use std::ops::Range;

use super::operating_point::{OperatingPoint, reaches_under_load};
use super::picture::Picture;
use super::wind::{SteadyWind, steady_wind};
use crate::available_thrust::{AvailableThrust, Feed, least_factor, with_stronger_rotors};
use crate::craft::Craft;
use crate::enough::ENOUGH_TILT_RAD_S2;
use crate::onboard::Onboard;
use crate::script::World;
use crate::site::Site;
use crate::verdict::{Check, Limit};

/// Roll and pitch in a climb or on a near-empty battery: half of what is asked at rest in hover.
const TILT_LEFT_MIN_RAD_S2: f64 = 0.5 * ENOUGH_TILT_RAD_S2;
/// Yaw left in the same: less than this and wind turns the nose.
const YAW_LEFT_MIN_RAD_S2: f64 = 0.2;
/// Steady wind that a first flight's place should stand.
const WIND_MIN_M_S: f64 = 3.0;

/// Checks with limit, source and what would mend.
pub fn checks(craft: &Craft, picture: &Picture) -> Vec<Check> {
    let answers = &picture.answers;
    let world = World { gravity_m_s2: picture.weight_n / craft.body.mass_kg, ..World::default() };
    let mut checks = vec![
        Check::new(
            "saturation.aged_battery",
            "Voltage it still hovers at / near-empty voltage",
            answers.hover_voltage_share / answers.empty_voltage_share,
            "",
            Limit::at_most(1.0),
            "thrust goes with voltage squared; common practice: land at 80 % of full voltage or above",
        )
        .or_else(|| {
            let lifted_n = AvailableThrust::of(craft, &world)
                .map_or(0.0, |available| available.least_of_most_n(&[Feed::near_empty(craft)]));
            let less_kg = round_up(craft.body.mass_kg - lifted_n / world.gravity_m_s2);
            let higher = 100.0 * answers.hover_voltage_share;
            format!(
                "Take off {less_kg:.2} kg, fit stronger rotors, or land well above {higher:.0} % of full voltage, where nothing is \
                 left to spare."
            )
        }),
    ];
    for (name, id) in [("climb", "climb"), ("hover, battery near empty", "near_empty")] {
        let Some(point) = picture.operating_points.iter().find(|point| point.name == name) else { continue };
        let axes = point.axes.as_ref().map(|axes| axes.map(|axis| axis.weaker_rad_s2()));
        let [roll, pitch, yaw] = axes.unwrap_or([0.0; 3]);
        let words = if id == "climb" { "in a climb at 1.2 weights" } else { "on a near-empty battery" };
        let heaviest = |axes: Range<usize>, least_rad_s2: f64| {
            let feed = if id == "climb" { Feed::as_charged(craft) } else { Feed::near_empty(craft) };
            let mass_kg = heaviest_kg(craft, &world, (point, feed), axes, least_rad_s2)?;
            Some(format!("Take off {:.2} kg, or ", round_up(craft.body.mass_kg - mass_kg)))
        };
        let or = |first: Option<String>, rest: &str| match first {
            Some(first) => first + rest,
            None => format!("No mass alone would do: {rest}"),
        };
        let mend = || or(heaviest(0..2, TILT_LEFT_MIN_RAD_S2), "stronger rotors, or less inertia.");
        checks.push(
            Check::new(
                &format!("saturation.{id}_tilt"),
                &format!("Roll and pitch left {words}"),
                roll.min(pitch),
                "rad/s\u{b2}",
                Limit::at_least(TILT_LEFT_MIN_RAD_S2),
                "our choice: half of what is asked in hover",
            )
            .or_else(mend),
        );
        checks.push(
            Check::new(
                &format!("saturation.{id}_yaw"),
                &format!("Yaw left {words}"),
                yaw,
                "rad/s\u{b2}",
                Limit::at_least(YAW_LEFT_MIN_RAD_S2),
                "our choice",
            )
            .or_else(|| {
                or(
                    heaviest(2..3, YAW_LEFT_MIN_RAD_S2),
                    "stronger rotors, propellers with more reaction torque, or rotors tilted a few degrees.",
                )
            }),
        );
    }
    let speed = |wind: &SteadyWind| wind.speed_m_s.min(wind.near_empty_m_s);
    if let Some(weakest) = answers.wind.iter().map(speed).min_by(f64::total_cmp) {
        checks.push(
            Check::new(
                "saturation.wind",
                "Steady wind in which it holds its place",
                weakest,
                "m/s",
                Limit::at_least(WIND_MIN_M_S),
                "our choice: a light breeze; drag balance at the tilt or thrust limit",
            )
            .or_else(|| against_wind(craft, &world)),
        );
    }
    checks
}

/// Wind that a changed craft stands on the battery as charged and near empty, the weaker side.
fn stands_m_s(craft: &Craft, world: &World) -> f64 {
    let least = || {
        let onboard = Onboard::<f32>::new(craft, world.gravity_m_s2).ok()?;
        let site = Site { craft, onboard: &onboard, world };
        let winds = steady_wind(&site, &AvailableThrust::of(craft, world).ok()?, onboard.config.reference.tilt_max_rad);
        winds.iter().map(|wind| wind.speed_m_s.min(wind.near_empty_m_s)).min_by(f64::total_cmp)
    };
    least().unwrap_or(f64::NAN)
}

/// What would mend too little wind, each tried on the craft.
fn against_wind(craft: &Craft, world: &World) -> String {
    let changed = |change: &dyn Fn(&mut Craft)| {
        let mut changed = craft.clone();
        change(&mut changed);
        stands_m_s(&changed, world)
    };
    let steeper = STEEPER_DEG
        .into_iter()
        .find(|deg| changed(&|craft| craft.limits.tilt_rad = Some(deg.to_radians())) >= WIND_MIN_M_S);
    let smaller = (1..100_u32).rev().map(|hundredths| f64::from(hundredths) / 100.0).find(|share| {
        changed(&|craft| craft.body.drag_area_m2.iter_mut().for_each(|area| *area *= share)) >= WIND_MIN_M_S
    });
    let stronger = least_factor(WIND_MIN_M_S, |times| stands_m_s(&with_stronger_rotors(craft, times), world));
    let ways = [
        steeper.map(|deg| format!("limits.tilt_deg of {deg:.0} at least")),
        smaller.map(|share| format!("{share:.2} of the drag area")),
        stronger.map(|times| format!("rotors with {times:.2} times the thrust")),
    ];
    match ways.into_iter().flatten().collect::<Vec<_>>().as_slice() {
        [] => "Neither tilt nor drag nor thrust alone would do: less drag, and stronger rotors.".into(),
        ways => format!("One of these: {}.", ways.join("; ")),
    }
}

/// Tilt limits that are tried.
const STEEPER_DEG: [f64; 8] = [10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0];

/// Steps in which a lighter craft is looked for, as a share of the mass.
const MASS_STEP: f64 = 0.01;
/// No craft is asked to be lighter than this share of its mass.
const LIGHTEST: f64 = 0.3;

/// The heaviest mass, in steps, with which these axes (roll 0, pitch 1, yaw 2) keep this much; inertia stays, the battery feeds the
/// lighter craft.
fn heaviest_kg(
    craft: &Craft,
    world: &World,
    (point, feed): (&OperatingPoint, Feed),
    axes: Range<usize>,
    least_rad_s2: f64,
) -> Option<f64> {
    let available = AvailableThrust::of(craft, world).ok()?;
    let keeps = |share: f64| {
        let found = reaches_under_load(&available, feed, share * point.thrust_n);
        found.is_some_and(|found| {
            found.iter().take(axes.end).skip(axes.start).all(|one| one.weaker_rad_s2() >= least_rad_s2)
        })
    };
    let steps = ((1.0 - LIGHTEST) / MASS_STEP) as u32;
    let share = (1..=steps).map(|step| 1.0 - MASS_STEP * f64::from(step)).find(|share| keeps(*share))?;
    Some(share * craft.body.mass_kg)
}

/// To the hundredth that is printed, so that what is printed does mend.
fn round_up(mass_kg: f64) -> f64 {
    (100.0 * mass_kg).ceil() / 100.0
}
