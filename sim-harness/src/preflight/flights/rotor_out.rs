//! A rotor stops in hover: flown by crafts that can be held level without any one of theirs.
//!
//! * Math: the rotor's thrust f is missing for t, until it has been reported, believed and made up for by the others:
//!   t = report + belief + two periods + delay + rotor lag. Its torque turns the craft by α = J⁻¹·(r × f) meanwhile, and
//!   half of what the others have left, b, stops it: tilt ≤ ½·α·t² + (α·t)²/(2·b). It falls with v = f·t/m, which the
//!   script pilot takes out at 3 per second: height lost ≤ v·(t/2 + 1/3 s), or more where the thrust that is left
//!   above the weight, m·a, is less than that takes: v·t/2 + (v² − (a/3)²)/(2·a) + a/9
//! * Source: rigid body and momentum; the worst rotor is the one that leaves least torque to spare (G.-X. Du and
//!   others, JGCD 38(5), 2015, definition from memory)

use evenkeel_mixer::Wrench;

use super::{LEVEL, Maiden, Site, largest, leg, rest, touch_down};
use crate::available_thrust::{AvailableThrust, Feed};
use crate::craft::Craft;
use crate::enough::ENOUGH_THRUST_LEFT_TO_WEIGHT;
use crate::onboard::Unflyable;
use crate::recording::Row;
use crate::saturation::{SPINNING_NOT_TRIED, Stopped, stopped_rotors};
use crate::script::{Fault, FaultKind, Vertical, World};
use crate::verdict::{Check, Limit};

const HOVER_M: f64 = 5.0;
const STOPS_AT_S: f64 = 3.0;
const COMES_DOWN_FROM_S: f64 = 9.0;
/// Slowly: a craft without a rotor may have little thrust left to stop a descent with.
const DESCENT_M_S: f64 = 0.5;
/// From a metre above the ground as at any landing.
const LANDS_FROM_S: f64 = COMES_DOWN_FROM_S + (HOVER_M - 1.0) / DESCENT_M_S;
const END_S: f64 = 26.0;
const LOG_PERIOD_S: f64 = 0.005;
/// What the script pilot takes out of a wrong climb each second.
const PILOT_PER_S: f64 = 3.0;
/// Left for the pilot's own wandering, as in the hover, and for the moment in which the others level the craft first and
/// lift it after. Our choice; a craft that is told nothing loses half a metre and more.
const WANDER_M: f64 = 0.15;

/// Torque that must be left without any one rotor for the craft to be flown so: as on a near-empty battery.
const TILT_LEFT_MIN_RAD_S2: f64 = 2.5;
const YAW_LEFT_MIN_RAD_S2: f64 = 0.2;
/// However little is left to stop it with: thrust must still carry the craft.
const TILT_MAX_RAD: f64 = 45.0 * std::f64::consts::PI / 180.0;

/// What is to be expected of a craft that loses a rotor.
pub(in crate::preflight) enum Outlook {
    /// It is flown.
    Flown {
        /// The worst to lose, from 0.
        rotor: usize,
        left: Box<Stopped>,
        report_s: f64,
    },
    /// It is not, in words.
    NotFlown(String),
}

/// No craft is unfit for what this says: most have no rotor to spare.
///
/// # Errors
/// When the rotors cannot control the whole craft.
pub(in crate::preflight) fn outlook(craft: &Craft, weight_n: f64) -> Result<Outlook, Unflyable> {
    let stopped = stopped_rotors(craft, weight_n)?;
    let all = |holds: fn(&Stopped) -> bool| stopped.iter().all(holds);
    let words = if !all(|one| one.holds_level_without_yaw) {
        let which = match stopped.iter().filter(|one| !one.holds_level_without_yaw).count() {
            lost if lost == stopped.len() => "any one of them".to_owned(),
            lost => format!("{lost} of its {}", stopped.len()),
        };
        format!("cannot be held level without {which}; {SPINNING_NOT_TRIED}")
    } else if !all(|one| one.holds_level) {
        "without some of them level only while it spins, yaw is lost: not flown here".into()
    } else if !all(enough_left) {
        "can be held level without any one of them, with next to no torque to spare: not flown here".into()
    } else if !(least_thrust_left_n(craft)? >= ENOUGH_THRUST_LEFT_TO_WEIGHT * weight_n) {
        format!(
            "can be held level without any one of them, with less than {ENOUGH_THRUST_LEFT_TO_WEIGHT} weights of thrust: not flown here"
        )
    } else if let Some(report_s) = craft.sensors.rotor_report_s {
        let spare_nm = |one: &Stopped| one.margin_nm.unwrap_or(f64::NEG_INFINITY);
        let worst = stopped.into_iter().enumerate().min_by(|(_, a), (_, b)| spare_nm(a).total_cmp(&spare_nm(b)));
        match worst {
            Some((rotor, left)) => return Ok(Outlook::Flown { rotor, left: Box::new(left), report_s }),
            None => "it has none: nothing to fly".into(),
        }
    } else {
        "can be held level without any one of them, and nothing on board would report it: not flown here".into()
    };
    Ok(Outlook::NotFlown(words))
}

/// The most thrust with torques balanced, without the rotor that leaves the least.
fn least_thrust_left_n(craft: &Craft) -> Result<f64, Unflyable> {
    let world = World::default();
    let feed = Feed::as_charged(craft);
    let without = |rotor: usize| {
        let others = AvailableThrust::of(craft, &world)?.without_rotor(rotor);
        Ok(others.most(feed, 0.0).map_or(0.0, |load| load.thrust_n))
    };
    (0..craft.rotors.len()).try_fold(f64::INFINITY, |least: f64, rotor| Ok(least.min(without(rotor)?)))
}

fn enough_left(one: &Stopped) -> bool {
    one.axes.as_ref().is_some_and(|[roll, pitch, yaw]| {
        roll.weaker_rad_s2().min(pitch.weaker_rad_s2()) >= TILT_LEFT_MIN_RAD_S2
            && yaw.weaker_rad_s2() >= YAW_LEFT_MIN_RAD_S2
    })
}

/// What may be expected once this rotor has stopped.
struct Expected {
    given_up_s: Limit,
    tilt_rad: f64,
    lost_m: f64,
}

impl Expected {
    fn of(site: &Site<'_>, place: usize, left: &Stopped, report_s: f64) -> Option<Self> {
        let (craft, mixer) = (site.craft, &site.onboard.mixer);
        let hover = Wrench { thrust_n: site.weight_n() as f32, ..Wrench::default() };
        let thrust_n = f64::from(*mixer.allocate(hover).thrusts_n.get(place)?);
        let [lift, roll, pitch, _] = mixer.columns().nth(place)?.map(|value| thrust_n * f64::from(value));
        let turn_rad_s2 = (roll * craft.body.turn_per_torque(0)).hypot(pitch * craft.body.turn_per_torque(1));
        let period_s = 1.0 / craft.loops.rate_hz;
        let known_s = report_s + site.onboard.computer_config.rotor_reports.believe_s + 2.0 * period_s;
        let missing_s = known_s + craft.loops.extra_delay_s + craft.slowest_lag_s();
        let [roll, pitch, _] = left.axes.as_ref()?;
        let brake_rad_s2 = 0.5 * roll.weaker_rad_s2().min(pitch.weaker_rad_s2());
        let rate_rad_s = turn_rad_s2 * missing_s;
        // While the turn is stopped the others lift half of what they do in hover.
        let levels_s = rate_rad_s / brake_rad_s2;
        let fall_m_s = lift / craft.body.mass_kg * missing_s + 0.5 * site.world.gravity_m_s2 * levels_s;
        let whole = AvailableThrust::of(craft, site.world).ok()?;
        let others = AvailableThrust::of(craft, site.world).ok()?.without_rotor(place);
        let feed = Feed::as_charged(craft);
        let climbs_m_s2 = others.most(feed, 0.0)?.thrust_n / craft.body.mass_kg - site.world.gravity_m_s2;
        let sunk_m = if craft.battery.is_some() && craft.sensors.voltage.is_none() {
            // The others draw more; nothing on board knows, and the pilot makes up for the thrust that the sag takes.
            let [before, after] = [&whole, &others].map(|rotors| rotors.voltage_share_at(feed, 0.0, site.weight_n()));
            (1.0 - (after / before).powi(2)) * site.world.gravity_m_s2 / (PILOT_PER_S * PILOT_PER_S)
        } else {
            0.0
        };
        Some(Expected {
            given_up_s: Limit::between(report_s, known_s + LOG_PERIOD_S),
            tilt_rad: (0.5 * rate_rad_s * missing_s + rate_rad_s * rate_rad_s / (2.0 * brake_rad_s2)).min(TILT_MAX_RAD),
            lost_m: 0.5 * fall_m_s * (missing_s + levels_s) + stopping_m(fall_m_s, climbs_m_s2) + sunk_m + WANDER_M,
        })
    }
}

/// How far a craft falls on until the script pilot has taken its speed out: by what thrust is left above the weight, and
/// at last at the pilot's own rate.
fn stopping_m(fall_m_s: f64, climbs_m_s2: f64) -> f64 {
    let last_m_s = fall_m_s.min(climbs_m_s2 / PILOT_PER_S);
    (fall_m_s * fall_m_s - last_m_s * last_m_s) / (2.0 * climbs_m_s2) + last_m_s / PILOT_PER_S
}

pub(super) fn rotor_out(site: &Site<'_>) -> Option<Maiden> {
    let Outlook::Flown { rotor: place, left, report_s } = outlook(site.craft, site.weight_n()).ok()? else {
        return None;
    };
    let expected = Expected::of(site, place, &left, report_s)?;
    let softly_m_s = site.touch_down_max_m_s();
    let aligned = site.aligned();
    let lean_rad = aligned.lean_all_rad() + aligned.tilt_off_rad(COMES_DOWN_FROM_S);
    let level = site.level_within(1.0, COMES_DOWN_FROM_S);
    let legs = vec![
        leg("hover", COMES_DOWN_FROM_S, Vertical::Height(HOVER_M), LEVEL),
        leg("come down", LANDS_FROM_S, Vertical::Climb(-DESCENT_M_S), LEVEL),
        leg("land", END_S, Vertical::Height(0.0), LEVEL),
    ];
    let mut flight = site.flight("rotor out", HOVER_M, legs);
    flight.faults = vec![Fault { at_s: STOPS_AT_S, kind: FaultKind::RotorStopped(place) }];
    flight.log_period_s = LOG_PERIOD_S;
    Some(Maiden {
        id: "rotor-out",
        title: "A rotor stops",
        asked: format!(
            "Hover at {HOVER_M} m; {} stops, the worst to lose, and is reported {report_s} s later. Hold level, then come down at {DESCENT_M_S} m/s and land.",
            left.rotor
        ),
        flight,
        real: None,
        judge: Box::new(move |flown| {
            let after = |row: &&Row| row.t_s >= STOPS_AT_S;
            let given_up = flown.rows.iter().filter(after).find(|row| row.command.get(place) == Some(&0.0));
            vec![
                Check::new(
                    "rotor-out.given-up",
                    "From the stop until the others do its work",
                    given_up.map_or(f64::INFINITY, |row| row.t_s - STOPS_AT_S),
                    "s",
                    expected.given_up_s,
                    "sensors.rotors.report_s, and the time for which a report must hold",
                ),
                Check::new(
                    "rotor-out.tilt",
                    "Tilt, most off level",
                    largest(flown, STOPS_AT_S, COMES_DOWN_FROM_S, Row::tilt_rad).to_degrees(),
                    "deg",
                    Limit::at_most((expected.tilt_rad + lean_rad).to_degrees()),
                    "torque of the missing thrust until the others make up for it, then half of what they have left",
                )
                .or_else(|| "A shorter sensors.rotors.report_s, quicker rotors, or more of them.".into()),
                Check::new(
                    "rotor-out.height",
                    "Height lost",
                    largest(flown, STOPS_AT_S, COMES_DOWN_FROM_S, |row| HOVER_M - row.height_m()),
                    "m",
                    Limit::at_most(expected.lost_m),
                    "momentum of the missing thrust, and the sag where nothing senses it; 0.15 m more is our choice: the craft is levelled first",
                ),
                Check::new(
                    "rotor-out.level",
                    "Tilt that is left",
                    largest(flown, COMES_DOWN_FROM_S - 2.0, COMES_DOWN_FROM_S, Row::tilt_rad).to_degrees(),
                    "deg",
                    level,
                    "the attitude asked for, and the lean that alignment leaves; one degree more is our choice",
                ),
                touch_down("rotor-out", flown, LANDS_FROM_S, END_S, softly_m_s),
                rest("rotor-out", flown, END_S),
                Check::new(
                    "rotor-out.motors",
                    "Command at the end",
                    largest(flown, END_S - 1.0, END_S, |row| row.command.iter().copied().fold(0.0, f64::max)),
                    "",
                    Limit::at_most(0.0),
                    "the supervisor's table of states: touched down, then stopped for the rotor",
                ),
            ]
        }),
    })
}
