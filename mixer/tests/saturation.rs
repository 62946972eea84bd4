//! What must hold for every craft and every demand.

mod crafts;

use crafts::{TestDesign, any_craft, any_demand, design, mixer, reach};
use evenkeel_mixer::{Allocation, Axis, MAX_PASSES, Mixer, Priority, Scalar, Wrench};
use proptest::prelude::*;

/// Largest error of a met component, relative to what the rotors can add up to in that axis.
const MET_TOL_F32: f64 = 2e-6;
/// The same in double precision.
const MET_TOL_F64: f64 = 1e-12;

fn demand<S: Scalar>(shares: [f64; 4], reach: [f64; 4]) -> Wrench<S> {
    let [t, r, p, y] = shares;
    let [rt, rr, rp, ry] = reach;
    Wrench::from_array([t * rt, r * rr, p * rp, y * ry].map(S::from_f64))
}

/// Demand less what the thrusts make of it, in shares of the reach, summed in double precision.
fn shortfall<S: Scalar, const N: usize>(allocation: &Allocation<S, N>, design: &TestDesign) -> [f64; 4] {
    let mut rest = allocation.demand.to_array().map(S::to_f64);
    for (column, thrust) in design.effectiveness().columns().iter().zip(&allocation.thrusts_n) {
        for (value, share) in rest.iter_mut().zip(column) {
            *value -= share * thrust.to_f64();
        }
    }
    let reach = reach(design);
    std::array::from_fn(|k| rest[k] / reach[k])
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(4000))]

    #[test]
    fn never_leaves_the_limits(rotors in any_craft(), shares in any_demand(3.0)) {
        let design = design(&rotors, Priority::DEFAULT).unwrap();
        let mixer = Mixer::<f32, 8, _>::new(&design);
        let allocation = mixer.allocate(demand(shares, reach(&design)));
        for (thrust, rotor) in allocation.thrusts_n.iter().zip(&rotors) {
            prop_assert!(*thrust >= rotor.thrust_min_n as f32 && *thrust <= rotor.thrust_max_n as f32);
        }
        for command in mixer.commands(&allocation) {
            prop_assert!((0.0..=1.0).contains(&command));
        }
    }

    #[test]
    fn achieves_what_the_tiers_chose(rotors in any_craft(), shares in any_demand(2.0)) {
        let design = design(&rotors, Priority::DEFAULT).unwrap();
        let mixer = Mixer::<f64, 8, _>::new(&design);
        let allocation = mixer.allocate(demand(shares, reach(&design)));
        prop_assert!(allocation.passes < MAX_PASSES, "{} passes", allocation.passes);
        // Roll and pitch keep their direction: the achieved torque is the demand, scaled.
        let [_, roll, pitch, _] = allocation.demand.to_array();
        let [_, got_roll, got_pitch, _] = allocation.achieved.to_array();
        let [_, reach_roll, reach_pitch, _] = reach(&design);
        let bent = (roll * got_pitch - pitch * got_roll) / (reach_roll * reach_pitch);
        prop_assert!(bent.abs() < 1e-9, "bent by {bent:e}");
        let along = roll * got_roll / reach_roll.powi(2) + pitch * got_pitch / reach_pitch.powi(2);
        prop_assert!(along >= -1e-12, "turned against the demand");
    }

    #[test]
    fn meets_what_can_be_met(rotors in any_craft(), thrusts in prop::collection::vec(0.0..1.0_f64, 8)) {
        // A demand made from thrusts within the limits is attainable by construction.
        let design = design(&rotors, Priority::DEFAULT).unwrap();
        let inside: Vec<f64> = rotors
            .iter()
            .zip(&thrusts)
            .map(|(rotor, share)| rotor.thrust_min_n + share * (rotor.thrust_max_n - rotor.thrust_min_n))
            .collect();
        let double = Mixer::<f64, 8, _>::new(&design);
        let wanted = double.wrench(&inside);
        let met = double.allocate(wanted);
        prop_assert!(!met.saturated(), "{met:?}");
        prop_assert!(shortfall(&met, &design).iter().all(|s| s.abs() < MET_TOL_F64), "{:?}", shortfall(&met, &design));
        let single = Mixer::<f32, 8, _>::new(&design);
        let met = single.allocate(Wrench::from_array(wanted.to_array().map(|value| value as f32)));
        prop_assert!(shortfall(&met, &design).iter().all(|s| s.abs() < MET_TOL_F32), "{:?}", shortfall(&met, &design));
        // And it is met with the least effort: no other thrusts within the limits have a smaller sum
        // of squares, those it was made from included.
        let effort = |thrusts: &[f64]| thrusts.iter().map(|t| t * t).sum::<f64>();
        let got = double.allocate(wanted);
        prop_assert!(effort(&got.thrusts_n) <= effort(&inside) * (1.0 + 1e-12));
    }

    #[test]
    fn yaw_never_turns_against_its_demand_where_zero_is_attainable(
        rotors in any_craft(), shares in any_demand(1.0)
    ) {
        let design = design(&rotors, Priority::DEFAULT).unwrap();
        let reach = reach(&design);
        let mixer = Mixer::<f64, 8, _>::new(&design);
        let allocation = mixer.allocate(demand(shares, reach));
        // Zero yaw at the achieved roll and pitch, thrust free?
        let at = Wrench { yaw_nm: 0.0, thrust_n: 0.0, ..allocation.achieved };
        let (low, high) = mixer.span(at, Wrench { thrust_n: 1.0, ..Wrench::default() });
        if low <= high {
            let reversed = allocation.achieved.yaw_nm * allocation.demand.yaw_nm < -1e-9 * reach[3].powi(2);
            prop_assert!(!reversed, "{:?}", allocation.achieved);
        }
    }

    #[test]
    fn bad_numbers_give_a_safe_answer_and_a_flag(
        rotors in any_craft(),
        place in 0..4_usize,
        bad in prop::sample::select(vec![f32::NAN, f32::INFINITY, f32::NEG_INFINITY]),
        others in prop::array::uniform4(prop::num::f32::ANY),
    ) {
        let mixer = mixer::<f32>(&rotors);
        let mut wanted = others;
        wanted[place] = bad;
        let allocation = mixer.allocate(Wrench::from_array(wanted));
        prop_assert!(allocation.invalid_demand);
        for (thrust, rotor) in allocation.thrusts_n.iter().zip(&rotors) {
            prop_assert!(*thrust >= rotor.thrust_min_n as f32 && *thrust <= rotor.thrust_max_n as f32);
        }
    }

    #[test]
    fn any_finite_demand_gives_finite_answers(rotors in any_craft(), wanted in prop::array::uniform4(prop::num::f32::NORMAL)) {
        let allocation = mixer::<f32>(&rotors).allocate(Wrench::from_array(wanted));
        prop_assert!(allocation.achieved.to_array().iter().all(|value| value.is_finite()));
        prop_assert_eq!(allocation.invalid_demand, wanted[0] < 0.0);
    }
}

#[test]
fn order_of_priority_decides_what_gives_way() {
    let rotors = crafts::ring(4, 0.25, 45.0);
    let full = Wrench { thrust_n: 31.0, roll_nm: 1.0, pitch_nm: 0.0, yaw_nm: 0.0 };
    let by = |tiers: &[&[Axis]]| {
        let priority = Priority::new(tiers, true).unwrap();
        Mixer::<f64, 8, _>::new(&design(&rotors, priority).unwrap()).allocate(full)
    };
    let torque_first = by(&[&[Axis::Roll, Axis::Pitch], &[Axis::Thrust], &[Axis::Yaw]]);
    assert!((torque_first.achieved.roll_nm - 1.0).abs() < 1e-12);
    assert!(torque_first.achieved.thrust_n < 31.0);
    assert_eq!(torque_first.gave_way, Some(1));
    let thrust_first = by(&[&[Axis::Thrust], &[Axis::Roll, Axis::Pitch], &[Axis::Yaw]]);
    assert!((thrust_first.achieved.thrust_n - 31.0).abs() < 1e-12);
    assert!(thrust_first.achieved.roll_nm < 1.0);
    assert_eq!(thrust_first.gave_way, Some(1));
}
