//! The descent without a pilot: a speed that is held, and what happens when it is not known.

use evenkeel_controller::{Descent, DescentConfig, DescentError, DescentState};
use evenkeel_mixer::{Fixed, Scalar};

const GRAVITY: f64 = 9.806_65;
const WEIGHT_N: f64 = 15.7;
const PERIOD_S: f64 = 1.0e-3;
/// The loop is sampled, the closed form is not: a sample of the largest change, g·P·1 m/s.
const CLOSED_FORM_TOL_M_S: f64 = 1.5e-3;
/// Underdamped on purpose (0.44), so that the closed form has something to show; limits that it does not reach.
const CONFIG: DescentConfig =
    DescentConfig { speed_m_s: 1.0, p_share_s_per_m: 0.15, i_share_per_m: 0.28, share_min: 0.5, share_max: 1.5 };

fn made<S: Scalar>(config: &DescentConfig) -> Descent<S> {
    Descent::new(config, WEIGHT_N, PERIOD_S).unwrap_or_else(|error| panic!("{error}"))
}

/// v̇ = g·(share − 1) closes to ë + g·P·ė + g·K_i·e = 0, from e = −1 m/s at rest with ė = g·P.
fn answers_as_the_closed_form<S: Scalar>(rounding: f64) {
    let (natural, damping) = ((GRAVITY * CONFIG.i_share_per_m).sqrt(), 0.5 * GRAVITY * CONFIG.p_share_s_per_m);
    let swing = (natural * natural - damping * damping).sqrt();
    let (block, mut state, mut climb_m_s) = (made::<S>(&CONFIG), DescentState::default(), 0.0);
    for step in 1..=12_000_u32 {
        let thrust_n = block.step(&mut state, Some(S::from_f64(climb_m_s)), S::ZERO).to_f64();
        climb_m_s += PERIOD_S * GRAVITY * (thrust_n / WEIGHT_N - 1.0);
        let t_s = f64::from(step) * PERIOD_S;
        let wave = (swing * t_s).cos() - damping / swing * (swing * t_s).sin();
        let expected = -1.0 + wave * (-damping * t_s).exp();
        let off = (climb_m_s - expected).abs();
        assert!(off < CLOSED_FORM_TOL_M_S + rounding, "{t_s} s: {climb_m_s} against {expected}");
    }
    assert!((climb_m_s + CONFIG.speed_m_s).abs() < 2e-3, "{climb_m_s}");
}

#[test]
fn reaches_its_speed_as_the_closed_form_of_second_order() {
    answers_as_the_closed_form::<f64>(0.0);
    answers_as_the_closed_form::<f32>(1e-4);
    answers_as_the_closed_form::<Fixed>(1e-4);
}

#[test]
fn takes_the_thrust_it_is_given_and_forgets_when_the_speed_is_not_known() {
    let (block, mut state) = (made::<f64>(&CONFIG), DescentState::default());
    for bad in [None, Some(f64::NAN), Some(f64::INFINITY), Some(f64::NEG_INFINITY)] {
        for _ in 0..500 {
            block.step(&mut state, Some(0.5), 14.1);
        }
        assert_ne!(state, DescentState::default());
        assert_eq!(block.step(&mut state, bad, 14.1), 14.1, "{bad:?}");
        assert_eq!(state, DescentState::default(), "{bad:?}");
    }
}

#[test]
fn keeps_thrust_within_its_limits_whatever_the_speed() {
    let (block, mut state) = (made::<f64>(&CONFIG), DescentState::default());
    for climb in [-1e300, -100.0, -2.0, 0.0, 5.0, 1e300, f64::MAX, f64::MIN] {
        let thrust_n = block.step(&mut state, Some(climb), 0.0);
        assert!((0.5 * WEIGHT_N..=1.5 * WEIGHT_N).contains(&thrust_n), "{climb}: {thrust_n} N");
    }
}

/// Ten seconds in an updraft that no thrust within the limits beats, then still air.
#[test]
fn gathers_nothing_while_its_limit_holds_it() {
    let (block, mut state) = (made::<f64>(&CONFIG), DescentState::default());
    for _ in 0..10_000 {
        assert_eq!(block.step(&mut state, Some(5.0), 0.0), 0.5 * WEIGHT_N);
    }
    // Had it gone on, 0.28 · 6 m/s · 10 s of share would be stored. At the speed it wants, nothing is.
    let thrust_n = block.step(&mut state, Some(-CONFIG.speed_m_s), 0.0);
    assert!((thrust_n / WEIGHT_N - 1.0).abs() < 1e-9, "{thrust_n} N");
}

#[test]
fn refuses_what_makes_no_sense() {
    let made = |config: DescentConfig| Descent::<f32>::new(&config, WEIGHT_N, PERIOD_S).map(|_| ());
    assert_eq!(made(CONFIG), Ok(()));
    for bad in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        assert_eq!(made(DescentConfig { speed_m_s: bad, ..CONFIG }), Err(DescentError::Speed), "{bad}");
        assert_eq!(made(DescentConfig { p_share_s_per_m: bad, ..CONFIG }), Err(DescentError::Gain), "{bad}");
        assert_eq!(made(DescentConfig { share_min: bad, ..CONFIG }), Err(DescentError::Shares), "{bad}");
        assert_eq!(made(DescentConfig { share_max: bad, ..CONFIG }), Err(DescentError::Shares), "{bad}");
    }
    for bad in [-1.0, f64::NAN, f64::INFINITY] {
        assert_eq!(made(DescentConfig { i_share_per_m: bad, ..CONFIG }), Err(DescentError::Gain), "{bad}");
    }
}
