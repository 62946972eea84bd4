//! Signs by physical reasoning, and each cause of refusal.

use super::*;
use crate::wrench::Axis;

fn upright(x: f64, y: f64, spin: Spin) -> Rotor {
    Rotor { position_m: [x, y, 0.0], spin, torque_per_thrust_m: 0.02, thrust_max_n: 8.0, ..Rotor::UP }
}

fn quad() -> [Rotor; 4] {
    [
        upright(0.2, 0.2, Spin::Ccw),
        upright(-0.2, 0.2, Spin::Cw),
        upright(-0.2, -0.2, Spin::Ccw),
        upright(0.2, -0.2, Spin::Cw),
    ]
}

fn error_of(rotors: &[Rotor]) -> GeometryError {
    Effectiveness::<4>::new(rotors, [0.0; 3]).expect_err("must be refused")
}

// Signs: rigid-body statics and Newton's third law, worked out beside each check.

#[test]
fn thrust_up_is_positive_and_makes_no_torque_at_the_center_of_mass() {
    assert_eq!(column(&upright(0.0, 0.0, Spin::Cw), 1, [0.0; 3]).map(|c| [c[0], c[1], c[2]]), Ok([1.0, 0.0, 0.0]));
    let down = Rotor { axis: [0.0, 0.0, 2.0], ..Rotor::UP };
    assert_eq!(column(&down, 1, [0.0; 3]).map(|c| c[0]), Ok(-1.0), "a rotor that pushes down lifts less");
}

#[test]
fn rotor_on_the_right_rolls_the_right_side_up() {
    // Right side up is negative roll.
    assert_eq!(column(&upright(0.0, 0.3, Spin::Cw), 1, [0.0; 3]).map(|c| (c[1], c[2])), Ok((-0.3, 0.0)));
}

#[test]
fn rotor_ahead_pitches_the_nose_up() {
    assert_eq!(column(&upright(0.3, 0.0, Spin::Cw), 1, [0.0; 3]).map(|c| (c[1], c[2])), Ok((0.0, 0.3)));
}

#[test]
fn clockwise_rotor_turns_the_nose_left_and_counter_clockwise_right() {
    // The air drags a clockwise rotor back; the body feels the opposite of what drives it.
    assert_eq!(column(&upright(0.0, 0.0, Spin::Cw), 1, [0.0; 3]).map(|c| c[3]), Ok(-0.02));
    assert_eq!(column(&upright(0.0, 0.0, Spin::Ccw), 1, [0.0; 3]).map(|c| c[3]), Ok(0.02));
}

#[test]
fn rotor_tilted_to_the_right_ahead_of_the_center_turns_the_nose_right() {
    let tilted = Rotor { position_m: [0.5, 0.0, 0.0], axis: [0.0, 1.0, -1.0], ..Rotor::UP };
    let yaw = column(&tilted, 1, [0.0; 3]).map(|c| c[3]).expect("a sound rotor");
    assert!((yaw - 0.5 / 2.0_f64.sqrt()).abs() < 1e-12, "{yaw}");
}

#[test]
fn moving_the_center_of_mass_is_moving_all_rotors_the_other_way() {
    let moved = column(&upright(0.2, 0.1, Spin::Cw), 1, [0.05, -0.02, 0.0]).expect("a sound rotor");
    let shifted = column(&upright(0.15, 0.12, Spin::Cw), 1, [0.0; 3]).expect("a sound rotor");
    assert!(moved.iter().zip(shifted).all(|(a, b)| (a - b).abs() < 1e-15), "{moved:?}, {shifted:?}");
}

#[test]
fn refuses_no_rotor_and_too_many() {
    assert_eq!(error_of(&[]), GeometryError::NoRotors);
    let five = [Rotor::UP; 5];
    assert_eq!(error_of(&five), GeometryError::TooManyRotors { given: 5, capacity: 4 });
    let refused = Effectiveness::<20>::new(&[Rotor::UP; 17], [0.0; 3]);
    assert_eq!(refused, Err(GeometryError::TooManyRotors { given: 17, capacity: MAX_ROTORS }));
}

#[test]
fn refuses_what_is_not_finite_and_names_the_rotor() {
    for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        for place in 0..3 {
            let mut spoiled = quad();
            spoiled[2].position_m[place] = bad;
            assert_eq!(error_of(&spoiled), GeometryError::NotFinite { rotor: 3 });
            let mut spoiled = quad();
            spoiled[0].axis[place] = bad;
            assert_eq!(error_of(&spoiled), GeometryError::NotFinite { rotor: 1 });
            let mut center = [0.0; 3];
            center[place] = bad;
            assert_eq!(Effectiveness::<4>::new(&quad(), center), Err(GeometryError::NotFinite { rotor: 0 }));
        }
        let spoil: [fn(&mut Rotor, f64); 3] = [
            |rotor, bad| rotor.torque_per_thrust_m = bad,
            |rotor, bad| rotor.thrust_min_n = bad,
            |rotor, bad| rotor.thrust_max_n = bad,
        ];
        for change in spoil {
            let mut spoiled = quad();
            change(&mut spoiled[3], bad);
            assert_eq!(error_of(&spoiled), GeometryError::NotFinite { rotor: 4 });
        }
    }
}

#[test]
fn refuses_an_axis_without_direction() {
    for axis in [[0.0; 3], [1e-200, 0.0, 0.0], [1e200, 0.0, 0.0]] {
        let mut spoiled = quad();
        spoiled[1].axis = axis;
        assert_eq!(error_of(&spoiled), GeometryError::NoDirection { rotor: 2 }, "{axis:?}");
    }
}

#[test]
fn refuses_limits_that_are_none() {
    for (floor, ceiling) in [(-0.1, 8.0), (8.0, 8.0), (9.0, 8.0), (0.0, 0.0), (0.0, -1.0)] {
        let mut spoiled = quad();
        (spoiled[1].thrust_min_n, spoiled[1].thrust_max_n) = (floor, ceiling);
        assert_eq!(error_of(&spoiled), GeometryError::FloorNotBelowCeiling { rotor: 2 });
    }
}

#[test]
fn refuses_a_negative_torque_ratio() {
    let mut spoiled = quad();
    spoiled[0].torque_per_thrust_m = -0.01;
    assert_eq!(error_of(&spoiled), GeometryError::NegativeTorqueRatio { rotor: 1 });
}

#[test]
fn names_the_axis_that_cannot_be_moved_by_itself() {
    let turned = |change: fn(&mut Rotor)| {
        let mut rotors = quad();
        rotors.iter_mut().for_each(change);
        error_of(&rotors)
    };
    let sideways = turned(|rotor| rotor.axis = [0.0, 1.0, 0.0]);
    assert_eq!(sideways, GeometryError::NotControllable { axis: Axis::Thrust });
    let in_line = turned(|rotor| rotor.position_m[1] = 0.0);
    assert_eq!(in_line, GeometryError::NotControllable { axis: Axis::Roll });
    let abreast = turned(|rotor| rotor.position_m[0] = 0.0);
    assert_eq!(abreast, GeometryError::NotControllable { axis: Axis::Pitch });
    let one_way = turned(|rotor| rotor.spin = Spin::Cw);
    assert_eq!(one_way, GeometryError::NotControllable { axis: Axis::Yaw });
    let three = Effectiveness::<4>::new(&quad()[..3], [0.0; 3]);
    assert_eq!(three, Err(GeometryError::NotControllable { axis: Axis::Yaw }));
}

#[test]
fn pseudo_inverse_undoes_the_matrix() {
    let matrix = Effectiveness::<4>::new(&quad(), [0.01, 0.02, 0.0]).expect("a sound quad");
    let inverse = matrix.pseudo_inverse();
    for row in 0..4 {
        for column in 0..4 {
            let sum: f64 = (0..4).map(|i| matrix.columns()[i][row] * inverse[i][column]).sum();
            assert!((sum - f64::from(u8::from(row == column))).abs() < 1e-12, "{row} {column} {sum}");
        }
    }
}
