//! The sampled plant: hold, delay, rotors, body, from a demanded acceleration to the rate at the samples.
//!
//! * Math: with x = z⁻¹, a = e^(−T/τ), delay D = (l + f)·T, m = 1 − f and E = e^(−mT/τ), the step responses of 1/(τs+1)
//!   and 1/(s(τs+1)), taken at (n + m)·T and summed, times (1 − x)·x^(l+1); exact for every D ≥ 0
//! * Source: the modified z-transform, E. I. Jury, Theory and Application of the z-Transform Method, 1964 (from memory)

use nalgebra::Complex;

/// What the rotors that share one lag do to an axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RotorGroup {
    /// First-order lag of their speed, and so of small changes in their thrust.
    pub lag_s: f64,
    /// Their share of the axis's torque; the shares of all groups add up to 1.
    pub share: f64,
    /// Torque of spinning them up, as the time by which it leads their share.
    pub spin_up_s: f64,
}

/// One axis of a craft from hover: what becomes of a demanded angular acceleration.
#[derive(Clone, Debug, PartialEq)]
pub struct SampledPlant {
    /// Sample period.
    pub period_s: f64,
    /// From the sample to the command's arrival at the rotor; at least 0.
    pub delay_s: f64,
    /// Rotors by lag.
    pub groups: Vec<RotorGroup>,
}

impl SampledPlant {
    /// Body rate at the samples over the demanded acceleration, rad/s per rad/s².
    pub fn rate(&self, z: Complex<f64>) -> Complex<f64> {
        self.sum(z, |at, group| group.share * at.once() + group.spin_up_s * at.lag())
    }

    fn sum(&self, z: Complex<f64>, term: impl Fn(&Held, &RotorGroup) -> Complex<f64>) -> Complex<f64> {
        let whole = (self.delay_s / self.period_s).floor();
        let left = 1.0 - (self.delay_s / self.period_s - whole);
        let x = z.inv();
        let late = x.powf(whole + 1.0);
        let each = |group: &RotorGroup| term(&Held { x, left, period_s: self.period_s, lag_s: group.lag_s }, group);
        late * self.groups.iter().map(each).sum::<Complex<f64>>()
    }
}

/// A held input in front of a lag and an integrator.
struct Held {
    x: Complex<f64>,
    /// Share of the first period that is left when the input arrives.
    left: f64,
    period_s: f64,
    lag_s: f64,
}

impl Held {
    /// What has died away: (1 − x)·Σ e^(−(n+m)T/τ)·xⁿ.
    fn fading(&self) -> Complex<f64> {
        let (first, each) = ((-self.left * self.period_s / self.lag_s).exp(), (-self.period_s / self.lag_s).exp());
        first * (1.0 - self.x) / (1.0 - each * self.x)
    }

    /// (1 − x)·Σ (n+m)T·xⁿ.
    fn ramp(&self) -> Complex<f64> {
        self.period_s * (self.x / (1.0 - self.x) + self.left)
    }

    fn lag(&self) -> Complex<f64> {
        1.0 - self.fading()
    }

    fn once(&self) -> Complex<f64> {
        self.ramp() - self.lag_s * self.lag()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SHARE_TOL: f64 = 1e-9;

    fn plant(delay_s: f64) -> SampledPlant {
        let group = RotorGroup { lag_s: 0.03, share: 1.0, spin_up_s: 0.0 };
        SampledPlant { period_s: 1e-3, delay_s, groups: vec![group] }
    }

    /// Without delay the textbook's zero-order hold of an integrator behind a lag: T/(z−1) − τ(1−a)/(z−a).
    #[test]
    fn is_the_textbook_hold_when_nothing_is_late() {
        for omega in [1.0, 30.0, 800.0] {
            let z = Complex::cis(omega * 1e-3);
            let a = (-1e-3 / 0.03_f64).exp();
            let told = 1e-3 / (z - 1.0) - 0.03 * (1.0 - a) / (z - a);
            assert!((plant(0.0).rate(z) / told - 1.0).norm() < SHARE_TOL, "{omega}");
            let late = plant(3e-3).rate(z) / (told * z.powi(-3));
            assert!((late - 1.0).norm() < SHARE_TOL, "{omega}: {late}");
        }
    }

    /// Half a period late: the z-transform of the pulse response, summed term by term off the unit circle.
    #[test]
    fn is_the_sum_of_its_pulse_response_when_it_is_late_by_part_of_a_period() {
        let z = Complex::from_polar(1.05, 0.2);
        let (lag, delay) = (0.03, 2.4e-3);
        let after = |t: f64| if t > 0.0 { t - lag * (1.0 - (-t / lag).exp()) } else { 0.0 };
        let sum = |step: &dyn Fn(f64) -> f64| -> Complex<f64> {
            let at = |n: i32| 1e-3 * f64::from(n) - delay;
            (0..2000).map(|n| (step(at(n)) - step(at(n - 1))) * z.powi(-n)).sum()
        };
        assert!((plant(delay).rate(z) / sum(&after) - 1.0).norm() < 1e-6);
    }
}
