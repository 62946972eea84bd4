//! What would bring a craft's gains within reach, and by how much: the least change of one thing at a time.
//!
//! Each candidate is moved away from what the craft has until the criteria hold, and the place where they begin to is
//! closed in on by halving, to [`MEND_TOL`] of the change.

use std::fmt;

use rayon::prelude::*;

use super::gains::found;
use crate::craft::{Craft, Rotor};
use crate::sensors::SensorsConfig;

/// A mend is no further than this share of the change beyond what is needed, rounding to few digits included.
pub const MEND_TOL: f64 = 0.03;
/// Share of the change to which halving closes in.
const HALVED_TOL: f64 = 0.01;
/// Halvings at most, where the least change is next to nothing.
const HALVINGS_MAX: u32 = 30;
/// Looked at on the way from what the craft has to the farthest, so that a change that helps only in part is found.
const PLACES: u32 = 8;
/// The file's own limit.
const LOOP_RATE_MAX_HZ: f64 = 8000.0;
/// The file's own limit.
const LAG_MIN_S: f64 = 1.0e-3;
/// Corner of the gyro's low-pass over the loop rate, at most; the file's own limit.
const LOW_PASS_MAX_SHARE: f64 = 0.45;
/// The file's own limit.
const TORQUE_PER_THRUST_MAX_M: f64 = 1.0;
/// Stronger and lighter than this is another craft.
const STRONGER_MAX: f64 = 10.0;

/// One thing that may be changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Change {
    /// Less `loops.extra_delay_s`.
    ExtraDelay,
    /// Less `sensors.gyro.latency_s`.
    GyroLatency,
    /// More `sensors.gyro.rate_hz`.
    GyroRate,
    /// A higher `sensors.gyro.low_pass_hz`.
    GyroLowPass,
    /// More `loops.rate_hz`; a low-pass that follows it by default goes along.
    LoopRate,
    /// Less `loops.angle_divider`, in whole steps.
    AngleDivider,
    /// Less `response_time_s` of every rotor that has more.
    RotorLag,
    /// More `thrust_max_n` of every rotor that has less; its bench table is stretched.
    RotorThrust,
    /// Less `thrust_min_n` of every rotor that has more.
    RotorFloor,
    /// More `torque_per_thrust_m` of every rotor that has less: other propellers.
    RotorTorque,
    /// Less `body.mass_kg`, the inertia as it is.
    Mass,
}

/// Of what lets the loops be faster.
const OF_TIME: [Change; 7] = [
    Change::ExtraDelay,
    Change::GyroLatency,
    Change::GyroRate,
    Change::GyroLowPass,
    Change::LoopRate,
    Change::AngleDivider,
    Change::RotorLag,
];

/// Of what the rotors have to spare.
const OF_STRENGTH: [Change; 4] = [Change::RotorThrust, Change::RotorFloor, Change::RotorTorque, Change::Mass];

/// A change that brings the gains within reach by itself.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mend {
    /// What is changed.
    pub change: Change,
    /// To what, in SI units.
    pub value: f64,
}

impl Mend {
    /// The craft with it.
    pub fn applied(&self, craft: &Craft) -> Craft {
        self.change.made(craft, self.value)
    }
}

impl fmt::Display for Mend {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (name, bound, unit) = match self.change {
            Change::ExtraDelay => ("loops.extra_delay_s", "at most", "s"),
            Change::GyroLatency => ("sensors.gyro.latency_s", "at most", "s"),
            Change::GyroRate => ("sensors.gyro.rate_hz", "at least", "Hz"),
            Change::GyroLowPass => ("sensors.gyro.low_pass_hz", "at least", "Hz"),
            Change::LoopRate => ("loops.rate_hz", "at least", "Hz"),
            Change::AngleDivider => ("loops.angle_divider", "at most", ""),
            Change::RotorLag => ("response_time_s of every rotor", "at most", "s"),
            Change::RotorThrust => ("thrust_max_n of every rotor", "at least", "N"),
            Change::RotorFloor => ("thrust_min_n of every rotor", "at most", "N"),
            Change::RotorTorque => ("torque_per_thrust_m of every rotor", "at least", "m"),
            Change::Mass => ("body.mass_kg", "at most", "kg"),
        };
        let text = format!("{name} {bound} {} {unit}", self.value);
        f.write_str(text.trim_end())
    }
}

/// What is short.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Short {
    /// The rotors have too little to spare: whatever the loops, it stays so.
    Strength,
    /// The loops are not fast enough, for one reason or the other.
    Speed,
    /// The loops do not bear enough: strength is no help.
    Margins,
}

/// Every change that would do by itself, the least of each.
pub(super) fn mends(craft: &Craft, gravity_m_s2: f64, short: Short) -> Vec<Mend> {
    let tried: Vec<Change> = match short {
        Short::Strength => OF_STRENGTH.to_vec(),
        Short::Speed => OF_TIME.into_iter().chain(OF_STRENGTH).collect(),
        Short::Margins => OF_TIME.to_vec(),
    };
    tried.into_par_iter().filter_map(|change| change.least(craft, &|changed| found(changed, gravity_m_s2))).collect()
}

impl Change {
    /// What the craft has; none when it has nothing of the kind, or nothing to gain.
    pub fn now(self, craft: &Craft) -> Option<f64> {
        let gyro = &craft.sensors.gyro;
        let (most, least) = (
            |of: fn(&Rotor) -> f64| craft.rotors.iter().map(of).fold(0.0, f64::max),
            |of: fn(&Rotor) -> f64| craft.rotors.iter().map(of).fold(f64::INFINITY, f64::min),
        );
        match self {
            Change::ExtraDelay => Some(craft.loops.extra_delay_s).filter(|delay| *delay > 0.0),
            Change::GyroLatency => Some(gyro.latency_s).filter(|latency| *latency > 0.0),
            Change::GyroRate => gyro.rate_hz.filter(|rate| *rate < craft.loops.rate_hz),
            Change::GyroLowPass => {
                craft.sensors.gyro_low_pass_hz.filter(|corner| *corner < LOW_PASS_MAX_SHARE * craft.loops.rate_hz)
            }
            Change::LoopRate => Some(craft.loops.rate_hz).filter(|rate| *rate < LOOP_RATE_MAX_HZ),
            Change::AngleDivider => Some(f64::from(craft.loops.angle_divider)).filter(|divider| *divider > 1.0),
            Change::RotorLag => Some(craft.slowest_lag_s()).filter(|lag| *lag > LAG_MIN_S),
            Change::RotorThrust => Some(least(|rotor| rotor.thrust_max_n)),
            Change::RotorFloor => Some(most(|rotor| rotor.thrust_min_n)).filter(|floor| *floor > 0.0),
            // Nothing is not stretched.
            Change::RotorTorque => Some(least(|rotor| rotor.torque_per_thrust_m)).filter(|torque| *torque > 0.0),
            Change::Mass => Some(craft.body.mass_kg),
        }
    }

    /// As far as it may be taken.
    fn farthest(self, craft: &Craft, now: f64) -> f64 {
        match self {
            Change::ExtraDelay | Change::GyroLatency | Change::RotorFloor => 0.0,
            Change::GyroRate => craft.loops.rate_hz,
            Change::GyroLowPass => LOW_PASS_MAX_SHARE * craft.loops.rate_hz,
            Change::LoopRate => LOOP_RATE_MAX_HZ,
            Change::AngleDivider => 1.0,
            Change::RotorLag => LAG_MIN_S,
            Change::RotorThrust => STRONGER_MAX * now,
            Change::RotorTorque => (STRONGER_MAX * now).min(TORQUE_PER_THRUST_MAX_M),
            Change::Mass => now / STRONGER_MAX,
        }
    }

    /// The craft with this value.
    fn made(self, craft: &Craft, value: f64) -> Craft {
        let mut changed = craft.clone();
        let sensors = &mut changed.sensors;
        match self {
            Change::ExtraDelay => changed.loops.extra_delay_s = value,
            Change::GyroLatency => sensors.gyro.latency_s = value,
            Change::GyroRate => sensors.gyro.rate_hz = Some(value),
            Change::GyroLowPass => sensors.gyro_low_pass_hz = Some(value),
            Change::LoopRate => {
                let by_default = |rate_hz: f64| SensorsConfig::usual(rate_hz).gyro_low_pass_hz;
                if sensors.gyro_low_pass_hz == by_default(craft.loops.rate_hz) {
                    sensors.gyro_low_pass_hz = by_default(value);
                }
                changed.loops.rate_hz = value;
            }
            // Cut off to whole steps; at least one.
            Change::AngleDivider => changed.loops.angle_divider = (value as u32).max(1),
            Change::RotorLag => {
                changed.rotors.iter_mut().for_each(|rotor| rotor.response_time_s = rotor.response_time_s.min(value));
            }
            Change::RotorThrust => changed.rotors.iter_mut().for_each(|rotor| strengthen(rotor, value)),
            Change::RotorFloor => {
                changed.rotors.iter_mut().for_each(|rotor| rotor.thrust_min_n = rotor.thrust_min_n.min(value));
            }
            Change::RotorTorque => {
                let more = |rotor: &mut Rotor| rotor.torque_per_thrust_m = rotor.torque_per_thrust_m.max(value);
                changed.rotors.iter_mut().for_each(more);
            }
            Change::Mass => changed.body.mass_kg = value,
        }
        changed
    }

    /// The least of it that does.
    fn least(self, craft: &Craft, holds: &(dyn Fn(&Craft) -> bool + Sync)) -> Option<Mend> {
        let now = self.now(craft)?;
        let farthest = self.farthest(craft, now);
        let place = |step: u32| {
            let share = f64::from(step) / f64::from(PLACES);
            if farthest > 0.0 { now * (farthest / now).powf(share) } else { now * (1.0 - share) }
        };
        let does = |value: f64| holds(&self.made(craft, value));
        let first = (1..=PLACES).find(|step| does(place(*step)))?;
        let (mut short, mut enough) = (place(first - 1), place(first));
        for _ in 0..HALVINGS_MAX {
            // Steps are whole; everything else is close enough at some point.
            let close = if self == Change::AngleDivider { 1.0 } else { HALVED_TOL * (enough - now).abs() };
            if (enough - short).abs() <= close {
                break;
            }
            let middle = 0.5 * (short + enough);
            if does(middle) { enough = middle } else { short = middle }
        }
        if self == Change::AngleDivider {
            // The two are less than a step apart: the larger whole number may do, too.
            let next = enough.floor() + 1.0;
            return Some(Mend { change: self, value: if next < now && does(next) { next } else { enough.floor() } });
        }
        let round = in_few_digits(enough, now);
        Some(Mend { change: self, value: if does(round) { round } else { enough } })
    }
}

fn strengthen(rotor: &mut Rotor, least_n: f64) {
    let stretch = least_n / rotor.thrust_max_n;
    if !(stretch > 1.0) {
        return;
    }
    rotor.thrust_max_n = least_n;
    if let Some(table) = &mut rotor.thrust_curve {
        table.thrust_n.iter_mut().for_each(|thrust_n| *thrust_n *= stretch);
        // The last point is the largest thrust to the last bit.
        if let Some(last) = table.thrust_n.last_mut() {
            *last = least_n;
        }
    }
}

/// The value in as few digits as keep it close, on the side away from `now`.
fn in_few_digits(value: f64, now: f64) -> f64 {
    if !(value.abs() > 0.0) {
        return value;
    }
    let slack = (MEND_TOL - HALVED_TOL) * (value - now).abs();
    let digits = |count: i32| {
        let power = count - 1 - value.abs().log10().floor() as i32;
        // A power of ten and its inverse: one of them is exact.
        let scaled = if power >= 0 { value * 10_f64.powi(power) } else { value / 10_f64.powi(-power) };
        let whole = if value > now { scaled.ceil() } else { scaled.floor() };
        if power >= 0 { whole / 10_f64.powi(power) } else { whole * 10_f64.powi(-power) }
    };
    (1..=15).map(digits).find(|round| (round - value).abs() <= slack).unwrap_or(value)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn value_is_short_and_on_the_safe_side() {
        assert_eq!(in_few_digits(0.023_456_7, 0.05), 0.023);
        assert_eq!(in_few_digits(1234.56, 1000.0), 1239.0_f64.min(1235.0));
        assert_eq!(in_few_digits(0.0, 0.1), 0.0);
        for (value, now) in [(0.0123, 0.02), (7.77, 7.0), (999.99, 1.0), (0.05, 0.0500001)] {
            let round = in_few_digits(value, now);
            assert!((round - value) * (value - now) >= 0.0, "{value}: {round}");
            assert!((round - value).abs() <= (MEND_TOL - HALVED_TOL) * (value - now).abs(), "{value}: {round}");
        }
    }
}
