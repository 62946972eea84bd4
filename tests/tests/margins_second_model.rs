//! The loops a second time, written from the equations alone: matrices, exponentials and no block that flies.
//!
//! Rotors and body are dx/dt = A·x + B·u, held by the matrix exponential; delays are registers; the rate loop, the Butterworth
//! low-pass and the estimate's sum are typed anew; the angle loop's hold is a switch in a system that repeats every
//! `angle_divider` steps. Its answer to a sine is solved for, not summed over folded frequencies as the margins do.

use std::f64::consts::{PI, SQRT_2, TAU};

use evenkeel::craft::Craft;
use evenkeel::onboard::Onboard;
use evenkeel_tests::similar_craft::{MASSES_KG, Similar, loops, onboard};
use nalgebra::{Complex, DMatrix, DVector};

/// What the two may be apart where both are exact ...
const EXACT_TOL: f64 = 1.0e-6;
/// ... and where the margins leave out what the angle loop's hold folds down, decibels and degrees.
const FOLDED_TOL_DB: f64 = 0.01;
const FOLDED_TOL_DEG: f64 = 0.1;

/// Names of the places in the state.
const RATE: usize = 0;
const THRUST: usize = 1;
const SUM: usize = 2;
const INTEGRAL: usize = 3;
const DERIVATIVE: usize = 4;
const LAST: usize = 5;
const FILTER: usize = 6;
const SET_POINT: usize = 10;
const REGISTER: usize = 11;

/// One step of one axis: what the state becomes, and the demand in it, from the state, what is added to the demand and what is
/// added to the set-point.
struct Axis {
    place: usize,
    divider: usize,
    craft: Craft,
    flying: Onboard<f64>,
    axis: usize,
}

impl Axis {
    /// State now, additions now: demand asked before the addition, set-point asked before the addition, next state.
    fn step(&self, x: &DVector<f64>, first: bool, on_demand: f64, on_set_point: f64) -> (f64, f64, DVector<f64>) {
        let flying = &self.flying;
        let (t, gains) = (flying.config.period_s, flying.config.rate[self.axis]);
        let mut next = x.clone();
        let rate = x[RATE];
        // Butterworth, bilinear with the corner prewarped: b·(1 + 2z⁻¹ + z⁻²)/(1 + a₁z⁻¹ + a₂z⁻²).
        let corner = self.craft.sensors.gyro_low_pass_hz.map_or(f64::NAN, |hz| (PI * hz * t).tan());
        let scale = 1.0 / (1.0 + SQRT_2 * corner + corner * corner);
        let (b, a1, a2) = (
            corner * corner * scale,
            2.0 * (corner * corner - 1.0) * scale,
            (1.0 - SQRT_2 * corner + corner * corner) * scale,
        );
        let seen = b * (rate + 2.0 * x[FILTER] + x[FILTER + 1]) - a1 * x[FILTER + 2] - a2 * x[FILTER + 3];
        (next[FILTER], next[FILTER + 1], next[FILTER + 2], next[FILTER + 3]) = (rate, x[FILTER], seen, x[FILTER + 2]);
        // The estimate: the gyro's samples summed, without the low-pass.
        next[SUM] = x[SUM] + t * rate;
        let asked_rate = -flying.config.angle.gain_per_s[self.axis] * next[SUM];
        let held = if first { asked_rate + on_set_point } else { x[SET_POINT] };
        next[SET_POINT] = held;
        let lag = 1.0 / (TAU * gains.d_filter_hz);
        next[DERIVATIVE] = (lag * x[DERIVATIVE] + seen - x[LAST]) / (lag + t);
        next[LAST] = seen;
        let error = held - seen;
        let demand = gains.p_per_s * error + x[INTEGRAL] - gains.d * next[DERIVATIVE];
        next[INTEGRAL] = x[INTEGRAL] + gains.i_per_s2 * t * error;
        // Commands on their way: the oldest of the registers acts until the next arrives.
        let delay = t + self.craft.loops.extra_delay_s;
        let (whole, part) = ((delay / t).floor() as usize, delay - (delay / t).floor() * t);
        for place in (1..=whole).rev() {
            next[REGISTER + place] = x[REGISTER + place - 1];
        }
        next[REGISTER] = demand + on_demand;
        // x[REGISTER + k] was asked k + 1 steps ago.
        let before = x[REGISTER + whole];
        let after = if whole == 0 { demand + on_demand } else { x[REGISTER + whole - 1] };
        let tau = self.craft.slowest_lag_s();
        let lag = DMatrix::from_row_slice(3, 3, &[0.0, 1.0, 0.0, 0.0, -1.0 / tau, 1.0 / tau, 0.0, 0.0, 0.0]);
        let mut body = DVector::from_row_slice(&[rate, x[THRUST], before]);
        body = (&lag * part).exp() * body;
        body[2] = after;
        body = (&lag * (t - part)).exp() * body;
        (next[RATE], next[THRUST]) = (body[0], body[1]);
        (demand, asked_rate, next)
    }

    /// The loop cut open at the demand or at the set-point, at this frequency: −Y/U of the closed loop, U = Y + 1.
    fn response(&self, omega_rad_s: f64, at_demand: bool) -> Complex<f64> {
        let (n, t) = (self.place, 1.0 / self.craft.loops.rate_hz);
        // One step is linear: read its matrices off it.
        let matrices: Vec<_> = [true, false].iter().map(|first| self.matrices(*first, at_demand)).collect();
        let turn = Complex::cis(omega_rad_s * t);
        // x after a whole turn of the divider, from x at its start: A·x + b·e^(jωkT), summed.
        let (mut carried, mut driven) = (DMatrix::<Complex<f64>>::identity(n, n), DVector::<Complex<f64>>::zeros(n));
        let input = |k: usize| {
            // At the set-point the sine is held as the set-point is.
            turn.powi(k as i32)
        };
        for k in 0..self.divider {
            let (a, b, ..) = &matrices[usize::from(k > 0)];
            carried = a * carried;
            driven = a * driven + b * input(k);
        }
        let round = DMatrix::<Complex<f64>>::identity(n, n) * turn.powi(self.divider as i32) - &carried;
        let mut x = round.lu().solve(&driven).unwrap_or_else(|| panic!("a pole on the circle"));
        let (mut back, mut on) = (Complex::new(0.0, 0.0), Complex::new(0.0, 0.0));
        for k in 0..if at_demand { self.divider } else { 1 } {
            let (a, b, c, d) = &matrices[usize::from(k > 0)];
            let y = (c * &x)[0] + d * input(k);
            back += y * turn.powi(-(k as i32));
            on += (y + input(k)) * turn.powi(-(k as i32));
            x = a * x + b * input(k);
        }
        -back / on
    }

    #[allow(clippy::type_complexity)]
    fn matrices(
        &self,
        first: bool,
        at_demand: bool,
    ) -> (DMatrix<Complex<f64>>, DVector<Complex<f64>>, DMatrix<Complex<f64>>, Complex<f64>) {
        let n = self.place;
        let answer = |x: &DVector<f64>, added: f64| {
            let (demand, set_point, next) =
                self.step(x, first, if at_demand { added } else { 0.0 }, if at_demand { 0.0 } else { added });
            (if at_demand { demand } else { set_point }, next)
        };
        let (mut a, mut c) = (DMatrix::zeros(n, n), DMatrix::zeros(1, n));
        for column in 0..n {
            let mut unit = DVector::zeros(n);
            unit[column] = 1.0;
            let (out, next) = answer(&unit, 0.0);
            a.set_column(column, &next.map(|value| Complex::new(value, 0.0)));
            c[column] = Complex::new(out, 0.0);
        }
        let (out, next) = answer(&DVector::zeros(n), 1.0);
        (a, next.map(|value| Complex::new(value, 0.0)), c, Complex::new(out, 0.0))
    }
}

#[test]
fn loops_respond_as_matrices_say_when_nothing_of_the_program_is_used() {
    let mut farthest = [0.0_f64; 3];
    for (mass_kg, lines) in MASSES_KG.into_iter().zip([
        "",
        "[loops]\nextra_delay_s = 0.0037\nangle_divider = 5\n",
        "[loops]\nrate_hz = 400.0\nextra_delay_s = 0.004\nangle_divider = 2\n",
    ]) {
        let craft = Similar { lines: lines.to_string(), ..Similar::of(mass_kg) }.quiet();
        let delay_steps = (craft.loops.extra_delay_s * craft.loops.rate_hz) as usize + 2;
        for (axis, model) in loops(&craft).iter().enumerate() {
            let divider = craft.loops.angle_divider as usize;
            let second = Axis {
                place: REGISTER + delay_steps + 1,
                divider,
                craft: craft.clone(),
                flying: onboard(&craft),
                axis,
            };
            let (rate, angle) = (model.rate().crossover_rad_s, model.angle().crossover_rad_s);
            for share in [0.2, 0.6, 1.0, 2.2, 5.0] {
                let off = second.response(share * angle, false) / model.angle_response(share * angle) - 1.0;
                farthest[0] = farthest[0].max(off.norm());
                assert!(off.norm() < EXACT_TOL, "{mass_kg} kg, angle {axis} at {share}: {off}");
                let off = second.response(share * rate, true) / model.rate_response(share * rate);
                let (decibels, degrees) = (20.0 * off.norm().log10(), off.arg().to_degrees());
                farthest = [farthest[0], farthest[1].max(decibels.abs()), farthest[2].max(degrees.abs())];
                assert!(
                    decibels.abs() < FOLDED_TOL_DB && degrees.abs() < FOLDED_TOL_DEG,
                    "{mass_kg} kg, rate {axis} at {share}: {decibels} dB {degrees} deg"
                );
            }
        }
    }
    println!("angle loop {:.1e}; rate loop {:.4} dB, {:.4} deg", farthest[0], farthest[1], farthest[2]);
}
