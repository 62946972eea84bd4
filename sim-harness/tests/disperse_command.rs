//! `[[expect]]` under `fly`, and `disperse`, as a user and a script meet them.

#[allow(dead_code, reason = "shared with other tests")]
mod command_line;

use std::fs;

use command_line::{Bench, HEADER_FLIGHT};
use serde_json::Value;

const UP: &str = "format = 1\nname = \"up\"\nduration_s = 6.0\n\
[[leg]]\nname = \"rise\"\nuntil_s = 5.0\nheight_m = 3.0\n[[leg]]\nname = \"stay\"\nheight_m = 3.0\n";

fn bench(expect: &str) -> Bench {
    let bench = Bench::new();
    fs::write(bench.path("up.toml"), format!("{UP}{expect}")).expect("a file");
    bench
}

const REACHED: &str = "[[expect]]\nname = \"height reached\"\nquantity = \"height_m\"\ntaken = \"mean\"\nleg = \"stay\"\n\
equals = 3.0\nwithin = 0.1\nsource = \"the height asked for\"\n";
const TOO_HIGH: &str = "[[expect]]\nquantity = \"height_m\"\ntaken = \"largest\"\nat_least = 30.0\n";

#[test]
fn exits_by_its_expectations_when_a_flight_has_them() {
    for (expect, status, word) in
        [(REACHED, 0, "held        height reached: "), (TOO_HIGH, 1, "FELL SHORT  height_m, largest: ")]
    {
        let bench = bench(expect);
        let answer = bench.run(&["fly", "quad.toml", "up.toml"]);
        assert_eq!(answer.status, status, "{answer:?}");
        assert!(answer.out.contains(word), "{answer:?}");
        let answer = bench.run(&["fly", "quad.toml", "up.toml", "--json"]);
        assert_eq!(answer.status, status, "{answer:?}");
        let object = answer.object();
        let [one] = object["expectations"].as_array().expect("a list").as_slice() else { panic!("one: {object}") };
        assert_eq!(one["held"], status == 0);
        assert_eq!((&one["quantity"], &one["unit"]), (&Value::from("height_m"), &Value::from("m")));
    }
    let both = bench(&format!("{REACHED}{TOO_HIGH}"));
    let answer = both.run(&["fly", "quad.toml", "up.toml"]);
    assert_eq!(answer.status, 1, "one is enough: {answer:?}");
    assert!(answer.out.contains("(the height asked for)"), "{answer:?}");
    let none = bench("").run(&["fly", "quad.toml", "up.toml", "--json"]);
    assert_eq!((none.status, &none.object()["expectations"]), (0, &Value::from(Vec::<Value>::new())));
}

#[test]
fn answers_in_the_promised_shape_when_varied_crafts_are_flown() {
    let bench = bench(REACHED);
    let answer = bench.run(&["disperse", "quad.toml", "up.toml", "--flights", "12", "--seed", "7", "--json"]);
    assert_eq!((answer.status, answer.err.as_str()), (0, ""), "{answer:?}");
    let object = answer.object();
    assert_eq!((&object["flights"], &object["passed"]), (&Value::from(12), &Value::from(12)));
    assert_eq!(object["pass_rate"], 1.0);
    let interval = object["interval95"].as_array().expect("two ends");
    assert!(interval[0].as_f64().is_some_and(|low| low > 0.7 && low < 0.8) && interval[1] == 1.0, "{interval:?}");
    for worst in object["worst"].as_array().expect("a list") {
        assert!(worst["index"].is_u64() && worst["reason"].is_string() && worst["held"] == true, "{worst}");
    }
    let text = bench.run(&["disperse", "quad.toml", "--flights", "3"]);
    assert!(text.err.contains("flight-seconds a second and thread"), "how fast, and not in the answer: {text:?}");
    assert_eq!(text.status, 0, "{text:?}");
    assert!(text.out.contains("passed   3 of 3") && text.out.contains("mass_share 0.05"), "{text:?}");
}

#[test]
fn exits_by_the_share_that_is_required_when_some_crafts_fall_short() {
    let bench = bench(TOO_HIGH);
    let run = |more: &[&str]| bench.run(&[&["disperse", "quad.toml", "up.toml", "--flights", "4"][..], more].concat());
    let answer = run(&[]);
    assert_eq!(answer.status, 1, "{answer:?}");
    assert!(
        answer.out.contains("passed   0 of 4") && answer.out.contains("FELL SHORT  height_m, largest"),
        "{answer:?}"
    );
    assert_eq!(run(&["--require", "0"]).status, 0);
    assert_eq!(run(&["--require", "0.1"]).status, 1);
}

#[test]
fn merges_to_the_whole_when_shards_are_flown_apart() {
    let bench = bench(REACHED);
    let fly = |more: &[&str]| {
        let answer = bench.run(&[&["disperse", "quad.toml", "up.toml", "--flights", "9", "--json"][..], more].concat());
        assert_eq!(answer.status, 0, "{answer:?}");
        answer.out
    };
    for (name, shard) in [("b.json", "2/3"), ("c.json", "3/3"), ("a.json", "1/3")] {
        fs::write(bench.path(name), fly(&["--shard", shard])).expect("a file");
    }
    let merged = bench.run(&["disperse", "--merge", "c.json", "a.json", "b.json", "--json"]);
    assert_eq!((merged.status, merged.out.as_str()), (0, fly(&[]).as_str()), "{}", merged.err);
    let text = bench.run(&["disperse", "--merge", "a.json", "b.json"]);
    assert!(text.out.contains("(shard 1, 2 of 3)") && text.out.contains("passed   6 of 6"), "{text:?}");
}

#[test]
fn flies_the_same_flight_again_when_asked_for_its_index() {
    let bench = bench(REACHED);
    let base = ["disperse", "quad.toml", "up.toml", "--seed", "3"];
    let worst = bench.run(&[&base[..], &["--flights", "8", "--json"]].concat()).object()["worst"][0].clone();
    let index = worst["index"].to_string();
    let logs = ["one.csv", "two.csv"].map(|log| {
        let answer = bench.run(&[&base[..], &["--only", &index, "--log", log, "--json"]].concat());
        assert_eq!(answer.status, 0, "{answer:?}");
        let object = answer.object();
        assert_eq!(object["index"].to_string(), index);
        assert_eq!(object["drawn"]["thrust_share"].as_array().map(Vec::len), Some(4), "{object}");
        let reason = worst["reason"].as_str().expect("a reason");
        let (name, _) = reason.split_once(": ").expect("a name");
        assert!(object["checks"].as_array().expect("checks").iter().any(|check| check["name"] == name), "{object}");
        fs::read(bench.path(log)).expect("a log")
    });
    assert_eq!(logs[0], logs[1]);
    assert!(logs[0].starts_with(HEADER_FLIGHT.as_bytes()));
    let text = bench.run(&[&base[..], &["--only", &index]].concat());
    assert!(text.out.contains("lag_share") && text.out.contains(worst["reason"].as_str().expect("text")), "{text:?}");
}

#[test]
fn exits_1_with_the_reason_when_the_craft_of_the_file_cannot_fly() {
    let answer = Bench::new().run(&["disperse", "heavy.toml", "--json"]);
    assert_eq!(answer.status, 1, "{answer:?}");
    assert!(answer.object()["reason"].as_str().is_some_and(|reason| reason.contains("weigh")), "{answer:?}");
}

#[test]
fn drives_no_terminal_when_an_answer_to_merge_holds_control_characters() {
    let bench = bench(REACHED);
    let whole = bench.run(&["disperse", "quad.toml", "--flights", "2", "--json"]).out;
    let edited = whole.replacen("\"reason\": \"", "\"reason\": \"\\u001b[31m", 3);
    assert_ne!(edited, whole);
    fs::write(bench.path("edited.json"), edited).expect("a file");
    let answer = bench.run(&["disperse", "--merge", "edited.json"]);
    assert_eq!(answer.status, 0, "{answer:?}");
    assert!(!answer.out.contains('\u{1b}') && answer.out.contains("[31m"), "{answer:?}");
}

#[test]
fn exits_2_with_one_message_when_what_was_typed_is_wrong() {
    let bench = bench(REACHED);
    let free = "format = 1\nname = \"free\"\nduration_s = 1.0\ncontrol = \"off\"\n";
    fs::write(bench.path("free.toml"), free).expect("a file");
    let whole = bench.run(&["disperse", "quad.toml", "--flights", "2", "--json"]).out;
    fs::write(bench.path("whole.json"), &whole).expect("a file");
    fs::write(bench.path("more.json"), whole.replace("\"passed\": 2", "\"passed\": 3")).expect("a file");
    fs::write(bench.path("seed.json"), whole.replace("\"seed\": 1", "\"seed\": 2")).expect("a file");
    // A device that has no length, and no end.
    #[cfg(unix)]
    assert!(bench.run(&["disperse", "--merge", "/dev/zero"]).err.contains("at most 1048576 bytes"));
    let cases: &[(&[&str], &str)] = &[
        (&["disperse"], "<CRAFT>"),
        (&["disperse", "missing.toml"], "missing.toml"),
        (&["disperse", "wrong.toml"], "wrong.toml:4:11"),
        (&["disperse", "quad.toml", "missing.toml"], "missing.toml"),
        (&["disperse", "quad.toml", "free.toml"], "[[expect]]"),
        (&["disperse", "quad.toml", "--flights", "0"], "--flights"),
        (&["disperse", "quad.toml", "--flights", "-3"], "-3"),
        (&["disperse", "quad.toml", "--flights", "many"], "many"),
        (&["disperse", "quad.toml", "--seed", "-1"], "-1"),
        (&["disperse", "quad.toml", "--shard", "0/3"], "--shard 2/4"),
        (&["disperse", "quad.toml", "--shard", "4/3"], "--shard 2/4"),
        (&["disperse", "quad.toml", "--shard", "half"], "--shard 2/4"),
        (&["disperse", "quad.toml", "--flights", "2", "--shard", "1/3"], "--shard 1/3"),
        (&["disperse", "quad.toml", "--only", "0"], "--only"),
        (&["disperse", "quad.toml", "--only", "3", "--shard", "1/2"], "--shard"),
        (&["disperse", "quad.toml", "--log", "log.csv"], "--only"),
        (&["disperse", "quad.toml", "--only", "1", "--log", "quad.toml"], "quad.toml"),
        (&["disperse", "quad.toml", "--require", "1.5"], "--require"),
        (&["disperse", "quad.toml", "--require", "nan"], "--require"),
        (&["disperse", "--merge", "missing.json"], "missing.json"),
        (&["disperse", "--merge", "quad.toml"], "quad.toml:1:"),
        (&["disperse", "--merge", "more.json"], "more.json"),
        (&["disperse", "--merge", "whole.json", "whole.json"], "whole.json"),
        (&["disperse", "--merge", "whole.json", "seed.json"], "seed.json"),
        (&["disperse", "quad.toml", "--merge", "whole.json"], "--merge"),
    ];
    for (typed, names) in cases {
        bench.refuses(typed, names);
    }
}
