//! Every kernel under every kind of number: no panic, and a defined output within its limits.

use heapless::Vec;

use crate::box_least_squares::{self, Bounded};
use crate::cut::{Along, Cut, Slabs};
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
use crate::{Design, Mixer, Rotor, Spin, facet_capacity};

const FACETS: usize = facet_capacity(4);

/// Thrusts of a newton or so agree to this, newtons.
const MADE_TOL_N: f32 = 1e-4;

/// Farther than any demand that the mixer hands on.
const NEAR: f32 = 1e30;

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
fn walk_ends_within_limits_or_without_thrusts_for_every_demand() {
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
                let mut walk = Walk::new(&craft, &mixer.facets, &demand, cap);
                mixer.plan.attain(&mut walk);
                let Some(thrusts) = walk.thrusts() else { continue };
                for (i, (thrust, rotor)) in thrusts.iter().zip(&mixer.rotors).enumerate() {
                    let low = if failed.contains(i) { 0.0 } else { rotor.floor };
                    assert!(*thrust >= low && *thrust <= rotor.ceiling, "{demand:?}, cap {cap:?}: {thrusts:?}");
                }
            }
        }
    }
}

#[test]
fn cut_and_slabs_let_no_point_that_is_not_a_number_count_as_inside() {
    let (_, mixer) = quad();
    let slabs = Slabs::plain(squares(&mixer));
    for point in wrenches() {
        let finite = point.iter().all(|value| value.is_finite());
        assert!(finite || !slabs.hold(&point, 1.0), "{point:?}");
        for direction in wrenches() {
            let mut cut = Cut::unbounded();
            cut.by(slabs, &point, Along::Direction(&direction));
            assert!(!cut.low.is_nan() && !cut.high.is_nan(), "{point:?} along {direction:?}");
        }
        for axis in Axis::ALL {
            let mut cut = Cut::unbounded();
            cut.by(slabs, &point, Along::Axis(axis));
            assert!(!cut.low.is_nan() && !cut.high.is_nan(), "{point:?} along {axis}");
        }
    }
}

#[test]
fn nearest_point_lies_in_the_set_and_is_none_for_what_is_no_number() {
    let (_, mixer) = quad();
    let axes = AxisSet::EMPTY.with(Axis::Roll).with(Axis::Pitch);
    let scaled = wrenches().map(|wrench| [8.0 * wrench[0].abs(), 16.0 * wrench[1], 16.0 * wrench[2], 0.0]);
    for wanted in wrenches().chain(scaled) {
        for rounding in EDGES {
            let found = nearest_in_two_axes(squares(&mixer), &wanted, axes, rounding);
            let undefined = wanted.iter().any(|value| value.is_nan());
            assert!(!(undefined && found.is_some()), "{wanted:?}");
            let Some((point, _)) = found else { continue };
            if rounding.abs() < MADE_TOL_N && wanted.iter().all(|value| value.abs() <= 16.0) {
                assert!(Slabs::plain(squares(&mixer)).hold(&point, MADE_TOL_N), "{wanted:?}: {point:?}");
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
                // The mixer hands on finite demands alone.
                assert!(!t.is_nan() || wrench.iter().any(|value| !(value.abs() < NEAR)), "{wrench:?}");
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
