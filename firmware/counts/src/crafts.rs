//! The crafts that are counted, worked out while compiling, and what their flight computer is told; `evenkeel-checks` is told
//! the same. Our own invention.

use evenkeel_controller::estimate::AttitudeEstimatorConfig;
use evenkeel_controller::filter::{GyroFilterConfig, NotchBankConfig, SecondOrderLowPassConfig};
use evenkeel_controller::{
    BatteryConfig, Controller, ControllerConfig, DescentConfig, FlightComputer, FlightComputerConfig,
    RotorReportsConfig, SupervisorConfig, Tuning,
};
use evenkeel_mixer::{Design, Priority, Rotor, Spin};

/// Facet slabs that are enough for the default order of priority.
pub const fn default_order_facets(rotors: usize) -> usize {
    rotors + rotors * (rotors - 1) + rotors * (rotors - 1) * (rotors - 2) / 6
}

const F4: usize = default_order_facets(4);
const F6: usize = default_order_facets(6);
const F8: usize = default_order_facets(8);

/// cos 45°, 30° and 22.5°, and sines.
const HALF_ROOT: f64 = core::f64::consts::FRAC_1_SQRT_2;
const COS_30: f64 = 0.866_025_403_784_438_6;
const COS_22: f64 = 0.923_879_532_511_286_7;
const SIN_22: f64 = 0.382_683_432_365_089_8;

const CORNERS: [[f64; 2]; 4] =
    [[HALF_ROOT, HALF_ROOT], [-HALF_ROOT, HALF_ROOT], [-HALF_ROOT, -HALF_ROOT], [HALF_ROOT, -HALF_ROOT]];

/// Four arms at 45 degrees.
pub static QUAD: Design<4, F4> = Design::expect(&ring(0.25, CORNERS), [0.0; 3], Priority::DEFAULT);

/// The same with its centre of mass off the middle, as a battery pushed forward leaves it.
pub static QUAD_OFF_BALANCE: Design<4, F4> =
    Design::expect(&ring(0.25, CORNERS), [0.015, -0.004, 0.0], Priority::DEFAULT);

/// Six arms, one at the nose.
pub static FLAT_SIX: Design<6, F6> = Design::expect(
    &ring(0.35, [[1.0, 0.0], [0.5, COS_30], [-0.5, COS_30], [-1.0, 0.0], [-0.5, -COS_30], [0.5, -COS_30]]),
    [0.0; 3],
    Priority::DEFAULT,
);

/// Eight arms, two beside the nose.
pub static FLAT_EIGHT: Design<8, F8> = Design::expect(
    &ring(
        0.45,
        [
            [COS_22, SIN_22],
            [SIN_22, COS_22],
            [-SIN_22, COS_22],
            [-COS_22, SIN_22],
            [-COS_22, -SIN_22],
            [-SIN_22, -COS_22],
            [SIN_22, -COS_22],
            [COS_22, -SIN_22],
        ],
    ),
    [0.0; 3],
    Priority::DEFAULT,
);

/// Four arms at 45 degrees with two rotors each, that turn opposite ways.
pub static COAXIAL_EIGHT: Design<8, F8> = Design::expect(&coaxial(), [0.0; 3], Priority::DEFAULT);

/// The rotor of all of them, at the datum.
pub const ROTOR: Rotor = Rotor { torque_per_thrust_m: 0.016, thrust_min_n: 0.3, thrust_max_n: 8.0, ..Rotor::UP };

/// Arms of one length; neighbours turn opposite ways.
const fn ring<const N: usize>(arm_m: f64, directions: [[f64; 2]; N]) -> [Rotor; N] {
    let mut rotors = [ROTOR; N];
    let mut i = 0;
    while i < N {
        let [x, y] = directions[i];
        rotors[i].position_m = [arm_m * x, arm_m * y, 0.0];
        rotors[i].spin = if i % 2 == 0 { Spin::Ccw } else { Spin::Cw };
        i += 1;
    }
    rotors
}

const fn coaxial() -> [Rotor; 8] {
    let upper = ring(0.40, CORNERS);
    let mut rotors = [ROTOR; 8];
    let mut i = 0;
    while i < 4 {
        rotors[i] = upper[i];
        rotors[i + 4] = upper[i];
        rotors[i + 4].spin = if i % 2 == 0 { Spin::Cw } else { Spin::Ccw };
        i += 1;
    }
    rotors
}

/// Steps of the rate loop for one of the angle loop.
pub const ANGLE_DIVIDER: u32 = 4;

/// Period of the rate loop, s.
pub const PERIOD_S: f64 = 1.0e-3;
/// Thrust that carries the quad, N.
pub const HOVER_N: f64 = 15.7;

/// Attitude from gyro and accelerometer, no heading.
pub const ESTIMATOR: AttitudeEstimatorConfig = AttitudeEstimatorConfig {
    kp_per_s: 0.1,
    ki_per_s2: 0.0025,
    heading_weight: 0.0,
    bias_max_rad_s: 0.1,
    rate_max_rad_s: 35.0,
    gravity_m_s2: 9.806_65,
    gate_share: 0.1,
    rate_gate_rad_s: 1.0,
    align_s: 1.0,
    still_rad_s: 0.1,
};

/// A controller that suits the quad; none if the rule gives no gains, and then there is nothing to count.
pub fn quad_controller() -> Option<Controller<f32>> {
    Controller::new(&quad_loops()?).ok()
}

/// A flight computer that suits the quad: a low-pass behind four notches, a battery that is watched.
pub fn quad_computer() -> Option<FlightComputer<f32>> {
    FlightComputer::new(&computer_config()?).ok()
}

/// What it is made from.
pub fn computer_config() -> Option<FlightComputerConfig> {
    let controller = quad_loops()?;
    let low_pass = SecondOrderLowPassConfig { corner_hz: 150.0, quality: core::f64::consts::FRAC_1_SQRT_2 };
    let notches = NotchBankConfig { quality: 3.0, cycles_per_turn: 1.0, least_hz: 60.0 };
    Some(FlightComputerConfig {
        gyro_filter: GyroFilterConfig { notches: Some(notches), low_pass: Some(low_pass) },
        estimator: ESTIMATOR,
        supervisor: SupervisorConfig::usual(PERIOD_S, HOVER_N),
        controller,
        battery: BatteryConfig::default(),
        descent: DescentConfig::default(),
        rotor_reports: RotorReportsConfig::default(),
    })
}

fn quad_loops() -> Option<ControllerConfig> {
    let tuning = Tuning {
        period_s: PERIOD_S,
        angle_divider: ANGLE_DIVIDER,
        rotor_lag_s: 0.035,
        extra_delay_s: 0.0,
        authority_rad_s2: [150.0, 140.0, 8.0],
        spin_up_s: [0.0; 3],
    };
    let gains = tuning.gains().ok()?;
    Some(ControllerConfig {
        period_s: tuning.period_s,
        angle_divider: tuning.angle_divider,
        rate: gains.rate,
        angle: gains.angle,
        reference: gains.reference,
        inertia_kg_m2: [[0.0165, 0.0, 0.0], [0.0, 0.017, 0.0], [0.0, 0.0, 0.031]],
        tilt_compensation_max: 1.5,
    })
}
