//! Every kernel under every kind of number: no panic, and a defined output within its limits.

use heapless::Vec;

use crate::advance::{Advance, is_outside};
use crate::box_least_squares::{self, Bounded, MAX_PASSES};
use crate::box_residual;
use crate::clamp::Clamp;
use crate::cut::{Cut, Slabs};
use crate::face::Face;
use crate::facets::{Facet, Side};
use crate::line_of_thrusts::LineOfThrusts;
use crate::nearest::nearest_in_two_axes;
use crate::priority::{AxisSet, Priority};
use crate::rotor_set::RotorSet;
use crate::rows::Rows;
use crate::segment::Segment;
use crate::thrust_curve::{CurvePoint, ThrustCurve};
use crate::walk::{Craft, Walk, wrench_of};
use crate::wrench::Axis;
use crate::{Design, Mixer, Rotor, Scalar, Spin, Wrench, facet_capacity};

const FACETS: usize = facet_capacity(4);

/// Thrusts of a newton or so agree to this, newtons.
const MADE_TOL_N: f32 = 1e-4;

/// Shares of a way between nothing and all of it agree to this: a few roundings.
const SCALE_TOL: f32 = 1e-6;

const EDGES: [f32; 11] = [
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

/// Wrenches with an edge in every place, beside every edge in all the others.
fn wrenches() -> impl Iterator<Item = [f32; 4]> {
    let pairs = EDGES.into_iter().flat_map(|a| EDGES.into_iter().map(move |b| (a, b)));
    pairs.flat_map(|(a, b)| (0..4).map(move |place| core::array::from_fn(|k| if k == place { a } else { b })))
}

fn quad() -> (Design<4, FACETS>, Mixer<f32, 4, FACETS>) {
    let place = [(1.0, 1.0, Spin::Ccw), (-1.0, 1.0, Spin::Cw), (-1.0, -1.0, Spin::Ccw), (1.0, -1.0, Spin::Cw)];
    let rotors = place.map(|(x, y, spin)| Rotor {
        position_m: [0.2 * x, 0.2 * y, 0.0],
        spin,
        torque_per_thrust_m: 0.016,
        thrust_min_n: 0.3,
        thrust_max_n: 8.0,
        ..Rotor::UP
    });
    let design = Design::new(&rotors, [0.0; 3], Priority::DEFAULT).expect("a quad");
    (design, Mixer::new(&design))
}

fn all_within(thrusts: &[f32], rotors: &[Bounded<f32>]) -> bool {
    thrusts.iter().zip(rotors).all(|(thrust, rotor)| *thrust >= rotor.floor && *thrust <= rotor.ceiling)
}

fn squares(mixer: &Mixer<f32, 4, FACETS>) -> &[Facet<f32>] {
    mixer.plan.full_run().of(&mixer.facets)
}

#[test]
fn box_least_squares_keeps_the_limits_for_every_wrench() {
    let (_, mixer) = quad();
    for wrench in wrenches() {
        let face = Face::without(RotorSet::EMPTY);
        let solve = |known| box_least_squares::solve(&mixer.rotors, known, &face, AxisSet::ALL, &wrench);
        let (thrusts, passes) = solve(None);
        assert!(all_within(&thrusts, &mixer.rotors), "{wrench:?}: {thrusts:?}");
        assert!(passes <= box_least_squares::MAX_PASSES, "{wrench:?}");
        assert_eq!((thrusts, passes), solve(mixer.equations.as_ref()), "{wrench:?}");
    }
}

/// What is wanted may lie anywhere, and so may the thrusts on their limits or off them.
#[test]
fn box_residual_keeps_the_limits_for_every_wrench_and_makes_one_that_can_be_had() {
    let (_, mixer) = quad();
    let starts = [[0.3; 4], [8.0; 4], [4.0, 0.3, 8.0, 1.0]];
    for from in starts {
        for wrench in wrenches() {
            let mut thrusts = from;
            let passes = box_residual::reduce(&mixer.rotors, &wrench, &mut thrusts, MADE_TOL_N, MAX_PASSES);
            assert!(all_within(&thrusts, &mixer.rotors) && passes <= MAX_PASSES, "{wrench:?}: {thrusts:?}");
        }
        for to in starts {
            let wrench = box_residual::residual(&mixer.rotors, &[0.0; 4], &to.map(|thrust| -thrust));
            let mut thrusts = from;
            let passes = box_residual::reduce(&mixer.rotors, &wrench, &mut thrusts, MADE_TOL_N, MAX_PASSES);
            let left = box_residual::residual(&mixer.rotors, &wrench, &thrusts);
            assert!(left.iter().all(|value| value.abs() <= MADE_TOL_N), "{from:?} to {to:?}: {thrusts:?}, {left:?}");
            assert!(passes < MAX_PASSES, "{passes}");
        }
    }
}

#[test]
fn face_keeps_free_thrusts_within_limits_for_every_place_and_wrench() {
    let (_, mixer) = quad();
    for facet in squares(&mixer) {
        for side in [Side::Lower, Side::Upper] {
            for wrench in wrenches() {
                let mut face = Face::without(RotorSet::EMPTY);
                face.pin(facet, side, &mixer.rotors);
                let decided = AxisSet::EMPTY.with(Axis::Roll).with(Axis::Pitch);
                let place = face.segment(&mixer.rotors, decided, &wrench).map(|segment| segment.t());
                for t in EDGES.into_iter().chain(place) {
                    let thrusts = face.thrusts(&mixer.rotors, t);
                    assert!(all_within(&thrusts, &mixer.rotors), "{wrench:?} at {t}: {thrusts:?}");
                }
            }
        }
    }
}

/// The mixer hands on finite demands alone; whatever a walk is given, its thrusts keep the limits.
#[test]
fn walk_ends_within_limits_for_every_demand() {
    let (_, mixer) = quad();
    for failed in [RotorSet::EMPTY, RotorSet::EMPTY.with(1)] {
        let craft = Craft {
            rotors: &mixer.rotors,
            equations: &mixer.equations,
            direct: &mixer.direct,
            units: &mixer.units,
            strength: mixer.strength,
            failed,
            as_designed: failed == RotorSet::EMPTY,
        };
        for demand in wrenches() {
            for cap in EDGES.map(Some).into_iter().chain([None]) {
                let thrusts = mixer.plan.attain(Walk::new(&craft, &mixer.facets, &demand, cap), true).thrusts;
                for (i, (thrust, rotor)) in thrusts.iter().zip(&mixer.rotors).enumerate() {
                    let low = if failed.contains(i) { 0.0 } else { rotor.floor };
                    assert!(*thrust >= low && *thrust <= rotor.ceiling, "{demand:?}, cap {cap:?}: {thrusts:?}");
                }
            }
        }
    }
}

#[test]
fn clamp_gives_a_number_wherever_the_other_axes_are_numbers() {
    let (_, mixer) = quad();
    let band = (Axis::Thrust, 0.0, 40.0);
    for point in wrenches() {
        let near = point.iter().all(|value| value.abs() <= 1.0);
        for (axis, wanted) in Axis::ALL.into_iter().flat_map(|axis| EDGES.map(|wanted| (axis, wanted))) {
            let (mut plain, mut banded) = [(); 2].map(|()| Clamp::new(axis, wanted, MADE_TOL_N, None)).into();
            plain.by(squares(&mixer), &point);
            banded.by_banded(squares(&mixer), &point, band);
            assert!(!near || plain.value.is_finite() && banded.value.is_finite(), "{point:?}, {axis} {wanted}");
            let moved = plain.value.is_finite() && (axis == Axis::Thrust || banded.value.is_finite());
            assert!(wanted.is_finite() || !near || moved, "{point:?}, {axis} {wanted}");
        }
    }
}

#[test]
fn advance_goes_no_further_than_all_and_takes_no_base_that_is_not_a_number() {
    let (_, mixer) = quad();
    for base in wrenches() {
        for direction in wrenches() {
            let (mut plain, mut banded) = [(); 2].map(|()| Advance::new(MADE_TOL_N, None)).into();
            plain.by(squares(&mixer), &base, &direction);
            banded.by_banded(squares(&mixer), &base, &direction, (Axis::Thrust, 0.0, 40.0));
            let outside = is_outside(Slabs::plain(squares(&mixer)), &base, MADE_TOL_N);
            for advance in [&plain, &banded] {
                assert!(advance.scale <= 1.0 || outside, "{base:?} along {direction:?}");
            }
            assert!(base.iter().all(|value| value.is_finite()) || outside, "{base:?} along {direction:?}");
        }
    }
}

/// A slab that holds what is wanted is not cut with the line; those that are must give the whole line's end.
#[test]
fn advance_and_clamp_end_where_the_whole_line_does() {
    let (_, mixer) = quad();
    let center = [16.0, 0.0, 0.0, 0.0];
    let whole = |base: &[f32; 4], direction: &[f32; 4]| {
        let mut cut = Cut::unbounded();
        cut.by(Slabs::plain(squares(&mixer)), base, direction);
        cut
    };
    let (mut within, mut beyond) = (0, 0);
    for step in (1..2000).map(|step| step as f32) {
        let direction =
            [3.7 * step % 70.0 - 35.0, 4.1 * step % 50.0 - 25.0, 4.3 * step % 30.0 - 15.0, step % 5.0 - 2.0];
        let cut = whole(&center, &direction);
        let mut advance = Advance::new(0.0, None);
        advance.by(squares(&mixer), &center, &direction);
        assert!((advance.scale - cut.high.min(1.0)).abs() <= SCALE_TOL, "{direction:?}");
        assert_eq!(advance.end.is_some(), cut.high < 1.0, "{direction:?}");
        assert!(!is_outside(Slabs::plain(squares(&mixer)), &center, MADE_TOL_N), "{direction:?}");
        *(if cut.high < 1.0 { &mut beyond } else { &mut within }) += 1;

        let [wanted, roll, pitch, yaw] = direction.map(|value| 0.1 * value);
        let cut = whole(&[0.0, roll, pitch, yaw], &[1.0, 0.0, 0.0, 0.0]);
        let mut clamp = Clamp::new(Axis::Thrust, 10.0 * wanted, 0.0, None);
        clamp.by(squares(&mixer), &[0.0, roll, pitch, yaw]);
        if cut.low <= cut.high {
            let nearest = (10.0 * wanted).limit(cut.low, cut.high);
            assert!((clamp.value - nearest).abs() <= MADE_TOL_N, "{direction:?}");
        }
    }
    assert!(within > 100 && beyond > 100, "{within} within, {beyond} beyond");
}

#[test]
fn nearest_point_lies_in_the_set_and_is_none_for_what_is_no_number() {
    let (_, mixer) = quad();
    let axes = AxisSet::EMPTY.with(Axis::Roll).with(Axis::Pitch);
    let scaled = wrenches().map(|wrench| [8.0 * wrench[0].abs(), 16.0 * wrench[1], 16.0 * wrench[2], 0.0]);
    for wanted in wrenches().chain(scaled) {
        for rounding in EDGES {
            let found = nearest_in_two_axes(&[Slabs::plain(squares(&mixer))], &wanted, axes, rounding, None);
            let undefined = wanted.iter().any(|value| value.is_nan());
            assert!(!(undefined && found.is_some()), "{wanted:?}");
            let Some((point, _)) = found else { continue };
            if rounding.abs() < MADE_TOL_N && wanted.iter().all(|value| value.abs() <= 16.0) {
                let mut there = Cut::unbounded();
                there.by(Slabs::plain(squares(&mixer)), &point, &[0.0; 4]);
                assert!(there.beside <= MADE_TOL_N, "{wanted:?}: {point:?}");
            }
        }
    }
}

#[test]
fn thrust_curve_stays_in_range_for_every_number() {
    let points = [CurvePoint { command: 0.2, thrust_n: 1.0 }, CurvePoint { command: 1.0, thrust_n: 8.0_f32 }];
    let curves = [ThrustCurve::<f32, 2>::square(8.0), ThrustCurve::table(&points).expect("a table")];
    for value in EDGES {
        for curve in &curves {
            assert!((0.0..=1.0).contains(&curve.command(value)), "{value}");
            assert!((0.0..=8.0).contains(&curve.thrust_n(value)), "{value}");
        }
        if !(value > 0.0 && value < f32::MAX) {
            let bad = [CurvePoint { command: value, thrust_n: 1.0 }, CurvePoint { command: 0.5, thrust_n: value }];
            assert!(ThrustCurve::<f32, 2>::table(&bad).is_err() || value == f32::MAX, "{value}");
        }
    }
}

#[test]
fn direct_allows_only_thrusts_within_limits_and_brings_all_others_there() {
    let (_, mixer) = quad();
    for wrench in wrenches() {
        let mut thrusts = mixer.direct.thrusts(&wrench);
        assert_eq!(mixer.direct.allows(&thrusts), all_within(&thrusts, &mixer.rotors), "{wrench:?}");
        mixer.direct.limit(&mut thrusts);
        assert!(all_within(&thrusts, &mixer.rotors), "{wrench:?}: {thrusts:?}");
    }
}

#[test]
fn rows_of_every_number_do_not_panic_and_make_what_they_can() {
    let (_, mixer) = quad();
    for column in wrenches() {
        let mut rotors: Vec<Bounded<f32>, 4> = mixer.rotors.clone();
        rotors[0].column = column;
        let rows = Rows::new(&rotors, AxisSet::ALL, 4, |_, _| true);
        let _ = rows.multipliers(&column);
        let thrusts = rows.least_effort(&column);
        if column.iter().all(|value| value.abs() <= 1.0) {
            // One newton of the first rotor makes its column: the rows can too.
            let made = |k: usize| rotors.iter().zip(thrusts).map(|(rotor, u)| rotor.column[k] * u).sum::<f32>();
            assert!((0..4).all(|k| (made(k) - column[k]).abs() <= MADE_TOL_N), "{column:?}: {thrusts:?}");
        }
    }
}

#[test]
fn line_of_thrusts_of_every_number_does_not_panic_and_makes_what_it_can() {
    let (_, mixer) = quad();
    for column in wrenches() {
        let mut rotors: Vec<Bounded<f32>, 4> = mixer.rotors.clone();
        rotors[0].column = column;
        for axes in [AxisSet::ALL, AxisSet::ALL.without(AxisSet::EMPTY.with(Axis::Thrust))] {
            let Some(line) = LineOfThrusts::new(&rotors, axes, axes.len(), &column) else { continue };
            if column.iter().all(|value| value.abs() <= 1.0) {
                let at = |t: f32| {
                    wrench_of(&rotors, &core::array::from_fn::<f32, 4, _>(|i| line.start[i] + t * line.along[i]))
                };
                let made = [0.0, 1.0].map(|t| axes.of(&at(t)));
                let wanted = axes.of(&column);
                let off = |made: [f32; 4]| (0..4).any(|k| !((made[k] - wanted[k]).abs() <= MADE_TOL_N));
                assert!(!made.into_iter().any(off), "{column:?}: {line:?}");
            }
        }
    }
}

#[test]
fn segment_keeps_its_place_between_its_ends_for_every_number() {
    for (a, b) in EDGES.into_iter().flat_map(|a| EDGES.into_iter().map(move |b| (a, b))) {
        let mut segment = Segment::new([1.0; 4], [0.0, 1.0, -0.5, 0.0]);
        segment.keep(0.0, 1.0, -1.0, 2.0);
        segment.narrow(Axis::Roll, a, b);
        segment.narrow_along(&[a, b, a, b], AxisSet::ALL, a);
        let t = segment.closed().t();
        assert!((-1.0..=2.0).contains(&t), "{a} {b}: {t}");
    }
}

/// Demands of every number on a craft as it is, and with rotors' limits nearly touching.
#[test]
fn plane_of_every_number_gives_numbers_or_nothing() {
    let (_, mut mixer) = quad();
    for floor in [0.3, 7.999] {
        for rotor in 0..4 {
            assert!(mixer.set_limits(rotor, floor, 8.0));
        }
        let plane = mixer.plane.as_ref().expect("four rotors");
        let mut given = 0;
        for demand in wrenches() {
            let Some(choice) = plane.choose(&mixer.facets, &mixer.inverse_units, &demand, true) else { continue };
            let near = demand.iter().all(|value| value.abs() <= 1.0);
            given += usize::from(near);
            let finite = choice.wrench.iter().chain(&choice.thrusts).all(|value| value.is_finite());
            assert!(!near || finite, "{demand:?}: {:?}, {:?}", choice.wrench, choice.thrusts);
        }
        assert!(given > 0);
    }
}

/// What a mixer is told in flight.
#[test]
fn limits_of_every_number_are_taken_whole_or_not_at_all() {
    let (_, untouched) = quad();
    for (floor, ceiling) in EDGES.into_iter().flat_map(|a| EDGES.into_iter().map(move |b| (a, b))) {
        let mut mixer = untouched.clone();
        if mixer.set_limits(2, floor, ceiling) {
            assert!(floor >= 0.0 && floor < ceiling && ceiling.is_finite(), "{floor} to {ceiling}");
        } else {
            assert_eq!(mixer, untouched, "{floor} to {ceiling}");
        }
        let mut sagged = mixer.clone();
        if sagged.scale_ceilings(ceiling) {
            assert!(ceiling > 0.0 && ceiling <= 1.0, "{ceiling}");
        } else {
            assert_eq!(sagged, mixer, "{ceiling}");
        }
        for demand in wrenches() {
            for rise_n in [None, Some(floor)] {
                let allocation = match rise_n {
                    None => mixer.allocate(Wrench::from_array(demand)),
                    Some(rise_n) => mixer.allocate_with_rise(Wrench::from_array(demand), rise_n),
                };
                assert!(all_within(&allocation.thrusts_n, &mixer.rotors), "{floor} to {ceiling}: {demand:?}");
            }
        }
    }
}

#[test]
fn measures_of_every_wrench_are_numbers_where_the_wrench_is_of_ordinary_size() {
    let (_, mixer) = quad();
    assert!(mixer.half_spaces().all(|bound| bound.bound.is_finite() && bound.normal.iter().all(|n| n.is_finite())));
    for wrench in wrenches() {
        let (margin, index) = (
            mixer.control_margin_nm(Wrench::from_array(wrench)),
            mixer.control_authority_index(Wrench::from_array(wrench)),
        );
        let ordinary = wrench.iter().all(|value| value.abs() <= 1.0);
        assert!(!ordinary || (margin.is_finite() && index.is_finite()), "{wrench:?}: {margin}, {index}");
        // A wrench far outside has no margin, whatever overflows on the way.
        assert!(ordinary || !(margin > 0.0) && !(index > 0.0), "{wrench:?}: {margin}, {index}");
        for direction in wrenches() {
            let (low, high) = mixer.span(Wrench::from_array(wrench), Wrench::from_array(direction));
            assert!(!low.is_nan() && !high.is_nan(), "{wrench:?} along {direction:?}");
        }
    }
}
