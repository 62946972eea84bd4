//! The closed form against linear programming and duality, on crafts and demands drawn at random.
//!
//! Each answer in `f64` is proven optimal by weak duality (`duality`), or compared with the linear programs
//! (`oracle`) where rounding leaves the proof open, and one in [`PROGRAMS_ONE_IN`] besides, proven or not. Where
//! programs disagree or give up, rational arithmetic without rounding (`exact`) says which of the two errs.
//! Each answer in `f32` lies as near to it as promised, or to the exact answer to data nearby (`nearby`).
//!
//! The ordinary run draws [`ORDINARY_DEMANDS`]; for the long run set `EVENKEEL_ORACLE_DEMANDS`, for
//! example `EVENKEEL_ORACLE_DEMANDS=10000000 cargo test --release -p evenkeel-mixer --test optimality`.

mod crafts;
mod duality;
mod exact;
mod nearby;
mod oracle;

use crafts::{FACETS, TestDesign, apart, design, reach, shapes, units};
use duality::Duality;
use evenkeel_mixer::{Axis, MAX_PASSES, Mixer, Priority, Rotor, Wrench};
use exact::Exact;
use nearby::{Question, TOL_DEFAULT_ORDER, TOL_OTHER_ORDERS};
use oracle::Oracle;
use rand::rngs::SmallRng;
use rand::{Rng, SeedableRng};

/// Demands in the ordinary run.
const ORDINARY_DEMANDS: usize = 60_000;
/// Largest distance from the optimum, as a share of the axis range, in `f64`.
const TOL_F64: f64 = 1e-9;
/// An answer that duality places within this is not asked of the linear programs.
const PROVEN_TOL: f64 = 1e-9;
/// Of the answers that duality proves, so many are compared with the linear programs too.
const PROGRAMS_ONE_IN: usize = 40;
/// Where rounding leaves the proof open and the solver gives up, the proof must come as near as this, and no
/// more than one answer in so many may be left so.
const OPEN_TOL: f64 = 1e-6;
const OPEN_ONE_IN: usize = 10_000;
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

/// What was found, added up.
#[derive(Default)]
struct Found {
    drawn: usize,
    proven: usize,
    /// Of these, a tier of two axes whose zero is out of reach.
    nearest: usize,
    /// A tier of three or four whose zero is out of reach: all tiers but that are proven, `out_of_reach.rs`
    /// has that.
    unsaid: usize,
    open: usize,
    compared: usize,
    /// Answers on which programs disagreed or gave up while rounding left the proof open: decided without rounding.
    exactly: usize,
    f64: f64,
    f32: f64,
    /// In `f32` beyond the tolerance for the data as given, and how far from data nearby.
    moved: usize,
    nearby: f64,
    passes: u8,
}

impl Found {
    fn add(&mut self, other: &Found) {
        self.drawn += other.drawn;
        self.unsaid += other.unsaid;
        self.nearest += other.nearest;
        self.open += other.open;
        self.proven += other.proven;
        self.compared += other.compared;
        self.exactly += other.exactly;
        self.f64 = self.f64.max(other.f64);
        self.f32 = self.f32.max(other.f32);
        self.moved += other.moved;
        self.nearby = self.nearby.max(other.nearby);
        self.passes = self.passes.max(other.passes);
    }
}

fn compare(seed: u64, total: usize, tiers: &[&[Axis]], keep_yaw_sign: bool) -> Found {
    let tol_f32 = if tiers == DEFAULT_TIERS { TOL_DEFAULT_ORDER } else { TOL_OTHER_ORDERS };
    let mut random = SmallRng::seed_from_u64(seed);
    // Its own, so that the demands drawn do not hang on what was found.
    let mut search = SmallRng::seed_from_u64(seed);
    let mut found = Found::default();
    let priority = Priority::new(tiers, keep_yaw_sign).expect("a partition");
    for craft in 0.. {
        if found.drawn >= total {
            break;
        }
        let rotors = draw_craft(&mut random, craft);
        let Ok(design): Result<TestDesign, _> = design(&rotors, priority) else { continue };
        let matrix = design.effectiveness();
        let limits = (matrix.floors_n(), matrix.ceilings_n());
        let duality = Duality::new(matrix.columns(), limits.0, limits.1);
        let oracle = Oracle::new(matrix.columns(), limits.0, limits.1);
        let double = Mixer::<f64, 8, FACETS>::new(&design);
        let single = Mixer::<f32, 8, FACETS>::new(&design);
        let reach = reach(&design);
        for number in 0..DEMANDS_A_CRAFT {
            let demand = draw_demand(&mut random, number, reach);
            found.drawn += 1;
            let in_double = double.allocate(Wrench::from_array(demand));
            let in_single = single.allocate(Wrench::from_array(demand.map(|value| value as f32)));
            found.passes = found.passes.max(in_double.passes).max(in_single.passes);
            let achieved = double.wrench(&in_double.thrusts_n).to_array();
            for (thrust, (low, high)) in in_double.thrusts_n.iter().zip(limits.0.iter().zip(limits.1)) {
                assert!(*thrust >= *low && *thrust <= *high, "{tiers:?} {demand:?}: {thrust} leaves {low} to {high}");
            }
            let verdict = duality.verdict(tiers, keep_yaw_sign, (demand, achieved), units(&design));
            let gap = verdict.gap / duality.range();
            let proven = gap <= PROVEN_TOL;
            if verdict.zero_out_of_reach > 2 {
                found.unsaid += 1;
            } else {
                found.proven += usize::from(proven);
            }
            if verdict.zero_out_of_reach == 2 {
                found.nearest += 1;
            }
            let asked = !proven || found.drawn.is_multiple_of(PROGRAMS_ONE_IN);
            // They have no answer where zero is out of reach, and their solver gives up on a few.
            let programs = if asked { oracle.best(tiers, keep_yaw_sign, demand) } else { None };
            found.compared += usize::from(programs.is_some());
            let mut distance = programs.map(|best| apart(achieved, best, reach));
            if !proven && distance.is_none() || distance.is_some_and(|distance| !(distance <= TOL_F64)) {
                let exact = Exact::new(matrix.columns(), limits.0, limits.1).best(tiers, keep_yaw_sign, demand);
                found.exactly += usize::from(exact.is_some());
                distance = exact.map(|best| apart(achieved, best, reach)).or(distance);
            }
            match distance {
                Some(distance) => {
                    assert!(distance <= TOL_F64, "{tiers:?} {demand:?}: {distance:e} off, {rotors:?}");
                    found.f64 = found.f64.max(distance);
                }
                None if proven => {}
                None => {
                    found.open += 1;
                    assert!(gap <= OPEN_TOL, "{tiers:?} {demand:?}: {gap:e}, {verdict:?}: {achieved:?}, {rotors:?}");
                }
            }
            let got = in_single.achieved.to_array().map(f64::from);
            let distance = apart(got, achieved, reach);
            found.f32 = found.f32.max(distance);
            if distance > tol_f32 {
                let question = Question { rotors: &rotors, priority, demand, reach, got };
                let nearby = question.distance(&mut search, tol_f32);
                println!("{tiers:?} {demand:?}: f32 {distance:.1e} off, {nearby:.1e} from data nearby, {rotors:?}");
                found.moved += 1;
                found.nearby = found.nearby.max(nearby);
            }
        }
    }
    found
}

/// Neither shares anything with the other but the columns; on ordinary demands they agree.
#[test]
fn rational_arithmetic_and_programs_agree_when_rotors_lie_well_apart() {
    let mut random = SmallRng::seed_from_u64(9);
    let mut agreed = 0;
    for (number, order) in partitions(&Axis::ALL).iter().enumerate() {
        let tiers: Vec<&[Axis]> = order.iter().map(Vec::as_slice).collect();
        let keep_yaw_sign = number.is_multiple_of(2);
        let rotors = crafts::lopsided(&mut random, 4 + number % 3);
        let Ok(design) = design(&rotors, Priority::new(&tiers, keep_yaw_sign).expect("a partition")) else { continue };
        let matrix = design.effectiveness();
        let limits = (matrix.floors_n(), matrix.ceilings_n());
        let oracle = Oracle::new(matrix.columns(), limits.0, limits.1);
        let exact = Exact::new(matrix.columns(), limits.0, limits.1);
        let demand = draw_demand(&mut random, number, reach(&design));
        let Some(best) = exact.best(&tiers, keep_yaw_sign, demand) else { continue };
        let programs = oracle.best(&tiers, keep_yaw_sign, demand).expect("an answer where zero is in reach");
        assert!(apart(programs, best, reach(&design)) <= TOL_F64, "{tiers:?}: {programs:?}, {best:?}");
        agreed += 1;
    }
    assert!(agreed > 20, "{agreed}");
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

fn assert_within(found: &Found, what: &str, tol_f32: f64) {
    let Found { drawn, proven, nearest, unsaid, open, compared, exactly, f64, f32, moved, nearby, passes } = *found;
    println!(
        "{what}: {drawn} demands; {proven} proven, {nearest} of them nearest points; {unsaid} proven but for a wide tier \
         whose zero is out of reach; {open} to {OPEN_TOL:e} only; {compared} compared with programs, {exactly} decided \
         without rounding, {f64:.1e} off at most; f32 {f32:.1e} off at most, {moved} of them above {tol_f32:e}, {nearby:.1e} from data nearby; {passes} \
         passes at most"
    );
    assert!(open <= drawn.div_ceil(OPEN_ONE_IN), "{what}: {open} left open");
    assert!(found.nearby <= tol_f32, "{what}: {:e} in f32 even from data nearby", found.nearby);
    assert!(found.passes < MAX_PASSES, "{what}: the pass bound was hit");
    // Both proofs were really at work.
    assert!(found.proven > found.drawn / 3 && found.compared > found.drawn / (4 * PROGRAMS_ONE_IN), "{what}");
}

#[test]
fn is_the_optimum_in_the_default_order() {
    let total = demands_to_draw() / 3;
    assert_within(&compare(1, total, &DEFAULT_TIERS, true), "default order", TOL_DEFAULT_ORDER);
    assert_within(&compare(2, total, &DEFAULT_TIERS, false), "default order, yaw may turn", TOL_DEFAULT_ORDER);
}

#[test]
fn is_the_optimum_in_every_order() {
    let orders = partitions(&Axis::ALL);
    assert_eq!(orders.len(), 75, "ordered partitions of four axes");
    let each = (demands_to_draw() / 3).div_ceil(orders.len());
    let mut found = Found::default();
    for (number, order) in (0..).zip(&orders) {
        let tiers: Vec<&[Axis]> = order.iter().map(Vec::as_slice).collect();
        found.add(&compare(100 + number, each, &tiers, number % 2 == 0));
    }
    assert_within(&found, "all 75 orders", TOL_OTHER_ORDERS);
}

/// Largest shortfall of a demand that can be met, as a share of the axis range.
const MET_TOL: f64 = 1e-10;

#[test]
fn meets_what_can_be_met_in_every_order() {
    let mut random = SmallRng::seed_from_u64(7);
    for (number, order) in partitions(&Axis::ALL).iter().enumerate() {
        let tiers: Vec<&[Axis]> = order.iter().map(Vec::as_slice).collect();
        let priority = Priority::new(&tiers, number.is_multiple_of(2)).expect("a partition");
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
                let short = apart(got.to_array(), demand.to_array(), reach(&design));
                assert!(short <= MET_TOL, "{order:?}: {short:e} short of {demand:?}, got {got:?}");
            }
        }
    }
}
