//! What `gains` says would help does, and less of it does not; the changes of the set-point it reports are flown.

use evenkeel::craft::Craft;
use evenkeel::margins::{Change, CraftGains, GainsError, Margins, Mend};
use evenkeel_tests::driven_flight::{Cut, DrivenFlight};
use evenkeel_tests::similar_craft::{GRAVITY_M_S2, MASSES_KG, Similar};

/// Of the change left out.
const LESS: f64 = 0.05;

fn found(craft: &Craft) -> bool {
    CraftGains::of(craft, GRAVITY_M_S2).is_ok()
}

/// The refusal's mends, each tried: with it there are gains, with 5 % less of the change there are none.
fn each_mend_does_and_less_does_not(craft: &Craft) -> Vec<Change> {
    let refusal = CraftGains::of(craft, GRAVITY_M_S2).map(|_| ()).expect_err("refused");
    let text = refusal.to_string();
    for mend in refusal.mends() {
        assert!(found(&mend.applied(craft)), "{mend}: {text}");
        // What is told is what is changed; none where nothing is left to gain.
        let told = mend.change.now(&mend.applied(craft));
        assert!(told.is_none_or(|value| value == mend.value), "{mend}: {told:?}");
        let now = mend.change.now(craft).unwrap_or(f64::NAN);
        // Steps are whole.
        let less = if mend.change == Change::AngleDivider { 1.0 } else { LESS * (now - mend.value) };
        let less = Mend { value: mend.value + less, ..*mend };
        assert!(!found(&less.applied(craft)), "{less} would have done: {text}");
        assert!(text.contains(&mend.to_string()), "{mend}: {text}");
    }
    println!("{text}");
    refusal.mends().iter().map(|mend| mend.change).collect()
}

fn mended_by(wanted: &[Change], craft: &Craft) {
    let changes = each_mend_does_and_less_does_not(craft);
    for change in wanted {
        assert!(changes.contains(change), "{change:?} of {changes:?}");
    }
}

fn similar(mass_kg: f64, lines: &str) -> Similar {
    Similar { lines: lines.to_string(), ..Similar::of(mass_kg) }
}

#[test]
fn says_how_much_less_delay_would_do_when_the_loops_are_late() {
    mended_by(&[Change::ExtraDelay], &similar(1.6, "[loops]\nextra_delay_s = 0.2\n").craft());
}

#[test]
fn says_what_gyro_would_do_when_it_is_slow_late_or_filtered() {
    let slow = "[sensors.gyro]\nrate_hz = 5.0\n";
    mended_by(&[Change::GyroRate], &similar(0.1, slow).craft());
    let filtered = "[sensors.gyro]\nlow_pass_hz = 1.5\n";
    mended_by(&[Change::GyroLowPass], &similar(0.4, filtered).craft());
    let late = "[loops]\nrate_hz = 100.0\n[sensors.gyro]\nlatency_s = 0.1\nlow_pass_hz = 8.0\n";
    mended_by(&[Change::GyroLatency], &similar(5.0, late).craft());
}

#[test]
fn says_how_fast_the_loops_must_be_when_the_angle_loop_is_slow() {
    let slow = "[loops]\nrate_hz = 250.0\nangle_divider = 40\n";
    mended_by(&[Change::LoopRate, Change::AngleDivider], &similar(1.6, slow).craft());
}

#[test]
fn says_how_quick_the_rotors_must_be_when_they_lag() {
    mended_by(&[Change::RotorLag], &Similar { lag_s: Some(0.4), ..Similar::of(1.6) }.craft());
    let mut one = Similar::of(1.6).craft();
    one.rotors[1].response_time_s = 0.5;
    mended_by(&[Change::RotorLag], &one);
    let mended = Mend { change: Change::RotorLag, value: 0.2 }.applied(&one);
    for (before, after) in one.rotors.iter().zip(&mended.rotors) {
        assert_eq!(after.response_time_s, before.response_time_s.min(0.2), "quick rotors stay as quick as they are");
    }
}

#[test]
fn says_how_strong_or_light_when_an_axis_has_too_little_to_spare() {
    let weak = Similar { thrust_to_weight: 1.06, ..Similar::of(5.0) }.craft();
    mended_by(&[Change::RotorThrust, Change::Mass], &weak);
}

/// The check at rest proposes other propellers there.
#[test]
fn says_how_much_reaction_torque_when_yaw_is_weak() {
    let mut weak = Similar::of(1.6).craft();
    weak.rotors.iter_mut().for_each(|rotor| rotor.torque_per_thrust_m *= 0.05);
    mended_by(&[Change::RotorTorque], &weak);
}

#[test]
fn says_how_strong_or_light_when_the_rotors_cannot_carry_the_craft() {
    let weak = Similar { thrust_to_weight: 0.8, ..Similar::of(1.6) }.craft();
    let refusal = CraftGains::of(&weak, GRAVITY_M_S2);
    assert!(matches!(refusal, Err(GainsError::Unflyable { .. })));
    mended_by(&[Change::RotorThrust, Change::Mass], &weak);
}

#[test]
fn says_what_the_floor_may_be_when_the_rotors_carry_more_than_the_craft_at_their_slowest() {
    let mut craft = Similar::of(1.6).craft();
    let weight = 1.6 * GRAVITY_M_S2;
    craft.rotors.iter_mut().for_each(|rotor| rotor.thrust_min_n = 0.26 * weight);
    mended_by(&[Change::RotorFloor], &craft);
}

/// An axis so weak that its loop crosses over in minutes: slow, but not unstable.
#[test]
fn loops_of_a_weak_axis_are_read_however_slow_they_are() {
    for thrust_to_weight in [1.000_01, 1.001, 1.02] {
        let margins = Margins::of(&Similar { thrust_to_weight, ..Similar::of(1.6) }.craft(), GRAVITY_M_S2);
        let margins = margins.unwrap_or_else(|error| panic!("{error}"));
        assert!(margins.loops.iter().all(|one| one.stable), "{thrust_to_weight}:\n{}", margins.text());
    }
}

/// From hover the largest sudden change in the rate asked for is met by the rotors all the way, and a third more is not.
#[test]
fn no_rotor_meets_a_limit_when_the_rate_set_point_jumps_by_the_largest_step_reported() {
    for mass_kg in MASSES_KG {
        for spinning_share in [0.0, 1.0] {
            let craft = Similar { spinning_share, ..Similar::of(mass_kg) }.quiet();
            let gains = CraftGains::of(&craft, GRAVITY_M_S2).unwrap_or_else(|error| panic!("{error}"));
            for (axis, told) in gains.axes.iter().enumerate() {
                let saturated = |share: f64| {
                    let driven = DrivenFlight { rates: true, ..DrivenFlight::of(&craft, axis, Cut::RateSetpoint) };
                    let step = share * told.rate_step_max_rad_s;
                    driven.fly(500, |at| if at < 100 { 0.0 } else { step }).saturated.len()
                };
                let what = format!("{mass_kg} kg {}: {} rad/s", told.axis, told.rate_step_max_rad_s);
                assert_eq!(saturated(0.99), 0, "{what}");
                assert_eq!(saturated(-0.99), 0, "{what}");
                assert!(saturated(1.3) > 0, "{what}");
            }
        }
    }
}
