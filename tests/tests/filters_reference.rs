//! Filters against tables from outside the project.

use evenkeel_controller::filter::{
    BiquadCoefficients, FirstOrderLowPass, FirstOrderLowPassConfig, FirstOrderLowPassState, Notch, NotchConfig,
    NotchState, Response, SecondOrderLowPass, SecondOrderLowPassConfig, SecondOrderLowPassState,
};
use evenkeel_mixer::Scalar;
use evenkeel_tests::reference::{Row, table};

/// Coefficients and step responses in double precision; Q = 1/√2 has 15 digits in the table.
const BIQUAD_TOL: f64 = 1e-12;
/// Gains in the table have 12 digits; phases 10, in degrees.
const GAIN_TOL: f64 = 2e-12;
const PHASE_TOL_DEG: f64 = 1e-8;
/// The table has 12 digits of the group delay, we take a difference over 2e-6 of the sample rate.
const DELAY_TOL_SAMPLES: f64 = 1e-8;
/// A unit step in single precision: 20 samples of rounding, and coefficients off by 6e-8 of themselves.
const STEP_TOL_F32: f64 = 1e-6;
/// First-order coefficients in double precision, 15 digits in the table.
const ALPHA_TOL: f64 = 2e-15;
/// Frequencies in the table have 9 digits.
const FREQUENCY_TOL: f64 = 1e-8;

const STEPS: [(usize, &str); 6] =
    [(0, "step_0"), (1, "step_1"), (2, "step_2"), (5, "step_5"), (10, "step_10"), (20, "step_20")];

/// The two kinds we build; the table has more.
#[derive(Clone, Copy)]
enum Made<S> {
    LowPass(SecondOrderLowPass<S>),
    Notch(Notch<S>),
}

impl<S: Scalar> Made<S> {
    fn from(row: Row<'_>) -> Option<Self> {
        let [fs_hz, f0_hz, quality] = row.numbers(["fs_hz", "f0_hz", "Q"]);
        match row.text("kind") {
            "lpf" => {
                let config = SecondOrderLowPassConfig { corner_hz: f0_hz, quality };
                Some(Made::LowPass(SecondOrderLowPass::new(&config, 1.0 / fs_hz).unwrap()))
            }
            "notch" => {
                let config = NotchConfig { center_hz: f0_hz, quality };
                Some(Made::Notch(Notch::new(&config, 1.0 / fs_hz).unwrap()))
            }
            _ => None,
        }
    }

    fn coefficients(&self) -> BiquadCoefficients {
        match self {
            Made::LowPass(block) => block.coefficients(),
            Made::Notch(block) => block.coefficients(),
        }
    }

    fn response(&self, frequency_hz: f64) -> Response {
        match self {
            Made::LowPass(block) => block.response(frequency_hz),
            Made::Notch(block) => block.response(frequency_hz),
        }
    }

    fn step_response(&self) -> Vec<f64> {
        let (mut low_pass, mut notch) = (SecondOrderLowPassState::default(), NotchState::default());
        let one = |_| match self {
            Made::LowPass(block) => block.step(&mut low_pass, S::ONE).to_f64(),
            Made::Notch(block) => block.step(&mut notch, S::ONE).to_f64(),
        };
        (0..=20).map(one).collect()
    }
}

/// Every row of the table that we build: eleven low-passes, five notches.
fn each_built<S: Scalar>(mut check: impl FnMut(Row<'_>, Made<S>)) {
    let biquads = table("biquads");
    let built = biquads.rows().filter_map(|row| Made::from(row).map(|made| check(row, made))).count();
    assert_eq!(built, 16, "low-pass and notch rows");
}

/// Source: `reference/biquads.csv` (cookbook formulas read; values computed).
#[test]
fn has_the_coefficients_of_the_cookbook_when_written_as_a_biquad() {
    each_built::<f64>(|row, made| {
        let BiquadCoefficients { b, a } = made.coefficients();
        for (ours, name) in [(b[0], "b0"), (b[1], "b1"), (b[2], "b2"), (a[0], "a1"), (a[1], "a2")] {
            let theirs = row.number(name);
            assert!((ours - theirs).abs() <= BIQUAD_TOL, "{} {name}: {ours} against {theirs}", row.text("kind"));
        }
    });
}

/// Source: as above.
#[test]
fn follows_a_step_as_the_cookbook_filter_does() {
    each_built::<f64>(|row, made| {
        let ours = made.step_response();
        for (place, name) in STEPS {
            assert!((ours[place] - row.number(name)).abs() <= BIQUAD_TOL, "{name}: {}", ours[place]);
        }
    });
}

/// Source: as above.
#[test]
fn follows_a_step_in_single_precision_within_its_tolerance() {
    let mut worst = 0.0_f64;
    each_built::<f32>(|row, made| {
        let ours = made.step_response();
        worst = STEPS.iter().fold(worst, |worst, (place, name)| worst.max((ours[*place] - row.number(name)).abs()));
    });
    assert!((0.1 * STEP_TOL_F32..=STEP_TOL_F32).contains(&worst), "{worst:e}");
}

/// Source: as above; the table leaves the phase of a notch at its centre out.
#[test]
fn has_the_gain_phase_and_delay_of_the_table() {
    each_built::<f64>(|row, made| {
        let [fs_hz, f0_hz] = row.numbers(["fs_hz", "f0_hz"]);
        let places =
            [(f0_hz, "mag_at_f0", "phase_at_f0_deg"), (0.5 * f0_hz, "mag_at_f0_over_2", "phase_at_f0_over_2_deg")];
        for (frequency_hz, gain, phase) in places {
            let ours = made.response(frequency_hz);
            let (gain, phase_deg) = (row.number(gain), row.number(phase));
            assert!((ours.gain - gain).abs() <= GAIN_TOL, "{frequency_hz} Hz: {ours:?} against {gain}");
            let off_deg = (ours.phase_rad.to_degrees() - phase_deg).abs();
            let open = phase_deg.is_nan() && gain == 0.0;
            assert!(open || off_deg <= PHASE_TOL_DEG, "{frequency_hz} Hz: {ours:?} against {phase_deg} deg");
        }
        // −dφ/dω at standstill, by a difference small enough for its curvature not to show.
        let share = 1e-6;
        let delay = -made.response(share * fs_hz).phase_rad / (std::f64::consts::TAU * share);
        let theirs = row.number("group_delay_dc_samples");
        assert!((delay - theirs).abs() <= DELAY_TOL_SAMPLES, "{delay} against {theirs} samples");
    });
}

/// Source: `reference/first_order_filters.csv` (computed).
#[test]
fn first_order_pole_is_the_exact_one() {
    for row in table("first_order_filters").rows() {
        let [fs_hz, corner_hz, alpha] = row.numbers(["fs_hz", "fc_hz", "alpha_exact"]);
        let block = FirstOrderLowPass::<f64>::new(&FirstOrderLowPassConfig { corner_hz }, 1.0 / fs_hz).unwrap();
        assert!((block.alpha() - alpha).abs() <= ALPHA_TOL, "{} against {alpha}", block.alpha());
        let mut state = FirstOrderLowPassState::default();
        assert!((block.step(&mut state, 1.0) - alpha).abs() <= ALPHA_TOL, "first sample of a step");
    }
}

/// Source: as above: where the sampled filter really is 3 dB down, found by halving.
#[test]
fn first_order_corner_is_where_the_table_says() {
    for row in table("first_order_filters").rows() {
        let [fs_hz, corner_hz, theirs] = row.numbers(["fs_hz", "fc_hz", "actual_minus3dB_hz_exact"]);
        let block = FirstOrderLowPass::<f64>::new(&FirstOrderLowPassConfig { corner_hz }, 1.0 / fs_hz).unwrap();
        let (mut low, mut high) = (0.0, 0.5 * fs_hz);
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if block.response(middle).gain > std::f64::consts::FRAC_1_SQRT_2 { low = middle } else { high = middle }
        }
        assert!((low / theirs - 1.0).abs() <= FREQUENCY_TOL, "{low} against {theirs} Hz");
    }
}
