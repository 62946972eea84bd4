//! As few points as look the same: thinning of long series to what a chart can show.
//!
//! Points are in the drawing's units, already placed.

/// Width of the columns in which a series is thinned to its lowest and highest value.
const COLUMN: f64 = 1.0;
/// A point nearer than this to the line through its neighbours is not drawn.
const STRAIGHT: f64 = 0.12;
/// A track's points are at least this far apart.
const TRACK_STEP: f64 = 0.8;
/// Bounds the work: no more points than this are weighed against one line.
const LONGEST_SKIP: usize = 200;

/// Coordinates to a tenth of a unit; what is finer is not seen.
pub fn px(value: f64) -> String {
    let printed = format!("{value:.1}");
    printed.strip_suffix(".0").map_or(printed.clone(), str::to_owned)
}

/// Lowest and highest point of each column, in their order, with the first and the last of all.
pub fn thinned(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let mut kept: Vec<(f64, f64)> = points.first().copied().into_iter().collect();
    for column in points.chunk_by(|a, b| (a.0 / COLUMN).floor() == (b.0 / COLUMN).floor()) {
        let by_height = |a: &&(f64, f64), b: &&(f64, f64)| a.1.total_cmp(&b.1);
        let (Some(&low), Some(&high)) = (column.iter().min_by(by_height), column.iter().max_by(by_height)) else {
            continue;
        };
        kept.extend(if low.0 <= high.0 { [low, high] } else { [high, low] });
    }
    kept.extend(points.last());
    kept.dedup();
    kept
}

/// Points of a track, each a step away from the one before; the last one always.
pub fn spaced(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let mut kept: Vec<(f64, f64)> = Vec::new();
    for &(x, y) in points {
        if kept.last().is_none_or(|last| (x - last.0).hypot(y - last.1) >= TRACK_STEP) {
            kept.push((x, y));
        }
    }
    kept.extend(points.last());
    kept
}

/// Leaves out points that lie on the line from the last one kept to the next.
pub fn straightened(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let mut kept: Vec<(f64, f64)> = Vec::new();
    let mut skipped: Vec<(f64, f64)> = Vec::new();
    for &point in points {
        if let Some(&from) = kept.last() {
            let off = |&(x, y): &(f64, f64)| {
                let (ux, uy) = (point.0 - from.0, point.1 - from.1);
                let length = ux.hypot(uy).max(STRAIGHT);
                let along = ((x - from.0) * ux + (y - from.1) * uy) / (length * length);
                let along = along.clamp(0.0, 1.0);
                (x - from.0 - along * ux).hypot(y - from.1 - along * uy)
            };
            if skipped.len() < LONGEST_SKIP && skipped.iter().all(|p| off(p) < STRAIGHT) {
                skipped.push(point);
                continue;
            }
            kept.extend(skipped.last().copied());
            skipped.clear();
            skipped.push(point);
        } else {
            kept.push(point);
        }
    }
    kept.extend(skipped.last());
    kept
}

/// Adds the points to a path, as one run of lines.
pub fn trace(d: &mut String, points: &[(f64, f64)]) {
    for (k, &(x, y)) in points.iter().enumerate() {
        d.push(if k == 0 { 'M' } else { ' ' });
        *d += &px(x);
        d.push(' ');
        *d += &px(y);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn wave(count: usize) -> Vec<(f64, f64)> {
        (0..count).map(|k| (k as f64 / count as f64 * 300.0, 50.0 + 20.0 * (k as f64 * 0.7).sin())).collect()
    }

    #[test]
    fn keeps_a_spike_when_a_long_series_is_thinned() {
        let mut points = wave(30_000);
        points[12_345].1 = 163.0;
        points[23_456].1 = -7.0;
        let kept = straightened(&thinned(&points));
        assert!(kept.len() <= 2 * 302, "{} points", kept.len());
        assert!(kept.contains(&points[12_345]) && kept.contains(&points[23_456]));
        assert_eq!((kept.first(), kept.last()), (points.first(), points.last()));
    }

    #[test]
    fn keeps_the_corners_when_a_series_is_made_of_straight_lines() {
        let corners = [(0.0, 0.0), (100.0, 50.0), (200.0, 50.0), (300.0, 0.0)];
        let points: Vec<_> = (0..=300)
            .map(f64::from)
            .map(|x| {
                (
                    x,
                    if x < 100.0 {
                        x / 2.0
                    } else if x <= 200.0 {
                        50.0
                    } else {
                        150.0 - x / 2.0
                    },
                )
            })
            .collect();
        let kept = straightened(&points);
        for corner in corners {
            let nearest = kept.iter().map(|p| (p.0 - corner.0).hypot(p.1 - corner.1)).fold(f64::MAX, f64::min);
            assert!(nearest <= 1.5, "corner {corner:?} is {nearest} away");
        }
        assert!(kept.len() <= 12, "{} points", kept.len());
    }

    #[test]
    fn keeps_start_and_end_when_a_track_is_spaced() {
        let points: Vec<_> =
            (0..5_000).map(|k| f64::from(k) * 1e-3).map(|a| (40.0 * a.cos(), 40.0 * a.sin())).collect();
        let kept = spaced(&points);
        assert_eq!((kept.first(), kept.last()), (points.first(), points.last()));
        assert!(kept.len() <= 252, "{} points", kept.len());
    }
}
