//! The reference of both formats as Markdown tables, from the tables of keys that read them.

use std::fmt::Write;

use super::craft_keys::{
    AccelerometerKeys, AngleKeys, BatteryKeys, BodyKeys, ClimbKeys, CraftKeys, CurveKeys, DispersionKeys, FiguresKeys,
    GainsKeys, GroundEffectKeys, GyroKeys, HeadingKeys, InertiaKeys, LayoutKeys, LimitsKeys, LoopsKeys, PropellerKeys,
    RateAxisKeys, RotorKeys, RotorsKeys, SaturationKeys, SensorsKeys, VoltageKeys, VoltageSensorKeys,
};
use super::flight_keys::{
    CircleKeys, CollapseKeys, ExpectKeys, FailedSensorKeys, FaultKeys, FlightKeys, GustKeys, InitialKeys, LegKeys,
    TurbulenceKeys, WeakenedKeys, WorldKeys,
};
use super::key::{Keys, Row};
use crate::expectation::{QUANTITIES, log_quantities};

/// Every key of a craft file.
pub fn craft_reference() -> String {
    [
        table("The file itself", CraftKeys::rows()),
        table("`[body]`", BodyKeys::rows()),
        table("`body.inertia_kg_m2`", InertiaKeys::rows()),
        table("`[rotors]`", RotorsKeys::rows()),
        table("`rotors.thrust_curve`", CurveKeys::rows()),
        table("`rotors.propeller`", PropellerKeys::rows()),
        table("`[layout]`", LayoutKeys::rows()),
        table("`[[rotor]]`", RotorKeys::rows()),
        table("`[battery]`", BatteryKeys::rows()),
        table("`battery.voltage_curve`", VoltageKeys::rows()),
        table("`[ground_effect]`", GroundEffectKeys::rows()),
        table("`[figures]`", FiguresKeys::rows()),
        table("`[saturation]`", SaturationKeys::rows()),
        table("`[loops]`", LoopsKeys::rows()),
        table("`[gains]`", GainsKeys::rows()),
        table("`[gains.rate.roll]`, `[gains.rate.pitch]`, `[gains.rate.yaw]`", RateAxisKeys::rows()),
        table("`[gains.angle]`", AngleKeys::rows()),
        table("`[limits]`", LimitsKeys::rows()),
        table("`[sensors]`", SensorsKeys::rows()),
        table("`[sensors.gyro]`", GyroKeys::rows()),
        table("`[sensors.accelerometer]`", AccelerometerKeys::rows()),
        table("`[sensors.heading]`", HeadingKeys::rows()),
        table("`[sensors.climb]`", ClimbKeys::rows()),
        table("`[sensors.voltage]`", VoltageSensorKeys::rows()),
        table("`[dispersion]`", DispersionKeys::rows()),
    ]
    .join("\n")
}

/// Every key of a flight file.
pub fn flight_reference() -> String {
    [
        table("The file itself", FlightKeys::rows()),
        table("`[initial]`", InitialKeys::rows()),
        table("`[world]`", WorldKeys::rows()),
        table("`[world.turbulence]`", TurbulenceKeys::rows()),
        table("`[[world.gust]]`", GustKeys::rows()),
        table("`[[leg]]`", LegKeys::rows()),
        table("`leg.circle`", CircleKeys::rows()),
        table("`[[fault]]`", FaultKeys::rows()),
        table("`fault.rotor_weakened`", WeakenedKeys::rows()),
        table("`fault.sensor`", FailedSensorKeys::rows()),
        table("`fault.battery`", CollapseKeys::rows()),
        table("`[[expect]]`", ExpectKeys::rows()),
        quantities(),
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

/// What `[[expect]]` can look at.
fn quantities() -> String {
    let head = "### Quantities of `[[expect]]`\n\n| quantity | what it is |\n| --- | --- |\n".to_string();
    let mut text = QUANTITIES.iter().fold(head, |text, one| text + &format!("| `{}` | {} |\n", one.name, one.about));
    let columns = log_quantities(1).into_iter().map(|name| format!("`{}`", name.replace("_1", "_i")));
    let columns: Vec<String> = columns.collect();
    text += &format!("| {} | the columns of the log, i a rotor from 1 |\n", columns.join(", "));
    text
}
