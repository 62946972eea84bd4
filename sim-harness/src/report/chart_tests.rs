//! Line charts, drawn and read back.

use proptest::prelude::*;

use super::chart::*;

/// Difference of the two scales of a track, as a part of them.
const SCALE_TOL: f64 = 1e-9;

fn chart(points: Vec<(f64, f64)>) -> Chart {
    let series = vec![Series { label: "one".into(), tone: 0, asked: false, points }];
    Chart { title: "t", across: "x", unit: "u", series, bands: vec![], least_span: 1.0, with_zero: false, track: false }
}

fn path(svg: &str) -> String {
    let start = svg.find("<path class=\"line").unwrap();
    svg[start..].split(" d=\"").nth(1).unwrap().split('"').next().unwrap().to_owned()
}

#[test]
fn leaves_a_gap_when_a_value_is_no_number() {
    for bad in [f64::NAN, f64::INFINITY, 1e300] {
        let svg = chart(vec![(0.0, 0.0), (1.0, 1.0), (2.0, bad), (3.0, 1.0), (4.0, 0.0)]).svg("a").into_string();
        assert_eq!(path(&svg).matches('M').count(), 2, "{svg}");
    }
}

#[test]
fn draws_axes_and_says_so_when_there_is_nothing_to_draw() {
    for points in [vec![], vec![(f64::NAN, 1.0), (0.0, f64::INFINITY)]] {
        let svg = chart(points).svg("a").into_string();
        assert!(svg.contains("one: nothing that can be drawn") && svg.contains("class=\"tick\""));
        assert_eq!(path(&svg), "");
    }
}

#[test]
fn is_still_when_nothing_moves_and_not_when_one_value_does() {
    let mut flat = chart(vec![(0.0, 4.0), (1.0, 4.001), (2.0, 4.0)]);
    assert_eq!(flat.still_at(), Some(4.0));
    flat.series[0].points.push((3.0, 4.2));
    assert_eq!(flat.still_at(), None);
    assert_eq!(chart(vec![(0.0, 4.0), (1.0, f64::NAN)]).still_at(), None);
    assert_eq!(chart(vec![]).still_at(), None);
}

#[test]
fn shades_what_lies_beyond_a_limit_even_when_the_data_stay_far_from_it() {
    let mut chart = chart(vec![(0.0, 4.0), (1.0, 4.1)]);
    chart.bands.push(Band { edge: 8.0, above: true, label: "ceiling 8 N".into() });
    let svg = chart.svg("a").into_string();
    assert!(
        svg.contains("class=\"band\"") && svg.contains(">ceiling 8 N</text>") && svg.contains("Limit: ceiling 8 N.")
    );
}

#[test]
fn keeps_one_scale_when_a_track_is_long_and_narrow() {
    for points in [vec![(0.0, 0.0), (1.0, 500.0)], vec![(-80.0, 2.0), (900.0, 3.0)], vec![(0.0, 0.0), (0.0, 0.0)]] {
        let frame = Chart { track: true, ..chart(points.clone()) }.frame(20.0);
        let (across, down) = (frame.right_of(1.0) - frame.right_of(0.0), frame.down_to(0.0) - frame.down_to(1.0));
        assert!((across / down - 1.0).abs() <= SCALE_TOL, "{across} against {down}");
        assert!(points.iter().all(|p| frame.x.contains(&p.0) && frame.y.contains(&p.1)));
    }
}

proptest! {
    #[test]
    fn stays_inside_its_frame_and_prints_only_numbers(points in prop::collection::vec((any::<f64>(), any::<f64>()), 0..60), track: bool) {
        let svg = Chart { track, ..chart(points) }.svg("a").into_string();
        for word in path(&svg).split([' ', 'M']).filter(|word| !word.is_empty()) {
            let value: f64 = word.parse().unwrap();
            prop_assert!((-1.0..=WIDTH + 1.0).contains(&value), "{value}");
        }
    }
}
