//! The command as a user and a script meet it: exit status, the two streams, files, number formats.

mod command_line;

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use command_line::{Answer, Bench, HEADER_FLIGHT, HEADER_MIX, QUAD, run_in};
use serde_json::Value;

#[test]
fn exits_0_with_a_report_when_the_built_in_craft_is_checked() {
    let bench = Bench::new();
    let answer = bench.run(&[]);
    assert_eq!(answer.status, 0, "{answer:?}");
    assert!(answer.out.contains("FIT for a first flight") && answer.out.contains("no clearance to fly"), "{answer:?}");
    assert_eq!(answer.complaints(), "", "no bar without a terminal");
    let report = bench.path("evenkeel-report");
    let page = fs::read_to_string(report.join("report.html")).expect("report.html");
    assert!(page.trim_end().ends_with("</html>"), "the page is whole");
    let verdict: Value = serde_json::from_str(&fs::read_to_string(report.join("verdict.json")).expect("verdict.json"))
        .expect("verdict.json is JSON");
    assert_eq!(verdict["fit"], true);
    let flights = verdict["flights"].as_array().expect("flights");
    assert!(flights.len() >= 9, "{flights:?}");
    for flight in flights {
        let id = flight["id"].as_str().expect("id");
        let log = fs::read_to_string(report.join("flights").join(id).with_extension("csv")).expect("a log a flight");
        assert_eq!(log.lines().next(), Some(HEADER_FLIGHT), "{id}");
        assert!(log.lines().count() > 100 && log.ends_with('\n'), "{id}");
    }
}

/// Each: what is wrong, the craft file, and a word its reason must hold.
const UNFLYABLE: [(&str, &str, &str); 4] = [
    ("same spin", "same_spin", "yaw"),
    ("two rotors", "two", "pitch"),
    ("mass off the rotors", "off", "centre of mass"),
    ("too heavy", "heavy", "weigh"),
];

#[test]
fn exits_1_with_the_reason_when_the_craft_cannot_be_flown() {
    let bench = Bench::new();
    for (what, craft, reason) in UNFLYABLE {
        let craft = format!("{craft}.toml");
        let says = |answer: &Answer, text: &str| {
            assert_eq!(answer.status, 1, "{what}: {answer:?}");
            // Lines are filled to a width: a reason may break anywhere.
            let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
            assert!(words.contains(reason), "{what}: {text}");
        };
        let answer = bench.run(&["preflight", &craft]);
        says(&answer, &answer.out);
        assert!(answer.out.contains("NOT FIT"), "{what}: {answer:?}");

        let answer = bench.run(&["preflight", &craft, "--json"]);
        let object = answer.object();
        assert_eq!(object["fit"], false, "{what}");
        assert!(object["checks"].as_array().is_some_and(|checks| checks.iter().any(|check| check["held"] == false)));
        says(&answer, &object.to_string());

        let answer = bench.run(&["fly", &craft, "flight.toml"]);
        says(&answer, &answer.err);
        let answer = bench.run(&["fly", &craft, "flight.toml", "--json"]);
        says(&answer, &answer.object()["reason"].to_string());

        // A craft too heavy to hover still has rotors that can be allocated.
        let answer = bench.run(&["mix", &craft, "--thrust-n", "5"]);
        if craft == "heavy.toml" {
            assert_eq!(answer.status, 0, "{answer:?}");
        } else {
            says(&answer, &answer.err);
            let answer = bench.run(&["mix", &craft, "--thrust-n", "5", "--json"]);
            says(&answer, &answer.object()["reason"].to_string());
        }
    }
}

#[test]
fn exits_1_when_the_craft_flies_but_falls_short() {
    let bench = Bench::new();
    let answer = bench.run(&["preflight", "unfit.toml", "--json"]);
    assert_eq!(answer.status, 1, "{answer:?}");
    let object = answer.object();
    let failed: Vec<&Value> =
        object["checks"].as_array().expect("checks").iter().filter(|c| c["held"] == false).collect();
    assert!(failed.iter().any(|check| check["id"] == "bench.thrust_to_weight"), "{failed:?}");
}

#[test]
fn exits_2_with_one_message_when_the_input_is_wrong() {
    let bench = Bench::new();
    let cases: &[(&[&str], &str)] = &[
        (&["preflight", "missing.toml"], "missing.toml"),
        (&["fly", "quad.toml", "missing.toml"], "missing.toml"),
        (&["mix", "missing.toml", "--thrust-n", "5"], "missing.toml"),
        (&["preflight", "wrong.toml"], "wrong.toml:4:11: body.mass_kg"),
        (&["fly", "wrong.toml", "flight.toml"], "wrong.toml:4:11"),
        (&["mix", "wrong.toml", "--thrust-n", "5"], "wrong.toml:4:11"),
        (&["fly", "quad.toml", "quad.toml"], "quad.toml:"),
        (&["preflight", "flight.toml"], "flight.toml:"),
        (&["mix", "quad.toml"], "--thrust-n"),
        (&["mix", "quad.toml", "--thrust-n", "-1"], "--thrust-n"),
        (&["mix", "quad.toml", "--thrust-n", "nan"], "--thrust-n"),
        (&["mix", "quad.toml", "--thrust-n", "5", "--yaw-nm", "inf"], "--yaw-nm"),
        (&["mix", "quad.toml", "--thrust-n", "much"], "much"),
        (&["mix", "quad.toml", "--thrust-n", "5", "--csv", "--json"], "--json"),
        (&["mix", "quad.toml", "--demands", "wrong.csv"], "wrong.csv:3:5: pitch_nm"),
        (&["mix", "quad.toml", "--demands", "quad.toml"], "quad.toml:"),
        (&["fly", "quad.toml"], "FLIGHT"),
        (&["--bogus"], "--bogus"),
        (&["flyy", "quad.toml"], "flyy"),
        (&["flyy"], "did you mean fly?"),
        (&["preflght"], "did you mean preflight?"),
        (&["mix", "quad.toml", "--thrust-n", "5", "--failed", "-1"], "'-1' for '--failed"),
        (&["disperse", "quad.toml", "--seed", "-1"], "a whole number from 0 to"),
        (&["disperse", "quad.toml", "--flights", "-5"], "a whole number from 1 to"),
        (&["disperse", "quad.toml", "--shard", "-1/3"], "i from 1 to n"),
        (&["preflight", "--bogus"], "--bogus"),
        (&["fly", "quad.toml", "flight.toml", "--log", "folder"], "folder"),
        (&["fly", "quad.toml", "flight.toml", "--log", "nowhere/log.csv"], "nowhere/log.csv"),
        (&["preflight", "two.toml", "--out", "quad.toml"], "quad.toml"),
        (&["preflight", "two.toml", "--out", "quad.toml/below"], "quad.toml/below"),
        (&["preflight", "two.toml", "--out", "/proc/none"], "/proc/none"),
        (&["preflight", "quad.toml", "--out", "flight.toml"], "flight.toml"),
    ];
    for (typed, names) in cases {
        bench.refuses(typed, names);
    }
}

#[test]
fn answers_mix_in_the_promised_shape_when_asked_for_json() {
    let bench = Bench::new();
    let demand = ["mix", "quad.toml", "--thrust-n", "15.7", "--roll-nm", "0.1", "--pitch-nm", "-0.2", "--yaw-nm", "9"];
    let answer = bench.run(&[&demand[..], &["--json"]].concat());
    assert_eq!(answer.status, 0, "a demand that saturates is no failure: {answer:?}");
    let object = answer.object();
    let axes = ["thrust_n", "roll_nm", "pitch_nm", "yaw_nm"];
    assert_eq!(axes.map(|axis| object["demand"][axis].as_f64()), [15.7, 0.1, -0.2, 9.0].map(Some));
    assert!(axes.iter().all(|axis| object["achieved"][axis].is_f64()), "{object}");
    assert_eq!(object["saturated"], true);
    let rotors = object["rotors"].as_array().expect("rotors");
    assert_eq!(rotors.len(), 4);
    for rotor in rotors {
        assert!(rotor["name"].is_string() && rotor["thrust_n"].is_f64(), "{rotor}");
        assert!(rotor["command"].as_f64().is_some_and(|command| (0.0..=1.0).contains(&command)), "{rotor}");
        assert!(["none", "floor", "ceiling"].iter().any(|limit| rotor["limit"] == *limit), "{rotor}");
    }
    assert!(rotors.iter().any(|rotor| rotor["limit"] != "none"), "something holds yaw back: {object}");
    let eased = bench.run(&["mix", "quad.toml", "--thrust-n", "15.7", "--json"]).object();
    assert_eq!(eased["saturated"], false);
}

/// A rotor of `--failed` stands still: it is at no limit of its own.
#[test]
fn says_stopped_of_the_rotors_that_were_taken_out_and_of_no_other() {
    let bench = Bench::new();
    let typed = ["mix", "quad.toml", "--thrust-n", "9", "--failed", "2"];
    for scalar in ["f32", "f64", "fixed"] {
        let typed = [&typed[..], &["--scalar", scalar]].concat();
        let object = bench.run(&[&typed[..], &["--json"]].concat()).object();
        let limits: Vec<&Value> =
            object["rotors"].as_array().expect("rotors").iter().map(|rotor| &rotor["limit"]).collect();
        let stopped: Vec<usize> = (1..=limits.len()).filter(|place| *limits[place - 1] == "stopped").collect();
        assert_eq!(stopped, [2], "{object}");
        let text = bench.run(&typed).out;
        assert_eq!(text.matches("stopped").count(), 1, "{text}");
        assert!(text.lines().any(|line| line.ends_with("0.000 N  command 0.0000  stopped")), "{text}");
    }
}

/// The same demands, asked one by one as JSON and together as CSV, are the same numbers.
#[test]
fn gives_equal_numbers_in_csv_and_json_when_read_back() {
    let bench = Bench::new();
    for scalar in ["f32", "f64"] {
        let answer = bench.run(&["mix", "quad.toml", "--demands", "demands.csv", "--csv", "--scalar", scalar]);
        assert_eq!(answer.status, 0, "{answer:?}");
        let mut lines = answer.out.lines();
        assert_eq!(lines.next(), Some(HEADER_MIX));
        let rows: Vec<Vec<f64>> = lines.map(numbers).collect();
        let demands: Vec<Vec<f64>> = command_line::DEMANDS.lines().skip(1).map(numbers).collect();
        assert_eq!(rows.len(), demands.len());
        for (row, demand) in rows.iter().zip(&demands) {
            assert_eq!(&row[..4], &demand[..], "the demand comes back as it was");
            let [thrust, roll, pitch, yaw] = [0, 1, 2, 3].map(|axis| demand[axis].to_string());
            let names = ["--thrust-n", &thrust, "--roll-nm", &roll, "--pitch-nm", &pitch, "--yaw-nm", &yaw];
            let typed = [&["mix", "quad.toml", "--json", "--scalar", scalar], &names[..]].concat();
            assert_eq!(&flat(&bench.run(&typed).object())[..], &row[..], "{scalar}: {demand:?}");
        }
    }
}

fn numbers(line: &str) -> Vec<f64> {
    line.split(',').map(|field| field.parse().unwrap_or_else(|error| panic!("{field}: {error}"))).collect()
}

/// The numbers of one allocation in the order of the CSV.
fn flat(object: &Value) -> Vec<f64> {
    let axes = ["thrust_n", "roll_nm", "pitch_nm", "yaw_nm"];
    let wrenches = ["demand", "achieved"].into_iter().flat_map(|part| axes.map(|axis| object[part][axis].as_f64()));
    let rotors = object["rotors"].as_array().expect("rotors");
    let of = |key: &'static str| rotors.iter().map(move |rotor| rotor[key].as_f64());
    wrenches.chain(of("thrust_n")).chain(of("command")).map(|value| value.expect("a number")).collect()
}

#[test]
fn answers_preflight_in_the_promised_shape_when_asked_for_json() {
    let bench = Bench::new();
    let answer = bench.run(&["preflight", "quad.toml", "--json", "--out", "r"]);
    assert_eq!((answer.status, answer.complaints().as_str()), (0, ""));
    let object = answer.object();
    let checks = object["checks"].as_array().expect("checks");
    for check in checks {
        assert!(["id", "title", "unit", "source"].iter().all(|key| check[key].is_string()), "{check}");
        assert!(check["held"].is_boolean() && check["value"].is_number() && check["limit"].is_object(), "{check}");
    }
    let held = checks.iter().all(|check| check["held"] == true);
    assert_eq!(object["fit"], held, "the verdict is that of the checks");
    let written: Value =
        serde_json::from_str(&fs::read_to_string(bench.path("r/verdict.json")).expect("verdict.json")).expect("JSON");
    assert_eq!(written, object, "the file holds what is printed");
}

#[test]
fn logs_whole_rows_that_read_back_when_a_flight_is_flown() {
    let bench = Bench::new();
    let answer = bench.run(&["fly", "quad.toml", "flight.toml", "--log", "log.csv", "--json"]);
    assert_eq!((answer.status, answer.err.as_str()), (0, ""), "{answer:?}");
    let log = fs::read_to_string(bench.path("log.csv")).expect("log.csv");
    let mut lines = log.lines();
    assert_eq!(lines.next(), Some(HEADER_FLIGHT));
    let rows: Vec<Vec<f64>> = lines.map(numbers).collect();
    // 2 s at one row every 0.02 s, both ends included.
    assert_eq!(rows.len(), 101);
    for (index, row) in rows.iter().enumerate() {
        assert_eq!(row.len(), HEADER_FLIGHT.split(',').count());
        assert_eq!(row[0], index as f64 * 20.0 / 1000.0, "time of row {index}");
    }
    let end = &answer.object()["end"];
    let last = rows.last().expect("rows");
    for (key, from) in [("position_m", 1), ("velocity_m_s", 4), ("attitude", 7), ("rate_rad_s", 11)] {
        let values: Vec<f64> = end[key].as_array().expect(key).iter().filter_map(Value::as_f64).collect();
        assert_eq!(values, &last[from..from + values.len()], "{key}: JSON and CSV say the same");
    }
}

#[test]
fn writes_the_same_bytes_when_the_same_files_are_given_again() {
    let folders = [Bench::new(), Bench::new()];
    for (bench, threads) in folders.iter().zip(["", "1"]) {
        let set: &[(&str, &str)] = if threads.is_empty() { &[] } else { &[("RAYON_NUM_THREADS", threads)] };
        let flown = run_in(bench.folder(), &["fly", "quad.toml", "flight.toml", "--log", "log.csv"], set);
        let checked = run_in(bench.folder(), &["preflight", "six.toml", "--out", "report"], set);
        assert_eq!((flown.status, checked.status), (0, 0), "{flown:?} {checked:?}");
    }
    let [first, second] = folders.map(|bench| contents(bench.folder()));
    assert!(first.keys().any(|name| name.ends_with("report.html")) && first.len() > 15, "{:?}", first.keys());
    assert_eq!(first.keys().collect::<Vec<_>>(), second.keys().collect::<Vec<_>>());
    for (name, bytes) in &first {
        assert!(second[name] == *bytes, "{name} differs");
    }
}

/// Every file below a folder.
fn contents(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut found = BTreeMap::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(next) = folders.pop() {
        for entry in fs::read_dir(&next).expect("a folder") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let name = path.strip_prefix(folder).expect("below").display().to_string();
                found.insert(name, fs::read(&path).expect("a file"));
            }
        }
    }
    found
}

#[test]
fn leaves_whole_files_and_nothing_else_when_a_report_is_written_over_an_older_one() {
    let bench = Bench::new();
    assert_eq!(bench.run(&["preflight", "quad.toml", "--out", "report"]).status, 0);
    assert_eq!(bench.run(&["preflight", "two.toml", "--out", "report"]).status, 1);
    let names: Vec<String> = contents(&bench.path("report")).into_keys().collect();
    assert!(names.iter().all(|name| !name.ends_with(".part")), "{names:?}");
    assert!(!names.iter().any(|name| name.ends_with(".csv")), "no flight of the other craft is left: {names:?}");
}

#[test]
fn prints_no_colour_codes_when_the_output_is_a_pipe() {
    let bench = Bench::new();
    for set in [&[][..], &[("NO_COLOR", "1")], &[("TERM", "xterm-256color"), ("COLORTERM", "truecolor")]] {
        for typed in
            [&["preflight", "two.toml"][..], &["mix", "quad.toml", "--thrust-n", "5"], &["--help"], &["--bogus"]]
        {
            let answer = run_in(bench.folder(), typed, set);
            assert!(!answer.out.contains('\u{1b}') && !answer.err.contains('\u{1b}'), "{typed:?} {set:?}: {answer:?}");
        }
    }
}

#[test]
fn explains_itself_in_plain_lines_when_asked_for_help() {
    let bench = Bench::new();
    let commands: [&[&str]; 5] = [&[], &["preflight"], &["mix"], &["fly"], &["envelope"]];
    for set in [&[][..], &[("TERM", "dumb"), ("COLUMNS", "40")], &[("TERM", "no-such-terminal"), ("LANG", "C")]] {
        for command in commands {
            let answer = run_in(bench.folder(), &[command, &["--help"]].concat(), set);
            assert_eq!((answer.status, answer.err.as_str()), (0, ""), "{command:?}");
            assert!(answer.out.contains("Usage: evenkeel") && answer.out.contains("--help"), "{command:?}: {answer:?}");
            assert!(answer.out.chars().all(|c| c == '\n' || !c.is_control()), "{command:?}: {answer:?}");
            // Every option says what it is for, beside its name or below it.
            let lines: Vec<&str> = answer.out.lines().map(str::trim_start).collect();
            for pair in lines.windows(2).filter(|pair| pair[0].starts_with('-')) {
                let words = pair[0].split_whitespace().filter(|word| !word.starts_with(['-', '<'])).count();
                assert!(words >= 2 || !(pair[1].is_empty() || pair[1].starts_with('-')), "{command:?}: {pair:?}");
            }
        }
    }
    let top = bench.run(&["--help"]).out;
    assert!(top.contains("Exit status: 0") && top.contains("clearance to fly"), "{top}");
    assert!(["preflight", "mix", "fly", "envelope"].iter().all(|name| top.contains(name)), "{top}");
    assert!(bench.run(&["--version"]).out.starts_with("evenkeel 0."));
}

#[test]
fn ends_quietly_when_the_reader_has_gone() {
    let bench = Bench::new();
    for typed in [
        &["preflight", "two.toml"][..],
        &["preflight", "two.toml", "--json"],
        &["mix", "quad.toml", "--demands", "demands.csv", "--csv"],
        &["fly", "quad.toml", "flight.toml"],
        &["envelope", "quad.toml"],
        &["--help"],
    ] {
        let answer = bench.run_with_closed_output(typed);
        assert!(answer.status >= 0 && answer.status <= 2, "{typed:?}: {answer:?}");
        assert_eq!(answer.err, "", "{typed:?}");
    }
}

#[test]
fn reads_a_file_as_the_craft_when_no_command_is_named() {
    let bench = Bench::new();
    let answer = bench.run(&["two.toml", "--json"]);
    assert_eq!((answer.status, answer.object()["craft"].as_str()), (1, Some("bench craft")));
    assert!(QUAD.contains("format = 1"));
}

/// Thrusts of the rotors of one allocation.
fn thrusts(object: &Value) -> Vec<f64> {
    let rotors = object["rotors"].as_array().expect("rotors");
    rotors.iter().map(|rotor| rotor["thrust_n"].as_f64().expect("a thrust")).collect()
}

#[test]
fn takes_rotors_out_when_mix_is_told_that_they_failed() {
    let bench = Bench::new();
    let craft = ["mix", "quad.toml", "--thrust-n", "15.7", "--json"];
    let with = |more: &[&str]| bench.run(&[&craft, more].concat());
    let answer = with(&["--failed", "3"]);
    assert_eq!(answer.status, 0, "{answer:?}");
    let object = answer.object();
    assert_eq!(thrusts(&object)[2], 0.0);
    assert_eq!(object["rotors"][2]["command"], 0.0);
    assert_eq!(object["saturated"], true, "three rotors hold no quad level");
    assert!(object["control_margin_nm"].as_f64().expect("a margin") < 0.0);
    let whole = with(&[]).object();
    assert_eq!(whole["saturated"], false);
    assert_eq!(whole["gave_way"].as_array().expect("a list").len(), 0);
    assert!(whole["control_margin_nm"].as_f64().expect("a margin") > 0.0);
    let all = with(&["--failed", "1,2,3,4"]);
    assert_eq!((all.status, thrusts(&all.object())), (0, vec![0.0; 4]));
    for bad in ["0", "5", "x", "1,,2", "1,1", "2,3,2"] {
        let answer = with(&["--failed", bad]);
        assert_eq!(answer.status, 2, "{bad}: {answer:?}");
        assert!(answer.err.contains("--failed") && answer.out.is_empty(), "{bad}: {answer:?}");
    }
}

#[test]
fn gives_the_same_thrusts_when_mix_reckons_in_another_arithmetic() {
    let bench = Bench::new();
    let by = |scalar: &str| {
        let demand = ["--thrust-n", "25", "--roll-nm", "2", "--yaw-nm", "-0.3", "--json", "--scalar", scalar];
        thrusts(&bench.run(&[&["mix", "quad.toml"], demand.as_slice()].concat()).object())
    };
    let double = by("f64");
    for scalar in ["f32", "fixed"] {
        for (ours, theirs) in by(scalar).iter().zip(&double) {
            assert!((ours - theirs).abs() < 1e-4, "{scalar}: {ours} {theirs}");
        }
    }
}

#[test]
fn exits_1_when_a_controlled_flight_hits_the_ground() {
    let bench = Bench::new();
    let flight = "format = 1\nname = \"drop\"\nduration_s = 5.0\n[initial]\nposition_m = [0.0, 0.0, -20.0]\n\
                  [[leg]]\nname = \"no thrust\"\nthrust_n = 0.0\n";
    fs::write(bench.path("drop.toml"), flight).expect("a file");
    let answer = bench.run(&["fly", "quad.toml", "drop.toml", "--json"]);
    assert_eq!(answer.status, 1, "{answer:?}");
    // Twenty metres under almost no thrust: √(2·g·h) less what floors and drag take.
    let impact = answer.object()["impact_m_s"].as_f64().expect("a speed");
    assert!(impact > 14.0 && impact < (2.0 * 9.80665 * 20.0_f64).sqrt(), "{impact}");
}

#[test]
fn refuses_a_log_that_would_overwrite_its_inputs() {
    let bench = Bench::new();
    let flight = "format = 1\nname = \"up\"\nduration_s = 1.0\n[[leg]]\nname = \"up\"\nheight_m = 2.0\n";
    fs::write(bench.path("short.toml"), flight).expect("a file");
    for (log, word) in [("quad.toml", "input"), ("short.toml", "input"), ("nowhere/log.csv", "folder")] {
        let answer = bench.run(&["fly", "quad.toml", "short.toml", "--log", log]);
        assert_eq!(answer.status, 2, "{log}: {answer:?}");
        assert!(answer.err.contains("--log") && answer.err.contains(word), "{log}: {answer:?}");
    }
    assert_eq!(fs::read_to_string(bench.path("quad.toml")).expect("the craft"), QUAD, "untouched");
}

#[test]
fn refuses_a_demand_that_single_precision_cannot_hold() {
    let answer = Bench::new().run(&["mix", "quad.toml", "--thrust-n", "10", "--roll-nm", "1e39"]);
    assert_eq!(answer.status, 2, "{answer:?}");
    assert!(answer.err.contains("--roll-nm"), "{answer:?}");
}

/// A craft with a thousand times the thrust it needs, and a leg that asks for it: it leaves all that is computed.
#[test]
fn names_what_ran_away_and_exits_3_when_the_computation_diverges() {
    let bench = Bench::new();
    let rocket = QUAD.replace("thrust_max_n = 8.0", "thrust_max_n = 10000.0").replace("drag_area_m2", "# drag_area_m2");
    fs::write(bench.path("rocket.toml"), &rocket).expect("a file");
    let flight = "format = 1\nname = \"up\"\nduration_s = 60.0\n[initial]\nposition_m = [0.0, 0.0, -10.0]\n\
                  [[leg]]\nthrust_n = 40000.0\n";
    fs::write(bench.path("up.toml"), flight).expect("a file");
    let answer = bench.run(&["fly", "rocket.toml", "up.toml", "--log", "up.csv"]);
    assert_eq!(answer.status, 3, "{answer:?}");
    let words = ["distance down", "-1.0", "e7 m", "diverged at", "thrust_n"];
    assert!(words.iter().all(|word| answer.err.contains(word)), "{}", answer.err);
    assert!(!bench.path("up.csv").exists() && answer.out.is_empty(), "no half of a log");
}
