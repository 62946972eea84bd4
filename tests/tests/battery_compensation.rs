//! The flying code's answer to a battery that sags: ceilings with the square of the voltage, smoothed, within bounds.

use evenkeel::onboard::{CraftMixer, mixer_for};
use evenkeel_controller::{Battery, BatteryConfig, BatteryError, BatteryState, CEILING_STEP_SHARE};
use evenkeel_mixer::{Scalar, Wrench};
use evenkeel_tests::specimen::quad;

const PERIOD_S: f64 = 1.0e-3;
const CONFIG: BatteryConfig = BatteryConfig { voltage_share_min: 0.5, smoothing_s: 0.5 };
/// The sampled smoothing against e⁻ᵗ: half a sample of its steepest slope, 0.2 per 0.5 s, and thrust is a square.
const SMOOTHING_TOL: f64 = 2.0 * 0.2 * PERIOD_S / 0.5;
const HOVER: Wrench<f64> = Wrench { thrust_n: 15.7, roll_nm: 0.0, pitch_nm: 0.0, yaw_nm: 0.0 };

struct Bench<S: Scalar> {
    battery: Battery<S>,
    state: BatteryState<S>,
    mixer: CraftMixer<S>,
}

impl<S: Scalar> Bench<S> {
    fn new(config: &BatteryConfig) -> Self {
        Bench {
            battery: Battery::new(config, PERIOD_S).unwrap_or_else(|error| panic!("{error}")),
            state: BatteryState::default(),
            mixer: mixer_for(&quad()).unwrap_or_else(|error| panic!("{error}")),
        }
    }

    /// Shows this voltage; gives the ceilings' share.
    fn see(&mut self, voltage_share: Option<f64>) -> f64 {
        self.battery.step(&mut self.state, voltage_share.map(S::from_f64), &mut self.mixer);
        self.state.ceiling_share().to_f64()
    }
}

impl Bench<f64> {
    fn hover_command(&self) -> f64 {
        self.mixer.commands(&self.mixer.allocate(HOVER))[0]
    }
}

/// Thrust goes with (command · voltage)²: the same thrust takes 1/v as much command.
#[test]
fn asks_for_as_much_more_command_as_voltage_is_missing() {
    let mut bench = Bench::<f64>::new(&CONFIG);
    let full = bench.hover_command();
    for voltage in [1.0, 0.9, 0.75] {
        bench.state.reset();
        let share = bench.see(Some(voltage));
        assert!((share - voltage * voltage).abs() < 1e-12, "the first voltage counts at once: {share}");
        assert!((bench.hover_command() * voltage / full - 1.0).abs() < 1e-6, "{voltage}: {}", bench.hover_command());
        let ceilings: f64 = bench.mixer.limits_n().map(|(_, ceiling)| ceiling).sum();
        assert!((ceilings - 32.0 * share).abs() < 1e-9, "{voltage}: {ceilings} N");
    }
}

fn follows<S: Scalar>(rounding: f64) {
    let mut bench = Bench::<S>::new(&CONFIG);
    bench.see(Some(1.0));
    let mut moved = 0;
    let mut before = 1.0;
    for step in 1..=2000_u32 {
        let share = bench.see(Some(0.8));
        let voltage = 0.8 + 0.2 * (-f64::from(step) * PERIOD_S / 0.5).exp();
        let off = (share / (voltage * voltage) - 1.0).abs();
        assert!(off < CEILING_STEP_SHARE * 1.01 + SMOOTHING_TOL + rounding, "{step}: {share} for {voltage}");
        moved += usize::from(share != before);
        before = share;
    }
    // From 1 to 0.64 in steps of half a percent.
    let least = (1.0 / 0.64_f64).ln() / CEILING_STEP_SHARE;
    assert!((moved as f64) < 1.05 * least && (moved as f64) > 0.8 * least, "planned anew {moved} times, {least}");
}

#[test]
fn follows_a_sag_as_the_closed_form_and_plans_anew_only_for_half_a_percent() {
    follows::<f64>(0.0);
    follows::<f32>(1e-5);
    follows::<evenkeel_mixer::Fixed>(1e-5);
}

#[test]
fn stays_where_it_is_when_the_voltage_is_no_number_or_gone() {
    let mut bench = Bench::<f64>::new(&CONFIG);
    assert_eq!(bench.see(None), 1.0, "never measured: as on a full battery");
    bench.see(Some(0.8));
    let (held, command) = (bench.see(Some(0.8)), bench.hover_command());
    for bad in [None, Some(f64::NAN), Some(f64::INFINITY), Some(f64::NEG_INFINITY)] {
        for _ in 0..2000 {
            assert_eq!(bench.see(bad), held, "{bad:?}");
        }
        assert_eq!(bench.hover_command(), command, "{bad:?}");
    }
}

#[test]
fn means_the_nearer_end_when_a_voltage_is_out_of_bounds() {
    for (absurd, share) in [(7.0, 1.0), (1e300, 1.0), (0.3, 0.25), (0.0, 0.25), (-4.0, 0.25)] {
        assert_eq!(Bench::<f64>::new(&CONFIG).see(Some(absurd)), share, "{absurd}");
    }
    let off = BatteryConfig { voltage_share_min: 1.0, ..CONFIG };
    assert_eq!(Bench::<f64>::new(&off).see(Some(0.7)), 1.0, "switched off");
}

#[test]
fn keeps_its_ceilings_when_the_voltage_would_put_them_below_a_floor() {
    let mut bench = Bench::<f64>::new(&BatteryConfig { voltage_share_min: 0.01, ..CONFIG });
    bench.see(Some(0.9));
    let held = bench.state.ceiling_share();
    // 8 N · 0.1² is below the floor of 0.3 N: the last that can be flown stays.
    let mut last = held;
    for _ in 0..5000 {
        last = bench.see(Some(0.1));
    }
    assert!(last < held && last * 8.0 > 0.3, "{last}");
    assert!(bench.mixer.limits_n().all(|(floor, ceiling)| ceiling > floor));
}

#[test]
fn refuses_what_makes_no_sense() {
    let made = |config: BatteryConfig| Battery::<f32>::new(&config, PERIOD_S).map(|_| ());
    assert_eq!(made(CONFIG), Ok(()));
    for bad in [0.0, -0.5, 1.01, f64::NAN, f64::INFINITY, 1e-30] {
        let config = BatteryConfig { voltage_share_min: bad, ..CONFIG };
        assert_eq!(made(config), Err(BatteryError::VoltageShareMin), "{bad}");
    }
    for bad in [0.0, -0.5, f64::NAN, f64::INFINITY] {
        assert_eq!(made(BatteryConfig { smoothing_s: bad, ..CONFIG }), Err(BatteryError::Smoothing), "{bad}");
    }
}
