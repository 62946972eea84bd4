//! Every kernel under every kind of number: no panic, and a defined output within its limits.

use heapless::Vec;

use crate::advance::Advance;
use crate::box_least_squares::{self, Bounded, MAX_PASSES};
use crate::box_residual;
use crate::clamp::Clamp;
use crate::cut::{Cut, Slabs};
use crate::face::Face;
use crate::facets::{Facet, Side};
use crate::four_rotors;
use crate::nearest::nearest_in_two_axes;
use crate::priority::{AxisSet, Priority};
use crate::rotor_set::RotorSet;
use crate::rows::Rows;
use crate::segment::Segment;
use crate::thrust_curve::{CurvePoint, ThrustCurve};
use crate::walk::{Craft, Walk};
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
        let (thrusts, passes) = box_least_squares::solve(&mixer.rotors, &Face::without(RotorSet::EMPTY), &wrench);
        assert!(all_within(&thrusts, &mixer.rotors), "{wrench:?}: {thrusts:?}");
        assert!(passes <= box_least_squares::MAX_PASSES, "{wrench:?}");
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
            direct: &mixer.direct,
            units: &mixer.units,
            strength: mixer.strength,
            failed,
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
            let (mut plain, mut banded) = [(); 2].map(|()| Clamp::new(&point, axis, wanted, MADE_TOL_N, None)).into();
            plain.by(squares(&mixer));
            banded.by_banded(squares(&mixer), band);
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
            let (mut plain, mut banded) = [(); 2].map(|()| Advance::new(MADE_TOL_N, MADE_TOL_N, None)).into();
            plain.by(squares(&mixer), &base, &direction);
            banded.by_banded(squares(&mixer), &base, &direction, (Axis::Thrust, 0.0, 40.0));
            for advance in [&plain, &banded] {
                assert!(advance.scale <= 1.0 || advance.base_outside, "{base:?} along {direction:?}");
            }
            assert!(base.iter().all(|value| value.is_finite()) || plain.base_outside, "{base:?} along {direction:?}");
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
        let mut advance = Advance::new(0.0, MADE_TOL_N, None);
        advance.by(squares(&mixer), &center, &direction);
        assert!((advance.scale - cut.high.min(1.0)).abs() <= SCALE_TOL, "{direction:?}");
        assert_eq!(advance.end.is_some(), cut.high < 1.0, "{direction:?}");
        assert!(!advance.base_outside, "{direction:?}");
        *(if cut.high < 1.0 { &mut beyond } else { &mut within }) += 1;

        let [wanted, roll, pitch, yaw] = direction.map(|value| 0.1 * value);
        let cut = whole(&[0.0, roll, pitch, yaw], &[1.0, 0.0, 0.0, 0.0]);
        let mut clamp = Clamp::new(&[0.0, roll, pitch, yaw], Axis::Thrust, 10.0 * wanted, 0.0, None);
        clamp.by(squares(&mixer));
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
        let _ = (rows.multipliers(&column), rows.neutral(|_| true));
        let thrusts = rows.least_effort(&column);
        if column.iter().all(|value| value.abs() <= 1.0) {
            // One newton of the first rotor makes its column: the rows can too.
            let made = |k: usize| rotors.iter().zip(thrusts).map(|(rotor, u)| rotor.column[k] * u).sum::<f32>();
            assert!((0..4).all(|k| (made(k) - column[k]).abs() <= MADE_TOL_N), "{column:?}: {thrusts:?}");
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

#[test]
fn four_rotors_of_every_number_stay_on_a_segment_that_ends_at_the_limits() {
    let (_, mixer) = quad();
    for facet in &mixer.facets {
        let mut face = Face::without(RotorSet::EMPTY);
        face.pin(facet, Side::Upper, &mixer.rotors);
        for wrench in wrenches() {
            for decided in [
                AxisSet::EMPTY.with(Axis::Roll).with(Axis::Pitch),
                AxisSet::ALL.without(AxisSet::EMPTY.with(Axis::Yaw)),
            ] {
                let found = four_rotors::segment(&mixer.rotors, &mixer.direct, &mixer.units, &face, decided, &wrench);
                let Some(segment) = found else { continue };
                let t = segment.t();
                // Whatever comes in, what is made of it keeps the limits.
                let mut kept = mixer.direct.thrusts_in_units(&segment.wrench(), &mixer.units);
                mixer.direct.limit(&mut kept);
                assert!(all_within(&kept, &mixer.rotors), "{wrench:?}: {kept:?}");
                assert!(!t.is_nan(), "{wrench:?}");
                if decided.len() == 2 && wrench.iter().all(|value| value.abs() <= 1.0) {
                    // The first of the pinned rotors says where the line is; the facet says it of the others.
                    let thrusts = mixer.direct.thrusts_in_units(&segment.wrench(), &mixer.units);
                    let pinned = (0..4).filter_map(|i| Some((thrusts[i], face.pinned_thrust(i)?)));
                    let off = pinned.map(|(thrust, limit)| (thrust - limit).abs()).fold(f32::MAX, f32::min);
                    assert!(off <= MADE_TOL_N, "{wrench:?}: {off} off the limit");
                }
            }
        }
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
