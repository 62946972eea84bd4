//! Counts of facets, and that they touch the attainable set from outside.

use super::*;
use crate::{Rotor, Spin};
use std::vec::Vec;

fn ring(count: usize, first_deg: f64) -> Vec<Rotor> {
    (0..count)
        .map(|i| {
            let azimuth = (first_deg + 360.0 * i as f64 / count as f64).to_radians();
            Rotor {
                position_m: [0.3 * azimuth.cos(), 0.3 * azimuth.sin(), 0.0],
                spin: if i % 2 == 0 { Spin::Ccw } else { Spin::Cw },
                torque_per_thrust_m: 0.016,
                thrust_min_n: 0.3,
                thrust_max_n: 8.0,
                ..Rotor::UP
            }
        })
        .collect()
}

fn coaxial(arms: usize, first_deg: f64) -> Vec<Rotor> {
    let upper = ring(arms, first_deg);
    let turned = |rotor: &Rotor| match rotor.spin {
        Spin::Cw => Spin::Ccw,
        Spin::Ccw => Spin::Cw,
    };
    let lower: Vec<Rotor> = upper.iter().map(|rotor| Rotor { spin: turned(rotor), ..*rotor }).collect();
    upper.into_iter().chain(lower).collect()
}

const ROLL_PITCH: AxisSet = AxisSet::EMPTY.with(Axis::Roll).with(Axis::Pitch);
const CAPACITY: usize = facet_capacity(8);

fn table(rotors: &[Rotor]) -> (Effectiveness<8>, FacetTable<CAPACITY>, [Run; 3]) {
    let matrix = Effectiveness::<8>::new(rotors, [0.0; 3]).expect("a sound craft");
    let mut table = FacetTable::new();
    let runs = [ROLL_PITCH, ROLL_PITCH.with(Axis::Thrust), AxisSet::ALL]
        .map(|axes| table.run(&matrix, axes).expect("room for every facet"));
    (matrix, table, runs)
}

/// Counts with both signs: docs/allocation.md, computed there by an independent enumeration.
#[test]
fn regular_crafts_have_the_stated_number_of_facets() {
    let stated = [
        ("quad", ring(4, 45.0), [4, 12, 8]),
        ("six", ring(6, 0.0), [6, 30, 22]),
        ("eight", ring(8, 22.5), [8, 56, 52]),
        ("coaxial eight", coaxial(4, 45.0), [4, 12, 40]),
        ("coaxial six", coaxial(3, 0.0), [6, 6, 22]),
    ];
    for (name, rotors, counts) in stated {
        let (_, table, runs) = table(&rotors);
        assert_eq!(runs.map(|run| 2 * run.of(table.facets()).len()), counts, "{name}");
    }
}

#[test]
fn a_set_of_axes_asked_for_again_is_not_computed_again() {
    let (matrix, mut table, [first, ..]) = table(&ring(6, 0.0));
    let before = table.facets().len();
    assert_eq!(table.run(&matrix, ROLL_PITCH), Ok(first));
    assert_eq!(table.facets().len(), before);
}

#[test]
fn storage_that_is_too_small_is_an_error() {
    let matrix = Effectiveness::<8>::new(&ring(8, 0.0), [0.0; 3]).expect("a sound craft");
    let refused = FacetTable::<9>::new().run(&matrix, AxisSet::ALL);
    assert_eq!(refused, Err(GeometryError::TooManyFacets { capacity: 9 }));
}

/// Every corner of the box of thrusts lies within every slab, and some corner on each side of it.
#[test]
fn slabs_touch_the_set_from_outside() {
    for rotors in [ring(4, 45.0), ring(6, 0.0), coaxial(3, 0.0)] {
        let (matrix, table, _) = table(&rotors);
        let units = matrix.units();
        for facet in table.facets() {
            let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
            for corner in 0..1_usize << rotors.len() {
                let reach = |(i, rotor): (usize, &Rotor)| {
                    let thrust = if corner >> i & 1 == 1 { rotor.thrust_max_n } else { rotor.thrust_min_n };
                    let column = matrix.columns()[i];
                    (0..4).map(|k| facet.normal[k] * column[k] / units[k]).sum::<f64>() * thrust
                };
                let offset: f64 = rotors.iter().enumerate().map(reach).sum();
                (low, high) = (low.min(offset), high.max(offset));
            }
            let (lower, upper) = facet.ends();
            assert!((low - lower).abs() < 1e-9 && (high - upper).abs() < 1e-9, "{facet:?}");
        }
    }
}

#[test]
fn normals_have_length_one_and_the_rotors_that_span_a_facet_lie_in_it() {
    let (matrix, table, _) = table(&ring(8, 22.5));
    let units = matrix.units();
    for facet in table.facets() {
        assert!((length(facet.normal) - 1.0).abs() < 1e-12);
        for (i, column) in matrix.columns().iter().enumerate() {
            let reach: f64 = (0..4).map(|k| facet.normal[k] * column[k] / units[k]).sum();
            assert_eq!(facet.free.contains(i), reach.abs() < 1e-8, "{facet:?} rotor {i}");
            assert_eq!(facet.rising.contains(i), reach > 1e-8, "{facet:?} rotor {i}");
        }
    }
}

#[test]
fn cross_product_is_at_right_angles_and_as_long_as_the_volume() {
    let normal = cross([[2.0, 0.0, 0.0, 0.0], [0.0, 3.0, 0.0, 0.0], [0.0, 0.0, 5.0, 0.0]]);
    assert_eq!(normal.map(f64::abs), [0.0, 0.0, 0.0, 30.0]);
    let vectors = [[1.0, 2.0, -1.0, 0.5], [0.0, 1.0, 4.0, -2.0], [3.0, 0.0, 1.0, 1.0]];
    for vector in vectors {
        assert!(dot(&cross(vectors), &vector).abs() < 1e-12);
    }
}

#[test]
fn combinations_are_all_and_each_once() {
    let mut pick = [0, 1, 2];
    let mut count = 1;
    while next_combination(&mut pick, 3, 8) {
        count += 1;
    }
    assert_eq!((count, pick), (56, [5, 6, 7]));
}
