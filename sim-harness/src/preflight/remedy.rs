//! What would mend a check that failed and does not say so itself: a change of the craft with its figure where one can be
//! worked out, else the failure at rest that lies beneath it.

use super::bench::most_n;
use super::flights::trouble::thrust_left_n;
use crate::available_thrust::{least_factor, with_less_resistance, with_stronger_rotors};
use crate::craft::{Craft, Gains};
use crate::onboard::Onboard;
use crate::script::World;
use crate::verdict::{Check, FlightReport};

/// A centre of mass nearer to that of the rotors than this share of the longest arm is in its place.
const IN_PLACE: f64 = 0.02;

/// Says of each failed check of the flights what would mend it, where it does not yet.
pub(super) fn say(craft: &Craft, onboard: &Onboard<f32>, bench: &[Check], flights: &mut [FlightReport]) {
    let at_rest = bench.iter().find(|check| !check.passes() && check.mend.is_some());
    for flight in flights {
        let dispersed =
            flight.checks.iter().find(|check| check.id == "dispersed.pass_rate").and_then(|c| c.mend.clone());
        for check in flight.checks.iter_mut().filter(|check| !check.passes() && check.mend.is_none()) {
            let beneath =
                || at_rest.and_then(|first| Some(format!("First what failed at rest. {}", first.mend.as_ref()?)));
            check.mend = match (check.id.as_str(), flight.id) {
                (_, "dispersed") => dispersed.clone(),
                ("battery-low.left", _) => Some(lighter(craft, check)),
                _ => beneath().or_else(|| words(craft, onboard, check)),
            };
        }
    }
}

/// Thrust over weight falls short near empty: by this mass, or these rotors or this resistance, each under its own load.
fn lighter(craft: &Craft, check: &Check) -> String {
    let world = World::default();
    let left_n = |craft: &Craft| thrust_left_n(craft, &world);
    more_thrust(craft, check.value, check.limit.min.unwrap_or(f64::NAN), left_n) + "."
}

/// What brings thrust over weight from `value` to `least`: less mass, stronger rotors, or a battery of less resistance, each
/// tried by `thrust_n`, which does not depend on the mass.
pub(super) fn more_thrust(craft: &Craft, value: f64, least: f64, thrust_n: impl Fn(&Craft) -> f64) -> String {
    if !(value > 0.0) {
        return "Fit a battery that sags less, and stronger rotors".into();
    }
    let less_kg = (100.0 * craft.body.mass_kg * (1.0 - value / least)).ceil() / 100.0;
    let least_n = thrust_n(craft) * least / value;
    let full_n: f64 = craft.rotors.iter().map(|rotor| -rotor.axis[2] * rotor.thrust_max_n).sum();
    let stronger = least_factor(least_n, |times| thrust_n(&with_stronger_rotors(craft, times)))
        .map(|times| format!("fit rotors that push {:.2} N more together at full voltage", full_n * (times - 1.0)));
    let eased = craft.battery.as_ref().and_then(|battery| {
        let times = least_factor(least_n, |times| thrust_n(&with_less_resistance(craft, times)))?;
        let milliohm = (1e5 * battery.resistance_ohm / times).floor() / 100.0;
        Some(format!("fit a battery of {milliohm:.2} milliohm at most, leads and motor controllers included"))
    });
    let ways = std::iter::once(format!("Take off {less_kg:.2} kg")).chain(stronger).chain(eased);
    ways.collect::<Vec<_>>().join(", or ")
}

/// By what the check is about; the figures are those of the craft as it is.
fn words(craft: &Craft, onboard: &Onboard<f32>, check: &Check) -> Option<String> {
    let (flight, what) = check.id.split_once('.')?;
    let spare = most_n(craft, &World::default()) / onboard.authority.hover_n;
    let lag_s = craft.slowest_lag_s();
    let [angle_per_s, ..] = onboard.config.angle.gain_per_s;
    let words = match (flight, what) {
        ("upset", _) => format!(
            "Quicker rotors (the slowest lags by {lag_s} s) or more thrust (now {spare:.2} weights): it falls until it is level, \
             and has to climb back."
        ),
        (_, "overshoot" | "settled" | "rate" | "stops") => format!(
            "{}quicker rotors (the slowest lags by {lag_s} s).",
            if craft.gains == Gains::default() {
                "More torque to spare, or ".into()
            } else {
                format!("Take [gains] out (angle now {angle_per_s:.2} per second), or ")
            }
        ),
        (_, "height" | "climb") => {
            format!("More thrust to spare (now {spare:.2} weights): less mass, or stronger rotors.")
        }
        (_, "senses") => "Compare the place and spin of each rotor in the craft file with the frame.".to_owned(),
        (_, "tilt" | "level" | "angle" | "bank" | "direction" | "torque") => format!(
            "Quicker rotors (the slowest lags by {lag_s} s), more torque to spare, or other gains in [gains] (angle now \
             {angle_per_s:.2} per second)."
        ),
        _ => return None,
    };
    Some(words)
}

/// The centre of mass brought under that of the rotors' full thrust, as low as it is.
pub(super) fn balanced_center_m(craft: &Craft) -> [f64; 3] {
    let full_n: f64 = craft.rotors.iter().map(|rotor| rotor.thrust_max_n).sum();
    let middle =
        |k: usize| craft.rotors.iter().map(|rotor| rotor.thrust_max_n * rotor.position_m[k]).sum::<f64>() / full_n;
    [middle(0), middle(1), craft.body.center_of_mass_m[2]]
}

/// How to bring the centre of mass under that of the rotors' full thrust; `None` where it is there.
pub(super) fn balanced(craft: &Craft) -> Option<String> {
    let center_m = balanced_center_m(craft);
    let middle = |k: usize| center_m[k];
    let [ahead_m, right_m] = [0, 1].map(|k| craft.body.center_of_mass_m[k] - middle(k));
    let arm = |rotor: &crate::craft::Rotor| (rotor.position_m[0] - middle(0)).hypot(rotor.position_m[1] - middle(1));
    let arm_m = craft.rotors.iter().map(arm).fold(0.0, f64::max);
    let [ahead, aside] = [(ahead_m, "rear", "front"), (right_m, "left", "right")].map(|(off_m, back, on)| {
        let towards = if off_m > 0.0 { back } else { on };
        (off_m.abs() > IN_PLACE * arm_m).then(|| format!("{:.0} mm towards the {towards}", 1e3 * off_m.abs()))
    });
    let ways: Vec<String> = ahead.into_iter().chain(aside).collect();
    (!ways.is_empty()).then(|| format!("move the centre of mass {}", ways.join(" and ")))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo;
    use crate::preflight::{flights, flown_and_judged};
    use crate::verdict::Limit;

    /// Figures are printed with so many places that the mended craft may still miss by this share.
    const PRINTED_TOL: f64 = 0.02;

    /// The checks at rest.
    fn at_rest(craft: &Craft, _: &Onboard<f32>) -> Vec<Check> {
        crate::preflight::at_rest(craft, &World::default()).unwrap()
    }

    /// A changed demo craft, and all its checks but those of the varied crafts.
    fn checked(change: impl Fn(&mut Craft)) -> (Craft, Vec<Check>) {
        let (mut craft, world) = (demo::quad().unwrap(), World::default());
        change(&mut craft);
        let onboard = Onboard::<f32>::new(&craft, world.gravity_m_s2).unwrap();
        let mut all = at_rest(&craft, &onboard);
        let maidens = flights::all(&craft, &onboard, &world);
        let mut flown: Vec<FlightReport> =
            maidens.iter().map(|maiden| flown_and_judged(&craft, &onboard, maiden).unwrap()).collect();
        say(&craft, &onboard, &all, &mut flown);
        all.extend(flown.into_iter().flat_map(|flight| flight.checks));
        let silent: Vec<&str> =
            all.iter().filter(|check| !check.passes() && check.mend.is_none()).map(|check| check.id.as_str()).collect();
        assert!(silent.is_empty(), "no mend for {silent:?}");
        (craft, all)
    }

    fn mend<'a>(checks: &'a [Check], id: &str) -> &'a str {
        let check = checks.iter().find(|check| check.id == id).unwrap();
        check.mend.as_deref().unwrap_or_else(|| panic!("{id} did not fail: {check:?}"))
    }

    /// The number before these words.
    fn figure(mend: &str, behind: &str) -> f64 {
        mend.split(behind).next().unwrap().split_whitespace().next_back().unwrap().parse().unwrap()
    }

    #[test]
    fn heavy_craft_is_told_masses_that_mend_it() {
        let (craft, found) = checked(|craft| craft.body.mass_kg = 2.6);
        for id in ["bench.thrust_to_weight", "saturation.aged_battery"] {
            let less_kg = figure(mend(&found, id), " kg");
            let mut mended = craft.clone();
            mended.body.mass_kg -= less_kg;
            let again = at_rest(&mended, &Onboard::<f32>::new(&mended, 9.806_65).unwrap());
            let check = again.iter().find(|check| check.id == id).unwrap();
            let bound = check.limit.min.or(check.limit.max).unwrap();
            let off = check.value / bound - 1.0;
            assert!(off.abs() < PRINTED_TOL, "{id}: {} for {bound} without {less_kg} kg", check.value);
        }
        // What is left to the roll and pitch is exact but for the step of the search.
        let less_kg = figure(mend(&found, "saturation.near_empty_tilt"), " kg");
        let held = |less_kg: f64| {
            let mut mended = craft.clone();
            mended.body.mass_kg -= less_kg;
            let again = at_rest(&mended, &Onboard::<f32>::new(&mended, 9.806_65).unwrap());
            again.iter().any(|check| check.id == "saturation.near_empty_tilt" && check.passes())
        };
        assert!(held(less_kg) && !held(less_kg - 2.0 * PRINTED_TOL * craft.body.mass_kg), "{less_kg} kg");
        // 0.81 of 32 N over 1.2 weights.
        let lifted_kg = 0.81 * 32.0 / 1.2 / 9.806_65;
        let less_kg = figure(mend(&found, "battery-low.left"), " kg");
        assert!((less_kg - (2.6 - lifted_kg)).abs() < 0.01, "{less_kg} kg");
    }

    #[test]
    fn craft_that_its_tilted_rotors_carry_off_is_told_of_their_push() {
        // Each axis leans so that 0.06 of its thrust points right: statics, atan(0.06/0.9982) = 3.4 degrees.
        let (_, found) = checked(|craft| craft.rotors.iter_mut().for_each(|rotor| rotor.axis = [0.0, 0.06, -0.9982]));
        let said = mend(&found, "bench.lean");
        assert!(said.contains("(rotor.axis): 3.4 degrees") && !said.contains("accelerometer"), "{said}");
    }

    #[test]
    fn craft_of_slow_rotors_is_told_of_their_lag() {
        let mut craft = demo::quad().unwrap();
        craft.rotors.iter_mut().for_each(|rotor| rotor.response_time_s = 0.25);
        let onboard = Onboard::<f32>::new(&craft, 9.806_65).unwrap();
        let fallen = Check::new("upset.height", "title", 5.0, "m", Limit::at_most(1.0), "source");
        assert!(words(&craft, &onboard, &fallen).is_some_and(|said| said.contains("lags by 0.25 s")));
    }

    #[test]
    fn craft_with_its_load_off_centre_is_told_where_it_belongs() {
        let (_, found) = checked(|craft| craft.body.center_of_mass_m[0] = 0.12);
        assert!(mend(&found, "bench.thrust_to_weight").contains("move the centre of mass 120 mm towards the rear"));
        assert!(mend(&found, "battery-low.height").starts_with("First what failed at rest. Take off"));
    }

    #[test]
    fn late_craft_is_told_the_longest_delay_that_its_loops_bear() {
        let (craft, found) = checked(|craft| craft.loops.extra_delay_s = 0.15);
        let said = mend(&found, "margins.angle_gain");
        let (_, figures) = said.split_once("loops.extra_delay_s at most ").unwrap_or_else(|| panic!("{said}"));
        let delay_s: f64 = figures.split_whitespace().next().unwrap().parse().unwrap();
        let held = |delay_s: f64| {
            let mut prompt = craft.clone();
            prompt.loops.extra_delay_s = delay_s;
            crate::margins::CraftGains::of(&prompt, 9.806_65).is_ok()
        };
        assert!(held(delay_s) && !held(1.05 * delay_s), "{delay_s} s");
    }

    #[test]
    fn craft_of_too_high_gains_is_told_those_that_hold() {
        let (_, found) = checked(|craft| {
            craft.gains.rate[1].p_per_s = Some(200.0);
            craft.gains.angle_per_s[0] = Some(30.0);
        });
        let said = mend(&found, "margins.separation");
        assert!(said.contains("angle: roll") && figure(said, ", pitch") < 200.0, "{said}");
    }

    #[test]
    fn varied_crafts_tell_of_each_failure_what_they_tell_of_the_pass_rate() {
        let craft = demo::quad().unwrap();
        let onboard = Onboard::<f32>::new(&craft, 9.806_65).unwrap();
        let failed = |id: &str| Check::new(id, "title", 0.0, "", Limit::at_least(1.0), "source");
        let checks = vec![failed("dispersed.pass_rate").or_else(|| "Narrow it.".into()), failed("dispersed.calm")];
        let recording = crate::recording::Recording::default();
        let mut flights = [FlightReport { id: "dispersed", title: "t", asked: String::new(), checks, recording }];
        say(&craft, &onboard, &[], &mut flights);
        assert_eq!(mend(&flights[0].checks, "dispersed.calm"), "Narrow it.");
    }
}
