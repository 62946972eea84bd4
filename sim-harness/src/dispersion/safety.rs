//! What any flight is held to, whatever it is for: the craft keeps its attitude, comes to rest in it,
//! keeps its height, and does not meet the ground hard.
//!
//! Worked out from the script alone. A flight that starts upset is judged from when it has recovered; a
//! leg that turns at given body rates has no attitude to keep; heights are judged until something fails.
//! All limits are choices of this project, wide enough for any craft that is under control.

use nalgebra::Vector3;

use crate::arrival::{IMPACT_MAX_M_S, arrivals};
use crate::expectation::Finding;
use crate::recording::{Recording, Row};
use crate::script::{Flight, Lateral, Leg, Vertical};
use crate::verdict::Limit;

/// Tilt beyond the largest that the leg, or the one before it, asks for.
pub const TILT_BEYOND_MAX_DEG: f64 = 15.0;
/// Angle between the thrust axis and where roll and pitch angles asked for put it, once a leg has had its
/// time.
pub const LEAN_OFF_MAX_DEG: f64 = 5.0;
/// Roll and pitch rate while a leg has nothing left to do.
pub const CALM_MAX_DEG_S: f64 = 30.0;
/// Height beyond the range from where a leg starts to where it is asked to be, and what it takes to stop
/// a climb or descent that the leg starts with.
pub const HEIGHT_OFF_MAX_M: f64 = 1.0;
/// Time to come out of an upset start.
pub const RECOVERY_MAX_S: f64 = 5.0;

/// An attitude found is one kept this long.
const RECOVERED_S: f64 = 0.5;
/// A leg counts as settled in its last second ...
const SETTLED_S: f64 = 1.0;
/// ... when it had this long to get there.
const SETTLED_AFTER_S: f64 = 1.0;
/// Deceleration that any pilot can count on.
const STOPPING_M_S2: f64 = 2.0;

const SOURCE: &str = "our choice";

/// Holds a flight to safety. Without control there is none to hold it to.
pub fn safety(flight: &Flight, tilt_max_rad: f64, recording: &Recording) -> Vec<Finding> {
    if !flight.control {
        return Vec::new();
    }
    let judged = judged_rows(flight, tilt_max_rad, recording);
    let attitude = judged.iter().map(|row| (row.row.t_s, row.beyond_deg));
    let calm = judged.iter().filter(|row| row.is_settled).map(|row| {
        let [roll, pitch, _] = row.row.rate_rad_s;
        (row.row.t_s, roll.hypot(pitch).to_degrees())
    });
    let ground = arrivals(recording).chain([(0.0, 0.0)]);
    let most =
        |name, quantity, unit, limit, samples| worst(flight, name, quantity, unit, Limit::at_most(limit), samples);
    let findings = [
        most("attitude", "tilt_beyond_deg", "deg", TILT_BEYOND_MAX_DEG, &mut attitude.into_iter()),
        most(
            "lean",
            "lean_off_deg",
            "deg",
            LEAN_OFF_MAX_DEG,
            &mut leans_off_deg(flight, tilt_max_rad, &judged).into_iter(),
        ),
        most("calm", "roll_pitch_rate_deg_s", "deg/s", CALM_MAX_DEG_S, &mut calm.into_iter()),
        most("height", "height_off_m", "m", HEIGHT_OFF_MAX_M, &mut heights_off_m(flight, &judged).into_iter()),
        most("ground", "arrival_m_s", "m/s", IMPACT_MAX_M_S, &mut ground.into_iter()),
    ];
    findings.into_iter().flatten().collect()
}

/// A row of the log whose leg holds an attitude.
struct Judged<'a> {
    row: &'a Row,
    leg: usize,
    /// Tilt beyond what is asked; negative below it.
    beyond_deg: f64,
    is_settled: bool,
}

/// A craft that has an attitude to find.
struct Lost {
    since_s: f64,
    within_since_s: Option<f64>,
}

impl Lost {
    /// It is found when the tilt has stayed within bounds: a tumble passes through level too.
    fn is_over(&mut self, t_s: f64, beyond_deg: f64) -> bool {
        let within = beyond_deg <= TILT_BEYOND_MAX_DEG;
        self.within_since_s = self.within_since_s.or(Some(t_s)).filter(|_| within);
        self.within_since_s.is_some_and(|since_s| t_s - since_s >= RECOVERED_S)
    }
}

/// Rows that have an attitude to keep, from recovery on.
fn judged_rows<'a>(flight: &Flight, tilt_max_rad: f64, recording: &'a Recording) -> Vec<Judged<'a>> {
    let mut judged = Vec::with_capacity(recording.rows.len());
    let mut index = 0;
    // A start within bounds needs no proof that it stays so.
    let mut lost = Some(Lost { since_s: 0.0, within_since_s: Some(f64::NEG_INFINITY) });
    for row in &recording.rows {
        while index + 1 < flight.legs.len() && flight.legs.get(index).is_some_and(|leg| row.t_s >= leg.until_s) {
            index += 1;
        }
        let Some(asked_rad) = tilt_asked_rad(&flight.legs, index, tilt_max_rad) else {
            lost = Some(Lost { since_s: row.t_s, within_since_s: None });
            continue;
        };
        let beyond_deg = (row.tilt_rad() - asked_rad).to_degrees();
        if let Some(upset) = &mut lost {
            let is_last = recording.rows.last().is_some_and(|last| last.t_s == row.t_s);
            if upset.is_over(row.t_s, beyond_deg) {
                lost = None;
            } else if row.t_s - upset.since_s < RECOVERY_MAX_S && !is_last {
                continue;
            }
        }
        judged.push(Judged { row, leg: index, beyond_deg, is_settled: is_settled(&flight.legs, index, row.t_s) });
    }
    judged
}

/// Largest tilt that a leg or the one before it asks for; `None` for a leg that turns at given rates.
fn tilt_asked_rad(legs: &[Leg], index: usize, tilt_max_rad: f64) -> Option<f64> {
    let of = |leg: &Leg| match leg.lateral {
        Lateral::Rates(_) => None,
        Lateral::Angles { roll_rad, pitch_rad, .. } => {
            Some((roll_rad.cos() * pitch_rad.cos()).acos().min(tilt_max_rad))
        }
        Lateral::Velocity(_) | Lateral::Circle { .. } => Some(tilt_max_rad),
    };
    let before = index.checked_sub(1).and_then(|before| legs.get(before)).map_or(Some(0.0), |leg| {
        // What a leg of rates leaves behind is an upset to come out of.
        of(leg).or(Some(0.0))
    });
    Some(of(legs.get(index)?)?.max(before?))
}

fn is_settled(legs: &[Leg], index: usize, t_s: f64) -> bool {
    let start_s = index.checked_sub(1).and_then(|before| legs.get(before)).map_or(0.0, |leg| leg.until_s);
    legs.get(index).is_some_and(|leg| {
        let long_enough = leg.until_s - start_s >= SETTLED_AFTER_S + SETTLED_S;
        long_enough && t_s >= leg.until_s - SETTLED_S && !matches!(leg.lateral, Lateral::Circle { .. })
    })
}

/// Angle to the lean asked for, at the end of each leg that asks for one the craft may take.
fn leans_off_deg(flight: &Flight, tilt_max_rad: f64, judged: &[Judged<'_>]) -> Vec<(f64, f64)> {
    let mut off = Vec::new();
    for Judged { row, leg, .. } in judged.iter().filter(|judged| judged.is_settled) {
        let Some(Lateral::Angles { roll_rad, pitch_rad, .. }) = flight.legs.get(*leg).map(|leg| leg.lateral) else {
            continue;
        };
        let asked = down_axis(roll_rad, pitch_rad);
        if asked.z.acos() > tilt_max_rad {
            continue;
        }
        let [roll, pitch, _] = row.euler_rad();
        off.push((
            row.t_s,
            down_axis(roll, pitch).cross(&asked).norm().atan2(down_axis(roll, pitch).dot(&asked)).to_degrees(),
        ));
    }
    off
}

/// The body's down axis seen with the heading taken away.
fn down_axis(roll_rad: f64, pitch_rad: f64) -> Vector3<f64> {
    let ((sin_roll, cos_roll), (sin_pitch, cos_pitch)) = (roll_rad.sin_cos(), pitch_rad.sin_cos());
    Vector3::new(cos_roll * sin_pitch, -sin_roll, cos_roll * cos_pitch)
}

/// How far each row of a leg with a height lies outside the way there.
fn heights_off_m(flight: &Flight, judged: &[Judged<'_>]) -> Vec<(f64, f64)> {
    let first_fault_s = flight.faults.first().map_or(f64::INFINITY, |fault| fault.at_s);
    let mut off = Vec::new();
    let mut start: Option<(usize, f64, f64)> = None;
    for Judged { row, leg, .. } in judged.iter().filter(|judged| judged.row.t_s < first_fault_s) {
        let Some(Vertical::Height(asked_m)) = flight.legs.get(*leg).map(|leg| leg.vertical) else { continue };
        let fresh = || {
            let climb_m_s = row.velocity_m_s[2];
            (*leg, row.height_m(), climb_m_s * climb_m_s / (2.0 * STOPPING_M_S2))
        };
        let (_, from_m, stopping_m) = match start {
            Some(known) if known.0 == *leg => known,
            _ => *start.insert(fresh()),
        };
        let outside_m = (from_m.min(asked_m) - row.height_m()).max(row.height_m() - from_m.max(asked_m));
        off.push((row.t_s, outside_m - stopping_m));
    }
    off
}

/// The worst of some samples (time, value) held to a limit; `None` where there is nothing to hold.
fn worst(
    flight: &Flight,
    name: &str,
    quantity: &str,
    unit: &'static str,
    limit: Limit,
    samples: &mut dyn Iterator<Item = (f64, f64)>,
) -> Option<Finding> {
    let mut count = 0;
    let worse =
        |most: (f64, f64), sample: (f64, f64)| if sample.1 > most.1 || sample.1.is_nan() { sample } else { most };
    let (at_s, value) = samples.inspect(|_| count += 1).reduce(worse)?;
    Some(Finding {
        name: name.to_owned(),
        quantity: quantity.to_owned(),
        taken: "largest",
        from_s: 0.0,
        until_s: flight.duration_s,
        samples: count,
        held: limit.holds(value) && value.is_finite(),
        value,
        at_s: Some(at_s),
        unit,
        limit,
        source: Some(SOURCE.to_owned()),
    })
}

#[cfg(test)]
#[path = "safety_tests.rs"]
mod tests;
