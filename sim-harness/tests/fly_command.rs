//! `evenkeel fly` as a user meets it: what it says of faults, and what the log shows of them.

#[allow(dead_code, reason = "shared with other tests")]
mod command_line;

use std::fs;

use command_line::Bench;

/// A rotor stops, the link is lost for a while, and something else would happen after the end.
const FAULTS: &str = "format = 1
name = \"faults\"
duration_s = 2.0
[initial]
position_m = [0.0, 0.0, -40.0]
[[leg]]
height_m = 40.0
[[fault]]
at_s = 0.5
link_lost = true
until_s = 0.75
[[fault]]
at_s = 1.0
rotor_stopped = 3
";

#[test]
fn says_which_fault_struck_and_when() {
    let bench = Bench::new();
    fs::write(bench.path("faults.toml"), FAULTS).expect("a flight file");
    let answer = bench.run(&["fly", "quad.toml", "faults.toml"]);
    let told: Vec<&str> = answer.out.lines().filter(|line| line.contains("fault  ")).map(str::trim).collect();
    let lost = "fault         at 0.50 s: the link is lost, until 0.75 s";
    assert_eq!(told, [lost, "fault         at 1.00 s: rotor 3 stops"], "{answer:?}");
    let answer = bench.run(&["fly", "quad.toml", "flight.toml"]);
    assert!(!answer.out.contains("fault"), "nothing went wrong: {answer:?}");
}

#[test]
fn log_shows_which_rotors_are_out_from_the_report_on() {
    let bench = Bench::new();
    fs::write(bench.path("faults.toml"), FAULTS).expect("a flight file");
    // Out or not, it answers; a quad without a rotor may crash.
    bench.run(&["fly", "quad.toml", "faults.toml", "--log", "log.csv"]);
    let log = fs::read_to_string(bench.path("log.csv")).expect("a log");
    let mut reader = csv::Reader::from_reader(log.as_bytes());
    let place = reader.headers().expect("names").iter().position(|name| name == "rotors_out").expect("the column");
    let out: Vec<(f64, f64)> = reader
        .records()
        .map(|row| row.expect("a row"))
        .map(|row| (row[0].parse().expect("a time"), row[place].parse().expect("a number")))
        .collect();
    // The report takes 0.05 s and is believed 0.01 s later.
    let known_s = 1.0 + 0.07;
    assert!(out.iter().any(|(t_s, _)| *t_s > known_s) && out.len() > 50, "{}", out.len());
    for (t_s, rotors) in out {
        let allowed: &[f64] = if t_s <= 1.0 {
            &[0.0]
        } else if t_s >= known_s {
            &[4.0]
        } else {
            &[0.0, 4.0]
        };
        assert!(allowed.contains(&rotors), "{t_s} s: {rotors}");
    }
}

/// A hover that outlasts its battery, and the same on one that does not.
#[test]
fn says_when_the_battery_runs_flat_and_exits_with_one() {
    let bench = Bench::new();
    let quad = fs::read_to_string(bench.path("quad.toml")).expect("the demo");
    let flight = "format = 1\nname = \"long\"\nduration_s = 30.0\nlog_period_s = 0.1\n[initial]\nposition_m = [0.0, 0.0, -40.0]\n\
                  [[leg]]\nheight_m = 40.0\n";
    fs::write(bench.path("long.toml"), flight).expect("a flight file");
    for (capacity_ah, flat) in [(0.04, true), (4.0, false)] {
        let pack =
            format!("[battery]\ncapacity_ah = {capacity_ah}\nfull_v = 16.8\nempty_v = 13.2\nresistance_ohm = 0.02\n");
        fs::write(bench.path("fed.toml"), format!("{quad}\n{pack}")).expect("a craft file");
        let answer = bench.run(&["fly", "fed.toml", "long.toml"]);
        assert_eq!(answer.out.contains("battery       FLAT at "), flat, "{answer:?}");
        let json = bench.run(&["fly", "fed.toml", "long.toml", "--json"]);
        let told = json.object();
        assert_eq!(told["battery_flat"].is_object(), flat, "{json:?}");
        if flat {
            assert_eq!((answer.status, json.status), (1, 1), "{answer:?}");
            let at_s = told["battery_flat"]["t_s"].as_f64().expect("a time");
            // 0.04 Ah at some 9 A.
            assert!(at_s > 5.0 && at_s < 29.0, "{at_s} s");
            assert!((told["battery_flat"]["height_m"].as_f64().expect("a height") - 40.0).abs() < 2.0);
        } else {
            assert_eq!((answer.status, json.status), (0, 0), "{answer:?}");
        }
    }
}
