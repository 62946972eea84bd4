//! The alignment after power-up on the sensors of the harness, at every rate of the loop: how long it takes, how well it
//! does, and what it does not take for standing still.

use evenkeel::craft::Craft;
use evenkeel::onboard::Onboard;
use evenkeel::plant::{Plant, PlantState};
use evenkeel::script::World;
use evenkeel::sensors::{InFlight, InertialSensor, Sensors, SensorsConfig};
use evenkeel_controller::BodyAxes;
use evenkeel_controller::estimate::{
    Alignment, AttitudeEstimator, AttitudeEstimatorConfig, AttitudeEstimatorState, Estimate, InertialSample,
};
use evenkeel_tests::reference::table;
use evenkeel_tests::specimen::quad;

const RATES_HZ: [f64; 7] = [250.0, 500.0, 1000.0, 2000.0, 4000.0, 6400.0, 8000.0];
const G: f64 = 9.806_65;
/// Twice the noise of common sensors.
const NOISE_FACTOR: f64 = 2.0;
/// On each axis: 20 mg.
const BIAS_M_S2: f64 = 0.020 * G;
/// On each axis: 3 deg/s.
const GYRO_BIAS_RAD_S: f64 = 0.052;
/// The time is rounded to whole samples in each window.
const TIME_TOL_S: f64 = 0.01;
/// What the bias along an axis leans the estimate by, and little of the noise.
const TILT_TOL_RAD: f64 = 1.5 * 0.020;
/// What the mean of a second leaves of the noise of the gyro, several times over.
const BIAS_TOL_RAD_S: f64 = 2e-3;

fn of_rate(rate_hz: f64) -> Craft {
    let mut craft = quad();
    craft.loops.rate_hz = rate_hz;
    craft
}

/// The configuration that flies.
fn flown(rate_hz: f64) -> AttitudeEstimatorConfig {
    Onboard::<f32>::new(&of_rate(rate_hz), G).expect("flies").computer_config.estimator
}

/// The noisiest gyro of the table, its deviation as tabled, and the usual accelerometer; times [`NOISE_FACTOR`].
fn noisy() -> SensorsConfig {
    let noise = table("sensor_noise");
    let sigma_rad_s = noise.rows().find(|row| row.text("quantity") == "ND_0.01_sigma_1kHz_rad");
    // The deviation at 1 kHz is the density times √500.
    let density = sigma_rad_s.expect("a row").number("value") / 500.0_f64.sqrt();
    let gyro = InertialSensor {
        noise_density: NOISE_FACTOR * density,
        bias: [GYRO_BIAS_RAD_S, -GYRO_BIAS_RAD_S, GYRO_BIAS_RAD_S],
        ..InertialSensor::GYRO
    };
    let accelerometer = InertialSensor {
        noise_density: NOISE_FACTOR * InertialSensor::ACCELEROMETER.noise_density,
        bias: [BIAS_M_S2, -BIAS_M_S2, -BIAS_M_S2],
        ..InertialSensor::ACCELEROMETER
    };
    SensorsConfig { gyro, accelerometer, ..SensorsConfig::PERFECT }
}

/// From power-up for so long, at each sample; `add` puts on top of what the noisy sensors of the craft at rest show.
fn aligning(
    rate_hz: f64,
    seed: u64,
    until_s: f64,
    add: impl Fn(f64, &mut [f64; 3], &mut [f64; 3]),
) -> Vec<(f64, Estimate<f32>)> {
    let craft = of_rate(rate_hz);
    let (plant, state) = (Plant::new(&craft, &World::default()), PlantState::default());
    let block = AttitudeEstimator::<f32>::new(&flown(rate_hz), 1.0 / rate_hz).expect("a configuration");
    let mut memory = AttitudeEstimatorState::default();
    let mut sensors = Sensors::<f64>::new(&noisy(), rate_hz, seed);
    let step = |index: u64| {
        let now_ns = (index as f64 * 1e9 / rate_hz).round() as u64;
        let t_s = now_ns as f64 * 1e-9;
        sensors.measure(now_ns, &InFlight { plant: &plant, state: &state });
        let sample = sensors.sample(now_ns, &InFlight { plant: &plant, state: &state }).inertial;
        let (mut gyro, mut acceleration) = (sample.gyro_rad_s.to_array(), sample.acceleration_m_s2);
        add(t_s, &mut gyro, &mut acceleration);
        let shown = InertialSample {
            gyro_rad_s: BodyAxes::from_array(gyro.map(|axis| axis as f32)),
            acceleration_m_s2: acceleration.map(|axis| axis as f32),
            heading: None,
        };
        (t_s, block.step(&mut memory, &shown))
    };
    (0..(until_s * rate_hz) as u64).map(step).collect()
}

fn aligned_at_s(seen: &[(f64, Estimate<f32>)]) -> Option<f64> {
    seen.iter().find(|(_, estimate)| estimate.status.alignment == Alignment::Aligned).map(|(t_s, _)| *t_s)
}

/// Source: `reference/sensor_noise.csv` for the gyro (conventions from memory, values computed); the accelerometer's density
/// and 20 mg are typical data-sheet figures (from memory).
#[test]
fn aligns_in_the_stated_time_at_any_rate_when_sensors_are_noisy_and_biased() {
    for rate_hz in RATES_HZ {
        for seed in 0..8 {
            let seen = aligning(rate_hz, seed, 1.2, |_, _, _| ());
            let at_s = aligned_at_s(&seen);
            assert!(
                at_s.is_some_and(|at_s| (at_s - flown(rate_hz).align_s).abs() < TIME_TOL_S),
                "{rate_hz} Hz, seed {seed}: {at_s:?}"
            );
            let last = seen.last().expect("rows").1;
            let [w, x, y, _] = last.attitude.to_array().map(f64::from);
            let tilt_rad = 2.0 * (x * x + y * y).sqrt().atan2(w.abs());
            assert!(tilt_rad < TILT_TOL_RAD, "{rate_hz} Hz, seed {seed}: {tilt_rad}");
            let [p, q, r] = last.bias_rad_s.to_array().map(f64::from);
            let off = [p - GYRO_BIAS_RAD_S, q + GYRO_BIAS_RAD_S, r - GYRO_BIAS_RAD_S];
            assert!(off.iter().all(|axis| axis.abs() < BIAS_TOL_RAD_S), "{rate_hz} Hz, seed {seed}: {off:?}");
        }
    }
}

/// So noisy are single samples at the fastest loop that a limit on each would never let a second of them pass.
#[test]
fn single_samples_of_the_fastest_loop_lie_outside_the_gate() {
    let rate_hz = RATES_HZ[6];
    let (gate, sigma) = (flown(rate_hz).gate_share, noisy().accelerometer.noise_density * (0.5 * rate_hz).sqrt() / G);
    assert!(gate - BIAS_M_S2 / G < sigma, "{gate} of gravity, {sigma} of noise");
}

type Motion = fn(f64, &mut [f64; 3], &mut [f64; 3]);

/// What is felt when hands hold the craft; rates with the accelerations that go with them. Common practice, no source.
const HANDLED: [(&str, Motion); 6] = [
    ("carried: 1 cm up and down, 1.5 times a second", |t_s, _, acceleration| {
        acceleration[2] += 0.01 * (9.42_f64).powi(2) * (9.42 * t_s).sin();
    }),
    ("turned by 20 deg/s", |t_s, gyro, acceleration| turned(0.35, t_s, gyro, acceleration)),
    // The bias of the gyro hides half of it.
    ("turned by 5 deg/s", |t_s, gyro, acceleration| turned(-0.09, t_s, gyro, acceleration)),
    ("turned about down by 9 deg/s", |_, gyro, _| gyro[2] += 0.157),
    ("a hand that trembles, 9 times a second", |t_s, gyro, _| gyro[1] += 0.3 * (56.5 * t_s).sin()),
    ("no number, ten times a second", |t_s, gyro, _| {
        if (t_s * 10.0).fract() < 0.01 {
            gyro[0] = f64::NAN;
        }
    }),
];

fn turned(rate_rad_s: f64, t_s: f64, gyro: &mut [f64; 3], acceleration: &mut [f64; 3]) {
    gyro[0] += rate_rad_s;
    let (sin, cos) = (rate_rad_s * t_s).sin_cos();
    acceleration[1] -= G * sin;
    acceleration[2] += G * (1.0 - cos);
}

#[test]
fn does_not_align_while_it_is_carried_turned_or_shown_no_numbers() {
    for rate_hz in [250.0, 1000.0, 8000.0] {
        for (what, motion) in HANDLED {
            let seen = aligning(rate_hz, 3, 5.0, motion);
            assert_eq!(aligned_at_s(&seen), None, "{rate_hz} Hz: {what}");
            let told = seen.iter().skip(seen.len() / 2).filter(|(_, estimate)| {
                !matches!(estimate.status.alignment, Alignment::Collecting | Alignment::Aligned)
            });
            assert!(told.count() > seen.len() / 20, "{rate_hz} Hz: {what}: it says why");
        }
    }
}

/// A push of 3 g for 2 ms, or one that turns it, a good half second in.
#[test]
fn starts_anew_when_it_is_knocked() {
    const AT_S: f64 = 0.55;
    let knocks: [(&str, Motion); 2] = [
        ("pushed", |t_s, _, acceleration| {
            if (AT_S..AT_S + 0.004).contains(&t_s) {
                acceleration[0] += 3.0 * G;
            }
        }),
        ("turned", |t_s, gyro, _| {
            if (AT_S..AT_S + 0.02).contains(&t_s) {
                gyro[1] += 0.8;
            }
        }),
    ];
    for rate_hz in [250.0, 1000.0, 8000.0] {
        for (what, knock) in knocks {
            let at_s = aligned_at_s(&aligning(rate_hz, 5, 2.0, knock)).expect("in the end");
            // The window in which it fell may have to end first.
            assert!((AT_S + 1.0 - TIME_TOL_S..AT_S + 1.1).contains(&at_s), "{what}, {rate_hz} Hz: {at_s} s");
        }
    }
}
