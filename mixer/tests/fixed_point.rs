//! Fixed point against double precision: `cargo test -p evenkeel-mixer --features fixed`.

mod crafts;

use crafts::{mixer, reach, shapes};
use evenkeel_mixer::{ALLOCATION_TOL_FIXED, Fixed, MAX_PASSES, Scalar, Wrench};
use rand::rngs::SmallRng;
use rand::{Rng, SeedableRng};

const DEMANDS: usize = 1500;

#[test]
fn stays_within_its_stated_error_and_the_limits() {
    let mut random = SmallRng::seed_from_u64(41);
    let mut worst = 0.0_f64;
    for (name, rotors) in shapes() {
        let (double, fixed) = (mixer::<f64>(&rotors), mixer::<Fixed>(&rotors));
        let reach = reach(&crafts::design(&rotors, evenkeel_mixer::Priority::DEFAULT).expect("a regular craft"));
        for number in 0..DEMANDS {
            let span = [0.3, 1.0, 3.0][number % 3];
            let demand: [f64; 4] =
                std::array::from_fn(|k| reach[k] * random.random_range(if k == 0 { 0.0 } else { -span }..span));
            let exact = double.allocate(Wrench::from_array(demand));
            let rounded = fixed.allocate(Wrench::from_array(demand.map(Fixed::from_f64)));
            assert!(rounded.passes < MAX_PASSES, "{name}");
            for (thrust, rotor) in rounded.thrusts_n.iter().zip(&rotors) {
                let (low, high) = (Fixed::from_f64(rotor.thrust_min_n), Fixed::from_f64(rotor.thrust_max_n));
                assert!(*thrust >= low && *thrust <= high, "{name} left the limits");
            }
            for k in 0..4 {
                let apart = exact.achieved.to_array()[k] - rounded.achieved.to_array()[k].to_f64();
                worst = worst.max((apart / reach[k]).abs());
            }
        }
    }
    println!("fixed point: {worst:.2e} of the range");
    assert!(worst <= ALLOCATION_TOL_FIXED, "{worst:e}");
    assert!(worst >= 0.1 * ALLOCATION_TOL_FIXED, "the stated tolerance is slack: {worst:e}");
}

/// On lopsided crafts the small angles between rotors' columns cost digits; the limits hold all the same.
const LOPSIDED_TOL: f64 = 1e-6;

#[test]
fn stays_within_the_limits_and_near_the_optimum_on_lopsided_crafts() {
    let mut random = SmallRng::seed_from_u64(42);
    let (mut worst, mut passes) = (0.0_f64, 0);
    for number in 0..60 {
        let rotors = crafts::lopsided(&mut random, 4 + number % 5);
        let Ok(design) = crafts::design(&rotors, evenkeel_mixer::Priority::DEFAULT) else { continue };
        let (double, fixed) = (crafts::TestMixer::<f64>::new(&design), crafts::TestMixer::<Fixed>::new(&design));
        let reach = reach(&design);
        for number in 0..150 {
            let span = [0.3, 1.0, 3.0][number % 3];
            let demand: [f64; 4] =
                std::array::from_fn(|k| reach[k] * random.random_range(if k == 0 { 0.0 } else { -span }..span));
            let exact = double.allocate(Wrench::from_array(demand));
            let rounded = fixed.allocate(Wrench::from_array(demand.map(Fixed::from_f64)));
            passes = passes.max(rounded.passes);
            for (thrust, rotor) in rounded.thrusts_n.iter().zip(&rotors) {
                let (low, high) = (Fixed::from_f64(rotor.thrust_min_n), Fixed::from_f64(rotor.thrust_max_n));
                assert!(*thrust >= low && *thrust <= high, "left the limits");
            }
            for k in 0..4 {
                let apart = exact.achieved.to_array()[k] - rounded.achieved.to_array()[k].to_f64();
                worst = worst.max((apart / reach[k]).abs());
            }
        }
    }
    println!("fixed point, lopsided: {worst:.2e} of the range, {passes} passes at most");
    assert!(worst <= LOPSIDED_TOL, "{worst:e}");
}
