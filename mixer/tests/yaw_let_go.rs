//! The rule of yaw's sign suspended in flight: thrust keeps what it asks for, and the rest is as designed without it.

mod crafts;

use crafts::{FACETS, TestDesign, design, ring, shapes};
use evenkeel_mixer::{Design, Mixer, Priority, Wrench};
use rand::rngs::SmallRng;
use rand::{Rng, SeedableRng};

/// Two plans over the same facets agree to this share of a craft's thrust.
const SAME_TOL: f64 = 1e-9;
const DEMANDS: usize = 2_000;
const WEIGHT_N: f64 = 20.0;

fn made(design: &TestDesign) -> Mixer<f64, 8, FACETS> {
    Mixer::new(design)
}

#[test]
fn alternating_six_without_a_rotor_keeps_its_height_once_yaw_is_let_go() {
    let hover = Wrench { thrust_n: WEIGHT_N, ..Wrench::default() };
    let rotors = ring(6, 0.35, 0.0);
    let mut given_away_n = Vec::new();
    for lost in 0..rotors.len() {
        // Its mass a centimetre off, as every craft's: what is left of yaw then goes with thrust.
        let off = Design::new(&rotors, [0.01, 0.0, 0.0], Priority::DEFAULT).expect("a regular craft");
        let mut mixer = made(&off);
        assert!(mixer.fail_rotor(lost));
        // The rotor across stands at its floor and turns the nose; to make up for it the rule moves thrust.
        given_away_n.push(WEIGHT_N - mixer.allocate(hover).achieved.thrust_n);
        mixer.let_yaw_go(true);
        let up = mixer.allocate(hover).achieved;
        assert!((up.thrust_n - WEIGHT_N).abs() < 1e-9 && up.roll_nm.hypot(up.pitch_nm) < 1e-9, "rotor {lost}: {up:?}");
    }
    assert!(given_away_n.iter().any(|n| *n > 0.5 * WEIGHT_N), "with the rule it would fall: {given_away_n:?}");
}

#[test]
fn is_the_craft_designed_without_the_rule_and_with_it_again_when_taken_back() {
    let mut random = SmallRng::seed_from_u64(5);
    let (mut differ, mut compared) = (0, 0);
    for (name, rotors) in shapes() {
        let with_rule = made(&design(&rotors, Priority::DEFAULT).expect("a regular craft"));
        let without = made(&design(&rotors, Priority::DEFAULT.with_keep_yaw_sign(false)).expect("a regular craft"));
        let mut let_go = with_rule.clone();
        let_go.let_yaw_go(true);
        let mut taken_back = let_go.clone();
        taken_back.let_yaw_go(false);
        let largest_n = 8.0 * rotors.len() as f64;
        for _ in 0..DEMANDS {
            let mut any = |most: f64| most * (2.0 * random.random::<f64>() - 1.0);
            let demand = Wrench {
                thrust_n: any(0.5 * largest_n) + 0.5 * largest_n,
                roll_nm: any(8.0),
                pitch_nm: any(8.0),
                yaw_nm: any(1.0),
            };
            let (plain, other) = (let_go.allocate(demand).achieved, without.allocate(demand).achieved);
            for (a, b) in plain.to_array().iter().zip(other.to_array()) {
                assert!((a - b).abs() <= SAME_TOL * largest_n, "{name} {demand:?}: {plain:?} {other:?}");
            }
            assert_eq!(taken_back.allocate(demand), with_rule.allocate(demand), "{name} {demand:?}");
            differ += usize::from(with_rule.allocate(demand).achieved != plain);
            compared += 1;
        }
    }
    assert!(differ > compared / 20, "the rule matters: {differ} of {compared}");
}
