//! What exact allocation costs, in one run: `cargo bench -p evenkeel-mixer`.
//!
//! Each line is the time of one allocation in `f32` on a four, six or eight. `product_and_clamp` is the
//! floor that the ratios refer to: the bare 4×N product with its limits. "Saturated" is the mean over
//! demands in random order, "worst" the slowest single demand repeated.

#[path = "../tests/crafts/mod.rs"]
mod crafts;
#[path = "../tests/quadratic/mod.rs"]
mod quadratic;

use std::hint::black_box;
use std::time::Instant;

use crafts::{design, reach, ring};
use evenkeel_mixer::{Design, Mixer, Priority, Rotor, Wrench, facet_capacity};
use rand::rngs::SmallRng;
use rand::{Rng, SeedableRng};

const DEMANDS: usize = 512;
const ROUNDS: usize = 41;
const REPEATS: usize = 20;

fn craft(count: usize) -> Vec<Rotor> {
    ring(count, 0.3, if count == 4 { 45.0 } else { 180.0 / count as f64 })
}

fn demands(rotors: &[Rotor], span: f64) -> Vec<[f64; 4]> {
    let reach = reach(&design(rotors, Priority::DEFAULT).expect("a regular craft"));
    let mut random = SmallRng::seed_from_u64(31);
    let mut signed = move || random.random_range(-span..span);
    (0..DEMANDS)
        .map(|_| [(0.5 + 0.5 * signed()) * reach[0], signed() * reach[1], signed() * reach[2], signed() * reach[3]])
        .collect()
}

/// Median over rounds of the time one call takes, nanoseconds.
fn median_ns<I, O>(inputs: &[I], mut call: impl FnMut(&I) -> O) -> f64 {
    let mut rounds: Vec<f64> = (0..ROUNDS)
        .map(|_| {
            let start = Instant::now();
            for _ in 0..REPEATS {
                for input in inputs {
                    black_box(call(black_box(input)));
                }
            }
            start.elapsed().as_secs_f64() * 1e9 / (REPEATS * inputs.len()) as f64
        })
        .collect();
    rounds.sort_by(f64::total_cmp);
    rounds[ROUNDS / 2]
}

/// Time of the slowest single demand, each timed by itself.
fn worst_ns<I, O>(inputs: &[I], mut call: impl FnMut(&I) -> O) -> f64 {
    inputs.iter().map(|input| median_ns(std::slice::from_ref(input), &mut call)).fold(0.0, f64::max)
}

fn product_and_clamp<const N: usize>(rows: &[[f32; 4]; N], low: &[f32; N], high: &[f32; N], w: &[f32; 4]) -> [f32; N] {
    std::array::from_fn(|i| {
        let thrust = rows[i][0] * w[0] + rows[i][1] * w[1] + rows[i][2] * w[2] + rows[i][3] * w[3];
        if thrust < low[i] {
            low[i]
        } else if thrust > high[i] {
            high[i]
        } else {
            thrust
        }
    })
}

fn row<const N: usize, const F: usize>() {
    let rotors = craft(N);
    let design = Design::<N, F>::new(&rotors, [0.0; 3], Priority::DEFAULT).expect("a regular craft");
    let mixer = Mixer::<f32, N, F>::new(&design);
    let matrix = design.effectiveness();
    let rows = matrix.pseudo_inverse().map(|row| row.map(|value| value as f32));
    let low: [f32; N] = std::array::from_fn(|i| matrix.floors_n()[i] as f32);
    let high: [f32; N] = std::array::from_fn(|i| matrix.ceilings_n()[i] as f32);

    let single = |all: &[[f64; 4]]| -> Vec<[f32; 4]> { all.iter().map(|d| d.map(|value| value as f32)).collect() };
    let (gentle, wide) = (demands(&rotors, 0.04), demands(&rotors, 1.5));
    let allocate = |w: &[f32; 4]| mixer.allocate(Wrench::from_array(*w));
    assert!(single(&gentle).iter().all(|w| !allocate(w).saturated()), "gentle demands are met");
    let saturating: Vec<[f64; 4]> =
        wide.into_iter().filter(|d| allocate(&d.map(|value| value as f32)).saturated()).collect();

    let bare = median_ns(&single(&gentle), |w| product_and_clamp(&rows, &low, &high, w));
    let met = median_ns(&single(&gentle), allocate);
    let saturated = median_ns(&single(&saturating), allocate);
    let worst = worst_ns(&single(&saturating), allocate);
    let attainable: Vec<[f64; 4]> = saturating
        .iter()
        .take(16)
        .map(|d| allocate(&d.map(|value| value as f32)).achieved.to_array().map(f64::from))
        .collect();
    let quadratic = median_ns(&attainable, |w| {
        quadratic::least_effort(matrix.columns(), matrix.floors_n(), matrix.ceilings_n(), *w)
    });
    println!(
        "| {N} | {bare:.1} | {met:.1} | {:.1} | {saturated:.0} | {:.0} | {worst:.0} | {:.0} | {:.0} | {:.0} | {} |",
        met / bare,
        saturated / bare,
        worst / bare,
        quadratic / 1e3,
        quadratic / saturated,
        size_of::<Mixer<f32, N, F>>(),
    );
}

fn main() {
    println!(
        "| rotors | product and clamp, ns | met demand, ns | ratio | saturated, ns | ratio | worst, ns | ratio \
         | quadratic program, us | times slower | mixer, bytes |"
    );
    println!("| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |");
    row::<4, { facet_capacity(4) }>();
    row::<6, { facet_capacity(6) }>();
    row::<8, { facet_capacity(8) }>();
}
