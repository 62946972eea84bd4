//! Varied crafts: that flight k is flight k, that shards make the whole, and what is counted.

#[allow(dead_code, reason = "shared with other tests")]
mod varied_quad;

use std::collections::BTreeMap;

use evenkeel::craft::Craft;
use evenkeel::dispersion::{Answer, Campaign, Dispersion, MergeError, Shard, judge, merge, vary};
use evenkeel::file::parse_flight;
use evenkeel::preflight::preflight;
use evenkeel::script::Flight;

use varied_quad::{NONE, SEED, quad, short, varied};

fn json(answer: &Answer) -> String {
    serde_json::to_string(answer).unwrap()
}

const FLIGHTS: u64 = 23;

fn run(craft: &Craft, expect: &str, flights: u64, shard: Shard) -> Answer {
    Campaign::new(craft, Some(short(craft, expect))).unwrap().run(flights, SEED, shard, &|| ()).unwrap()
}

/// Splits the flights into those that hold and those that do not.
const HALF: &str = "[[expect]]\nquantity = \"east_m\"\ntaken = \"at the end\"\nat_least = 2.46\n";

#[test]
fn gives_the_same_bytes_when_threads_are_few_or_many() {
    let craft = quad();
    let answers: Vec<String> = [1, 2, 5]
        .map(|threads| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
            pool.install(|| json(&run(&craft, HALF, FLIGHTS, Shard::WHOLE)))
        })
        .into();
    assert!(answers.windows(2).all(|pair| pair[0] == pair[1]), "{answers:#?}");
    let logs = [(); 2].map(|()| {
        let campaign = Campaign::new(&craft, Some(short(&craft, ""))).unwrap();
        let mut log = Vec::new();
        campaign.fly_one(SEED, 7).unwrap().recording.unwrap().write_csv(&mut log).unwrap();
        log
    });
    assert_eq!(logs[0], logs[1]);
}

#[test]
fn merges_to_what_one_run_gives_when_all_shards_are_there_in_any_order() {
    let craft = quad();
    let whole = run(&craft, HALF, FLIGHTS, Shard::WHOLE);
    let redrawn: u32 = (1..=FLIGHTS).map(|index| vary(&craft, SEED, index).unwrap().redrawn).sum();
    assert_eq!(whole.redrawn, u64::from(redrawn));
    assert!(redrawn > 1, "some crafts were drawn anew");
    assert!(whole.passed > 0 && whole.passed < FLIGHTS, "the expectation splits the flights: {}", whole.passed);
    for of in [2, 3, 7] {
        let shards: Vec<Answer> =
            (1..=of).rev().map(|number| run(&craft, HALF, FLIGHTS, Shard::new(number, of).unwrap())).collect();
        assert!(shards.iter().all(|shard| shard.flights < FLIGHTS && shard.shards == of));
        // As a script has them: printed and read again.
        let read = |shard: &Answer| serde_json::from_str(&json(shard)).unwrap();
        let merged = merge(shards.iter().map(read).collect()).unwrap();
        assert_eq!(json(&merged), json(&whole), "{of} shards");
        let [first, second, ..] = shards.as_slice() else { panic!("two shards") };
        let partly = merge(vec![first.clone(), second.clone()]).unwrap();
        assert_eq!(partly.flights, first.flights + second.flights);
        assert_eq!(partly.shards_done.len() as u64, if of == 2 { 1 } else { 2 });
    }
}

#[test]
fn refuses_to_merge_when_answers_are_not_shards_of_one_campaign() {
    let craft = quad();
    let shard = |number| run(&craft, HALF, FLIGHTS, Shard::new(number, 3).unwrap());
    assert_eq!(merge(Vec::new()), Err(MergeError::Nothing));
    assert_eq!(merge(vec![shard(1), shard(1)]), Err(MergeError::Twice { place: 1, shard: 1 }));
    let edits: [fn(&mut Answer); 6] = [
        |answer| answer.head.seed += 1,
        |answer| answer.head.flights_asked += 1,
        |answer| answer.head.craft.push('x'),
        |answer| answer.head.flight.push('x'),
        |answer| answer.head.varied[0].bound *= 2.0,
        |answer| answer.shards += 1,
    ];
    for edit in edits {
        let mut other = shard(2);
        edit(&mut other);
        assert!(matches!(merge(vec![shard(1), other]), Err(MergeError::Other { place: 1, .. })));
    }
    let edits: [fn(&mut Answer); 5] = [
        |answer| answer.passed = answer.flights + 1,
        |answer| answer.flights += 1,
        |answer| answer.flights = u64::MAX,
        |answer| answer.shards_done = [4].into(),
        |answer| answer.checks[0].fell_short = answer.flights + 1,
    ];
    for edit in edits {
        let mut more = shard(2);
        edit(&mut more);
        assert_eq!(merge(vec![shard(1), more]), Err(MergeError::Counts { place: 1 }));
    }
}

#[test]
fn counts_and_names_what_fell_short_when_an_expectation_cannot_be_met() {
    let craft = quad();
    let expect = "[[expect]]\nname = \"stands still\"\nquantity = \"east_m\"\ntaken = \"at the end\"\nequals = 0.0\nwithin = 0.1\n";
    let answer = run(&craft, expect, 12, Shard::WHOLE);
    assert_eq!((answer.flights, answer.passed, answer.pass_rate), (12, 0, 0.0));
    assert_eq!(answer.worst.len(), 10);
    assert!(!answer.head.nominal.held && answer.head.nominal.reason.starts_with("stands still: "));
    assert!(answer.worst.iter().all(|worst| !worst.held && worst.reason.starts_with("stands still: ")));
    let excess: Vec<f64> = answer.worst.iter().filter_map(|worst| worst.excess).collect();
    assert!(excess.len() == 10 && excess.windows(2).all(|pair| pair[0] >= pair[1]), "{excess:?}");
    let counts: BTreeMap<&str, u64> =
        answer.checks.iter().map(|check| (check.name.as_str(), check.fell_short)).collect();
    assert_eq!(
        counts,
        BTreeMap::from([("attitude", 0), ("calm", 0), ("ground", 0), ("height", 0), ("lean", 0), ("stands still", 12)])
    );
    // The worst is there again when flown by its index.
    let campaign = Campaign::new(&craft, Some(short(&craft, expect))).unwrap();
    let again = campaign.fly_one(SEED, answer.worst[0].index).unwrap();
    assert_eq!(format!("{}: {}", again.findings[0].name, again.findings[0].text()), answer.worst[0].reason);
}

#[test]
fn counts_expectations_apart_when_they_differ_in_window_or_limit_alone() {
    let craft = quad();
    let one = |more: &str| format!("[[expect]]\nquantity = \"east_m\"\n{more}\n");
    let apart = ["at_most = 9.0", "at_most = 8.0", "at_most = 9.0\nuntil_s = 1.0", "at_least = -9.0", "at_most = 9.0"];
    let expect: String = apart.iter().map(|more| one(more)).collect();
    let answer = run(&craft, &expect, 6, Shard::WHOLE);
    let ours: Vec<u64> =
        answer.checks.iter().filter(|check| check.quantity == "east_m").map(|check| check.flights).collect();
    assert_eq!(ours, [6; 4], "the last is the first again");
    let shards = [1, 2].map(|number| run(&craft, &expect, 6, Shard::new(number, 2).unwrap()));
    assert_eq!(json(&merge(shards.into()).unwrap()), json(&answer));
}

#[test]
fn finds_the_demo_craft_sound_and_one_with_loose_figures_not_when_varied_for_the_verdict() {
    let sound = judge(&quad(), 12, &|| ()).unwrap();
    let loose =
        judge(&varied(Dispersion { inertia_share: 0.6, lag_share: 0.9, delay_s: 0.04, ..NONE }), 12, &|| ()).unwrap();
    let short: Vec<&str> = sound.checks.iter().filter(|check| !check.held).map(|check| check.id.as_str()).collect();
    assert_eq!(short, ["dispersed.pass_rate"], "12 flights are too few to say more");
    assert_eq!(sound.answer.passed, 12);
    assert!(loose.answer.passed < 12, "{:?}", loose.answer);
    assert!(loose.checks.iter().any(|check| check.id != "dispersed.pass_rate" && !check.held), "{:?}", loose.checks);
}

#[test]
fn finds_a_craft_unfit_when_only_its_varied_likes_fall_short() {
    let reasons = |craft: &Craft| {
        let found = preflight(craft, &|_, _| ()).unwrap();
        let flown = found.flights.iter().find(|flight| flight.id == "dispersed").expect("the varied crafts are flown");
        assert_eq!(flown.checks.len(), 6);
        assert!(!flown.recording.rows.is_empty(), "the worst can be looked at");
        found.reasons().map(|(_, check)| check.id.clone()).collect::<Vec<_>>()
    };
    assert_eq!(reasons(&quad()), Vec::<String>::new());
    let loose = varied(Dispersion { inertia_share: 0.6, lag_share: 0.9, delay_s: 0.04, ..NONE });
    let short = reasons(&loose);
    assert!(
        short.contains(&"dispersed.calm".to_owned()) && short.contains(&"dispersed.pass_rate".to_owned()),
        "{short:?}"
    );
    assert!(short.iter().all(|id| id.starts_with("dispersed.")), "the craft of the file is sound: {short:?}");
}

#[test]
fn flies_in_the_air_that_was_drawn_when_the_flight_has_a_wind_of_its_own() {
    let craft = quad();
    let mut flight = short(&craft, "");
    flight.world.wind_m_s = [1.0, 2.0, 3.0];
    let sample = vary(&craft, SEED, 4).unwrap();
    let flown = sample.flight(&flight);
    let [north, east] = sample.wind_m_s;
    assert!(north != 0.0 && east != 0.0);
    assert_eq!(flown.world.wind_m_s, [1.0 + north, 2.0 + east, 3.0]);
    assert_eq!(flown.seed, sample.seed);
    assert_ne!(sample.seed, vary(&craft, SEED, 5).unwrap().seed, "each flight has gusts of its own");
    assert_eq!(Flight { seed: flight.seed, world: flight.world.clone(), ..flown }, flight);
}

#[test]
fn counts_a_flight_whose_computation_diverges_as_one_that_fell_short() {
    let craft = quad();
    // No file can have such a wind: one step in it leaves all that is sensible.
    let mut flight = short(&craft, "");
    flight.world.wind_m_s = [1.0e7, 0.0, 0.0];
    let answer = Campaign::new(&craft, Some(flight)).unwrap().run(3, SEED, Shard::WHOLE, &|| ()).unwrap();
    assert_eq!((answer.flights, answer.passed), (3, 0), "{answer:?}");
    assert!(answer.worst.iter().all(|worst| worst.reason.starts_with("computed to the end: ")), "{answer:?}");
}

/// Single samples of an accelerometer leave its gate at this rate; the alignment must not go by them.
#[test]
fn every_varied_craft_flies_from_power_up_when_loops_are_fast() {
    let mut craft = quad();
    craft.loops.rate_hz = 8000.0;
    let text = "format = 1\nname = \"up\"\nduration_s = 7.0\n[initial]\npower_up = true\n\
                [[leg]]\nname = \"up\"\nheight_m = 3.0\nvelocity_m_s = [0.0, 0.0]\n\
                [[expect]]\nquantity = \"height_m\"\ntaken = \"at the end\"\nat_least = 2.0\n";
    let flight = parse_flight("up.toml", text, &craft).unwrap();
    let answer = Campaign::new(&craft, Some(flight)).unwrap().run(12, SEED, Shard::WHOLE, &|| ()).unwrap();
    assert_eq!((answer.passed, answer.flights), (12, 12), "{answer:#?}");
}
