//! The frequency response of a block that flies, read off the block itself.
//!
//! The block is given one small impulse and stepped. What comes out, sample less the sample before, fades even behind an
//! integrator; its sum over z⁻ᵏ, divided by 1 − z⁻¹, is the response. Once only one slow pole is left the rest of the
//! sum is a geometric series. A second impulse of another size says whether the block is linear at all.

use std::fmt;

use evenkeel_controller::{AngleLoop, AxisSetpoint, BodyAxes, Quaternion, RateLoop, RateLoopState};
use nalgebra::Complex;

/// Small enough for no limit to be met, and exact in double precision.
const IMPULSE: f64 = 1.0 / (1 << 20) as f64;
/// A second impulse, the other way and larger, tells whether the block is linear.
const SECOND_FACTOR: f64 = -1024.0;
/// Both answers must agree to this, as a share of the largest; rounding in the first is less than a tenth of it.
pub const LINEAR_TOL: f64 = 1.0e-8;
/// Samples taken before the first look at whether only one pole is left.
const FIRST_SAMPLES: usize = 32;
/// A block that has not answered by then is silent.
const SILENT_SAMPLES: usize = 1 << 12;
/// Most samples taken.
const MOST_SAMPLES: usize = 1 << 17;
/// The rest counts as one pole when a quarter of the samples follow it this closely, as a share of the largest.
const ONE_POLE_TOL: f64 = 1.0e-12;

/// Not more than this is left out, as a share of the largest.
const ROUNDING: f64 = 1.0e-15;

/// What a block answers to an impulse, each sample less the one before.
#[derive(Clone, Debug, PartialEq)]
pub struct Driven {
    changes: Vec<f64>,
    /// Ratio of one change to the one before, behind the last.
    fades: f64,
}

/// Why a block has no frequency response.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NoResponse {
    /// What it answers is no multiple of what it is given, or no number.
    NotLinear,
    /// Its answer goes on changing.
    DoesNotFade,
}

impl fmt::Display for NoResponse {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            NoResponse::NotLinear => "a block of the loop is not linear around hover",
            NoResponse::DoesNotFade => "what a block of the loop answers to an impulse goes on changing",
        })
    }
}

impl std::error::Error for NoResponse {}

impl Driven {
    /// Steps a block twice from rest: `at_rest` makes a step function, which is told its input.
    ///
    /// # Errors
    /// When the block is not linear, or what it answers to an impulse neither fades nor settles.
    pub fn by<F: FnMut(f64) -> f64>(at_rest: impl Fn() -> F) -> Result<Self, NoResponse> {
        let mut first = Struck::new(at_rest(), IMPULSE);
        let mut wanted = FIRST_SAMPLES;
        let fades = loop {
            first.go_on(wanted);
            match one_pole(&first.changes) {
                Some(fades) => break fades,
                None if !first.changes.iter().all(|change| change.is_finite()) => return Err(NoResponse::NotLinear),
                None if wanted >= MOST_SAMPLES => return Err(NoResponse::DoesNotFade),
                None => wanted *= 2,
            }
        };
        let mut second = Struck::new(at_rest(), SECOND_FACTOR * IMPULSE);
        second.go_on(wanted);
        let within = LINEAR_TOL * largest(&first.changes).max(largest(&second.changes));
        let mut pairs = first.changes.iter().zip(&second.changes);
        if !pairs.all(|(one, other)| (one - other).abs() <= within) {
            return Err(NoResponse::NotLinear);
        }
        // Nothing is a sum without terms.
        let mut changes = if largest(&first.changes) > 0.0 { first.changes } else { Vec::new() };
        // What follows the pole to the last bits is in the rest already.
        let within = ROUNDING * largest(&changes);
        while let [.., before, last] = changes.as_slice()
            && (last - fades * before).abs() <= within
        {
            changes.pop();
        }
        Ok(Driven { changes, fades })
    }

    /// Output over input at a point of the unit circle (not 1).
    pub fn response(&self, z: Complex<f64>) -> Complex<f64> {
        let x = z.inv();
        let last = self.changes.last().copied().unwrap_or_default();
        let rest = last * self.fades / (1.0 - self.fades * x);
        self.changes.iter().rev().fold(rest, |sum, change| sum * x + change) / (1.0 - x)
    }
}

/// A block after one impulse.
struct Struck<F> {
    step: F,
    impulse: f64,
    last: f64,
    changes: Vec<f64>,
}

impl<F: FnMut(f64) -> f64> Struck<F> {
    fn new(mut step: F, impulse: f64) -> Self {
        // A block may treat its first sample apart.
        let last = step(0.0);
        Struck { step, impulse, last, changes: Vec::new() }
    }

    fn go_on(&mut self, wanted: usize) {
        while self.changes.len() < wanted {
            let output = (self.step)(if self.changes.is_empty() { self.impulse } else { 0.0 });
            self.changes.push((output - self.last) / self.impulse);
            self.last = output;
        }
    }
}

fn largest(changes: &[f64]) -> f64 {
    changes.iter().fold(0.0_f64, |most, change| most.max(change.abs()))
}

/// The ratio that the last quarter follows, if it follows one below 1.
fn one_pole(changes: &[f64]) -> Option<f64> {
    let largest = largest(changes);
    if largest == 0.0 && changes.len() < SILENT_SAMPLES {
        return None;
    }
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
///
/// # Errors
/// When the block has no frequency response.
pub fn from_rate(block: &RateLoop<f64>) -> Result<Driven, NoResponse> {
    Driven::by(|| {
        let mut state = RateLoopState::default();
        move |rate_rad_s| {
            let answer = block.step(&mut state, AxisSetpoint::default(), rate_rad_s);
            block.integrate(&mut state, 0.0);
            -answer
        }
    })
}

/// The acceleration a rate loop asks for over the rate it is asked for.
///
/// # Errors
/// When the block has no frequency response.
pub fn from_set_point(block: &RateLoop<f64>) -> Result<Driven, NoResponse> {
    Driven::by(|| {
        let mut state = RateLoopState::default();
        move |wanted_rad_s| {
            let answer = block.step(&mut state, AxisSetpoint { wanted_rad_s, ..AxisSetpoint::default() }, 0.0);
            block.integrate(&mut state, 0.0);
            answer
        }
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

#[cfg(test)]
mod tests {
    use std::collections::VecDeque;

    use evenkeel_controller::filter::{SecondOrderLowPass, SecondOrderLowPassConfig, SecondOrderLowPassState};
    use evenkeel_controller::{AngleLoopConfig, RateLoopConfig};

    use super::*;

    /// Apart from the closed forms by rounding alone, over 1 − z⁻¹ at the lowest frequency.
    const SHARE_TOL: f64 = 1.0e-8;
    const PERIOD_S: f64 = 1.0e-3;

    fn agrees(driven: &Driven, told: impl Fn(Complex<f64>) -> Complex<f64>) {
        for turn in [1e-5, 1e-3, 0.03, 0.4, 1.5, 3.0] {
            let z = Complex::cis(turn);
            let (found, told) = (driven.response(z), told(z));
            assert!((found - told).norm() <= SHARE_TOL * told.norm().max(1.0), "{turn}: {found} {told}");
        }
    }

    #[test]
    fn is_a_power_of_z_when_the_block_is_a_delay() {
        let late = |samples: usize| {
            Driven::by(move || {
                let mut under_way = VecDeque::from(vec![0.0; samples]);
                move |input| {
                    under_way.push_back(input);
                    under_way.pop_front().unwrap_or(f64::NAN)
                }
            })
        };
        agrees(&late(0).unwrap(), |_| Complex::ONE);
        agrees(&late(3).unwrap(), |z| z.powi(-3));
        // Beyond the first look, which could take silence for the end.
        agrees(&late(200).unwrap(), |z| z.powi(-200));
    }

    #[test]
    fn is_the_closed_form_when_the_block_is_a_lag() {
        for keep in [0.2, 0.9, 0.9995] {
            let lag = Driven::by(|| {
                let mut held = 0.0;
                move |input: f64| {
                    held = keep * held + (1.0 - keep) * input;
                    held
                }
            });
            agrees(&lag.unwrap(), |z| (1.0 - keep) / (1.0 - keep / z));
        }
    }

    #[test]
    fn is_proportional_and_integral_when_the_rate_loop_has_no_derivative() {
        let config = RateLoopConfig {
            p_per_s: 20.0,
            i_per_s2: 80.0,
            d: 0.0,
            d_filter_hz: 30.0,
            set_point_weight: 0.7,
            feed_forward: 1.0,
            integral_max_rad_s2: 10.0,
        };
        let block = RateLoop::<f64>::new(&config, PERIOD_S).unwrap();
        // The integrator takes the error up after the step: z⁻¹/(1 − z⁻¹).
        let integral = |z: Complex<f64>| 80.0 * PERIOD_S / (z - 1.0);
        agrees(&from_rate(&block).unwrap(), |z| 20.0 + integral(z));
        agrees(&from_set_point(&block).unwrap(), |z| 0.7 * 20.0 + integral(z));
    }

    #[test]
    fn is_the_derivative_behind_its_filter_when_the_rate_loop_has_nothing_else() {
        let config = RateLoopConfig {
            p_per_s: 0.0,
            i_per_s2: 0.0,
            d: 0.5,
            d_filter_hz: 30.0,
            set_point_weight: 1.0,
            feed_forward: 1.0,
            integral_max_rad_s2: 10.0,
        };
        let block = RateLoop::<f64>::new(&config, PERIOD_S).unwrap();
        let lag_s = 1.0 / (std::f64::consts::TAU * 30.0);
        agrees(&from_rate(&block).unwrap(), |z| 0.5 * (1.0 - z.inv()) / (lag_s + PERIOD_S - lag_s / z));
        agrees(&from_set_point(&block).unwrap(), |_| Complex::ZERO);
    }

    /// Two poles that turn: no geometric series, and the filter says its own response.
    #[test]
    fn is_what_the_filter_says_itself_when_its_poles_turn() {
        let config = SecondOrderLowPassConfig { corner_hz: 40.0, quality: 2.0 };
        let block = SecondOrderLowPass::<f64>::new(&config, PERIOD_S).unwrap();
        let driven = Driven::by(|| {
            let mut state = SecondOrderLowPassState::default();
            move |input| block.step(&mut state, input)
        });
        agrees(&driven.unwrap(), |z| {
            let seen = block.response(z.arg() / (std::f64::consts::TAU * PERIOD_S));
            Complex::from_polar(seen.gain, seen.phase_rad)
        });
    }

    #[test]
    fn angle_loop_answers_its_gain_on_each_axis() {
        let config = AngleLoopConfig { gain_per_s: [7.0, 5.0, 2.0], rate_max_rad_s: [3.0; 3] };
        let block = AngleLoop::<f64>::new(&config).unwrap();
        for (axis, gain) in config.gain_per_s.into_iter().enumerate() {
            assert!((from_angle(&block, axis) - gain).abs() < SHARE_TOL * gain, "{axis}");
        }
    }

    #[test]
    fn block_is_refused_when_it_is_not_linear() {
        let refused = |block: fn(f64) -> f64| Driven::by(move || block).map(|_| ());
        assert_eq!(refused(|input| 3.0 * input), Ok(()));
        assert_eq!(refused(|input| input * input), Err(NoResponse::NotLinear));
        assert_eq!(refused(f64::abs), Err(NoResponse::NotLinear));
        assert_eq!(refused(|input| input.clamp(-1e-5, 1e-5)), Err(NoResponse::NotLinear), "a limit");
        assert_eq!(refused(|input| if input.abs() < 1e-4 { 0.0 } else { input }), Err(NoResponse::NotLinear), "a gap");
        assert_eq!(refused(|input| (input * 1e7).round() / 1e7), Err(NoResponse::NotLinear), "steps");
        assert_eq!(refused(|_| f64::NAN), Err(NoResponse::NotLinear));
        assert_eq!(refused(|input| 1.0 + input), Ok(()), "a constant does not show in what changes");
    }

    #[test]
    fn rate_loop_is_refused_when_its_integrator_stands_at_its_limit() {
        let config = RateLoopConfig {
            p_per_s: 20.0,
            i_per_s2: 80.0,
            d: 0.0,
            d_filter_hz: 30.0,
            set_point_weight: 1.0,
            feed_forward: 1.0,
            integral_max_rad_s2: 0.0,
        };
        let wide = RateLoop::<f64>::new(&RateLoopConfig { integral_max_rad_s2: 1.0, ..config }, PERIOD_S).unwrap();
        assert!(from_rate(&wide).is_ok());
        // The first impulse stays inside it, the second does not.
        let narrow = RateLoopConfig { integral_max_rad_s2: 1e-6, ..config };
        let narrow = RateLoop::<f64>::new(&narrow, PERIOD_S).unwrap();
        assert_eq!(from_rate(&narrow), Err(NoResponse::NotLinear));
    }

    #[test]
    fn block_is_refused_when_its_answer_never_comes_to_rest() {
        let ringing = Driven::by(|| {
            let (mut before, mut now) = (0.0, 0.0);
            move |input: f64| {
                let next = 2.0 * 0.3_f64.cos() * now - before + input;
                (before, now) = (now, next);
                next
            }
        });
        assert_eq!(ringing.map(|_| ()), Err(NoResponse::DoesNotFade));
        let growing = Driven::by(|| {
            let mut held = 0.0;
            move |input: f64| {
                held = 1.01 * held + input;
                held
            }
        });
        assert!(growing.is_err());
    }
}
