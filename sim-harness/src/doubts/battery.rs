//! The battery against what hover draws and what the craft weighs.

use super::Usual;
use super::figure::Figure;
use super::power::{hover_power_w, is_sized};
use super::relation::Relation;
use crate::craft::{Battery, Craft};

/// Share of the charge that a flight uses: common practice, no source.
const USABLE: f64 = 0.8;
const MINUTES: &str =
    "common practice, no source: 4 minutes for racing to an hour and more for endurance; margin of our choice";
const ENERGY: &str =
    "common practice, no source: packs hold up to 260 Wh/kg and weigh a tenth to seven tenths of the craft";
const VOLTAGE: &str = "scaling: one cell below 0.1 kg, four at 1.5 kg, twelve above 10 kg: 15 V times mass to the power of 0.4; from memory, no source";
const CELLS: &str = "lithium cells: 4.35 V full at most, 2.5 V empty at least; from memory";
const SAG: &str = "common practice, no source: a few per cent in hover; the limit is our choice";

pub(super) fn relations(craft: &Craft, gravity_m_s2: f64) -> Vec<Relation> {
    let Some(battery) = &craft.battery else { return Vec::new() };
    let mean_v = 0.5 * (battery.full_v + battery.empty_v);
    let mut found = vec![
        of_pack(
            "pack_energy",
            "energy of the pack over the craft's mass, Wh/kg",
            Figure::Capacity,
            1.0,
            battery.capacity_ah * mean_v / craft.body.mass_kg,
            (45.0, 3.0, 200.0),
            ENERGY,
        ),
        of_pack(
            "pack_voltage",
            "full voltage over that of typical crafts of this mass",
            Figure::Voltage,
            1.0,
            battery.full_v / (15.0 * craft.body.mass_kg.powf(0.4)),
            (1.0, 0.34, 3.0),
            VOLTAGE,
        ),
        of_pack(
            "full_to_empty",
            "full voltage over empty voltage",
            Figure::EmptyVoltage,
            -1.0,
            battery.full_v / battery.empty_v,
            (1.27, 1.03, 1.8),
            CELLS,
        ),
    ];
    let electrical_w = hover_power_w(craft, gravity_m_s2) / battery.efficiency;
    if electrical_w > 0.0 {
        found.extend(in_hover(craft, battery, electrical_w, mean_v));
    }
    found
}

fn in_hover(craft: &Craft, battery: &Battery, electrical_w: f64, mean_v: f64) -> [Relation; 2] {
    let minutes = USABLE * battery.capacity_ah * mean_v / electrical_w * 60.0;
    let sag = electrical_w * battery.resistance_ohm / battery.full_v.powi(2);
    let band = if craft.rotors.iter().all(is_sized) { (14.0, 1.5, 150.0) } else { (14.0, 0.8, 300.0) };
    [
        of_pack("hover_minutes", "minutes of hover", Figure::Capacity, 1.0, minutes, band, MINUTES),
        of_pack(
            "hover_sag",
            "share of the voltage lost in hover",
            Figure::Resistance,
            1.0,
            sag,
            (0.02, 0.0, 0.15),
            SAG,
        ),
    ]
}

fn of_pack(
    id: &'static str,
    words: &'static str,
    figure: Figure,
    power: f64,
    ratio: f64,
    (typical, min, max): (f64, f64, f64),
    source: &'static str,
) -> Relation {
    Relation { id, words, figure, rotor: None, power, ratio, typical, usual: Usual { min, max }, source }
}
