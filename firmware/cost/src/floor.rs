//! The floor: the bare arithmetic of a step, written by hand for one craft and nothing else.
//!
//! Gyro low-passes, attitude from gyro and accelerometer, tilt and yaw error, three rate loops with filtered
//! derivatives, gyroscopic torque, the product of the pseudo-inverse, limits, thrust curve. No check of any input, no
//! supervisor, no shaping of what is asked, no record of what was found, no answer but the pseudo-inverse's when it
//! saturates: nothing to fly with.

use evenkeel_mixer::Scalar;

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
    let mut rate = [0.0; 3];
    for ((value, raw), [s0, s1]) in rate.iter_mut().zip(gyro).zip(&mut memory.low_pass) {
        let [b0, b1, b2] = B;
        let [a1, a2] = A;
        let out = b0 * raw + *s0;
        *s0 = b1 * raw - a1 * out + *s1;
        *s1 = b2 * raw - a2 * out;
        *value = out;
    }
    // Attitude: the accelerometer's down against the estimate's turns it a little.
    let [w, x, y, z] = memory.attitude;
    let down = [2.0 * (x * z - w * y), 2.0 * (y * z + w * x), w * w - x * x - y * y + z * z];
    let [ax, ay, az] = *acceleration;
    let inverse = (ax * ax + ay * ay + az * az).recip_sqrt();
    let seen = [-ax * inverse, -ay * inverse, -az * inverse];
    let error = cross(&seen, &down);
    let mut turn = [0.0; 3];
    for (((turn, rate), bias), error) in turn.iter_mut().zip(&mut rate).zip(&mut memory.bias).zip(error) {
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
    // Tilt error to rates, rates to torques.
    let [roll, pitch, _] = cross(&down, down_wanted);
    let wanted = [ANGLE * roll, ANGLE * pitch, yaw_rate];
    let mut acceleration = [0.0; 3];
    for (axis, out) in acceleration.iter_mut().enumerate() {
        let error = wanted[axis] - rate[axis];
        memory.derivative[axis] +=
            SMOOTH * ((memory.last[axis] - rate[axis]) * (1.0 / PERIOD_S) - memory.derivative[axis]);
        memory.last[axis] = rate[axis];
        memory.integral[axis] += I * PERIOD_S * error;
        *out = P * error + memory.integral[axis] + D * memory.derivative[axis];
    }
    let [ix, iy, iz] = numbers.inertia;
    let [p, q, r] = rate;
    let [ap, aq, ar] = acceleration;
    let wrench = [thrust, ix * ap + (iz - iy) * q * r, iy * aq + (ix - iz) * r * p, iz * ar + (iy - ix) * p * q];
    let [w0, w1, w2, w3] = wrench;
    for (i, command) in commands.iter_mut().enumerate() {
        let [a, b, c, d] = numbers.rows[i];
        let mut pushed = a * w0 + b * w1 + c * w2 + d * w3;
        if pushed < numbers.floors[i] {
            pushed = numbers.floors[i];
        }
        if pushed > numbers.ceilings[i] {
            pushed = numbers.ceilings[i];
        }
        *command = Scalar::sqrt(pushed * numbers.inverse_ceilings[i]);
    }
}

fn cross(a: &[f32; 3], b: &[f32; 3]) -> [f32; 3] {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}
