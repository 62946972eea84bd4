//! Checks of the mixer.

use evenkeel_counts::crafts::ROTOR;
use evenkeel_mixer::{
    Axis, COMMAND_TOL_F32, Design, Fixed, MET_TOL_F32, Mixer, Priority, RECIP_SQRT_TOL_F32, Rotor, Scalar, Spin,
    ThrustCurve, Wrench, facet_capacity,
};

use crate::seen::{Check, Seen};

pub const CHECKS: &[Check] = &[
    Check::new("inverse_root_is_within_its_tolerance_over_many_sizes", inverse_root),
    Check::new("comparisons_give_one_answer_for_zeros_and_nan", comparisons),
    Check::new("fixed_point_saturates_where_it_would_wrap", fixed_point),
    Check::new("command_gives_its_thrust_back", thrust_curve),
    Check::new("demand_is_met_when_it_is_gentle", met),
    Check::new("thrusts_stay_within_limits_whatever_is_demanded", limits),
    Check::new("roll_and_pitch_outlast_yaw_when_rotors_saturate", priority),
    Check::new("ceilings_follow_the_battery_and_come_back", ceilings),
    Check::new("a_failed_rotor_pushes_nothing", failed),
];

const FRONT_RIGHT: Rotor = Rotor { position_m: [0.18, 0.18, 0.0], spin: Spin::Ccw, ..ROTOR };
const ROTORS: [Rotor; 4] = [
    FRONT_RIGHT,
    Rotor { position_m: [-0.18, 0.18, 0.0], spin: Spin::Cw, ..FRONT_RIGHT },
    Rotor { position_m: [-0.18, -0.18, 0.0], ..FRONT_RIGHT },
    Rotor { position_m: [0.18, -0.18, 0.0], spin: Spin::Cw, ..FRONT_RIGHT },
];
const FACETS: usize = facet_capacity(4);
static DESIGN: Design<4, FACETS> = Design::expect(&ROTORS, [0.0; 3], Priority::DEFAULT);

fn mixer() -> Mixer<f32, 4, FACETS> {
    Mixer::new(&DESIGN)
}

/// Numbers from −1 to 1, the same in every run.
fn spread(seed: u32) -> f32 {
    let mixed = (seed ^ (seed >> 15)).wrapping_mul(0x2c1b_3c6d);
    let mixed = (mixed ^ (mixed >> 12)).wrapping_mul(0x297a_2d39);
    ((mixed ^ (mixed >> 15)) >> 8) as f32 / (1 << 23) as f32 - 1.0
}

fn wrench(number: u32, torque_nm: f32) -> Wrench<f32> {
    let part = |axis| spread(4 * number + axis);
    Wrench {
        thrust_n: 16.0 + 20.0 * torque_nm.min(1.0) * part(0),
        roll_nm: torque_nm * part(1),
        pitch_nm: torque_nm * part(2),
        yaw_nm: 0.1 * torque_nm * part(3),
    }
}

fn inverse_root(seen: &mut Seen) {
    let mut value = 1.0e-30_f32;
    while value < 1.0e30 {
        let root = value.recip_sqrt();
        seen.number(root);
        // Squared, so that no other root is needed: twice the error.
        let square = f64::from(root) * f64::from(root) * f64::from(value) - 1.0;
        seen.ask((-2.1 * RECIP_SQRT_TOL_F32..=2.1 * RECIP_SQRT_TOL_F32).contains(&square));
        value *= 1.37;
    }
    for none in [0.0, -0.0, -1.0, f32::NAN] {
        seen.ask(none.recip_sqrt().to_bits() == 0);
    }
}

fn comparisons(seen: &mut Seen) {
    seen.ask((-0.0_f32).smaller(0.0).to_bits() == 0);
    seen.ask(0.0_f32.larger(-0.0).to_bits() == (-0.0_f32).to_bits());
    seen.ask(f32::NAN.limit(-1.0, 2.0) == -1.0);
    seen.ask(f32::INFINITY.limit(-1.0, 2.0) == 2.0);
}

fn fixed_point(seen: &mut Seen) {
    let (one, most, least) = (Fixed::ONE, Fixed::MAX, Fixed::MIN);
    seen.ask(most + one == most && least - one == least && most * least == least);
    seen.ask(one / Fixed::ZERO == most && -one / Fixed::ZERO == least);
    let third = one / Fixed::from_f64(3.0);
    seen.near(third.to_f64() as f32, 1.0 / 3.0, 1.0e-7);
    seen.near(Scalar::sqrt(Fixed::from_f64(2.0)).to_f64() as f32, core::f64::consts::SQRT_2, 1.0e-7);
}

fn thrust_curve(seen: &mut Seen) {
    let curve = ThrustCurve::<f32, 0>::square(8.0);
    for step in 0..=100_u8 {
        let thrust_n = 0.08 * f32::from(step);
        let command = curve.command(thrust_n);
        seen.number(command);
        seen.near(curve.thrust_n(command), f64::from(thrust_n), 8.0 * COMMAND_TOL_F32);
    }
}

fn met(seen: &mut Seen) {
    let mixer = mixer();
    for number in 0..200 {
        let demand = wrench(number, 0.1);
        let allocation = mixer.allocate(demand);
        seen.numbers(&allocation.thrusts_n);
        seen.ask(!allocation.saturated());
        let made = mixer.wrench(&allocation.thrusts_n);
        for (made, asked) in made.to_array().into_iter().zip(demand.to_array()) {
            seen.near(made, f64::from(asked), 32.0 * MET_TOL_F32);
        }
    }
}

fn limits(seen: &mut Seen) {
    let mixer = mixer();
    for number in 0..500 {
        let allocation = mixer.allocate(wrench(number, 10.0));
        seen.numbers(&allocation.thrusts_n);
        seen.numbers(&mixer.commands(&allocation));
        seen.ask(allocation.thrusts_n.iter().all(|thrust_n| *thrust_n >= 0.3 && *thrust_n <= 8.0));
    }
    let bad = mixer.allocate(Wrench { thrust_n: f32::NAN, roll_nm: f32::INFINITY, ..Wrench::default() });
    seen.ask(bad.invalid_demand && bad.thrusts_n.iter().all(|thrust_n| *thrust_n >= 0.3 && *thrust_n <= 8.0));
}

fn priority(seen: &mut Seen) {
    let demand = Wrench { thrust_n: 16.0, roll_nm: 0.5, pitch_nm: -0.5, yaw_nm: 1.0 };
    let allocation = mixer().allocate(demand);
    seen.near(allocation.achieved.roll_nm, 0.5, 1.0e-5);
    seen.near(allocation.achieved.pitch_nm, -0.5, 1.0e-5);
    seen.number(allocation.achieved.yaw_nm);
    seen.ask(allocation.achieved.yaw_nm > 0.0 && allocation.achieved.yaw_nm < 1.0);
    seen.ask(allocation.gave_way == Some(2) && Axis::ALL.len() == 4);
}

fn ceilings(seen: &mut Seen) {
    let mut mixer = mixer();
    let full = Wrench { thrust_n: 40.0, ..Wrench::default() };
    seen.near(mixer.allocate(full).achieved.thrust_n, 32.0, 1.0e-4);
    seen.ask(mixer.scale_ceilings(0.5));
    seen.near(mixer.allocate(full).achieved.thrust_n, 16.0, 1.0e-4);
    seen.ask(mixer.scale_ceilings(1.0));
    seen.near(mixer.allocate(full).achieved.thrust_n, 32.0, 1.0e-4);
}

fn failed(seen: &mut Seen) {
    let mut mixer = mixer();
    mixer.fail_rotor(1);
    let allocation = mixer.allocate(wrench(3, 0.1));
    seen.numbers(&allocation.thrusts_n);
    seen.ask(allocation.thrusts_n.get(1) == Some(&0.0));
    seen.ask(allocation.thrusts_n.iter().all(|thrust_n| *thrust_n <= 8.0));
}
