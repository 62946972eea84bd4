//! What air along a rotor's axis does to its thrust and torque, as shares of the static ones at the same speed.
//!
//! * Table: C_T(J)/C_T(0) and C_P(J)/C_P(0) at J = V/(n·D), linear between the points. Past the last point along its last
//!   slope, and never below 0: a rotor that windmills is left out. In descent (J < 0) as at J = 0
//! * Momentum theory at constant shaft power, for a rotor without table: T·(V + v) = T₀·v_h with v = T/(2·ρ·A·(V + v)) and
//!   v_h = √(T₀/(2·ρ·A)) gives t³ + x·t = 1 for t = T/T₀ and x = V/v_h; the torque stays. Against the measured
//!   propellers of low pitch it holds to [`MOMENTUM_TOL`] up to x = 1. In descent (x < 0), where the theory fails
//!   before the vortex ring state, thrust stays static
//! * Source: definitions of the coefficients in AIAA 2011-1255 (read in a secondary transcription); momentum theory in
//!   J.G. Leishman, Principles of Helicopter Aerodynamics, 2nd ed., ch. 2 (from memory)

use std::f64::consts::PI;

use crate::craft;

/// How far momentum theory may lie from the share of static thrust that a propeller of low pitch keeps, up to a climb at the
/// induced velocity of hover.
pub const MOMENTUM_TOL: f64 = 0.04;
/// Newton steps from the first guess: the error squares each time, and the last is rounding.
const NEWTON_STEPS: usize = 4;

#[derive(Clone, Debug)]
pub(super) enum Inflow {
    Ignored,
    Momentum,
    Table(Table),
}

/// Shares of static thrust and torque.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Shares {
    pub(super) thrust: f64,
    pub(super) torque: f64,
}

const STATIC: Shares = Shares { thrust: 1.0, torque: 1.0 };

#[derive(Clone, Debug)]
pub(super) struct Table {
    segments: Vec<Segment>,
}

#[derive(Clone, Copy, Debug)]
struct Segment {
    from: f64,
    at: Shares,
    slope: Shares,
}

impl Inflow {
    pub(super) fn new(inflow: &craft::Inflow) -> Inflow {
        match inflow {
            craft::Inflow::Ignored => Inflow::Ignored,
            craft::Inflow::Momentum => Inflow::Momentum,
            craft::Inflow::Table(table) => Inflow::Table(Table::new(table)),
        }
    }

    /// * `axial_m_s`: the rotor's velocity through the air along its thrust
    /// * `travel_m_s`: n·D
    /// * `hover_square`: v_h², m²/s²
    pub(super) fn shares(&self, axial_m_s: f64, travel_m_s: f64, hover_square: f64) -> Shares {
        match self {
            _ if !(axial_m_s > 0.0) => STATIC,
            Inflow::Table(table) if travel_m_s > 0.0 => table.shares(axial_m_s / travel_m_s),
            Inflow::Momentum if hover_square > 0.0 => {
                Shares { thrust: thrust_share_at_constant_power(axial_m_s / hover_square.sqrt()), torque: 1.0 }
            }
            _ => STATIC,
        }
    }
}

impl Table {
    fn new(table: &craft::PropellerTable) -> Table {
        let share = |column: &[f64], row: usize| column[row] / column[0];
        let columns = table.thrust_coefficient.len().min(table.power_coefficient.len()).min(table.advance_ratio.len());
        let shares = |row: usize| Shares {
            thrust: share(&table.thrust_coefficient, row),
            torque: share(&table.power_coefficient, row),
        };
        let segment = |row: usize| {
            let (from, to) = (table.advance_ratio[row], table.advance_ratio[row + 1]);
            let (at, end) = (shares(row), shares(row + 1));
            let slope = Shares {
                thrust: (end.thrust - at.thrust) / (to - from),
                torque: (end.torque - at.torque) / (to - from),
            };
            Segment { from, at, slope }
        };
        Table { segments: (0..columns.saturating_sub(1)).map(segment).collect() }
    }

    fn shares(&self, advance_ratio: f64) -> Shares {
        let past = self.segments.iter().take_while(|segment| segment.from <= advance_ratio).last();
        past.map_or(STATIC, |segment| {
            let off = advance_ratio - segment.from;
            Shares {
                thrust: (segment.at.thrust + segment.slope.thrust * off).max(0.0),
                torque: (segment.at.torque + segment.slope.torque * off).max(0.0),
            }
        })
    }
}

/// Root of t³ + x·t = 1 for a climb at x times the induced velocity of hover, x ≥ 0.
fn thrust_share_at_constant_power(x: f64) -> f64 {
    let mut share = 3.0 / (3.0 + x);
    for _ in 0..NEWTON_STEPS {
        let square = share * share;
        share = (2.0 * square * share + 1.0) / (3.0 * square + x);
    }
    share
}

/// Induced velocity of an ideal rotor in hover, m/s: √(T/(2·ρ·A)).
///
/// Source: J.G. Leishman, Principles of Helicopter Aerodynamics, 2nd ed., ch. 2 (from memory).
pub fn hover_induced_velocity_m_s(thrust_n: f64, air_density_kg_m3: f64, diameter_m: f64) -> f64 {
    (thrust_n / momentum_per_square_speed(air_density_kg_m3, diameter_m)).sqrt()
}

/// 2·ρ·A, kg/m.
pub(super) fn momentum_per_square_speed(air_density_kg_m3: f64, diameter_m: f64) -> f64 {
    2.0 * air_density_kg_m3 * PI * 0.25 * diameter_m * diameter_m
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rounding of a few operations.
    const EXACT_TOL: f64 = 1e-14;

    #[test]
    fn solves_its_cubic_when_the_climb_is_slow_or_fast() {
        for step in 0..=400 {
            let x = f64::from(step) * 0.05;
            let share = thrust_share_at_constant_power(x);
            let off = share * share * share + x * share - 1.0;
            assert!(off.abs() < EXACT_TOL, "x = {x}: {share} misses by {off:e}");
        }
    }

    #[test]
    fn meets_the_points_and_the_last_slope_when_there_is_a_table() {
        let table = craft::PropellerTable {
            advance_ratio: vec![0.0, 0.2, 0.4],
            thrust_coefficient: vec![0.1, 0.08, 0.04],
            power_coefficient: vec![0.05, 0.05, 0.04],
        };
        let inflow = Inflow::new(&craft::Inflow::Table(table));
        let expect = |j: f64, thrust: f64, torque: f64| {
            let shares = inflow.shares(j * 10.0, 10.0, 1.0);
            let off = (shares.thrust - thrust).abs().max((shares.torque - torque).abs());
            assert!(off < EXACT_TOL, "J = {j}: {shares:?}");
        };
        expect(-0.3, 1.0, 1.0);
        expect(0.0, 1.0, 1.0);
        expect(0.1, 0.9, 1.0);
        expect(0.2, 0.8, 1.0);
        expect(0.3, 0.6, 0.9);
        expect(0.5, 0.2, 0.7);
        expect(1.0, 0.0, 0.2);
        expect(2.0, 0.0, 0.0);
    }

    #[test]
    fn stays_static_when_there_is_nothing_to_divide_by() {
        for inflow in [Inflow::Ignored, Inflow::Momentum] {
            for (axial, hover) in [(1.0, 0.0), (f64::NAN, 1.0), (-3.0, 1.0)] {
                assert_eq!(inflow.shares(axial, 0.0, hover), STATIC);
            }
        }
    }
}
