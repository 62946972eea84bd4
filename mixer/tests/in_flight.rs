//! Limits that change in flight, a rotor lost, thrust that may not rise: all against the same oracle.

mod crafts;
mod oracle;

use crafts::{FACETS, TestDesign, TestMixer, design, lopsided, reach, shapes};
use evenkeel_mixer::{Axis, MAX_PASSES, Mixer, Priority, Rotor, Scalar, Wrench};
use oracle::Oracle;
use rand::rngs::SmallRng;
use rand::{Rng, SeedableRng};

/// Largest distance from the optimum, as a share of the axis range.
const TOL_F64: f64 = 1e-9;
const TOL_F32: f64 = 2e-5;
/// A ceiling scaled in `f32` may differ from one scaled in `f64` by this share.
const LIMIT_TOL: f64 = 1.2e-7;
const CRAFTS: usize = 90;
const DEMANDS_A_CRAFT: usize = 40;

const TIERS: [&[Axis]; 3] = [&[Axis::Roll, Axis::Pitch], &[Axis::Thrust], &[Axis::Yaw]];

fn craft(random: &mut SmallRng, number: usize) -> Vec<Rotor> {
    let shapes = shapes();
    if number.is_multiple_of(2) {
        shapes[number / 2 % shapes.len()].1.clone()
    } else {
        lopsided(random, 4 + number % 5)
    }
}

fn draw_demand(random: &mut SmallRng, number: usize, reach: [f64; 4]) -> [f64; 4] {
    let span = [0.2, 0.6, 2.0][number % 3];
    let mut share = |low: f64| random.random_range(low..span);
    let [t, r, p, y] = [share(0.0), share(-span), share(-span), share(-span)];
    [t * reach[0], r * reach[1], p * reach[2], y * reach[3]].map(|value| f64::from(value as f32))
}

fn distance<S: Scalar>(achieved: Wrench<S>, best: [f64; 4], reach: [f64; 4]) -> f64 {
    let apart = |((got, best), reach): ((S, f64), f64)| ((got.to_f64() - best) / reach).abs();
    achieved.to_array().into_iter().zip(best).zip(reach).map(apart).fold(0.0, f64::max)
}

/// Draws crafts, lets `change` alter both mixers and the limits that the oracle sees, and compares.
fn compare(
    seed: u64,
    change: impl Fn(&mut SmallRng, &mut TestMixer<f64>, &mut TestMixer<f32>, &mut Vec<f64>, &mut Vec<f64>),
    rise_n: Option<f64>,
) {
    let mut random = SmallRng::seed_from_u64(seed);
    let (mut worst_f64, mut worst_f32, mut compared, mut passes) = (0.0_f64, 0.0_f64, 0, 0);
    for number in 0..CRAFTS {
        let rotors = craft(&mut random, number);
        let Ok(design): Result<TestDesign, _> = design(&rotors, Priority::DEFAULT) else { continue };
        let mut double = Mixer::<f64, 8, FACETS>::new(&design);
        let mut single = Mixer::<f32, 8, FACETS>::new(&design);
        let matrix = design.effectiveness();
        let (mut floors, mut ceilings) = (matrix.floors_n().to_vec(), matrix.ceilings_n().to_vec());
        change(&mut random, &mut double, &mut single, &mut floors, &mut ceilings);
        let oracle = Oracle::new(matrix.columns(), &floors, &ceilings);
        let reach = reach(&design);
        for number in 0..DEMANDS_A_CRAFT {
            let demand = draw_demand(&mut random, number, reach);
            let (wanted, rounded) = (Wrench::from_array(demand), Wrench::from_array(demand.map(|v| v as f32)));
            let (in_double, in_single) = match rise_n {
                Some(rise_n) => {
                    (double.allocate_with_rise(wanted, rise_n), single.allocate_with_rise(rounded, rise_n as f32))
                }
                None => (double.allocate(wanted), single.allocate(rounded)),
            };
            for (thrust, (floor, ceiling)) in in_single.thrusts_n.iter().zip(floors.iter().zip(&ceilings)) {
                let (thrust, slack) = (f64::from(*thrust), LIMIT_TOL * ceiling);
                assert!(thrust >= floor - slack && thrust <= ceiling + slack, "left the limits");
            }
            passes = passes.max(in_double.passes).max(in_single.passes);
            let cap = rise_n.map(|rise_n| (demand[0] + rise_n).max(design.balanced_thrust_n().0));
            let Some(best) = oracle.best_below(&TIERS, true, demand, cap) else { continue };
            compared += 1;
            worst_f64 = worst_f64.max(distance(in_double.achieved, best, reach));
            worst_f32 = worst_f32.max(distance(in_single.achieved, best, reach));
        }
    }
    println!("{compared} compared: f64 {worst_f64:.2e}, f32 {worst_f32:.2e}, {passes} passes at most");
    assert!(compared > CRAFTS * DEMANDS_A_CRAFT / 5, "only {compared} compared");
    assert!(worst_f64 <= TOL_F64, "{worst_f64:e} in f64");
    assert!(worst_f32 <= TOL_F32, "{worst_f32:e} in f32");
    assert!(passes < MAX_PASSES);
}

#[test]
fn is_the_optimum_within_ceilings_that_sag() {
    let sag = |random: &mut SmallRng,
               double: &mut TestMixer<f64>,
               single: &mut TestMixer<f32>,
               _: &mut Vec<f64>,
               ceilings: &mut Vec<f64>| {
        let share = f64::from(random.random_range(0.5_f32..1.0));
        assert!(double.scale_ceilings(share) && single.scale_ceilings(share as f32));
        ceilings.iter_mut().for_each(|ceiling| *ceiling *= share);
    };
    compare(11, sag, None);
}

#[test]
fn is_the_optimum_within_limits_set_rotor_by_rotor() {
    let set = |random: &mut SmallRng,
               double: &mut TestMixer<f64>,
               single: &mut TestMixer<f32>,
               floors: &mut Vec<f64>,
               ceilings: &mut Vec<f64>| {
        let rotor = random.random_range(0..floors.len());
        let (floor, ceiling) =
            (f64::from(random.random_range(0.0_f32..0.5)), f64::from(random.random_range(3.0_f32..9.0)));
        assert!(double.set_limits(rotor, floor, ceiling) && single.set_limits(rotor, floor as f32, ceiling as f32));
        (floors[rotor], ceilings[rotor]) = (floor, ceiling);
    };
    compare(12, set, None);
}

/// A floor of its own stays when all ceilings sag.
#[test]
fn is_the_optimum_when_ceilings_sag_above_a_floor_that_was_set() {
    let set = |random: &mut SmallRng,
               double: &mut TestMixer<f64>,
               single: &mut TestMixer<f32>,
               floors: &mut Vec<f64>,
               ceilings: &mut Vec<f64>| {
        let (rotor, floor) = (random.random_range(0..floors.len()), f64::from(random.random_range(1.0_f32..3.0)));
        let ceiling = ceilings[rotor];
        assert!(double.set_limits(rotor, floor, ceiling) && single.set_limits(rotor, floor as f32, ceiling as f32));
        assert!(double.scale_ceilings(0.875) && single.scale_ceilings(0.875));
        floors[rotor] = floor;
        ceilings.iter_mut().for_each(|ceiling| *ceiling *= 0.875);
    };
    compare(16, set, None);
}

#[test]
fn is_the_optimum_of_the_rotors_left_when_one_has_failed() {
    let fail = |random: &mut SmallRng,
                double: &mut TestMixer<f64>,
                single: &mut TestMixer<f32>,
                floors: &mut Vec<f64>,
                ceilings: &mut Vec<f64>| {
        let rotor = random.random_range(0..floors.len());
        assert!(double.fail_rotor(rotor) && single.fail_rotor(rotor));
        (floors[rotor], ceilings[rotor]) = (0.0, 0.0);
    };
    compare(13, fail, None);
}

#[test]
fn is_the_optimum_below_a_cap_on_thrust() {
    compare(14, |_, _, _, _, _| {}, Some(0.0));
    compare(15, |_, _, _, _, _| {}, Some(2.0));
}

/// Thrusts after a failure taken back agree with those before it to this share of a ceiling.
const RESTORED_TOL: f64 = 1e-12;

#[test]
fn a_restored_rotor_works_as_before_and_under_the_ceilings_of_now() {
    let mut random = SmallRng::seed_from_u64(16);
    for (name, rotors) in shapes() {
        let design: TestDesign = design(&rotors, Priority::DEFAULT).expect("a regular craft");
        let mut never_failed = Mixer::<f64, 8, FACETS>::new(&design);
        let mut restored = never_failed.clone();
        assert!(!restored.restore_rotor(0), "{name}: it has not failed");
        assert!(restored.fail_rotor(0) && restored.has_failed(0));
        assert!(restored.scale_ceilings(0.8) && never_failed.scale_ceilings(0.8));
        assert!(restored.restore_rotor(0) && !restored.has_failed(0), "{name}");
        assert!(!restored.restore_rotor(rotors.len()), "{name}: there is no such rotor");
        for number in 0..DEMANDS_A_CRAFT {
            let demand = Wrench::from_array(draw_demand(&mut random, number, reach(&design)));
            let (before, after) = (never_failed.allocate(demand).thrusts_n, restored.allocate(demand).thrusts_n);
            for (a, b) in before.iter().zip(&after) {
                assert!((a - b).abs() <= RESTORED_TOL * 8.0, "{name} {demand:?}: {before:?} {after:?}");
            }
        }
    }
}
