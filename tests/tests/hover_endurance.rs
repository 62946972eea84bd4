//! Current and minutes of hover against a published way of estimating them.

use evenkeel::available_thrust::{LANDING_CHARGE, hover_endurance};
use evenkeel::craft::Craft;
use evenkeel::file::parse_craft;
use evenkeel::script::World;
use evenkeel_tests::reference::{Row, table};

/// The table is printed to six digits.
const PRINTED_TOL: f64 = 2.0e-5;
/// A battery that sags by some hundredths lasts that much less: what leaves it goes with current times open-circuit voltage.
const SAG_SHARE: f64 = 0.04;
const GRAVITY_M_S2: f64 = 9.806_65;
/// Thrust over weight of the crafts; it does not enter hover power.
const THRUST_TO_WEIGHT: f64 = 2.6;
/// Speed of the blades' tips at full command; power is torque times speed, and the torque below is worked out from it.
const TIP_M_S: f64 = 180.0;
/// Full voltage over the mean one between full and a fifth: 4.2 over 3.7 V a cell, common practice.
const FULL_OVER_MEAN: f64 = 4.2 / 3.7;

/// A ring of rotors that takes the row's shaft power in hover, on a battery whose open-circuit voltage falls along a straight line
/// with the row's mean over the charge that is used.
fn craft(row: Row<'_>, sag_share: f64) -> Craft {
    let (mass_kg, rotors) = (row.number("mass_kg"), row.number("rotors"));
    let (power_w, efficiency) = (row.number("power_w"), row.number("drive_efficiency"));
    let hover_n = mass_kg * GRAVITY_M_S2 / rotors;
    let full_speed_rad_s = 2.0 * TIP_M_S / row.number("diameter_m");
    let hover_speed_rad_s = full_speed_rad_s / THRUST_TO_WEIGHT.sqrt();
    let torque_per_thrust_m = power_w * efficiency / rotors / (hover_n * hover_speed_rad_s);
    let mean_v = row.number("mean_voltage_v");
    let full_v = FULL_OVER_MEAN * mean_v;
    // The mean of a straight line stands in the middle of the charge used.
    let middle = 0.5 * (1.0 + LANDING_CHARGE);
    let empty_v = full_v - (full_v - mean_v) / (1.0 - middle);
    let text = format!(
        "format = 1\nname = \"row\"\n[body]\nmass_kg = {mass_kg}\ninertia_kg_m2 = {{ xx = {j}, yy = {j}, zz = {zz} }}\n\
         [rotors]\nthrust_max_n = {max_n}\ntorque_per_thrust_m = {torque_per_thrust_m}\nresponse_time_s = 0.05\n\
         speed_max_rad_s = {full_speed_rad_s}\ndiameter_m = {diameter_m}\n\
         [layout]\nrotors = {rotors}\narm_m = {arm_m}\n\
         [battery]\ncapacity_ah = {capacity_ah}\nfull_v = {full_v}\nempty_v = {empty_v}\nresistance_ohm = {resistance_ohm}\n\
         efficiency = {efficiency}\n",
        j = 0.01 * mass_kg,
        zz = 0.018 * mass_kg,
        max_n = THRUST_TO_WEIGHT * hover_n,
        diameter_m = row.number("diameter_m"),
        arm_m = row.number("diameter_m"),
        capacity_ah = row.number("capacity_ah"),
        resistance_ohm = sag_share * mean_v / row.number("current_a"),
    );
    parse_craft("row.toml", &text).unwrap_or_else(|error| panic!("{error}"))
}

/// Source: hover_endurance.csv: ideal power over figure of merit and efficiency, at a constant mean voltage. Ours follows the
/// open-circuit voltage down: without resistance ∫ E dq / P is the mean voltage times the charge over the power, the same.
/// The rows use 0.8 and 0.85 of the capacity, ours what is above a fifth.
#[test]
fn lasts_as_long_as_the_table_says_when_the_battery_has_no_resistance() {
    for row in table("hover_endurance").rows() {
        let hover = hover_endurance(&craft(row, 0.0), &World::default()).unwrap().unwrap();
        let expected = row.number("endurance_min") * (1.0 - LANDING_CHARGE) / row.number("usable_share");
        assert!((hover.minutes / expected - 1.0).abs() < PRINTED_TOL, "{} for {expected} minutes", hover.minutes);
        assert!((hover.power_w / row.number("power_w") - 1.0).abs() < PRINTED_TOL, "{} W", hover.power_w);
        // At the start the voltage stands above its mean, and the current below by as much.
        let expected_a = row.number("current_a") / FULL_OVER_MEAN;
        assert!((hover.current_a / expected_a - 1.0).abs() < PRINTED_TOL, "{} for {expected_a} A", hover.current_a);
        assert_eq!((hover.ends_by, hover.ends_at_charge), ("landing charge", LANDING_CHARGE));
    }
}

#[test]
fn lasts_less_by_the_sag_when_the_battery_has_resistance() {
    for row in table("hover_endurance").rows() {
        let at = |sag: f64| hover_endurance(&craft(row, sag), &World::default()).unwrap().unwrap();
        let (without, with) = (at(0.0), at(SAG_SHARE));
        let less = 1.0 - with.minutes / without.minutes;
        // To first order the sag's share of the voltage; the current that it raises sinks it a little further.
        assert!(less > SAG_SHARE && less < 1.2 * SAG_SHARE, "{less}");
    }
}

/// A craft that the battery stops carrying before a fifth of its charge is left hovers to that point and no further.
#[test]
fn ends_where_the_thrust_is_gone_when_that_is_before_the_landing_charge() {
    let row_table = table("hover_endurance");
    let row = row_table.rows().next().unwrap();
    let mut heavy = craft(row, 0.02);
    let sound = hover_endurance(&heavy, &World::default()).unwrap().unwrap();
    heavy.rotors.iter_mut().for_each(|rotor| rotor.thrust_max_n *= 0.65);
    let hover = hover_endurance(&heavy, &World::default()).unwrap().unwrap();
    assert_eq!(hover.ends_by, "thrust left");
    assert!(hover.ends_at_charge > LANDING_CHARGE && hover.minutes < sound.minutes, "{hover:?}");
}
