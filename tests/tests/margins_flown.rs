//! Margins against flight: what is flown dies away just inside them and grows just outside, on every axis, for both loops,
//! and in both directions where there are two.
//!
//! Each flight is a hover that begins with a small turn. Everything stays far from every limit, so that what grows is the
//! oscillation that the margin speaks of; the flights last as long as the response says that growing takes.
//!
//! What is comparable: the rate loop is cut at the torque demand, so its gain is that of P, I and D together, and its delay
//! is `loops.extra_delay_s`, which every path of the axis passes. The delay of the other axes would be the same, so those
//! are flown with gains that bear it. The angle loop is cut at the rate set-point: its gain is the angle gain, and its delay
//! stands at the set-point, with the rate loop beneath as it is. `extra_delay_s` acts on the rate loop too, and that gives
//! way first.

use std::f64::consts::TAU;

use evenkeel::craft::Craft;
use evenkeel::file::parse_flight;
use evenkeel::margins::AxisLoops;
use evenkeel::simulation::fly;
use evenkeel_tests::driven_flight::{Cut, DrivenFlight, hover_flight};
use evenkeel_tests::similar_craft::{MASSES_KG, Similar, loops, onboard};
use nalgebra::Complex;

/// How far inside and outside a margin is flown.
const NEAR: f64 = 0.05;
/// What the first demand takes of the authority.
const SMALL: f64 = 1.0e-3;
/// By this factor the response says that the oscillation shrinks or grows between the two looks ...
const GROWTH_TOLD: f64 = 4.0;
/// ... and by this it must.
const GROWTH_LEAST: f64 = 2.0;
/// Periods of the oscillation before the first look, for what else was stirred up to die away, and periods looked at.
const BEFORE: f64 = 6.0;
const LOOKED_AT: f64 = 2.0;
/// The axes that are not looked at are this much slower.
const CALM: f64 = 8.0;

/// How the loop swings at a margin that is overstepped by little.
struct Swing {
    omega_rad_s: f64,
    /// Time for the oscillation to change by e, either way.
    time_s: f64,
}

/// Where 1 + L comes nearest to zero, and how far the pole nearby is from the axis: δs = −(1 + L)/(dL/ds).
fn swing(response: &dyn Fn(f64) -> Complex<f64>, half_rate_rad_s: f64) -> Swing {
    let distance = |omega: f64| (1.0 + response(omega)).norm();
    let grid = (0..4000).map(|step| half_rate_rad_s * 10_f64.powf(-5.0 * f64::from(step) / 4000.0));
    let (omega, _) = grid
        .map(|omega| (omega, distance(omega)))
        .fold((f64::NAN, f64::INFINITY), |least, found| if found.1 < least.1 { found } else { least });
    let step = 1e-4 * omega;
    let slope = (response(omega + step) - response(omega - step)) / (2.0 * step) * Complex::new(0.0, -1.0);
    let pole = -(1.0 + response(omega)) / slope;
    Swing { omega_rad_s: omega, time_s: 1.0 / pole.re.abs() }
}

impl Swing {
    fn period_s(&self) -> f64 {
        TAU / self.omega_rad_s
    }

    fn duration_s(&self) -> f64 {
        (BEFORE + 2.0 * LOOKED_AT) * self.period_s() + GROWTH_TOLD.ln() * self.time_s
    }

    /// Root of the mean square at the end over that at the first look; `signal` has this many values a second.
    ///
    /// Less the signal half a period before, twice: what swings is doubled each time, what is much slower is gone.
    fn growth(&self, signal: &[f64], per_s: f64) -> f64 {
        let half = (0.5 * self.period_s() * per_s).round() as usize;
        let less =
            |signal: &[f64]| -> Vec<f64> { signal[half..].iter().zip(signal).map(|(now, then)| now - then).collect() };
        let signal = less(&less(signal));
        let looked_at = (LOOKED_AT * self.period_s() * per_s) as usize;
        let first = (BEFORE * self.period_s() * per_s) as usize;
        let size = |values: &[f64]| (values.iter().map(|v| v * v).sum::<f64>() / values.len() as f64).sqrt();
        size(&signal[signal.len() - looked_at..]) / size(&signal[first..first + looked_at])
    }
}

fn start_rad_s(craft: &Craft, axis: usize) -> f64 {
    let flying = onboard(craft);
    SMALL * flying.authority.acceleration_rad_s2[axis] / flying.config.rate[axis].p_per_s
}

/// By how much the oscillation grows in plain flight.
fn flown_growth(craft: &Craft, axis: usize, start_rad_s: f64, swing: &Swing) -> f64 {
    let log_period_s = swing.period_s() / 40.0;
    let text = hover_flight(swing.duration_s(), log_period_s, axis, start_rad_s, None);
    let flight = parse_flight("hover.toml", &text, craft).unwrap_or_else(|error| panic!("{error}\n{text}"));
    let recording = fly(craft, &flight, Some(&onboard(craft)), &|_| ()).unwrap_or_else(|error| panic!("{error}"));
    for row in &recording.rows {
        assert_eq!(
            row.demand.to_array().map(f32_of),
            row.achieved.to_array().map(f32_of),
            "small: no rotor at a limit"
        );
    }
    let rates: Vec<f64> = recording.rows.iter().map(|row| row.rate_rad_s[axis]).collect();
    swing.growth(&rates, 1.0 / log_period_s)
}

/// To single precision: allocation rounds.
fn f32_of(value: f64) -> i64 {
    (value * 1e6).round() as i64
}

fn dies_away_inside_and_grows_outside(what: &str, flown: impl Fn(f64) -> f64) {
    let [inside, outside] = [1.0 - NEAR, 1.0 + NEAR].map(flown);
    println!("{what}: {inside:.3} inside, {outside:.3} outside");
    assert!(inside < 1.0 / GROWTH_LEAST && outside > GROWTH_LEAST, "{what}: {inside} inside, {outside} outside");
}

fn each_axis(see: impl Fn(&Craft, usize, &AxisLoops, &str)) {
    for mass_kg in MASSES_KG {
        let craft = Similar::of(mass_kg).quiet();
        for (axis, model) in loops(&craft).iter().enumerate() {
            see(&craft, axis, model, &format!("{mass_kg} kg, axis {axis}"));
        }
    }
}

fn half_rate_rad_s(craft: &Craft) -> f64 {
    0.5 * TAU * craft.loops.rate_hz
}

/// The craft with one axis's rate gains times a factor.
fn with_rate_gain(craft: &Craft, axis: usize, factor: f64) -> Craft {
    let mut changed = craft.clone();
    let gains = &mut changed.gains.rate[axis];
    for gain in [&mut gains.p_per_s, &mut gains.i_per_s2, &mut gains.d] {
        *gain = gain.map(|gain| gain * factor);
    }
    changed
}

/// The craft with every axis but one slow enough to bear delays that this one does not.
fn others_calm(craft: &Craft, axis: usize) -> Craft {
    let mut changed = craft.clone();
    for other in (0..3).filter(|other| *other != axis) {
        changed = with_rate_gain(&changed, other, 1.0 / CALM);
        changed.gains.rate[other].i_per_s2 = changed.gains.rate[other].i_per_s2.map(|gain| gain / CALM);
        changed.gains.angle_per_s[other] = changed.gains.angle_per_s[other].map(|gain| gain / CALM);
    }
    changed
}

#[test]
fn rate_loop_settles_just_inside_the_extra_delay_it_bears_and_diverges_just_outside() {
    each_axis(|craft, axis, model, what| {
        let margin_s = model.rate().delay_margin_s;
        let craft = others_calm(craft, axis);
        let start = start_rad_s(&craft, axis);
        dies_away_inside_and_grows_outside(what, |share| {
            let mut late = craft.clone();
            late.loops.extra_delay_s = share * margin_s;
            let model = loops(&late);
            for (other, model) in model.iter().enumerate() {
                assert!(other == axis || model.rate().stable, "{what}: axis {other} must bear the delay too");
            }
            let swing = swing(&|omega| model[axis].rate_response(omega), half_rate_rad_s(&late));
            flown_growth(&late, axis, start, &swing)
        });
    });
}

#[test]
fn rate_loop_settles_just_inside_the_gain_it_bears_and_diverges_just_outside() {
    each_axis(|craft, axis, model, what| {
        let start = start_rad_s(craft, axis);
        dies_away_inside_and_grows_outside(what, |share| {
            let factor = share * model.rate().gain_up;
            let swing = swing(&|omega| factor * model.rate_response(omega), half_rate_rad_s(craft));
            flown_growth(&with_rate_gain(craft, axis, factor), axis, start, &swing)
        });
    });
}

/// With an integral part and an angle loop above, too little gain is as bad as too much.
#[test]
fn rate_loop_settles_just_above_the_least_gain_it_bears_and_diverges_just_below() {
    each_axis(|craft, axis, model, what| {
        let start = start_rad_s(craft, axis);
        let least = model.rate().gain_down;
        assert!(least > 0.0, "{what}: there is one");
        dies_away_inside_and_grows_outside(what, |share| {
            let factor = least / share;
            let swing = swing(&|omega| factor * model.rate_response(omega), half_rate_rad_s(craft));
            flown_growth(&with_rate_gain(craft, axis, factor), axis, start, &swing)
        });
    });
}

#[test]
fn angle_loop_settles_just_inside_the_gain_it_bears_and_diverges_just_outside() {
    each_axis(|craft, axis, model, what| {
        let start = start_rad_s(craft, axis);
        let margins = model.angle();
        assert!(margins.gain_down == 0.0, "{what}: with one integrator it bears any less");
        dies_away_inside_and_grows_outside(what, |share| {
            let factor = share * margins.gain_up;
            let mut strong = craft.clone();
            strong.gains.angle_per_s[axis] = strong.gains.angle_per_s[axis].map(|gain| gain * factor);
            let half_rate = half_rate_rad_s(craft) / f64::from(craft.loops.angle_divider);
            let swing = swing(&|omega| factor * model.angle_response(omega), half_rate);
            flown_growth(&strong, axis, start, &swing)
        });
    });
}

/// The delay stands between angle loop and rate loop, in whole steps.
#[test]
fn angle_loop_settles_just_inside_the_delay_it_bears_and_diverges_just_outside() {
    each_axis(|craft, axis, model, what| {
        let margin_s = model.angle().delay_margin_s;
        dies_away_inside_and_grows_outside(what, |share| {
            let steps = share * margin_s * craft.loops.rate_hz;
            // On the far side of what is asked for, and by less than a percent.
            let late_steps = if share < 1.0 { steps.ceil() } else { steps.floor() };
            assert!((late_steps / steps - 1.0).abs() < 0.01, "{what}: {steps} steps");
            let delay_s = late_steps / craft.loops.rate_hz;
            let half_rate = half_rate_rad_s(craft) / f64::from(craft.loops.angle_divider);
            let swing = swing(&|omega| Complex::cis(-omega * delay_s) * model.angle_response(omega), half_rate);
            let start_rad_s = start_rad_s(craft, axis);
            let driven = DrivenFlight {
                late_steps: late_steps as usize,
                start_rad_s,
                ..DrivenFlight::of(craft, axis, Cut::RateSetpoint)
            };
            let seen = driven.fly((swing.duration_s() * craft.loops.rate_hz) as usize, |_| 0.0);
            assert!(seen.saturated.is_empty(), "{what}: small enough for no limit");
            swing.growth(&seen.rate_rad_s, craft.loops.rate_hz)
        });
    });
}

/// Delay everywhere reaches the rate loop first: what the angle loop bears at its own place is no promise for it.
#[test]
fn rate_loop_gives_way_before_the_angle_loop_when_everything_is_late() {
    each_axis(|_, _, model, what| {
        let (rate, angle) = (model.rate().delay_margin_s, model.angle().delay_margin_s);
        assert!(rate < angle, "{what}: {rate} {angle}");
    });
}
