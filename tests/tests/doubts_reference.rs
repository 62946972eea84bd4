//! The power behind the doubts against tables from outside.

use evenkeel::doubts::{figure_of_merit, ideal_hover_power_w};
use evenkeel_tests::reference::table;

const DENSITY: f64 = 1.225;
const GRAVITY_M_S2: f64 = 9.806_65;
/// The tables are printed to six digits.
const PRINT_TOL: f64 = 2e-5;

/// Source: `reference/propeller_static.csv`: AIAA 2011-1255 (definitions read; coefficients read in a secondary transcription). Thrust,
/// torque and figure of merit are computed columns of the table.
#[test]
fn agrees_with_the_figure_of_merit_when_thrust_torque_and_speed_were_measured() {
    for row in table("propeller_static").rows() {
        let [thrust_n, torque_nm, speed_rad_s, diameter_m] =
            ["T_N", "Q_Nm", "omega_rad_s", "D_m"].map(|column| row.number(column));
        let found = figure_of_merit(thrust_n, torque_nm, speed_rad_s, diameter_m, DENSITY);
        assert!((found / row.number("FM") - 1.0).abs() < PRINT_TOL, "{found} for {}", row.number("FM"));
    }
}

/// Source: `reference/hover_endurance.csv`: momentum theory (formula read), invented crafts, computed.
#[test]
fn agrees_with_the_power_of_hover_when_a_craft_hangs_on_its_discs() {
    for row in table("hover_endurance").rows() {
        let rotors = row.number("rotors");
        let thrust_n = row.number("mass_kg") * GRAVITY_M_S2 / rotors;
        let ideal_w = rotors * ideal_hover_power_w(thrust_n, row.number("diameter_m"), DENSITY);
        let found = ideal_w / (row.number("figure_of_merit") * row.number("drive_efficiency"));
        assert!((found / row.number("power_w") - 1.0).abs() < PRINT_TOL, "{found} W for {} W", row.number("power_w"));
    }
}
