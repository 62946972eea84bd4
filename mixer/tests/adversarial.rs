//! Crafts and demands made to break the allocator, each answer proven by duality: rotors almost at one place, one
//! that is weak, one that alone turns the other way, no room between floor and ceiling, tilted axes, sixteen rotors;
//! demands at corners and on edges of the attainable set, a hair inside and outside, along one axis, tiny, subnormal.

mod crafts;
mod duality;
mod nearby;

use crafts::{apart, coaxial, reach, ring, units};
use duality::Duality;
use evenkeel_mixer::{Axis, Design, MAX_PASSES, Mixer, Priority, Rotor, Spin, Wrench, facet_capacity};
use nearby::{Question, TOL_DEFAULT_ORDER};
use rand::rngs::SmallRng;
use rand::{Rng, SeedableRng};

/// Largest distance from the optimum, as a share of the axis range, in `f64`. These crafts are worse conditioned
/// than those of `optimality.rs`, and rounding opens the bounds that prove it by as much.
const TOL_F64: f64 = 1e-7;
/// How far `f32` may be from what is exact for data nearby where the two rotors of a pair stand a millimetre or less
/// from above each other, as a share of the axis range, and in how many of these demands more than promised elsewhere.
/// A bound on a known fault, no promise.
const PAIRS_TOL_F32: f64 = 0.2;
const PAIRS_ONE_IN: usize = 50;
/// The same in `f64`: columns count as equal a hundred times nearer to each other.
const PAIRS_TOL_F64: f64 = 1e-6;
/// Corners, edges and shares tried on each craft.
const CORNERS: usize = 400;
const DEFAULT_TIERS: [&[Axis]; 3] = [&[Axis::Roll, Axis::Pitch], &[Axis::Thrust], &[Axis::Yaw]];

fn changed(rotors: Vec<Rotor>, change: impl Fn(usize, &mut Rotor)) -> Vec<Rotor> {
    let mut rotors = rotors;
    rotors.iter_mut().enumerate().for_each(|(i, rotor)| change(i, rotor));
    rotors
}

/// Names and rotors; none of them is a craft that anybody should build.
fn crafts_to_break_it() -> Vec<(&'static str, Vec<Rotor>)> {
    vec![
        (
            "a six of which one alone turns the other way, balanced by tilt",
            changed(ring(6, 0.3, 0.0), |i, rotor| {
                rotor.spin = if i == 1 { Spin::Cw } else { Spin::Ccw };
                // Five against one leave four of the reaction torques to six tilted rotors.
                let lean = -4.0 * 0.016 / (6.0 * 0.3);
                let [x, y, _] = rotor.position_m;
                rotor.axis = [-lean * y / 0.3, lean * x / 0.3, -1.0];
            }),
        ),
        ("floors just below ceilings", changed(ring(6, 0.3, 0.0), |_, rotor| rotor.thrust_min_n = 8.0 - 1e-4)),
        (
            "one floor just below its ceiling",
            changed(ring(4, 0.25, 45.0), |i, rotor| {
                if i == 0 {
                    rotor.thrust_min_n = 8.0 - 1e-4;
                }
            }),
        ),
        (
            "axes tilted by 40 degrees every way",
            changed(ring(6, 0.3, 0.0), |i, rotor| {
                let (sin, cos) = (60.0 * i as f64 + 90.0).to_radians().sin_cos();
                let lean = if i % 2 == 0 { 0.84 } else { -0.84 };
                rotor.axis = [lean * cos, lean * sin, -1.0];
            }),
        ),
        ("almost no reaction torque", changed(ring(4, 0.25, 45.0), |_, rotor| rotor.torque_per_thrust_m = 1e-5)),
    ]
}

/// Regular frames whose places were typed with so many decimals of a metre: what would lie in one facet all but does.
fn typed_crafts() -> Vec<(String, Vec<Rotor>)> {
    let lean = |_: usize, rotor: &mut Rotor| {
        let [x, y, _] = rotor.position_m;
        rotor.axis = [-0.2 * x, -0.2 * y, -1.0];
    };
    let frames = [
        ("four", ring(4, 0.25, 45.0)),
        ("four, arm at the nose", ring(4, 0.23, 30.0)),
        ("six", ring(6, 0.35, 0.0)),
        ("six, nose between arms", ring(6, 0.35, 30.0)),
        ("eight", ring(8, 0.45, 22.5)),
        ("eight, arm at the nose", ring(8, 0.45, 0.0)),
        ("coaxial six", coaxial(3, 0.30, 60.0)),
        ("coaxial eight", coaxial(4, 0.40, 45.0)),
        ("tilted six", changed(ring(6, 0.35, 0.0), lean)),
        ("tilted eight", changed(ring(8, 0.45, 22.5), lean)),
    ];
    let mut all = Vec::new();
    for (name, rotors) in frames {
        for decimals in 2..=8 {
            let unit = 10.0_f64.powi(decimals);
            let rounded = |value: f64| (value * unit).round() / unit;
            let typed = changed(rotors.clone(), |_, rotor| {
                rotor.position_m = rotor.position_m.map(rounded);
                rotor.axis = rotor.axis.map(rounded);
            });
            all.push((format!("{name}, {decimals} decimals"), typed));
        }
    }
    all
}

/// Rotors a thousand times as strong as others, or that hardly lift.
fn lopsided_crafts() -> Vec<(&'static str, Vec<Rotor>)> {
    vec![
        (
            "an eight with one weak rotor",
            changed(ring(8, 0.3, 22.5), |i, rotor| {
                if i == 2 {
                    (rotor.thrust_min_n, rotor.thrust_max_n) = (0.0, 1e-3);
                }
            }),
        ),
        (
            "an eight with a rotor a thousand times as strong",
            changed(ring(8, 0.3, 22.5), |i, rotor| {
                if i == 5 {
                    rotor.thrust_max_n = 8e3;
                }
            }),
        ),
        (
            "two rotors across from each other that push sideways",
            changed(ring(6, 0.3, 0.0), |i, rotor| {
                if i % 3 == 0 {
                    rotor.axis = [0.0, 1.0, -1e-3];
                }
            }),
        ),
    ]
}

/// Pairs not quite above each other.
fn pairs() -> Vec<(&'static str, Vec<Rotor>)> {
    let near = |by: f64| {
        changed(coaxial(4, 0.3, 45.0), |i, rotor| {
            if i >= 4 {
                rotor.position_m[0] += by;
                rotor.position_m[1] -= 0.7 * by;
            }
        })
    };
    vec![
        ("pairs a millimetre apart", near(1e-3)),
        ("pairs ten micrometres apart", near(1e-5)),
        ("pairs a micrometre apart", near(1e-6)),
        ("pairs a tenth of a micrometre apart", near(1e-7)),
    ]
}

/// Demands made of corners and edges of the box of thrusts, and of the smallest numbers.
fn demands<const N: usize, const F: usize>(mixer: &Mixer<f64, N, F>, reach: [f64; 4]) -> Vec<[f64; 4]> {
    let mut random = SmallRng::seed_from_u64(81);
    let limits: Vec<(f64, f64)> = mixer.limits_n().collect();
    let mut all = Vec::new();
    for number in 0..CORNERS {
        let corner: Vec<f64> = limits.iter().map(|(low, high)| if random.random() { *low } else { *high }).collect();
        let mut thrusts = corner;
        if number % 2 == 1 {
            let moved = random.random_range(0..limits.len());
            thrusts[moved] = random.random_range(limits[moved].0..limits[moved].1);
        }
        let there = mixer.wrench(&thrusts).to_array();
        for by in [0.0, 1e-7, -1e-7, 0.3] {
            all.push(there.map(|value| value * (1.0 + by)));
        }
    }
    for axis in 0..4 {
        for size in [0.0, -0.0, f64::from(f32::MIN_POSITIVE) / 4.0, 1e-30, 1e-12, 1e-7, 0.1, 1.0, 3.0, 1e5] {
            for sign in [1.0, -1.0] {
                for thrust in [0.0, 0.4] {
                    let mut demand = [thrust * reach[0], 0.0, 0.0, 0.0];
                    demand[axis] += sign * size * reach[axis];
                    all.push(demand);
                }
            }
        }
    }
    // As `f32` takes them, and no thrust below zero.
    all.iter_mut().for_each(|demand| *demand = demand.map(|value| f64::from(value as f32)));
    all.iter_mut().for_each(|demand| demand[0] = demand[0].max(0.0));
    all
}

/// Proves every answer in `f64`, and gives the distance of those in `f32` to whoever asks.
fn prove<const N: usize, const F: usize>(
    name: &str,
    rotors: &[Rotor],
    tol_f64: f64,
    mut in_single: impl FnMut([f64; 4], [f64; 4], [f64; 4], f64),
) {
    let design = Design::<N, F>::new(rotors, [0.0; 3], Priority::DEFAULT).unwrap_or_else(|e| panic!("{name}: {e}"));
    let (double, single) = (Mixer::<f64, N, F>::new(&design), Mixer::<f32, N, F>::new(&design));
    let (reach, units, matrix) = (reach(&design), units(&design), design.effectiveness());
    let duality = Duality::new(matrix.columns(), matrix.floors_n(), matrix.ceilings_n());
    let (mut worst, mut worst_single, mut passes) = (0.0_f64, 0.0_f64, 0);
    for demand in demands(&double, reach) {
        let allocation = double.allocate(Wrench::from_array(demand));
        for (thrust, (low, high)) in allocation.thrusts_n.iter().zip(double.limits_n()) {
            assert!(*thrust >= low && *thrust <= high, "{name} {demand:?}: {thrust} leaves {low} to {high}");
        }
        let achieved = double.wrench(&allocation.thrusts_n).to_array();
        let verdict = duality.verdict(&DEFAULT_TIERS, true, (demand, achieved), units);
        let gap = verdict.gap / duality.range();
        assert!(gap <= tol_f64, "{name} {demand:?}: {gap:e} off, {verdict:?}, {achieved:?}");
        worst = worst.max(gap);
        let rounded = single.allocate(Wrench::from_array(demand.map(|value| value as f32)));
        for (thrust, (low, high)) in rounded.thrusts_n.iter().zip(single.limits_n()) {
            assert!(*thrust >= low && *thrust <= high, "{name} {demand:?}: {thrust} leaves {low} to {high}");
        }
        passes = passes.max(allocation.passes).max(rounded.passes);
        assert!(passes < MAX_PASSES, "{name} {demand:?}: the pass bound was hit");
        let got = rounded.achieved.to_array().map(f64::from);
        let distance = apart(got, achieved, reach);
        worst_single = worst_single.max(distance);
        in_single(demand, got, reach, distance);
    }
    println!("{name}: {worst:.1e} off at most, f32 {worst_single:.1e}; {passes} passes at most");
}

/// How far an answer in `f32` that is off by more than `tol` is from what is exact for data nearby.
fn from_data_nearby(
    search: &mut SmallRng,
    rotors: &[Rotor],
    (demand, got): ([f64; 4], [f64; 4]),
    reach: [f64; 4],
    tol: f64,
) -> f64 {
    Question { rotors, priority: Priority::DEFAULT, demand, reach, got }.distance(search, tol)
}

#[test]
fn is_the_optimum_when_the_craft_and_the_demand_are_made_to_break_it() {
    let mut search = SmallRng::seed_from_u64(82);
    for (name, rotors) in crafts_to_break_it().into_iter().chain(lopsided_crafts()) {
        prove::<8, { facet_capacity(8) }>(name, &rotors, TOL_F64, |demand, got, reach, distance| {
            if distance > TOL_DEFAULT_ORDER {
                let nearby = from_data_nearby(&mut search, &rotors, (demand, got), reach, TOL_DEFAULT_ORDER);
                assert!(nearby <= TOL_DEFAULT_ORDER, "{name} {demand:?}: {distance:e}, {nearby:e} from data nearby");
            }
        });
    }
}

/// Crafts as people type them: exact to the data as given where axes are upright, and to data nearby where tilted ones
/// make the answer turn by more than the demand does.
#[test]
fn is_the_optimum_in_single_precision_when_places_are_typed_in_decimals() {
    let mut search = SmallRng::seed_from_u64(84);
    for (name, rotors) in typed_crafts() {
        prove::<8, { facet_capacity(8) }>(&name, &rotors, TOL_F64, |demand, got, reach, distance| {
            if distance > TOL_DEFAULT_ORDER {
                let nearby = from_data_nearby(&mut search, &rotors, (demand, got), reach, TOL_DEFAULT_ORDER);
                assert!(nearby <= TOL_DEFAULT_ORDER, "{name} {demand:?}: {distance:e}, {nearby:e} from data nearby");
                assert!(name.starts_with("tilted"), "{name} {demand:?}: {distance:e} in f32");
            }
        });
    }
}

/// In `f32` too, every thrust keeps its limits; but what is promised of the wrench does not hold on these crafts, and
/// docs/allocation.md says so.
#[test]
fn is_the_optimum_in_double_precision_when_the_two_of_a_pair_are_all_but_at_one_place() {
    let mut search = SmallRng::seed_from_u64(83);
    let (mut tried, mut short, mut worst) = (0, 0, 0.0_f64);
    for (name, rotors) in pairs() {
        prove::<8, { facet_capacity(8) }>(name, &rotors, PAIRS_TOL_F64, |demand, got, reach, distance| {
            tried += 1;
            if distance > TOL_DEFAULT_ORDER {
                let nearby = from_data_nearby(&mut search, &rotors, (demand, got), reach, TOL_DEFAULT_ORDER);
                short += usize::from(nearby > TOL_DEFAULT_ORDER);
                worst = worst.max(nearby);
            }
        });
    }
    println!("{short} of {tried} demands are further off in f32 than promised of other crafts, by {worst:.2} at most");
    assert!(worst <= PAIRS_TOL_F32, "{worst}");
    assert!(short * PAIRS_ONE_IN <= tried, "{short} of {tried}");
}

#[test]
fn is_the_optimum_when_there_are_sixteen_rotors() {
    let flat = ring(16, 0.6, 0.0);
    let bent = changed(ring(16, 0.6, 0.0), |i, rotor| {
        let share = (i * i % 7) as f64 / 7.0;
        rotor.position_m[0] *= 0.8 + 0.4 * share;
        rotor.thrust_max_n *= 1.3 - 0.5 * share;
        rotor.axis = [0.1 * share, 0.1 * (0.5 - share), -1.0];
    });
    for (name, rotors) in [("a flat sixteen", flat), ("a lopsided sixteen", bent)] {
        prove::<16, { facet_capacity(16) }>(name, &rotors, TOL_F64, |demand, _, _, distance| {
            assert!(distance <= TOL_DEFAULT_ORDER, "{name} {demand:?}: {distance:e} in f32");
        });
    }
}
