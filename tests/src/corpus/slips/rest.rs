//! Slips in battery, sensors, loops and limits.

use super::super::table::{Table, at, number, number_at, numbers, put};
use super::{Slip, Slipped, replaced, times};

fn per_cell(file: &Table) -> Option<Slipped> {
    let full_v = number_at(file, "battery.full_v")?;
    let empty_v = number_at(file, "battery.empty_v")?;
    let cells = (full_v / 4.2).round();
    // One cell is a pack.
    (cells > 1.0).then_some(())?;
    let mut slipped = replaced(file, "battery.full_v", number(full_v / cells))?;
    put(&mut slipped.file, "battery.empty_v", number(empty_v / cells));
    Some(slipped)
}

fn charge_zero(file: &Table) -> Option<Slipped> {
    at(file, "battery")?;
    replaced(file, "battery.charge", number(0.0))
}

/// A rate limit that the gyro cannot show.
fn gyro_range(file: &Table) -> Option<Slipped> {
    let mut slipped = replaced(file, "sensors.gyro.range_deg_s", number(250.0))?;
    if at(file, "sensors.perfect").is_some() {
        return None;
    }
    for key in ["limits.roll_rate_deg_s", "limits.pitch_rate_deg_s"] {
        put(&mut slipped.file, key, number(400.0));
    }
    Some(slipped)
}

/// A figure of `[sensors]`, where the sensors are not perfect.
fn sensor(file: &Table, key: &'static str, value: super::Value) -> Option<Slipped> {
    if at(file, "sensors.perfect").is_some() { None } else { replaced(file, key, value) }
}

pub(super) const SLIPS: &[Slip] = &[
    Slip { id: "capacity in mAh", what: "mAh typed as Ah", make: |file| times(file, "battery.capacity_ah", 1000.0) },
    Slip {
        id: "capacity a tenth",
        what: "a decimal point one place off",
        make: |file| times(file, "battery.capacity_ah", 0.1),
    },
    Slip { id: "voltage of a cell", what: "the voltage of one cell, typed for the pack", make: per_cell },
    Slip {
        id: "resistance in mOhm",
        what: "mΩ typed as Ω",
        make: |file| times(file, "battery.resistance_ohm", 1000.0),
    },
    Slip {
        id: "resistance tenfold",
        what: "a decimal point one place off",
        make: |file| times(file, "battery.resistance_ohm", 10.0),
    },
    Slip { id: "charge zero", what: "the charge at the end, typed for the start", make: charge_zero },
    Slip { id: "gyro range", what: "a range of 250 deg/s under limits of 400 deg/s", make: gyro_range },
    Slip {
        id: "gyro noise in mdeg",
        what: "0.005 deg/s/√Hz typed as 5",
        make: |file| sensor(file, "sensors.gyro.noise_deg_s_rthz", number(5.0)),
    },
    Slip {
        id: "gyro bias in deg per minute",
        what: "a bias in degrees a minute, typed as a second",
        make: |file| sensor(file, "sensors.gyro.bias_deg_s", numbers(&[30.0, -20.0, 25.0])),
    },
    Slip {
        id: "sensors turned",
        what: "a quarter turn of the board that is only partly told",
        make: |file| sensor(file, "sensors.misalignment_deg", numbers(&[0.0, 0.0, 30.0])),
    },
    Slip {
        id: "tilt limit",
        what: "a tilt at which the thrust cannot carry it",
        make: |file| replaced(file, "limits.tilt_deg", number(75.0)),
    },
    Slip {
        id: "rate too low",
        what: "the rate of the pilot's link, typed for the loops",
        make: |file| replaced(file, "loops.rate_hz", number(50.0)),
    },
    Slip {
        id: "delay in ms",
        what: "0.2 ms typed as seconds",
        make: |file| replaced(file, "loops.extra_delay_s", number(0.2)),
    },
];
