//! What a flight leaves behind: one row a log period, truth first.
//!
//! The column order of the CSV is part of the contract in docs/files.md: scripts read it by name and
//! by place.

use std::io::{self, Write};

use evenkeel_controller::estimate::Alignment;
use evenkeel_controller::{FlightStep, State};
use evenkeel_mixer::{Scalar, Wrench};
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
    /// What the flight computer made of it.
    pub on_board: OnBoard,
}

/// What the flight computer made of one step; not a number where there is no computer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OnBoard {
    /// Estimated attitude, body to world, (w, x, y, z), w ≥ 0.
    pub attitude: [f64; 4],
    /// Body rates as the loops saw them: filtered, less the estimated bias.
    pub rate_rad_s: [f64; 3],
    /// Estimated gyro bias.
    pub bias_rad_s: [f64; 3],
    /// The supervisor's state: its place in [`State::ALL`], from 0.
    pub state: f64,
    /// Sum of the values of [`FLAGS`] that are raised.
    pub flags: f64,
    /// Torque from the demand to the nearest facet of the attainable set; negative outside it.
    pub control_margin_nm: f64,
    /// True supply voltage over that of a full battery.
    pub voltage_share: f64,
    /// Rotor ceilings over those on a full battery, as the mixer had them. No column of the log.
    pub ceiling_share: f64,
    /// True state of charge, 0 to 1; 1 without a battery. It is not written to the log.
    pub state_of_charge: f64,
    /// Rotors that count as failed and get no thrust: the sum of 1 for the first, 2 for the second, 4 for the third and so on.
    pub rotors_out: f64,
}

impl Default for OnBoard {
    fn default() -> Self {
        OnBoard {
            attitude: [f64::NAN; 4],
            rate_rad_s: [f64::NAN; 3],
            bias_rad_s: [f64::NAN; 3],
            state: f64::NAN,
            flags: f64::NAN,
            control_margin_nm: f64::NAN,
            voltage_share: f64::NAN,
            ceiling_share: f64::NAN,
            state_of_charge: f64::NAN,
            rotors_out: f64::NAN,
        }
    }
}

/// The flags of a row, and what each is worth in their sum.
pub const FLAGS: [(f64, &str); 9] = [
    (1.0, "the last commands are held: no new good sample"),
    (2.0, "a rotor stands at a limit, and the demand is not met in full"),
    (4.0, "the estimate has no attitude yet"),
    (8.0, "the gyro is faulty or beyond its range"),
    (16.0, "the accelerometer is faulty"),
    (32.0, "the heading is faulty"),
    (64.0, "the estimated bias stands at its limit"),
    (128.0, "a value given is no number and was passed over"),
    (256.0, "the supervisor has reasons: against arming, or for what it does"),
];

impl OnBoard {
    /// The supervisor's state; none where there is no computer.
    pub fn state(&self) -> Option<State> {
        // A number that is none counts as none.
        (self.state >= 0.0).then(|| State::ALL.get(self.state as usize).copied()).flatten()
    }

    /// From one step's signals.
    pub fn of<S: Scalar, const N: usize>(step: &FlightStep<S, N>, control_margin_nm: f64) -> Self {
        let (estimate, status) = (&step.estimate, &step.estimate.status);
        let loops = step.control.as_ref();
        let raised = [
            step.decision.hold,
            loops.is_some_and(|control| control.allocation.saturated()),
            status.alignment != Alignment::Aligned,
            status.gyro_faulty,
            status.accelerometer_faulty,
            status.heading_faulty,
            status.bias_limited,
            step.passed_over.any() || loops.is_some_and(|control| control.invalid_input),
            !step.decision.reasons.is_empty(),
        ];
        let worth = FLAGS.iter().zip(raised).filter(|(_, raised)| *raised).map(|((worth, _), _)| worth);
        let state = State::ALL.iter().position(|state| *state == step.decision.state);
        OnBoard {
            attitude: estimate.attitude.to_array().map(S::to_f64),
            rate_rad_s: step.rate_rad_s.to_array().map(S::to_f64),
            bias_rad_s: estimate.bias_rad_s.to_array().map(S::to_f64),
            state: state.map_or(f64::NAN, |place| place as f64),
            // From zero: the sum of nothing is −0.
            flags: worth.fold(0.0, |sum, worth| sum + worth),
            control_margin_nm,
            voltage_share: f64::NAN,
            ceiling_share: step.ceiling_share.to_f64(),
            state_of_charge: f64::NAN,
            rotors_out: f64::from(step.stopped_rotors.bits()),
        }
    }
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

    /// Angle between down as estimated and as it is, radians; not a number where nothing is estimated.
    pub fn tilt_error_rad(&self) -> f64 {
        let down =
            |[w, x, y, z]: [f64; 4]| [2.0 * (x * z - w * y), 2.0 * (y * z + w * x), w * w - x * x - y * y + z * z];
        let (truth, estimate) = (down(self.attitude), down(self.on_board.attitude));
        // By the chord, which keeps its digits where the cosine has none.
        let chord = truth.iter().zip(estimate).map(|(a, b)| (a - b) * (a - b)).sum::<f64>().sqrt();
        2.0 * (0.5 * chord).min(1.0).asin()
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
    /// # Errors
    /// Whatever the writer returns.
    pub fn write_csv(&self, out: impl Write) -> io::Result<()> {
        let mut log = CsvLog::new(out, self.rows.first().map_or(0, |row| row.rotor_n.len()))?;
        self.rows.iter().try_for_each(|row| log.row(row))?;
        log.finish()?.flush()
    }
}

/// A log that is written row by row.
///
/// Numbers are printed with as many digits as they need to be read back unchanged.
#[derive(Debug)]
pub struct CsvLog<W: Write> {
    csv: csv::Writer<W>,
}

impl<W: Write> CsvLog<W> {
    /// Begins with the names of the columns, for a craft with so many rotors.
    ///
    /// # Errors
    /// Whatever the writer returns.
    pub fn new(out: W, rotors: usize) -> io::Result<Self> {
        let mut csv = csv::Writer::from_writer(out);
        csv.write_record(columns(rotors))?;
        Ok(CsvLog { csv })
    }

    /// One row more.
    ///
    /// # Errors
    /// Whatever the writer returns.
    pub fn row(&mut self, row: &Row) -> io::Result<()> {
        Ok(self.csv.write_record(values(row).map(|value| value.to_string()))?)
    }

    /// Writes what is still held back; the writer again.
    ///
    /// # Errors
    /// Whatever the writer returns.
    pub fn finish(self) -> io::Result<W> {
        self.csv.into_inner().map_err(csv::IntoInnerError::into_error)
    }
}

const ON_BOARD: &str = "est_q_w,est_q_x,est_q_y,est_q_z,est_p_rad_s,est_q_rad_s,est_r_rad_s,\
                        est_bias_p_rad_s,est_bias_q_rad_s,est_bias_r_rad_s,\
                        state,flags,control_margin_nm,voltage_share,rotors_out";

/// Names of the columns of a log, for a craft with so many rotors.
pub(crate) fn columns(rotors: usize) -> Vec<String> {
    let fixed = "t_s,north_m,east_m,down_m,v_north_m_s,v_east_m_s,v_down_m_s,q_w,q_x,q_y,q_z,\
                 p_rad_s,q_rad_s,r_rad_s,\
                 demand_thrust_n,demand_roll_nm,demand_pitch_nm,demand_yaw_nm,\
                 achieved_thrust_n,achieved_roll_nm,achieved_pitch_nm,achieved_yaw_nm";
    fixed
        .split(',')
        .map(str::to_owned)
        .chain((1..=rotors).map(|i| format!("rotor_{i}_n")))
        .chain((1..=rotors).map(|i| format!("command_{i}")))
        .chain(ON_BOARD.split(',').map(str::to_owned))
        .collect()
}

/// What stands in them.
pub(crate) fn values(row: &Row) -> impl Iterator<Item = f64> {
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
        .chain(row.on_board.attitude)
        .chain(row.on_board.rate_rad_s)
        .chain(row.on_board.bias_rad_s)
        .chain([row.on_board.state, row.on_board.flags, row.on_board.control_margin_nm, row.on_board.voltage_share])
        .chain([row.on_board.rotors_out])
}
