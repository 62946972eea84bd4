//! Slips in `[body]`.

use super::super::table::{Table, Value, at, lengths, number, number_at};
use super::places::mean_arm_m;
use super::{Slip, Slipped, list_times, replaced, times};

const MASS: &str = "body.mass_kg";
const CENTER: &str = "body.center_of_mass_m";
const INERTIA: &str = "body.inertia_kg_m2";

fn inertia(file: &Table, change: impl Fn(&str, f64) -> f64) -> Option<Slipped> {
    let tensor = at(file, INERTIA)?.as_table()?;
    let changed = tensor.iter().map(|(key, value)| Some((key.clone(), number(change(key, value.as_float()?)))));
    replaced(file, INERTIA, Value::Table(changed.collect::<Option<_>>()?))
}

fn inertia_swapped(file: &Table) -> Option<Slipped> {
    let [xx, zz] = ["xx", "zz"].map(|key| number_at(file, &format!("{INERTIA}.{key}")));
    let (xx, zz) = (xx?, zz?);
    inertia(file, |key, value| match key {
        "xx" => zz,
        "zz" => xx,
        "yy" => value,
        _ => 0.0,
    })
}

fn center(file: &Table, change: impl Fn([f64; 3]) -> [f64; 3]) -> Option<Slipped> {
    let list = at(file, CENTER)?.as_array()?;
    let figures = list.iter().map(Value::as_float).collect::<Option<Vec<f64>>>()?;
    replaced(file, CENTER, lengths(&change(figures.try_into().ok()?)))
}

/// Where a centre of mass of some millimetres makes metres of it.
fn center_in_mm(file: &Table) -> Option<Slipped> {
    let list = at(file, CENTER)?.as_array()?;
    let far = list.iter().filter_map(Value::as_float).any(|value| value.abs() > 0.002);
    far.then(|| list_times(file, CENTER, 1000.0)).flatten()
}

pub(super) const SLIPS: &[Slip] = &[
    Slip { id: "mass in grams", what: "grams typed as kilograms", make: |file| times(file, MASS, 1000.0) },
    Slip { id: "mass in pounds", what: "pounds typed as kilograms", make: |file| times(file, MASS, 2.2046) },
    Slip { id: "half the mass", what: "weighed without battery and payload", make: |file| times(file, MASS, 0.5) },
    Slip { id: "mass a tenth", what: "a decimal point one place off", make: |file| times(file, MASS, 0.1) },
    Slip { id: "center in mm", what: "millimetres typed as metres", make: center_in_mm },
    Slip {
        id: "center 10 m below",
        what: "10 m below the rotors",
        make: |file| center(file, |[x, y, _]| [x, y, 10.0]),
    },
    Slip {
        id: "center from the nose",
        what: "measured from the nose, the rotors from the middle",
        make: |file| {
            let arm_m = mean_arm_m(file)?;
            center(file, |[x, y, z]| [x - arm_m, y, z])
        },
    },
    Slip {
        id: "center from the ground",
        what: "height above the ground typed as z, which points down from the rotors",
        make: |file| {
            let arm_m = mean_arm_m(file)?;
            center(file, |[x, y, z]| [x, y, z + 4.0 * arm_m])
        },
    },
    Slip {
        id: "inertia tenfold",
        what: "a decimal point one place off",
        make: |file| inertia(file, |_, value| 10.0 * value),
    },
    Slip {
        id: "inertia a tenth",
        what: "a decimal point one place off",
        make: |file| inertia(file, |_, value| 0.1 * value),
    },
    Slip { id: "inertia in g cm2", what: "g cm² typed as kg m²", make: |file| inertia(file, |_, value| 1e7 * value) },
    Slip {
        id: "inertia in kg cm2", what: "kg cm² typed as kg m²", make: |file| inertia(file, |_, value| 1e4 * value)
    },
    Slip {
        id: "inertia xx for zz",
        what: "the largest moment typed about x, that about x about z",
        make: inertia_swapped,
    },
    Slip {
        id: "inertia left at one",
        what: "1.0 typed for each moment, to be filled in later",
        make: |file| inertia(file, |key, _| if key.as_bytes().first() == key.as_bytes().last() { 1.0 } else { 0.0 }),
    },
    Slip { id: "drag area in cm2", what: "cm² typed as m²", make: |file| list_times(file, "body.drag_area_m2", 1e4) },
    Slip {
        id: "drag area in dm2", what: "dm² typed as m²", make: |file| list_times(file, "body.drag_area_m2", 100.0)
    },
];
