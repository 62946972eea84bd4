//! Level flight at a held tilt: speed grows until drag balances the horizontal part of the thrust, or, where the craft file gives no
//! drag, without an end: such a craft is held to its acceleration, g·tan θ, for a short while.
//!
//! With the tilt θ held and the height kept, along the tilted body axis only weight and drag act, that of the body and that
//! of the rotors in their plane: m·v̇·cos θ = m·g·sin θ − B·v·cos θ − ½ρ·CdA·(v·cos θ)². Its solution is in
//! [`gathering`](crate::gathering).

use super::{Maiden, Site, angles, largest, leg, mean, settled};
use crate::gathering::Gathering;
use crate::recording::{Recording, Row};
use crate::script::{Lateral, Vertical};
use crate::verdict::{Check, Limit};

const HEIGHT_M: f64 = 30.0;
const TILT_RAD: f64 = 12.0 * std::f64::consts::PI / 180.0;
/// Four time constants bring tanh within 0.07 % of one.
const TIME_CONSTANTS: f64 = 4.0;
const LONGEST_S: f64 = 120.0;
/// The tilt takes a moment to build up; the formula starts at once.
const SPEED_SHARE: f64 = 0.03;

/// A craft without drag gathers speed for so long, and its acceleration is judged over the last of it.
const WITHOUT_DRAG_S: f64 = 8.0;
const JUDGED_S: f64 = 4.0;
/// Speed across the course over that along it, what alignment leaves aside.
const ACROSS_SHARE: f64 = 0.02;

const SOURCE: &str = "force balance along the tilted axis";

pub(super) fn forward(site: &Site<'_>) -> Maiden {
    let tilt_rad = site.tilt_rad(TILT_RAD);
    let asked = format!("Nose down {:.0} degrees, height held, {}.", tilt_rad.to_degrees(), until(site, 0));
    let across = |row: &Row| row.velocity_m_s[1].abs();
    let along = |row: &Row| row.velocity_m_s[0];
    cruise(site, "forward", "Level forward flight", asked, angles(0.0, -tilt_rad, 0.0), 0, along, across)
}

pub(super) fn sideways(site: &Site<'_>) -> Maiden {
    let tilt_rad = site.tilt_rad(TILT_RAD);
    let asked = format!("Right side down {:.0} degrees, height held, {}.", tilt_rad.to_degrees(), until(site, 1));
    let across = |row: &Row| row.velocity_m_s[0].abs();
    let along = |row: &Row| row.velocity_m_s[1];
    cruise(site, "sideways", "Level sideways flight", asked, angles(tilt_rad, 0.0, 0.0), 1, along, across)
}

#[allow(clippy::too_many_arguments, reason = "the two directions of one flight, named at the call")]
fn cruise(
    site: &Site<'_>,
    id: &'static str,
    title: &'static str,
    asked: String,
    tilted: Lateral,
    axis: usize,
    along: fn(&Row) -> f64,
    across: fn(&Row) -> f64,
) -> Maiden {
    let (tilt_rad, aligned) = (site.tilt_rad(TILT_RAD), site.aligned());
    let [pull, pull_across] = if axis == 0 { aligned.pull() } else { [aligned.pull()[1], aligned.pull()[0]] };
    // What carries a level craft off adds to the tilt.
    let leaned_rad = tilt_rad + pull.atan();
    let gathering = Gathering::at_a_height(site, leaned_rad, axis);
    let drags = gathering.steady_m_s().is_finite();
    let end_s = if drags { (TIME_CONSTANTS * gathering.time_constant_s()).min(LONGEST_S) } else { WITHOUT_DRAG_S };
    let swing_max = site.swing_max();
    let off_rad = aligned.tilt_off_rad(end_s);
    let expected_m_s = gathering.speed_m_s(end_s) / leaned_rad.cos();
    let within = |expected: f64| {
        let share = SPEED_SHARE + off_rad / leaned_rad;
        Limit::between((1.0 - share) * expected, (1.0 + share) * expected)
    };
    let motion = if drags {
        let end = move |flown: &Recording| mean(flown, end_s - 0.1, end_s, along);
        Motion {
            what: "speed",
            title: "Speed at the end",
            unit: "m/s",
            limit: within(expected_m_s),
            value: Box::new(end),
        }
    } else {
        let from_s = end_s - JUDGED_S;
        let gained = move |flown: &Recording| {
            (mean(flown, end_s - 0.1, end_s, along) - mean(flown, from_s - 0.1, from_s, along)) / JUDGED_S
        };
        let limit = within(site.world.gravity_m_s2 * leaned_rad.tan());
        let title = "Acceleration; the file gives no drag, so the speed is not known";
        Motion { what: "acceleration", title, unit: "m/s\u{b2}", limit, value: Box::new(gained) }
    };
    let across_m_s = {
        let [_, _, turned_rad] = site.craft.sensors.misalignment_rad;
        let leaned_rad = pull_across.abs().atan() + off_rad;
        let carried = Gathering::held(site, leaned_rad, 1 - axis, 0.0).speed_m_s(end_s);
        (ACROSS_SHARE + turned_rad.abs()) * expected_m_s + carried
    };
    let legs = vec![leg("tilted", end_s, Vertical::Height(HEIGHT_M), tilted)];
    Maiden {
        id,
        title,
        asked,
        flight: site.flight(id, HEIGHT_M, legs),
        real: None,
        judge: Box::new(move |flown| {
            vec![
                Check::new(
                    &format!("{id}.{}", motion.what),
                    motion.title,
                    (motion.value)(flown),
                    motion.unit,
                    motion.limit,
                    SOURCE,
                ),
                Check::new(
                    &format!("{id}.height"),
                    "Height, most off",
                    largest(flown, 0.0, end_s, |row| (row.height_m() - HEIGHT_M).abs()),
                    "m",
                    Limit::at_most(1.0),
                    "our choice",
                ),
                settled(id, flown, 0.9 * end_s, end_s, swing_max),
                Check::new(
                    &format!("{id}.across"),
                    "Speed across the course",
                    largest(flown, 0.0, end_s, across),
                    "m/s",
                    Limit::at_most(across_m_s),
                    "the force acts along the tilt alone; what alignment leaves across it",
                ),
            ]
        }),
    }
}

/// What the craft is held to along its course.
struct Motion {
    what: &'static str,
    title: &'static str,
    unit: &'static str,
    limit: Limit,
    value: Box<dyn Fn(&Recording) -> f64 + Sync>,
}

/// How long the flight goes on, in words.
fn until(site: &Site<'_>, axis: usize) -> &'static str {
    if Gathering::held(site, site.tilt_rad(TILT_RAD), axis, 0.0).steady_m_s().is_finite() {
        "until the speed is steady"
    } else {
        "for eight seconds; the craft file gives no drag, so the speed is not known"
    }
}
