//! The rotors' arrangement as the doubts look at it: how far they stand out, how near to each other.

use crate::craft::{Craft, Rotor};

/// Two hubs nearer to each other in plan than this share of the arm are one above the other.
const SAME_PLACE_OF_ARM: f64 = 0.1;
/// Weight of a frame's own spread along an axis beside that of a regular ring with the same arm: a narrow frame still has a
/// body between its rotors.
const OWN_SPREAD: f64 = 0.6;

/// Distances between rotors, metres.
pub(super) struct Shape {
    /// Mean of the hubs.
    pub center_m: [f64; 3],
    /// Root mean square of the hubs' distances from their mean, seen from above.
    pub arm_m: f64,
    /// What stands for the arm in the inertia about x and about y: the arm itself for a regular ring.
    pub reach_m: [f64; 2],
    /// Half the difference between the highest and the lowest hub.
    pub half_height_m: f64,
    /// The least distance in plan between two places; `None` for one place.
    pub spacing_m: Option<f64>,
    /// Rotors by place in plan, each from top to bottom.
    pub places: Vec<Vec<usize>>,
}

impl Shape {
    /// `None` when the rotors do not stand around anything.
    pub fn of(craft: &Craft) -> Option<Shape> {
        let count = craft.rotors.len() as f64;
        let mean = |part: usize| craft.rotors.iter().map(|rotor| rotor.position_m[part]).sum::<f64>() / count;
        let center_m = [mean(0), mean(1), mean(2)];
        let square = |part: usize| {
            craft.rotors.iter().map(|rotor| (rotor.position_m[part] - center_m[part]).powi(2)).sum::<f64>() / count
        };
        let (along, across) = (square(0), square(1));
        let arm_m = (along + across).sqrt();
        if !(arm_m > 0.0 && arm_m.is_finite()) {
            return None;
        }
        // Roll turns about x: what stands out along y counts.
        let reach = |spread: f64| (2.0 * OWN_SPREAD * spread + (1.0 - OWN_SPREAD) * arm_m * arm_m).sqrt();
        let heights = craft.rotors.iter().map(|rotor| rotor.position_m[2]);
        let (top, bottom) = heights.fold((f64::MAX, f64::MIN), |(top, bottom), z| (top.min(z), bottom.max(z)));
        let places = places(craft, SAME_PLACE_OF_ARM * arm_m);
        Some(Shape {
            center_m,
            arm_m,
            reach_m: [reach(across), reach(along)],
            half_height_m: 0.5 * (bottom - top),
            spacing_m: spacing(craft, &places),
            places,
        })
    }

    /// The topmost rotor of each place: it works in air that no other has moved.
    pub fn upper<'c>(&self, craft: &'c Craft) -> Vec<&'c Rotor> {
        self.places.iter().filter_map(|place| craft.rotors.get(*place.first()?)).collect()
    }
}

/// Distance of two hubs seen from above.
pub(super) fn in_plan_m(a: &Rotor, b: &Rotor) -> f64 {
    (a.position_m[0] - b.position_m[0]).hypot(a.position_m[1] - b.position_m[1])
}

fn places(craft: &Craft, near_m: f64) -> Vec<Vec<usize>> {
    let mut places: Vec<Vec<usize>> = Vec::new();
    for (index, rotor) in craft.rotors.iter().enumerate() {
        let joins = |place: &&mut Vec<usize>| {
            place
                .first()
                .and_then(|first| craft.rotors.get(*first))
                .is_some_and(|first| in_plan_m(first, rotor) < near_m)
        };
        match places.iter_mut().find(joins) {
            Some(place) => place.push(index),
            None => places.push(vec![index]),
        }
    }
    let height = |index: &usize| craft.rotors.get(*index).map_or(0.0, |rotor| rotor.position_m[2]);
    places.iter_mut().for_each(|place| place.sort_by(|a, b| height(a).total_cmp(&height(b))));
    places
}

fn spacing(craft: &Craft, places: &[Vec<usize>]) -> Option<f64> {
    let hubs: Vec<&Rotor> = places.iter().filter_map(|place| craft.rotors.get(*place.first()?)).collect();
    let pairs = hubs.iter().enumerate().flat_map(|(k, a)| hubs.iter().skip(k + 1).map(move |b| in_plan_m(a, b)));
    pairs.min_by(f64::total_cmp)
}
