//! Flies drawn crafts through the maiden-flight check and prints which are refused, and why.
//!
//!     cargo run --release -p evenkeel-tests --example corpus -- --seed 1 --crafts 40 [--from 0] [--write DIR] [--slips] [--demos] [--figures]

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::time::Instant;

use evenkeel::verdict::{Check, Limit};
use evenkeel_tests::corpus::{Drawn, Outcome, doubted_or_flown, one_figure, outcome, slips, sound, turned};

struct Options {
    seed: u64,
    crafts: u64,
    from: u64,
    write: Option<PathBuf>,
    only_write: bool,
    slips: bool,
    demos: bool,
    figures: bool,
}

fn options() -> Options {
    let mut options = Options {
        seed: 1,
        crafts: 20,
        from: 0,
        write: None,
        only_write: false,
        slips: false,
        demos: false,
        figures: false,
    };
    let mut words = std::env::args().skip(1);
    while let Some(word) = words.next() {
        let mut next = || words.next().unwrap_or_else(|| panic!("{word}: a value is missing"));
        match word.as_str() {
            "--seed" => options.seed = next().parse().expect("a whole number"),
            "--crafts" => options.crafts = next().parse().expect("a whole number"),
            "--from" => options.from = next().parse().expect("a whole number"),
            "--write" => options.write = Some(next().into()),
            "--only-write" => options.only_write = true,
            "--slips" => options.slips = true,
            "--demos" => options.demos = true,
            "--figures" => options.figures = true,
            other => panic!("{other}: --seed S --crafts N --from K --write DIR --only-write --slips --demos --figures"),
        }
    }
    options
}

fn main() {
    let options = options();
    if let Some(directory) = &options.write {
        std::fs::create_dir_all(directory).expect("a directory");
    }
    let drawn = || (options.from..options.from + options.crafts).map(|index| sound(options.seed, index));
    if options.slips {
        make_slips(&options, drawn());
    } else if options.figures {
        if options.demos {
            change_figures(turned::demos().into_iter().filter(|drawn| drawn.name.contains("with-all")));
        } else {
            change_figures(drawn());
        }
    } else if options.demos {
        fly(&options, turned::demos().into_iter());
    } else {
        fly(&options, drawn());
    }
}

fn write(options: &Options, drawn: &Drawn) {
    if let Some(directory) = &options.write {
        std::fs::write(directory.join(format!("{}.toml", drawn.name)), drawn.text()).expect("a file");
    }
}

/// Sound crafts: which are refused, and how often each check decides.
fn fly(options: &Options, crafts: impl Iterator<Item = Drawn>) {
    let began = Instant::now();
    let (mut count, mut refused) = (0, 0);
    let mut first: BTreeMap<String, usize> = BTreeMap::new();
    let mut any: BTreeMap<String, usize> = BTreeMap::new();
    for drawn in crafts {
        write(options, &drawn);
        if options.only_write {
            continue;
        }
        count += 1;
        let failed = outcome(&drawn.file).failed();
        if !failed.is_empty() {
            refused += 1;
            println!("REFUSED {} [{}]", drawn.name, drawn.traits.join(" "));
        }
        for (k, check) in failed.iter().enumerate() {
            println!("    {}", line(check));
            *any.entry(check.id.clone()).or_default() += 1;
            if k == 0 {
                *first.entry(check.id.clone()).or_default() += 1;
            }
        }
    }
    println!("{refused} of {count} refused, {:.0} s", began.elapsed().as_secs_f64());
    println!("{:>5} {:>5}  check", "first", "any");
    let mut rows: Vec<_> = any.into_iter().collect();
    rows.sort_by_key(|(_, count)| std::cmp::Reverse(*count));
    for (id, count) in rows {
        println!("{:>5} {count:>5}  {id}", first.get(&id).copied().unwrap_or(0));
    }
}

/// Every slip in the crafts it can be made in: seen, named, and by what.
fn make_slips(options: &Options, crafts: impl Iterator<Item = Drawn>) {
    let crafts: Vec<Drawn> = crafts.collect();
    for slip in slips::all() {
        let made: Vec<_> = crafts.iter().filter_map(|drawn| Some((drawn, slip.made_in(&drawn.file)?))).collect();
        let (mut seen, mut named) = (0, 0);
        for (drawn, slipped) in &made {
            let file =
                Drawn { name: format!("{} {}", slip.id, drawn.name), file: slipped.file.clone(), traits: Vec::new() };
            write(options, &file);
            if options.only_write {
                continue;
            }
            let found = doubted_or_flown(&slipped.file);
            seen += usize::from(found.objects());
            named += usize::from(found.names(slipped.key));
            let first = found.failed().first().map_or("FIT".into(), line);
            println!(
                "    {}{} {} in {}: {first}",
                if found.objects() { "" } else { "UNSEEN " },
                if found.names(slipped.key) { "named" } else { "UNNAMED" },
                slip.id,
                drawn.name
            );
        }
        println!("{:<28} of {:>2}: {seen:>2} seen, {named:>2} named", slip.id, made.len());
    }
}

/// One figure changed at a time: which checks refuse the craft, alone, first or among others.
fn change_figures(crafts: impl Iterator<Item = Drawn>) {
    for drawn in crafts {
        for changed in one_figure::every(&drawn.file) {
            let Outcome::Judged(found) = outcome(&changed.file) else { continue };
            let ids: Vec<&str> = found.reasons().map(|(_, check)| check.id.as_str()).collect();
            println!("{} {} x {}: {}", drawn.name, changed.key, changed.factor, ids.join(" "));
        }
    }
}

fn line(check: &Check) -> String {
    let mend = check.mend.as_deref().unwrap_or("").chars().take(150).collect::<String>();
    format!("{} = {:.5} {} ({}) {}", check.id, check.value, check.unit, limit(&check.limit), mend.replace('\n', " "))
}

fn limit(limit: &Limit) -> String {
    match (limit.min, limit.max) {
        (Some(min), Some(max)) => format!("{min:.4} to {max:.4}"),
        (Some(min), None) => format!("at least {min:.4}"),
        (None, Some(max)) => format!("at most {max:.4}"),
        (None, None) => "no limit".into(),
    }
}
