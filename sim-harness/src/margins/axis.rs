//! The two loops of one axis as they fly, each cut open with the other closed.
//!
//! The rate loop is cut at the torque demand; the angle loop above it is closed and taken as its held output is seen at
//! rate-loop frequencies: with the hold's average gain and delay, what folding adds left out, since two integrators stand
//! before it. The angle loop is cut at the rate set-point, at its own sample rate, and lifted exactly: every frequency
//! that folds onto the one looked at is summed. The attitude is the sum of the gyro's samples, as the estimate makes it;
//! its correction is slower than any loop here.

use std::f64::consts::{PI, TAU};

use evenkeel_controller::filter::SecondOrderLowPass;
use evenkeel_controller::{AngleLoop, RateLoop};
use nalgebra::Complex;

use super::driven::{self, Driven};
use super::gyro::gyro_late_s;
use super::plant::SampledPlant;
use super::rotors::rotor_groups;
use super::stability::StabilityMargins;
use super::step_demand::peak_demand_per_s;
use crate::craft::Craft;
use crate::onboard::{Onboard, Unflyable};

/// The lowest frequency looked at, as a share of half the sample rate ...
const LOWEST_SHARE: f64 = 1.0e-6;
/// ... and of P, whichever is lower: a weak axis crosses over far below.
const LOWEST_SHARE_OF_P: f64 = 1.0e-3;

/// One axis, linear around hover.
#[derive(Clone, Debug)]
pub struct AxisLoops {
    /// From demanded acceleration to rate and angle.
    pub plant: SampledPlant,
    from_rate: Driven,
    from_set_point: Driven,
    angle_gain_per_s: f64,
    angle_divider: u32,
    gyro: Option<SecondOrderLowPass<f64>>,
    rate_loop: RateLoop<f64>,
    p_per_s: f64,
}

impl AxisLoops {
    /// Linearises the blocks that fly.
    ///
    /// # Errors
    /// When the craft cannot be flown, and why.
    pub fn all(craft: &Craft, onboard: &Onboard<f64>) -> Result<[AxisLoops; 3], Unflyable> {
        let config = &onboard.config;
        let low_pass = onboard.computer_config.gyro_filter.low_pass.as_ref();
        let gyro = low_pass.map(|filter| SecondOrderLowPass::new(filter, config.period_s)).transpose();
        let gyro = gyro.map_err(|_| Unflyable::Computer)?;
        let angle = AngleLoop::new(&config.angle)
            .map_err(|cause| Unflyable::Controller(evenkeel_controller::ControllerError::AngleLoop(cause)))?;
        let made = |axis: usize| -> Result<AxisLoops, Unflyable> {
            let rate = RateLoop::new(&config.rate[axis], config.period_s).map_err(|cause| {
                Unflyable::Controller(evenkeel_controller::ControllerError::RateLoop { axis, cause })
            })?;
            Ok(AxisLoops {
                plant: SampledPlant {
                    period_s: config.period_s,
                    delay_s: config.period_s + craft.loops.extra_delay_s + gyro_late_s(craft, config.period_s),
                    groups: rotor_groups(craft, &onboard.mixer, &onboard.authority, axis),
                },
                from_rate: driven::from_rate(&rate).map_err(Unflyable::NoResponse)?,
                from_set_point: driven::from_set_point(&rate).map_err(Unflyable::NoResponse)?,
                angle_gain_per_s: driven::from_angle(&angle, axis),
                angle_divider: config.angle_divider,
                gyro,
                rate_loop: rate,
                p_per_s: config.rate[axis].p_per_s,
            })
        };
        Ok([made(0)?, made(1)?, made(2)?])
    }

    /// The rate loop cut at the torque demand, the angle loop above it closed.
    pub fn rate_response(&self, omega_rad_s: f64) -> Complex<f64> {
        let z = self.z(omega_rad_s);
        let divider = f64::from(self.angle_divider);
        let asked = self.angle_gain_per_s * self.held(z) / divider * self.attitude(z);
        self.inner(z) + self.from_set_point.response(z) * asked
    }

    /// The rate loop cut at the torque demand with no angle loop above it, as when rates are flown.
    pub fn rate_alone_response(&self, omega_rad_s: f64) -> Complex<f64> {
        self.inner(self.z(omega_rad_s))
    }

    /// The angle loop cut at the rate set-point, the rate loop closed.
    pub fn angle_response(&self, omega_rad_s: f64) -> Complex<f64> {
        let divider = f64::from(self.angle_divider);
        let fold = TAU / (divider * self.plant.period_s);
        let one = |index: u32| {
            let z = self.z(omega_rad_s + f64::from(index) * fold);
            self.held(z) * self.from_set_point.response(z) * self.attitude(z) / (1.0 + self.inner(z))
        };
        self.angle_gain_per_s / divider * (0..self.angle_divider).map(one).sum::<Complex<f64>>()
    }

    /// Periods of the rate loop in one of the angle loop.
    pub(super) fn angle_divider(&self) -> f64 {
        f64::from(self.angle_divider)
    }

    /// Margins of the rate loop with the angle loop closed.
    pub fn rate(&self) -> StabilityMargins {
        if !self.rate_alone().stable {
            return StabilityMargins::none();
        }
        StabilityMargins::of(&|omega| self.rate_response(omega), self.span(1.0))
    }

    /// Margins of the rate loop with no angle loop above it.
    pub fn rate_alone(&self) -> StabilityMargins {
        StabilityMargins::of(&|omega| self.rate_alone_response(omega), self.span(1.0))
    }

    /// Margins of the angle loop.
    pub fn angle(&self) -> StabilityMargins {
        // What is closed inside must hold by itself for Nyquist's count to be right.
        if !self.rate_alone().stable {
            return StabilityMargins::none();
        }
        StabilityMargins::of(&|omega| self.angle_response(omega), self.span(self.angle_divider()))
    }

    /// Largest angular acceleration asked for after the rate set-point has jumped by 1 rad/s, no angle loop above.
    pub fn peak_demand_per_s(&self) -> f64 {
        peak_demand_per_s(&self.rate_loop, self.p_per_s, &self.plant, self.gyro.as_ref())
    }

    /// Frequencies of a loop that runs every `divider`-th period, up to half its sample rate, rad/s.
    pub(super) fn span(&self, divider: f64) -> std::ops::RangeInclusive<f64> {
        let half_rate = PI / (self.plant.period_s * divider);
        // Without P: nothing crosses over.
        let slowest = if self.p_per_s > 0.0 { LOWEST_SHARE_OF_P * self.p_per_s } else { half_rate };
        (LOWEST_SHARE * half_rate).min(slowest)..=half_rate
    }

    fn z(&self, omega_rad_s: f64) -> Complex<f64> {
        Complex::cis(omega_rad_s * self.plant.period_s)
    }

    /// Rate loop and plant.
    fn inner(&self, z: Complex<f64>) -> Complex<f64> {
        self.from_rate.response(z) * self.filtered(z) * self.plant.rate(z)
    }

    /// Estimated angle over the demanded acceleration: what the gyro said, this sample's included, times the period. It does
    /// not pass the gyro's low-pass.
    fn attitude(&self, z: Complex<f64>) -> Complex<f64> {
        self.plant.period_s / (1.0 - z.inv()) * self.plant.rate(z)
    }

    /// A value held for as many samples as the angle loop waits.
    fn held(&self, z: Complex<f64>) -> Complex<f64> {
        let x = z.inv();
        (0..self.angle_divider).fold(Complex::ZERO, |sum, _| sum * x + 1.0)
    }

    fn filtered(&self, z: Complex<f64>) -> Complex<f64> {
        let Some(filter) = &self.gyro else { return Complex::ONE };
        let turn = z.arg();
        let seen = filter.response((turn.abs() / (TAU * self.plant.period_s)).min(0.5 / self.plant.period_s));
        Complex::from_polar(seen.gain, seen.phase_rad * turn.signum())
    }
}
