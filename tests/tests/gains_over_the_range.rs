//! Gains for crafts of every size, lag, loop rate and delay: the criteria are kept, or the refusal says why and what would
//! help. Nothing is tuned to one of them.

use evenkeel::margins::{CraftGains, Margins};
use evenkeel_tests::similar_craft::{GRAVITY_M_S2, Similar};
use proptest::prelude::{ProptestConfig, prop_assert, proptest};
use proptest::strategy::Strategy;

const MASSES_KG: [f64; 7] = [0.030, 0.1, 0.4, 1.6, 5.0, 12.0, 30.0];

fn similar(mass_kg: f64, lag_s: f64, rate_hz: f64, delay_s: f64) -> Similar {
    let lines = format!("[loops]\nrate_hz = {rate_hz}\nextra_delay_s = {delay_s}\n");
    Similar { lag_s: Some(lag_s), lines, ..Similar::of(mass_kg) }
}

#[test]
fn gains_reach_their_margins_when_a_craft_weighs_thirty_grams_to_thirty_kilograms() {
    for mass_kg in MASSES_KG {
        for spinning_share in [0.0, 1.0, 3.0] {
            let craft = Similar { spinning_share, ..Similar::of(mass_kg) }.craft();
            let margins = Margins::of(&craft, GRAVITY_M_S2).unwrap_or_else(|error| panic!("{error}"));
            assert!(margins.held, "{mass_kg} kg, {spinning_share}:\n{}", margins.text());
        }
    }
}

#[test]
fn gains_reach_their_margins_when_rotors_are_quick_or_slow_and_loops_fast_slow_or_late() {
    let mut short = Vec::new();
    for lag_s in [0.010, 0.016, 0.025, 0.040, 0.063, 0.1, 0.15] {
        for rate_hz in [250.0, 500.0, 1000.0, 2000.0, 4000.0, 8000.0] {
            for delay_s in [0.0, 0.002, 0.006, 0.020] {
                let which = (lag_s * 1e3 + rate_hz + delay_s * 1e3) as usize % MASSES_KG.len();
                let mut similar = similar(MASSES_KG[which], lag_s, rate_hz, delay_s);
                similar.thrust_to_weight = [1.3, 2.1, 5.0][which % 3];
                similar.spinning_share = [0.0, 1.0][which % 2];
                let margins = Margins::of(&similar.craft(), GRAVITY_M_S2).unwrap_or_else(|error| panic!("{error}"));
                if !margins.held {
                    short.push(format!("{similar:?}: {:?}", margins.short()));
                }
            }
        }
    }
    assert!(short.is_empty(), "{}: {short:#?}", short.len());
}

fn logarithmic(least: f64, most: f64) -> impl Strategy<Value = f64> {
    (least.ln()..most.ln()).prop_map(f64::exp)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 100, failure_persistence: None, ..ProptestConfig::default() })]

    /// Any craft the reader lets in: gains that keep the criteria, or reasons.
    #[test]
    fn any_craft_gets_gains_that_keep_the_criteria_or_reasons(
        mass_kg in logarithmic(0.03, 30.0),
        lag_s in logarithmic(0.010, 0.15),
        rate_hz in logarithmic(250.0, 8000.0),
        delay_s in 0.0..0.02,
        thrust_to_weight in 1.02..8.0,
        spinning_share in 0.0..4.0,
        divider in 1..16,
    ) {
        let mut similar = similar(mass_kg, lag_s, rate_hz, delay_s);
        similar.lines += &format!("angle_divider = {divider}\n");
        (similar.thrust_to_weight, similar.spinning_share) = (thrust_to_weight, spinning_share);
        match CraftGains::of(&similar.craft(), GRAVITY_M_S2) {
            Ok(gains) => prop_assert!(gains.margins.held && gains.axes.iter().all(|axis| axis.p_per_s > 0.0)),
            Err(refusal) => {
                let text = refusal.to_string();
                println!("{similar:?}: {text}");
                prop_assert!(text.contains("must be at") && !refusal.mends().is_empty(), "{text}");
            }
        }
    }
}
