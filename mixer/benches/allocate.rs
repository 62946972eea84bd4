//! What exact allocation costs, as ratios from one run: `cargo bench -p evenkeel-mixer`.
//!
//! Each row is one allocation in `f32` on a four, six or eight, against the bare 4×N product with its limits.
//! Both are called, never put in line: a product in line shares its loads with the loop that times it, and would be a floor
//! that no call can reach. All that is compared is timed in turn, round by round, so that what else the machine does falls
//! on both; a ratio is the median of those of the rounds. "Saturated" is the mean over demands in random order, "worst"
//! the slowest single demand repeated, "solver" a general quadratic program for the thrusts alone.
//!
//! Run by hand; it prints and judges nothing, because the clock of a machine at work decides nothing. `.ci/run counts`
//! holds the cost to its targets by counted instructions. `BLESS=1` writes docs/allocation_cost.md.

#[path = "../tests/crafts/mod.rs"]
mod crafts;
#[path = "../tests/quadratic/mod.rs"]
mod quadratic;
mod table;

use std::hint::black_box;
use std::process::ExitCode;
use std::time::Instant;

use crafts::{design, reach, ring};
use evenkeel_mixer::{Allocation, Design, Mixer, Priority, Rotor, Wrench, facet_capacity};
use rand::rngs::SmallRng;
use rand::{Rng, SeedableRng};

const DEMANDS: usize = 512;
/// Demands for the solver, which takes a thousand times as long.
const SOLVED: usize = 16;
/// Rounds for a ratio, repeats of all demands in each, and rounds for each single demand.
const ROUNDS: usize = 301;
const REPEATS: usize = 20;
const WORST_ROUNDS: usize = 21;
const DOCUMENT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../docs/allocation_cost.md");
const OPEN: &str = "<!-- cost: generated -->\n";
const CLOSE: &str = "<!-- cost: end -->";

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

/// Time of one call, nanoseconds.
fn time_ns<I, O>(inputs: &[I], repeats: usize, mut call: impl FnMut(&I) -> O) -> f64 {
    let start = Instant::now();
    for _ in 0..repeats {
        for input in inputs {
            black_box(call(black_box(input)));
        }
    }
    start.elapsed().as_secs_f64() * 1e9 / (repeats * inputs.len()) as f64
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

/// The floor: all that an allocation cannot do without.
#[inline(never)]
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

/// What is compared with it, called the same way.
#[inline(never)]
fn allocation<const N: usize, const F: usize>(mixer: &Mixer<f32, N, F>, wrench: &[f32; 4]) -> Allocation<f32, N> {
    mixer.allocate(Wrench::from_array(*wrench))
}

fn row<const N: usize, const F: usize>() -> [f64; table::COLUMNS.len()] {
    let rotors = craft(N);
    let design = Design::<N, F>::new(&rotors, [0.0; 3], Priority::DEFAULT).expect("a regular craft");
    let mixer = Mixer::<f32, N, F>::new(&design);
    let matrix = design.effectiveness();
    let rows = matrix.pseudo_inverse().map(|row| row.map(|value| value as f32));
    let low: [f32; N] = std::array::from_fn(|i| matrix.floors_n()[i] as f32);
    let high: [f32; N] = std::array::from_fn(|i| matrix.ceilings_n()[i] as f32);

    let single = |all: Vec<[f64; 4]>| -> Vec<[f32; 4]> { all.iter().map(|d| d.map(|value| value as f32)).collect() };
    let (gentle, mut wide) = (single(demands(&rotors, 0.04)), single(demands(&rotors, 1.5)));
    let allocate = |w: &[f32; 4]| allocation(black_box(&mixer), w);
    assert!(gentle.iter().all(|w| !allocate(w).saturated()), "gentle demands are met");
    wide.retain(|w| allocate(w).saturated());
    assert!(wide.len() > DEMANDS / 2, "wide demands saturate");
    let attainable: Vec<[f64; 4]> =
        wide.iter().take(SOLVED).map(|w| allocate(w).achieved.to_array().map(f64::from)).collect();

    let bare = |w: &[f32; 4]| product_and_clamp(black_box(&rows), black_box(&low), black_box(&high), w);
    let solve = |w: &[f64; 4]| quadratic::least_effort(matrix.columns(), matrix.floors_n(), matrix.ceilings_n(), *w);
    let (mut bares, mut met, mut saturated, mut solved) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for round in 0..ROUNDS {
        let floor = time_ns(&gentle, REPEATS, bare);
        bares.push(floor);
        met.push(time_ns(&gentle, REPEATS, allocate) / floor);
        let long = time_ns(&wide, 2, allocate);
        saturated.push(long / floor);
        if round % 8 == 0 {
            solved.push(time_ns(&attainable, 1, solve) / long);
        }
    }
    let bare_ns = median(bares);
    let by_itself = |w: &[f32; 4]| {
        let rounds = (0..WORST_ROUNDS).map(|_| time_ns(std::slice::from_ref(w), 50, allocate));
        median(rounds.collect()) / bare_ns
    };
    let worst = wide.iter().map(by_itself).fold(0.0, f64::max);
    let (saturated, solved) = (median(saturated), median(solved));
    let worst = worst.max(saturated);
    [N as f64, median(met), saturated, worst, solved, solved * saturated / worst, size_of::<Mixer<f32, N, F>>() as f64]
}

/// The table as it stands in the document.
fn table(rows: &[[f64; table::COLUMNS.len()]]) -> String {
    let mut text = format!("| {} |\n|{}\n", table::COLUMNS.join(" | "), " ---: |".repeat(table::COLUMNS.len()));
    for [rotors, met, saturated, worst, by_saturated, by_worst, bytes] in rows {
        text += &format!(
            "| {rotors} | {met:.2} | {saturated:.0} | {worst:.0} | {by_saturated:.0} | {by_worst:.0} | {bytes} |\n"
        );
    }
    text
}

fn write(table: &str) -> Result<(), String> {
    let text = std::fs::read_to_string(DOCUMENT).map_err(|error| format!("{DOCUMENT}: {error}"))?;
    let (before, rest) = text.split_once(OPEN).ok_or(format!("{DOCUMENT}: no mark {OPEN}"))?;
    let (_, after) = rest.split_once(CLOSE).ok_or(format!("{DOCUMENT}: no mark {CLOSE}"))?;
    std::fs::write(DOCUMENT, format!("{before}{OPEN}\n{table}\n{CLOSE}{after}"))
        .map_err(|error| format!("{DOCUMENT}: {error}"))
}

fn main() -> ExitCode {
    let rows = table::ROTORS.map(|rotors| match rotors {
        4 => row::<4, { facet_capacity(4) }>(),
        6 => row::<6, { facet_capacity(6) }>(),
        _ => row::<8, { facet_capacity(8) }>(),
    });
    let table = table(&rows);
    print!("{table}");
    match std::env::var_os("BLESS").map(|_| write(&table)) {
        Some(Err(fault)) => {
            eprintln!("{fault}");
            ExitCode::FAILURE
        }
        _ => ExitCode::SUCCESS,
    }
}
