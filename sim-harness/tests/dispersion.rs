//! Varied crafts: what is drawn, that flight k is flight k, and that shards make the whole.

use std::collections::BTreeMap;

use evenkeel::craft::Craft;
use evenkeel::dispersion::{Answer, Campaign, Dispersion, MergeError, Sample, Shape, Shard, judge, merge, vary};
use evenkeel::file::{parse_craft, parse_flight};
use evenkeel::preflight::preflight;
use evenkeel::script::Flight;
use evenkeel::sensors::SensorsConfig;

const QUAD: &str = include_str!("../crafts/quad.toml");
const SEED: u64 = 5;

fn quad() -> Craft {
    parse_craft("quad.toml", QUAD).unwrap()
}

/// Nothing varies.
const NONE: Dispersion = Dispersion {
    shape: Shape::Uniform,
    mass_share: 0.0,
    inertia_share: 0.0,
    center_of_mass_share: 0.0,
    thrust_share: 0.0,
    lag_share: 0.0,
    torque_share: 0.0,
    drag_share: 0.0,
    delay_s: 0.0,
    wind_m_s: 0.0,
    battery_capacity_share: 0.0,
    battery_resistance_share: 0.0,
    battery_charge_share: 0.0,
    gyro_bias_deg_s: 0.0,
    accelerometer_bias_m_s2: 0.0,
    misalignment_deg: 0.0,
    sensor_noise_share: 0.0,
    sensor_latency_s: 0.0,
};

/// On perfect sensors: the noise of two flights is not the same.
fn varied(dispersion: Dispersion) -> Craft {
    Craft { dispersion, sensors: SensorsConfig::PERFECT, ..quad() }
}

fn short(craft: &Craft, expect: &str) -> Flight {
    let text = format!(
        "format = 1\nname = \"short\"\nduration_s = 2.0\n[initial]\nposition_m = [0.0, 0.0, -5.0]\n\
         [[leg]]\nname = \"lean\"\nheight_m = 5.0\nroll_deg = 8.0\n{expect}"
    );
    parse_flight("short.toml", &text, craft).unwrap()
}

fn samples(craft: &Craft, count: u64) -> Vec<Sample> {
    (1..=count).map(|index| vary(craft, SEED, index).unwrap()).collect()
}

/// A bias of the file's own, deg/s.
const FILED_BIAS: f64 = 0.3;
const DRAWN: u64 = 4000;
/// Four standard errors of the mean of that many uniform deviates of bound 1, and of their spread.
const MEAN_TOL: f64 = 0.04;
/// Standard deviation of a uniform deviate of bound 1.
const UNIFORM_SPREAD: f64 = 0.577_350_269_189_625_8;

/// Source: mean and standard deviation of a uniform distribution over ±1: 0 and 1/√3.
#[test]
fn keeps_bounds_mean_and_spread_of_each_quantity_when_many_are_drawn() {
    // Far from the flat body that no inertia may pass, so that no draw is turned down.
    let mut craft = quad();
    craft.sensors.gyro.bias[1] = FILED_BIAS.to_radians();
    craft.body.inertia_kg_m2 = [[0.02, 0.0, 0.0], [0.0, 0.02, 0.0], [0.0, 0.0, 0.02]];
    let by = craft.dispersion.clone();
    let drawn = samples(&craft, DRAWN);
    assert!(drawn.iter().all(|sample| sample.redrawn == 0));
    let rotor = |sample: &Sample, value: fn(&evenkeel::craft::Rotor) -> f64| {
        value(&sample.craft.rotors[2]) / value(&craft.rotors[2]) - 1.0
    };
    type Deviation<'a> = Box<dyn Fn(&Sample) -> f64 + 'a>;
    let inertia = |axis: usize| -> Deviation<'_> {
        Box::new(move |sample| sample.craft.body.inertia_kg_m2[axis][axis] / 0.02 - 1.0)
    };
    let arm_m = craft.mean_arm_m();
    let center = |axis: usize| -> Deviation<'_> {
        let from_m = craft.body.center_of_mass_m[axis];
        Box::new(move |sample| (sample.craft.body.center_of_mass_m[axis] - from_m) / arm_m)
    };
    let quantities: Vec<(&str, f64, Deviation<'_>)> = vec![
        ("mass", by.mass_share, Box::new(|sample| sample.craft.body.mass_kg / craft.body.mass_kg - 1.0)),
        ("inertia x", by.inertia_share, inertia(0)),
        ("inertia z", by.inertia_share, inertia(2)),
        ("centre x", by.center_of_mass_share, center(0)),
        ("centre z", by.center_of_mass_share, center(2)),
        ("thrust", by.thrust_share, Box::new(move |sample| rotor(sample, |rotor| rotor.thrust_max_n))),
        ("lag", by.lag_share, Box::new(move |sample| rotor(sample, |rotor| rotor.response_time_s))),
        ("torque", by.torque_share, Box::new(move |sample| rotor(sample, |rotor| rotor.torque_per_thrust_m))),
        (
            "drag",
            by.drag_share,
            Box::new(|sample| sample.craft.body.drag_area_m2[1] / craft.body.drag_area_m2[1] - 1.0),
        ),
        // One way only: uniform from 0 to the bound.
        ("delay", by.delay_s / 2.0, Box::new(|sample| sample.craft.loops.extra_delay_s - by.delay_s / 2.0)),
        (
            "gyro bias",
            by.gyro_bias_deg_s,
            Box::new(|sample| sample.craft.sensors.gyro.bias[1].to_degrees() - FILED_BIAS),
        ),
        (
            "accelerometer bias",
            by.accelerometer_bias_m_s2,
            Box::new(|sample| sample.craft.sensors.accelerometer.bias[2]),
        ),
        ("misalignment", by.misalignment_deg, Box::new(|sample| sample.craft.sensors.misalignment_rad[0].to_degrees())),
        (
            "gyro noise",
            by.sensor_noise_share,
            Box::new(|sample| sample.craft.sensors.gyro.noise_density / craft.sensors.gyro.noise_density - 1.0),
        ),
        (
            "climb noise",
            by.sensor_noise_share,
            Box::new(|sample| sample.craft.sensors.climb.unwrap().noise / craft.sensors.climb.unwrap().noise - 1.0),
        ),
        (
            "latency",
            by.sensor_latency_s / 2.0,
            Box::new(|sample| sample.craft.sensors.accelerometer.latency_s - by.sensor_latency_s / 2.0),
        ),
    ];
    for (name, bound, deviation) in quantities {
        let values: Vec<f64> = drawn.iter().map(|sample| deviation(sample) / bound).collect();
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        let spread = (values.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / values.len() as f64).sqrt();
        let most = values.iter().map(|value| value.abs()).fold(0.0, f64::max);
        assert!(mean.abs() < MEAN_TOL, "{name}: mean {mean}");
        assert!((spread - UNIFORM_SPREAD).abs() < MEAN_TOL, "{name}: spread {spread}");
        assert!(most < 1.0 + 1e-9 && most > 0.99, "{name}: {most}");
    }
    let winds: Vec<f64> = drawn.iter().map(|sample| sample.wind_m_s[0].hypot(sample.wind_m_s[1])).collect();
    assert!(winds.iter().all(|wind| *wind <= by.wind_m_s * (1.0 + 1e-12)));
    for axis in [0, 1] {
        let mean = drawn.iter().map(|sample| sample.wind_m_s[axis]).sum::<f64>() / (DRAWN as f64 * by.wind_m_s);
        assert!(mean.abs() < MEAN_TOL, "the wind comes from all sides: {mean}");
    }
}

#[test]
fn draws_each_rotor_and_each_axis_by_itself_when_it_varies_them() {
    let sample = vary(&quad(), SEED, 1).unwrap();
    let mut factors: Vec<f64> = sample.craft.rotors.iter().map(|rotor| rotor.thrust_max_n).collect();
    factors.dedup();
    assert_eq!(factors.len(), 4);
    // A rotor's thrust varies as a whole: floor and bench table with the ceiling.
    for (varied, rotor) in sample.craft.rotors.iter().zip(&quad().rotors) {
        let factor = varied.thrust_max_n / rotor.thrust_max_n;
        assert!((varied.thrust_min_n / rotor.thrust_min_n - factor).abs() < 1e-12);
    }
}

#[test]
fn varies_the_battery_of_a_craft_that_has_one_and_draws_the_rest_alike() {
    let battery = "[battery]\ncapacity_ah = 5.0\nfull_v = 16.8\nempty_v = 13.2\nresistance_ohm = 0.02\n[layout]";
    let with = parse_craft("quad.toml", &QUAD.replace("[layout]", battery)).unwrap();
    let (nominal, by) = (with.battery.clone().unwrap(), with.dispersion.clone());
    for index in 1..50 {
        let sample = vary(&with, SEED, index).unwrap();
        let without = vary(&quad(), SEED, index).unwrap();
        assert_eq!((&sample.craft.body, &sample.craft.rotors), (&without.craft.body, &without.craft.rotors));
        assert_eq!((sample.drawn.len(), without.drawn.len()), (17, 14));
        let battery = sample.craft.battery.unwrap();
        let capacity = battery.capacity_ah / nominal.capacity_ah - 1.0;
        let resistance = battery.resistance_ohm / nominal.resistance_ohm - 1.0;
        let missing = nominal.charge - battery.charge;
        assert!(capacity != 0.0 && capacity.abs() <= by.battery_capacity_share, "{capacity}");
        assert!(resistance != 0.0 && resistance.abs() <= by.battery_resistance_share, "{resistance}");
        assert!(missing > 0.0 && missing <= by.battery_charge_share, "{missing}");
    }
}

/// What was drawn before sensors varied too is drawn still: a seed's crafts are what they were.
#[test]
fn draws_sensors_after_all_else_and_leaves_perfect_ones_alone() {
    let craft = quad();
    for index in 1..20 {
        let sample = vary(&craft, SEED, index).unwrap();
        let perfect = vary(&varied(Dispersion::DEFAULT), SEED, index).unwrap();
        assert_eq!((&sample.craft.body, &sample.craft.rotors), (&perfect.craft.body, &perfect.craft.rotors));
        assert_eq!((sample.wind_m_s, sample.seed), (perfect.wind_m_s, perfect.seed));
        assert_eq!(sample.drawn[..9], perfect.drawn[..]);
        assert_eq!(perfect.craft.sensors, SensorsConfig::PERFECT);
        assert_ne!(sample.craft.sensors, craft.sensors);
        let sensor = |name: &str| sample.drawn.iter().find(|one| one.key == name).unwrap().deviations.len();
        let counts = ["gyro_bias_deg_s", "misalignment_deg", "sensor_noise_share", "sensor_latency_s"].map(sensor);
        assert_eq!(counts, [3, 3, 5, 2]);
    }
}

/// A flight that begins armed begins after the alignment that takes the gyro's bias out.
#[test]
fn shows_the_drawn_bias_of_the_gyro_when_the_flight_begins_switched_on_alone() {
    let craft = quad();
    let sample = vary(&craft, SEED, 3).unwrap();
    let armed = short(&craft, "");
    let mut switched_on = armed.clone();
    switched_on.initial.power_up = true;
    assert_eq!(sample.craft_for(&armed).sensors.gyro.bias, craft.sensors.gyro.bias);
    assert_ne!(sample.craft_for(&switched_on).sensors.gyro.bias, craft.sensors.gyro.bias);
    assert_eq!(sample.craft_for(&armed).sensors.accelerometer, sample.craft.sensors.accelerometer);
}

#[test]
fn leaves_gains_limits_and_loops_of_the_file_when_it_varies_a_craft() {
    let nominal = quad();
    let Craft { gains, limits, saturation, loops, .. } = vary(&nominal, SEED, 2).unwrap().craft;
    assert_eq!((&gains, &limits, &saturation), (&nominal.gains, &nominal.limits, &nominal.saturation));
    assert_eq!((loops.rate_hz, loops.angle_divider), (nominal.loops.rate_hz, nominal.loops.angle_divider));
}

#[test]
fn is_the_craft_of_the_file_when_nothing_varies() {
    let craft = varied(NONE);
    let sample = vary(&craft, SEED, 9).unwrap();
    assert_eq!(sample.craft, craft);
    assert_eq!(sample.wind_m_s, [0.0; 2]);
    let campaign = Campaign::new(&craft, Some(short(&craft, ""))).unwrap();
    assert_eq!(campaign.fly_one(SEED, 9).unwrap().recording, campaign.fly_nominal().0);
}

/// The builder flies the geometry and inertia he believes in: the first demand is the same for every craft.
#[test]
fn demands_what_the_craft_of_the_file_would_when_the_plant_is_another() {
    let craft = varied(Dispersion { inertia_share: 0.5, thrust_share: 0.3, center_of_mass_share: 0.1, ..NONE });
    let campaign = Campaign::new(&craft, Some(short(&craft, ""))).unwrap();
    let nominal = campaign.fly_nominal().0.unwrap();
    for index in 1..5 {
        let flown = campaign.fly_one(SEED, index).unwrap();
        assert_ne!(flown.sample.craft.body.inertia_kg_m2, craft.body.inertia_kg_m2);
        let recording = flown.recording.unwrap();
        assert_eq!(recording.rows[0].demand, nominal.rows[0].demand, "{index}");
        assert_eq!(recording.rows[0].command, nominal.rows[0].command, "{index}");
        assert_ne!(recording.rows[20].rate_rad_s, nominal.rows[20].rate_rad_s, "the plant is another: {index}");
    }
}

/// Source: ∫(y²+z²) ≤ ∫(x²+z²) + ∫(x²+y²), with equality for a flat body (any text on rigid bodies, from memory).
#[test]
fn draws_a_flat_craft_anew_when_no_body_could_be_like_it() {
    let mut craft = varied(Dispersion { inertia_share: 0.2, ..NONE });
    craft.body.inertia_kg_m2 = [[0.01, 0.002, 0.0], [0.002, 0.01, 0.0], [0.0, 0.0, 0.02]];
    let drawn = samples(&craft, 200);
    let redrawn: u32 = drawn.iter().map(|sample| sample.redrawn).sum();
    assert!(redrawn > 50, "about half of all draws are no body: {redrawn}");
    for sample in &drawn {
        let tensor = sample.craft.body.inertia_kg_m2;
        let [xx, yy, zz] = [0, 1, 2].map(|axis| tensor[axis][axis]);
        assert!(
            zz <= (xx + yy) * 1.002 && tensor[0][1] == tensor[1][0] && tensor[0][1].powi(2) < xx * yy,
            "{tensor:?}"
        );
    }
    // A body that is flat beyond what rounding allows stays what no draw can mend.
    craft.body.inertia_kg_m2[2][2] = 0.2;
    let error = vary(&craft, SEED, 3).unwrap_err();
    assert!(error.to_string().contains("flight 3"), "{error}");
}

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
