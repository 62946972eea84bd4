//! No jump along segments of demands on lopsided crafts: the step with the largest change is halved, on
//! the side where more of the change is, until a steep piece would have shrunk to nothing.
//!
//! Source: the definition of continuity; no source needed.

mod crafts;

use crafts::{FACETS, TestDesign, design, lopsided, reach};
use evenkeel_mixer::{Axis, Mixer, Priority, Wrench};
use rand::rngs::SmallRng;
use rand::{Rng, SeedableRng};

/// Crafts for each order, and segments for each craft.
const CRAFTS: usize = 60;
const SEGMENTS: usize = 6;
/// Steps of a segment before its worst one is halved, so often.
const STEPS: usize = 256;
const HALVINGS: usize = 26;
/// What is left of a steep piece after the halvings, newtons. A jump keeps its size.
const LEFT_N: f64 = 1e-4;
/// The same under a yaw band, where a point may stand on facets and band at once and least squares then end where
/// rounding lets them: 1.2e-4 was seen.
const LEFT_BANDED_N: f64 = 5e-4;

const DEFAULT_ORDER: &[&[Axis]] = &[&[Axis::Roll, Axis::Pitch], &[Axis::Thrust], &[Axis::Yaw]];
/// Zero is out of reach of their first tier on every craft whose rotors have floors.
const WIDE_ORDERS: [&[&[Axis]]; 4] = [
    &[&[Axis::Thrust, Axis::Roll, Axis::Pitch], &[Axis::Yaw]],
    &[&[Axis::Thrust, Axis::Pitch, Axis::Yaw], &[Axis::Roll]],
    &[&[Axis::Thrust, Axis::Roll, Axis::Yaw], &[Axis::Pitch]],
    &[&[Axis::Thrust, Axis::Roll, Axis::Pitch, Axis::Yaw]],
];

/// Thrust shares a tier with another axis, so that zero is out of reach there; a yaw band is kept.
const PAIR_ORDERS: [&[&[Axis]]; 2] = [
    &[&[Axis::Roll], &[Axis::Thrust, Axis::Pitch], &[Axis::Yaw]],
    &[&[Axis::Thrust, Axis::Roll], &[Axis::Pitch], &[Axis::Yaw]],
];

/// Largest change of a thrust between two places of a segment.
fn change(thrusts: &impl Fn(f64) -> Vec<f64>, from: f64, to: f64) -> f64 {
    thrusts(from).iter().zip(thrusts(to)).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max)
}

/// What stays of the largest change when its step is halved again and again.
fn jump_that_stays(thrusts: &impl Fn(f64) -> Vec<f64>) -> f64 {
    let place = |step: usize| step as f64 / STEPS as f64;
    let steps = (0..STEPS).map(|step| (place(step), place(step + 1)));
    let sized = steps.map(|(from, to)| (change(thrusts, from, to), from, to));
    let (_, mut from, mut to) = sized.max_by(|a, b| a.0.total_cmp(&b.0)).expect("there are steps");
    for _ in 0..HALVINGS {
        let middle = 0.5 * (from + to);
        if change(thrusts, from, middle) > change(thrusts, middle, to) { to = middle } else { from = middle }
    }
    change(thrusts, from, to)
}

fn assert_no_jump(seed: u64, order: &[&[Axis]], keep_yaw_sign: bool, left_n: f64) {
    let mut random = SmallRng::seed_from_u64(seed);
    let priority = Priority::new(order, keep_yaw_sign).expect("a partition");
    let mut segments = 0;
    for number in 0..CRAFTS {
        let rotors = lopsided(&mut random, 4 + number % 5);
        let Ok(design): Result<TestDesign, _> = design(&rotors, priority) else { continue };
        let (mixer, reach) = (Mixer::<f64, 8, FACETS>::new(&design), reach(&design));
        for _ in 0..SEGMENTS {
            let mut demand = || -> [f64; 4] {
                let [thrust, roll, pitch, yaw] = reach.map(|range| random.random_range(-1.5..1.5) * range);
                [thrust.abs(), roll, pitch, yaw]
            };
            let (a, b) = (demand(), demand());
            let thrusts = |share: f64| -> Vec<f64> {
                let at = std::array::from_fn(|k| a[k] + share * (b[k] - a[k]));
                mixer.allocate(Wrench::from_array(at)).thrusts_n.to_vec()
            };
            let left = jump_that_stays(&thrusts);
            assert!(left <= left_n, "{order:?}, {} rotors: a jump of {left:e} N from {a:?} to {b:?}", rotors.len());
            segments += 1;
        }
    }
    assert!(segments >= CRAFTS, "{segments}");
}

/// Zero roll and pitch lie strictly inside on every craft that is accepted.
#[test]
fn lopsided_craft_does_not_jump_in_the_default_order() {
    assert_no_jump(71, DEFAULT_ORDER, true, LEFT_N);
    assert_no_jump(72, DEFAULT_ORDER, false, LEFT_N);
}

#[test]
fn lopsided_craft_does_not_jump_where_zero_is_out_of_reach_in_three_or_four_axes() {
    for (seed, order) in (73..).zip(WIDE_ORDERS) {
        assert_no_jump(seed, order, false, LEFT_N);
    }
}

#[test]
fn lopsided_craft_does_not_jump_where_zero_is_out_of_reach_under_a_yaw_band() {
    for (seed, order) in (81..).zip(PAIR_ORDERS) {
        assert_no_jump(seed, order, true, LEFT_BANDED_N);
    }
}
