//! The charts of one flight.

use evenkeel_mixer::{Axis, Wrench};

use super::chart::{Band, Chart, Series};
use super::figures::{figure, trimmed};
use crate::craft::Craft;
use crate::recording::{Recording, Row};

/// A ground track is worth its room when the craft moved at least this far.
const TRACK_WORTH_M: f64 = 2.0;
/// Vertical axes show at least this much, so that a quiet flight looks quiet.
const LEAST_HEIGHT_M: f64 = 1.0;
const LEAST_SPEED_M_S: f64 = 1.0;
const LEAST_ANGLE_DEG: f64 = 6.0;
const LEAST_THRUST_N: f64 = 0.5;
/// Torque, as a part of what the weight gives at the longest arm.
const LEAST_TORQUE: f64 = 0.01;

const TIME: &str = "time, s";

/// The charts that show what happened in a flight; none when nothing was recorded.
///
/// Yaw has charts of its own: its whole turns would drown roll and pitch, and its torque drown in theirs.
pub fn charts(recording: &Recording, craft: &Craft) -> Vec<Chart> {
    if recording.rows.is_empty() {
        return Vec::new();
    }
    let mut charts = vec![
        height(recording),
        speed(recording),
        angles(recording, "Roll and pitch", &[(0, "roll"), (1, "pitch")]),
        angles(recording, "Yaw", &[(2, "yaw")]),
        torque(recording, craft, "Roll and pitch torque", &[(Axis::Roll, "roll"), (Axis::Pitch, "pitch")]),
        torque(recording, craft, "Yaw torque", &[(Axis::Yaw, "yaw")]),
        rotors(recording, craft),
    ];
    if extent_m(recording) >= TRACK_WORTH_M {
        charts.push(track(recording));
    }
    charts
}

fn chart(title: &'static str, unit: &'static str, least_span: f64, series: Vec<Series>) -> Chart {
    Chart { title, across: TIME, unit, series, bands: Vec::new(), least_span, with_zero: false, track: false }
}

fn series(recording: &Recording, label: &str, tone: usize, value: impl Fn(&Row) -> f64) -> Series {
    let points = recording.rows.iter().map(|row| (row.t_s, value(row))).collect();
    Series { label: label.to_owned(), tone, asked: false, points }
}

fn height(recording: &Recording) -> Chart {
    chart("Height", "m", LEAST_HEIGHT_M, vec![series(recording, "height", 0, Row::height_m)])
}

fn speed(recording: &Recording) -> Chart {
    let ground = series(recording, "over ground", 0, Row::ground_speed_m_s);
    let climb = series(recording, "upwards", 1, |row| -row.velocity_m_s[2]);
    Chart { with_zero: true, ..chart("Speed", "m/s", LEAST_SPEED_M_S, vec![ground, climb]) }
}

fn angles(recording: &Recording, title: &'static str, angles: &[(usize, &str)]) -> Chart {
    let lines = angles.iter().map(|&(axis, name)| {
        let mut line = series(recording, name, axis, |row| row.euler_rad()[axis].to_degrees());
        unwrap_turns(&mut line.points);
        line
    });
    chart(title, "deg", LEAST_ANGLE_DEG, lines.collect())
}

/// Carries an angle on past half a turn instead of letting it jump to the other side.
fn unwrap_turns(points: &mut [(f64, f64)]) {
    let (mut before, mut turns) = (f64::NAN, 0.0);
    for (_, angle) in points {
        let jump = *angle - before;
        if jump.abs() > 180.0 {
            turns -= 360.0 * jump.signum();
        }
        if angle.is_finite() {
            before = *angle;
        }
        *angle += turns;
    }
}

fn rotors(recording: &Recording, craft: &Craft) -> Chart {
    let lines = craft
        .rotors
        .iter()
        .enumerate()
        .map(|(k, rotor)| series(recording, &rotor.name, k, |row| row.rotor_n.get(k).copied().unwrap_or(f64::NAN)));
    let mut chart = chart("Thrust of each rotor", "N", LEAST_THRUST_N, lines.collect());
    let edges = |values: &mut dyn Iterator<Item = f64>| {
        let mut edges: Vec<f64> = values.collect();
        edges.sort_by(f64::total_cmp);
        edges.dedup();
        edges
    };
    // A rotor that can stop has no floor worth shading: its band would be a line at zero.
    for edge in edges(&mut craft.rotors.iter().map(|rotor| rotor.thrust_min_n).filter(|&floor| floor > 0.0)) {
        chart.bands.push(Band { edge, above: false, label: format!("floor {} N", trimmed(figure(edge, 3))) });
    }
    for edge in edges(&mut craft.rotors.iter().map(|rotor| rotor.thrust_max_n)) {
        chart.bands.push(Band { edge, above: true, label: format!("ceiling {} N", trimmed(figure(edge, 3))) });
    }
    chart
}

fn torque(recording: &Recording, craft: &Craft, title: &'static str, axes: &[(Axis, &str)]) -> Chart {
    let part = |wrench: Wrench<f64>, axis: Axis| wrench.to_array()[axis.index()];
    let lines = axes.iter().enumerate().flat_map(|(k, &(axis, name))| {
        let tone = if axis == Axis::Yaw { 2 } else { k };
        let achieved = series(recording, &format!("{name} achieved"), tone, |row| part(row.achieved, axis));
        let mut asked = series(recording, &format!("{name} demanded"), tone, |row| part(row.demand, axis));
        asked.asked = true;
        [asked, achieved]
    });
    let arm_m = craft.rotors.iter().map(|r| r.position_m[0].hypot(r.position_m[1])).fold(0.0, f64::max);
    let least_nm = (LEAST_TORQUE * craft.body.mass_kg * 9.8 * arm_m).max(1e-3);
    Chart { with_zero: true, ..chart(title, "N·m", least_nm, lines.collect()) }
}

fn track(recording: &Recording) -> Chart {
    let points = recording.rows.iter().map(|row| (row.position_m[1], row.position_m[0])).collect();
    let path = Series { label: "path".to_owned(), tone: 0, asked: false, points };
    let mut chart = chart("Ground track, north up", "north, m", TRACK_WORTH_M, vec![path]);
    chart.across = "east, m";
    chart.track = true;
    chart
}

/// How far the craft came from where it started, over ground.
fn extent_m(recording: &Recording) -> f64 {
    let Some(first) = recording.rows.first() else { return 0.0 };
    let away = |row: &Row| (row.position_m[0] - first.position_m[0]).hypot(row.position_m[1] - first.position_m[1]);
    recording.rows.iter().map(away).fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture;

    #[test]
    fn carries_an_angle_on_when_it_passes_half_a_turn() {
        let mut points: Vec<(f64, f64)> = [170.0, 179.0, -172.0, -163.0, 178.0].map(|a| (0.0, a)).to_vec();
        unwrap_turns(&mut points);
        assert_eq!(points.iter().map(|p| p.1).collect::<Vec<_>>(), [170.0, 179.0, 188.0, 197.0, 178.0]);
    }

    #[test]
    fn draws_a_track_when_the_craft_moved_and_none_when_it_hovered() {
        let (preflight, craft) = fixture::fit();
        let has_track = |id: &str| {
            let flight = preflight.flights.iter().find(|flight| flight.id == id).unwrap();
            charts(&flight.recording, &craft).iter().any(|chart| chart.track)
        };
        assert!(has_track("circle") && has_track("forward"));
        assert!(!has_track("hover"));
    }

    #[test]
    fn draws_nothing_when_nothing_was_recorded() {
        let (_, craft) = fixture::fit();
        assert!(charts(&Recording::default(), &craft).is_empty());
    }
}
