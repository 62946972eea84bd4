//! One axis at a time: yaw, pitch, roll.
//!
//! Effectiveness and inertia say which rotors speed up, and by how much beside each other. Practice says that pitch and roll
//! leave total thrust and the sum of reaction torques as they were, but for the yaw torque that a body whose inertia couples
//! the axes needs. The thrust demand is held at the weight throughout, so that nothing else moves the rotors. The sums are those
//! of the thrusts commanded: while the speeds are still on their way, thrust, which goes with speed squared, does not add up.

use evenkeel_mixer::ThrustCurve;

use super::{LEVEL, Maiden, Site, angles, largest, leg, mean, settled};
use crate::craft::Craft;
use crate::gathering::Gathering;
use crate::onboard::{MAX_CURVE_POINTS, thrust_curve};
use crate::preflight::effectiveness::{effectiveness, torque_nm};
use crate::preflight::rotor_response::{RotorResponse, explained_by};
use crate::recording::{Recording, Row};
use crate::script::{Flight, Lateral, Vertical};
use crate::verdict::{Check, Limit};

const HEIGHT_M: f64 = 30.0;
/// Tilt of the step, unless the craft's own limit is lower.
const TILT_RAD: f64 = 5.0 * std::f64::consts::PI / 180.0;
const YAW_RATE_RAD_S: f64 = 30.0 * std::f64::consts::PI / 180.0;
/// When the step comes.
const STEP_S: f64 = 1.0;
/// A step is held this long, and has this long to go back, at least.
const HELD_S: f64 = 3.0;
const GOES_BACK_S: f64 = 2.0;
/// Time constants after which less than a hundredth of a step is left.
const SETTLING: f64 = 5.0;
/// The steady part at the end of the step.
const JUDGED_S: f64 = 1.0;

/// When the step ends, and the flight: a large craft is slower.
#[derive(Clone, Copy, Debug)]
struct Times {
    back_s: f64,
    end_s: f64,
}

impl Times {
    /// About one axis (roll 0, pitch 1, yaw 2), for a step that takes `ramp_s` at the limits of the shaping.
    fn of(site: &Site<'_>, axis: usize, ramp_s: f64) -> Self {
        let config = &site.onboard.config;
        let rest = |gain_per_s: Option<f64>| SETTLING / gain_per_s.unwrap_or(f64::NAN);
        let angle_s = rest(config.angle.gain_per_s.get(axis).copied());
        let rate_s = rest(config.rate.get(axis).map(|rate| rate.p_per_s));
        let settles_s = ramp_s + angle_s.max(rate_s).max(SETTLING * site.craft.slowest_lag_s());
        let back_s = STEP_S + HELD_S.max(settles_s + JUDGED_S);
        Times { back_s, end_s: back_s + GOES_BACK_S.max(settles_s) }
    }
}
/// The rotors' commands are watched this long after the step, in rotor lags, and at least this many rows.
const WATCHED_LAGS: f64 = 1.5;
const WATCHED_ROWS: f64 = 3.0;
/// Rows are this close together, in rotor lags, within these bounds.
const ROW_LAGS: f64 = 0.05;
const ROW_S: (f64, f64) = (0.001, 0.005);
/// Single precision, and a command rounded to it.
const SUM_SHARE_MAX: f64 = 0.001;

const PRACTICE: &str = "common practice";
const PREDICTED: &str = "least squares of effectiveness and inertia, sign and size";
const REACTION: &str = "sum of the rotors' torques about yaw; common practice: pitch and roll leave it alone";

pub(super) fn pitch(site: &Site<'_>) -> Maiden {
    let tilt_rad = site.tilt_rad(TILT_RAD);
    let asked = format!("Nose down {:.0} degrees, hold it, then level.", tilt_rad.to_degrees());
    tilt(
        site,
        "pitch",
        "Pitch",
        asked,
        angles(0.0, -tilt_rad, 0.0),
        Tilt {
            turns: (1, -1.0),
            angle: |row| -row.euler_rad()[1],
            angle_of: |[_, pitch]| -pitch,
            gathered: |row| row.velocity_m_s[0],
            towards: "north",
            axis: 0,
        },
    )
}

pub(super) fn roll(site: &Site<'_>) -> Maiden {
    let tilt_rad = site.tilt_rad(TILT_RAD);
    let asked = format!("Right side down {:.0} degrees, hold it, then level.", tilt_rad.to_degrees());
    tilt(
        site,
        "roll",
        "Roll",
        asked,
        angles(tilt_rad, 0.0, 0.0),
        Tilt {
            turns: (0, 1.0),
            angle: |row| row.euler_rad()[0],
            angle_of: |[roll, _]| roll,
            gathered: |row| row.velocity_m_s[1],
            towards: "east",
            axis: 1,
        },
    )
}

#[derive(Clone, Copy)]
struct Tilt {
    /// The axis turned about (roll 0, pitch 1), and to which side.
    turns: (usize, f64),
    /// The angle that follows the step.
    angle: fn(&Row) -> f64,
    /// The same angle of a lean in roll and pitch.
    angle_of: fn([f64; 2]) -> f64,
    /// The speed the tilt gathers.
    gathered: fn(&Row) -> f64,
    towards: &'static str,
    /// Body axis along which it goes: x 0, y 1.
    axis: usize,
}

fn tilt(site: &Site<'_>, id: &'static str, title: &'static str, asked: String, step: Lateral, tilt: Tilt) -> Maiden {
    let weight = Vertical::Thrust(site.weight_n());
    let tilt_rad = site.tilt_rad(TILT_RAD);
    let (about, _) = tilt.turns;
    let slews = site.onboard.config.reference.tilt.get(about);
    let Times { back_s, end_s } = Times::of(site, about, slews.map_or(f64::NAN, |slew| tilt_rad / slew.slew_max));
    let legs = vec![
        leg("level", STEP_S, weight, LEVEL),
        leg("tilted", back_s, weight, step),
        leg("level again", end_s, weight, LEVEL),
    ];
    let (rotors, swing_max) = (Rotors::of(site.craft, tilt.turns, end_s), site.swing_max());
    let height_m = site.height_for(HEIGHT_M, end_s);
    // Weight held by thrust along the tilted axis, drag against it.
    let gathering = Gathering::held(site, tilt_rad, tilt.axis, 0.0);
    let (aligned, gravity_m_s2) = (site.aligned(), site.world.gravity_m_s2);
    let push_m_s2 = gravity_m_s2 * aligned.push.get(tilt.axis).copied().unwrap_or(f64::NAN);
    let lean_rad = (tilt.angle_of)(aligned.lean_rad);
    let rotors_n = site.hover_rotors_n();
    let off_rad = aligned.tilt_off_rad(end_s);
    Maiden {
        id,
        title,
        asked,
        flight: Flight { log_period_s: row_s(site.craft), ..site.flight(id, height_m, legs) },
        real: None,
        judge: Box::new(move |flown| {
            // A craft that cannot tell its voltage gives less than it is asked for.
            let given = |row: &Row| row.rotor_n.iter().sum::<f64>() / rotors_n;
            let pull_m_s2 = |row: &Row| given(row) * gravity_m_s2 * (tilt.angle)(row).sin() + push_m_s2;
            let expected_m_s = gathering.speed_over(flown.between(0.0, back_s), pull_m_s2, |_| 0.0);
            let mut checks = rotors.sense(id, flown);
            checks.extend(rotors.sums(id, flown));
            checks.push(settled(id, flown, end_s - 0.3, end_s, swing_max));
            checks.extend([
                check(
                    id,
                    "angle",
                    "Angle held",
                    mean(flown, back_s - JUDGED_S, back_s, tilt.angle).to_degrees(),
                    "deg",
                    Limit::between(
                        (0.95 * tilt_rad + lean_rad - off_rad).to_degrees(),
                        (1.05 * tilt_rad + lean_rad + off_rad).to_degrees(),
                    ),
                    "the angle asked for, and the lean that alignment leaves",
                ),
                check(
                    id,
                    "overshoot",
                    "Overshoot",
                    100.0 * ((largest(flown, STEP_S, back_s, tilt.angle) - lean_rad) / tilt_rad - 1.0),
                    "%",
                    Limit::at_most(15.0 + 100.0 * off_rad / tilt_rad),
                    "second-order step at damping 0.52 or more",
                ),
                check(
                    id,
                    "gathers",
                    &format!("Speed gathered {} / expected", tilt.towards),
                    mean(flown, back_s - ROW_S.1, back_s, tilt.gathered) / expected_m_s,
                    "",
                    Limit::between(0.9, 1.1),
                    "force balance: the thrust and tilt flown, against drag",
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
    let [.., slews] = site.onboard.config.reference.rate;
    let Times { back_s, end_s } = Times::of(site, 2, rate / slews.slew_max);
    let legs = vec![
        leg("level", STEP_S, weight, LEVEL),
        leg("turning", back_s, weight, angles(0.0, 0.0, rate)),
        leg("stopped", end_s, weight, LEVEL),
    ];
    let (rotors, swing_max) = (Rotors::of(site.craft, (2, 1.0), end_s), site.swing_max());
    let height_m = site.height_for(HEIGHT_M, end_s);
    let level = site.level_within(2.0, end_s);
    Maiden {
        id: "yaw",
        title: "Yaw",
        asked: format!("Turn the nose right at {:.0} degrees a second, hold it, then stop.", rate.to_degrees()),
        flight: Flight { log_period_s: row_s(site.craft), ..site.flight("yaw", height_m, legs) },
        real: None,
        judge: Box::new(move |flown| {
            let mut checks = rotors.sense("yaw", flown);
            checks.push(rotors.thrust_kept("yaw", flown));
            checks.push(settled("yaw", flown, end_s - 0.3, end_s, swing_max));
            checks.extend([
                check(
                    "yaw",
                    "rate",
                    "Turn held / turn asked for",
                    mean(flown, back_s - JUDGED_S, back_s, |row| row.rate_rad_s[2]) / rate,
                    "",
                    Limit::between(0.95, 1.05),
                    "the rate asked for",
                ),
                check(
                    "yaw",
                    "tilt",
                    "Tilt on the way",
                    largest(flown, STEP_S, end_s, Row::tilt_rad).to_degrees(),
                    "deg",
                    level,
                    "yaw leaves roll and pitch alone; the lean that alignment leaves",
                ),
                check(
                    "yaw",
                    "stops",
                    "Turn left over at the end / turn asked for",
                    largest(flown, end_s - 0.2, end_s, |row| row.rate_rad_s[2].abs()) / rate,
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
    craft: Craft,
    turns: (usize, f64),
    end_s: f64,
    curves: Vec<ThrustCurve<f64, MAX_CURVE_POINTS>>,
    /// The step asks for most torque before this.
    watched_until_s: f64,
}

impl Rotors {
    fn of(craft: &Craft, turns: (usize, f64), end_s: f64) -> Self {
        Rotors {
            craft: craft.clone(),
            turns,
            end_s,
            curves: craft.rotors.iter().filter_map(|rotor| thrust_curve(rotor).ok()).collect(),
            watched_until_s: STEP_S + (WATCHED_LAGS * craft.slowest_lag_s()).max(WATCHED_ROWS * row_s(craft)),
        }
    }

    /// Rotors that did not answer as predicted, judged by what they are told when most torque is given about the axis: their thrusts
    /// are still on the way then. What is predicted is their share of all that is given, the work of the other axes included.
    fn sense(&self, id: &str, flown: &Recording) -> Vec<Check> {
        let (axis, sense) = self.turns;
        let torque_nm = torque_nm(&self.craft, axis);
        let given = |row: &Row| {
            let [_, roll_nm, pitch_nm, yaw_nm] = row.achieved.to_array();
            sense * [roll_nm, pitch_nm, yaw_nm].iter().zip(torque_nm).map(|(given, unit)| given * unit).sum::<f64>()
        };
        let rows = flown.between(STEP_S, self.watched_until_s);
        let most = rows.max_by(|one, other| given(one).total_cmp(&given(other)));
        // Nothing given the right way is no answer at all.
        let answer = most.filter(|row| given(row) > 0.0);
        let told_n = |rotor: usize, row: &Row| self.commanded_n(row).nth(rotor).unwrap_or(f64::NAN);
        let before = |value: &dyn Fn(&Row) -> f64| mean(flown, 0.5, STEP_S - 0.01, value);
        let change_n = |rotor: usize| {
            let before_n = before(&|row| told_n(rotor, row));
            answer.map_or(f64::NAN, |row| told_n(rotor, row) - before_n)
        };
        let change = |axis: usize| {
            let of = |row: &Row| row.achieved.to_array().get(axis).copied().unwrap_or(f64::NAN);
            answer.map_or(f64::NAN, |row| of(row) - before(&of))
        };
        let wrench = [0, 1, 2, 3].map(change);
        let seen_n: Vec<f64> = (0..self.craft.rotors.len()).map(change_n).collect();
        let at_a_limit = answer.is_some_and(|row| row.demand != row.achieved);
        let predicted = |craft: &Craft| RotorResponse::to_give(craft, wrench);
        let missed = |response: RotorResponse| response.missed_by(&seen_n, at_a_limit);
        let missed = predicted(&self.craft).map_or_else(|| (0..seen_n.len()).collect(), missed);
        let title = "Rotors that did not answer as predicted";
        let one = check(id, "senses", title, missed.len() as f64, "", Limit::at_most(0.0), PREDICTED).or_else(|| {
            let names = missed.iter().filter_map(|rotor| self.craft.rotors.get(*rotor)).map(|rotor| rotor.name.as_str());
            let names = names.collect::<Vec<_>>().join(", ");
            match explained_by(&self.craft, predicted, &seen_n, at_a_limit) {
                Some(why) => format!("{names}: {why}."),
                None => format!(
                    "{names}: the thrusts do not follow what effectiveness and inertia ask, and no two rotors swapped and no spin \
                     explain it. Look at the checks on saturation and settling first."
                ),
            }
        });
        vec![one]
    }

    /// Thrust commanded against thrust asked for: roll, pitch and yaw leave it alone.
    fn thrust_kept(&self, id: &str, flown: &Recording) -> Check {
        let off = |row: &Row| {
            let lift: f64 =
                self.craft.rotors.iter().zip(self.commanded_n(row)).map(|(rotor, n)| -rotor.axis[2] * n).sum();
            (lift / row.demand.thrust_n - 1.0).abs()
        };
        let most = 100.0 * largest(flown, STEP_S, self.end_s, off);
        let title = "Total thrust commanded, most off what is asked";
        check(id, "thrust", title, most, "%", Limit::at_most(100.0 * SUM_SHARE_MAX), PRACTICE)
    }

    /// The rotors' commands give the thrust asked for, and together the yaw torque that was asked for, no other.
    fn sums(&self, id: &str, flown: &Recording) -> Vec<Check> {
        let matrix = effectiveness(&self.craft);
        let off = |row: &Row| {
            let given_nm: f64 = matrix.row(3).iter().zip(self.commanded_n(row)).map(|(nm, n)| nm * n).sum();
            let all_nm: f64 = matrix.row(3).iter().zip(self.commanded_n(row)).map(|(nm, n)| (nm * n).abs()).sum();
            (given_nm - row.achieved.yaw_nm).abs() / all_nm
        };
        let moved = 100.0 * largest(flown, STEP_S, self.end_s, off);
        let title = "Yaw torque of the rotors, most off what is asked";
        let limit = Limit::at_most(100.0 * SUM_SHARE_MAX);
        vec![self.thrust_kept(id, flown), check(id, "reaction", title, moved, "%", limit, REACTION)]
    }

    /// Steady thrust of each rotor at its command and at the voltage that the flying code counts on.
    fn commanded_n<'a>(&'a self, row: &'a Row) -> impl Iterator<Item = f64> + 'a {
        let share = row.on_board.ceiling_share;
        self.curves.iter().zip(&row.command).map(move |(curve, command)| share * curve.thrust_n(*command))
    }
}
