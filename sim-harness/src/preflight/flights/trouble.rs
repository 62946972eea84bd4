//! When something is not as it should be: an upset, a gust, a battery near empty, a lost link, a demand that cannot be met.

use evenkeel_controller::{DescentConfig, State};
use evenkeel_mixer::Axis;

use super::{LEVEL, Maiden, Site, angles, largest, leg, mean};
use crate::available_thrust::{AvailableThrust, Feed, SUDDEN_VOLTAGE_SHARE};
use crate::craft::Craft;
use crate::enough::ENOUGH_THRUST_LEFT_TO_WEIGHT;
use crate::gathering::Gathering;
use crate::recording::{Recording, Row};
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

const ASKS_AT_S: f64 = 1.0;
const LETS_GO_S: f64 = 2.0;
const OVER_S: f64 = 6.0;
/// Torques below this share of the largest asked for have no direction worth the name.
const TORQUE_SHARE_MIN: f64 = 0.02;
/// Of the turn that is left when the rotors answer again: rotors that slow down turn the craft by the momentum they lose.
const HEADING_LEFT_RAD: f64 = 8.0 * std::f64::consts::PI / 180.0;

pub(super) fn out_of_reach(site: &Site<'_>) -> Maiden {
    let ceiling_n: f64 = site.craft.rotors.iter().map(|rotor| -rotor.axis[2] * rotor.thrust_max_n).sum();
    let tilt_rad = site.tilt_rad(15.0_f64.to_radians());
    let everything = leg("all at once", LETS_GO_S, Vertical::Thrust(ceiling_n), angles(tilt_rad, -tilt_rad, 0.5));
    let legs = vec![
        leg("hover", ASKS_AT_S, Vertical::Height(HIGH_M), LEVEL),
        everything,
        leg("level", OVER_S, Vertical::Climb(0.0), LEVEL),
    ];
    let first = site.craft.saturation.priority.first();
    let together =
        first.is_some_and(|tier| tier.len() == 2 && tier.contains(&Axis::Roll) && tier.contains(&Axis::Pitch));
    let keeps_yaw_sign = site.craft.saturation.keep_yaw_sign;
    let level = site.level_within(2.0, OVER_S);
    let stopping = YawStop::of(site);
    Maiden {
        id: "out-of-reach",
        title: "A demand that cannot be met",
        asked: "All the thrust there is, with roll, pitch and yaw on top for a second; then level.".into(),
        flight: crate::script::Flight { log_period_s: 0.005, ..site.flight("out of reach", HIGH_M, legs) },
        real: None,
        judge: Box::new(move |flown| {
            let mut checks = vec![
                Check::new(
                    "out-of-reach.short",
                    "Share of thrust or torque given up",
                    largest(flown, ASKS_AT_S, LETS_GO_S, |row| short_share(row, ceiling_n)),
                    "",
                    Limit::at_least(1.0e-3),
                    "no rotor can push more and less than its ceiling at once",
                ),
                Check::new(
                    "out-of-reach.level",
                    "Tilt once it is over",
                    largest(flown, OVER_S - 0.5, OVER_S, Row::tilt_rad).to_degrees(),
                    "deg",
                    level,
                    "the attitude asked for, and the lean that alignment leaves; two degrees more are our choice",
                ),
                stopping.check(flown),
            ];
            if together {
                checks.push(Check::new(
                    "out-of-reach.direction",
                    "Roll and pitch torque, most off the direction asked for",
                    bent_rad(flown).to_degrees(),
                    "deg",
                    Limit::at_most(0.5),
                    "the mixer's first tier keeps the direction",
                ));
            }
            if keeps_yaw_sign {
                let reversed = |row: &Row| -(row.demand.yaw_nm.signum() * row.achieved.yaw_nm);
                let largest_nm = largest(flown, ASKS_AT_S, LETS_GO_S, |row| row.demand.yaw_nm.abs());
                checks.push(Check::new(
                    "out-of-reach.yaw",
                    "Yaw torque against its demand / largest asked for",
                    largest(flown, ASKS_AT_S, LETS_GO_S, reversed).max(0.0) / largest_nm,
                    "",
                    Limit::at_most(1.0e-3),
                    "saturation.keep_yaw_sign",
                ));
            }
            checks
        }),
    }
}

/// How a turn of the nose is stopped.
struct YawStop {
    acceleration_rad_s2: f64,
    inertia_kg_m2: f64,
    lag_s: f64,
}

impl YawStop {
    fn of(site: &Site<'_>) -> Self {
        let [_, _, acceleration_rad_s2] = site.onboard.authority.acceleration_rad_s2;
        YawStop {
            acceleration_rad_s2,
            inertia_kg_m2: site.craft.body.inertia_kg_m2[2][2],
            lag_s: site.craft.slowest_lag_s(),
        }
    }

    /// The check that no turn is left over from a demand that was cut.
    fn check(&self, flown: &Recording) -> Check {
        let turns = turns_rad(flown);
        let at_release = |(at_s, _): &&(f64, f64)| *at_s <= LETS_GO_S;
        let farthest_rad = turns.iter().filter(at_release).map(|(_, turn)| *turn).fold(0.0, f64::max);
        let rate_rad_s = flown.between(ASKS_AT_S, LETS_GO_S).last().map_or(f64::NAN, |row| row.rate_rad_s[2].abs());
        // Back towards where it was asked to be is no fault: what turned it while yaw was cut is made up for.
        let beyond_rad = turns.iter().filter(|row| !at_release(row)).map(|(_, turn)| turn - farthest_rad);
        let most_rad = beyond_rad.fold(0.0, |most: f64, turn| if turn > most || turn.is_nan() { turn } else { most });
        let stop_rad = self.stop_rad(flown, rate_rad_s) + 2.0 * self.lag_s * rate_rad_s;
        Check::new(
            "out-of-reach.heading",
            "Turn on after the sticks let go",
            most_rad.to_degrees(),
            "deg",
            Limit::at_most((stop_rad + HEADING_LEFT_RAD).to_degrees()),
            "stopping the turn with half the yaw torque, or with all that is left where yaw is cut; 8 degrees more are our choice",
        )
        .or_else(|| self.mend())
    }

    /// How far the nose turns on from `rate_rad_s` when it is stopped with half the yaw torque. Where the craft asks against the
    /// turn and is not given all of it, because roll, pitch or thrust come first, with what it is given.
    fn stop_rad(&self, flown: &Recording, rate_rad_s: f64) -> f64 {
        let mut left_rad_s = rate_rad_s;
        let mut stop_rad = 0.0;
        let mut last_s = LETS_GO_S;
        for row in flown.between(LETS_GO_S, OVER_S) {
            let (asked_nm, given_nm) = (row.demand.yaw_nm, row.achieved.yaw_nm);
            let against = asked_nm * row.rate_rad_s[2] < 0.0;
            let cut = against && given_nm.abs() < 0.98 * asked_nm.abs();
            let half_rad_s2 = 0.5 * self.acceleration_rad_s2;
            let brake_rad_s2 = if cut { half_rad_s2.min(given_nm.abs() / self.inertia_kg_m2) } else { half_rad_s2 };
            let step_s = row.t_s - last_s;
            last_s = row.t_s;
            stop_rad += left_rad_s * step_s;
            left_rad_s = (left_rad_s - brake_rad_s2 * step_s).max(0.0);
        }
        stop_rad
    }

    fn mend(&self) -> String {
        format!(
            "The nose is stopped with {:.1} rad/s² of yaw: compare rotors.torque_per_thrust_m and body.inertia_kg_m2 about z with the \
             craft, and leave [gains] out for yaw.",
            self.acceleration_rad_s2
        )
    }
}

/// Time and heading of each row from the demand on, the turns added up; from where the nose was then.
fn turns_rad(flown: &Recording) -> Vec<(f64, f64)> {
    let mut last: Option<(f64, f64)> = None;
    let turn = |row: &Row| {
        let [_, _, yaw_rad] = row.euler_rad();
        let turned_rad = last.map_or(0.0, |(before_rad, sum_rad)| {
            sum_rad + (yaw_rad - before_rad).sin().atan2((yaw_rad - before_rad).cos())
        });
        last = Some((yaw_rad, turned_rad));
        (row.t_s, turned_rad)
    };
    flown.between(ASKS_AT_S, OVER_S).map(turn).collect()
}

/// Of all the thrust there is, or of the torque asked for, whichever is more.
fn short_share(row: &Row, ceiling_n: f64) -> f64 {
    let (asked, given) = (row.demand.to_array(), row.achieved.to_array());
    let short = |axis: usize| (asked[axis] - given[axis]).abs();
    let torque_nm: f64 = (1..4).map(|axis| asked[axis].abs()).sum();
    let torque_share = if torque_nm > 0.0 { (1..4).map(short).sum::<f64>() / torque_nm } else { 0.0 };
    torque_share.max(short(0) / ceiling_n)
}

/// Largest angle between the roll and pitch torque asked for and that given.
fn bent_rad(flown: &Recording) -> f64 {
    let size = |row: &Row| row.demand.roll_nm.hypot(row.demand.pitch_nm);
    let least_nm = TORQUE_SHARE_MIN * largest(flown, ASKS_AT_S, LETS_GO_S, size);
    largest(flown, ASKS_AT_S, LETS_GO_S, |row| {
        let ([a, b], [c, d]) =
            ([row.demand.roll_nm, row.demand.pitch_nm], [row.achieved.roll_nm, row.achieved.pitch_nm]);
        if size(row) < least_nm || c.hypot(d) < least_nm { 0.0 } else { (a * d - b * c).atan2(a * c + b * d).abs() }
    })
}
