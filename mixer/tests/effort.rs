//! Rotor thrusts against a general quadratic programming solver: the least squares within the limits.

mod crafts;
mod quadratic;

use crafts::{FACETS, TestDesign, design, lopsided, reach, shapes};
use evenkeel_mixer::{Mixer, Priority, Rotor, Wrench};
use rand::rngs::SmallRng;
use rand::{Rng, SeedableRng};

/// Largest distance of a thrust from the solver's, as a share of its ceiling. On the boundary of the
/// attainable set the interior-point method itself is no better.
const THRUST_TOL: f64 = 1e-6;
/// Largest share by which the effort may exceed the solver's.
const EFFORT_TOL: f64 = 1e-9;
const CRAFTS: usize = 60;
const DEMANDS_A_CRAFT: usize = 40;

fn craft(random: &mut SmallRng, number: usize) -> Vec<Rotor> {
    let shapes = shapes();
    if number.is_multiple_of(2) {
        shapes[number / 2 % shapes.len()].1.clone()
    } else {
        lopsided(random, 4 + number % 5)
    }
}

#[test]
fn thrusts_are_the_least_squares_within_the_limits() {
    let mut random = SmallRng::seed_from_u64(21);
    let (mut compared, mut apart, mut excess, mut limited) = (0, 0.0_f64, 0.0_f64, 0);
    for number in 0..CRAFTS {
        let rotors = craft(&mut random, number);
        let Ok(design): Result<TestDesign, _> = design(&rotors, Priority::DEFAULT) else { continue };
        let mixer = Mixer::<f64, 8, FACETS>::new(&design);
        let matrix = design.effectiveness();
        let reach = reach(&design);
        for step in 0..DEMANDS_A_CRAFT {
            let span = [0.3, 1.0][step % 2];
            let share: [f64; 4] = std::array::from_fn(|k| random.random_range(if k == 0 { 0.0 } else { -span }..span));
            let allocation = mixer.allocate(Wrench::from_array(std::array::from_fn(|k| share[k] * reach[k])));
            let wrench = mixer.wrench(&allocation.thrusts_n).to_array();
            let Some(thrusts) =
                quadratic::least_effort(matrix.columns(), matrix.floors_n(), matrix.ceilings_n(), wrench)
            else {
                continue;
            };
            compared += 1;
            limited += usize::from(allocation.passes > 0);
            let effort = |thrusts: &[f64]| thrusts.iter().map(|t| t * t).sum::<f64>();
            excess = excess.max(effort(&allocation.thrusts_n) / effort(&thrusts) - 1.0);
            for ((ours, theirs), ceiling) in allocation.thrusts_n.iter().zip(&thrusts).zip(matrix.ceilings_n()) {
                apart = apart.max((ours - theirs).abs() / ceiling);
            }
        }
    }
    println!("{compared} compared, {limited} with passes: thrusts {apart:.2e}, effort {excess:.2e}");
    assert!(compared > CRAFTS * DEMANDS_A_CRAFT * 8 / 10 && limited > 50);
    assert!(apart <= THRUST_TOL, "{apart:e}");
    assert!(excess <= EFFORT_TOL, "{excess:e}");
}
