//! Sound crafts of every size and shape pass the maiden-flight check: nothing in it is tuned to one craft.
//!
//! Scaling law (geometric similarity, as in any text on model testing; common practice, no source read):
//! with the length ratio λ against a quad of 1.6 kg and 0.25 m arms, mass goes with λ³, inertia with λ⁵, area
//! with λ², thrust with weight, torque per thrust with λ, and times with √λ (Froude).

use evenkeel::file::parse_craft;
use evenkeel::preflight::preflight;

/// A craft file for a scaled body, without its rotors.
struct Scaled {
    ratio: f64,
    mass_kg: f64,
    rotors: usize,
    thrust_to_weight: f64,
    extra_body: String,
    extra_rotor: String,
}

fn scaled(mass_kg: f64, rotors: usize) -> Scaled {
    Scaled {
        ratio: (mass_kg / 1.6).cbrt(),
        mass_kg,
        rotors,
        thrust_to_weight: 2.1,
        extra_body: String::new(),
        extra_rotor: String::new(),
    }
}

impl Scaled {
    fn full_thrust_n(&self) -> f64 {
        self.thrust_to_weight * self.mass_kg * 9.806_65 / self.rotors as f64
    }

    fn arm_m(&self) -> f64 {
        0.25 * self.ratio
    }

    fn head(&self) -> String {
        let length = self.ratio;
        let [xx, yy, zz] = [0.0165, 0.0170, 0.0310].map(|inertia: f64| inertia * length.powi(5));
        let [front, side, top] = [0.012, 0.014, 0.030].map(|area: f64| area * length.powi(2));
        format!(
            "format = 1\nname = \"scaled\"\n[body]\nmass_kg = {mass}\n{body}\n\
             inertia_kg_m2 = {{ xx = {xx}, yy = {yy}, zz = {zz} }}\ndrag_area_m2 = [{front}, {side}, {top}]\n\
             [rotors]\nthrust_max_n = {full}\nthrust_min_n = {least}\ntorque_per_thrust_m = {torque}\n\
             response_time_s = {lag}\n{rotor}\n",
            mass = self.mass_kg,
            body = self.extra_body,
            full = self.full_thrust_n(),
            least = 0.04 * self.full_thrust_n(),
            torque = 0.016 * length,
            lag = 0.035 * length.sqrt(),
            rotor = self.extra_rotor,
        )
    }

    fn ring(&self, arms: usize, first_azimuth_deg: f64, coaxial: bool) -> String {
        let arm = self.arm_m();
        let layout = format!(
            "[layout]\nrotors = {arms}\narm_m = {arm}\nfirst_azimuth_deg = {first_azimuth_deg}\ncoaxial = {coaxial}\n"
        );
        self.head() + &layout
    }
}

/// Flies the whole set; the failed checks, in words.
fn failures(text: &str) -> Vec<String> {
    let craft = parse_craft("craft.toml", text).unwrap_or_else(|error| panic!("{error}"));
    let found = preflight(&craft, &|_, _| {}).unwrap_or_else(|error| panic!("{error}\n{text}"));
    assert!(found.flights.len() >= 9 || !found.fit(), "the set is flown");
    found
        .reasons()
        .map(|(_, check)| format!("{} = {} {} ({:?})", check.id, check.value, check.unit, check.limit))
        .collect()
}

fn passes(what: &str, text: &str) {
    let failed = failures(text);
    assert!(failed.is_empty(), "{what}: {failed:#?}\n{text}");
}

/// The corpus has the sizes between.
const MASSES_KG: [f64; 3] = [0.030, 1.6, 30.0];

#[test]
fn finds_a_sound_quad_fit_when_it_weighs_thirty_grams_to_thirty_kilograms() {
    for mass in MASSES_KG {
        passes(&format!("{mass} kg"), &scaled(mass, 4).ring(4, 45.0, false));
    }
}

#[test]
fn finds_a_sound_quad_fit_when_an_arm_points_at_the_nose() {
    for mass in MASSES_KG {
        passes(&format!("{mass} kg"), &scaled(mass, 4).ring(4, 0.0, false));
    }
}

#[test]
fn finds_three_arms_with_pairs_fit_when_they_weigh_little_or_much() {
    for mass in [0.1, 12.0] {
        passes(&format!("{mass} kg"), &scaled(mass, 6).ring(3, 60.0, true));
    }
}

#[test]
fn finds_sixteen_rotors_fit_when_they_sit_on_eight_arms() {
    passes("sixteen", &scaled(20.0, 16).ring(8, 22.5, true));
}

/// Rotors leaning 15 degrees along their circle, alternately, so that leaning helps their reaction torque.
fn leaning_six(mass_kg: f64) -> String {
    let craft = scaled(mass_kg, 6);
    let arm = craft.arm_m();
    let (sin, cos) = 15.0_f64.to_radians().sin_cos();
    let rotor = |index: i32| {
        let (east, north) = (f64::from(index) * 60.0 + 30.0).to_radians().sin_cos();
        let (spin, way) = if index % 2 == 0 { ("ccw", 1.0) } else { ("cw", -1.0) };
        format!(
            "[[rotor]]\nposition_m = [{}, {}, 0.0]\nspin = \"{spin}\"\naxis = [{}, {}, {}]\n",
            arm * north,
            arm * east,
            -way * sin * east,
            way * sin * north,
            -cos
        )
    };
    craft.head() + &(0..6).map(rotor).collect::<String>()
}

#[test]
fn finds_leaning_rotors_fit_when_they_help_yaw() {
    for mass in [0.4, 12.0] {
        passes(&format!("{mass} kg"), &leaning_six(mass));
    }
}

#[test]
fn finds_an_off_centre_mass_fit_when_the_rotors_can_carry_it() {
    for mass in [0.1, 12.0] {
        let mut craft = scaled(mass, 4);
        let offset = 0.08 * craft.arm_m();
        craft.extra_body = format!("center_of_mass_m = [{offset}, {}, {}]", -0.5 * offset, 2.0 * offset);
        passes(&format!("{mass} kg"), &craft.ring(4, 45.0, false));
    }
}

#[test]
fn finds_a_craft_with_a_bench_table_fit_when_its_thrust_is_no_square() {
    for mass in [0.1, 12.0] {
        let mut craft = scaled(mass, 4);
        let full = craft.full_thrust_n();
        let thrusts = [0.03 * full, 0.14 * full, 0.36 * full, 0.66 * full, full];
        craft.extra_rotor =
            format!("thrust_curve = {{ command = [0.1, 0.3, 0.55, 0.8, 1.0], thrust_n = {thrusts:?} }}");
        passes(&format!("{mass} kg"), &craft.ring(4, 45.0, false));
    }
}

/// Momentum of what spins, as its share of the craft's inertia about z stays the same.
#[test]
fn finds_a_craft_fit_when_its_rotors_have_inertia() {
    for mass in [0.1, 12.0] {
        let mut craft = scaled(mass, 4);
        craft.extra_rotor = format!("inertia_kg_m2 = {}", 4e-5 * craft.ratio.powi(5));
        passes(&format!("{mass} kg"), &craft.ring(4, 45.0, false));
    }
}

#[test]
fn finds_a_craft_fit_when_its_order_of_priority_is_another() {
    for (priority, sign) in [
        ("[[\"thrust\"], [\"roll\", \"pitch\"], [\"yaw\"]]", true),
        ("[[\"roll\", \"pitch\", \"yaw\"], [\"thrust\"]]", false),
        ("[[\"roll\", \"pitch\"], [\"yaw\"], [\"thrust\"]]", true),
        ("[[\"roll\"], [\"pitch\"], [\"thrust\"], [\"yaw\"]]", false),
    ] {
        let text = scaled(1.6, 4).ring(4, 45.0, false)
            + &format!("[saturation]\npriority = {priority}\nkeep_yaw_sign = {sign}\n");
        passes(priority, &text);
    }
}

#[test]
fn finds_a_craft_fit_when_its_loops_run_slowly_or_late() {
    for loops in ["rate_hz = 250.0\nangle_divider = 1", "rate_hz = 4000.0\nangle_divider = 8", "extra_delay_s = 0.008"]
    {
        passes(loops, &(scaled(1.6, 4).ring(4, 45.0, false) + &format!("[loops]\n{loops}\n")));
    }
}

/// The check can say no: the same craft with weak rotors, and with rotors all turning one way.
#[test]
fn finds_a_craft_unfit_when_it_is_made_unsound() {
    let mut weak = scaled(1.6, 4);
    weak.thrust_to_weight = 1.2;
    let failed = failures(&weak.ring(4, 45.0, false));
    assert!(failed.iter().any(|check| check.starts_with("bench.thrust_to_weight")), "{failed:?}");
}

/// Gains fixed by the owner, bad each in its own way, and the check that must say so.
#[test]
fn finds_a_craft_unfit_when_its_gains_do_not_hold_or_do_not_settle() {
    let sound = scaled(1.1, 4).ring(4, 45.0, false);
    for (roll_and_pitch_per_s, check) in [(0.01, "off-centre.level"), (60.0, "circle.settled")] {
        let gains =
            format!("[gains.angle]\nroll_per_s = {roll_and_pitch_per_s}\npitch_per_s = {roll_and_pitch_per_s}\n");
        let failed = failures(&format!("{sound}{gains}"));
        assert!(failed.iter().any(|failure| failure.starts_with(check)), "{roll_and_pitch_per_s}: {failed:?}");
    }
}
