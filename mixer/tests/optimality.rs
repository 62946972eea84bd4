//! The closed form against linear and quadratic programming, on crafts and demands drawn at random.
//!
//! The ordinary run draws [`ORDINARY_DEMANDS`]; for the long run set `EVENKEEL_ORACLE_DEMANDS`, for
//! example `EVENKEEL_ORACLE_DEMANDS=10000000 cargo test --release -p evenkeel-mixer --test optimality`.

mod crafts;
mod oracle;

use crafts::{FACETS, TestDesign, design, reach, shapes};
use evenkeel_mixer::{Axis, MAX_PASSES, Mixer, Priority, Rotor, Scalar, Wrench};
use oracle::Oracle;
use rand::rngs::SmallRng;
use rand::{Rng, SeedableRng};

/// Demands in the ordinary run.
const ORDINARY_DEMANDS: usize = 24_000;
/// Largest distance from the optimum, as a share of the axis range, in `f64`.
const TOL_F64: f64 = 1e-9;
/// The same in `f32`.
const TOL_F32: f64 = 2e-5;
/// Where a demand meets a corner of two almost parallel facets to rounding, `f32` cannot tell which of
/// them it met. So many demands on lopsided crafts may then be off by more, and by no more than this.
const RARE_ONE_IN: usize = 100_000;
const RARE_TOL_F32: f64 = 2e-4;
const DEMANDS_A_CRAFT: usize = 60;

const DEFAULT_TIERS: [&[Axis]; 3] = [&[Axis::Roll, Axis::Pitch], &[Axis::Thrust], &[Axis::Yaw]];

fn demands_to_draw() -> usize {
    std::env::var("EVENKEEL_ORACLE_DEMANDS").ok().and_then(|text| text.parse().ok()).unwrap_or(ORDINARY_DEMANDS)
}

fn draw_craft(random: &mut SmallRng, number: usize) -> Vec<Rotor> {
    let shapes = shapes();
    if number.is_multiple_of(3) {
        return shapes[number / 3 % shapes.len()].1.clone();
    }
    crafts::lopsided(random, 4 + number % 5)
}

fn draw_demand(random: &mut SmallRng, number: usize, reach: [f64; 4]) -> [f64; 4] {
    let span = [0.3, 1.0, 3.0][number % 3];
    let [t, r, p, y] = reach;
    let mut signed = |range: f64| random.random_range(-span..span) * range;
    let torques = [signed(r), signed(p), signed(y)];
    let [roll, pitch, yaw] = torques.map(|torque| f64::from(torque as f32));
    [f64::from((random.random_range(0.0..span) * t) as f32), roll, pitch, yaw]
}

/// Distance of what was achieved from the optimum, as a share of the axis range.
fn distance<S: Scalar>(achieved: Wrench<S>, best: [f64; 4], reach: [f64; 4]) -> f64 {
    let apart = |((got, best), reach): ((S, f64), f64)| ((got.to_f64() - best) / reach).abs();
    achieved.to_array().into_iter().zip(best).zip(reach).map(apart).fold(0.0, f64::max)
}

struct Worst {
    drawn: usize,
    skipped: usize,
    f64: f64,
    f32: f64,
    f32_above: usize,
    f64_above: usize,
    passes: u8,
}

fn compare(seed: u64, total: usize, tiers: &[&[Axis]], keep_yaw_sign: bool) -> Worst {
    let mut random = SmallRng::seed_from_u64(seed);
    let mut worst = Worst { drawn: 0, skipped: 0, f64: 0.0, f32: 0.0, f32_above: 0, f64_above: 0, passes: 0 };
    let priority = Priority::new(tiers.iter().copied(), keep_yaw_sign).expect("a partition");
    for craft in 0.. {
        if worst.drawn >= total {
            break;
        }
        let rotors = draw_craft(&mut random, craft);
        let Ok(design): Result<TestDesign, _> = design(&rotors, priority) else { continue };
        let matrix = design.effectiveness();
        let oracle = Oracle::new(matrix.columns(), matrix.floors_n(), matrix.ceilings_n());
        let double = Mixer::<f64, 8, FACETS>::new(&design);
        let single = Mixer::<f32, 8, FACETS>::new(&design);
        let reach = reach(&design);
        for number in 0..DEMANDS_A_CRAFT {
            let demand = draw_demand(&mut random, number, reach);
            worst.drawn += 1;
            let Some(best) = oracle.best(tiers, keep_yaw_sign, demand) else {
                worst.skipped += 1;
                continue;
            };
            let in_double = double.allocate(Wrench::from_array(demand));
            let in_single = single.allocate(Wrench::from_array(demand.map(|value| value as f32)));
            let (apart_f64, apart_f32) =
                (distance(in_double.achieved, best, reach), distance(in_single.achieved, best, reach));
            worst.passes = worst.passes.max(in_double.passes).max(in_single.passes);
            worst.f32_above += usize::from(apart_f32 > TOL_F32);
            worst.f64_above += usize::from(apart_f64 > TOL_F64);
            worst.f64 = worst.f64.max(apart_f64);
            worst.f32 = worst.f32.max(apart_f32);
        }
    }
    worst
}

/// Every ordered partition of the axes.
fn partitions(left: &[Axis]) -> Vec<Vec<Vec<Axis>>> {
    if left.is_empty() {
        return vec![Vec::new()];
    }
    let mut all = Vec::new();
    for pick in 1..1_usize << left.len() {
        let chosen = |wanted: bool| -> Vec<Axis> {
            left.iter().enumerate().filter(|(i, _)| (pick >> i & 1 == 1) == wanted).map(|(_, axis)| *axis).collect()
        };
        for mut rest in partitions(&chosen(false)) {
            rest.insert(0, chosen(true));
            all.push(rest);
        }
    }
    all
}

fn assert_within(worst: &Worst, what: &str) {
    println!(
        "{what}: {} demands, {} where the tiers do not say; f64 {:.2e}, f32 {:.2e}, {} passes at most",
        worst.drawn, worst.skipped, worst.f64, worst.f32, worst.passes
    );
    assert!(worst.f64 <= TOL_F64, "{what}: {:e} in f64, {} above", worst.f64, worst.f64_above);
    let rare = worst.drawn / RARE_ONE_IN;
    assert!(worst.f32_above <= rare, "{what}: {:e} in f32, {} above", worst.f32, worst.f32_above);
    assert!(worst.f32 <= RARE_TOL_F32, "{what}: {:e} in f32", worst.f32);
    assert!(worst.passes < MAX_PASSES, "{what}: the pass bound was hit");
}

#[test]
fn is_the_optimum_of_the_linear_programs_in_the_default_order() {
    let total = demands_to_draw() / 3;
    assert_within(&compare(1, total, &DEFAULT_TIERS, true), "default order");
    assert_within(&compare(2, total, &DEFAULT_TIERS, false), "default order, yaw may turn");
}

#[test]
fn is_the_optimum_of_the_linear_programs_in_every_order() {
    let orders = partitions(&Axis::ALL);
    assert_eq!(orders.len(), 75, "ordered partitions of four axes");
    let each = (demands_to_draw() / 3).div_ceil(orders.len());
    for (number, order) in (0..).zip(&orders) {
        let tiers: Vec<&[Axis]> = order.iter().map(Vec::as_slice).collect();
        assert_within(&compare(100 + number, each, &tiers, number % 2 == 0), &format!("{order:?}"));
    }
}

/// Largest shortfall of a demand that can be met, as a share of the axis range.
const MET_TOL: f64 = 1e-10;

#[test]
fn meets_what_can_be_met_in_every_order() {
    let mut random = SmallRng::seed_from_u64(7);
    for (number, order) in partitions(&Axis::ALL).iter().enumerate() {
        let priority = Priority::new(order.iter().map(Vec::as_slice), number.is_multiple_of(2)).expect("a partition");
        for craft in 0..12 {
            let rotors = draw_craft(&mut random, craft);
            let Ok(design): Result<TestDesign, _> = design(&rotors, priority) else { continue };
            let mixer = Mixer::<f64, 8, FACETS>::new(&design);
            for _ in 0..20 {
                // Many rotors at their limits, so that the pseudo-inverse alone does not meet it.
                let inside = |rotor: &Rotor| {
                    let share = random.random_range(-0.5..1.5_f64).clamp(0.0, 1.0);
                    rotor.thrust_min_n + share * (rotor.thrust_max_n - rotor.thrust_min_n)
                };
                let thrusts: Vec<f64> = rotors.iter().map(inside).collect();
                let demand = mixer.wrench(&thrusts);
                let allocation = mixer.allocate(demand);
                let got = mixer.wrench(&allocation.thrusts_n);
                let short = distance(got, demand.to_array(), reach(&design));
                assert!(short <= MET_TOL, "{order:?}: {short:e} short of {demand:?}, got {got:?}");
            }
        }
    }
}
