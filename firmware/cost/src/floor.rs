//! The floor: the bare arithmetic of a step, written by hand for one craft and nothing else.
//!
//! Gyro low-passes, attitude from gyro and accelerometer, tilt and yaw error, three rate loops with filtered
//! derivatives, gyroscopic torque, the product of the pseudo-inverse, limits, thrust curve. No check of any input, no
//! supervisor, no shaping of what is asked, no record of what was found, no answer but the pseudo-inverse's when it
//! saturates: nothing to fly with.
//!
//! Each part is a function of its own, so that it can be counted alone; in [`step`] they stand in line.

use evenkeel_controller::FlightComputerConfig;
use evenkeel_mixer::{Design, Scalar};

/// What the step remembers.
#[derive(Default)]
pub struct Memory {
    low_pass: [[f32; 2]; 3],
    attitude: [f32; 4],
    bias: [f32; 3],
    integral: [f32; 3],
    derivative: [f32; 3],
    last: [f32; 3],
}

impl Memory {
    /// Level and at rest.
    pub fn level() -> Self {
        Memory { attitude: [1.0, 0.0, 0.0, 0.0], ..Memory::default() }
    }
}

/// The numbers of a craft.
pub struct Numbers<const N: usize> {
    /// Pseudo-inverse, one row a rotor.
    pub rows: [[f32; 4]; N],
    /// Least thrust of each rotor.
    pub floors: [f32; N],
    /// Most thrust of each rotor.
    pub ceilings: [f32; N],
    /// One over it.
    pub inverse_ceilings: [f32; N],
    /// Principal moments of inertia.
    pub inertia: [f32; 3],
}

impl<const N: usize> Numbers<N> {
    /// Those of this design and this configuration's principal moments.
    pub fn of<const F: usize>(design: &Design<N, F>, config: &FlightComputerConfig) -> Self {
        let matrix = design.effectiveness();
        let mut numbers = Numbers {
            rows: matrix.pseudo_inverse().map(|row| row.map(|value| value as f32)),
            floors: [0.0; N],
            ceilings: [0.0; N],
            inverse_ceilings: [0.0; N],
            inertia: [0, 1, 2].map(|axis| config.controller.inertia_kg_m2[axis][axis] as f32),
        };
        for (rotor, (floor, ceiling)) in matrix.floors_n().iter().zip(matrix.ceilings_n()).enumerate() {
            numbers.floors[rotor] = *floor as f32;
            numbers.ceilings[rotor] = *ceiling as f32;
            numbers.inverse_ceilings[rotor] = (1.0 / ceiling) as f32;
        }
        numbers
    }
}

const PERIOD_S: f32 = 1.0e-3;
/// Numerator and denominator of a second-order low-pass, any values: they cost the same.
const B: [f32; 3] = [0.1, 0.2, 0.1];
const A: [f32; 2] = [-0.9, 0.3];
const KP: f32 = 0.1;
const KI: f32 = 0.0025;
const ANGLE: f32 = 6.0;
const P: f32 = 20.0;
const I: f32 = 40.0;
const D: f32 = 0.02;
const SMOOTH: f32 = 0.3;

/// One step: gyro, accelerometer, demanded tilt as the down wanted in the body, yaw rate, thrust; commands out.
#[inline(never)]
#[allow(clippy::too_many_arguments, reason = "nothing is put into a structure and taken out again")]
pub fn step<const N: usize>(
    numbers: &Numbers<N>,
    memory: &mut Memory,
    gyro: &[f32; 3],
    acceleration: &[f32; 3],
    down_wanted: &[f32; 3],
    yaw_rate: f32,
    thrust: f32,
    commands: &mut [f32; N],
) {
    let mut rate = gyro_filter(memory, gyro);
    let down = estimate(memory, acceleration, &mut rate);
    let wanted = angle_loop(&down, down_wanted, yaw_rate);
    let acceleration = rate_loops(memory, &wanted, &rate);
    let wrench = inertia(numbers, &rate, &acceleration, thrust);
    let pushed = allocation(numbers, &wrench);
    thrust_curve(numbers, &pushed, commands);
}

/// Low-passed body rates.
#[inline(always)]
pub fn gyro_filter(memory: &mut Memory, gyro: &[f32; 3]) -> [f32; 3] {
    let mut rate = [0.0; 3];
    for ((value, raw), [s0, s1]) in rate.iter_mut().zip(gyro).zip(&mut memory.low_pass) {
        let [b0, b1, b2] = B;
        let [a1, a2] = A;
        let out = b0 * raw + *s0;
        *s0 = b1 * raw - a1 * out + *s1;
        *s1 = b2 * raw - a2 * out;
        *value = out;
    }
    rate
}

/// Down in the body, and the bias taken off the rates: the accelerometer's down against the estimate's turns it a
/// little.
#[inline(always)]
pub fn estimate(memory: &mut Memory, acceleration: &[f32; 3], rate: &mut [f32; 3]) -> [f32; 3] {
    let [w, x, y, z] = memory.attitude;
    let down = [2.0 * (x * z - w * y), 2.0 * (y * z + w * x), w * w - x * x - y * y + z * z];
    let [ax, ay, az] = *acceleration;
    let inverse = (ax * ax + ay * ay + az * az).recip_sqrt();
    let seen = [-ax * inverse, -ay * inverse, -az * inverse];
    let error = cross(&seen, &down);
    let mut turn = [0.0; 3];
    for (((turn, rate), bias), error) in turn.iter_mut().zip(rate).zip(&mut memory.bias).zip(error) {
        *rate -= *bias;
        *turn = 0.5 * PERIOD_S * (*rate + KP * error);
        *bias -= KI * PERIOD_S * error;
    }
    let [tx, ty, tz] = turn;
    let turned = [
        w - x * tx - y * ty - z * tz,
        x + w * tx + y * tz - z * ty,
        y + w * ty + z * tx - x * tz,
        z + w * tz + x * ty - y * tx,
    ];
    let [w, x, y, z] = turned;
    let inverse = (w * w + x * x + y * y + z * z).recip_sqrt();
    memory.attitude = turned.map(|value| value * inverse);
    down
}

/// Tilt error to rates.
#[inline(always)]
pub fn angle_loop(down: &[f32; 3], down_wanted: &[f32; 3], yaw_rate: f32) -> [f32; 3] {
    let [roll, pitch, _] = cross(down, down_wanted);
    [ANGLE * roll, ANGLE * pitch, yaw_rate]
}

/// Rate errors to angular acceleration.
#[inline(always)]
pub fn rate_loops(memory: &mut Memory, wanted: &[f32; 3], rate: &[f32; 3]) -> [f32; 3] {
    let mut acceleration = [0.0; 3];
    for (axis, out) in acceleration.iter_mut().enumerate() {
        let error = wanted[axis] - rate[axis];
        memory.derivative[axis] +=
            SMOOTH * ((memory.last[axis] - rate[axis]) * (1.0 / PERIOD_S) - memory.derivative[axis]);
        memory.last[axis] = rate[axis];
        memory.integral[axis] += I * PERIOD_S * error;
        *out = P * error + memory.integral[axis] + D * memory.derivative[axis];
    }
    acceleration
}

/// Angular acceleration to torque, beside the thrust.
#[inline(always)]
pub fn inertia<const N: usize>(
    numbers: &Numbers<N>,
    rate: &[f32; 3],
    acceleration: &[f32; 3],
    thrust: f32,
) -> [f32; 4] {
    let [ix, iy, iz] = numbers.inertia;
    let [p, q, r] = *rate;
    let [ap, aq, ar] = *acceleration;
    [thrust, ix * ap + (iz - iy) * q * r, iy * aq + (ix - iz) * r * p, iz * ar + (iy - ix) * p * q]
}

/// The product of the pseudo-inverse, clipped.
#[inline(always)]
pub fn allocation<const N: usize>(numbers: &Numbers<N>, wrench: &[f32; 4]) -> [f32; N] {
    let [w0, w1, w2, w3] = *wrench;
    let mut thrusts = [0.0; N];
    for (i, thrust) in thrusts.iter_mut().enumerate() {
        let [a, b, c, d] = numbers.rows[i];
        let mut pushed = a * w0 + b * w1 + c * w2 + d * w3;
        if pushed < numbers.floors[i] {
            pushed = numbers.floors[i];
        }
        if pushed > numbers.ceilings[i] {
            pushed = numbers.ceilings[i];
        }
        *thrust = pushed;
    }
    thrusts
}

/// Thrusts to commands.
#[inline(always)]
pub fn thrust_curve<const N: usize>(numbers: &Numbers<N>, thrusts: &[f32; N], commands: &mut [f32; N]) {
    for ((command, thrust), inverse) in commands.iter_mut().zip(thrusts).zip(&numbers.inverse_ceilings) {
        *command = Scalar::sqrt(*thrust * *inverse);
    }
}

fn cross(a: &[f32; 3], b: &[f32; 3]) -> [f32; 3] {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}
