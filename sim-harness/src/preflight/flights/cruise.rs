//! Level flight at a held tilt: speed grows until drag balances the horizontal part of the thrust.
//!
//! With the tilt θ held and the height kept, along the tilted body axis only weight and drag act:
//! m·v̇·cos θ = m·g·sin θ − ½ρ·CdA·(v·cos θ)². So v = v∞·tanh(t/T) with
//! v∞ = √(2·m·g·sin θ/(ρ·CdA))/cos θ and T = v∞/(g·tan θ).

use super::{Maiden, Site, angles, largest, leg, mean, settled};
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
    let (gravity, tilt_rad) = (site.world.gravity_m_s2, site.tilt_rad(TILT_RAD));
    let drag_area = site.craft.body.drag_area_m2[axis];
    let drag_per_square = 0.5 * site.world.air_density_kg_m3 * drag_area;
    // Without drag the speed grows for ever: v = g·tan θ·t.
    let pull = gravity * tilt_rad.tan();
    let steady_m_s = (site.weight_n() * tilt_rad.sin() / drag_per_square).sqrt() / tilt_rad.cos();
    let end_s = (TIME_CONSTANTS * steady_m_s / pull).min(LONGEST_S);
    let expected_m_s =
        if drag_per_square > 0.0 { steady_m_s * (end_s * pull / steady_m_s).tanh() } else { pull * end_s };
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
    if site.craft.body.drag_area_m2[axis] > 0.0 {
        "until the speed is steady"
    } else {
        "for two minutes; the craft file gives no drag area, so the speed never steadies"
    }
}
