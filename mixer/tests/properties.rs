//! Continuity and symmetry: what a pilot would feel as a jump or a bias.

mod crafts;

use crafts::{TestMixer, any_craft, any_demand, design, mixer, reach, shapes};
use evenkeel_mixer::{Allocation, Axis, Mixer, Priority, Rotor, Spin, Wrench};
use proptest::prelude::*;

/// Largest difference between what symmetry demands and what comes out, as a share of the ceiling.
const SYMMETRY_TOL: f64 = 1e-9;
/// Distances between torques agree to this, newton metres.
const NEAREST_TOL: f64 = 1e-9;
/// Steps along a segment, coarse and fine, and by how much at least the largest jump must shrink. An
/// exact halving with each halving of the step would give 1/32; pieces steeper than the coarse step
/// can show cost some of it, a jump would leave it at 1.
const COARSE: usize = 512;
const FINE: usize = 16_384;
const SHRINKS_TO: f64 = 0.2;
/// Jumps below this share of a ceiling are rounding.
const ROUNDING: f64 = 1e-9;

fn at(reach: [f64; 4], shares: [f64; 4]) -> Wrench<f64> {
    Wrench::from_array(std::array::from_fn(|k| shares[k] * reach[k]))
}

/// The largest change of any rotor's thrust from one step to the next.
fn largest_jump(mixer: &TestMixer<f64>, from: Wrench<f64>, to: Wrench<f64>, steps: usize) -> f64 {
    let (from, to) = (from.to_array(), to.to_array());
    let thrusts = |step: usize| {
        let share = step as f64 / steps as f64;
        mixer.allocate(Wrench::from_array(std::array::from_fn(|k| from[k] + share * (to[k] - from[k])))).thrusts_n
    };
    let mut before = thrusts(0);
    let mut largest = 0.0_f64;
    for step in 1..=steps {
        let now = thrusts(step);
        for (a, b) in now.iter().zip(&before) {
            largest = largest.max((a - b).abs());
        }
        before = now;
    }
    largest
}

fn assert_continuous(mixer: &TestMixer<f64>, from: Wrench<f64>, to: Wrench<f64>) -> Result<(), TestCaseError> {
    let (coarse, fine) = (largest_jump(mixer, from, to, COARSE), largest_jump(mixer, from, to, FINE));
    prop_assert!(fine <= SHRINKS_TO * coarse + ROUNDING, "{coarse:e} to {fine:e} from {from:?} to {to:?}");
    Ok(())
}

fn regular() -> impl Strategy<Value = Vec<Rotor>> {
    prop::sample::select(shapes()).prop_map(|(_, rotors)| rotors)
}

fn assert_same(a: &[f64], b: &[f64], unit: f64) -> Result<(), TestCaseError> {
    prop_assert_eq!(a.len(), b.len());
    for (x, y) in a.iter().zip(b) {
        prop_assert!((x - y).abs() <= SYMMETRY_TOL * unit, "{a:?}\n{b:?}");
    }
    Ok(())
}

fn other(spin: Spin) -> Spin {
    if spin == Spin::Cw { Spin::Ccw } else { Spin::Cw }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    #[test]
    fn thrusts_do_not_jump_along_any_segment(rotors in regular(), from in any_demand(1.5), to in any_demand(1.5)) {
        let mixer = mixer::<f64>(&rotors);
        let reach = reach(&design(&rotors, Priority::DEFAULT).unwrap());
        // A thrust below zero is refused, with a flag: from there on the demand is another one.
        let up = |[thrust, roll, pitch, yaw]: [f64; 4]| [thrust.abs(), roll, pitch, yaw];
        assert_continuous(&mixer, at(reach, up(from)), at(reach, up(to)))?;
    }

    #[test]
    fn thrusts_do_not_jump_through_zero_torque(rotors in regular(), far in any_demand(1.0), thrust in 0.0..1.0_f64) {
        let mixer = mixer::<f64>(&rotors);
        let reach = reach(&design(&rotors, Priority::DEFAULT).unwrap());
        let [_, roll, pitch, yaw] = far;
        assert_continuous(&mixer, at(reach, [thrust, roll, pitch, yaw]), at(reach, [thrust, -roll, -pitch, -yaw]))?;
    }

    #[test]
    fn thrusts_do_not_jump_along_an_edge_of_the_attainable_set(rotors in regular(), corner in 0..256_usize, moved in 0..8_usize) {
        let mixer = mixer::<f64>(&rotors);
        let thrusts = |corner: usize| -> Vec<f64> {
            let limit = |(i, rotor): (usize, &Rotor)| {
                if corner >> i & 1 == 1 { rotor.thrust_max_n } else { rotor.thrust_min_n }
            };
            rotors.iter().enumerate().map(limit).collect()
        };
        let across = corner ^ 1 << (moved % rotors.len());
        assert_continuous(&mixer, mixer.wrench(&thrusts(corner)), mixer.wrench(&thrusts(across)))?;
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(3000))]

    #[test]
    fn mirrored_craft_gives_the_same_thrusts_for_the_mirrored_demand(rotors in any_craft(), shares in any_demand(2.0)) {
        let mirrored: Vec<Rotor> = rotors.iter().map(|rotor| Rotor {
            position_m: [rotor.position_m[0], -rotor.position_m[1], rotor.position_m[2]],
            axis: [rotor.axis[0], -rotor.axis[1], rotor.axis[2]],
            spin: other(rotor.spin),
            ..*rotor
        }).collect();
        let mixer = mixer::<f64>(&rotors);
        let demand = at(reach(&design(&rotors, Priority::DEFAULT).unwrap()), shares);
        let seen_in_a_mirror = Wrench { roll_nm: -demand.roll_nm, yaw_nm: -demand.yaw_nm, ..demand };
        let thrusts = mixer.allocate(demand).thrusts_n;
        let mirror: TestMixer<f64> = crafts::mixer(&mirrored);
        assert_same(&thrusts, &mirror.allocate(seen_in_a_mirror).thrusts_n, 10.0)?;
    }

    #[test]
    fn renumbered_rotors_keep_their_thrusts(rotors in any_craft(), shares in any_demand(2.0), turn in 0..8_usize) {
        let first = mixer::<f64>(&rotors);
        let demand = at(reach(&design(&rotors, Priority::DEFAULT).unwrap()), shares);
        let mut renumbered = rotors.clone();
        renumbered.rotate_left(turn % rotors.len());
        let mut thrusts = first.allocate(demand).thrusts_n;
        thrusts.rotate_left(turn % rotors.len());
        assert_same(&thrusts, &mixer::<f64>(&renumbered).allocate(demand).thrusts_n, 10.0)?;
    }

    #[test]
    fn limits_and_demand_scale_together(rotors in any_craft(), shares in any_demand(2.0), scale in 0.1..10.0_f64) {
        let first = mixer::<f64>(&rotors);
        let demand = at(reach(&design(&rotors, Priority::DEFAULT).unwrap()), shares);
        let scaled: Vec<Rotor> = rotors.iter().map(|rotor| Rotor {
            thrust_min_n: scale * rotor.thrust_min_n,
            thrust_max_n: scale * rotor.thrust_max_n,
            ..*rotor
        }).collect();
        let wanted = Wrench::from_array(demand.to_array().map(|value| scale * value));
        let thrusts: Vec<f64> = first.allocate(demand).thrusts_n.iter().map(|thrust| scale * thrust).collect();
        assert_same(&thrusts, &mixer::<f64>(&scaled).allocate(wanted).thrusts_n, 10.0 * scale)?;
    }

    #[test]
    fn same_demand_gives_the_same_bits(rotors in any_craft(), shares in any_demand(2.0)) {
        let design = design(&rotors, Priority::DEFAULT).unwrap();
        let demand = at(reach(&design), shares);
        let wanted = Wrench::from_array(demand.to_array().map(|value| value as f32));
        let bits = |allocation: Allocation<f32, 8>| -> Vec<u32> {
            allocation.thrusts_n.iter().map(|thrust| thrust.to_bits()).collect()
        };
        let mixer = Mixer::<f32, 8, _>::new(&design);
        prop_assert_eq!(bits(mixer.allocate(wanted)), bits(Mixer::<f32, 8, _>::new(&design).allocate(wanted)));
        prop_assert_eq!(bits(mixer.allocate(wanted)), bits(mixer.clone().allocate(wanted)));
    }

    #[test]
    fn margin_is_spent_exactly_at_the_boundary(rotors in any_craft(), shares in any_demand(0.3)) {
        let mixer = mixer::<f64>(&rotors);
        let inside = at(reach(&design(&rotors, Priority::DEFAULT).unwrap()), shares);
        let margin = mixer.control_margin_nm(inside);
        prop_assert_eq!(margin > 0.0, !mixer.allocate(Wrench { thrust_n: inside.thrust_n.max(0.0), ..inside }).saturated()
            && inside.thrust_n >= 0.0);
        // No torque shorter than the margin leaves the set.
        let [roll, pitch, yaw] = [0.6, -0.48, 0.64].map(|part| part * margin.max(0.0) * 0.999_999);
        let moved = Wrench { roll_nm: inside.roll_nm + roll, pitch_nm: inside.pitch_nm + pitch, yaw_nm: inside.yaw_nm + yaw, ..inside };
        prop_assert!(margin <= 0.0 || mixer.control_margin_nm(moved) > 0.0);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    /// Projection onto a convex set is the nearest point and never moves two answers further apart
    /// than their demands were (textbook property; no source needed).
    #[test]
    fn takes_the_nearest_roll_and_pitch_where_zero_is_out_of_reach(
        lost in 0..4_usize,
        thrust in 0.15..0.7_f64,
        demands in prop::collection::vec((-1.0..1.0_f64, -1.0..1.0_f64), 4),
    ) {
        let tiers: [&[Axis]; 3] = [&[Axis::Thrust], &[Axis::Roll, Axis::Pitch], &[Axis::Yaw]];
        let design = design(&crafts::ring(4, 0.25, 45.0), Priority::new(&tiers, false).unwrap()).unwrap();
        let mut mixer = Mixer::<f64, 8, _>::new(&design);
        prop_assert!(mixer.fail_rotor(lost));
        let reach = reach(&design);
        // Roll and pitch share their unit on this craft: plain distances compare.
        let pairs: Vec<([f64; 2], [f64; 2])> = demands.iter().map(|(roll, pitch)| {
            let got = mixer.allocate(at(reach, [thrust, *roll, *pitch, 0.0])).achieved;
            ([roll * reach[1], pitch * reach[2]], [got.roll_nm, got.pitch_nm])
        }).collect();
        let apart = |a: [f64; 2], b: [f64; 2]| (a[0] - b[0]).hypot(a[1] - b[1]);
        for (demand, got) in &pairs {
            for (other_demand, other) in &pairs {
                prop_assert!(apart(*demand, *got) <= apart(*demand, *other) + NEAREST_TOL, "not the nearest: {demand:?} got {got:?} other {other:?}");
                prop_assert!(apart(*got, *other) <= apart(*demand, *other_demand) + NEAREST_TOL, "moved apart");
            }
        }
    }
}

#[test]
fn every_kind_of_number_gives_thrusts_within_the_limits() {
    let edges = [
        0.0,
        -0.0,
        f32::MIN_POSITIVE / 4.0,
        -f32::MIN_POSITIVE / 4.0,
        1.0,
        -1.0,
        f32::MAX,
        f32::MIN,
        f32::INFINITY,
        f32::NEG_INFINITY,
        f32::NAN,
    ];
    for (name, rotors) in shapes() {
        let mixer = mixer::<f32>(&rotors);
        for (thrust, roll) in edges.iter().flat_map(|a| edges.iter().map(move |b| (*a, *b))) {
            for yaw in edges {
                let demand = Wrench { thrust_n: thrust, roll_nm: roll, pitch_nm: -roll, yaw_nm: yaw };
                let allocation = mixer.allocate(demand);
                let bad = [thrust, roll, yaw].iter().any(|value| !value.is_finite()) || thrust < 0.0;
                assert_eq!(allocation.invalid_demand, bad, "{name} {demand:?}");
                for (thrust, rotor) in allocation.thrusts_n.iter().zip(&rotors) {
                    assert!(
                        *thrust >= rotor.thrust_min_n as f32 && *thrust <= rotor.thrust_max_n as f32,
                        "{name} {demand:?}: {thrust}"
                    );
                }
                assert!(allocation.achieved.to_array().iter().all(|value| value.is_finite()), "{name} {demand:?}");
            }
        }
    }
}
