//! Level flight at a held tilt: speed grows until drag balances the horizontal part of the thrust.
//!
//! With the tilt θ held and the height kept, along the tilted body axis only weight and drag act, that of the body and that
//! of the rotors in their plane: m·v̇·cos θ = m·g·sin θ − B·v·cos θ − ½ρ·CdA·(v·cos θ)². Its solution is in
//! [`gathering`](crate::gathering).

use super::{Maiden, Site, angles, largest, leg, mean, settled};
use crate::gathering::Gathering;
use crate::recording::Row;
use crate::script::{Lateral, Vertical};
use crate::verdict::{Check, Limit};

const HEIGHT_M: f64 = 30.0;
const TILT_RAD: f64 = 12.0 * std::f64::consts::PI / 180.0;
/// Four time constants bring tanh within 0.07 % of one.
const TIME_CONSTANTS: f64 = 4.0;
const LONGEST_S: f64 = 120.0;
/// The tilt takes a moment to build up; the formula starts at once.
const SPEED_SHARE: f64 = 0.03;

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
    let tilt_rad = site.tilt_rad(TILT_RAD);
    let gathering = Gathering::at_a_height(site, tilt_rad, axis);
    let end_s = (TIME_CONSTANTS * gathering.time_constant_s()).min(LONGEST_S);
    let expected_m_s = gathering.speed_m_s(end_s) / tilt_rad.cos();
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
                    &format!("{id}.speed"),
                    "Speed at the end",
                    mean(flown, end_s - 0.1, end_s, along),
                    "m/s",
                    Limit::between((1.0 - SPEED_SHARE) * expected_m_s, (1.0 + SPEED_SHARE) * expected_m_s),
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
                settled(id, flown, 0.9 * end_s, end_s),
                Check::new(
                    &format!("{id}.across"),
                    "Speed across the course",
                    largest(flown, 0.0, end_s, across),
                    "m/s",
                    Limit::at_most(0.02 * expected_m_s),
                    "the force acts along the tilt alone",
                ),
            ]
        }),
    }
}

/// How long the flight goes on, in words.
fn until(site: &Site<'_>, axis: usize) -> &'static str {
    if Gathering::held(site, site.tilt_rad(TILT_RAD), axis, 0.0).steady_m_s().is_finite() {
        "until the speed is steady"
    } else {
        "for two minutes; the craft file gives no drag, so the speed never steadies"
    }
}
