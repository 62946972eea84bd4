//! The responses behind the margins against flight: a sine swept through the flown loops around hover, from a fifth of
//! each loop's crossover to five times it, on every axis of three crafts.

use evenkeel_tests::driven_flight::{Cut, DrivenFlight};
use evenkeel_tests::similar_craft::{MASSES_KG, Similar, loops, onboard};

/// How closely flight and response must agree.
const GAIN_TOL_DB: f64 = 0.3;
const PHASE_TOL_DEG: f64 = 2.0;
/// Size of the sine as a share of what the axis has: small enough for no square to show.
const SINE_SHARE: f64 = 1.0e-3;
const SHARES: [f64; 7] = [0.2, 0.34, 0.58, 1.0, 1.7, 2.9, 5.0];
/// Time constants of the angle loop that the craft is given before it is looked at.
const SETTLE: f64 = 8.0;

fn sweeps_agree(cut: Cut, spinning_share: f64) {
    let mut farthest = [0.0_f64; 2];
    for mass_kg in MASSES_KG {
        let craft = Similar { spinning_share, ..Similar::of(mass_kg) }.quiet();
        let flying = onboard(&craft);
        for (axis, model) in loops(&craft).iter().enumerate() {
            let authority = flying.authority.acceleration_rad_s2[axis];
            let (crossover, amplitude) = match cut {
                Cut::TorqueDemand => (model.rate().crossover_rad_s, SINE_SHARE * authority),
                Cut::RateSetpoint => {
                    (model.angle().crossover_rad_s, SINE_SHARE * authority / flying.config.rate[axis].p_per_s)
                }
            };
            let settle_s = SETTLE / flying.config.angle.gain_per_s[axis];
            let driven = DrivenFlight::of(&craft, axis, cut);
            let found = driven.swept(&SHARES.map(|share| share * crossover), settle_s, amplitude);
            assert_eq!(found.len(), SHARES.len());
            for (omega, flown) in found {
                let told = match cut {
                    Cut::TorqueDemand => model.rate_response(omega),
                    Cut::RateSetpoint => model.angle_response(omega),
                };
                let off = flown / told;
                let (decibels, degrees) = (20.0 * off.norm().log10(), off.arg().to_degrees());
                farthest = [farthest[0].max(decibels.abs()), farthest[1].max(degrees.abs())];
                assert!(
                    decibels.abs() < GAIN_TOL_DB && degrees.abs() < PHASE_TOL_DEG,
                    "{mass_kg} kg, axis {axis}, {:.2} of crossover: {decibels} dB {degrees} deg",
                    omega / crossover
                );
            }
        }
    }
    println!("{cut:?}: at most {:.4} dB and {:.3} deg apart", farthest[0], farthest[1]);
}

#[test]
fn flown_rate_loop_answers_a_swept_sine_as_its_response_says() {
    sweeps_agree(Cut::TorqueDemand, 0.0);
}

#[test]
fn flown_angle_loop_answers_a_swept_sine_as_its_response_says() {
    sweeps_agree(Cut::RateSetpoint, 0.0);
}

/// Rotors with inertia lead about yaw.
#[test]
fn flown_loops_answer_as_the_response_says_when_the_rotors_have_inertia() {
    sweeps_agree(Cut::TorqueDemand, 1.0);
    sweeps_agree(Cut::RateSetpoint, 1.0);
}

/// A gyro that is late, a fraction of a period of further delay, and an angle loop at each step.
#[test]
fn flown_rate_loop_answers_as_the_response_says_when_it_is_late_by_a_part_of_a_period() {
    for (axis, lines) in [
        (0, "[loops]\nextra_delay_s = 0.0013\nangle_divider = 1\n"),
        (2, "[loops]\nrate_hz = 500.0\nangle_divider = 7\n[sensors.gyro]\nlatency_s = 0.004\n"),
    ] {
        let mut similar = Similar { lines: lines.to_string(), ..Similar::of(1.6) };
        let latency_s = similar.craft().sensors.gyro.latency_s;
        similar.spinning_share = 0.5;
        let mut craft = similar.quiet();
        craft.sensors.gyro.latency_s = latency_s;
        let model = &loops(&craft)[axis];
        for cut in [Cut::TorqueDemand, Cut::RateSetpoint] {
            let crossover = if cut == Cut::TorqueDemand { model.rate() } else { model.angle() }.crossover_rad_s;
            let found = DrivenFlight::of(&craft, axis, cut).swept(&SHARES.map(|share| share * crossover), 3.0, 1e-3);
            for (omega, flown) in found {
                let told =
                    if cut == Cut::TorqueDemand { model.rate_response(omega) } else { model.angle_response(omega) };
                let off = flown / told;
                let (decibels, degrees) = (20.0 * off.norm().log10(), off.arg().to_degrees());
                assert!(
                    decibels.abs() < GAIN_TOL_DB && degrees.abs() < PHASE_TOL_DEG,
                    "{cut:?} {lines} {:.2}: {decibels} dB {degrees} deg",
                    omega / crossover
                );
            }
        }
    }
}
