//! The reference of both formats as Markdown tables, from the tables of keys that read them.

use std::fmt::Write;

use super::craft_keys::{
    AngleKeys, BodyKeys, CraftKeys, CurveKeys, GainsKeys, InertiaKeys, LayoutKeys, LimitsKeys, LoopsKeys, RateAxisKeys,
    RotorKeys, RotorsKeys, SaturationKeys,
};
use super::flight_keys::{CircleKeys, FaultKeys, FlightKeys, InitialKeys, LegKeys, WorldKeys};
use super::key::{Keys, Row};

/// Every key of a craft file.
pub fn craft_reference() -> String {
    [
        table("The file itself", CraftKeys::rows()),
        table("`[body]`", BodyKeys::rows()),
        table("`body.inertia_kg_m2`", InertiaKeys::rows()),
        table("`[rotors]`", RotorsKeys::rows()),
        table("`rotors.thrust_curve`", CurveKeys::rows()),
        table("`[layout]`", LayoutKeys::rows()),
        table("`[[rotor]]`", RotorKeys::rows()),
        table("`[saturation]`", SaturationKeys::rows()),
        table("`[loops]`", LoopsKeys::rows()),
        table("`[gains]`", GainsKeys::rows()),
        table("`[gains.rate.roll]`, `[gains.rate.pitch]`, `[gains.rate.yaw]`", RateAxisKeys::rows()),
        table("`[gains.angle]`", AngleKeys::rows()),
        table("`[limits]`", LimitsKeys::rows()),
    ]
    .join("\n")
}

/// Every key of a flight file.
pub fn flight_reference() -> String {
    [
        table("The file itself", FlightKeys::rows()),
        table("`[initial]`", InitialKeys::rows()),
        table("`[world]`", WorldKeys::rows()),
        table("`[[leg]]`", LegKeys::rows()),
        table("`leg.circle`", CircleKeys::rows()),
        table("`[[fault]]`", FaultKeys::rows()),
    ]
    .join("\n")
}

fn table(title: &str, rows: Vec<Row>) -> String {
    let head = format!("### {title}\n\n| key | must be | when left out | what it is |\n| --- | --- | --- | --- |\n");
    rows.iter().fold(head, |mut text, row| {
        // Writing to a String cannot fail.
        let _ = writeln!(text, "| `{}` | {} | {} | {} |", row.key, row.allowed, row.default, row.about);
        text
    })
}
