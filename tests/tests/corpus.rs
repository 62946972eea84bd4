//! Sound crafts are found fit and slips are seen and named, over a corpus that no one tuned the checks to.
//!
//! What runs with every test is a sample; `.ci/run corpus` runs all of it, in release. Crafts and slips:
//! `evenkeel_tests::corpus`.

use std::collections::{BTreeMap, BTreeSet};

use evenkeel::file::parse_craft;
use evenkeel_tests::corpus::slips::{self, Slip, Slipped};
use evenkeel_tests::corpus::{Drawn, Outcome, doubted_or_flown, outcome, sound, turned};
use evenkeel_tests::document::Document;

/// The seed of the corpus that is gated. Others give other crafts.
const SEED: u64 = 20;
/// Sound crafts of the gate.
const CRAFTS: u64 = 200;
/// Crafts each slip is made in.
const CRAFTS_A_SLIP: usize = 8;
/// Crafts in which the slips of the sample are made.
const SAMPLE_SEED: u64 = 21;

/// What a sound craft is refused for, in a line a check; empty when it is fit.
fn refusal(drawn: &Drawn) -> String {
    let failed = outcome(&drawn.file).failed();
    let lines = failed.iter().take(4).map(|check| {
        let mend = check.mend.as_deref().unwrap_or_default();
        format!("    {} = {} {} ({:?}) {mend}\n", check.id, check.value, check.unit, check.limit)
    });
    let lines: String = lines.collect();
    if failed.is_empty() { lines } else { format!("{} [{}]\n{lines}", drawn.name, drawn.traits.join(" ")) }
}

fn none_refused(crafts: impl Iterator<Item = Drawn>) {
    let mut count = 0;
    let refused: Vec<String> = crafts.inspect(|_| count += 1).map(|drawn| refusal(&drawn)).collect();
    let refused: Vec<String> = refused.into_iter().filter(|text| !text.is_empty()).collect();
    assert!(refused.is_empty(), "{} of {count} sound crafts refused:\n{}", refused.len(), refused.concat());
}

/// The first crafts of a corpus in which a slip can be made.
fn made(slip: &Slip, seed: u64, count: usize) -> Vec<(Drawn, Slipped)> {
    let crafts = (0..CRAFTS).map(|index| sound(seed, index));
    crafts.filter_map(|drawn| slip.made_in(&drawn.file).map(|slipped| (drawn, slipped))).take(count).collect()
}

/// What became of slips: how many, and which were not seen or not named.
#[derive(Default)]
struct Tally {
    made: usize,
    unseen: Vec<String>,
    unnamed: Vec<String>,
    /// What each slip was caught by, and how often.
    caught: BTreeMap<&'static str, BTreeMap<String, usize>>,
}

impl Tally {
    fn add(&mut self, slip: &Slip, drawn: &Drawn, slipped: &Slipped) {
        let found = doubted_or_flown(&slipped.file);
        self.made += 1;
        let which = format!("{} in {} ({})", slip.id, drawn.name, slipped.key);
        let first =
            found.failed().first().map(|check| format!("{}: {}", check.id, check.mend.as_deref().unwrap_or("-")));
        if found.objects() {
            let by = first_id(&found);
            *self.caught.entry(slip.id).or_default().entry(by).or_default() += 1;
        } else {
            self.unseen.push(which.clone());
        }
        if !found.names(slipped.key) {
            self.unnamed.push(format!("{which}: {}", first.unwrap_or_default()));
        }
    }

    fn share(&self, missing: &[String]) -> f64 {
        1.0 - missing.len() as f64 / self.made as f64
    }

    /// A table in Markdown: each slip, in how many crafts it was seen and named, and by what.
    fn table(&self) -> String {
        let missing = |of: &[String], slip: &Slip| {
            of.iter().filter(|which| which.starts_with(&format!("{} in ", slip.id))).count()
        };
        let row = |slip: &Slip| {
            let (seen, named) =
                (CRAFTS_A_SLIP - missing(&self.unseen, slip), CRAFTS_A_SLIP - missing(&self.unnamed, slip));
            let mut by: Vec<_> = self.caught.get(slip.id).into_iter().flatten().collect();
            by.sort_by_key(|(_, count)| std::cmp::Reverse(**count));
            let by: Vec<String> = by.into_iter().map(|(id, count)| format!("{id} {count}")).collect();
            format!("| {} | {} | {seen} | {named} | {} |\n", slip.id, slip.what, by.join(", "))
        };
        let rows: String = slips::all().iter().map(row).collect();
        let crafts = CRAFTS_A_SLIP;
        format!(
            "| slip | what the builder did | seen, of {crafts} | named, of {crafts} | caught by |\n| --- | --- | ---: | ---: | --- |\n{rows}"
        )
    }
}

/// The first thing that is said of a file: the id of a doubt or a check, or that the file cannot be read.
fn first_id(found: &Outcome) -> String {
    match found.failed().first() {
        Some(check) if check.id == "reader" => "the reader".into(),
        Some(check) => format!("`{}`", check.id),
        None => String::new(),
    }
}

#[test]
fn finds_sound_crafts_fit_when_they_are_drawn() {
    none_refused((0..CRAFTS).step_by(50).map(|index| sound(SEED, index)));
}

#[test]
fn sees_slips_when_builders_make_them() {
    let mut tally = Tally::default();
    for slip in slips::all().iter().step_by(6) {
        for (drawn, slipped) in made(slip, SAMPLE_SEED, 1) {
            tally.add(slip, &drawn, &slipped);
        }
    }
    assert!(tally.made >= 5, "{}", tally.made);
    assert!(tally.unseen.is_empty(), "not seen: {:#?}", tally.unseen);
    assert!(tally.unnamed.is_empty(), "not named: {:#?}", tally.unnamed);
}

#[test]
#[ignore = "an hour: .ci/run corpus"]
fn finds_every_craft_of_the_corpus_fit() {
    none_refused((0..CRAFTS).map(|index| sound(SEED, index)));
}

#[test]
#[ignore = "minutes: .ci/run corpus"]
fn finds_the_demo_crafts_fit_when_they_are_turned_by_half_an_arm() {
    none_refused(turned::demos().into_iter());
}

#[test]
#[ignore = "an hour: .ci/run corpus"]
fn sees_and_names_every_slip_of_the_corpus() {
    let mut tally = Tally::default();
    for slip in &slips::all() {
        let crafts = made(slip, SEED, CRAFTS_A_SLIP);
        assert_eq!(crafts.len(), CRAFTS_A_SLIP, "{}: too few crafts to make it in", slip.id);
        for (drawn, slipped) in crafts {
            tally.add(slip, &drawn, &slipped);
        }
    }
    let (seen, named) = (tally.share(&tally.unseen), tally.share(&tally.unnamed));
    println!("{} slips made, {:.1} % seen, {:.1} % named", tally.made, 100.0 * seen, 100.0 * named);
    println!("not seen: {:#?}\nnot named: {:#?}", tally.unseen, tally.unnamed);
    let mut page = Document::open("docs/verdict.md");
    page.set_block("slips", &tally.table());
    page.settle();
    assert!(seen >= 0.95, "{seen}");
    assert!(named >= 0.9, "{named}");
}

/// What an optional key or table is, in the draws that have it and in those that have not.
#[test]
fn has_every_optional_table_on_and_off() {
    let files: Vec<_> = (0..CRAFTS).map(|index| sound(SEED, index).file).collect();
    let optional = [
        "battery",
        "battery.charge",
        "battery.voltage_curve",
        "sensors",
        "sensors.perfect",
        "sensors.gyro.bias_deg_s",
        "sensors.misalignment_deg",
        "sensors.accelerometer.bias_m_s2",
        "sensors.climb",
        "sensors.heading",
        "sensors.voltage",
        "sensors.rotors",
        "ground_effect",
        "limits",
        "limits.yaw_rate_deg_s",
        "loops",
        "saturation",
        "dispersion",
        "layout",
        "layout.coaxial",
        "rotor",
        "rotors.thrust_curve",
        "rotors.propeller",
        "rotors.inflow",
        "rotors.drag_n_per_m_s",
        "rotors.inertia_kg_m2",
        "rotors.thrust_min_n",
        "rotors.diameter_m",
        "body.drag_area_m2",
        "body.inertia_kg_m2.xz",
    ];
    for key in optional {
        let on = files.iter().filter(|file| evenkeel_tests::corpus::table::at(file, key).is_some()).count();
        assert!((4..=files.len() - 4).contains(&on), "{key} stands in {on} of {}", files.len());
    }
}

#[test]
fn draws_crafts_of_every_size_and_number_of_rotors() {
    let crafts: Vec<_> = (0..CRAFTS).map(|index| sound(SEED, index)).map(|drawn| craft(&drawn)).collect();
    let mut rotors: BTreeMap<usize, usize> = BTreeMap::new();
    let mut names = BTreeSet::new();
    for craft in &crafts {
        *rotors.entry(craft.rotors.len()).or_default() += 1;
        names.insert(format!("{:?}", craft.body));
    }
    assert_eq!(names.len(), crafts.len(), "two crafts are alike");
    assert!([4, 6, 8, 12].iter().all(|count| rotors.get(count).is_some_and(|crafts| *crafts >= 4)), "{rotors:?}");
    let masses = crafts.iter().map(|craft| craft.body.mass_kg);
    let (least, most) = masses.fold((f64::INFINITY, 0.0_f64), |(least, most), mass| (least.min(mass), most.max(mass)));
    assert!(least < 0.06 && most > 25.0, "{least} to {most} kg");
    let other: BTreeSet<_> = (0..20).map(|index| sound(SEED + 1, index).text()).collect();
    let this: BTreeSet<_> = (0..20).map(|index| sound(SEED, index).text()).collect();
    assert!(this.is_disjoint(&other), "another seed, another corpus");
}

fn craft(drawn: &Drawn) -> evenkeel::craft::Craft {
    let text = drawn.text();
    parse_craft("drawn.toml", &text).unwrap_or_else(|error| panic!("{}: {error}\n{text}", drawn.name))
}

#[test]
fn has_at_least_25_slips_of_different_names() {
    let names: BTreeSet<_> = slips::all().iter().map(|slip| slip.id).collect();
    assert!(names.len() >= 25);
    assert_eq!(names.len(), slips::all().len());
    for slip in slips::all() {
        let [(drawn, slipped)] = &made(&slip, SEED, 1)[..] else { panic!("{}: no craft to make it in", slip.id) };
        assert_ne!(drawn.file, slipped.file, "{}", slip.id);
    }
}

/// The reader takes every demo craft that was turned, and finds nothing to say.
#[test]
fn reads_every_turned_demo_craft() {
    let demos = turned::demos();
    assert_eq!(demos.len(), 36);
    for demo in &demos {
        craft(demo);
    }
    assert!(!matches!(outcome(&toml_of("format = 2")), Outcome::Judged(_)));
}

fn toml_of(text: &str) -> evenkeel_tests::corpus::table::Table {
    text.parse().unwrap_or_else(|error| panic!("{error}"))
}
