//! Flies drawn crafts through the maiden-flight check and prints which are refused, and why.
//!
//!     cargo run --release -p evenkeel-tests --example corpus -- --seed 1 --crafts 40 [--from 0] [--write DIR]

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::time::Instant;

use evenkeel::file::parse_craft;
use evenkeel::preflight::preflight;
use evenkeel::verdict::{Check, Limit};
use evenkeel_tests::corpus::{Drawn, sound};

struct Options {
    seed: u64,
    crafts: u64,
    from: u64,
    write: Option<PathBuf>,
    only_write: bool,
}

fn options() -> Options {
    let mut options = Options { seed: 1, crafts: 20, from: 0, write: None, only_write: false };
    let mut words = std::env::args().skip(1);
    while let Some(word) = words.next() {
        let mut next = || words.next().unwrap_or_else(|| panic!("{word}: a value is missing"));
        match word.as_str() {
            "--seed" => options.seed = next().parse().expect("a whole number"),
            "--crafts" => options.crafts = next().parse().expect("a whole number"),
            "--from" => options.from = next().parse().expect("a whole number"),
            "--write" => options.write = Some(next().into()),
            "--only-write" => options.only_write = true,
            other => panic!("{other}: --seed S --crafts N --from K --write DIR --only-write"),
        }
    }
    options
}

fn main() {
    let options = options();
    let began = Instant::now();
    let mut refused = 0;
    let mut first: BTreeMap<String, usize> = BTreeMap::new();
    let mut any: BTreeMap<String, usize> = BTreeMap::new();
    for index in options.from..options.from + options.crafts {
        let drawn = sound(options.seed, index);
        if let Some(directory) = &options.write {
            std::fs::create_dir_all(directory).expect("a directory");
            std::fs::write(directory.join(format!("{}.toml", drawn.name)), drawn.text()).expect("a file");
        }
        if options.only_write {
            continue;
        }
        let failed = failed(&drawn);
        if !failed.is_empty() {
            refused += 1;
            println!("REFUSED {} [{}]", drawn.name, drawn.traits.join(" "));
        }
        for (k, check) in failed.iter().enumerate() {
            let mend = check.mend.as_deref().unwrap_or("").chars().take(150).collect::<String>();
            println!("    {} = {:.5} {} ({}) {mend}", check.id, check.value, check.unit, limit(&check.limit));
            *any.entry(check.id.clone()).or_default() += 1;
            if k == 0 {
                *first.entry(check.id.clone()).or_default() += 1;
            }
        }
    }
    println!("{refused} of {} refused, seed {}, {:.0} s", options.crafts, options.seed, began.elapsed().as_secs_f64());
    println!("{:>5} {:>5}  check", "first", "any");
    let mut rows: Vec<_> = any.into_iter().collect();
    rows.sort_by_key(|(_, count)| std::cmp::Reverse(*count));
    for (id, count) in rows {
        println!("{:>5} {count:>5}  {id}", first.get(&id).copied().unwrap_or(0));
    }
}

fn failed(drawn: &Drawn) -> Vec<Check> {
    let text = drawn.text();
    let craft = parse_craft("drawn.toml", &text).unwrap_or_else(|error| panic!("{error}\n{text}"));
    match preflight(&craft, &|_, _| {}) {
        Ok(found) => found.reasons().map(|(_, check)| check.clone()).collect(),
        Err(diverged) => vec![Check::new("diverged", &diverged.to_string(), f64::NAN, "", Limit::at_most(0.0), "")],
    }
}

fn limit(limit: &Limit) -> String {
    match (limit.min, limit.max) {
        (Some(min), Some(max)) => format!("{min:.4} to {max:.4}"),
        (Some(min), None) => format!("at least {min:.4}"),
        (None, Some(max)) => format!("at most {max:.4}"),
        (None, None) => "no limit".into(),
    }
}
