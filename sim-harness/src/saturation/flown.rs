//! How near the flights came to the boundary.

use evenkeel_mixer::Wrench;
use serde::Serialize;

use super::attainable::Attainable;
use crate::recording::{Recording, Row};

/// Below this height the craft counts as on the ground, where its demands mean little.
const OFF_GROUND_M: f64 = 0.3;
/// A demand counts as cut when what was achieved differs by more than this share of the largest torque or
/// thrust demanded beside it.
const CUT_SHARE: f64 = 1.0e-4;

/// Demands of one flight.
#[derive(Clone, Debug, PartialEq)]
pub struct Flown {
    /// The flight's stable name.
    pub id: &'static str,
    /// The flight in words.
    pub title: &'static str,
    /// Demands that were met, in flight.
    pub met: Vec<Wrench<f64>>,
    /// Demands that were cut.
    pub cut: Vec<Wrench<f64>>,
}

/// The smallest control margin seen.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Tightest {
    /// The flight's stable name.
    pub flight: &'static str,
    /// The flight in words.
    pub title: &'static str,
    /// When.
    pub t_s: f64,
    /// Torque left there; negative where the demand was cut.
    pub margin_nm: f64,
}

impl Flown {
    /// Sorts the demands of a recording.
    pub fn of(id: &'static str, title: &'static str, recording: &Recording) -> Self {
        let airborne = recording.rows.iter().filter(|row| row.height_m() > OFF_GROUND_M);
        let (cut, met): (Vec<&Row>, Vec<&Row>) = airborne.partition(|row| was_cut(row));
        let demands = |rows: Vec<&Row>| rows.into_iter().map(|row| row.demand).collect();
        Flown { id, title, met: demands(met), cut: demands(cut) }
    }
}

fn was_cut(row: &Row) -> bool {
    let (wanted, got) = (row.demand.to_array(), row.achieved.to_array());
    let size = wanted.iter().chain(&got).fold(0.0, |most: f64, value| most.max(value.abs()));
    wanted.iter().zip(got).any(|(wanted, got)| !((wanted - got).abs() <= CUT_SHARE * size))
}

/// The smallest margin over every flight; `None` when nothing was flown.
pub fn least_margin<'a>(
    set: &Attainable,
    flights: impl Iterator<Item = (&'static str, &'static str, &'a Recording)>,
) -> Option<Tightest> {
    let each = flights.flat_map(|(flight, title, recording)| {
        let airborne = recording.rows.iter().filter(|row| row.height_m() > OFF_GROUND_M);
        airborne.map(move |row| Tightest { flight, title, t_s: row.t_s, margin_nm: set.torque_margin_nm(row.demand) })
    });
    each.min_by(|a, b| a.margin_nm.total_cmp(&b.margin_nm))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo;
    use crate::onboard::mixer_for;

    fn row(t_s: f64, height_m: f64, roll_nm: f64, achieved_nm: f64) -> Row {
        let wrench = |roll_nm| Wrench { thrust_n: 15.7, roll_nm, ..Wrench::default() };
        Row {
            t_s,
            position_m: [0.0, 0.0, -height_m],
            velocity_m_s: [0.0; 3],
            attitude: [1.0, 0.0, 0.0, 0.0],
            rate_rad_s: [0.0; 3],
            demand: wrench(roll_nm),
            achieved: wrench(achieved_nm),
            rotor_n: vec![],
            command: vec![],
            on_board: crate::recording::OnBoard::default(),
        }
    }

    #[test]
    fn tells_cut_demands_from_met_ones_and_leaves_out_the_ground() {
        let rows = vec![row(0.0, 0.0, 9.0, 2.0), row(1.0, 5.0, 0.5, 0.5), row(2.0, 5.0, 9.0, 2.0)];
        let flown = Flown::of("a", "A", &Recording { rows });
        assert_eq!((flown.met.len(), flown.cut.len()), (1, 1));
        assert_eq!(flown.cut[0].roll_nm, 9.0);
    }

    #[test]
    fn finds_the_flight_and_time_of_the_smallest_margin() {
        let set = Attainable::of(&mixer_for(&demo::quad().unwrap()).unwrap());
        let calm = Recording { rows: vec![row(1.0, 5.0, 0.1, 0.1)] };
        let hard = Recording { rows: vec![row(0.5, 0.0, 9.0, 2.0), row(1.0, 5.0, 0.2, 0.2), row(3.0, 5.0, 2.0, 2.0)] };
        let least = least_margin(&set, [("calm", "C", &calm), ("hard", "H", &hard)].into_iter()).unwrap();
        assert_eq!((least.flight, least.t_s), ("hard", 3.0));
        assert!(least.margin_nm > 0.0 && least.margin_nm < 0.6, "{least:?}");
    }
}
