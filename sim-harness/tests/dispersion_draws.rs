//! Varied crafts: what is drawn.

#[allow(dead_code, reason = "shared with other tests")]
mod varied_quad;

use evenkeel::craft::Craft;
use evenkeel::dispersion::{Campaign, Dispersion, Sample, vary};
use evenkeel::file::parse_craft;
use evenkeel::sensors::SensorsConfig;

use varied_quad::{NONE, QUAD, SEED, quad, samples, short, varied};

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
