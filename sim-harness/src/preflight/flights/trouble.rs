//! When something is not as it should be: an upset, a gust, a battery near empty, a lost link, a demand that cannot be met.

use evenkeel_controller::{DescentConfig, State};

use super::{LEVEL, Maiden, Site, largest, leg, mean};
use crate::available_thrust::{AvailableThrust, Feed, SUDDEN_VOLTAGE_SHARE};
use crate::craft::Craft;
use crate::enough::ENOUGH_THRUST_LEFT_TO_WEIGHT;
use crate::gathering::Gathering;
use crate::recording::Row;
use crate::script::{Fault, FaultKind, Gust, Vertical, World};
use crate::verdict::{Check, Limit};

const HIGH_M: f64 = 100.0;
const HOVER_M: f64 = 5.0;
const OUR_CHOICE: &str = "our choice";

/// Beyond a right angle, so that thrust pulls the craft down at first.
const UPSET_RAD: f64 = 120.0 * std::f64::consts::PI / 180.0;
const UPSET_THRUST_SHARE: f64 = 0.5;
const UPSET_END_S: f64 = 20.0;
/// It starts this many times as high as it may fall.
const FALL_HEIGHTS: f64 = 1.5;
/// What the script pilot climbs back at, the time it takes to settle at the height, and the share of the spare thrust it uses to stop.
const CLIMBS_BACK_M_S: f64 = 2.0;
const SETTLES_S: f64 = 6.0;
const STOPPING_SHARE: f64 = 0.5;
/// A craft with less to stop with is told so by its thrust to weight; its fall is not waited for.
const BRAKE_MIN_M_S2: f64 = 2.0;

/// A fall with nothing to hold it, and the way back up.
struct Fall {
    lost_m: f64,
    time_s: f64,
}

impl Fall {
    /// Free fall for this long at most, stopped with half of the thrust above the weight, then climbed back.
    fn of(site: &Site<'_>, falls_s: f64) -> Self {
        let gravity = site.world.gravity_m_s2;
        let spare = f64::from(site.onboard.mixer.balanced_thrust_n().1) / site.weight_n() - 1.0;
        let brake_m_s2 = (STOPPING_SHARE * spare * gravity).max(BRAKE_MIN_M_S2);
        let speed_m_s = gravity * falls_s;
        let lost_m = 0.5 * speed_m_s * falls_s + speed_m_s * speed_m_s / (2.0 * brake_m_s2);
        Fall { lost_m, time_s: speed_m_s / brake_m_s2 + lost_m / CLIMBS_BACK_M_S + SETTLES_S }
    }
}

const RECOVERED_RAD: f64 = 10.0 * std::f64::consts::PI / 180.0;

pub(super) fn upset(site: &Site<'_>) -> Maiden {
    let [rate_rad_s, ..] = site.onboard.config.angle.rate_max_rad_s;
    let [acceleration_rad_s2, ..] = site.onboard.authority.acceleration_rad_s2;
    // Turn at the rate limit, with half the torque that hover leaves to start and to stop, behind the rotors' lag.
    let turn_s = UPSET_RAD / rate_rad_s + 2.0 * rate_rad_s / acceleration_rad_s2 + 4.0 * site.craft.slowest_lag_s();
    // Thrust drives an upset craft down, and leaves no torque where it comes first: little of it until level.
    let little = Vertical::Thrust(UPSET_THRUST_SHARE * site.weight_n());
    let fall = Fall::of(site, 2.0 * turn_s);
    let high_m = HIGH_M.max(FALL_HEIGHTS * fall.lost_m);
    let end_s = UPSET_END_S.max(2.0 * turn_s + fall.time_s);
    let legs = vec![leg("recover", 2.0 * turn_s, little, LEVEL), leg("level", end_s, Vertical::Height(high_m), LEVEL)];
    let mut flight = site.flight("upset", high_m, legs);
    flight.initial.attitude_rad = [UPSET_RAD, 0.0, 0.0];
    Maiden {
        id: "upset",
        title: "Recovery from an upset",
        asked: format!(
            "From {:.0} degrees of roll at {high_m:.0} m, with half the weight in thrust, come level; then back to that height.",
            UPSET_RAD.to_degrees()
        ),
        flight,
        real: None,
        judge: Box::new(move |flown| {
            let last_tilted = flown.rows.iter().rev().find(|row| row.tilt_rad() > RECOVERED_RAD);
            let descents = flown.rows.iter().filter(|row| row.on_board.state() != Some(State::Flying)).count();
            vec![
                Check::new(
                    "upset.recovered",
                    "Time to within 10 degrees of level",
                    last_tilted.map_or(0.0, |row| row.t_s),
                    "s",
                    Limit::at_most(2.0 * turn_s),
                    "twice the turn at the limits of rate and torque",
                ),
                Check::new(
                    "upset.flying",
                    "Rows in which the supervisor had taken over",
                    descents as f64,
                    "",
                    Limit::at_most(0.0),
                    "the tilt check leaves time for a recovery",
                ),
                Check::new(
                    "upset.height",
                    "Height at the end, most off",
                    largest(flown, end_s - 1.0, end_s, |row| (row.height_m() - high_m).abs()),
                    "m",
                    Limit::at_most(1.0),
                    "the height asked for; the limit is our choice",
                ),
            ]
        }),
    }
}

const GUST_M_S: f64 = 8.0;
const GUST_AT_S: f64 = 2.0;
const GUST_RISE_S: f64 = 1.0;
const GUST_END_S: f64 = 6.0;

pub(super) fn gust(site: &Site<'_>) -> Maiden {
    let mut flight = site.flight("gust", 30.0, vec![leg("level", GUST_END_S, Vertical::Height(30.0), LEVEL)]);
    flight.world.gusts =
        vec![Gust { at_s: GUST_AT_S, velocity_m_s: [0.0, GUST_M_S, 0.0], rise_s: GUST_RISE_S, hold_s: None }];
    let (drag, aligned) = (Gathering::held(site, 0.0, 1, 0.0), site.aligned());
    let gravity_m_s2 = site.world.gravity_m_s2;
    let push_m_s2 = gravity_m_s2 * aligned.push[1];
    let level = site.level_within(5.0, GUST_END_S);
    Maiden {
        id: "gust",
        title: "Gust from the side",
        asked: format!("Hold level while air at {GUST_M_S} m/s comes up from the left within a second, and stays."),
        flight,
        real: None,
        judge: Box::new(move |flown| {
            let pull_m_s2 = |row: &Row| gravity_m_s2 * row.euler_rad()[0].sin() + push_m_s2;
            let expected_m_s = drag.speed_over(flown.between(0.0, GUST_END_S), pull_m_s2, air_m_s);
            vec![
                Check::new(
                    "gust.tilt",
                    "Tilt, most off level",
                    largest(flown, 0.0, GUST_END_S, Row::tilt_rad).to_degrees(),
                    "deg",
                    level,
                    "our choice: five degrees beside the lean that alignment leaves",
                ),
                Check::new(
                    "gust.speed",
                    "Speed gathered with the air",
                    mean(flown, GUST_END_S - 0.1, GUST_END_S, |row| row.velocity_m_s[1]),
                    "m/s",
                    Limit::between(
                        expected_m_s - 0.1 * expected_m_s.abs() - 0.1,
                        expected_m_s + 0.1 * expected_m_s.abs() + 0.1,
                    ),
                    "drag of a 1 - cosine gust and the tilt flown: m dv/dt = m g sin(roll) + rho CdA (u - v)^2 / 2 + B (u - v)",
                ),
            ]
        }),
    }
}

/// The gust's own speed.
fn air_m_s(t_s: f64) -> f64 {
    let phase = ((t_s - GUST_AT_S) / GUST_RISE_S).clamp(0.0, 1.0);
    0.5 * GUST_M_S * (1.0 - (std::f64::consts::PI * phase).cos())
}

const SAGS_AT_S: f64 = 3.0;
const SAGGED_END_S: f64 = 12.0;

/// Thrust with torques balanced, under its own load, after the sudden fall and near empty, whichever leaves less.
pub(in crate::preflight) fn thrust_left_n(craft: &Craft, world: &World) -> f64 {
    AvailableThrust::of(craft, world).map_or(0.0, |available| available.least_of_most_n(&Feed::low(craft)))
}

pub(super) fn battery_low(site: &Site<'_>) -> Maiden {
    let hover = leg("hover", SAGGED_END_S, Vertical::Height(HOVER_M), LEVEL);
    let mut flight = site.flight("battery near empty", HOVER_M, vec![hover]);
    let sags = FaultKind::BatteryCollapse { voltage_share: SUDDEN_VOLTAGE_SHARE };
    flight.faults = vec![Fault { at_s: SAGS_AT_S, kind: sags }];
    let left = thrust_left_n(site.craft, site.world) / site.weight_n();
    let (lost_m, source) = lost_at_a_sag(site.craft);
    Maiden {
        id: "battery-low",
        title: "Battery near empty",
        asked: format!("Hold {HOVER_M} m while the voltage falls to {:.0} % at once.", 100.0 * SUDDEN_VOLTAGE_SHARE),
        flight,
        real: None,
        judge: Box::new(move |flown| {
            vec![
                Check::new(
                    "battery-low.left",
                    "Thrust to weight that is left, torques balanced",
                    left,
                    "",
                    Limit::at_least(ENOUGH_THRUST_LEFT_TO_WEIGHT),
                    "thrust goes with the square of the voltage under its own load; the limit is our choice",
                ),
                Check::new(
                    "battery-low.height",
                    "Height, most off",
                    largest(flown, 0.0, SAGGED_END_S, |row| (row.height_m() - HOVER_M).abs()),
                    "m",
                    Limit::at_most(lost_m),
                    source,
                ),
            ]
        }),
    }
}

/// Height that a craft may lose while the voltage falls: where nothing on board tells the voltage, the pilot alone makes up for it.
fn lost_at_a_sag(craft: &Craft) -> (f64, &'static str) {
    match craft.sensors.voltage {
        Some(_) => (0.5, OUR_CHOICE),
        None => (1.0, "our choice: twice that of a craft whose thrust follows its voltage; the pilot makes up for it"),
    }
}

const LOST_AT_S: f64 = 2.0;

pub(super) fn link_loss(site: &Site<'_>) -> Maiden {
    let (speed_m_s, source) = descent(site);
    // Where nothing on board tells the voltage, a battery that has sagged carries less than the descent counts on.
    let unknown_voltage = site.craft.battery.is_some() && site.craft.sensors.voltage.is_none();
    let over = if unknown_voltage { 1.8 } else { 1.3 };
    let end_s = LOST_AT_S + HOVER_M / speed_m_s.min(1.0) + 8.0;
    let mut flight = site.flight("link loss", HOVER_M, vec![leg("hover", end_s, Vertical::Height(HOVER_M), LEVEL)]);
    flight.faults = vec![Fault { at_s: LOST_AT_S, kind: FaultKind::LinkLost { until_s: f64::INFINITY } }];
    let level = site.level_within(3.0, end_s);
    Maiden {
        id: "link-loss",
        title: "Loss of link",
        asked: format!("Hover at {HOVER_M} m; the link falls silent for good. Come down level, and stop the motors."),
        flight,
        real: None,
        judge: Box::new(move |flown| {
            let touch_down = |row: &Row| if row.height_m() < 0.2 { row.velocity_m_s[2] } else { 0.0 };
            vec![
                Check::new(
                    "link-loss.tilt",
                    "Tilt on the way down",
                    largest(flown, LOST_AT_S, end_s, Row::tilt_rad).to_degrees(),
                    "deg",
                    level,
                    "our choice: three degrees beside the lean that alignment leaves",
                ),
                Check::new(
                    "link-loss.touch-down",
                    "Descent in the last 0.2 m",
                    largest(flown, LOST_AT_S, end_s, touch_down),
                    "m/s",
                    Limit::at_most(over * speed_m_s),
                    source,
                ),
                Check::new(
                    "link-loss.motors",
                    "Command at the end",
                    largest(flown, end_s - 0.5, end_s, |row| row.command.iter().copied().fold(0.0, f64::max)),
                    "",
                    Limit::at_most(0.0),
                    "the supervisor's table of states: touched down, disarmed",
                ),
            ]
        }),
    }
}

/// Speed of a descent without a pilot, and where it is from.
fn descent(site: &Site<'_>) -> (f64, &'static str) {
    if site.craft.sensors.climb.is_some() {
        return (
            DescentConfig::default().speed_m_s,
            "the descent's own speed; three tenths over it are our choice, eight where nothing tells the voltage",
        );
    }
    let missing_n = (1.0 - site.onboard.computer_config.supervisor.descent_thrust_share) * site.weight_n();
    let falling_m_s = (2.0 * missing_n * HOVER_M / site.craft.body.mass_kg).sqrt();
    let drag = 0.5 * site.world.air_density_kg_m3 * site.craft.body.drag_area_m2[2];
    (falling_m_s.min((missing_n / drag).sqrt()), "weight less thrust, over the height, against drag")
}
