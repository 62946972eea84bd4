//! What a flight leaves behind: one row a log period, truth first.
//!
//! The column order of the CSV is part of the contract in docs/files.md: scripts read it by name and
//! by place.

use std::io::{self, Write};

use evenkeel_mixer::Wrench;
use nalgebra::{Quaternion, UnitQuaternion};

use crate::attitude;

/// One row: the state of the craft and of its control at one time.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// Time on the flight's clock.
    pub t_s: f64,
    /// Centre of mass: north, east, down.
    pub position_m: [f64; 3],
    /// North, east, down.
    pub velocity_m_s: [f64; 3],
    /// Body to world, (w, x, y, z), w ≥ 0.
    pub attitude: [f64; 4],
    /// Body axes.
    pub rate_rad_s: [f64; 3],
    /// What the control loops asked of the mixer.
    pub demand: Wrench<f64>,
    /// What the mixer could give.
    pub achieved: Wrench<f64>,
    /// Thrust of each rotor now.
    pub rotor_n: Vec<f64>,
    /// Command to each rotor, 0 to 1.
    pub command: Vec<f64>,
}

impl Row {
    /// Height above the start of the world's down axis.
    pub fn height_m(&self) -> f64 {
        -self.position_m[2]
    }

    /// Roll, pitch, yaw (Euler 3-2-1) in radians.
    pub fn euler_rad(&self) -> [f64; 3] {
        let [w, x, y, z] = self.attitude;
        attitude::to_euler_rad(&UnitQuaternion::from_quaternion(Quaternion::new(w, x, y, z)))
    }

    /// Angle between the body's down axis and the world's.
    pub fn tilt_rad(&self) -> f64 {
        let [_, x, y, _] = self.attitude;
        (1.0 - 2.0 * (x * x + y * y)).clamp(-1.0, 1.0).acos()
    }

    /// Speed over ground.
    pub fn ground_speed_m_s(&self) -> f64 {
        self.velocity_m_s[0].hypot(self.velocity_m_s[1])
    }
}

/// The rows of one flight.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Recording {
    /// In order of time; the first is at time zero.
    pub rows: Vec<Row>,
}

impl Recording {
    /// Rows between two times, both ends included.
    pub fn between(&self, from_s: f64, to_s: f64) -> impl Iterator<Item = &Row> + Clone {
        self.rows.iter().filter(move |row| row.t_s >= from_s && row.t_s <= to_s)
    }

    /// Writes the rows as CSV.
    ///
    /// Numbers are printed with as many digits as they need to be read back unchanged.
    ///
    /// # Errors
    /// Whatever the writer returns.
    pub fn write_csv(&self, out: impl Write) -> io::Result<()> {
        let mut csv = csv::Writer::from_writer(out);
        let rotors = self.rows.first().map_or(0, |row| row.rotor_n.len());
        csv.write_record(header(rotors))?;
        for row in &self.rows {
            csv.write_record(values(row).map(|value| value.to_string()))?;
        }
        csv.flush()
    }
}

fn header(rotors: usize) -> Vec<String> {
    let fixed = "t_s,north_m,east_m,down_m,v_north_m_s,v_east_m_s,v_down_m_s,q_w,q_x,q_y,q_z,\
                 p_rad_s,q_rad_s,r_rad_s,\
                 demand_thrust_n,demand_roll_nm,demand_pitch_nm,demand_yaw_nm,\
                 achieved_thrust_n,achieved_roll_nm,achieved_pitch_nm,achieved_yaw_nm";
    fixed
        .split(',')
        .map(str::to_owned)
        .chain((1..=rotors).map(|i| format!("rotor_{i}_n")))
        .chain((1..=rotors).map(|i| format!("command_{i}")))
        .collect()
}

fn values(row: &Row) -> impl Iterator<Item = f64> {
    let wrench = |w: Wrench<f64>| [w.thrust_n, w.roll_nm, w.pitch_nm, w.yaw_nm];
    [row.t_s]
        .into_iter()
        .chain(row.position_m)
        .chain(row.velocity_m_s)
        .chain(row.attitude)
        .chain(row.rate_rad_s)
        .chain(wrench(row.demand))
        .chain(wrench(row.achieved))
        .chain(row.rotor_n.clone())
        .chain(row.command.clone())
}
