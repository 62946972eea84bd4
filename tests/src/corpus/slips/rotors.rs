//! Slips in `[rotors]`.

use super::super::table::{Table, at, number, number_at, take_out};
use super::{Slip, Slipped, count, list_times, replaced, thrust_max_n, times};
use crate::corpus::GRAVITY_M_S2;

const THRUST: &str = "rotors.thrust_max_n";
const TORQUE: &str = "rotors.torque_per_thrust_m";
const LAG: &str = "rotors.response_time_s";
const DIAMETER: &str = "rotors.diameter_m";
const SPEED: &str = "rotors.speed_max_rad_s";

/// Every thrust of the file times `factor`: of the curve too, and the least.
fn thrusts_times(file: &Table, factor: f64) -> Option<Slipped> {
    let mut slipped =
        times(file, THRUST, factor).or_else(|| list_times(file, "rotors.thrust_curve.thrust_n", factor))?;
    if let Some(with_least) = times(&slipped.file, "rotors.thrust_min_n", factor) {
        slipped.file = with_least.file;
    }
    Some(Slipped { key: THRUST, ..slipped })
}

fn torque_itself(file: &Table) -> Option<Slipped> {
    let thrust_n = thrust_max_n(file)?;
    // Near 1 N the two are alike.
    (!(0.3..3.0).contains(&thrust_n)).then(|| times(file, TORQUE, thrust_n)).flatten()
}

fn torque_without_diameter(file: &Table) -> Option<Slipped> {
    let diameter_m = number_at(file, DIAMETER)?;
    (diameter_m < 0.4).then(|| times(file, TORQUE, 1.0 / diameter_m)).flatten()
}

fn floor_above_hover(file: &Table) -> Option<Slipped> {
    replaced(file, "rotors.thrust_min_n", number(0.6 * thrust_max_n(file)?))
}

fn battery_without_propeller(file: &Table) -> Option<Slipped> {
    at(file, "battery")?;
    // A table of the propeller, and the ground, need the diameter.
    if at(file, "rotors.propeller").is_some() || at(file, "ground_effect").is_some() {
        return None;
    }
    let mut file = file.clone();
    take_out(&mut file, SPEED)?;
    take_out(&mut file, DIAMETER)?;
    Some(Slipped { file, key: DIAMETER })
}

pub(super) const SLIPS: &[Slip] = &[
    Slip {
        id: "thrust in grams",
        what: "the bench shows grams, typed as newtons",
        make: |file| thrusts_times(file, 1000.0 / GRAVITY_M_S2),
    },
    Slip {
        id: "thrust in kilograms",
        what: "the bench shows kilograms, typed as newtons",
        make: |file| thrusts_times(file, 1.0 / GRAVITY_M_S2),
    },
    Slip {
        id: "thrust of all rotors",
        what: "the thrust of all rotors together, typed for one",
        make: |file| thrusts_times(file, count(file)?),
    },
    Slip { id: "thrust in ounces", what: "ounces typed as newtons", make: |file| thrusts_times(file, 3.597) },
    Slip {
        id: "floor in grams",
        what: "the least thrust in grams, typed as newtons",
        make: |file| times(file, "rotors.thrust_min_n", 1000.0 / GRAVITY_M_S2),
    },
    Slip { id: "floor above hover", what: "the thrust in hover, typed as the least", make: floor_above_hover },
    Slip { id: "torque in mm", what: "millimetres typed as metres", make: |file| times(file, TORQUE, 1000.0) },
    Slip { id: "torque itself", what: "the torque at full thrust, typed as its ratio to thrust", make: torque_itself },
    Slip {
        id: "torque without diameter",
        what: "C_Q/C_T typed without the diameter it goes with",
        make: torque_without_diameter,
    },
    Slip { id: "torque tenfold", what: "a decimal point one place off", make: |file| times(file, TORQUE, 10.0) },
    Slip { id: "torque a tenth", what: "a decimal point one place off", make: |file| times(file, TORQUE, 0.1) },
    Slip { id: "torque zero", what: "not measured, and 0 typed", make: |file| times(file, TORQUE, 0.0) },
    Slip { id: "lag in ms", what: "milliseconds typed as seconds", make: |file| times(file, LAG, 1000.0) },
    Slip { id: "lag tenfold", what: "a decimal point one place off", make: |file| times(file, LAG, 10.0) },
    Slip { id: "lag a tenth", what: "a decimal point one place off", make: |file| times(file, LAG, 0.1) },
    Slip { id: "diameter in inches", what: "inches typed as metres", make: |file| times(file, DIAMETER, 1.0 / 0.0254) },
    Slip {
        id: "radius for diameter",
        what: "the radius typed as the diameter",
        make: |file| times(file, DIAMETER, 0.5),
    },
    Slip { id: "speed in rpm", what: "turns a minute typed as rad/s", make: |file| times(file, SPEED, 9.549) },
    Slip { id: "speed in turns", what: "turns a second typed as rad/s", make: |file| times(file, SPEED, 0.1592) },
    Slip {
        id: "rotor inertia in g m2",
        what: "gram square metres typed as kg m²",
        make: |file| times(file, "rotors.inertia_kg_m2", 1000.0),
    },
    Slip {
        id: "battery without propeller",
        what: "a battery, but neither the diameter nor the speed of the rotors",
        make: battery_without_propeller,
    },
    Slip {
        id: "rotor drag in grams",
        what: "grams a m/s typed as newtons",
        make: |file| times(file, "rotors.drag_n_per_m_s", 1000.0 / GRAVITY_M_S2),
    },
];
