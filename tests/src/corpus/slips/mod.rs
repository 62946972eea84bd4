//! Slips of builders: each takes a sound craft's file and types one figure wrong.
//!
//! The list is common practice, no source: units (grams for newtons, millimetres for metres, inches, pounds, rpm, mAh, mΩ),
//! one figure for another (the diagonal for the arm, a torque for a ratio, a cell for a pack, all rotors for one), factors of
//! ten, signs, what was forgotten. Left out, for no check can know: two rotors of a pair swapped in the list, every
//! spin mirrored, a small centre of mass with the wrong sign.

mod body;
mod places;
mod rest;
mod rotors;

use super::table::{Table, Value, at, number, number_at, put};

/// A typical mistake.
#[derive(Clone, Copy)]
pub struct Slip {
    /// Stable name.
    pub id: &'static str,
    /// What the builder did, in words.
    pub what: &'static str,
    make: fn(&Table) -> Option<Slipped>,
}

/// A file with a slip in it.
#[derive(Clone, Debug, PartialEq)]
pub struct Slipped {
    /// The file.
    pub file: Table,
    /// The key that a good answer names.
    pub key: &'static str,
}

impl Slip {
    /// The file with the slip; `None` where the craft has nothing to make it with.
    pub fn made_in(&self, file: &Table) -> Option<Slipped> {
        (self.make)(file)
    }
}

/// Every slip, by the table it is made in.
pub fn all() -> Vec<Slip> {
    [rotors::SLIPS, body::SLIPS, places::SLIPS, rest::SLIPS].concat()
}

/// One number times `factor`; `None` where it does not stand.
fn times(file: &Table, key: &'static str, factor: f64) -> Option<Slipped> {
    let value = number_at(file, key)?;
    replaced(file, key, number(value * factor))
}

/// Another value at `key`, whether it stood or not.
fn replaced(file: &Table, key: &'static str, value: Value) -> Option<Slipped> {
    let mut file = file.clone();
    put(&mut file, key, value);
    Some(Slipped { file, key })
}

/// Every number in a list times `factor`.
fn list_times(file: &Table, key: &'static str, factor: f64) -> Option<Slipped> {
    let list = at(file, key)?.as_array()?;
    let scaled = list.iter().map(|value| value.as_float().map(|value| number(value * factor)));
    replaced(file, key, Value::Array(scaled.collect::<Option<_>>()?))
}

/// The listed rotors changed one by one; `None` where they stand in a layout.
fn rotors_changed(file: &Table, key: &'static str, change: impl Fn(usize, &mut Table)) -> Option<Slipped> {
    let mut file = file.clone();
    let rotors = file.get_mut("rotor")?.as_array_mut()?;
    for (index, rotor) in rotors.iter_mut().enumerate() {
        change(index, rotor.as_table_mut()?);
    }
    Some(Slipped { file, key })
}

/// Number of rotors.
fn count(file: &Table) -> Option<f64> {
    if let Some(list) = file.get("rotor").and_then(Value::as_array) {
        return Some(list.len() as f64);
    }
    let rings = if at(file, "layout.coaxial").and_then(Value::as_bool) == Some(true) { 2.0 } else { 1.0 };
    Some(number_at(file, "layout.rotors")? * rings)
}

/// Full thrust of a rotor, wherever it stands.
fn thrust_max_n(file: &Table) -> Option<f64> {
    let end = || at(file, "rotors.thrust_curve.thrust_n")?.as_array()?.last()?.as_float();
    number_at(file, "rotors.thrust_max_n").or_else(end)
}
