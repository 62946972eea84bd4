//! A level circle: bank turns part of the thrust into the centripetal force.
//!
//! tan(bank) = v²/(r·g) when the height is kept; the speed and radius follow from the bank chosen.

use std::f64::consts::TAU;

use super::{Maiden, Site, largest, leg, mean, settled};
use crate::gathering::Gathering;
use crate::recording::Row;
use crate::script::{Lateral, Vertical};
use crate::verdict::{Check, Limit};

const HEIGHT_M: f64 = 30.0;
const BANK_RAD: f64 = 15.0 * std::f64::consts::PI / 180.0;
/// Fastest circle flown, and its share of the speed at which drag alone would need the bank.
const SPEED_MAX_M_S: f64 = 6.0;
const DRAG_SHARE: f64 = 0.4;
const RUN_UP_S: f64 = 8.0;
const LAPS: f64 = 3.0;

pub(super) fn circle(site: &Site<'_>) -> Maiden {
    let gravity = site.world.gravity_m_s2;
    let [.., turn_max] = site.onboard.config.reference.rate_max_rad_s;
    // The nose turns with the circle, at g·tan(bank)/v.
    let turn_limited_rad = (0.8 * turn_max * SPEED_MAX_M_S / gravity).atan();
    let bank_rad = site.tilt_rad(BANK_RAD).min(turn_limited_rad);
    let drag_limited = |axis| {
        let pull_m_s2 = gravity * bank_rad.tan();
        Gathering { pull_m_s2, ..Gathering::held(site, bank_rad, axis, 0.0) }.steady_m_s()
    };
    let drag_limited = drag_limited(0).min(drag_limited(1));
    let speed_m_s = SPEED_MAX_M_S.min(DRAG_SHARE * drag_limited);
    let radius_m = speed_m_s * speed_m_s / (gravity * bank_rad.tan());
    let lap_s = TAU * radius_m / speed_m_s;
    // The first lap settles; the rest is judged.
    let from_s = RUN_UP_S + lap_s.max(5.0);
    let end_s = RUN_UP_S + LAPS * lap_s.max(5.0);
    let height = Vertical::Height(HEIGHT_M);
    // Rotors that push the craft to the right take so much of the bank.
    let swing_max = site.swing_max();
    let push_rad = site.aligned().push[1].atan();
    let legs = vec![
        leg("run up", RUN_UP_S, height, Lateral::Velocity([speed_m_s, 0.0])),
        leg("circle", end_s, height, Lateral::Circle { radius_m, speed_m_s }),
    ];
    Maiden {
        id: "circle",
        title: "Level circle",
        asked: format!("A circle of {radius_m:.1} m radius at {speed_m_s:.1} m/s, clockwise, height held."),
        flight: site.flight("level circle", HEIGHT_M, legs),
        real: None,
        judge: Box::new(move |flown| {
            let last_lap = end_s - lap_s;
            let center = [0, 1].map(|axis| mean(flown, last_lap, end_s, |row| row.position_m[axis]));
            let radius = |row: &Row| (row.position_m[0] - center[0]).hypot(row.position_m[1] - center[1]);
            let within = |share: f64, value: f64| Limit::between((1.0 - share) * value, (1.0 + share) * value);
            vec![
                Check::new(
                    "circle.radius",
                    "Radius of the last lap",
                    mean(flown, last_lap, end_s, radius),
                    "m",
                    within(0.03, radius_m),
                    "the radius asked for",
                ),
                Check::new(
                    "circle.speed",
                    "Speed",
                    mean(flown, last_lap, end_s, Row::ground_speed_m_s),
                    "m/s",
                    within(0.03, speed_m_s),
                    "the speed asked for",
                ),
                Check::new(
                    "circle.bank",
                    "Bank",
                    mean(flown, last_lap, end_s, |row| row.euler_rad()[0]).to_degrees(),
                    "deg",
                    Limit::between((bank_rad - push_rad).to_degrees() - 1.0, (bank_rad - push_rad).to_degrees() + 1.0),
                    "centripetal force: tan(bank) = v^2/(r g)",
                ),
                settled("circle", flown, last_lap, end_s, swing_max),
                Check::new(
                    "circle.height",
                    "Height, most off",
                    largest(flown, from_s, end_s, |row| (row.height_m() - HEIGHT_M).abs()),
                    "m",
                    Limit::at_most(0.3),
                    "our choice",
                ),
            ]
        }),
    }
}
