//! Wind that changes: Dryden turbulence by its filters, its spectra and its variances, and the discrete gust.
//!
//! The statistical tests fly one long seeded run; their limits are those of the estimate at [`SIGMAS`], worked out beside each, so
//! that a right model fails one seed in thousands, and this seed is known to pass.

use std::f64::consts::{PI, TAU};

use evenkeel::plant::{Plant, PlantState};
use evenkeel::script::{Gust, Turbulence, World};
use evenkeel::wind::{
    DrydenScales, FirstOrderFilter, SAMPLE_PERIOD_NS, SecondOrderFilter, Wind, WindState, low_altitude_scales,
};
use evenkeel_tests::reference::table;
use evenkeel_tests::specimen::{quad, rotor};
use nalgebra::Vector3;
use rustfft::{FftPlanner, num_complex::Complex};

/// Standard deviations of the estimate that are allowed.
const SIGMAS: f64 = 4.5;
const SAMPLE_S: f64 = SAMPLE_PERIOD_NS as f64 * 1e-9;
const SAMPLES: usize = 4_000_000;
const HEIGHT_M: f64 = 3.048;
const AIRSPEED_M_S: f64 = 15.0;
const WIND_20FT_M_S: f64 = 7.716_667;
/// Samples in a segment of the Welch estimate.
const SEGMENT: usize = 16_384;

/// Source: `reference/dryden.csv`: MIL-F-8785C (1980), section 3.7.3.4 (formulas read in secondary sources), computed.
#[test]
fn has_the_scales_of_the_standard_when_it_is_low() {
    /// Digits of the table, relative.
    const TABLE_TOL: f64 = 2e-7;
    for row in table("dryden").rows() {
        let scales = low_altitude_scales(row.number("h_ft") * 0.3048, row.number("W20_m_s"));
        let ours = [
            ("Lu_m", scales.horizontal_length_m),
            ("Lw_m_8785C", scales.vertical_length_m),
            ("sigma_u_m_s", scales.horizontal_sigma_m_s),
            ("sigma_w_m_s", scales.vertical_sigma_m_s),
        ];
        for (column, ours) in ours {
            let ratio = ours / row.number(column);
            assert!((ratio - 1.0).abs() <= TABLE_TOL, "{} ft, {column}: {ours}", row.text("h_ft"));
        }
    }
    // Outside its range the model keeps the values at the ends.
    assert_eq!(low_altitude_scales(0.5, 10.0), low_altitude_scales(3.048, 10.0));
    assert_eq!(low_altitude_scales(900.0, 10.0), low_altitude_scales(304.8, 10.0));
}

/// Source: `reference/dryden_filters.csv` (computed from the spectra of MIL-F-8785C). The table's states are in seconds, these filters'
/// in τ = L/V: x₁ = τ^1.5·z₁, x₂ = τ^0.5·z₂.
#[test]
fn has_the_exact_discrete_filters_when_a_sample_is_short_beside_the_scale() {
    /// Relative: the table has fifteen digits, of which Q₂₂ of the table lost three to cancellation.
    const FILTER_TOL: f64 = 1e-11;
    for row in table("dryden_filters").rows() {
        let [airspeed, sample_s, length, sigma] = row.numbers(["V_m_s", "Ts_s", "L_m", "sigma"]);
        let tau = length / airspeed;
        let first = FirstOrderFilter::new(sample_s / tau);
        let second = SecondOrderFilter::new(sample_s / tau);
        let [[phi11, phi12], [phi21, phi22]] = second.transition;
        let [q11, q12, q22] = second.covariance;
        let ours = [
            ("a_u", first.keep),
            ("b_u", sigma * first.noise),
            ("Phi11", phi11),
            ("Phi12", phi12 * tau),
            ("Phi21", phi21 / tau),
            ("Phi22", phi22),
            ("Q11", q11 * tau.powi(3)),
            ("Q12", q12 * tau * tau),
            ("Q22", q22 * tau),
            ("C1", sigma * SecondOrderFilter::output([1.0, 0.0]) * tau.powf(-1.5)),
            ("C2", sigma * SecondOrderFilter::output([0.0, 1.0]) * tau.powf(-0.5)),
        ];
        for (column, ours) in ours {
            let off = (ours / row.number(column) - 1.0).abs();
            assert!(off <= FILTER_TOL, "V = {airspeed}, {column}: {ours}, off by {off:e}");
        }
    }
}

/// Source: `reference/dryden_filters.csv`, autocovariances (computed): what the filter keeps after a second and after five.
#[test]
fn remembers_as_long_as_the_standard_says_when_seconds_pass() {
    const TABLE_TOL: f64 = 1e-9;
    for row in table("dryden_filters").rows() {
        let [airspeed, sample_s, length, sigma] = row.numbers(["V_m_s", "Ts_s", "L_m", "sigma"]);
        let theta = sample_s * airspeed / length;
        for (column, after_s) in [("acf_u_1s", 1.0), ("acf_w_1s", 1.0), ("acf_w_5s", 5.0)] {
            let steps = (after_s / sample_s).round() as u32;
            let kept = if column == "acf_u_1s" {
                (0..steps).fold(1.0, |kept, _| FirstOrderFilter::new(theta).step(kept, 0.0))
            } else {
                // Covariance of the output with itself later: C·Φᵏ·P·Cᵀ, P = 1/4.
                let filter = SecondOrderFilter::new(theta);
                let start =
                    [0.25 * SecondOrderFilter::output([1.0, 0.0]), 0.25 * SecondOrderFilter::output([0.0, 1.0])];
                SecondOrderFilter::output((0..steps).fold(start, |state, _| filter.step(state, [0.0; 2])))
            };
            let off = sigma * sigma * kept - row.number(column);
            assert!(off.abs() <= TABLE_TOL, "V = {airspeed}, {column}: off by {off:e}");
        }
    }
}

/// u, v and w of one long run at one height and speed.
fn long_run() -> [Vec<f64>; 3] {
    let world =
        World { turbulence: Some(Turbulence { wind_20ft_m_s: WIND_20FT_M_S }), ..World::uniform(9.8, 1.2, [0.0; 3]) };
    let wind = Wind::new(&world, 20_261);
    let mut state = WindState::default();
    let velocity = Vector3::new(AIRSPEED_M_S, 0.0, 0.0);
    let mut run = [const { Vec::new() }; 3];
    for sample in 0..SAMPLES {
        wind.advance(&mut state, sample as u64 * SAMPLE_PERIOD_NS, HEIGHT_M, &velocity);
        let drawn = wind.velocity_m_s(&state, 0.0);
        run.iter_mut().zip(drawn.iter()).for_each(|(column, value)| column.push(*value));
    }
    run
}

fn scales() -> DrydenScales {
    low_altitude_scales(HEIGHT_M, WIND_20FT_M_S)
}

/// One-sided power spectral density by Welch's method: Hann windows that overlap by half.
fn welch(samples: &[f64]) -> (Vec<f64>, usize) {
    let window: Vec<f64> = (0..SEGMENT).map(|k| 0.5 * (1.0 - (TAU * k as f64 / SEGMENT as f64).cos())).collect();
    let scale = 2.0 * SAMPLE_S / window.iter().map(|weight| weight * weight).sum::<f64>();
    let fft = FftPlanner::new().plan_fft_forward(SEGMENT);
    let mut density = vec![0.0; SEGMENT / 2];
    let mut segments = 0;
    for segment in samples.windows(SEGMENT).step_by(SEGMENT / 2) {
        let mut spectrum: Vec<Complex<f64>> =
            segment.iter().zip(&window).map(|(value, weight)| Complex::new(value * weight, 0.0)).collect();
        fft.process(&mut spectrum);
        density.iter_mut().zip(&spectrum).for_each(|(sum, line)| *sum += line.norm_sqr() * scale);
        segments += 1;
    }
    density.iter_mut().for_each(|sum| *sum /= segments as f64);
    (density, segments)
}

/// Source: MIL-F-8785C spectra as in the header of `reference/dryden_filters.csv` (one-sided in spatial frequency), intensities and scales of
/// `reference/dryden.csv`; P.D. Welch, IEEE Trans. Audio Electroacoust. AU-15, 1967 (from memory) for the estimate and its spread.
///
/// A variance from a record of length T is known to √(2·∫ρ²/T), relative: ∫ρ² is L/V for u and 0.625·L/V for v and w. A band of m lines from K
/// segments is known to about √(2/(K·m)), half overlap and the Hann window taken together.
#[test]
fn has_the_variances_and_spectra_of_the_standard_when_a_run_is_long() {
    /// Leakage at the low end and folding at the high end of the bands, relative.
    const METHOD_TOL: f64 = 0.02;
    let scales = scales();
    let run = long_run();
    let record_s = SAMPLES as f64 * SAMPLE_S;
    let parts = [
        ("u", scales.horizontal_length_m, scales.horizontal_sigma_m_s, 1.0),
        ("v", scales.horizontal_length_m, scales.horizontal_sigma_m_s, 0.625),
        ("w", scales.vertical_length_m, scales.vertical_sigma_m_s, 0.625),
    ];
    for (samples, (name, length_m, sigma, memory)) in run.iter().zip(parts) {
        let tau_s = length_m / AIRSPEED_M_S;
        let mean = samples.iter().sum::<f64>() / SAMPLES as f64;
        // ∫ρ is 2·L/V for u; for v and w it is L/V.
        let mean_sd = sigma * (if name == "u" { 2.0 } else { 1.0 } * tau_s / record_s).sqrt();
        assert!(mean.abs() <= SIGMAS * mean_sd, "{name}: mean {mean}");
        let variance = samples.iter().map(|value| value * value).sum::<f64>() / SAMPLES as f64;
        let spread = (2.0 * memory * tau_s / record_s).sqrt();
        let ratio = variance / (sigma * sigma);
        assert!((ratio - 1.0).abs() <= SIGMAS * spread, "{name}: variance {ratio} of σ², spread {spread}");
        assert!(SIGMAS * spread < 0.08, "the record is too short to tell anything");

        let (density, segments) = welch(samples);
        for from_hz in [0.1, 0.2, 0.5, 1.0, 2.0, 4.0] {
            let line_hz = 1.0 / (SEGMENT as f64 * SAMPLE_S);
            let lines = (from_hz / line_hz) as usize..(from_hz * 1.5 / line_hz) as usize;
            let expected: f64 = lines.clone().map(|line| spectrum(name, length_m, sigma, line as f64 * line_hz)).sum();
            let measured: f64 = density[lines.clone()].iter().sum();
            let spread = (2.0 / (segments as f64 * lines.len() as f64)).sqrt();
            let ratio = measured / expected;
            let allowed = SIGMAS * spread + METHOD_TOL;
            assert!((ratio - 1.0).abs() <= allowed, "{name} from {from_hz} Hz: {ratio}, allowed {allowed}");
        }
    }
    // The three are drawn apart: their correlation is known to √(∫ρ_a·ρ_b/T), at most √(L/V/T) of the longest.
    let sd = (scales.horizontal_length_m / AIRSPEED_M_S / record_s).sqrt();
    for (a, b) in [(0, 1), (0, 2), (1, 2)] {
        let product = run[a].iter().zip(&run[b]).map(|(a, b)| a * b).sum::<f64>() / SAMPLES as f64;
        let correlation = product / (parts[a].2 * parts[b].2);
        assert!(correlation.abs() <= SIGMAS * sd, "{} and {}: {correlation}", parts[a].0, parts[b].0);
    }
}

/// One-sided in hertz: spatial frequency is 2π·f/V.
fn spectrum(part: &str, length_m: f64, sigma: f64, frequency_hz: f64) -> f64 {
    let per_hz = TAU / AIRSPEED_M_S;
    let square = (length_m * frequency_hz * per_hz).powi(2);
    let shape = if part == "u" { 2.0 / (1.0 + square) } else { (1.0 + 3.0 * square) / (1.0 + square).powi(2) };
    sigma * sigma * length_m / PI * shape * per_hz
}

/// Span of the craft that the air turns; its corner lies well inside the band looked at.
const SPAN_M: f64 = 3.0;

/// Rotation of the air of one long run: about the wind's direction, to its right, down.
fn long_rotation() -> [Vec<f64>; 3] {
    let world =
        World { turbulence: Some(Turbulence { wind_20ft_m_s: WIND_20FT_M_S }), ..World::uniform(9.8, 1.2, [0.0; 3]) };
    let wind = Wind::new(&world, 20_262).over(SPAN_M);
    let mut state = WindState::default();
    let velocity = Vector3::new(AIRSPEED_M_S, 0.0, 0.0);
    let mut run = [const { Vec::new() }; 3];
    for sample in 0..SAMPLES {
        wind.advance(&mut state, sample as u64 * SAMPLE_PERIOD_NS, HEIGHT_M, &velocity);
        let drawn = wind.rotation_rad_s(&state).expect("a span that feels it");
        run.iter_mut().zip(drawn.iter()).for_each(|(column, value)| column.push(*value));
    }
    run
}

/// One-sided in hertz, from the spectra in space: p of the standard's own form, q and r the slopes of w and v along the way,
/// cut at the span.
fn rotation_spectrum(part: &str, frequency_hz: f64) -> f64 {
    let scales = scales();
    let per_hz = TAU / AIRSPEED_M_S;
    let omega = frequency_hz * per_hz;
    let cut = |share: f64| 1.0 + (share * SPAN_M * omega / PI).powi(2);
    let (length_m, sigma) = (scales.vertical_length_m, scales.vertical_sigma_m_s);
    match part {
        "p" => sigma * sigma / length_m * 0.8 * (PI * length_m / (4.0 * SPAN_M)).cbrt() / cut(4.0) * per_hz,
        "q" => omega * omega / cut(4.0) * spectrum("w", length_m, sigma, frequency_hz),
        _ => {
            let (length_m, sigma) = (scales.horizontal_length_m, scales.horizontal_sigma_m_s);
            omega * omega / cut(3.0) * spectrum("v", length_m, sigma, frequency_hz)
        }
    }
}

/// Source: MIL-F-8785C, section 3.7, spectra of p, q and r (from memory); the rest as for u, v and w above.
#[test]
fn turns_with_the_variances_and_spectra_of_the_standard_when_a_run_is_long() {
    /// Leakage at the low end and folding at the high end of the bands, relative.
    const METHOD_TOL: f64 = 0.02;
    /// Memory of the slowest of the three, as a share of L/V: they forget within the span.
    const SPREAD_MAX: f64 = 0.01;
    for (samples, part) in long_rotation().iter().zip(["p", "q", "r"]) {
        // The variance is the whole of the spectrum: f = tan φ maps the line to a quarter turn.
        const STEPS: u32 = 400_000;
        let width = PI / 2.0 / f64::from(STEPS);
        let slice = |k: u32| {
            let phi = (f64::from(k) + 0.5) * width;
            rotation_spectrum(part, phi.tan()) / phi.cos().powi(2) * width
        };
        let expected: f64 = (0..STEPS).map(slice).sum();
        let variance = samples.iter().map(|value| value * value).sum::<f64>() / SAMPLES as f64;
        let ratio = variance / expected;
        assert!((ratio - 1.0).abs() <= SIGMAS * SPREAD_MAX, "{part}: variance {ratio} of the spectrum's");
        let (density, segments) = welch(samples);
        for from_hz in [0.2, 0.5, 1.0, 2.0, 4.0, 8.0] {
            let line_hz = 1.0 / (SEGMENT as f64 * SAMPLE_S);
            let lines = (from_hz / line_hz) as usize..(from_hz * 1.5 / line_hz) as usize;
            let expected: f64 = lines.clone().map(|line| rotation_spectrum(part, line as f64 * line_hz)).sum();
            let measured: f64 = density[lines.clone()].iter().sum();
            let spread = (2.0 / (segments as f64 * lines.len() as f64)).sqrt();
            let (ratio, allowed) = (measured / expected, SIGMAS * spread + METHOD_TOL);
            assert!((ratio - 1.0).abs() <= allowed, "{part} from {from_hz} Hz: {ratio}, allowed {allowed}");
        }
    }
}

/// A craft that keeps its place meets the field from down the wind to up the wind: where w (down) grows in time, the air ahead, up
/// the wind, sinks faster, and the air turns nose down about the axis to the right of the way up the wind; along the wind it is nose up.
#[test]
fn turns_as_its_own_gradient_says_when_it_passes() {
    let world =
        World { turbulence: Some(Turbulence { wind_20ft_m_s: 8.0 }), ..World::uniform(9.8, 1.2, [6.0, 0.0, 0.0]) };
    // A span of about what passes in a sample: the gradient is that of the last one.
    let wind = Wind::new(&world, 5).over(0.03);
    let mut state = WindState::default();
    let mut products = [0.0; 2];
    let mut last: Option<Vector3<f64>> = None;
    for sample in 0..20_000 {
        wind.advance(&mut state, sample * SAMPLE_PERIOD_NS, 30.0, &Vector3::zeros());
        let (air, turn) = (wind.velocity_m_s(&state, 0.0), wind.rotation_rad_s(&state).expect("a span"));
        if let Some(last) = last {
            let change = air - last;
            products[0] += (change.z * turn.y).signum();
            products[1] += (change.y * turn.z).signum();
        }
        last = Some(air);
    }
    let [pitch, yaw] = products.map(|sum| sum / 20_000.0);
    assert!(pitch > 0.2 && yaw < -0.2, "q goes with the rise of w, r against that of v: {pitch} {yaw}");
}

/// Rotors that feel the air that meets them; the others do not, and meet the same u, v, w.
#[test]
fn turns_the_craft_only_when_its_rotors_feel_the_air() {
    let world =
        World { turbulence: Some(Turbulence { wind_20ft_m_s: 15.0 }), ..World::uniform(0.0, 1.225, [3.0, 0.0, 0.0]) };
    let flown = |inflow: evenkeel::craft::Inflow| {
        let mut craft = quad();
        craft.body.mass_kg = 1.0e3;
        for rotor in &mut craft.rotors {
            rotor.in_moving_air.inflow = inflow.clone();
            rotor.in_moving_air.diameter_m = Some(0.25);
        }
        let plant = Plant::new(&craft, &world).seeded(3);
        let mut state = PlantState::default();
        state.position_m.z = -20.0;
        for _ in 0..2000 {
            // Climbing through still air would turn nothing: all rotors meet the same.
            state.velocity_m_s = Vector3::new(3.0, 0.0, -4.0);
            // Height sets the scale of the turbulence.
            state.position_m.z = -20.0;
            plant.advance(&mut state, &[0.7; 4], 0.001);
        }
        (plant.wind_m_s(&state), state.rate_rad_s)
    };
    let (deaf_air, deaf) = flown(evenkeel::craft::Inflow::Ignored);
    let (air, felt) = flown(evenkeel::craft::Inflow::Momentum);
    assert_eq!(deaf_air, air);
    assert!(deaf.norm() < 1.0e-9 && felt.xy().norm() > 1.0e-3, "{deaf} {felt}");
}

/// Its own stream: nothing but seed, clock, height and speed goes into it.
#[test]
fn meets_the_same_air_when_all_else_differs() {
    let world =
        World { turbulence: Some(Turbulence { wind_20ft_m_s: 10.0 }), ..World::uniform(0.0, 0.0, [3.0, 1.0, 0.0]) };
    let air = |craft: &evenkeel::craft::Craft, seed: u64, dt_s: f64, steps: u32| {
        let plant = Plant::new(craft, &world).seeded(seed);
        let mut state = PlantState::default();
        state.position_m.z = -20.0;
        for _ in 0..steps {
            plant.advance(&mut state, &[], dt_s);
        }
        plant.wind_m_s(&state)
    };
    let mut other = quad();
    other.rotors.push(rotor([0.0; 3], evenkeel::craft::Spin::Cw));
    let reference = air(&quad(), 5, 0.001, 2000);
    assert_eq!(reference, air(&other, 5, 0.0005, 4000));
    assert_ne!(reference, air(&quad(), 6, 0.001, 2000));
    assert_ne!(reference, Vector3::new(3.0, 1.0, 0.0));
}

/// Source: `reference/discrete_gust.csv`: MIL-F-8785C, section 3.7.2.3 (shape read, equation from memory), computed. Met at 10 m/s, a gust of
/// length d rises in d/10.
#[test]
fn rises_as_one_minus_cosine_when_a_gust_is_met() {
    /// Digits of the table.
    const TABLE_TOL: f64 = 1e-11;
    const START_S: f64 = 3.0;
    for row in table("discrete_gust").rows() {
        let [full_m_s, length_m, x_m] = row.numbers(["Vm_m_s", "dm_m", "x_m"]);
        let gust = Gust { at_s: START_S, velocity_m_s: [0.0, full_m_s, 0.0], rise_s: length_m / 10.0, hold_s: None };
        let world = World { gusts: vec![gust], ..World::uniform(0.0, 0.0, [1.0, 0.0, 0.0]) };
        let plant = Plant::new(&quad(), &world);
        let mut state = PlantState { clock_ns: ((START_S + x_m / 10.0) * 1e9).round() as u64, ..PlantState::default() };
        let air = plant.wind_m_s(&state);
        let off = (air - Vector3::new(1.0, row.number("V_m_s"), 0.0)).amax();
        assert!(off <= TABLE_TOL, "V_m = {full_m_s}, x = {x_m}: {air}, off by {off:e}");
        // The steepest rise, in the middle.
        state.clock_ns = ((START_S + length_m / 20.0) * 1e9).round() as u64;
        let before = plant.wind_m_s(&PlantState { clock_ns: state.clock_ns - 1_000_000, ..PlantState::default() });
        let after = plant.wind_m_s(&PlantState { clock_ns: state.clock_ns + 1_000_000, ..PlantState::default() });
        let slope = (after - before).y / 0.002;
        assert!((slope / row.number("dVdx_max_per_s_at_V10") - 1.0).abs() <= 1e-5, "slope {slope}");
    }
}

/// Source: closed form: a body with no drag but a rotor's linear drag follows the gust as a first-order lag; here a whole gust that comes and goes
/// gives back what it gave: the impulse is ∫drag·(V − v), known where v stays small.
#[test]
fn pushes_the_craft_when_a_gust_comes_and_goes() {
    const SMALL_TOL: f64 = 2e-3;
    let mut craft = quad();
    craft.body.drag_area_m2 = [0.0; 3];
    craft.body.mass_kg = 1000.0;
    for rotor in &mut craft.rotors {
        rotor.in_moving_air.drag_n_per_m_s = 0.05;
    }
    let gust = Gust { at_s: 1.0, velocity_m_s: [4.0, 0.0, 0.0], rise_s: 0.5, hold_s: Some(1.5) };
    let world = World { gusts: vec![gust], ..World::uniform(0.0, 1.225, [0.0; 3]) };
    let plant = Plant::new(&craft, &world);
    let mut state = PlantState::default();
    state.rotor_speed[..4].fill(1.0);
    state.stopped[..4].fill(true);
    for _ in 0..5000 {
        plant.advance(&mut state, &[], 0.001);
    }
    // Half of each slope and the whole of the plateau: 2 s at 4 m/s.
    let expected_m_s = 4.0 * 0.05 * 4.0 * 2.0 / 1000.0;
    assert!((state.velocity_m_s.x / expected_m_s - 1.0).abs() <= SMALL_TOL, "{}", state.velocity_m_s);
}
