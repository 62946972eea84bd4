//! Slips in where the rotors are and how they turn.

use super::super::table::{Table, Value, at, length, lengths, number_at, take_out};
use super::{Slip, Slipped, rotors_changed, times};

const ARM: &str = "layout.arm_m";
const PLACE: &str = "rotor.position_m";
const SPIN: &str = "rotor.spin";

fn place_m(rotor: &Table) -> Option<[f64; 3]> {
    let list = rotor.get("position_m")?.as_array()?;
    list.iter().map(Value::as_float).collect::<Option<Vec<f64>>>()?.try_into().ok()
}

/// Mean distance of the rotors from their middle.
pub(super) fn mean_arm_m(file: &Table) -> Option<f64> {
    if let Some(arm_m) = number_at(file, ARM) {
        return Some(arm_m);
    }
    let places = file.get("rotor")?.as_array()?.iter().map(|rotor| place_m(rotor.as_table()?));
    let places = places.collect::<Option<Vec<_>>>()?;
    let count = places.len() as f64;
    let middle = |axis: usize| places.iter().map(|place| place[axis]).sum::<f64>() / count;
    let (x, y) = (middle(0), middle(1));
    Some(places.iter().map(|place| (place[0] - x).hypot(place[1] - y)).sum::<f64>() / count)
}

/// Every arm times `factor`: of the layout, or of each rotor.
fn arms_times(file: &Table, factor: f64) -> Option<Slipped> {
    times(file, ARM, factor).or_else(|| moved(file, |_, [x, y, z]| [x * factor, y * factor, z]))
}

fn moved(file: &Table, place: impl Fn(usize, [f64; 3]) -> [f64; 3]) -> Option<Slipped> {
    rotors_changed(file, PLACE, |index, rotor| {
        if let Some(from_m) = place_m(rotor) {
            rotor.insert("position_m".into(), lengths(&place(index, from_m)));
        }
    })
}

fn spin(file: &Table, clockwise: impl Fn(usize, bool) -> bool) -> Option<Slipped> {
    rotors_changed(file, SPIN, |index, rotor| {
        let now = rotor.get("spin").and_then(Value::as_str) == Some("cw");
        let name = if clockwise(index, now) { "cw" } else { "ccw" };
        rotor.insert("spin".into(), Value::String(name.into()));
    })
}

fn no_wake(file: &Table) -> Option<Slipped> {
    if at(file, "layout.coaxial").is_some() {
        let mut file = file.clone();
        take_out(&mut file, "layout.lower_thrust_share")?;
        return Some(Slipped { file, key: "layout.lower_thrust_share" });
    }
    let rotors = file.get("rotor")?.as_array()?;
    rotors.iter().any(|rotor| rotor.get("thrust_share").is_some()).then_some(())?;
    rotors_changed(file, "rotor.thrust_share", |_, rotor| {
        rotor.remove("thrust_share");
    })
}

pub(super) const SLIPS: &[Slip] = &[
    Slip { id: "diagonal for arm", what: "from motor to motor, typed as the arm", make: |file| arms_times(file, 2.0) },
    Slip { id: "half the arm", what: "half of the arm, taken for the diagonal", make: |file| arms_times(file, 0.5) },
    Slip { id: "arm in cm", what: "centimetres typed as metres", make: |file| arms_times(file, 100.0) },
    Slip { id: "arm in mm", what: "millimetres typed as metres", make: |file| arms_times(file, 1000.0) },
    Slip { id: "arm in inches", what: "inches typed as metres", make: |file| arms_times(file, 39.37) },
    Slip {
        id: "a rotor on the wrong side",
        what: "a minus sign forgotten at one rotor",
        make: |file| moved(file, |index, [x, y, z]| if index == 0 { [-x, y, z] } else { [x, y, z] }),
    },
    Slip {
        id: "all rotors right",
        what: "every minus sign of y forgotten",
        make: |file| moved(file, |_, [x, y, z]| [x, y.abs(), z]),
    },
    Slip {
        id: "one spin wrong",
        what: "one rotor turns the other way",
        make: |file| spin(file, |index, now| if index == 1 { !now } else { now }),
    },
    Slip { id: "all spins alike", what: "the first rotor's spin, copied to all", make: |file| spin(file, |_, _| true) },
    Slip {
        id: "axis down",
        what: "thrust along z, which points down",
        make: |file| {
            rotors_changed(file, "rotor.axis", |_, rotor| {
                rotor.insert("axis".into(), Value::Array([0.0, 0.0, 1.0].map(length).to_vec()));
            })
        },
    },
    Slip { id: "no wake", what: "two rotors on an arm, and no share for the lower one", make: no_wake },
];
