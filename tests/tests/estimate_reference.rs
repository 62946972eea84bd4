//! The attitude estimate against a table from outside the project, and against closed forms.

use std::f64::consts::{FRAC_PI_2, TAU};

use evenkeel_controller::estimate::{
    Alignment, AttitudeEstimator, AttitudeEstimatorConfig, AttitudeEstimatorState, Estimate, HeadingReference,
    InertialSample,
};
use evenkeel_controller::{BodyAxes, Quaternion};
use evenkeel_mixer::Scalar;
use evenkeel_tests::reference::table;
use nalgebra::{UnitQuaternion, Vector3};

/// Poles and gains of the sampled filter against the continuous ones of the table: kP·T/2 at most.
const SAMPLED_TOL: f64 = 1e-3;
/// Standing errors do not depend on the sampling.
const STATIC_TOL: f64 = 1e-6;
/// Integration of the gyro alone over ten seconds, double precision.
const GYRO_ALONE_TOL_RAD: f64 = 1e-9;
/// Single against double precision over a minute of motion at 1 kHz: half a last digit a step, 3e-8,
/// all one way for the 1000 steps that the filter remembers, would be 3e-5 in the quaternion.
const F32_TOL_RAD: f64 = 4e-5;

const G: f64 = 9.806_65;
const CONFIG: AttitudeEstimatorConfig = AttitudeEstimatorConfig {
    kp_per_s: 1.0,
    ki_per_s2: 0.3,
    heading_weight: 1.0,
    bias_max_rad_s: 0.2,
    rate_max_rad_s: 35.0,
    gravity_m_s2: G,
    gate_share: 0.2,
    rate_gate_rad_s: f64::INFINITY,
    align_s: 0.5,
    still_rad_s: 0.05,
};

/// An estimator at work, from a known attitude.
struct Run {
    block: AttitudeEstimator<f64>,
    state: AttitudeEstimatorState<f64>,
}

impl Run {
    fn new(config: AttitudeEstimatorConfig, period_s: f64, start: UnitQuaternion<f64>) -> Self {
        let mut state = AttitudeEstimatorState::default();
        state.restart_at(Quaternion { w: start.w, x: start.i, y: start.j, z: start.k });
        Run { block: AttitudeEstimator::new(&config, period_s).unwrap(), state }
    }

    fn step(&mut self, gyro: [f64; 3], acceleration_m_s2: [f64; 3]) -> Estimate<f64> {
        self.with_heading(gyro, acceleration_m_s2, None)
    }

    fn with_heading(
        &mut self,
        gyro: [f64; 3],
        acceleration_m_s2: [f64; 3],
        heading: Option<HeadingReference<f64>>,
    ) -> Estimate<f64> {
        let gyro_rad_s = BodyAxes::from_array(gyro);
        self.block.step(&mut self.state, &InertialSample { gyro_rad_s, acceleration_m_s2, heading })
    }
}

fn rotation<S: Scalar>(estimate: &Estimate<S>) -> UnitQuaternion<f64> {
    let [w, x, y, z] = estimate.attitude.to_array().map(S::to_f64);
    UnitQuaternion::new_normalize(nalgebra::Quaternion::new(w, x, y, z))
}

/// What an accelerometer at rest shows in this attitude.
fn rest(attitude: &UnitQuaternion<f64>) -> [f64; 3] {
    attitude.inverse_transform_vector(&Vector3::new(0.0, 0.0, -G)).into()
}

/// Angle between what two attitudes take for down.
fn tilt_between(a: &UnitQuaternion<f64>, b: &UnitQuaternion<f64>) -> f64 {
    let down = Vector3::z();
    let (a, b) = (a.inverse_transform_vector(&down), b.inverse_transform_vector(&down));
    a.cross(&b).norm().atan2(a.dot(&b))
}

const LEVEL: [f64; 3] = [0.0, 0.0, -G];

fn gains(kp_per_s: f64, ki_per_s2: f64) -> AttitudeEstimatorConfig {
    AttitudeEstimatorConfig { kp_per_s, ki_per_s2, ..CONFIG }
}

/// Natural frequency and damping from four samples of a free decay: y₂ = c₁y₁ − c₂y₀, y₃ = c₁y₂ − c₂y₁.
fn poles(y: [f64; 4], spacing_s: f64) -> (f64, f64) {
    let divisor = y[1] * y[1] - y[0] * y[2];
    let (c1, c2) = ((y[1] * y[2] - y[0] * y[3]) / divisor, (y[2] * y[2] - y[1] * y[3]) / divisor);
    // The two poles in the z plane have the sum c₁ and the product c₂; ln maps them back.
    let sum_s = -c2.ln() / spacing_s;
    let apart = 0.25 * c1 * c1 - c2;
    let half_difference_square = if apart >= 0.0 {
        let root = apart.sqrt();
        (0.5 * ((0.5 * c1 + root) / (0.5 * c1 - root)).ln() / spacing_s).powi(2)
    } else {
        -((-apart).sqrt().atan2(0.5 * c1) / spacing_s).powi(2)
    };
    let natural = (0.25 * sum_s * sum_s - half_difference_square).sqrt();
    (natural, 0.5 * sum_s / natural)
}

/// Source: `reference/complementary_filter.csv` (gains of the paper from memory; values computed):
/// natural frequency and damping of the one-axis linearisation, read off a small error dying out.
#[test]
fn small_error_dies_out_with_the_natural_frequency_and_damping_of_the_table() {
    for row in table("complementary_filter").rows() {
        let [kp, ki, natural, damping] = row.numbers(["kP", "kI", "wn_rad_s", "zeta"]);
        let period_s = 1e-3 / kp.max(1.0);
        let between = (1.0 / (kp * period_s)) as usize;
        let mut run = Run::new(gains(kp, ki), period_s, UnitQuaternion::from_euler_angles(1e-4, 0.0, 0.0));
        let rolls: Vec<f64> = (0..=3 * between).map(|_| run.step([0.0; 3], LEVEL).attitude.x).collect();
        let y = [0, 1, 2, 3].map(|k| rolls[k * between]);
        if ki == 0.0 {
            let rate = (y[0] / y[1]).ln() / (between as f64 * period_s);
            assert!((rate / kp - 1.0).abs() < SAMPLED_TOL, "{kp}: {rate}");
            continue;
        }
        let (ours_natural, ours_damping) = poles(y, between as f64 * period_s);
        assert!((ours_natural / natural - 1.0).abs() < SAMPLED_TOL, "{kp} {ki}: {ours_natural} against {natural}");
        assert!((ours_damping / damping - 1.0).abs() < SAMPLED_TOL, "{kp} {ki}: {ours_damping} against {damping}");
    }
}

/// Source: as above: from tilt as the accelerometer shows it to tilt as estimated, gyro silent.
#[test]
fn sine_of_the_accelerometer_comes_through_with_the_gain_of_the_table() {
    let columns = [(0.1, "H_mag_at_0.1", 60_000), (1.0, "H_mag_at_1", 6_000), (10.0, "H_mag_at_10_rad_s", 3_000)];
    for row in table("complementary_filter").rows() {
        let [kp, ki] = row.numbers(["kP", "kI"]);
        for (frequency_rad_s, column, samples) in columns {
            let period_s = TAU / frequency_rad_s / f64::from(samples);
            let mut run = Run::new(gains(kp, ki), period_s, UnitQuaternion::identity());
            // Past the transient: twelve times the slower time constant, in whole cycles.
            let slowest_per_s = if ki > 0.0 { 0.5 * kp - (0.25 * kp * kp - ki).max(0.0).sqrt() } else { kp };
            let slowest_per_s = if slowest_per_s > 0.01 { slowest_per_s } else { 0.01 };
            let cycles = (12.0 / slowest_per_s * frequency_rad_s / TAU).ceil() as i32 + 1;
            let (mut in_phase, mut ahead) = (0.0, 0.0);
            for k in 0..cycles * samples {
                let (sin, cos) = (TAU * f64::from(k) / f64::from(samples)).sin_cos();
                let tilt = 1e-4 * sin;
                let roll = 2.0 * run.step([0.0; 3], [0.0, -G * tilt.sin(), -G * tilt.cos()]).attitude.x / 1e-4;
                if k >= (cycles - 1) * samples {
                    in_phase += 2.0 * roll * sin / f64::from(samples);
                    ahead += 2.0 * roll * cos / f64::from(samples);
                }
            }
            let (ours, theirs) = (in_phase.hypot(ahead), row.number(column));
            assert!((ours - theirs).abs() < SAMPLED_TOL, "{kp} {ki} {column}: {ours} against {theirs}");
        }
    }
}

/// Source: as above; small enough for the sine of the error to be the error.
#[test]
fn constant_bias_leans_the_estimate_without_integral_and_not_with_it() {
    for row in table("complementary_filter").rows() {
        let [kp, ki] = row.numbers(["kP", "kI"]);
        let bias = 1e-3_f64.to_radians();
        let settled = |ki: f64, duration_s: f64| {
            let mut run = Run::new(gains(kp, ki), 5e-3, UnitQuaternion::identity());
            let steps = (duration_s / 5e-3) as usize;
            (0..steps).map(|_| run.step([bias, 0.0, 0.0], LEVEL)).last().unwrap()
        };
        let lean_deg = |estimate: &Estimate<f64>| (2.0 * estimate.attitude.x).to_degrees() / 1e-3;
        let without = lean_deg(&settled(0.0, 30.0 / kp));
        assert!(
            (without / row.number("static_err_deg_for_1deg_s_bias_Ponly") - 1.0).abs() < STATIC_TOL,
            "{kp}: {without}"
        );
        if ki > 0.0 {
            let learned = settled(ki, 20.0 * kp / ki + 20.0 / kp);
            let with = lean_deg(&learned) - row.number("static_err_with_I");
            assert!(with.abs() < STATIC_TOL, "{kp} {ki}: {with}");
            assert!((learned.bias_rad_s.roll / bias - 1.0).abs() < STATIC_TOL, "the bias is learned");
        }
    }
}

/// Source: `reference/quaternion_propagation.csv` (computed). One step is exact but for the sixth power.
#[test]
fn gyro_alone_turns_the_attitude_as_the_table_says() {
    let mut checked = 0;
    for row in table("quaternion_propagation").rows() {
        let rate = row.numbers(["wx", "wy", "wz_rad_s"]);
        let period_s = row.number("dt_s");
        let turn = Vector3::from(rate).norm() * period_s;
        let config = AttitudeEstimatorConfig {
            kp_per_s: 1e-3,
            ki_per_s2: 0.0,
            rate_max_rad_s: Vector3::from(rate).amax(),
            bias_max_rad_s: 0.0,
            ..CONFIG
        };
        let Ok(block) = AttitudeEstimator::<f64>::new(&config, period_s) else { continue };
        let mut run = Run { block, state: AttitudeEstimatorState::default() };
        run.state.restart_at(Quaternion::IDENTITY);
        let ours = run.step(rate, [0.0; 3]).attitude.to_array();
        let theirs = row.numbers(["q0", "q1", "q2", "q3"]);
        let tolerance = turn.powi(6) / 46_080.0 + 1e-15;
        for (ours, theirs) in ours.into_iter().zip(theirs) {
            assert!((ours - theirs).abs() <= tolerance, "{rate:?} {period_s}: {ours} against {theirs}");
        }
        checked += 1;
    }
    assert!(checked >= 2, "rows that turn little enough in a step: {checked}");
}

/// Closed form: beyond a right angle the error counts as one, below as its sine, so from upside down
/// to an angle e it takes (π/2 + ln cot(e/2))/kP. Also the bound for every other start.
#[test]
fn upside_down_start_comes_level_in_the_time_of_the_closed_form() {
    for kp in [0.5, 1.0, 2.0] {
        let flipped = UnitQuaternion::from_euler_angles(std::f64::consts::PI, 0.0, 0.0);
        let mut run = Run::new(gains(kp, 0.0), 1e-3, flipped);
        let level = UnitQuaternion::identity();
        let steps = (0..100_000)
            .take_while(|_| tilt_between(&rotation(&run.step([0.0; 3], LEVEL)), &level) > 1_f64.to_radians());
        let took_s = steps.count() as f64 * 1e-3;
        let expected_s = (FRAC_PI_2 - 0.5_f64.to_radians().tan().ln()) / kp;
        assert!((took_s / expected_s - 1.0).abs() < SAMPLED_TOL, "{kp}: {took_s} against {expected_s} s");
    }
}

/// Starts all over the sphere, upside down among them; the craft itself tilted, with a gyro bias and a
/// heading: attitude and bias all come right.
#[test]
fn converges_from_any_start() {
    let truth = UnitQuaternion::from_euler_angles(0.4, -0.3, 1.2);
    let bias = [0.02, -0.03, 0.01];
    let mut starts = 0;
    for axis in 0..40 {
        // Evenly over the sphere: the golden-angle spiral.
        let (z, around) = (1.0 - (2.0 * f64::from(axis) + 1.0) / 40.0, 2.399_963_229_728_653 * f64::from(axis));
        let flat = (1.0 - z * z).sqrt();
        let axis = nalgebra::Unit::new_normalize(Vector3::new(flat * around.cos(), flat * around.sin(), z));
        for angle_deg in [30.0_f64, 60.0, 90.0, 120.0, 150.0, 170.0, 179.9, 180.0] {
            let start = truth * UnitQuaternion::from_axis_angle(&axis, angle_deg.to_radians());
            let mut run = Run::new(CONFIG, 5e-3, start);
            let heading = Some(HeadingReference::nose(1.2));
            let estimates = (0..12_000).map(|_| run.with_heading(bias, rest(&truth), heading));
            let last = estimates.last().unwrap();
            let off = rotation(&last).angle_to(&truth);
            assert!(off < 1e-5, "{angle_deg} deg about {axis:?}: {off} rad after a minute");
            for (ours, theirs) in last.bias_rad_s.to_array().into_iter().zip(bias) {
                assert!((ours - theirs).abs() < 1e-5, "{angle_deg} deg about {axis:?}: bias {ours}");
            }
            starts += 1;
        }
    }
    assert_eq!(starts, 320);
}

/// A level turn with the bank that balances it: rate Ω about down, and the accelerometer sees the
/// thrust alone, square to the rotor plane: no tilt at all, g/cos φ long.
fn turn(bank: f64, turn_rad_s: f64) -> ([f64; 3], [f64; 3], UnitQuaternion<f64>) {
    let gyro = [0.0, turn_rad_s * bank.sin(), turn_rad_s * bank.cos()];
    (gyro, [0.0, 0.0, -G / bank.cos()], UnitQuaternion::from_euler_angles(bank, 0.0, 0.0))
}

/// Closed form for a filter without integral and without gate in a steady turn: the estimated down d
/// stands still in the body where Ω·d₀ + kP·(z × d) is parallel to d, so with λ² the positive root of
/// L² + L·(kP² − Ω²) − Ω²·cos²φ·kP² = 0, d = (−kP·Ω·sin φ, λ·Ω·sin φ, ·)/(λ² + kP²), d_z = Ω·cos φ/λ.
#[test]
fn steady_turn_leans_the_ungated_estimate_by_the_closed_form() {
    let ungated = AttitudeEstimatorConfig { gate_share: 0.9, ..gains(1.0, 0.0) };
    for (bank_deg, turn_rad_s) in [(10.0_f64, 0.2_f64), (20.0, 0.5), (30.0, 0.8), (30.0, 3.0)] {
        let bank = bank_deg.to_radians();
        let (gyro, acceleration, truth) = turn(bank, turn_rad_s);
        let mut run = Run::new(ungated, 1e-3, truth);
        let last = (0..100_000).map(|_| run.step(gyro, acceleration)).last().unwrap();
        assert_eq!(last.status.accelerometer_weight, 1.0);
        let (k2, o2) = (1.0, turn_rad_s * turn_rad_s);
        let l = 0.5 * ((o2 - k2) + ((k2 - o2) * (k2 - o2) + 4.0 * o2 * bank.cos().powi(2) * k2).sqrt());
        let lambda = l.sqrt();
        let expected = Vector3::new(
            -turn_rad_s * bank.sin() / (l + k2),
            lambda * turn_rad_s * bank.sin() / (l + k2),
            turn_rad_s * bank.cos() / lambda,
        );
        let ours = Vector3::from(last.attitude.down_in_body());
        assert!((expected.norm() - 1.0).abs() < 1e-12, "the closed form is a direction");
        assert!((ours - expected).norm() < SAMPLED_TOL, "{bank_deg} deg: {ours:?} against {expected:?}");
        let off = ours.angle(&Vector3::from([0.0, bank.sin(), bank.cos()]));
        assert!(off > 0.1 * bank, "an error that matters: {off} rad of {bank}");
    }
}

/// With the integral and without the gate it ends up believing that the banked craft is level, and
/// takes the turn for a bias.
#[test]
fn steady_turn_makes_the_ungated_estimate_with_integral_believe_it_is_level() {
    let bank = 20_f64.to_radians();
    let (gyro, acceleration, truth) = turn(bank, 0.3);
    let mut run = Run::new(AttitudeEstimatorConfig { gate_share: 0.9, ..CONFIG }, 2e-3, truth);
    let last = (0..100_000).map(|_| run.step(gyro, acceleration)).last().unwrap();
    let off = tilt_between(&rotation(&last), &truth);
    assert!((off - bank).abs() < SAMPLED_TOL, "{off} rad, the whole of the bank {bank}");
    assert!((last.bias_rad_s.pitch - 0.3 * bank.sin()).abs() < SAMPLED_TOL, "{:?}", last.bias_rad_s);
}

/// The gate: at 30° the thrust is 15 % more than the weight. Nothing is believed, and nothing is lost
/// but what the gyro drifts.
#[test]
fn steady_turn_leaves_the_gated_estimate_alone() {
    let (gyro, acceleration, truth) = turn(30_f64.to_radians(), 0.57);
    let mut run = Run::new(AttitudeEstimatorConfig { gate_share: 0.15, ..CONFIG }, 1e-3, truth);
    for _ in 0..60_000 {
        let estimate = run.step(gyro, acceleration);
        assert_eq!(estimate.status.accelerometer_weight, 0.0);
        assert!(tilt_between(&rotation(&estimate), &truth) < GYRO_ALONE_TOL_RAD);
    }
}

/// Free fall, tumbling: the accelerometer shows nothing, then noise about nothing.
#[test]
fn free_fall_leaves_the_gyro_alone() {
    let rate = Vector3::new(2.0, -1.0, 3.0);
    let mut run = Run::new(CONFIG, 1e-3, UnitQuaternion::identity());
    for k in 1..=10_000 {
        let shake = 0.5 * f64::from(k).sin();
        let estimate = run.step(rate.into(), [shake, -shake, 0.0]);
        assert_eq!(estimate.status.accelerometer_weight, 0.0);
        let truth = UnitQuaternion::from_scaled_axis(rate * (1e-3 * f64::from(k)));
        let off = rotation(&estimate).angle_to(&truth);
        assert!(off < GYRO_ALONE_TOL_RAD, "{k}: {off}");
    }
}

/// A magnetic field that is badly wrong turns the heading and nothing else.
#[test]
fn wrong_heading_never_tilts_the_estimate() {
    let truth = UnitQuaternion::from_euler_angles(0.3, -0.2, 0.0);
    let mut run = Run::new(CONFIG, 5e-3, truth);
    for k in 0..5_000 {
        let angle = f64::from(k) * 0.1;
        let heading = Some(HeadingReference::north([angle.sin(), 0.6 * angle.cos(), 0.7]));
        let estimate = run.with_heading([0.0; 3], rest(&truth), heading);
        let off = tilt_between(&rotation(&estimate), &truth);
        assert!(off < 1e-6, "{k}: {off}");
    }
}

/// A minute of rolling about with the accelerometer in step, in both precisions.
#[test]
fn single_precision_stays_with_double_precision() {
    let (single, double) =
        (AttitudeEstimator::<f32>::new(&CONFIG, 1e-3).unwrap(), AttitudeEstimator::<f64>::new(&CONFIG, 1e-3).unwrap());
    let (mut single_state, mut double_state) = (AttitudeEstimatorState::default(), AttitudeEstimatorState::default());
    let mut truth = UnitQuaternion::identity();
    let mut worst = 0.0_f64;
    for k in 0..60_000 {
        let t = f64::from(k) * 1e-3;
        let busy = if t < 1.0 { 0.0 } else { 1.0 };
        let rate = Vector3::new((1.3 * t).sin(), 0.8 * (0.9 * t).cos(), 0.5 * (0.4 * t).sin()) * busy;
        let force = rest(&truth);
        let sample = InertialSample {
            gyro_rad_s: BodyAxes::from_array(rate.into()),
            acceleration_m_s2: force,
            heading: Some(HeadingReference::nose(truth.euler_angles().2)),
        };
        let sample_single = InertialSample {
            gyro_rad_s: BodyAxes::from_array(<[f64; 3]>::from(rate).map(|v| v as f32)),
            acceleration_m_s2: force.map(|v| v as f32),
            heading: Some(HeadingReference::nose(truth.euler_angles().2 as f32)),
        };
        let (ours, exact) = (single.step(&mut single_state, &sample_single), double.step(&mut double_state, &sample));
        assert_eq!(ours.status.alignment, exact.status.alignment, "{t}");
        worst = worst.max(rotation(&ours).angle_to(&rotation(&exact)));
        truth *= UnitQuaternion::from_scaled_axis(rate * 1e-3);
    }
    assert!((0.05 * F32_TOL_RAD..=F32_TOL_RAD).contains(&worst), "{worst:e}");
}

struct Draw(u32);

impl Draw {
    fn next(&mut self) -> u32 {
        self.0 = self.0.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        self.0 >> 8
    }

    /// Mostly a number about this large, now and then what no sensor should give.
    fn value(&mut self, size: f32) -> f32 {
        const BAD: [f32; 10] =
            [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, f32::MAX, f32::MIN, 1e-45, -0.0, 1e20, -1e10, 1e-20];
        let plain = size * (self.next() as f32 / (1 << 23) as f32 - 1.0);
        if self.next().is_multiple_of(16) { BAD[self.next() as usize % BAD.len()] } else { plain }
    }

    fn values(&mut self, size: f32) -> [f32; 3] {
        [self.value(size), self.value(size), self.value(size)]
    }

    fn heading(&mut self) -> Option<HeadingReference<f32>> {
        match self.next() % 4 {
            0 => Some(HeadingReference::nose(self.value(4.0))),
            1 => Some(HeadingReference::north(self.values(1.0))),
            2 => {
                let north_east = [self.value(1.0), self.value(1.0)];
                Some(HeadingReference { direction_body: self.values(1.0), north_east })
            }
            _ => None,
        }
    }
}

#[test]
fn nothing_that_comes_in_makes_the_estimate_not_finite() {
    let block = AttitudeEstimator::<f32>::new(&AttitudeEstimatorConfig { align_s: 0.002, ..CONFIG }, 1e-3).unwrap();
    let mut state = AttitudeEstimatorState::default();
    let mut draw = Draw(5);
    let (mut aligned, mut faulty) = (0, 0);
    for step in 0..200_000 {
        if step % 5_000 == 0 {
            state.reset();
        }
        let still = step % 5_000 < 20 && step % 3 != 0;
        let sample = InertialSample {
            gyro_rad_s: BodyAxes::from_array(if still { [0.01; 3] } else { draw.values(40.0) }),
            acceleration_m_s2: if still { [0.1, 0.2, -9.8] } else { draw.values(15.0) },
            heading: draw.heading(),
        };
        let estimate = block.step(&mut state, &sample);
        let numbers = estimate.attitude.to_array().into_iter().chain(estimate.rate_rad_s.to_array());
        let mut numbers = numbers.chain(estimate.bias_rad_s.to_array()).chain([estimate.status.accelerometer_weight]);
        assert!(numbers.all(f32::is_finite), "{step}: {sample:?} gave {estimate:?}");
        let length = estimate.attitude.to_array().iter().map(|v| f64::from(*v).powi(2)).sum::<f64>();
        assert!((length - 1.0).abs() < 1e-6 && estimate.attitude.w >= 0.0, "{step}: {estimate:?}");
        assert!(estimate.bias_rad_s.to_array().iter().all(|bias| bias.abs() <= 0.2), "{step}");
        let gyro_bad = sample.gyro_rad_s.to_array().iter().any(|rate| !(rate.abs() <= 35.0));
        assert_eq!(estimate.status.gyro_faulty, gyro_bad, "{step}");
        let acceleration_bad = sample.acceleration_m_s2.iter().any(|value| !value.is_finite());
        assert!(estimate.status.accelerometer_faulty || !acceleration_bad, "{step}");
        let heading_bad = sample.heading.is_some_and(|heading| !heading.is_finite());
        assert_eq!(estimate.status.heading_faulty, heading_bad, "{step}");
        aligned += i32::from(estimate.status.alignment == Alignment::Aligned);
        faulty += i32::from(gyro_bad || acceleration_bad);
    }
    assert!(aligned > 100_000 && faulty > 20_000, "the test says something: {aligned} {faulty}");
}
