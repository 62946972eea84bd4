//! What a rate loop asks of the rotors after its set-point has jumped.
//!
//! The block that flies is stepped in front of the plant, linear around hover. Between two arrivals of commands the rotors
//! and the body are integrated exactly.
//!
//! * Math: over a time h with the command u: x ← u + (x − u)·e^(−h/τ), ω ← ω + c·(u·h + (x − u)·τ·(1 − e^(−h/τ))) + τ_z·Δx,
//!   x the share of the demand that a group of rotors gives, c its share of the axis, τ_z the lead of spinning it up

use std::collections::VecDeque;

use evenkeel_controller::filter::{SecondOrderLowPass, SecondOrderLowPassState};
use evenkeel_controller::{AxisSetpoint, RateLoop, RateLoopState};

use super::plant::SampledPlant;

/// Small enough for no limit to be met.
const STEP_RAD_S: f64 = 1.0 / (1 << 20) as f64;
/// How long is looked at: this many times 1/P, and this many times the rotors' lag and the delay.
const HORIZON: f64 = 8.0;
/// Most samples looked at.
const MOST_SAMPLES: f64 = 1.0e6;

/// Largest angular acceleration asked for, per rad/s by which the set-point has jumped, with no angle loop above.
pub(super) fn peak_demand_per_s(
    block: &RateLoop<f64>,
    p_per_s: f64,
    plant: &SampledPlant,
    gyro: Option<&SecondOrderLowPass<f64>>,
) -> f64 {
    let period_s = plant.period_s;
    let slowest_s = plant.groups.iter().map(|group| group.lag_s).fold(plant.delay_s, f64::max);
    let samples = (HORIZON * (1.0 / p_per_s + slowest_s) / period_s).min(MOST_SAMPLES) as usize;
    let whole = (plant.delay_s / period_s).floor();
    let late_s = plant.delay_s - whole * period_s;
    let mut under_way = VecDeque::from(vec![0.0; whole as usize + 1]);
    let (mut body, mut rate_loop) = (Turning::new(plant), RateLoopState::default());
    let mut filter = SecondOrderLowPassState::default();
    let setpoint = AxisSetpoint { wanted_rad_s: STEP_RAD_S, ..AxisSetpoint::default() };
    let mut peak: f64 = 0.0;
    for _ in 0..samples {
        let seen = gyro.map_or(body.rate_rad_s, |gyro| gyro.step(&mut filter, body.rate_rad_s));
        let asked = block.step(&mut rate_loop, setpoint, seen);
        block.integrate(&mut rate_loop, 0.0);
        peak = peak.max(asked.abs());
        under_way.push_back(asked);
        let before = under_way.pop_front().unwrap_or_default();
        let after = under_way.front().copied().unwrap_or_default();
        body.advance(late_s, before);
        body.advance(period_s - late_s, after);
    }
    peak / STEP_RAD_S
}

/// Rotors and body about one axis.
struct Turning<'a> {
    plant: &'a SampledPlant,
    given: Vec<f64>,
    rate_rad_s: f64,
}

impl<'a> Turning<'a> {
    fn new(plant: &'a SampledPlant) -> Self {
        Turning { plant, given: vec![0.0; plant.groups.len()], rate_rad_s: 0.0 }
    }

    fn advance(&mut self, time_s: f64, told: f64) {
        for (given, group) in self.given.iter_mut().zip(&self.plant.groups) {
            let left = (-time_s / group.lag_s).exp();
            let behind = *given - told;
            self.rate_rad_s += group.share * (told * time_s + behind * group.lag_s * (1.0 - left));
            self.rate_rad_s += group.spin_up_s * behind * (left - 1.0);
            *given = told + behind * left;
        }
    }
}

#[cfg(test)]
mod tests {
    use evenkeel_controller::RateLoopConfig;
    use evenkeel_controller::filter::SecondOrderLowPassConfig;

    use super::super::plant::RotorGroup;
    use super::*;

    const PERIOD_S: f64 = 1e-3;
    const P_PER_S: f64 = 20.0;
    /// The sums of both differ by rounding.
    const SHARE_TOL: f64 = 1e-6;

    fn proportional_and_integral(i_per_s2: f64) -> RateLoop<f64> {
        let config = RateLoopConfig {
            p_per_s: P_PER_S,
            i_per_s2,
            d: 0.0,
            d_filter_hz: 30.0,
            set_point_weight: 1.0,
            feed_forward: 1.0,
            integral_max_rad_s2: 10.0,
        };
        RateLoop::new(&config, PERIOD_S).unwrap()
    }

    fn peak(i_per_s2: f64, delay_s: f64) -> f64 {
        let group = RotorGroup { lag_s: 0.01, share: 1.0, spin_up_s: 0.0 };
        let plant = SampledPlant { period_s: PERIOD_S, delay_s, groups: vec![group] };
        peak_demand_per_s(&proportional_and_integral(i_per_s2), P_PER_S, &plant, None)
    }

    /// Without an integral part the demand is largest at once; with one it grows by K_i·T a sample until the rate comes.
    #[test]
    fn demand_is_p_at_once_and_grows_by_the_integral_while_nothing_turns() {
        assert!((peak(0.0, 1e-3) - 20.0).abs() < 1e-9);
        let late = peak(80.0, 50e-3);
        assert!(late > 20.0 + 80.0 * 50e-3 && late < 20.0 + 80.0 * 70e-3, "{late}");
    }

    /// Rotors without a lag, as a sum over all that was asked: a command acts for a period, from when it arrives.
    #[test]
    fn peak_is_that_of_the_sum_of_commands_when_they_come_late() {
        const I_PER_S2: f64 = 80.0;
        let filter = SecondOrderLowPassConfig { corner_hz: 20.0, quality: std::f64::consts::FRAC_1_SQRT_2 };
        let filter = SecondOrderLowPass::<f64>::new(&filter, PERIOD_S).unwrap();
        let told = |delay_s: f64, gyro: Option<&SecondOrderLowPass<f64>>| {
            let (mut asked, mut integral, mut state) = (Vec::new(), 0.0, SecondOrderLowPassState::default());
            for now in 0..600 {
                let acts_s = |k: usize| ((now - k) as f64 * PERIOD_S - delay_s).clamp(0.0, PERIOD_S);
                let rate: f64 = asked.iter().enumerate().map(|(k, command)| command * acts_s(k)).sum();
                let error = 1.0 - gyro.map_or(rate, |gyro| gyro.step(&mut state, rate));
                asked.push(P_PER_S * error + integral);
                integral += I_PER_S2 * PERIOD_S * error;
            }
            asked.into_iter().fold(0.0, |most: f64, command| most.max(command.abs()))
        };
        for (delay_s, gyro) in [(1e-3, None), (0.03, None), (0.0304, None), (0.0304, Some(&filter))] {
            let group = RotorGroup { lag_s: 1e-9, share: 1.0, spin_up_s: 0.0 };
            let plant = SampledPlant { period_s: PERIOD_S, delay_s, groups: vec![group] };
            let found = peak_demand_per_s(&proportional_and_integral(I_PER_S2), P_PER_S, &plant, gyro);
            let told = told(delay_s, gyro);
            assert!((found / told - 1.0).abs() < SHARE_TOL, "{delay_s} s: {found}, told {told}");
        }
    }

    /// Spinning the rotors up turns the body at once by what they have gathered, times its lead.
    #[test]
    fn body_is_turned_by_spinning_the_rotors_up() {
        let group = |spin_up_s| RotorGroup { lag_s: 0.03, share: 1.0, spin_up_s };
        let turned = |spin_up_s| {
            let plant = SampledPlant { period_s: PERIOD_S, delay_s: 0.0, groups: vec![group(spin_up_s)] };
            let mut body = Turning::new(&plant);
            [0.004, 0.011].into_iter().for_each(|part_s| body.advance(part_s, 2.0));
            body.rate_rad_s
        };
        let told = 0.007 * 2.0 * (1.0 - (-0.015_f64 / 0.03).exp());
        assert!((turned(0.007) - turned(0.0) - told).abs() < 1e-12, "{} {told}", turned(0.007) - turned(0.0));
    }

    /// A double integrator's worth of closed form: a constant command c from rest turns the body by c·(t − τ(1 − e^(−t/τ))).
    #[test]
    fn body_turns_as_the_lag_lets_it_when_told_one_thing() {
        let group = RotorGroup { lag_s: 0.03, share: 1.0, spin_up_s: 0.0 };
        let plant = SampledPlant { period_s: 1e-3, delay_s: 0.0, groups: vec![group] };
        let mut body = Turning::new(&plant);
        for part_s in [0.004, 0.011, 0.0005, 0.0345] {
            body.advance(part_s, 2.0);
        }
        let told = 2.0 * (0.05 - 0.03 * (1.0 - (-0.05_f64 / 0.03).exp()));
        assert!((body.rate_rad_s - told).abs() < 1e-12, "{} {told}", body.rate_rad_s);
    }
}
