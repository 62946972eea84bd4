//! Limits, loops and sensors against what the rotors can do.

use super::Usual;
use super::figure::Figure;
use super::power::thrust_under_load_n;
use super::relation::Relation;
use crate::craft::Craft;

/// Thrust that a tilt must leave, over weight: enough to climb a little.
const LEFT_AT_TILT: f64 = 1.05;
/// Range of a gyro over the largest rate asked for.
const RANGE_OVER_RATE: f64 = 1.25;
/// Least range of a gyro on a craft, and the largest there is, deg/s.
const RANGE_DEG_S: [f64; 2] = [400.0, 4500.0];
/// Steps of the rate loop within the lag of the slowest rotor.
const STEPS_IN_LAG: f64 = 4.0;
const RATE_MIN_HZ: f64 = 120.0;
const RATE_MAX_HZ: f64 = 8000.0;

const TILT: &str = "force balance: thrust times the cosine of the tilt carries the weight; 5 % more is our choice";
const RANGE: &str = "common practice, no source: gyros measure up to 2000 deg/s, and a gust or an upset exceeds 250";
const RATE: &str = "common practice, no source: 250 Hz to 8 kHz; four steps within the rotors' lag is our choice";
const DELAY: &str = "common practice, no source: a few milliseconds; a share of the rotors' lag is our choice";
const TURN: &str = "common practice, no source: 30 to 1000 deg/s";

pub(super) fn relations(craft: &Craft, gravity_m_s2: f64) -> Vec<Relation> {
    let lag_s = craft.slowest_lag_s();
    let figure = |id, words, figure, ratio: f64, typical: f64, min: f64, max: f64, source| Relation {
        id,
        words,
        figure,
        rotor: None,
        power: 1.0,
        ratio,
        typical,
        usual: Usual { min, max },
        source,
    };
    let delay_max_s = 0.005 + 0.4 * lag_s;
    let rate_min_hz = RATE_MIN_HZ.max(STEPS_IN_LAG / lag_s).min(RATE_MAX_HZ);
    let mut found = vec![
        figure(
            "loop_rate",
            "rate of the loop, Hz",
            Figure::LoopRate,
            craft.loops.rate_hz,
            1000.0,
            rate_min_hz,
            RATE_MAX_HZ,
            RATE,
        ),
        figure(
            "delay",
            "delay between command and rotor, s",
            Figure::Delay,
            craft.loops.extra_delay_s,
            0.1 * delay_max_s,
            0.0,
            delay_max_s,
            DELAY,
        ),
        figure(
            "gyro_latency",
            "latency of the gyro, s",
            Figure::GyroLatency,
            craft.sensors.gyro.latency_s,
            0.1 * delay_max_s,
            0.0,
            delay_max_s,
            DELAY,
        ),
    ];
    let fixed_deg_s = craft.limits.rate_rad_s.into_iter().flatten().fold(0.0, f64::max).to_degrees();
    let range_deg_s = craft.sensors.gyro.range.to_degrees();
    if range_deg_s.is_finite() {
        let min = RANGE_DEG_S[0].max(RANGE_OVER_RATE * fixed_deg_s);
        let max = RANGE_DEG_S[1].max(min);
        found.push(figure(
            "gyro_range",
            "range of the gyro, deg/s",
            Figure::GyroRange,
            range_deg_s,
            2000.0_f64.max(min),
            min,
            max,
            RANGE,
        ));
    }
    let turns = [Figure::RollRate, Figure::PitchRate, Figure::YawRate];
    for (turn, limit) in turns.into_iter().zip(craft.limits.rate_rad_s) {
        if let Some(limit) = limit {
            let words = "largest rate asked for, deg/s";
            found.push(figure("turn_limit", words, turn, limit.to_degrees(), 200.0, 8.0, 2000.0, TURN));
        }
    }
    found.extend(tilt(craft, gravity_m_s2));
    found
}

/// The tilt limit in degrees; usual is what the rotors carry.
fn tilt(craft: &Craft, gravity_m_s2: f64) -> Option<Relation> {
    let limit_deg = craft.limits.tilt_rad?.to_degrees();
    let lift = thrust_under_load_n(craft) / (craft.body.mass_kg * gravity_m_s2);
    // A craft that cannot lift itself is doubted for that.
    let max = (LEFT_AT_TILT / lift).min(1.0).acos().to_degrees();
    (max > 0.0).then_some(Relation {
        id: "tilt_limit",
        words: "tilt limit, deg",
        figure: Figure::Tilt,
        rotor: None,
        power: 1.0,
        ratio: limit_deg,
        typical: 0.5 * max,
        usual: Usual { min: 0.0, max },
        source: TILT,
    })
}
