//! How near the flights came to the boundary.

use evenkeel_mixer::MET_TOL_F32;
use serde::Serialize;

use super::attainable::Attainable;
use crate::recording::{Recording, Row};

/// Below this height the craft counts as on the ground, where its demands mean little.
pub const OFF_GROUND_M: f64 = 0.3;

/// Demands of one flight off the ground, each by its control margin: the torque between it and the boundary at its own
/// thrust and yaw, with the ceilings and the rotors of its moment.
#[derive(Clone, Debug, PartialEq)]
pub struct Flown {
    /// The flight's stable name.
    pub id: &'static str,
    /// The flight in words.
    pub title: &'static str,
    /// Demands that were met in full: torque that was left, newton metres, 0 or more.
    pub met_nm: Vec<f64>,
    /// Demands that were cut: torque that was missing, newton metres, below 0; minus infinity where no torque goes with
    /// the thrust.
    pub cut_nm: Vec<f64>,
    /// Demands cut for another reason than the boundary, such as thrust that must not rise. They have no place in the
    /// picture.
    pub unplaced: usize,
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
    pub fn of(set: &Attainable, id: &'static str, title: &'static str, recording: &Recording) -> Self {
        let mut flown = Flown { id, title, met_nm: Vec::new(), cut_nm: Vec::new(), unplaced: 0 };
        for row in off_the_ground(recording) {
            let margin_nm = margin_nm(set, row);
            // The margin is worked out in single precision: this near the boundary its sign says nothing.
            let rounding_nm = MET_TOL_F32 * set.torque_reach_nm();
            match was_cut(set, row) {
                false if margin_nm >= -rounding_nm => flown.met_nm.push(margin_nm.max(0.0)),
                true if margin_nm <= rounding_nm => flown.cut_nm.push(margin_nm.min(-f64::MIN_POSITIVE)),
                _ => flown.unplaced += 1,
            }
        }
        flown
    }
}

fn off_the_ground(recording: &Recording) -> impl Iterator<Item = &Row> {
    recording.rows.iter().filter(|row| row.height_m() > OFF_GROUND_M)
}

/// The margin that the log has, with the limits of that moment; where it has none, that of the craft as its file says.
fn margin_nm(set: &Attainable, row: &Row) -> f64 {
    let logged_nm = row.on_board.control_margin_nm;
    if logged_nm.is_nan() { set.torque_margin_nm(row.demand) } else { logged_nm }
}

/// Whether any axis fell short, each by its own measure: a newton is no torque.
///
/// * Source: the mixer's own tolerance, [`MET_TOL_F32`] of the most that the rotors add up to in the axis
fn was_cut(set: &Attainable, row: &Row) -> bool {
    let pairs = row.demand.to_array().into_iter().zip(row.achieved.to_array());
    pairs.zip(set.reach()).any(|((wanted, got), reach)| !((wanted - got).abs() <= MET_TOL_F32 * reach))
}

/// The smallest margin over every flight; `None` when nothing was flown.
pub fn least_margin<'a>(
    set: &Attainable,
    flights: impl Iterator<Item = (&'static str, &'static str, &'a Recording)>,
) -> Option<Tightest> {
    let each = flights.flat_map(|(flight, title, recording)| {
        let tightest = move |row: &Row| Tightest { flight, title, t_s: row.t_s, margin_nm: margin_nm(set, row) };
        off_the_ground(recording).map(tightest)
    });
    each.min_by(|a, b| a.margin_nm.total_cmp(&b.margin_nm))
}

#[cfg(test)]
mod tests {
    use evenkeel_mixer::Wrench;

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

    fn quad() -> Attainable {
        Attainable::of(&mixer_for(&demo::quad().unwrap()).unwrap())
    }

    #[test]
    fn tells_cut_demands_from_met_ones_and_leaves_out_the_ground() {
        let rows = vec![row(0.0, 0.0, 9.0, 2.0), row(1.0, 5.0, 0.5, 0.5), row(2.0, 5.0, 9.0, 2.0)];
        let flown = Flown::of(&quad(), "a", "A", &Recording { rows });
        assert_eq!((flown.met_nm.len(), flown.cut_nm.len(), flown.unplaced), (1, 1, 0));
        assert!(flown.met_nm[0] > 0.0 && flown.cut_nm[0] < -0.5, "{flown:?}");
    }

    /// A millinewton metre is little beside the thrust in newtons, and is cut all the same.
    #[test]
    fn tells_a_torque_that_was_cut_by_little_beside_a_large_thrust() {
        let mut short = row(1.0, 5.0, 0.0, 0.0);
        (short.demand.yaw_nm, short.on_board.control_margin_nm) = (1.0e-3, -1.0e-3);
        let flown = Flown::of(&quad(), "a", "A", &Recording { rows: vec![short] });
        assert_eq!((flown.met_nm, flown.cut_nm), (vec![], vec![-1.0e-3]));
    }

    #[test]
    fn gives_no_place_to_a_demand_cut_inside_the_boundary() {
        let mut held_down = row(1.0, 5.0, 0.1, 0.1);
        held_down.achieved.thrust_n = 3.0;
        let flown = Flown::of(&quad(), "a", "A", &Recording { rows: vec![held_down] });
        assert_eq!((flown.met_nm.len(), flown.cut_nm.len(), flown.unplaced), (0, 0, 1));
    }

    /// Logged with the ceilings of a battery near empty: that margin counts, not the one of a full battery.
    #[test]
    fn believes_the_margin_of_the_moment_that_the_log_has() {
        let mut row = row(1.0, 5.0, 0.1, 0.1);
        row.on_board.control_margin_nm = 0.05;
        let recording = Recording { rows: vec![row] };
        assert_eq!(Flown::of(&quad(), "a", "A", &recording).met_nm, [0.05]);
        let least = least_margin(&quad(), [("a", "A", &recording)].into_iter()).unwrap();
        assert_eq!(least.margin_nm, 0.05);
    }

    #[test]
    fn finds_the_flight_and_time_of_the_smallest_margin() {
        let set = quad();
        let calm = Recording { rows: vec![row(1.0, 5.0, 0.1, 0.1)] };
        let hard = Recording { rows: vec![row(0.5, 0.0, 9.0, 2.0), row(1.0, 5.0, 0.2, 0.2), row(3.0, 5.0, 2.0, 2.0)] };
        let least = least_margin(&set, [("calm", "C", &calm), ("hard", "H", &hard)].into_iter()).unwrap();
        assert_eq!((least.flight, least.t_s), ("hard", 3.0));
        assert!(least.margin_nm > 0.0 && least.margin_nm < 0.6, "{least:?}");
    }
}
