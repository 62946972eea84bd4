//! Sensor noise against the conventions of data sheets and of the Allan deviation.

use evenkeel::plant::{Plant, PlantState};
use evenkeel::script::World;
use evenkeel::sensors::{InFlight, InertialSensor, Sensors, SensorsConfig};
use evenkeel_tests::reference::table;
use evenkeel_tests::specimen::quad;

const RATE_HZ: f64 = 1000.0;
const PERIOD_NS: u64 = 1_000_000;
/// Samples of a long record: an hour.
const SAMPLES: u64 = 3_600_000;
/// Of a deviation over hundreds of thousands of samples.
const SAMPLE_TOL: f64 = 0.01;
/// Of an Allan deviation from the 360 clusters of 10 s in an hour: 1/√(2·(360 − 1)), and four times that.
const ALLAN_TOL: f64 = 4.0 / 26.8;

/// The roll gyro of a craft at rest, rad/s, over an hour.
fn hour(gyro: InertialSensor, seed: u64) -> Vec<f64> {
    let config = SensorsConfig { gyro, ..SensorsConfig::PERFECT };
    let (plant, state) = (Plant::new(&quad(), &World::default()), PlantState::default());
    let mut sensors = Sensors::<f64>::new(&config, RATE_HZ, seed);
    let mut at = |step: u64| {
        let now_ns = step * PERIOD_NS;
        sensors.measure(now_ns, &InFlight { plant: &plant, state: &state });
        sensors.sample(now_ns, &InFlight { plant: &plant, state: &state }).inertial.gyro_rad_s.roll
    };
    (0..SAMPLES).map(&mut at).collect()
}

/// Over clusters of this many samples: √(½·mean of squared differences between means of neighbours).
fn allan_deviation(record: &[f64], cluster: usize) -> f64 {
    let means: Vec<f64> = record.chunks_exact(cluster).map(|part| part.iter().sum::<f64>() / cluster as f64).collect();
    let squares: f64 = means.windows(2).map(|pair| (pair[1] - pair[0]).powi(2)).sum();
    (0.5 * squares / (means.len() - 1) as f64).sqrt()
}

fn deviation(record: &[f64]) -> f64 {
    (record.iter().map(|value| value * value).sum::<f64>() / record.len() as f64).sqrt()
}

fn close(ours: f64, expected: f64, tolerance: f64) {
    assert!((ours / expected - 1.0).abs() < tolerance, "{ours:e} against {expected:e}");
}

/// Source: `reference/sensor_noise.csv` (conventions of IEEE Std 952-1997 and 1431-2004, from memory; the rest computed).
#[test]
fn scatters_as_its_noise_density_says_when_it_stands_still() {
    let value = |quantity: &str| {
        let row =
            table("sensor_noise").rows().find(|row| row.text("quantity") == quantity).map(|row| row.number("value"));
        row.unwrap_or_else(|| panic!("no {quantity}"))
    };
    for density in ["0.004", "0.005", "0.01"] {
        let deg_s: f64 = density.parse().expect("a number");
        let gyro = InertialSensor { noise_density: deg_s.to_radians(), ..InertialSensor::PERFECT };
        let record = hour(gyro, 3);
        close(deviation(&record), value(&format!("ND_{density}_sigma_1kHz_rad")), SAMPLE_TOL);
        let expected = value(&format!("ND_{density}_allan_dev_tau10")).to_radians();
        close(allan_deviation(&record, 10_000), expected, ALLAN_TOL);
    }
}

/// Source: rate random walk, Allan deviation K·√(τ/3) (IEEE Std 952-1997, from memory).
#[test]
fn wanders_as_its_drift_says_when_it_stands_still() {
    const DRIFT: f64 = 1.0e-4;
    let record = hour(InertialSensor { bias_drift: DRIFT, ..InertialSensor::PERFECT }, 5);
    for seconds in [1, 10] {
        let expected = DRIFT * (seconds as f64 / 3.0).sqrt();
        close(allan_deviation(&record, 1000 * seconds), expected, ALLAN_TOL);
    }
}

/// Source: uniform rounding error, deviation r/√12 (common practice): here of a value far from a step, so exactly the
/// nearest step, and the range cuts.
#[test]
fn rounds_cuts_and_leans_as_it_is_told() {
    let mut craft = quad();
    craft.sensors.gyro =
        InertialSensor { bias: [0.034, 5.0, -5.0], resolution: 0.01, range: 2.0, ..InertialSensor::PERFECT };
    let plant = Plant::new(&craft, &World::default());
    let mut sensors = Sensors::<f64>::new(&craft.sensors, RATE_HZ, 0);
    sensors.measure(0, &InFlight { plant: &plant, state: &PlantState::default() });
    let seen =
        sensors.sample(0, &InFlight { plant: &plant, state: &PlantState::default() }).inertial.gyro_rad_s.to_array();
    let off = seen.iter().zip([0.03, 2.0, -2.0]).map(|(ours, expected)| (ours - expected).abs()).fold(0.0, f64::max);
    assert!(off < 1e-12, "{seen:?}");
}

#[test]
fn shows_gravity_along_turned_axes_when_it_is_mounted_askew() {
    let mut craft = quad();
    craft.sensors.misalignment_rad = [0.1, 0.0, 0.0];
    let plant = Plant::new(&craft, &World::default());
    let mut sensors = Sensors::<f64>::new(&craft.sensors, RATE_HZ, 0);
    sensors.measure(0, &InFlight { plant: &plant, state: &PlantState::default() });
    let [x, y, z] =
        sensors.sample(0, &InFlight { plant: &plant, state: &PlantState::default() }).inertial.acceleration_m_s2;
    // A sensor rolled right side down sees up, −z of the body, to its left.
    let g = 9.806_65;
    let expected = [0.0, -g * 0.1_f64.sin(), -g * 0.1_f64.cos()];
    assert!([x, y, z].iter().zip(expected).all(|(ours, expected)| (ours - expected).abs() < 1e-2), "{x} {y} {z}");
}

#[test]
fn is_read_late_and_at_its_own_rate_when_it_says_so() {
    let config = SensorsConfig {
        gyro: InertialSensor { rate_hz: Some(250.0), latency_s: 0.003, ..InertialSensor::PERFECT },
        ..SensorsConfig::PERFECT
    };
    let (plant, state) = (Plant::new(&quad(), &World::default()), PlantState::default());
    let mut sensors = Sensors::<f64>::new(&config, RATE_HZ, 0);
    let sensed: Vec<u64> = (0..=12)
        .map(|ms| {
            sensors.measure(ms * PERIOD_NS, &InFlight { plant: &plant, state: &state });
            sensors
                .sample(ms * PERIOD_NS, &InFlight { plant: &plant, state: &state })
                .sensed_at_us
                .expect("one was there at the start")
        })
        .collect();
    assert_eq!(sensed, [0, 0, 0, 0, 0, 0, 0, 4000, 4000, 4000, 4000, 8000, 8000]);
}
