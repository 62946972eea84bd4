//! Proof that an answer is the optimum of its tiers, by weak duality: cheap enough for ten million.
//!
//! The answer itself is the one half: thrusts within their limits make it. The other half is a bound that
//! no thrusts can pass. For *any* multipliers y over the axes decided and the one asked for,
//!
//! ```text
//! y·w ≤ h(y) = Σ max(y·bᵢ lowᵢ, y·bᵢ highᵢ)        for every attainable w,
//! ```
//!
//! so w_a ≤ (h(y) − y·w_decided) / y_a. Where bound and answer meet, the answer is proven optimal, whoever
//! proposed y. Multipliers left out can only loosen the bound and fail a proof. Those tried here are at
//! right angles to every few columns, found by elimination, with what rounding adds to each bound put on
//! top. Where the gap stays open the linear programs of `oracle` have to decide.
//!
//! * Source: D. Bertsimas, J. Tsitsiklis, Introduction to Linear Optimization, 1997, theorem 4.3 (weak
//!   duality; from memory)
#![allow(dead_code, reason = "each test file uses some of this")]

use std::cell::RefCell;
use std::collections::HashMap;
use std::rc::Rc;

use evenkeel_mixer::Axis;

/// Roundings in a bound, in units of the machine epsilon and of the sum of the magnitudes of its terms.
const NOISE_ULPS: f64 = 8.0;
/// A component along the objective below this share of the multipliers bounds nothing.
const FLAT: f64 = 1e-13;
/// The square that a polygon is cut out of, in units of all ceilings: nothing lies outside.
const FAR: f64 = 16.0;

/// A craft as the bounds see it, rows scaled to one.
pub struct Duality {
    columns: Vec<[f64; 4]>,
    floors: Vec<f64>,
    ceilings: Vec<f64>,
    scales: [f64; 4],
    /// Multipliers by the axes they stand in, as bits.
    multipliers: RefCell<HashMap<u8, Rc<Vec<Multipliers>>>>,
}

/// y, h(y), and how far rounding may put h(y) off.
#[derive(Clone, Copy)]
struct Multipliers {
    y: [f64; 4],
    support: f64,
    noise: f64,
}

/// What the bounds say of an answer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Verdict {
    /// No attainable answer is better by more than this, newtons in rows scaled to one. Says nothing of a
    /// tier of three or four axes whose zero is out of reach.
    pub gap: f64,
    /// Axes of the widest tier whose zero is out of reach, given the tiers before it.
    pub zero_out_of_reach: usize,
}

/// The values that yaw may take while it waits for its tier.
type Band = Option<(f64, f64)>;

impl Duality {
    pub fn new(columns: &[[f64; 4]], floors: &[f64], ceilings: &[f64]) -> Self {
        let scales: [f64; 4] =
            std::array::from_fn(|k| columns.iter().map(|column| column[k].abs()).fold(0.0, f64::max));
        let columns = columns.iter().map(|column| std::array::from_fn(|k| column[k] / scales[k])).collect();
        Duality {
            columns,
            floors: floors.to_vec(),
            ceilings: ceilings.to_vec(),
            scales,
            multipliers: RefCell::default(),
        }
    }

    /// All rotors at their ceilings and pushing one way, in the axis where that comes to least.
    pub fn range(&self) -> f64 {
        let sum =
            |k: usize| -> f64 { self.columns.iter().zip(&self.ceilings).map(|(b, high)| b[k].abs() * high).sum() };
        (0..4).map(sum).fold(f64::INFINITY, f64::min)
    }

    /// How far from the optimum of its tiers `achieved` can be at most. Nearest points are nearest in `units`.
    pub fn verdict(
        &self,
        tiers: &[&[Axis]],
        keep_yaw_sign: bool,
        (demand, achieved): ([f64; 4], [f64; 4]),
        units: [f64; 4],
    ) -> Verdict {
        let (demand, got, units) = (self.scaled(demand), self.scaled(achieved), self.scaled(units));
        let mut verdict = Verdict { gap: 0.0, zero_out_of_reach: 0 };
        let (mut decided, mut band) = (0_u8, None);
        for axes in tiers {
            let yaw_waits = !axes.contains(&Axis::Yaw) && decided & bit(Axis::Yaw) == 0;
            // It still binds a nearest point in yaw's own tier; an interval or a scale keep it by themselves.
            let strip = if axes.contains(&Axis::Yaw) { band } else { None };
            if !yaw_waits {
                band = None;
            }
            if keep_yaw_sign && yaw_waits && axes.contains(&Axis::Thrust) {
                band = Some(self.yaw_band(decided, &got, demand[3]));
            }
            let open = axes.iter().fold(0, |set, axis| set | bit(*axis));
            let gap = match axes {
                [axis] => self.one_axis(decided, *axis, band, &got, demand[axis.index()]),
                several => {
                    let zero = several.iter().fold(got, |mut zero, axis| {
                        zero[axis.index()] = 0.0;
                        zero
                    });
                    if !self.is_outside(decided | open, band, &zero) {
                        self.along(decided, several, band, &got, &demand)
                    } else {
                        verdict.zero_out_of_reach = verdict.zero_out_of_reach.max(several.len());
                        match several {
                            [a, b] => self.nearest(decided, [*a, *b], (band, strip), (&demand, &got), units),
                            _ => 0.0,
                        }
                    }
                }
            };
            verdict.gap = verdict.gap.max(gap);
            decided |= open;
        }
        verdict
    }

    /// How far two axes are from the attainable point nearest to their demand: the polygon of what can be had in
    /// them is cut out of a square by one bound after another.
    fn nearest(
        &self,
        decided: u8,
        [a, b]: [Axis; 2],
        (band, strip): (Band, Band),
        (demand, got): (&[f64; 4], &[f64; 4]),
        units: [f64; 4],
    ) -> f64 {
        let places = [a.index(), b.index()];
        let seen = |wrench: &[f64; 4]| places.map(|k| wrench[k] / units[k]);
        let (wanted, got_here) = (seen(demand), seen(got));
        let far = FAR * self.ceilings.iter().sum::<f64>();
        let mut inside = true;
        let mut corners = vec![[-far, -far], [far, -far], [far, far], [-far, far]];
        self.for_each(decided | bit(a) | bit(b), band, |multipliers, sign| {
            let y = multipliers.y.map(|value| sign * value);
            let support = if sign > 0.0 { multipliers.support } else { self.support(&y).0 };
            let (held, noise) = rest(&y, decided, band, got);
            let normal = places.map(|k| y[k] * units[k]);
            let bound = support - held + noise + multipliers.noise;
            inside &= normal[0] * wanted[0] + normal[1] * wanted[1] <= bound;
            // Corners are known to their own rounding: a polygon thinner than that must not vanish.
            let blunt = NOISE_ULPS * f64::EPSILON * far * (normal[0].abs() + normal[1].abs());
            cut(&mut corners, normal, bound + blunt);
        });
        if let (Some((low, high)), Some(place)) = (strip, places.iter().position(|k| *k == Axis::Yaw.index())) {
            let mut normal = [0.0; 2];
            normal[place] = units[3];
            inside &= demand[3] >= low && demand[3] <= high;
            cut(&mut corners, normal, high);
            cut(&mut corners, normal.map(|value| -value), -low);
        }
        let away = |point: [f64; 2]| (point[0] - wanted[0]).hypot(point[1] - wanted[1]);
        let mut best = [f64::INFINITY; 2];
        for (from, to) in corners.iter().zip(corners.iter().cycle().skip(1)) {
            let along = [to[0] - from[0], to[1] - from[1]];
            let square = along[0].powi(2) + along[1].powi(2);
            let reached = (wanted[0] - from[0]) * along[0] + (wanted[1] - from[1]) * along[1];
            let share = if square > 0.0 { (reached / square).clamp(0.0, 1.0) } else { 0.0 };
            let foot = [from[0] + share * along[0], from[1] + share * along[1]];
            if !(away(best) <= away(foot)) {
                best = foot;
            }
        }
        if inside {
            best = wanted;
        }
        (0..2).map(|i| (got_here[i] - best[i]).abs() * units[places[i]]).fold(0.0, f64::max)
    }

    fn scaled(&self, wrench: [f64; 4]) -> [f64; 4] {
        std::array::from_fn(|k| wrench[k] / self.scales[k])
    }

    /// From zero to the demand, as far as what is decided allows.
    fn yaw_band(&self, decided: u8, got: &[f64; 4], wanted: f64) -> (f64, f64) {
        let up = [0.0, 0.0, 0.0, 1.0];
        let high = self.bound(decided, bit(Axis::Yaw), None, got, &up);
        let low = -self.bound(decided, bit(Axis::Yaw), None, got, &up.map(|value| -value));
        let near = |value: f64| value.max(low).min(high);
        (near(wanted.min(0.0)), near(wanted.max(0.0)))
    }

    fn one_axis(&self, decided: u8, axis: Axis, band: Band, got: &[f64; 4], wanted: f64) -> f64 {
        let value = got[axis.index()];
        let sign = if wanted > value { 1.0 } else { -1.0 };
        let mut objective = [0.0; 4];
        objective[axis.index()] = sign;
        let missing = sign * (wanted - value);
        missing.min(self.bound(decided, bit(axis), band, got, &objective) - sign * value)
    }

    /// The demand's direction kept, and the largest scale up to one.
    fn along(&self, decided: u8, axes: &[Axis], band: Band, got: &[f64; 4], demand: &[f64; 4]) -> f64 {
        let part = |values: &[f64; 4]| -> [f64; 4] {
            std::array::from_fn(|k| if axes.iter().any(|axis| axis.index() == k) { values[k] } else { 0.0 })
        };
        let (got_here, direction) = (part(got), part(demand));
        let length = dot(&direction, &direction).sqrt();
        if length == 0.0 {
            return dot(&got_here, &got_here).sqrt();
        }
        let unit = direction.map(|value| value / length);
        let done = dot(&got_here, &unit);
        let bent = (0..4).map(|k| (got_here[k] - done * unit[k]).abs()).fold(0.0, f64::max);
        let open = axes.iter().fold(0, |set, axis| set | bit(*axis));
        let farthest = self.bound(decided, open, band, got, &unit).min(length);
        bent.max(farthest - done).max(-done)
    }

    /// Upper bound on how far anything attainable goes along `objective` in the axes `open`, while the
    /// axes `decided` stay at what was achieved there and yaw may stand anywhere in its band.
    fn bound(&self, decided: u8, open: u8, band: Band, got: &[f64; 4], objective: &[f64; 4]) -> f64 {
        let mut least = f64::INFINITY;
        self.for_each(decided | open, band, |multipliers, sign| {
            let y = multipliers.y.map(|value| sign * value);
            let slope = dot(&y, objective);
            if slope > FLAT {
                let (held, noise) = rest(&y, decided, band, got);
                let support = if sign > 0.0 { multipliers.support } else { self.support(&y).0 };
                least = least.min((support - held + noise + multipliers.noise) / slope);
            }
        });
        least
    }

    /// Whether a point in these axes lies outside for certain.
    fn is_outside(&self, axes: u8, band: Band, point: &[f64; 4]) -> bool {
        let mut outside = false;
        self.for_each(axes, band, |multipliers, sign| {
            let y = multipliers.y.map(|value| sign * value);
            let (held, noise) = rest(&y, axes, band, point);
            let support = if sign > 0.0 { multipliers.support } else { self.support(&y).0 };
            outside |= support - held < -(noise + multipliers.noise);
        });
        outside
    }

    /// Every multiplier of these axes, either way; with a band, those that weigh yaw too.
    fn for_each(&self, axes: u8, band: Band, mut call: impl FnMut(&Multipliers, f64)) {
        let with_yaw = band.map(|_| axes | bit(Axis::Yaw));
        for set in [axes].into_iter().chain(with_yaw) {
            for multipliers in self.multipliers_of(set).iter() {
                call(multipliers, 1.0);
                call(multipliers, -1.0);
            }
        }
    }

    fn multipliers_of(&self, axes: u8) -> Rc<Vec<Multipliers>> {
        let known = self.multipliers.borrow().get(&axes).cloned();
        known.unwrap_or_else(|| {
            let made = Rc::new(self.at_right_angles(axes));
            self.multipliers.borrow_mut().insert(axes, Rc::clone(&made));
            made
        })
    }

    /// Multipliers at right angles to every choice of as many columns as leave one direction.
    fn at_right_angles(&self, axes: u8) -> Vec<Multipliers> {
        let places: Vec<usize> = (0..4).filter(|k| axes >> k & 1 == 1).collect();
        let mut all = Vec::new();
        choose(self.columns.len(), places.len() - 1, &mut Vec::new(), &mut |picked| {
            let rows: Vec<Vec<f64>> =
                picked.iter().map(|i| places.iter().map(|k| self.columns[*i][*k]).collect()).collect();
            let mut y = [0.0; 4];
            for (k, value) in places.iter().zip(null_vector(rows, places.len())) {
                y[*k] = value;
            }
            let (support, noise) = self.support(&y);
            all.push(Multipliers { y, support, noise });
        });
        all
    }

    /// h(y), and the noise in it.
    fn support(&self, y: &[f64; 4]) -> (f64, f64) {
        let (mut support, mut terms) = (0.0, 0.0);
        for (column, (low, high)) in self.columns.iter().zip(self.floors.iter().zip(&self.ceilings)) {
            let reach = dot(y, column);
            support += (reach * low).max(reach * high);
            let largest = low.abs().max(high.abs());
            terms += column.iter().zip(y).map(|(b, y)| (b * y).abs()).sum::<f64>() * largest;
        }
        (support, NOISE_ULPS * f64::EPSILON * terms)
    }
}

/// What the axes decided and the band take off h(y) at least, and the noise in that.
fn rest(y: &[f64; 4], decided: u8, band: Band, got: &[f64; 4]) -> (f64, f64) {
    let (mut held, mut terms) = (0.0, 0.0);
    for k in (0..4).filter(|k| decided >> k & 1 == 1) {
        held += y[k] * got[k];
        terms += (y[k] * got[k]).abs();
    }
    if let Some((low, high)) = band {
        held += (y[3] * low).min(y[3] * high);
        terms += y[3].abs() * low.abs().max(high.abs());
    }
    (held, NOISE_ULPS * f64::EPSILON * terms)
}

/// Keeps of a convex polygon, corners anticlockwise, what lies within normal·p ≤ bound.
fn cut(corners: &mut Vec<[f64; 2]>, normal: [f64; 2], bound: f64) {
    let beyond = |p: &[f64; 2]| normal[0] * p[0] + normal[1] * p[1] - bound;
    let mut kept = Vec::with_capacity(corners.len() + 1);
    for (from, to) in corners.iter().zip(corners.iter().cycle().skip(1)) {
        let (before, after) = (beyond(from), beyond(to));
        if before <= 0.0 {
            kept.push(*from);
        }
        if (before <= 0.0) != (after <= 0.0) {
            let share = before / (before - after);
            kept.push([from[0] + share * (to[0] - from[0]), from[1] + share * (to[1] - from[1])]);
        }
    }
    *corners = kept;
}

/// A vector of length one that every row is at right angles to: elimination with full pivoting.
fn null_vector(mut rows: Vec<Vec<f64>>, width: usize) -> Vec<f64> {
    let mut order: Vec<usize> = (0..width).collect();
    let mut rank = 0;
    while rank < rows.len() {
        let places = (rank..rows.len()).flat_map(|i| (rank..width).map(move |j| (i, j)));
        let size = |(i, j): &(usize, usize)| rows[*i][order[*j]].abs();
        let Some((row, column)) = places.max_by(|a, b| size(a).total_cmp(&size(b))) else { break };
        if size(&(row, column)) < f64::EPSILON {
            break;
        }
        rows.swap(rank, row);
        order.swap(rank, column);
        let pivot = rows[rank].clone();
        for (i, other) in rows.iter_mut().enumerate() {
            if i != rank {
                let factor = other[order[rank]] / pivot[order[rank]];
                other.iter_mut().zip(&pivot).for_each(|(a, b)| *a -= factor * b);
            }
        }
        rank += 1;
    }
    let free = order[rank];
    let mut vector = vec![0.0; width];
    vector[free] = 1.0;
    for i in 0..rank {
        vector[order[i]] = -rows[i][free] / rows[i][order[i]];
    }
    let length = vector.iter().map(|value| value * value).sum::<f64>().sqrt();
    vector.iter_mut().for_each(|value| *value /= length);
    vector
}

/// Every choice of `size` below `count`.
fn choose(count: usize, size: usize, picked: &mut Vec<usize>, call: &mut impl FnMut(&[usize])) {
    if picked.len() == size {
        return call(picked);
    }
    for next in picked.last().map_or(0, |last| last + 1)..count {
        picked.push(next);
        choose(count, size, picked, call);
        picked.pop();
    }
}

fn bit(axis: Axis) -> u8 {
    1 << axis.index()
}

fn dot(a: &[f64; 4], b: &[f64; 4]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}
