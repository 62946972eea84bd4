//! Tiers whose zero is out of reach, where a scale means nothing: against quadratic programs.
//!
//! What can be had in the axes of such a tier is what thrusts within their limits make there while the tiers
//! above keep what they got, yaw stays in its band (from the tier of thrust on, until yaw is decided) and thrust
//! below its cap (until thrust is decided). Of that set the answer is
//!
//! * in two axes: the point nearest to the demand;
//! * in three or four: the last point on the way from the middle to the demand, the middle being what the
//!   thrusts nearest to half way make that keep all this.
//!
//! `continuity.rs` shows where this does not jump.

mod crafts;
mod quadratic;

use crafts::{FACETS, TestDesign, design, lopsided, reach, units};
use evenkeel_mixer::{Axis, Mixer, Priority, Rotor, Wrench};
use quadratic::Held;
use rand::rngs::SmallRng;
use rand::{Rng, SeedableRng};

/// Crafts drawn for each order, and demands for each craft.
const CRAFTS: usize = 40;
const DEMANDS: usize = 30;
/// Distances, in units of the rows, agree with the solver's to this. The solver ends at 1e-12 of the
/// squares, so that distances are known to the root of it, and on a strip to a little less.
const QP_TOL: f64 = 1e-5;
/// Zero, or a point, this far outside is outside for certain.
const CLEAR: f64 = 1e-3;
/// How far past the point that was reached the set must have ended.
const PAST: f64 = 2e-3;
/// Thrusts make the wrench that is said to be achieved, to this share of the axis range.
const MADE_TOL: f64 = 1e-9;
/// Fewer cases than this in all, and than this for each order, would show nothing.
const ENOUGH: usize = 1_000;
const ENOUGH_EACH: usize = 40;

use Axis::{Pitch, Roll, Thrust, Yaw};

/// An order, and what else is kept.
#[derive(Clone, Copy, Debug)]
struct Rule {
    order: &'static [&'static [Axis]],
    keep_yaw_sign: bool,
    rise_n: Option<f64>,
    /// A rotor has failed: zero torque is then out of reach in orders where it never is otherwise.
    failed: bool,
}

const fn plain(order: &'static [&'static [Axis]]) -> Rule {
    Rule { order, keep_yaw_sign: false, rise_n: None, failed: false }
}

const fn banded(order: &'static [&'static [Axis]]) -> Rule {
    Rule { keep_yaw_sign: true, ..plain(order) }
}

const fn capped(order: &'static [&'static [Axis]], rise_n: f64) -> Rule {
    Rule { rise_n: Some(rise_n), failed: true, ..plain(order) }
}

const PAIRS: [Rule; 15] = [
    plain(&[&[Thrust], &[Roll, Pitch], &[Yaw]]),
    plain(&[&[Yaw], &[Roll, Pitch], &[Thrust]]),
    plain(&[&[Thrust], &[Pitch, Yaw], &[Roll]]),
    plain(&[&[Roll], &[Thrust, Yaw], &[Pitch]]),
    plain(&[&[Thrust], &[Roll], &[Pitch, Yaw]]),
    banded(&[&[Thrust], &[Roll, Pitch], &[Yaw]]),
    banded(&[&[Thrust], &[Pitch, Yaw], &[Roll]]),
    banded(&[&[Thrust], &[Roll], &[Pitch, Yaw]]),
    banded(&[&[Roll], &[Thrust, Pitch], &[Yaw]]),
    banded(&[&[Thrust, Roll], &[Pitch], &[Yaw]]),
    capped(&[&[Roll, Pitch], &[Thrust], &[Yaw]], 0.0),
    capped(&[&[Roll, Pitch], &[Thrust], &[Yaw]], 2.0),
    capped(&[&[Yaw], &[Roll, Pitch], &[Thrust]], 0.5),
    capped(&[&[Roll], &[Pitch, Yaw], &[Thrust]], 0.5),
    Rule { keep_yaw_sign: true, ..capped(&[&[Roll], &[Thrust, Pitch], &[Yaw]], 0.5) },
];
const WIDE: [Rule; 9] = [
    plain(&[&[Thrust, Roll, Pitch], &[Yaw]]),
    plain(&[&[Thrust, Pitch, Yaw], &[Roll]]),
    plain(&[&[Thrust, Roll, Yaw], &[Pitch]]),
    plain(&[&[Thrust, Roll, Pitch, Yaw]]),
    plain(&[&[Thrust], &[Roll, Pitch, Yaw]]),
    plain(&[&[Yaw], &[Thrust, Roll, Pitch]]),
    banded(&[&[Thrust, Roll, Pitch], &[Yaw]]),
    banded(&[&[Thrust], &[Roll, Pitch, Yaw]]),
    capped(&[&[Roll, Pitch, Yaw], &[Thrust]], 0.5),
];

struct Case {
    design: TestDesign,
    mixer: Mixer<f64, 8, FACETS>,
    floors: Vec<f64>,
    ceilings: Vec<f64>,
    units: [f64; 4],
    reach: [f64; 4],
    rule: Rule,
}

/// Lopsided, every floor above zero: no thrust is out of reach.
fn draw(random: &mut SmallRng, number: usize, rule: Rule) -> Option<Case> {
    let mut rotors: Vec<Rotor> = lopsided(random, 4 + number % 5);
    for rotor in &mut rotors {
        rotor.thrust_min_n = rotor.thrust_min_n.max(0.2);
    }
    let design = design(&rotors, Priority::new(rule.order, rule.keep_yaw_sign).ok()?).ok()?;
    let mut mixer = Mixer::new(&design);
    if rule.failed {
        assert!(mixer.fail_rotor(number % rotors.len()));
    }
    let (floors, ceilings) = mixer.limits_n().unzip();
    Some(Case { mixer, floors, ceilings, units: units(&design), reach: reach(&design), design, rule })
}

impl Case {
    fn demand(&self, random: &mut SmallRng) -> [f64; 4] {
        let mut signed = |range: f64| random.random_range(-1.2..1.2) * range;
        let [thrust, roll, pitch, yaw] = self.reach.map(&mut signed);
        // On the ground little thrust is asked for.
        [if self.rule.rise_n.is_some() { 0.3 * thrust.abs() } else { thrust.abs() }, roll, pitch, yaw]
    }

    fn nearest(&self, near: &[usize], held: &Held, wanted: [f64; 4]) -> Option<[f64; 4]> {
        let limits = (&*self.floors, &*self.ceilings);
        quadratic::nearest(self.design.effectiveness().columns(), limits, self.units, (near, held), wanted)
    }

    fn middle(&self, held: &Held, wanted: [f64; 4]) -> Option<[f64; 4]> {
        let limits = (&*self.floors, &*self.ceilings);
        quadratic::middle(self.design.effectiveness().columns(), limits, self.units, held, wanted)
    }

    fn apart(&self, axes: &[usize], a: [f64; 4], b: [f64; 4]) -> f64 {
        axes.iter().map(|k| ((a[*k] - b[*k]) / self.units[*k]).powi(2)).sum::<f64>().sqrt()
    }

    /// What came out, once seen that thrusts within their limits make it.
    fn achieved(&self, demand: [f64; 4]) -> [f64; 4] {
        let wanted = Wrench::from_array(demand);
        let allocation = match self.rule.rise_n {
            Some(rise_n) => self.mixer.allocate_with_rise(wanted, rise_n),
            None => self.mixer.allocate(wanted),
        };
        for (thrust, (floor, ceiling)) in allocation.thrusts_n.iter().zip(self.floors.iter().zip(&self.ceilings)) {
            assert!(thrust >= floor && thrust <= ceiling, "{thrust} of {floor} to {ceiling}");
        }
        let made = self.mixer.wrench(&allocation.thrusts_n).to_array();
        let achieved = allocation.achieved.to_array();
        for ((said, made), reach) in achieved.iter().zip(made).zip(self.reach) {
            assert!((said - made).abs() <= MADE_TOL * reach, "said {said}, made {made}");
        }
        made
    }

    /// What the tiers above `tier` got, the yaw band and the cap: all that binds this tier.
    fn held(&self, tier: usize, demand: [f64; 4], got: [f64; 4]) -> Option<Held> {
        let above = |tier: usize| places(&self.rule.order[..tier].concat());
        let mut held = Held { axes: above(tier), strips: Vec::new() };
        if let (Some(rise_n), false) = (self.rule.rise_n, held.axes.contains(&Thrust.index())) {
            let (lowest, highest) = self.mixer.balanced_thrust_n();
            let lowest = if lowest <= highest { lowest } else { 0.0 };
            let cap = (demand[0] + rise_n).max(lowest);
            held.strips.push((Thrust.index(), -self.reach[0], cap));
        }
        let drawn = self.rule.order[..=tier].iter().position(|axes| axes.contains(&Thrust));
        if let (true, Some(drawn), false) = (self.rule.keep_yaw_sign, drawn, held.axes.contains(&Yaw.index()))
            && !self.rule.order[drawn].contains(&Yaw)
        {
            let before = Held { axes: above(drawn), strips: held.strips.clone() };
            let near = |yaw: f64| {
                let mut wanted = got;
                wanted[3] = yaw;
                Some(self.nearest(&[Yaw.index()], &before, wanted)?[3])
            };
            held.strips.push((Yaw.index(), near(demand[3].min(0.0))?, near(demand[3].max(0.0))?));
        }
        Some(held)
    }
}

fn places(axes: &[Axis]) -> Vec<usize> {
    axes.iter().map(|axis| axis.index()).collect()
}

/// `got` with other values in some axes.
fn with(got: [f64; 4], axes: &[usize], value: impl Fn(usize) -> f64) -> [f64; 4] {
    std::array::from_fn(|k| if axes.contains(&k) { value(k) } else { got[k] })
}

/// Calls with every demand whose zero is out of reach for certain in a tier of this many axes.
fn out_of_reach(
    seed: u64,
    rules: &[Rule],
    widths: &[usize],
    check: impl Fn(&Case, &[usize], &Held, [f64; 4], [f64; 4]) -> bool,
) {
    let mut random = SmallRng::seed_from_u64(seed);
    let mut all = 0;
    for rule in rules {
        let tier = rule.order.iter().position(|axes| widths.contains(&axes.len())).expect("a tier of that width");
        let axes = places(rule.order[tier]);
        let mut compared = 0;
        for case in (0..CRAFTS).filter_map(|number| draw(&mut random, number, *rule)).collect::<Vec<_>>() {
            for _ in 0..DEMANDS {
                let demand = case.demand(&mut random);
                let got = case.achieved(demand);
                let Some(held) = case.held(tier, demand, got) else { continue };
                let zero = with(got, &axes, |_| 0.0);
                let Some(nearest_to_zero) = case.nearest(&axes, &held, zero) else { continue };
                if case.apart(&axes, nearest_to_zero, zero) >= CLEAR {
                    compared += usize::from(check(&case, &axes, &held, demand, got));
                }
            }
        }
        println!("{rule:?}: {compared}");
        assert!(compared >= ENOUGH_EACH, "{rule:?}: {compared}");
        all += compared;
    }
    assert!(all >= ENOUGH, "{all}");
}

#[test]
fn takes_the_nearest_attainable_point_in_two_axes() {
    out_of_reach(61, &PAIRS, &[2], |case, axes, held, demand, got| {
        let Some(best) = case.nearest(axes, held, with(got, axes, |k| demand[k])) else { return false };
        let apart = case.apart(axes, got, best);
        assert!(apart <= QP_TOL, "{:?} {demand:?}: {got:?}, nearest is {best:?}, {apart:e} apart", case.rule);
        true
    });
}

#[test]
fn goes_from_the_middle_as_far_as_the_set_reaches_in_three_or_four_axes() {
    out_of_reach(62, &WIDE, &[3, 4], |case, axes, held, demand, got| {
        let Some(middle) = case.middle(held, got) else { return false };
        let (whole, done) = (case.apart(axes, demand, middle), case.apart(axes, got, middle));
        let left = case.apart(axes, demand, got);
        let off = done + left - whole;
        assert!(off <= QP_TOL, "{:?} {demand:?}: {got:?} is not on the way from {middle:?}, {off:e}", case.rule);
        if left < 2.0 * PAST {
            return false;
        }
        let share = (done + PAST) / whole;
        let further = with(got, axes, |k| middle[k] + share * (demand[k] - middle[k]));
        let Some(reached) = case.nearest(axes, held, further) else { return false };
        assert!(case.apart(axes, reached, further) > QP_TOL, "{:?} {demand:?}: stopped early at {got:?}", case.rule);
        true
    });
}

/// All of the pitch there is leaves a plus its two side rotors, which make a line in the three axes below: the way from
/// its middle leaves it at once, also where `f32` cannot tell the line from its surroundings.
#[test]
fn stays_in_the_middle_of_a_set_that_is_flat() {
    /// Newtons and newton metres.
    const TOL: f32 = 5e-6;
    let arm = |x, y, spin| Rotor {
        position_m: [x, y, 0.0],
        spin,
        torque_per_thrust_m: 0.016,
        thrust_min_n: 0.3,
        thrust_max_n: 8.0,
        ..Rotor::UP
    };
    let (ccw, cw) = (evenkeel_mixer::Spin::Ccw, evenkeel_mixer::Spin::Cw);
    let rotors = [arm(0.25, 0.0, ccw), arm(0.0, 0.25, cw), arm(-0.25, 0.0, ccw), arm(0.0, -0.25, cw)];
    let order = Priority::new(&[&[Pitch], &[Thrust, Roll, Yaw]], false).expect("an order");
    let craft: TestDesign = design(&rotors, order).expect("a plus");
    let mixer = Mixer::<f32, 8, FACETS>::new(&craft);
    let demand = [30.457_17, -0.208_572_8, 3.427_105, -0.221_829_31];
    let achieved = mixer.allocate(Wrench::from_array(demand)).achieved.to_array();
    // One at its ceiling, one at its floor, two half way.
    let middle = [2.0 * 8.3, 0.0, 0.25 * (8.0 - 0.3), 0.0];
    for (achieved, middle) in achieved.into_iter().zip(middle) {
        assert!((achieved - middle).abs() <= TOL * middle.max(1.0), "{achieved}, not {middle}");
    }
}
