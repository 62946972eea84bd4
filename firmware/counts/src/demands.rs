//! Demands spread evenly over what rotors can do and beyond, the same in every run.
//!
//! * Math: the additive sequence frac(k·φ⁻¹, k·φ⁻², k·φ⁻³, k·φ⁻⁴) with φ⁵ = φ + 1, whose points fill the unit
//!   cube without clusters
//! * Source: H. Niederreiter, Random Number Generation and Quasi-Monte Carlo Methods, 1992, ch. 3
//!   (Kronecker sequences; from memory)

use evenkeel_controller::estimate::InertialSample;
use evenkeel_controller::{BodyAxes, Motion, PilotDemand, Sample};
use evenkeel_mixer::{Design, RotorSet, Wrench};

use crate::crafts::HOVER_N;

/// Demands in one spread.
pub const DEMANDS: usize = 65536;
/// Torques of demands that rotors can meet, as a share of what the rotors of each axis add up to.
pub const GENTLE: f64 = 0.04;
/// Reach of demands at the limits: the first just past them, the last this far, in the same share.
pub const WIDE: f64 = 1.5;

const PHI: f64 = 1.167_303_978_261_418_7;

/// Small torques about half of full thrust.
pub fn gentle<const N: usize, const F: usize>(design: &Design<N, F>) -> impl Iterator<Item = Wrench<f32>> {
    let reach = reach(design);
    (0..DEMANDS).map(move |k| demand(k, reach, GENTLE))
}

/// Anything, growing to [`WIDE`]; those that can be met are among them.
pub fn wide<const N: usize, const F: usize>(design: &Design<N, F>) -> impl Iterator<Item = Wrench<f32>> {
    let reach = reach(design);
    (0..DEMANDS).map(move |k| demand(k, reach, WIDE * (k + 1) as f64 / DEMANDS as f64))
}

fn demand(k: usize, reach: [f64; 4], span: f64) -> Wrench<f32> {
    let mut step = 1.0;
    let mut values = [0.0; 4];
    for (value, reach) in values.iter_mut().zip(reach) {
        step /= PHI;
        let along = (k + 1) as f64 * step;
        let signed = 2.0 * (along - (along as u32) as f64) - 1.0;
        *value = span * signed * reach;
    }
    let [thrust, roll, pitch, yaw] = values;
    let [thrust_reach, ..] = reach;
    Wrench::from_array([0.5 * (thrust_reach + thrust), roll, pitch, yaw].map(|value| value as f32))
}

/// What the rotors add up to in each axis if all push the same way.
fn reach<const N: usize, const F: usize>(design: &Design<N, F>) -> [f64; 4] {
    let mut sum = [0.0; 4];
    let matrix = design.effectiveness();
    for (column, ceiling) in matrix.columns().iter().zip(matrix.ceilings_n()) {
        for (value, share) in sum.iter_mut().zip(column) {
            *value += if *share < 0.0 { -share } else { *share } * ceiling;
        }
    }
    sum
}

/// What a flight computer is told at step `k`, a millisecond apart: sensors that shake, sticks that move by `reach`
/// radians.
pub fn moment(k: usize, reach: f32) -> (Sample<f32, 4>, PilotDemand<f32>) {
    let now_us = 1000 * k as u64;
    let shake = |step: usize| (step * (k + 7) % 17) as f32 / 17.0 - 0.5;
    let sample = Sample {
        now_us,
        sensed_at_us: Some(now_us),
        inertial: InertialSample {
            gyro_rad_s: BodyAxes { roll: 0.01 * shake(3), pitch: 0.01 * shake(5), yaw: 0.005 * shake(11) },
            acceleration_m_s2: [0.1 * shake(2), 0.1 * shake(7), -9.8 + 0.1 * shake(13)],
            heading: None,
        },
        rotor_speeds_rad_s: [700.0, 710.0, 690.0, 705.0],
        stopped_rotors: RotorSet::EMPTY,
        on_ground: Some(false),
        battery_share: Some(0.8),
        voltage_share: Some(0.95),
        climb_m_s: Some(0.1 * shake(4)),
    };
    let side = if (k / 128).is_multiple_of(2) { reach } else { -reach };
    let motion = Motion::Angles { roll_rad: side, pitch_rad: -0.5 * side, yaw_rate_rad_s: 4.0 * side };
    (sample, PilotDemand { at_us: Some(now_us), arm: true, disarm: false, thrust_n: HOVER_N as f32, motion })
}
