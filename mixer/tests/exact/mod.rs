//! The optimum of the tiers in rational arithmetic, without any rounding: the judge where the two others disagree.
//!
//! A linear program holds a rotor at a limit when its reduced cost is above a tolerance; where a rotor all but lies in
//! a facet that is the wrong choice, and later tiers are off by the tolerance over the angle. Here every number is the
//! fraction that the `f64` is, and all facets of the tiers are tried.
//!
//! * Math: the tiers as docs/allocation.md defines them; supports of the zonotope over all choices of columns
//! * Source: G. M. Ziegler, Lectures on Polytopes, 1995, lecture 7 (from memory)

use evenkeel_mixer::Axis;
use num_rational::BigRational;
use num_traits::{One, Signed, ToPrimitive, Zero};

type Column = [BigRational; 4];

/// What adds to the wrench: a rotor, or the band of yaw.
#[derive(Clone)]
struct Generator {
    column: Column,
    low: BigRational,
    high: BigRational,
}

pub struct Exact {
    rotors: Vec<Generator>,
}

/// The fraction that a number is; numbers of these tests are finite.
fn fraction(value: f64) -> BigRational {
    BigRational::from_float(value).expect("a finite number")
}

impl Exact {
    pub fn new(columns: &[[f64; 4]], floors: &[f64], ceilings: &[f64]) -> Self {
        let rotor = |((column, low), high): ((&[f64; 4], &f64), &f64)| Generator {
            column: column.map(fraction),
            low: fraction(*low),
            high: fraction(*high),
        };
        Exact { rotors: columns.iter().zip(floors).zip(ceilings).map(rotor).collect() }
    }

    /// The best attainable wrench; none where a tier of several axes has its zero out of reach.
    pub fn best(&self, tiers: &[&[Axis]], keep_yaw_sign: bool, demand: [f64; 4]) -> Option<[f64; 4]> {
        let demand = demand.map(fraction);
        let mut wrench: Column = std::array::from_fn(|_| BigRational::zero());
        let (mut decided, mut band): (Vec<usize>, Option<Generator>) = (Vec::new(), None);
        for axes in tiers {
            if axes.contains(&Axis::Yaw) {
                band = None;
            } else if keep_yaw_sign && axes.contains(&Axis::Thrust) && !decided.contains(&3) {
                let (low, high) = self.interval(&decided, 3, &None, &wrench)?;
                let near = |value: BigRational| value.max(low.clone()).min(high.clone());
                let (none, wanted) = (BigRational::zero(), demand[3].clone());
                let (from, to) = (near(wanted.clone().min(none.clone())), near(wanted.max(none)));
                let mut column: Column = std::array::from_fn(|_| BigRational::zero());
                column[3] = -BigRational::one();
                band = Some(Generator { column, low: from, high: to });
            }
            if let [axis] = axes {
                let place = axis.index();
                let (low, high) = self.interval(&decided, place, &band, &wrench)?;
                wrench[place] = demand[place].clone().max(low).min(high);
            } else {
                let mut direction: Column = std::array::from_fn(|_| BigRational::zero());
                axes.iter().for_each(|axis| direction[axis.index()] = demand[axis.index()].clone());
                let open: Vec<usize> = axes.iter().map(|axis| axis.index()).collect();
                let (low, high) = self.cut(&decided, &open, &band, &wrench, &direction)?;
                let scale = high.unwrap_or_else(BigRational::one).min(BigRational::one());
                if scale.is_negative() || low.is_some_and(|low| low.is_positive()) {
                    return None;
                }
                open.iter().for_each(|place| wrench[*place] = &scale * &direction[*place]);
            }
            decided.extend(axes.iter().map(|axis| axis.index()));
        }
        Some(wrench.map(|value| value.to_f64().unwrap_or(f64::NAN)))
    }

    fn interval(
        &self,
        decided: &[usize],
        axis: usize,
        band: &Option<Generator>,
        wrench: &Column,
    ) -> Option<(BigRational, BigRational)> {
        let mut along: Column = std::array::from_fn(|_| BigRational::zero());
        along[axis] = BigRational::one();
        let (low, high) = self.cut(decided, &[axis], band, wrench, &along)?;
        Some((low?, high?))
    }

    /// The interval of t for which `wrench` in the axes decided and t·direction in those open can be had; none where
    /// that is for no t.
    fn cut(
        &self,
        decided: &[usize],
        open: &[usize],
        band: &Option<Generator>,
        wrench: &Column,
        direction: &Column,
    ) -> Option<(Option<BigRational>, Option<BigRational>)> {
        let generators: Vec<Generator> = self.rotors.iter().chain(band).cloned().collect();
        // With a band, yaw balances against it: at zero.
        let balanced = if band.is_some() { Some(3) } else { None };
        let axes: Vec<usize> = decided.iter().chain(open).copied().chain(balanced).collect();
        let (mut low, mut high): (Option<BigRational>, Option<BigRational>) = (None, None);
        for normal in normals(&generators, &axes) {
            let held = decided.iter().fold(BigRational::zero(), |sum, k| sum + &normal[*k] * &wrench[*k]);
            let room = support(&generators, &normal) - held;
            let slope = open.iter().fold(BigRational::zero(), |sum, k| sum + &normal[*k] * &direction[*k]);
            if slope.is_zero() {
                if room.is_negative() {
                    return None;
                }
                continue;
            }
            let end = room / &slope;
            if slope.is_positive() {
                high = Some(high.map_or(end.clone(), |high| high.min(end)));
            } else {
                low = Some(low.map_or(end.clone(), |low| low.max(end)));
            }
        }
        let empty = matches!((&low, &high), (Some(low), Some(high)) if low > high);
        (!empty).then_some((low, high))
    }
}

fn support(generators: &[Generator], normal: &Column) -> BigRational {
    generators.iter().fold(BigRational::zero(), |sum, generator| {
        let reach = (0..4).fold(BigRational::zero(), |reach, k| reach + &normal[k] * &generator.column[k]);
        sum + (&reach * &generator.low).max(&reach * &generator.high)
    })
}

/// At right angles, in these axes, to every choice of as many columns as leave one direction; both ways.
fn normals(generators: &[Generator], axes: &[usize]) -> Vec<Column> {
    let mut all = Vec::new();
    let picks = (0..1_usize << generators.len()).filter(|pick| pick.count_ones() as usize + 1 == axes.len());
    for pick in picks {
        let rows = (0..generators.len()).filter(|i| pick >> i & 1 == 1);
        let rows = rows.map(|i| axes.iter().map(|k| generators[i].column[*k].clone()).collect()).collect();
        if let Some(vector) = null_vector(rows, axes.len()) {
            let mut normal: Column = std::array::from_fn(|_| BigRational::zero());
            axes.iter().zip(vector).for_each(|(k, value)| normal[*k] = value);
            all.push(normal.clone().map(|value| -value));
            all.push(normal);
        }
    }
    all
}

/// The vector that all rows are at right angles to; none where they leave more than one. Gauss-Jordan.
fn null_vector(mut rows: Vec<Vec<BigRational>>, width: usize) -> Option<Vec<BigRational>> {
    let mut pivots = Vec::new();
    for column in 0..width {
        let rank = pivots.len();
        let Some(row) = (rank..rows.len()).find(|i| !rows[*i][column].is_zero()) else { continue };
        rows.swap(rank, row);
        let inverse = rows[rank][column].recip();
        rows[rank].iter_mut().for_each(|value| *value *= &inverse);
        let pivot = rows[rank].clone();
        for (_, other) in rows.iter_mut().enumerate().filter(|(i, _)| *i != rank) {
            let factor = other[column].clone();
            other.iter_mut().zip(&pivot).for_each(|(a, b)| *a -= &factor * b);
        }
        pivots.push(column);
    }
    if pivots.len() + 1 != width {
        return None;
    }
    let free = (0..width).find(|column| !pivots.contains(column))?;
    let mut vector = vec![BigRational::zero(); width];
    vector[free] = BigRational::one();
    for (row, pivot) in rows.iter().zip(&pivots) {
        vector[*pivot] = -row[free].clone();
    }
    Some(vector)
}
