//! What a wrong file is told. Each case is a small edit of a good file; the messages stand in
//! tests/snapshots, to be read as someone who has never seen the format would read them.
//! `INSTA_UPDATE=always cargo test -p evenkeel --test bad_files` writes them anew.

use std::fmt::Write;

use evenkeel::craft::Craft;
use evenkeel::file::{FileError, MAX_SAMPLES, parse_craft, parse_flight};

const RING: &str = include_str!("files/ring.toml");
const LIST: &str = include_str!("files/list.toml");
const FLIGHT: &str = include_str!("files/flight.toml");

/// What is wrong, what stands in the good file, what stands there instead.
type Case = (&'static str, &'static str, &'static str);

fn edited(good: &str, (what, from, to): &Case) -> String {
    assert_eq!(good.matches(from).count(), 1, "case {what:?} must edit exactly one place");
    good.replace(from, to)
}

/// Every message in one text, after checks that hold for all of them.
fn messages<T>(good: &str, cases: &[Case], parse: impl Fn(&str) -> Result<T, FileError>) -> String {
    assert!(parse(good).is_ok(), "the file the cases start from is good");
    let mut listing = String::new();
    for case in cases {
        let Err(error) = parse(&edited(good, case)) else { panic!("case {:?} was accepted", case.0) };
        let message = error.to_string();
        assert!(message.contains("must ") || message.contains("not supported yet"), "says what is allowed: {message}");
        assert!(message.contains("; "), "says how to mend it: {message}");
        assert!(error.line().is_none() || message.contains('^'), "points at the place: {message}");
        writeln!(listing, "# {}\n{message}\n", case.0).unwrap();
    }
    listing
}

fn ring() -> Craft {
    parse_craft("ring.toml", RING).unwrap()
}

#[test]
fn says_what_is_wrong_when_the_syntax_is() {
    let cases: &[Case] = &[
        ("text without quotes", "name = \"ring\"", "name = ring"),
        ("value with a unit", "mass_kg = 1.6", "mass_kg = 1.6 kg"),
        ("no value", "arm_m = 0.25", "arm_m ="),
        ("no equals sign", "arm_m = 0.25", "arm_m 0.25"),
        ("decimal comma", "arm_m = 0.25", "arm_m = 0,25"),
        ("unclosed bracket", "[0.0, 0.0, 0.01]", "[0.0, 0.0, 0.01"),
        ("unclosed quote", "name = \"ring\"", "name = \"ring"),
        ("unclosed header", "[layout]", "[layout"),
        ("key twice", "arm_m = 0.25", "arm_m = 0.25\narm_m = 0.30"),
        ("table twice", "[layout]", "[body]"),
        ("leading zero", "rotors = 4", "rotors = 04"),
        ("control character", "name = \"ring\"", "name = \"ri\u{1b}[31mng\""),
        ("control character, escaped", "name = \"ring\"", "name = \"ri\\u001b[31mng\""),
        ("line ends of one character", "arm_m = 0.25\n", "arm_m = 0.25\r"),
    ];
    insta::assert_snapshot!("syntax", messages(RING, cases, |text| parse_craft("ring.toml", text)));
}

#[test]
fn says_what_is_wrong_when_a_craft_with_a_layout_is() {
    let cases: &[Case] = &[
        ("no format", "format = 1\n", ""),
        ("format of the future", "format = 1", "format = 2"),
        ("no name", "name = \"ring\"\n", ""),
        ("empty name", "name = \"ring\"", "name = \" \""),
        ("name that turns the text round", "name = \"ring\"", "name = \"ri\\u202Eng\""),
        ("number as name", "name = \"ring\"", "name = 7"),
        ("no mass", "mass_kg = 1.6\n", ""),
        ("no body", "[body]\nmass_kg = 1.6\n", "[bodywork]\nmass_kg = 1.6\n"),
        ("mass misspelt", "mass_kg", "mas_kg"),
        ("mass in grams", "mass_kg = 1.6", "mass_g = 1600"),
        ("mass of a van", "mass_kg = 1.6", "mass_kg = 1600"),
        ("mass negative", "mass_kg = 1.6", "mass_kg = -1.6"),
        ("mass nan", "mass_kg = 1.6", "mass_kg = nan"),
        ("mass infinite", "mass_kg = 1.6", "mass_kg = +inf"),
        ("mass beyond a double", "mass_kg = 1.6", "mass_kg = 1e999"),
        ("mass in quotes with unit", "mass_kg = 1.6", "mass_kg = \"1.6 kg\""),
        ("mass as a list", "mass_kg = 1.6", "mass_kg = [1.6]"),
        ("two coordinates", "[0.0, 0.0, 0.01]", "[0.0, 0.0]"),
        ("word among coordinates", "[0.0, 0.0, 0.01]", "[0.0, 0.0, \"low\"]"),
        ("coordinate in millimetres", "[0.0, 0.0, 0.01]", "[0.0, 0.0, 100.0]"),
        ("inertia as a number", "{ xx = 0.0165, yy = 0.0170, zz = 0.0310 }", "0.02"),
        ("inertia without zz", ", zz = 0.0310", ""),
        ("inertia of zero", "xx = 0.0165", "xx = 0.0"),
        ("inertia no body has", "zz = 0.0310", "zz = 0.310"),
        ("inertia not positive definite", "zz = 0.0310", "zz = 0.0310, xy = 0.02"),
        ("drag area negative", "[0.012, 0.014, 0.030]", "[0.012, -0.014, 0.030]"),
        ("thrust zero", "thrust_max_n = 8.0", "thrust_max_n = 0"),
        ("no thrust", "thrust_max_n = 8.0\n", ""),
        (
            "no rotor values at all",
            "[rotors]\nthrust_max_n = 8.0\nthrust_min_n = 0.3\ntorque_per_thrust_m = 0.016\nresponse_time_s = 0.035\n",
            "",
        ),
        ("floor above ceiling", "thrust_min_n = 0.3", "thrust_min_n = 8.5"),
        ("torque negative", "torque_per_thrust_m = 0.016", "torque_per_thrust_m = -0.016"),
        ("response of zero", "response_time_s = 0.035", "response_time_s = 0.0"),
        ("response in milliseconds", "response_time_s = 0.035", "response_time_s = 35"),
        (
            "curve columns differ",
            "[rotors]",
            "[rotors]\nthrust_curve = { command = [0.5, 1.0], thrust_n = [1.0, 2.0, 8.0] }",
        ),
        (
            "curve falls",
            "[rotors]",
            "[rotors]\nthrust_curve = { command = [0.2, 0.5, 1.0], thrust_n = [1.0, 0.9, 8.0] }",
        ),
        ("curve of one point", "[rotors]", "[rotors]\nthrust_curve = { command = [1.0], thrust_n = [8.0] }"),
        ("curve in percent", "[rotors]", "[rotors]\nthrust_curve = { command = [50, 100], thrust_n = [2.0, 8.0] }"),
        ("curve ends early", "[rotors]", "[rotors]\nthrust_curve = { command = [0.2, 0.9], thrust_n = [1.0, 8.0] }"),
        (
            "curve ends elsewhere",
            "[rotors]",
            "[rotors]\nthrust_curve = { command = [0.2, 1.0], thrust_n = [1.0, 7.0] }",
        ),
        ("curve never stops", "[rotors]", "[rotors]\nthrust_curve = { command = [0.0, 1.0], thrust_n = [0.5, 8.0] }"),
        ("no rotors", "[layout]\nrotors = 4\narm_m = 0.25\nfirst_azimuth_deg = 45.0\nfirst_spin = \"ccw\"\n", ""),
        ("arms as a decimal", "rotors = 4", "rotors = 4.0"),
        ("no arms", "rotors = 4", "rotors = 0"),
        ("seventeen rotors", "rotors = 4", "rotors = 17"),
        ("eighteen coaxial rotors", "rotors = 4", "rotors = 9\ncoaxial = true"),
        ("gap without a second ring", "arm_m = 0.25", "arm_m = 0.25\nring_gap_m = 0.05"),
        ("arm in centimetres", "arm_m = 0.25", "arm_cm = 25"),
        ("spin in other words", "\"ccw\"", "\"CCW \""),
        ("spin in quite other words", "\"ccw\"", "\"left\""),
        ("spin without quotes", "\"ccw\"", "true"),
        ("flag in quotes", "[loops]", "[saturation]\nkeep_yaw_sign = \"yes\"\n[loops]"),
        (
            "axis forgotten in priority",
            "[loops]",
            "[saturation]\npriority = [[\"roll\", \"pitch\"], [\"thrust\"]]\n[loops]",
        ),
        (
            "axis twice in priority",
            "[loops]",
            "[saturation]\npriority = [[\"roll\", \"pitch\"], [\"roll\"], [\"yaw\"]]\n[loops]",
        ),
        (
            "axis misspelt in priority",
            "[loops]",
            "[saturation]\npriority = [[\"roll\", \"pich\"], [\"thrust\"], [\"yaw\"]]\n[loops]",
        ),
        ("priority flat", "[loops]", "[saturation]\npriority = [\"roll\", \"pitch\", \"thrust\", \"yaw\"]\n[loops]"),
        ("loop too slow", "rate_hz = 1000.0", "rate_hz = 10.0"),
        ("vouching for a word", "[loops]", "[figures]\nmeasured = \"rotors.thrust_max_n\"\n[loops]"),
        ("vouching for a key misspelt", "[loops]", "[figures]\nmeasured = [\"rotors.thrust_mx_n\"]\n[loops]"),
        ("vouching for a key without its table", "[loops]", "[figures]\nmeasured = [\"torque_per_thrust_m\"]\n[loops]"),
        ("vouching for what is never in doubt", "[loops]", "[figures]\nmeasured = [\"saturation.priority\"]\n[loops]"),
        ("vouching in other words", "[loops]", "[figures]\nvouched = [\"body.mass_kg\"]\n[loops]"),
        ("divider of zero", "rate_hz = 1000.0", "angle_divider = 0"),
        ("filter above half the rate", "[loops]", "[gains.rate.roll]\nd_filter_hz = 600.0\n[loops]"),
        ("gain negative", "[loops]", "[gains.rate.yaw]\np_per_s = -3.0\n[loops]"),
        ("gain of another kind", "[loops]", "[gains.rate.yaw]\nff = 0.1\n[loops]"),
        ("tilt beyond the horizon", "[loops]", "[limits]\ntilt_deg = 120.0\n[loops]"),
        ("curve without full thrust", "thrust_max_n = 8.0", "thrust_curve = { thrust_n = [1.0, 8.0] }"),
        ("table of inertia in a list", "{ xx = 0.0165, yy = 0.0170, zz = 0.0310 }", "[0.0165, 0.0170, 0.0310]"),
        ("words in another order", "thrust_max_n = 8.0", "max_thrust_n = 8.0"),
        ("battery", "[loops]", "[battery]\ncells = 4\n[loops]"),
        (
            "sensor beside perfect ones",
            "[loops]",
            "[sensors]\nperfect = true\n[sensors.gyro]\nbias_deg_s = [1, 0, 0]\n[loops]",
        ),
        ("low-pass too high", "[loops]", "[sensors.gyro]\nlow_pass_hz = 450.0\n[loops]"),
        ("sensor noise backwards", "[loops]", "[sensors.accelerometer]\nnoise_m_s2_rthz = -0.001\n[loops]"),
        ("dispersion in percent", "[loops]", "[dispersion]\nmass_share = 5.0\n[loops]"),
        ("dispersion of a key misspelt", "[loops]", "[dispersion]\nmas_share = 0.05\n[loops]"),
        ("dispersion of another shape", "[loops]", "[dispersion]\nshape = \"gaussian\"\n[loops]"),
        ("dispersion backwards", "[loops]", "[dispersion]\ndelay_s = -0.002\n[loops]"),
        ("key of no kind", "arm_m = 0.25", "arm_m = 0.25\ncolour = \"red\""),
        ("table as a list", "[body]", "[[body]]"),
        ("table as a number", "[loops]\nrate_hz = 1000.0", "[limits]\n[gains]\nrate = 3"),
        ("layout and a rotor", "[loops]", "[[rotor]]\nposition_m = [0.1, 0.1, 0.0]\nspin = \"cw\"\n[loops]"),
    ];
    insta::assert_snapshot!("layout", messages(RING, cases, |text| parse_craft("ring.toml", text)));
}

#[test]
fn says_what_is_wrong_when_a_craft_with_a_list_of_rotors_is() {
    let cases: &[Case] = &[
        ("one rotor in single brackets", "[[rotor]]\nname = \"only the first\"", "[rotor]"),
        ("no place", "position_m = [0.2, 0.2, 0.0]\n", ""),
        ("no spin", "spin = \"ccw\"  # first\n", ""),
        ("axis of length zero", "axis = [0.0, 0.1, -1.0]", "axis = [0.0, 0.0, 0.0]"),
        ("twin", "position_m = [0.2, -0.2, 0.0]", "position_m = [-0.2, 0.2, 0.0]"),
        ("own thrust below the shared floor", "thrust_max_n = 9.0", "thrust_max_n = 0.2"),
        ("own floor above own ceiling", "thrust_max_n = 9.0", "thrust_max_n = 9.0\nthrust_min_n = 9.0"),
        ("own torque negative", "thrust_max_n = 9.0", "torque_per_thrust_m = -0.02"),
        (
            "shared curve ends elsewhere",
            "[rotors]",
            "[rotors]\nthrust_curve = { command = [0.2, 1.0], thrust_n = [1.0, 7.0] }",
        ),
        ("no response time anywhere", "response_time_s = 0.035\n", ""),
        ("misspelt key of [rotors]", "thrust_max_n = 9.0", "max_thrust_n = 9.0"),
    ];
    insta::assert_snapshot!("list", messages(LIST, cases, |text| parse_craft("list.toml", text)));
}

#[test]
fn says_what_is_wrong_when_a_list_of_rotors_is_too_long() {
    let rotor = |i: usize| format!("[[rotor]]\nposition_m = [{}.0, 0.0, 0.0]\nspin = \"cw\"\n", i);
    let many = format!("{LIST}\n{}", (2..15).map(rotor).collect::<String>());
    insta::assert_snapshot!("too_many", parse_craft("list.toml", &many).unwrap_err());
    let unknown = LIST.replace("rotor]]", "motor]]");
    insta::assert_snapshot!("motor", parse_craft("list.toml", &unknown).unwrap_err());
}

#[test]
fn says_what_is_wrong_when_a_flight_is() {
    let cases: &[Case] = &[
        ("no duration", "duration_s = 20.0\n", ""),
        ("a day long", "duration_s = 20.0", "duration_s = 86400"),
        ("log slower than the flight", "log_period_s = 0.02", "log_period_s = 30.0"),
        ("log too fast", "log_period_s = 0.02", "log_period_s = 1e-6"),
        (
            "log that fills the disk",
            "duration_s = 20.0\nlog_period_s = 0.02",
            "duration_s = 3600\nlog_period_s = 0.001",
        ),
        ("seed negative", "seed = 3", "seed = -3"),
        ("seed too large", "seed = 3", "seed = 9223372036854775808"),
        ("control neither on nor off", "seed = 3", "control = \"none\""),
        ("control as a flag", "seed = 3", "control = false"),
        ("start below the ground", "[0.0, 0.0, -10.0]", "[0.0, 0.0, 10.0]"),
        ("no air would be fine, less is not", "air_density_kg_m3 = 1.2", "air_density_kg_m3 = -1.2"),
        ("key of a craft", "[world]", "[world]\nmass_kg = 1.6"),
        (
            "no legs",
            "[[leg]]\nname = \"hold\"\nuntil_s = 12.0\nheight_m = 10.0\n\n[[leg]]\nname = \"circle\"\nuntil_s = 20.0\nheight_m = 10.0\ncircle = { radius_m = 8.0, speed_m_s = 3.0 }\n",
            "",
        ),
        ("leg without a height", "until_s = 12.0\nheight_m = 10.0", "until_s = 12.0"),
        ("leg with two heights", "until_s = 12.0\nheight_m = 10.0", "until_s = 12.0\nheight_m = 10.0\nthrust_n = 3.0"),
        ("leg with two tilts", "circle = {", "pitch_deg = 3.0\ncircle = {"),
        ("leg with two ways", "circle = {", "velocity_m_s = [1.0, 0.0]\ncircle = {"),
        ("leg without an end", "until_s = 12.0\n", ""),
        ("leg that ends before it starts", "until_s = 20.0", "until_s = 8.0"),
        ("leg after the end", "until_s = 12.0", "until_s = 30.0"),
        ("circle of radius zero", "radius_m = 8.0", "radius_m = 0"),
        ("circle without speed", ", speed_m_s = 3.0", ""),
        ("velocity with three parts", "circle = { radius_m = 8.0, speed_m_s = 3.0 }", "velocity_m_s = [1.0, 0.0, 0.0]"),
        ("leg in single brackets", "[[fault]]", "[fault]"),
        ("rotor the craft has not", "rotor_stopped = 3", "rotor_stopped = 5"),
        ("rotor zero", "rotor_stopped = 3", "rotor_stopped = 0"),
        ("fault after the end", "at_s = 15.0", "at_s = 25.0"),
        ("fault of no kind", "rotor_stopped = 3\n", ""),
        ("two faults in one", "rotor_stopped = 3", "rotor_stopped = 3\nlink_lost = true"),
        ("end of what stays broken", "rotor_stopped = 3", "rotor_stopped = 3\nuntil_s = 20.0"),
        ("fault that ends before it begins", "rotor_stopped = 3", "link_lost = true\nuntil_s = 1.0"),
        ("sensor of no kind", "rotor_stopped = 3", "sensor = { name = \"compass\", fails = \"frozen\" }"),
        ("weakened rotor the craft has not", "rotor_stopped = 3", "rotor_weakened = { rotor = 9, thrust_share = 0.5 }"),
        ("expect in single brackets", "[[expect]]\nname = \"height kept\"\n", "[expect]\n"),
        ("expect nothing", "equals = 10.0\nwithin = 0.5\n", ""),
        ("expect of no quantity", "quantity = \"height_m\"\n", ""),
        ("quantity misspelt", "\"height_m\"", "\"heigth_m\""),
        ("quantity without its unit", "\"height_m\"", "\"height\""),
        ("quantity of no kind", "\"height_m\"", "\"colour\""),
        ("quantity of a rotor the craft has not", "\"height_m\"", "\"rotor_5_n\""),
        ("taken in other words", "\"mean\"", "\"average\""),
        ("taken misspelt", "\"mean\"", "\"standard deviaton\""),
        ("leg there is not", "leg = \"hold\"", "leg = \"holt\""),
        ("leg of two", "name = \"circle\"", "name = \"hold\""),
        ("leg and a window", "leg = \"hold\"", "leg = \"hold\"\nuntil_s = 3.0"),
        ("window after the end", "until_s = 3.0", "until_s = 23.0"),
        ("window that starts after the end", "from_s = 2.0\nuntil_s = 3.0", "from_s = 20.5"),
        ("window turned round", "from_s = 2.0", "from_s = 4.0"),
        ("window between two rows", "from_s = 2.0\nuntil_s = 3.0", "from_s = 2.001\nuntil_s = 2.019"),
        (
            "spread of one row",
            "from_s = 2.0\nuntil_s = 3.0",
            "from_s = 2.0\nuntil_s = 2.01\ntaken = \"standard deviation\"",
        ),
        ("equals without within", "within = 0.5\n", ""),
        ("within without equals", "equals = 10.0\n", ""),
        ("within of zero", "within = 0.5", "within = 0.0"),
        ("equals beside a bound", "within = 0.5", "within = 0.5\nat_most = 12.0"),
        ("bounds turned round", "equals = 10.0\nwithin = 0.5", "at_least = 11.0\nat_most = 9.0"),
        ("bound that is no number", "equals = 10.0\nwithin = 0.5", "at_most = nan"),
        ("heading between bounds", "equals = 0.0\nwithin = 5.0", "at_least = -5.0"),
        ("point beside a height", "within = 0.5", "within = 0.5\nfrom_point_m = [0.0, 0.0, 0.0]"),
    ];
    let craft = ring();
    insta::assert_snapshot!("flight", messages(FLIGHT, cases, |text| parse_flight("flight.toml", text, &craft)));
}

#[test]
fn refuses_expectations_when_they_look_at_more_samples_than_can_be_judged() {
    let flight = |count: usize| {
        let head = "format = 1\nname = \"much\"\nduration_s = 1000.0\nlog_period_s = 0.001\ncontrol = \"off\"\n";
        let one = "[[expect]]\nquantity = \"height_m\"\nat_least = 0.0\nuntil_s = 999.999\n";
        parse_flight("much.toml", &(head.to_owned() + &one.repeat(count)), &ring())
    };
    assert!(flight((MAX_SAMPLES / 1e6) as usize).is_ok());
    let message = flight((MAX_SAMPLES / 1e6) as usize + 1).unwrap_err().to_string();
    assert!(message.contains("expect[51]: must leave") && message.contains("lengthen log_period_s"), "{message}");
}

#[test]
fn points_into_the_line_when_it_is_long_or_not_latin() {
    let long = RING.replace("name = \"ring\"", &format!("{}name = 5 # {}", " ".repeat(300), "x".repeat(300)));
    insta::assert_snapshot!("long_line", parse_craft("ring.toml", &long).unwrap_err());
    let greek = RING.replace("mass_kg = 1.6", "\"μάζα\" = { kg = 1.6 }\r\n");
    insta::assert_snapshot!("not_latin", parse_craft("ring.toml", &greek).unwrap_err());
}
