//! The battery: an ideal source behind a resistance, emptied by what the rotors draw.
//!
//! * Math: P = Σ Q·Ω/η; terminal voltage V from V² − E·V + P·R = 0, the larger root; current P/V; charge −∫I/C. Past the
//!   most the battery can give, E²/(4·R), V stays at E/2. E follows the state of charge
//! * The speed at which a rotor settles goes with V over the full voltage, so thrust goes with its square
//! * Below empty, E falls to nothing over [`PAST_EMPTY`] of the capacity
//! * Left out: what spins the rotors up, recovery, temperature, ageing
//! * Source: Ohm's law; that speed goes with voltage is common practice, no source; the fall past empty is a choice of this project

use crate::craft;

/// Share of the capacity past empty at which nothing is left.
pub const PAST_EMPTY: f64 = 0.02;
const SECONDS_PER_HOUR: f64 = 3600.0;

#[derive(Clone, Debug)]
pub(super) struct Battery {
    /// (state of charge, open-circuit voltage), both rising, from [`PAST_EMPTY`] below empty.
    curve: Vec<(f64, f64)>,
    full_v: f64,
    resistance_ohm: f64,
    watts_per_shaft_watt: f64,
    charge_at_start: f64,
    capacity_as: f64,
}

/// What the battery does while power is drawn from it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Supply {
    /// Terminal voltage as a share of the full one.
    pub(super) voltage_share: f64,
    /// Share of the capacity that is used up a second.
    pub(super) used_per_s: f64,
}

impl Battery {
    pub(super) fn new(battery: &craft::Battery) -> Battery {
        let above = match &battery.voltage_curve {
            Some(curve) => curve.charge.iter().copied().zip(curve.voltage_v.iter().copied()).collect(),
            None => vec![(0.0, battery.empty_v), (1.0, battery.full_v)],
        };
        Battery {
            curve: std::iter::once((-PAST_EMPTY, 0.0)).chain(above).collect(),
            full_v: battery.full_v,
            resistance_ohm: battery.resistance_ohm,
            watts_per_shaft_watt: 1.0 / battery.efficiency,
            charge_at_start: battery.charge,
            capacity_as: battery.capacity_ah * SECONDS_PER_HOUR,
        }
    }

    pub(super) fn state_of_charge(&self, used: f64) -> f64 {
        (self.charge_at_start - used).max(0.0)
    }

    /// `used`: share of the capacity since the start; `left`: share of the open-circuit voltage that a fault leaves.
    pub(super) fn supply(&self, used: f64, left: f64, shaft_power_w: f64) -> Supply {
        let open_v = self.open_circuit_v(self.charge_at_start - used) * left;
        if !(open_v > 0.0) {
            // NaN passes on: it must show.
            return Supply { voltage_share: open_v.abs(), used_per_s: 0.0 };
        }
        let wanted_w = shaft_power_w * self.watts_per_shaft_watt;
        let spread = open_v * open_v - 4.0 * wanted_w * self.resistance_ohm;
        let terminal_v = 0.5 * (open_v + spread.max(0.0).sqrt());
        let power_w = if spread > 0.0 { wanted_w } else { open_v * open_v / (4.0 * self.resistance_ohm) };
        Supply { voltage_share: terminal_v / self.full_v, used_per_s: power_w / terminal_v / self.capacity_as }
    }

    fn open_circuit_v(&self, charge: f64) -> f64 {
        for pair in self.curve.windows(2) {
            if let [(from, low_v), (to, high_v)] = *pair
                && charge <= to
            {
                return (low_v + (high_v - low_v) * (charge - from) / (to - from)).max(0.0);
            }
        }
        if charge.is_nan() { charge } else { self.full_v }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rounding of a few operations.
    const EXACT_TOL: f64 = 1e-12;

    fn battery() -> Battery {
        Battery::new(&craft::Battery {
            capacity_ah: 5.0,
            full_v: 16.0,
            empty_v: 12.0,
            resistance_ohm: 0.02,
            efficiency: 0.8,
            charge: 1.0,
            voltage_curve: None,
        })
    }

    #[test]
    fn balances_power_and_voltage_when_current_flows() {
        let supply = battery().supply(0.25, 1.0, 400.0);
        let (open_v, terminal_v) = (15.0, supply.voltage_share * 16.0);
        let current_a = supply.used_per_s * 5.0 * 3600.0;
        assert!((open_v - 0.02 * current_a - terminal_v).abs() < EXACT_TOL, "Ohm: {terminal_v} V, {current_a} A");
        assert!((terminal_v * current_a - 500.0).abs() < 1e3 * EXACT_TOL, "power: {terminal_v} V, {current_a} A");
    }

    #[test]
    fn gives_no_more_than_it_has_when_more_is_asked() {
        // E²/(4·R) = 3200 W.
        let supply = battery().supply(0.0, 1.0, 1e6);
        assert!((supply.voltage_share - 0.5).abs() < EXACT_TOL);
        assert!((supply.used_per_s * 18_000.0 - 400.0).abs() < EXACT_TOL * 400.0, "{supply:?}");
    }

    #[test]
    fn falls_to_nothing_when_it_is_drained_past_empty() {
        let at = |used: f64| battery().supply(used, 1.0, 0.0).voltage_share * 16.0;
        assert!((at(1.0) - 12.0).abs() < EXACT_TOL && (at(1.01) - 6.0).abs() < EXACT_TOL * 100.0);
        assert_eq!((at(1.02), at(5.0)), (0.0, 0.0));
        assert!(at(f64::NAN).is_nan());
        assert_eq!(battery().state_of_charge(1.01), 0.0);
    }
}
