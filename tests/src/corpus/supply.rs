//! Batteries: energy for minutes of hover, voltage by cells, resistance by the sag that hover makes.
//!
//! Sag of the pack at full command, v the terminal voltage over the full one, e the open-circuit one over it: power goes
//! with the cube of the voltage, so c·v² + v = e with c = s·w^1.5, s the sag in hover and w thrust over weight.
//! Ohm's law; speed with voltage is common practice. Lithium cells: 4.2 V full, 3.3 to 3.5 V empty (common practice).

use super::random::Random;
use super::table::{Table, keys, number, numbers};
use super::{LOADED_THRUST_TO_WEIGHT, LOW_THRUST_TO_WEIGHT};

/// A cell's voltage when full.
const FULL_CELL_V: f64 = 4.2;
/// A cell's mean voltage.
const MEAN_CELL_V: f64 = 3.7;
/// Share of the charge at which a craft should be back on the ground: common practice, no source.
pub const LOW_CHARGE: f64 = 0.2;
/// Share of the energy that a flight uses.
const USED: f64 = 0.85;
const SECONDS_PER_HOUR: f64 = 3600.0;

/// A battery as drawn, before the craft is known.
#[derive(Clone, Debug, PartialEq)]
pub struct Supply {
    /// Cells in series.
    pub cells: f64,
    /// Minutes of hover.
    pub minutes: f64,
    /// Shaft power over electrical power.
    pub efficiency: f64,
    /// Energy over mass, Wh/kg.
    pub wh_per_kg: f64,
    /// State of charge at the start.
    pub charge: f64,
    /// Voltage lost in hover, as a share of the full voltage.
    pub sag_share: f64,
    /// Open-circuit voltage over the full one, at 0 and by the shape of its curve.
    pub empty_share: f64,
    /// The file has a curve.
    pub curved: bool,
}

impl Supply {
    /// A battery for a craft of this mass.
    pub fn draw(random: &mut Random, mass_kg: f64) -> Supply {
        let cells: &[f64] = match mass_kg {
            mass if mass < 0.1 => &[1.0, 2.0],
            mass if mass < 0.5 => &[2.0, 3.0, 4.0],
            mass if mass < 3.0 => &[3.0, 4.0, 6.0],
            _ => &[6.0, 8.0, 12.0],
        };
        Supply {
            cells: random.pick(cells),
            minutes: random.between(8.0, 30.0),
            efficiency: random.between(0.75, 0.88),
            wh_per_kg: random.between(130.0, 190.0),
            charge: if random.chance(0.3) { random.between(0.9, 1.0) } else { 1.0 },
            sag_share: random.between(0.02, 0.06),
            empty_share: random.between(3.3, 3.5) / FULL_CELL_V,
            curved: random.chance(0.3),
        }
    }

    /// Thrust over weight that is left at full command, of `rated` at full voltage.
    pub fn loaded(&self, rated: f64, open_share: f64) -> f64 {
        let c = self.sag_share * rated.powf(1.5);
        let terminal_share = ((1.0 + 4.0 * c * open_share).sqrt() - 1.0) / (2.0 * c);
        rated * terminal_share * terminal_share
    }

    /// Open-circuit voltage over the full one.
    pub fn open_share(&self, charge: f64) -> f64 {
        if !self.curved {
            return self.empty_share + (1.0 - self.empty_share) * charge;
        }
        let points = self.curve();
        let segment = points.windows(2).find(|pair| charge <= pair[1].0).unwrap_or(&points[points.len() - 2..]);
        segment[0].1 + (segment[1].1 - segment[0].1) * (charge - segment[0].0) / (segment[1].0 - segment[0].0)
    }

    /// A lithium cell's: steep at both ends (common practice, no source).
    fn curve(&self) -> [(f64, f64); 5] {
        let between = |share: f64| self.empty_share + (1.0 - self.empty_share) * share;
        [(0.0, self.empty_share), (0.1, between(0.3)), (0.5, between(0.52)), (0.8, between(0.77)), (1.0, 1.0)]
    }

    /// The same battery, built well enough for a craft of this rated thrust over weight; and what that must then be.
    pub fn strong_enough(mut self, mut rated: f64) -> (Supply, f64) {
        let good = |supply: &Supply, rated: f64| {
            supply.loaded(rated, supply.open_share(supply.charge)) >= LOADED_THRUST_TO_WEIGHT
                && supply.loaded(rated, supply.open_share(LOW_CHARGE)) >= LOW_THRUST_TO_WEIGHT
        };
        while !good(&self, rated) {
            if self.sag_share > 0.02 { self.sag_share = (0.9 * self.sag_share).max(0.02) } else { rated += 0.05 }
        }
        (self, rated)
    }

    /// Mass for this hover power; minutes are cut to what `most_kg` holds.
    pub fn mass_kg(&mut self, shaft_power_w: f64, most_kg: f64) -> f64 {
        let per_minute_wh = shaft_power_w / self.efficiency / 60.0 / USED;
        let mass_kg = self.minutes * per_minute_wh / self.wh_per_kg;
        if mass_kg > most_kg {
            self.minutes = most_kg * self.wh_per_kg / per_minute_wh;
        }
        mass_kg.min(most_kg)
    }

    /// The `[battery]` of a craft file.
    pub fn table(&self, shaft_power_w: f64) -> Table {
        let power_w = shaft_power_w / self.efficiency;
        let full_v = self.cells * FULL_CELL_V;
        let energy_j = power_w * self.minutes * 60.0 / USED;
        let mut table = keys([
            ("capacity_ah", number(energy_j / SECONDS_PER_HOUR / (self.cells * MEAN_CELL_V))),
            ("resistance_ohm", number(self.sag_share * full_v * full_v / power_w)),
            ("efficiency", number(self.efficiency)),
        ]);
        if self.charge < 1.0 {
            table.insert("charge".into(), number(self.charge));
        }
        if self.curved {
            let curve = self.curve();
            let voltage = curve.map(|(_, share)| share * full_v);
            let columns =
                keys([("charge", numbers(&curve.map(|(charge, _)| charge))), ("voltage_v", numbers(&voltage))]);
            table.insert("voltage_curve".into(), columns.into());
        } else {
            table.insert("full_v".into(), number(full_v));
            table.insert("empty_v".into(), number(self.empty_share * full_v));
        }
        table
    }
}
