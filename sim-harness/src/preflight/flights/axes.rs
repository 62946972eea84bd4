//! One axis at a time: yaw, pitch, roll.
//!
//! Practice says which rotors speed up, and that pitch and roll leave total thrust and the sum of
//! reaction torques as they were. The thrust demand is held at the weight throughout, so that nothing
//! else moves the rotors. The sums are those of the thrusts commanded: while the speeds are still on
//! their way, thrust, which goes with speed squared, does not add up.

use evenkeel_mixer::ThrustCurve;

use super::{LEVEL, Maiden, Site, angles, largest, leg, mean, settled};
use crate::craft::{Craft, Rotor};
use crate::gathering::Gathering;
use crate::onboard::{MAX_CURVE_POINTS, thrust_curve};
use crate::recording::{Recording, Row};
use crate::script::{Flight, Lateral, Vertical};
use crate::verdict::{Check, Limit};

const HEIGHT_M: f64 = 30.0;
/// Tilt of the step, unless the craft's own limit is lower.
const TILT_RAD: f64 = 5.0 * std::f64::consts::PI / 180.0;
const YAW_RATE_RAD_S: f64 = 30.0 * std::f64::consts::PI / 180.0;
/// When the step comes, and when it ends.
const STEP_S: f64 = 1.0;
const BACK_S: f64 = 4.0;
const END_S: f64 = 6.0;
/// Rotors are watched this long after the step has reached them, in rotor lags, and at least this many rows.
const WATCHED_LAGS: f64 = 1.5;
const WATCHED_ROWS: f64 = 3.0;
/// A change of thrust below this share of the hover thrust of a rotor is none.
const CHANGE_SHARE_MIN: f64 = 1.0e-4;
/// Rows are this close together, in rotor lags, within these bounds.
const ROW_LAGS: f64 = 0.2;
const ROW_S: (f64, f64) = (0.001, 0.02);
/// Single precision, and a command rounded to it.
const SUM_SHARE_MAX: f64 = 0.001;

const PRACTICE: &str = "common practice";

pub(super) fn pitch(site: &Site<'_>) -> Maiden {
    let tilt_rad = site.tilt_rad(TILT_RAD);
    let asked = format!("Nose down {:.0} degrees for three seconds, then level.", tilt_rad.to_degrees());
    tilt(
        site,
        "pitch",
        "Pitch",
        asked,
        angles(0.0, -tilt_rad, 0.0),
        Tilt {
            // Nose down: the rear pushes harder.
            side: |rotor, center| center[0] - rotor.position_m[0],
            angle: |row| -row.euler_rad()[1],
            gathered: |row| row.velocity_m_s[0],
            towards: "north",
            axis: 0,
        },
    )
}

pub(super) fn roll(site: &Site<'_>) -> Maiden {
    let tilt_rad = site.tilt_rad(TILT_RAD);
    let asked = format!("Right side down {:.0} degrees for three seconds, then level.", tilt_rad.to_degrees());
    tilt(
        site,
        "roll",
        "Roll",
        asked,
        angles(tilt_rad, 0.0, 0.0),
        Tilt {
            // Right side down: the left pushes harder.
            side: |rotor, center| center[1] - rotor.position_m[1],
            angle: |row| row.euler_rad()[0],
            gathered: |row| row.velocity_m_s[1],
            towards: "east",
            axis: 1,
        },
    )
}

#[derive(Clone, Copy)]
struct Tilt {
    /// Above zero for rotors that should speed up.
    side: fn(&Rotor, [f64; 3]) -> f64,
    /// The angle that follows the step.
    angle: fn(&Row) -> f64,
    /// The speed the tilt gathers.
    gathered: fn(&Row) -> f64,
    towards: &'static str,
    /// Body axis along which it goes: x 0, y 1.
    axis: usize,
}

fn tilt(site: &Site<'_>, id: &'static str, title: &'static str, asked: String, step: Lateral, tilt: Tilt) -> Maiden {
    let weight = Vertical::Thrust(site.weight_n());
    let legs = vec![
        leg("level", STEP_S, weight, LEVEL),
        leg("tilted", BACK_S, weight, step),
        leg("level again", END_S, weight, LEVEL),
    ];
    let rotors = Rotors::of(site.craft, tilt.side);
    let tilt_rad = site.tilt_rad(TILT_RAD);
    // Weight held by thrust along the tilted axis, drag against it.
    let gathering = Gathering::held(site, tilt_rad, tilt.axis, 0.0);
    let expected_m_s = gathering.speed_m_s(BACK_S - 0.25 - STEP_S) - gathering.speed_m_s(2.25 - STEP_S);
    Maiden {
        id,
        title,
        asked,
        flight: Flight { log_period_s: row_s(site.craft), ..site.flight(id, HEIGHT_M, legs) },
        real: None,
        judge: Box::new(move |flown| {
            let gained = mean(flown, BACK_S - 0.5, BACK_S, tilt.gathered) - mean(flown, 2.0, 2.5, tilt.gathered);
            let mut checks = rotors.sense(id, flown);
            checks.extend(rotors.sums(id, flown));
            checks.push(settled(id, flown, END_S - 0.3, END_S));
            checks.extend([
                check(
                    id,
                    "angle",
                    "Angle held",
                    mean(flown, BACK_S - 1.0, BACK_S, tilt.angle).to_degrees(),
                    "deg",
                    Limit::between(0.95 * tilt_rad.to_degrees(), 1.05 * tilt_rad.to_degrees()),
                    "the angle asked for",
                ),
                check(
                    id,
                    "overshoot",
                    "Overshoot",
                    100.0 * (largest(flown, STEP_S, BACK_S, tilt.angle) / tilt_rad - 1.0),
                    "%",
                    Limit::at_most(15.0),
                    "second-order step at damping 0.52 or more",
                ),
                check(
                    id,
                    "gathers",
                    &format!("Speed gathered {} / expected", tilt.towards),
                    gained / expected_m_s,
                    "",
                    Limit::between(0.9, 1.1),
                    "force balance: g sin(tilt) against drag",
                ),
            ]);
            checks
        }),
    }
}

pub(super) fn yaw(site: &Site<'_>) -> Maiden {
    let weight = Vertical::Thrust(site.weight_n());
    let [_, _, fastest] = site.onboard.config.angle.rate_max_rad_s;
    let rate = YAW_RATE_RAD_S.min(0.5 * fastest);
    let legs = vec![
        leg("level", STEP_S, weight, LEVEL),
        leg("turning", BACK_S, weight, angles(0.0, 0.0, rate)),
        leg("stopped", END_S, weight, LEVEL),
    ];
    let rotors = Rotors::of(site.craft, |rotor, _| rotor.nose_sense());
    Maiden {
        id: "yaw",
        title: "Yaw",
        asked: format!(
            "Turn the nose right at {:.0} degrees a second for three seconds, then stop.",
            rate.to_degrees()
        ),
        flight: Flight { log_period_s: row_s(site.craft), ..site.flight("yaw", HEIGHT_M, legs) },
        real: None,
        judge: Box::new(move |flown| {
            let mut checks = rotors.sense("yaw", flown);
            checks.push(rotors.thrust_kept("yaw", flown));
            checks.push(settled("yaw", flown, END_S - 0.3, END_S));
            checks.extend([
                check(
                    "yaw",
                    "rate",
                    "Turn held / turn asked for",
                    mean(flown, BACK_S - 1.0, BACK_S, |row| row.rate_rad_s[2]) / rate,
                    "",
                    Limit::between(0.95, 1.05),
                    "the rate asked for",
                ),
                check(
                    "yaw",
                    "tilt",
                    "Tilt on the way",
                    largest(flown, STEP_S, END_S, Row::tilt_rad).to_degrees(),
                    "deg",
                    Limit::at_most(2.0),
                    "yaw leaves roll and pitch alone",
                ),
                check(
                    "yaw",
                    "stops",
                    "Turn left over at the end / turn asked for",
                    largest(flown, END_S - 0.2, END_S, |row| row.rate_rad_s[2].abs()) / rate,
                    "",
                    Limit::at_most(0.1),
                    "our choice",
                ),
            ]);
            checks
        }),
    }
}

fn check(flight: &str, what: &str, title: &str, value: f64, unit: &'static str, limit: Limit, source: &str) -> Check {
    Check::new(&format!("{flight}.{what}"), title, value, unit, limit, source)
}

/// Time between rows, close enough to see the rotors move.
fn row_s(craft: &Craft) -> f64 {
    (ROW_LAGS * craft.slowest_lag_s()).clamp(ROW_S.0, ROW_S.1)
}

/// What the rotors should do.
#[derive(Clone)]
struct Rotors {
    /// Above zero: should speed up; below: should slow; zero: either.
    side: Vec<f64>,
    /// Reaction torque per thrust, nose right positive.
    reaction_m: Vec<f64>,
    curves: Vec<ThrustCurve<f64, MAX_CURVE_POINTS>>,
    /// Some rotor does not push straight up.
    leaning: bool,
    /// When the step shows in the rotors: from, to.
    watched: (f64, f64),
}

impl Rotors {
    fn of(craft: &Craft, side: impl Fn(&Rotor, [f64; 3]) -> f64) -> Self {
        let sides: Vec<f64> = craft.rotors.iter().map(|rotor| side(rotor, craft.body.center_of_mass_m)).collect();
        let widest = sides.iter().map(|side| side.abs()).fold(0.0, f64::max);
        Rotors {
            side: sides.into_iter().map(|side| if side.abs() < 1.0e-3 * widest { 0.0 } else { side }).collect(),
            reaction_m: craft.rotors.iter().map(Rotor::reaction_m).collect(),
            curves: craft.rotors.iter().filter_map(|rotor| thrust_curve(rotor).ok()).collect(),
            leaning: !craft.is_upright(),
            watched: {
                let from_s = STEP_S + craft.loops.extra_delay_s + ROW_S.0;
                (from_s, from_s + (WATCHED_LAGS * craft.slowest_lag_s()).max(WATCHED_ROWS * row_s(craft)))
            },
        }
    }

    /// Rotors that went the other way, judged by their mean thrust just after the step.
    fn sense(&self, id: &str, flown: &Recording) -> Vec<Check> {
        let change = |rotor: usize| {
            let thrust = |row: &Row| row.rotor_n.get(rotor).copied().unwrap_or(f64::NAN);
            let before_n = mean(flown, 0.5, STEP_S - 0.01, thrust);
            mean(flown, self.watched.0, self.watched.1, thrust) / before_n - 1.0
        };
        let answers = |rotor: usize, side: f64| side == 0.0 || change(rotor) * side.signum() > CHANGE_SHARE_MIN;
        let wrong = self.side.iter().enumerate().filter(|(rotor, side)| !answers(*rotor, **side)).count();
        let title = "Rotors that did not go the way they should";
        vec![check(id, "senses", title, wrong as f64, "", Limit::at_most(0.0), PRACTICE)]
    }

    fn thrust_kept(&self, id: &str, flown: &Recording) -> Check {
        let total = |row: &Row| self.commanded_n(row).sum::<f64>();
        let before = mean(flown, 0.5, STEP_S - 0.01, total);
        let moved = largest(flown, STEP_S, END_S, |row| (total(row) / before - 1.0).abs());
        let title = "Total thrust commanded, most off";
        check(id, "thrust", title, 100.0 * moved, "%", Limit::at_most(100.0 * SUM_SHARE_MAX), PRACTICE)
    }

    /// Total thrust and the sum of reaction torques stay as they were. A body whose inertia couples the
    /// axes needs some yaw torque to roll or pitch cleanly: that much is taken off.
    fn sums(&self, id: &str, flown: &Recording) -> Vec<Check> {
        let mut checks = vec![self.thrust_kept(id, flown)];
        if self.leaning {
            // Leaning rotors turn the craft with their thrust too.
            return checks;
        }
        let torque = |row: &Row| {
            let reaction = self.reaction_m.iter().zip(self.commanded_n(row)).map(|(k, n)| k * n).sum::<f64>();
            reaction - row.demand.yaw_nm
        };
        let size = |row: &Row| self.reaction_m.iter().zip(self.commanded_n(row)).map(|(k, n)| k.abs() * n).sum::<f64>();
        let before = mean(flown, 0.5, STEP_S - 0.01, torque);
        let all = mean(flown, 0.5, STEP_S - 0.01, size);
        let moved = largest(flown, STEP_S, END_S, |row| (torque(row) - before).abs()) / all;
        let title = "Sum of reaction torques commanded, most off";
        checks.push(check(id, "reaction", title, 100.0 * moved, "%", Limit::at_most(100.0 * SUM_SHARE_MAX), PRACTICE));
        checks
    }

    /// Steady thrust of each rotor at its command.
    fn commanded_n<'a>(&'a self, row: &'a Row) -> impl Iterator<Item = f64> + 'a {
        self.curves.iter().zip(&row.command).map(|(curve, command)| curve.thrust_n(*command))
    }
}
