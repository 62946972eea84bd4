//! `evenkeel gains` as a user meets it: what it writes, what it keeps, what it refuses.

#[allow(dead_code, reason = "shared with other tests")]
mod command_line;

use std::fs;

use command_line::Bench;

/// Every comment of a file, in order.
fn comments(text: &str) -> Vec<&str> {
    text.lines().filter_map(|line| Some(line[line.find('#')?..].trim_end())).collect()
}

#[test]
fn written_gains_keep_the_comments_and_fly_with_the_bits_of_the_derived_ones() {
    let bench = Bench::new();
    let before = include_str!("../crafts/quad.toml");
    fs::write(bench.path("mine.toml"), before).expect("a craft file");
    let fly = |log: &str| {
        let answer = bench.run(&["fly", "mine.toml", "flight.toml", "--log", log]);
        assert_eq!(answer.status, 0, "{answer:?}");
        fs::read(bench.path(log)).expect("a log")
    };
    let derived = fly("derived.csv");

    let answer = bench.run(&["gains", "mine.toml", "--write"]);
    assert_eq!(answer.status, 0, "{answer:?}");
    let written = fs::read_to_string(bench.path("mine.toml")).expect("the craft file");
    assert!(written.contains("[gains.rate.roll]") && !before.contains("[gains"), "{written}");
    assert_eq!(comments(&written), comments(before));
    assert!(comments(before).len() > 10, "there are comments to keep");
    assert!(fly("written.csv") == derived, "the same bits");

    // Written again it stays as it is, and a gain changed by hand is put right with its comment kept.
    assert_eq!(bench.run(&["gains", "mine.toml", "--write"]).status, 0);
    assert_eq!(fs::read_to_string(bench.path("mine.toml")).expect("the craft file"), written);
    let line = written.lines().find(|line| line.starts_with("p_per_s")).expect("a gain");
    let by_hand = written.replacen(line, "p_per_s = 20.0   # tried by hand", 1);
    fs::write(bench.path("mine.toml"), &by_hand).expect("a craft file");
    assert!(fly("by_hand.csv") != derived, "another gain flies otherwise");
    assert_eq!(bench.run(&["gains", "mine.toml", "--write"]).status, 0);
    let again = fs::read_to_string(bench.path("mine.toml")).expect("the craft file");
    assert_eq!(again, written.replacen(line, &format!("{line}   # tried by hand"), 1));
    assert!(fly("again.csv") == derived, "the same bits");
}

#[cfg(unix)]
#[test]
fn written_gains_keep_the_permissions_of_the_file() {
    use std::os::unix::fs::PermissionsExt;
    let bench = Bench::new();
    fs::write(bench.path("mine.toml"), include_str!("../crafts/quad.toml")).expect("a craft file");
    fs::set_permissions(bench.path("mine.toml"), fs::Permissions::from_mode(0o600)).expect("permissions");
    assert_eq!(bench.run(&["gains", "mine.toml", "--write"]).status, 0);
    let mode = fs::metadata(bench.path("mine.toml")).expect("the craft file").permissions().mode();
    assert_eq!(mode & 0o777, 0o600);
}

#[test]
fn refused_gains_say_what_would_do_and_leave_the_file_alone() {
    let bench = Bench::new();
    let late = format!("{}\n[loops]\nextra_delay_s = 0.2\n", include_str!("../crafts/quad.toml"));
    fs::write(bench.path("late.toml"), &late).expect("a craft file");
    let answer = bench.run(&["gains", "late.toml", "--write"]);
    assert_eq!(answer.status, 1, "{answer:?}");
    assert!(
        answer.err.contains("must be at least") && answer.err.contains("loops.extra_delay_s at most 0."),
        "{answer:?}"
    );
    assert_eq!(fs::read_to_string(bench.path("late.toml")).expect("the craft file"), late);
    let answer = bench.run(&["gains", "late.toml", "--json"]);
    assert_eq!(answer.status, 1, "{answer:?}");
    assert!(answer.object()["reason"].as_str().is_some_and(|reason| reason.contains("at most")), "{answer:?}");
}
