//! Tiers whose zero is out of reach, where a scale means nothing: against quadratic programs.
//!
//! * Two axes, no yaw band and no cap: the attainable point nearest to the demand
//! * Three or four axes in the first tier: as far from the middle of the set towards the demand as the
//!   set reaches; `continuity.rs` shows that this does not jump

mod crafts;
mod quadratic;

use crafts::{FACETS, TestDesign, design, lopsided, reach};
use evenkeel_mixer::{Axis, Mixer, Priority, Rotor, Wrench};
use rand::rngs::SmallRng;
use rand::{Rng, SeedableRng};

/// Crafts drawn for each order, and demands for each craft.
const CRAFTS: usize = 40;
const DEMANDS: usize = 30;
/// Distances, in units of the rows, agree with the solver's to this. The solver ends at 1e-12 of the
/// squares, so that distances are known to the root of it.
const QP_TOL: f64 = 1e-6;
/// Zero, or a point, this far outside is outside for certain.
const CLEAR: f64 = 1e-3;
/// How far past the point that was reached the set must have ended.
const PAST: f64 = 2e-3;
/// Thrusts make the wrench that is said to be achieved, to this share of the axis range.
const MADE_TOL: f64 = 1e-9;
/// Fewer cases than this would show nothing.
const ENOUGH: usize = 1_000;
const PAIR_ORDERS: [[&[Axis]; 3]; 4] = [
    [&[Axis::Thrust], &[Axis::Roll, Axis::Pitch], &[Axis::Yaw]],
    [&[Axis::Yaw], &[Axis::Roll, Axis::Pitch], &[Axis::Thrust]],
    [&[Axis::Thrust], &[Axis::Pitch, Axis::Yaw], &[Axis::Roll]],
    [&[Axis::Roll], &[Axis::Thrust, Axis::Yaw], &[Axis::Pitch]],
];
const WIDE_ORDERS: [&[&[Axis]]; 4] = [
    &[&[Axis::Thrust, Axis::Roll, Axis::Pitch], &[Axis::Yaw]],
    &[&[Axis::Thrust, Axis::Pitch, Axis::Yaw], &[Axis::Roll]],
    &[&[Axis::Thrust, Axis::Roll, Axis::Yaw], &[Axis::Pitch]],
    &[&[Axis::Thrust, Axis::Roll, Axis::Pitch, Axis::Yaw]],
];

struct Case {
    design: TestDesign,
    mixer: Mixer<f64, 8, FACETS>,
    units: [f64; 4],
    reach: [f64; 4],
}

/// Lopsided, every floor above zero: no thrust is out of reach.
fn draw(random: &mut SmallRng, number: usize, tiers: &[&[Axis]]) -> Option<Case> {
    let mut rotors: Vec<Rotor> = lopsided(random, 4 + number % 5);
    for rotor in &mut rotors {
        rotor.thrust_min_n = rotor.thrust_min_n.max(0.2);
    }
    let design = design(&rotors, Priority::new(tiers.iter().copied(), false).ok()?).ok()?;
    // Rows are compared in their largest entry, rounded down to a power of two.
    let units = design.effectiveness().row_scales().map(|scale| scale.log2().floor().exp2());
    let (mixer, reach) = (Mixer::new(&design), reach(&design));
    Some(Case { design, mixer, units, reach })
}

impl Case {
    fn demand(&self, random: &mut SmallRng) -> [f64; 4] {
        let mut signed = |range: f64| random.random_range(-1.2..1.2) * range;
        let [thrust, roll, pitch, yaw] = self.reach.map(&mut signed);
        [thrust.abs(), roll, pitch, yaw]
    }

    fn nearest(&self, near: &[usize], held: &[usize], wanted: [f64; 4]) -> Option<[f64; 4]> {
        let matrix = self.design.effectiveness();
        let limits = (matrix.floors_n(), matrix.ceilings_n());
        quadratic::nearest(matrix.columns(), limits, self.units, (near, held), wanted)
    }

    fn apart(&self, axes: &[usize], a: [f64; 4], b: [f64; 4]) -> f64 {
        axes.iter().map(|k| ((a[*k] - b[*k]) / self.units[*k]).powi(2)).sum::<f64>().sqrt()
    }

    /// What came out, once seen that thrusts within their limits make it.
    fn achieved(&self, demand: [f64; 4]) -> [f64; 4] {
        let allocation = self.mixer.allocate(Wrench::from_array(demand));
        for (thrust, (floor, ceiling)) in allocation.thrusts_n.iter().zip(self.mixer.limits_n()) {
            assert!(*thrust >= floor && *thrust <= ceiling, "{thrust} of {floor} to {ceiling}");
        }
        let made = self.mixer.wrench(&allocation.thrusts_n).to_array();
        let achieved = allocation.achieved.to_array();
        for ((said, made), reach) in achieved.iter().zip(made).zip(self.reach) {
            assert!((said - made).abs() <= MADE_TOL * reach, "said {said}, made {made}");
        }
        made
    }
}

fn places(axes: &[Axis]) -> Vec<usize> {
    axes.iter().map(|axis| axis.index()).collect()
}

#[test]
fn takes_the_nearest_attainable_point_in_two_axes_where_zero_is_out_of_reach() {
    let mut random = SmallRng::seed_from_u64(61);
    let (mut compared, mut worst) = (0, 0.0_f64);
    for order in PAIR_ORDERS {
        let [first, pair, _] = order.map(places);
        for case in (0..CRAFTS).filter_map(|number| draw(&mut random, number, &order)).collect::<Vec<_>>() {
            for _ in 0..DEMANDS {
                let demand = case.demand(&mut random);
                let got = case.achieved(demand);
                let mut wanted = demand;
                first.iter().for_each(|k| wanted[*k] = got[*k]);
                let mut zero = wanted;
                pair.iter().for_each(|k| zero[*k] = 0.0);
                let Some(nearest_to_zero) = case.nearest(&pair, &first, zero) else { continue };
                if case.apart(&pair, nearest_to_zero, zero) < CLEAR {
                    continue;
                }
                let Some(best) = case.nearest(&pair, &first, wanted) else { continue };
                let apart = case.apart(&pair, got, best);
                assert!(apart <= QP_TOL, "{order:?} {demand:?}: {got:?}, nearest is {best:?}, {apart:e} apart");
                worst = worst.max(apart);
                compared += 1;
            }
        }
    }
    println!("{compared} demands, {worst:.1e} from the nearest point at most");
    assert!(compared >= ENOUGH, "{compared}");
}

/// Where the projection does not cover, and what docs/allocation.md says of it.
#[test]
fn goes_from_the_middle_as_far_as_the_set_reaches_in_three_or_four_axes() {
    let mut random = SmallRng::seed_from_u64(62);
    let mut compared = 0;
    for order in WIDE_ORDERS {
        let axes = places(order[0]);
        for case in (0..CRAFTS).filter_map(|number| draw(&mut random, number, order)).collect::<Vec<_>>() {
            let half: Vec<f64> = case.mixer.limits_n().map(|(floor, ceiling)| 0.5 * (floor + ceiling)).collect();
            let middle = case.mixer.wrench(&half).to_array();
            for _ in 0..DEMANDS {
                let demand = case.demand(&mut random);
                let got = case.achieved(demand);
                let (whole, done) = (case.apart(&axes, demand, middle), case.apart(&axes, got, middle));
                let left = case.apart(&axes, demand, got);
                assert!((done + left - whole).abs() <= QP_TOL, "{order:?} {demand:?}: {got:?} is not on the way");
                if left < 2.0 * PAST {
                    continue;
                }
                let share = (done + PAST) / whole;
                let further: [f64; 4] = std::array::from_fn(|k| middle[k] + share * (demand[k] - middle[k]));
                let Some(reached) = case.nearest(&axes, &[], further) else { continue };
                assert!(case.apart(&axes, reached, further) > QP_TOL, "{order:?} {demand:?}: stopped early at {got:?}");
                compared += 1;
            }
        }
    }
    assert!(compared >= ENOUGH, "{compared}");
}
