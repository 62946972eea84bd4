//! How far the gyro's noise alone swings the rotors' commands in hover.
//!
//! * Math: a one-sided density n of the gyro leaves the angular acceleration demanded with the deviation
//!   σ² = n²·∫|L(f)·(P + D·jω/(1 + jω/ω_d))|² df up to half the loop rate, L the gyro's low-pass; torque J·σ about each axis is shared
//!   out by least squares, and a newton is worth dc/df of command at the hover thrust. The three axes add up by their squares
//! * The loop around it is left out: it changes the noise at low frequencies, where there is little
//! * Source: white noise through a linear filter (any text on random signals, from memory)

use std::f64::consts::TAU;

use evenkeel_controller::RateLoopConfig;
use evenkeel_mixer::Wrench;

use super::effectiveness::{least_squares_n, torque_nm};
use crate::craft::Craft;
use crate::onboard::thrust_curve;
use crate::site::Site;
use crate::verdict::{Check, Limit};

/// Largest of some hundreds of samples less the smallest, in deviations (normal distribution).
const SWING_DEVIATIONS: f64 = 7.0;
/// Our choice: motors that are driven up and down by more run hot, and nothing is left of a quiet hover.
const SWING_MAX: f64 = 0.15;
/// Points of the integral.
const POINTS: u32 = 400;

/// The swing, as a share of full command: of the rotor that swings most.
pub(super) fn swing(site: &Site<'_>) -> f64 {
    let (craft, onboard) = (site.craft, site.onboard);
    let noise = [0, 1, 2].map(|axis| onboard.config.rate.get(axis).map_or(f64::NAN, |rate| deviation(craft, rate)));
    let hover = Wrench { thrust_n: site.weight_n() as f32, ..Wrench::default() };
    let thrusts_n = onboard.mixer.allocate(hover).thrusts_n;
    let per_axis: Vec<Vec<f64>> = (0..3)
        .filter_map(|axis| {
            let [roll_nm, pitch_nm, yaw_nm] = torque_nm(craft, axis);
            least_squares_n(craft, [0.0, roll_nm, pitch_nm, yaw_nm])
        })
        .collect();
    let of_rotor = |(place, rotor): (usize, &crate::craft::Rotor)| {
        let square: f64 =
            per_axis.iter().zip(noise).map(|(n, noise)| n.get(place).map_or(0.0, |n| (n * noise).powi(2))).sum();
        let at_n = thrusts_n.get(place).map_or(0.0, |n| f64::from(*n));
        square.sqrt() * command_per_newton(rotor, at_n)
    };
    SWING_DEVIATIONS * craft.rotors.iter().enumerate().map(of_rotor).fold(0.0, f64::max)
}

/// The check that the noise leaves the rotors quiet.
pub(super) fn check(site: &Site<'_>) -> Check {
    Check::new(
        "bench.command_noise",
        "Swing of the commands by the gyro's noise alone",
        swing(site),
        "",
        Limit::at_most(SWING_MAX),
        "white noise through the gyro's filter and the rate loop; the limit is our choice",
    )
    .or_else(|| {
        let share = SWING_MAX / swing(site);
        format!(
            "A gyro of at most {:.4} for sensors.gyro.noise_deg_s_rthz, or a lower sensors.gyro.low_pass_hz.",
            share * site.craft.sensors.gyro.noise_density.to_degrees()
        )
    })
}

/// Of the angular acceleration demanded about one axis, rad/s².
fn deviation(craft: &Craft, rate: &RateLoopConfig) -> f64 {
    let nyquist_hz = 0.5 * craft.loops.rate_hz;
    let step_hz = nyquist_hz / f64::from(POINTS);
    let derivative = rate.d * TAU;
    let square: f64 = (0..POINTS)
        .map(|point| {
            let hz = (f64::from(point) + 0.5) * step_hz;
            let corner = hz / rate.d_filter_hz;
            // D·jω/(1 + jω/ω_d): real and imaginary part.
            let behind = derivative * hz / (1.0 + corner * corner);
            let (real, imaginary) = (rate.p_per_s + behind * corner, behind);
            let passed = craft.sensors.gyro_low_pass_hz.map_or(1.0, |low_hz| 1.0 / (1.0 + (hz / low_hz).powi(4)));
            (real * real + imaginary * imaginary) * passed * step_hz
        })
        .sum();
    craft.sensors.gyro.noise_density * square.sqrt()
}

/// Slope of command over thrust at this thrust.
fn command_per_newton(rotor: &crate::craft::Rotor, thrust_n: f64) -> f64 {
    let Ok(curve) = thrust_curve::<f64>(rotor) else { return f64::NAN };
    let step_n = 1.0e-3 * rotor.thrust_max_n;
    (curve.command(thrust_n + step_n) - curve.command(thrust_n - step_n)) / (2.0 * step_n)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo;
    use crate::onboard::Onboard;

    /// White noise of one-sided density n below a Butterworth low-pass at f_c has the deviation n·√(1.1107·f_c): the noise bandwidth
    /// of the second order, π/(2·√2). Source: reference/sensor_noise.csv of the tests (computed there).
    #[test]
    fn noise_behind_the_low_pass_is_that_of_its_noise_bandwidth() {
        let mut craft = demo::quad().unwrap();
        craft.loops.rate_hz = 8000.0;
        craft.sensors.gyro_low_pass_hz = Some(80.0);
        craft.sensors.gyro.noise_density = 0.005_f64.to_radians();
        let onboard = Onboard::<f32>::new(&demo::quad().unwrap(), 9.806_65).unwrap();
        let plain = RateLoopConfig { p_per_s: 1.0, d: 0.0, ..onboard.config.rate[0] };
        let found = deviation(&craft, &plain).to_degrees();
        assert!((found / 0.047_132 - 1.0).abs() < 0.01, "{found} deg/s");
    }

    #[test]
    fn demo_craft_is_quiet_and_one_with_a_gyro_ten_times_as_noisy_is_told_which() {
        let world = crate::script::World::default();
        let held = |factor: f64| {
            let mut craft = demo::quad().unwrap();
            craft.sensors.gyro.noise_density *= factor;
            let onboard = Onboard::<f32>::new(&craft, world.gravity_m_s2).unwrap();
            check(&Site { craft: &craft, onboard: &onboard, world: &world })
        };
        assert!(held(1.0).passes() && held(1.0).value > 0.0);
        let noisy = held(20.0);
        assert!((noisy.value / held(1.0).value / 20.0 - 1.0).abs() < 1e-6);
        assert!(!noisy.passes() && noisy.mend.is_some_and(|mend| mend.contains("sensors.gyro.noise_deg_s_rthz")));
    }
}
