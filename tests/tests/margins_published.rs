//! Margins read off loops that others have worked out.
//!
//! `rate_loop_margins.csv`: COMPUTED by root finding on the exact frequency response, cross-checked with a published
//! control library, as its header says. `published_margins.csv`: figures printed by others, each loop's source in its
//! header; the column `recomputed` has more digits. `pid_tuning_rules.csv`: as its header says.

use std::f64::consts::PI;

use evenkeel::margins::{Driven, RotorGroup, SampledPlant, StabilityMargins};
use evenkeel_controller::{AxisSetpoint, RateLoop, RateLoopConfig, RateLoopState};
use evenkeel_tests::reference::{Row, table};
use nalgebra::Complex;

type Number = Complex<f64>;

/// The tables have nine digits.
const TABLE_TOL: f64 = 2.0e-7;
/// Where a peak is found only to the square root of what its height is.
const PEAK_PLACE_TOL: f64 = 1.0e-4;
const PERIOD_S: f64 = 1.0e-3;

fn agrees(what: &str, found: f64, told: f64, tolerance: f64) {
    assert!((found - told).abs() <= tolerance * told.abs().max(1e-3), "{what}: found {found}, told {told}");
}

/// The loop of one row of the rate-loop table.
fn rate_loop(row: Row<'_>) -> Box<dyn Fn(f64) -> Number> {
    let [inertia, lag, delay, kp, ki, kd, tf] = row.numbers(["J_kgm2", "tau_s", "Td_s", "Kp", "Ki", "Kd", "Tf_s"]);
    if row.text("model") == "continuous" {
        return Box::new(move |omega| {
            let s = Complex::new(0.0, omega);
            let controller = kp + ki / s + kd * s / (tf * s + 1.0);
            controller * (-delay * s).exp() / (inertia * s * (lag * s + 1.0))
        });
    }
    let trapezoid = row.text("model") == "disc_tustin";
    let group = RotorGroup { lag_s: lag, share: 1.0, spin_up_s: 0.0 };
    let plant = SampledPlant { period_s: PERIOD_S, delay_s: delay + PERIOD_S, groups: vec![group] };
    Box::new(move |omega| {
        let z = Complex::cis(omega * PERIOD_S);
        let (integral, derivative) = if trapezoid {
            let ts = PERIOD_S;
            (0.5 * ki * ts * (z + 1.0) / (z - 1.0), kd * 2.0 * (z - 1.0) / ((2.0 * tf + ts) * z + (ts - 2.0 * tf)))
        } else {
            (ki * PERIOD_S * z / (z - 1.0), kd * (z - 1.0) / ((tf + PERIOD_S) * z - tf))
        };
        (kp + integral + derivative) * plant.rate(z) / inertia
    })
}

#[test]
fn reads_the_margins_of_rate_loops_that_were_worked_out_elsewhere() {
    let mut seen = 0;
    for row in table("rate_loop_margins").rows() {
        let what = format!("{} {}", row.text("case"), row.text("model"));
        let last = if row.text("model") == "continuous" { 1.0e4 } else { PI / PERIOD_S };
        let found = StabilityMargins::of(&rate_loop(row), 1.0e-3..=last);
        assert!(found.stable == (row.text("stable") == "True"), "{what}");
        for (name, value, tolerance) in [
            ("GM_up", found.gain_up, TABLE_TOL),
            ("w_180_rad_s", found.phase_crossover_rad_s, TABLE_TOL),
            ("GM_down", found.gain_down, TABLE_TOL),
            ("PM_deg", found.phase_margin_rad.to_degrees(), TABLE_TOL),
            ("wc_rad_s", found.crossover_rad_s, TABLE_TOL),
            ("delay_margin_s", found.delay_margin_s, TABLE_TOL),
            ("bandwidth_3dB_rad_s", found.bandwidth_rad_s, TABLE_TOL),
            ("Ms", found.peak_sensitivity, TABLE_TOL),
            ("w_Ms", found.peak_sensitivity_rad_s, PEAK_PLACE_TOL),
            ("Mt", found.peak_complementary, TABLE_TOL),
            ("disk_alpha", found.disk, TABLE_TOL),
            ("w_alpha", found.disk_rad_s, PEAK_PLACE_TOL),
            ("disk_GM_dB", found.disk_gain_db(), TABLE_TOL),
            ("disk_PM_deg", found.disk_phase_rad().to_degrees(), TABLE_TOL),
        ] {
            agrees(&format!("{what} {name}"), value, row.number(name), tolerance);
        }
        seen += 1;
    }
    assert_eq!(seen, 9);
}

fn published_loop(name: &str) -> Option<Box<dyn Fn(f64) -> Number>> {
    let of = |rational: fn(Number) -> Number| -> Option<Box<dyn Fn(f64) -> Number>> {
        Some(Box::new(move |omega| rational(Complex::new(0.0, omega))))
    };
    match name {
        "1/(s^3+2s^2+3s+4)" => of(|s| 1.0 / (s * s * s + 2.0 * s * s + 3.0 * s + 4.0)),
        "8.75(4s^2+0.4s+1)/((100s+1)(s^2+0.22s+1)(s^2/100+0.008s+1))" => of(|s| {
            8.75 * (4.0 * s * s + 0.4 * s + 1.0)
                / ((100.0 * s + 1.0) * (s * s + 0.22 * s + 1.0) * (s * s / 100.0 + 0.008 * s + 1.0))
        }),
        "0.01(10-s)/((s+2)(s+1))" => of(|s| 0.01 * (10.0 - s) / ((s + 2.0) * (s + 1.0))),
        "25/(s^3+10s^2+10s+10)" => of(|s| 25.0 / (s * s * s + 10.0 * s * s + 10.0 * s + 10.0)),
        "200/(s^3+21s^2+20s)" => of(|s| 200.0 / (s * s * s + 21.0 * s * s + 20.0 * s)),
        _ => None,
    }
}

#[test]
fn reads_the_margins_that_others_have_printed() {
    let mut seen = 0;
    for row in table("published_margins").rows() {
        let Some(response) = published_loop(row.text("loop")) else { continue };
        let found = StabilityMargins::of(&response, 1.0e-4..=1.0e4);
        assert!(found.stable, "{}", row.text("loop"));
        let value = match row.text("quantity") {
            "gm" | "classical GM" => found.gain_up,
            "w180" => found.phase_crossover_rad_s,
            "sm" | "sm_min_distance" => 1.0 / found.peak_sensitivity,
            "w_sm" => found.peak_sensitivity_rad_s,
            "L(jw180)" => -1.0 / found.gain_up,
            "alpha" => found.disk,
            "w_alpha" => found.disk_rad_s,
            "DGM_dB" => found.disk_gain_db(),
            "DPM_deg" => found.disk_phase_rad().to_degrees(),
            "classical PM" => found.phase_margin_rad.to_degrees(),
            // Of several crossovers the one with the least phase margin is kept.
            "pm_at_wc" if row.number("published") > 0.0 && row.number("published") < 100.0 => {
                found.phase_margin_rad.to_degrees()
            }
            "wc" if row.number("published") < 0.5 => found.crossover_rad_s,
            _ => continue,
        };
        let what = format!("{} {}", row.text("loop"), row.text("quantity"));
        agrees(&what, value, row.number("recomputed"), PEAK_PLACE_TOL);
        seen += 1;
    }
    assert!(seen >= 18, "{seen}");
}

#[test]
fn finds_a_loop_unstable_when_its_gain_is_past_its_margin() {
    for row in table("rate_loop_margins").rows() {
        let (response, most) = (rate_loop(row), row.number("GM_up"));
        let last = if row.text("model") == "continuous" { 1.0e4 } else { PI / PERIOD_S };
        let stable = |factor: f64| StabilityMargins::of(&|omega| factor * response(omega), 1.0e-3..=last).stable;
        assert!(stable(0.99 * most) && !stable(1.01 * most), "{} {}", row.text("case"), row.text("model"));
    }
}

/// Internal-model and integral-gain-maximising rules on the processes they were made for, delay θ = 1.
#[test]
fn reads_the_robustness_that_published_tuning_rules_claim() {
    // First order with a small lag against the delay's one: the rule leaves L = e^(−s)/(2s).
    let first = StabilityMargins::of(&|w| Complex::new(0.0, -0.5 / w) * Complex::cis(-w), 1e-3..=30.0);
    // Integrating: K = 1/2 and T_i = 8.
    let second = StabilityMargins::of(
        &|w| {
            let s = Complex::new(0.0, w);
            0.5 * (1.0 + 1.0 / (8.0 * s)) * Complex::cis(-w) / s
        },
        1e-3..=30.0,
    );
    // An integrator and a delay under a rule for load disturbances: K, T_i, T_d in delays.
    let integrating = |gain: f64, integral: f64, derivative: f64| {
        StabilityMargins::of(
            &|w| {
                let s = Complex::new(0.0, w);
                gain * (1.0 + 1.0 / (integral * s) + derivative * s) * Complex::cis(-w) / s
            },
            1e-3..=30.0,
        )
    };
    let (without_derivative, with_derivative) = (integrating(0.35, 13.4, 0.0), integrating(0.45, 8.0, 0.5));
    let mut seen = 0;
    for row in table("pid_tuning_rules").rows() {
        let found = match row.text("rule") {
            "SIMC_first_order" => &first,
            "SIMC_integrating" => &second,
            "AMIGO_PI_integrating" => &without_derivative,
            "AMIGO_PID_integrating" => &with_derivative,
            // Gains placed by the poles they give: the next test.
            _ => continue,
        };
        let value = match row.text("quantity") {
            "GM" => found.gain_up,
            "M=max(Ms;Mt)" => found.peak_sensitivity.max(found.peak_complementary),
            "PM" | "PM_deg" => found.phase_margin_rad.to_degrees(),
            "Ms" => found.peak_sensitivity,
            "Mt" => found.peak_complementary,
            "w180_theta" => found.phase_crossover_rad_s,
            "wc_theta" => found.crossover_rad_s,
            "delay_margin_over_theta" => found.delay_margin_s,
            other => panic!("{other}: nothing is read for this quantity"),
        };
        agrees(&format!("{} {}", row.text("rule"), row.text("quantity")), value, row.number("recomputed"), 5e-6);
        seen += 1;
    }
    assert_eq!(seen, 20);
}

/// Short against the loops of figure 2.8, so that sampling costs less than the last digit printed.
const FINE_PERIOD_S: f64 = 1.0e-5;
/// Digits printed of ω_c in the rule's name, and of the gains.
const PRINTED_TOL: f64 = 5.1e-4;
const DAMPING: f64 = 0.707;

/// The rate loop that flies, as a PI under these gains; the response is read off the block.
fn flown_pi(kp: f64, ki: f64) -> Driven {
    let config = RateLoopConfig {
        p_per_s: kp,
        i_per_s2: ki,
        d: 0.0,
        d_filter_hz: 30.0,
        set_point_weight: 1.0,
        feed_forward: 1.0,
        integral_max_rad_s2: 1.0e3,
    };
    let block = RateLoop::<f64>::new(&config, FINE_PERIOD_S).unwrap_or_else(|error| panic!("{error}"));
    let driven = Driven::by(|| {
        let mut state = RateLoopState::default();
        move |rate_rad_s| {
            let answer = block.step(&mut state, AxisSetpoint::default(), rate_rad_s);
            block.integrate(&mut state, 0.0);
            -answer
        }
    });
    driven.unwrap_or_else(|error| panic!("{error}"))
}

/// Source: K. J. Åström, R. M. Murray, Feedback Systems, 2nd ed., figure 2.8: a PI on P(s) = 2/(s + 1), its gains placed for
/// closed-loop poles of ω_c and ζ = 0.707 (gains and ω_c in the table; the plant and ζ from memory, and confirmed: no other
/// plant b/(s + a) and damping gives all six gains).
///
/// The flown block's own response L is put in: (1 + L)·s·(s + 1) must be s² + 2ζω_c·s + ω_c². At s = jω its real part and ω²
/// make ω_c², its imaginary part over ω makes 2ζω_c.
#[test]
fn flown_block_has_the_poles_for_which_published_gains_were_placed() {
    let rows = table("pid_tuning_rules");
    let gain = |rule: &str, quantity: &str, column: &str| {
        let row = rows.rows().find(|row| row.text("rule") == rule && row.text("quantity") == quantity);
        row.unwrap_or_else(|| panic!("{rule} {quantity}")).number(column)
    };
    for (rule, crossover) in [("FBS_PI_wc0.707", 0.707), ("FBS_PI_wc1", 1.0), ("FBS_PI_wc2", 2.0)] {
        for (column, tolerance) in [("published", PRINTED_TOL), ("recomputed", 5.0e-5)] {
            let [kp, ki] = ["kp", "ki"].map(|quantity| gain(rule, quantity, column).max(0.0));
            let driven = flown_pi(kp, ki);
            for omega in [0.3, 1.0, 4.0] {
                let s = Complex::new(0.0, omega);
                let open = driven.response(Complex::cis(omega * FINE_PERIOD_S)) * 2.0 / (s + 1.0);
                let polynomial = (1.0 + open) * s * (s + 1.0);
                let (natural, damping) = {
                    let natural = (polynomial.re + omega * omega).sqrt();
                    (natural, polynomial.im / omega / (2.0 * natural))
                };
                // The first rule's ω_c is that at which no proportional part is left: 1/(2ζ).
                let told = if rule == "FBS_PI_wc0.707" { 0.5 / DAMPING } else { crossover };
                agrees(&format!("{rule} {column} natural frequency at {omega}"), natural, told, tolerance);
                agrees(&format!("{rule} {column} damping at {omega}"), damping, DAMPING, tolerance);
                agrees(&format!("{rule} {column} name"), natural, crossover, PRINTED_TOL);
            }
            // And the analysis of margins: at ω_c, |S| = ω_c·|jω_c + 1|/(2ζω_c²); it holds.
            let response = |omega: f64| {
                driven.response(Complex::cis(omega * FINE_PERIOD_S)) * 2.0 / (Complex::new(0.0, omega) + 1.0)
            };
            let found = StabilityMargins::of(&response, 1.0e-3..=1.0e3);
            assert!(
                found.stable
                    && found.peak_sensitivity
                        >= (crossover * crossover + 1.0).sqrt() / (2.0 * DAMPING * crossover) - 1e-3
            );
        }
    }
}
