//! Bands from both sides, on sound crafts of this project.

use super::*;
use crate::file::parse_craft;

const DEMOS: [(&str, &str); 4] = [
    ("quad", include_str!("../../crafts/quad.toml")),
    ("six", include_str!("../../crafts/six.toml")),
    ("eight", include_str!("../../crafts/eight.toml")),
    ("unfit", include_str!("../../crafts/unfit.toml")),
];

fn quad() -> Craft {
    parse_craft("quad.toml", DEMOS[0].1).unwrap()
}

fn of(craft: &Craft) -> Vec<Doubt> {
    doubts(craft, &World::default())
}

fn open(craft: &Craft) -> Vec<String> {
    of(craft).into_iter().filter(|doubt| !doubt.vouched).map(|doubt| doubt.key).collect()
}

#[test]
fn doubts_nothing_that_decides_when_the_craft_is_a_demo() {
    for (name, text) in DEMOS {
        let craft = parse_craft(name, text).unwrap();
        assert_eq!(open(&craft), Vec::<String>::new(), "{name}: {:#?}", of(&craft));
    }
}

/// Worked out by hand: 6 N are the weight of 612 g.
#[test]
fn says_the_number_to_type_when_thrust_is_in_grams() {
    let mut craft = quad();
    craft.rotors.iter_mut().for_each(|rotor| rotor.thrust_max_n = 612.0);
    let found = of(&craft);
    let [doubt] = found.as_slice() else { panic!("one cause is one doubt: {found:#?}") };
    assert_eq!((doubt.key.as_str(), doubt.value, doubt.unit), ("rotors.thrust_max_n", 612.0, "N"));
    assert_eq!(doubt.likely, "grams? write 6.0");
    // 1.6 kg weigh 15.69 N: four rotors carry it with 3.92 N each, and eight times that is racing.
    assert!((doubt.usual.min - 3.9227).abs() < 1e-3 && doubt.usual.max < 8.0 * 3.93, "{doubt:?}");
}

/// A floor that nobody typed is no second doubt.
#[test]
fn says_one_thing_when_the_floor_follows_from_a_thrust_in_grams() {
    let mut craft = quad();
    for rotor in &mut craft.rotors {
        (rotor.thrust_max_n, rotor.thrust_min_n) = (612.0, 0.04 * 612.0);
    }
    let keys: Vec<_> = of(&craft).into_iter().map(|doubt| doubt.key).collect();
    assert_eq!(keys, ["rotors.thrust_max_n"]);
}

/// Every figure is moved until its doubt appears, both ways: at 1 % inside the band there is none, at 1 % outside there is one.
#[test]
fn doubts_a_ratio_when_it_leaves_its_band_and_not_before() {
    for (name, text) in DEMOS.into_iter().take(3) {
        let craft = parse_craft(name, text).unwrap();
        for relation in explain::relations(&craft, 9.806_65) {
            let figure = relation.figure;
            let moved_alone = |factor: f64| {
                let moved = figure.scaled(&craft, factor, None);
                let now = explain::relations(&moved, 9.806_65);
                let same = now.iter().find(|other| other.is_about_the_same(&relation)).map(relation::Relation::excess);
                (same, open(&moved))
            };
            for (bound, inward) in [(relation.usual.min, 1.01), (relation.usual.max, 1.0 / 1.01)] {
                let factor = (bound / relation.ratio).powf(1.0 / relation.power);
                if !(factor > 0.0 && factor.is_finite()) || relation.ratio == 0.0 {
                    continue;
                }
                let inside = moved_alone(factor * f64::powf(inward, 1.0 / relation.power));
                let outside = moved_alone(factor * f64::powf(inward, -1.0 / relation.power));
                // Height and plan of the centre of mass, and bands that follow the figure itself, do not go with one power.
                if matches!(
                    relation.id,
                    "center_in_height" | "center_in_plan" | "length_to_width" | "flatness" | "lag" | "spin_inertia"
                ) {
                    continue;
                }
                assert_eq!(inside.0, Some(0.0), "{name} {} inside {bound}", relation.id);
                assert!(outside.0 > Some(0.0), "{name} {} outside {bound}", relation.id);
                assert!(!outside.1.is_empty(), "{name} {} outside {bound}: no doubt", relation.id);
            }
        }
    }
}

#[test]
fn tells_a_doubt_and_lets_it_pass_when_the_key_is_vouched_for() {
    let mut craft = quad();
    craft.rotors.iter_mut().for_each(|rotor| rotor.torque_per_thrust_m *= 10.0);
    assert_eq!(open(&craft), ["rotors.torque_per_thrust_m"]);
    for typed in ["rotors.torque_per_thrust_m", "rotor.torque_per_thrust_m"] {
        craft.figures.measured = vec![typed.into()];
        assert!(open(&craft).is_empty() && of(&craft).len() == 1, "{typed}");
    }
    craft.figures.measured = vec!["rotors.response_time_s".into()];
    assert_eq!(open(&craft), ["rotors.torque_per_thrust_m"], "another key vouches for nothing");
}

#[test]
fn covers_entries_and_rotors_when_a_table_or_all_rotors_are_vouched_for() {
    let covered = [
        ("body.inertia_kg_m2", "body.inertia_kg_m2.zz", true),
        ("body.inertia_kg_m2.zz", "body.inertia_kg_m2", false),
        ("rotors.thrust_max_n", "rotor[3].thrust_max_n", true),
        ("rotor[3].thrust_max_n", "rotor[3].thrust_max_n", true),
        ("rotor[3].thrust_max_n", "rotor[4].thrust_max_n", false),
        ("rotor.spin", "rotor[2].spin", true),
        ("rotors.thrust_max_n", "rotors.thrust_max_nm", false),
    ];
    for (typed, key, expected) in covered {
        assert_eq!(keys::covers(typed, key), expected, "{typed} for {key}");
    }
    assert!(is_doubtable("rotor[12].spin") && !is_doubtable("rotor[0].spin") && !is_doubtable("rotor[x].spin"));
    assert!(!is_doubtable("body.name") && !is_doubtable("") && !is_doubtable("rotors"));
    assert!(doubtable_keys().iter().all(|key| is_doubtable(key)));
}

/// The inertia of one craft with the arm of another, twice as long: the discs would stand far apart, so it is the arm.
#[test]
fn names_the_arm_when_the_distance_between_motors_is_typed_for_it() {
    let craft = figure::Figure::Arm.scaled(&quad(), 2.0, None);
    let found = of(&craft);
    let [doubt] = found.as_slice() else { panic!("{found:#?}") };
    assert_eq!(doubt.key, "layout.arm_m");
    assert!(doubt.likely.contains("write 0.25"), "{doubt:?}");
}

#[test]
fn names_the_rotor_when_one_of_them_turns_the_other_way() {
    let mut craft = parse_craft("six.toml", DEMOS[1].1).unwrap();
    craft.rotors[4].spin = crate::craft::Spin::Cw;
    let found = of(&craft);
    let [doubt] = found.as_slice() else { panic!("{found:#?}") };
    assert_eq!(doubt.key, "rotor[5].spin");
    assert!(doubt.likely.contains("\"ccw\""), "{doubt:?}");
    craft.rotors.iter_mut().for_each(|rotor| rotor.spin = crate::craft::Spin::Cw);
    assert!(of(&craft)[0].likely.contains("for rotors"), "{:?}", of(&craft));
}

#[test]
fn names_the_one_rotor_when_its_thrust_is_in_grams() {
    let mut craft = quad();
    craft.rotors[2].thrust_max_n = 816.0;
    let found = of(&craft);
    let [doubt] = found.as_slice() else { panic!("{found:#?}") };
    assert_eq!((doubt.key.as_str(), doubt.likely.as_str()), ("rotor[3].thrust_max_n", "grams? write 8.0"));
}

#[test]
fn asks_for_the_wake_and_the_size_when_a_pair_or_a_battery_says_nothing_of_them() {
    let text = DEMOS[2].1.replace("measured = [\"layout.lower_thrust_share\"]", "");
    assert_eq!(open(&parse_craft("eight.toml", &text).unwrap()), ["layout.lower_thrust_share"]);
    for stated in ["lower_thrust_share = 1.0", "lower_thrust_share = 0.85"] {
        let stated = text.replace("coaxial = true", &format!("{stated}\ncoaxial = true"));
        assert!(open(&parse_craft("eight.toml", &stated).unwrap()).is_empty());
    }
    let battery = "[battery]\ncapacity_ah = 5.2\nfull_v = 16.8\nempty_v = 13.2\nresistance_ohm = 0.02\n";
    let sized = format!("{}{battery}", DEMOS[0].1);
    assert!(open(&parse_craft("quad.toml", &sized).unwrap()).is_empty());
    let bare: String =
        sized.lines().filter(|line| !line.starts_with("diameter_m")).map(|line| format!("{line}\n")).collect();
    let found = of(&parse_craft("quad.toml", &bare).unwrap());
    assert_eq!((found.len(), found[0].key.as_str()), (1, "rotors.diameter_m"), "{found:#?}");
    let fast = bare.replace("[rotors]", "[rotors]\nspeed_max_rad_s = 800.0");
    assert!(open(&parse_craft("quad.toml", &fast).unwrap()).is_empty());
}

/// No number, no rotor: an answer, and no panic.
#[test]
fn says_something_and_does_not_fail_when_figures_are_absurd() {
    for factor in [1e-300, 1e300, f64::NAN, f64::INFINITY, 0.0] {
        for figure in figure::Figure::ALL {
            let _ = of(&figure.scaled(&quad(), factor, None));
        }
    }
    let mut alone = quad();
    alone.rotors.truncate(1);
    let _ = of(&alone);
    alone.rotors.clear();
    let _ = of(&alone);
}
