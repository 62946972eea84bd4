//! The frequency response of a block that flies, read off the block itself.
//!
//! The block is given one small impulse and stepped. What comes out, sample less the sample before, fades even behind an
//! integrator; its sum over z⁻ᵏ, divided by 1 − z⁻¹, is the response. Once only one slow pole is left the rest of the
//! sum is a geometric series.

use evenkeel_controller::{AngleLoop, AxisSetpoint, BodyAxes, Quaternion, RateLoop, RateLoopState};
use nalgebra::Complex;

/// Small enough for no limit to be met, and exact in double precision.
const IMPULSE: f64 = 1.0 / (1 << 20) as f64;
/// Samples taken before the first look at whether only one pole is left.
const FIRST_SAMPLES: usize = 32;
/// Most samples taken.
const MOST_SAMPLES: usize = 1 << 17;
/// The rest counts as one pole when a quarter of the samples follow it this closely, as a share of the largest.
const ONE_POLE_TOL: f64 = 1.0e-12;

/// What a block answers to an impulse, each sample less the one before.
#[derive(Clone, Debug, PartialEq)]
pub struct Driven {
    changes: Vec<f64>,
    /// Ratio of one change to the one before, behind the last.
    fades: f64,
}

impl Driven {
    /// Steps a block that starts at rest: `step` is told its input.
    pub fn by(mut step: impl FnMut(f64) -> f64) -> Self {
        // A block may treat its first sample apart.
        let mut last = step(0.0);
        let mut changes = Vec::new();
        let mut wanted = FIRST_SAMPLES;
        loop {
            while changes.len() < wanted {
                let output = step(if changes.is_empty() { IMPULSE } else { 0.0 });
                changes.push((output - last) / IMPULSE);
                last = output;
            }
            match one_pole(&changes) {
                Some(fades) => return Driven { changes, fades },
                None if wanted >= MOST_SAMPLES => return Driven { changes, fades: 0.0 },
                None => wanted *= 2,
            }
        }
    }

    /// Output over input at a point of the unit circle (not 1).
    pub fn response(&self, z: Complex<f64>) -> Complex<f64> {
        let x = z.inv();
        let last = self.changes.last().copied().unwrap_or_default();
        let rest = last * self.fades / (1.0 - self.fades * x);
        self.changes.iter().rev().fold(rest, |sum, change| sum * x + change) / (1.0 - x)
    }
}

/// The ratio that the last quarter follows, if it follows one below 1.
fn one_pole(changes: &[f64]) -> Option<f64> {
    let largest = changes.iter().fold(0.0_f64, |most, change| most.max(change.abs()));
    let tail = changes.get(changes.len() - changes.len() / 4..)?;
    let (first, second) = (*tail.first()?, *tail.get(1)?);
    if first.abs() <= ONE_POLE_TOL * largest {
        return tail.iter().all(|change| change.abs() <= ONE_POLE_TOL * largest).then_some(0.0);
    }
    let ratio = second / first;
    let follows = |pair: &[f64]| match pair {
        [before, after] => (after - ratio * before).abs() <= ONE_POLE_TOL * largest,
        _ => false,
    };
    (ratio.abs() < 1.0 && tail.windows(2).all(follows)).then_some(ratio)
}

/// The acceleration a rate loop asks for over the rate it sees; negative feedback, so its sign is turned.
pub fn from_rate(block: &RateLoop<f64>) -> Driven {
    let mut state = RateLoopState::default();
    Driven::by(|rate_rad_s| {
        let answer = block.step(&mut state, AxisSetpoint::default(), rate_rad_s);
        block.integrate(&mut state, 0.0);
        -answer
    })
}

/// The acceleration a rate loop asks for over the rate it is asked for.
pub fn from_set_point(block: &RateLoop<f64>) -> Driven {
    let mut state = RateLoopState::default();
    Driven::by(|wanted_rad_s| {
        let answer = block.step(&mut state, AxisSetpoint { wanted_rad_s, ..AxisSetpoint::default() }, 0.0);
        block.integrate(&mut state, 0.0);
        answer
    })
}

/// The rate the angle loop asks for per radian the craft is off about one axis (roll 0, pitch 1, yaw 2), negative
/// feedback; the angle loop remembers nothing.
pub fn from_angle(block: &AngleLoop<f64>, axis: usize) -> f64 {
    let half = 0.5 * IMPULSE;
    let mut attitude = [half.cos(), 0.0, 0.0, 0.0];
    if let Some(part) = attitude.get_mut(axis + 1) {
        *part = half.sin();
    }
    let asked = block.step(Quaternion::from_array(attitude), Quaternion::IDENTITY, BodyAxes::default());
    -asked.to_array().get(axis).copied().unwrap_or(f64::NAN) / IMPULSE
}
