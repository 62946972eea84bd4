//! From ratios out of their bands to the slips behind them.

use super::figure::Figure;
use super::odd::odd_rotors;
use super::relation::Relation;
use super::shape::Shape;
use super::slip::{Mend, Slip, slips};
use super::words::number;
use super::{DOUBTS_MAX, Doubt, Usual, battery, body, control, rotors};
use crate::craft::Craft;
use crate::file::unit_of;

/// A slip explains ratios out of their bands when mending it leaves at most this share of what they are off.
const LEFT_UNEXPLAINED: f64 = 0.35;
/// A slip has moved a ratio when it has changed by more than this share.
const MOVED: f64 = 1e-6;
const ODD_SOURCE: &str = "common practice, no source: the rotors of a craft are alike; a factor of five is our choice";

/// Every ratio of the craft that has a band.
pub(super) fn relations(craft: &Craft, gravity_m_s2: f64) -> Vec<Relation> {
    let shape = Shape::of(craft);
    let mut found = rotors::relations(craft, shape.as_ref(), gravity_m_s2);
    found.extend(shape.iter().flat_map(|shape| body::relations(craft, shape, gravity_m_s2)));
    found.extend(battery::relations(craft, gravity_m_s2));
    found.extend(control::relations(craft, gravity_m_s2));
    let alike =
        [Figure::Thrust, Figure::ThrustMin, Figure::Torque, Figure::Lag, Figure::Diameter, Figure::Speed, Figure::Arm];
    found.extend(alike.into_iter().flat_map(|figure| odd(craft, figure)));
    found
}

fn odd(craft: &Craft, figure: Figure) -> Vec<Relation> {
    let relation = |odd: super::odd::OddRotor| Relation {
        id: "odd_rotor",
        words: "this rotor's figure over the middle one",
        figure,
        rotor: Some((odd.rotor, odd.value)),
        power: 1.0,
        ratio: odd.ratio,
        typical: 1.0,
        usual: odd.usual,
        source: ODD_SOURCE,
    };
    odd_rotors(craft, figure).into_iter().map(relation).collect()
}

/// The slips that explain what is out of its band, then what no slip explains.
pub(super) fn explained(craft: &Craft, gravity_m_s2: f64) -> Vec<Doubt> {
    let (mut craft, mut found) = (craft.clone(), Vec::<Doubt>::new());
    while found.len() < DOUBTS_MAX {
        let now = relations(&craft, gravity_m_s2);
        if excess(&now) == 0.0 {
            break;
        }
        let Some((slip, mended)) = likeliest(&craft, &now, gravity_m_s2) else {
            found.extend(unexplained(&craft, &now));
            break;
        };
        let doubt = by_slip(&craft, &now, &slip, &mended, gravity_m_s2);
        craft = mended;
        // Mended twice, a figure is doubted once.
        match doubt {
            Some(doubt) if !found.iter().any(|known| known.key == doubt.key) => found.push(doubt),
            _ => {
                found.extend(unexplained(&craft, &relations(&craft, gravity_m_s2)));
                break;
            }
        }
    }
    let mut told: Vec<String> = Vec::new();
    found.retain(|doubt| {
        let first = !told.contains(&doubt.key);
        told.push(doubt.key.clone());
        first
    });
    found
}

fn excess(relations: &[Relation]) -> f64 {
    relations.iter().map(Relation::excess).sum()
}

/// The slip after whose mending the craft is the most usual, with that craft.
fn likeliest(craft: &Craft, now: &[Relation], gravity_m_s2: f64) -> Option<(Slip, Craft)> {
    let enough = LEFT_UNEXPLAINED * worst(now)?.excess();
    let tried = slips(craft).into_iter().filter_map(|slip| {
        let mended = slip.mended(craft);
        let then = relations(&mended, gravity_m_s2);
        let left = excess(&then);
        let unlikeliness = slip.rarity + then.iter().map(Relation::unlikeliness).sum::<f64>();
        // What was out of its band comes back, and nothing else leaves.
        (left <= excess(now) - worst(now)?.excess() + enough).then_some((unlikeliness, slip, mended))
    });
    let best = tried.min_by(|(a, ..), (b, ..)| a.total_cmp(b));
    best.map(|(_, slip, mended)| (slip, mended))
}

fn worst(relations: &[Relation]) -> Option<&Relation> {
    relations.iter().filter(|relation| relation.excess() > 0.0).max_by(|a, b| a.excess().total_cmp(&b.excess()))
}

fn by_slip(craft: &Craft, now: &[Relation], slip: &Slip, mended: &Craft, gravity_m_s2: f64) -> Option<Doubt> {
    let then = relations(mended, gravity_m_s2);
    let after = |relation: &Relation| then.iter().find(|other| other.is_about_the_same(relation));
    let moved = |relation: &&Relation| {
        relation.excess() > 0.0
            && after(relation).is_none_or(|after| (after.ratio / relation.ratio - 1.0).abs() > MOVED)
    };
    let moved: Vec<&Relation> = now.iter().filter(moved).collect();
    let main = moved.iter().max_by(|a, b| a.excess().total_cmp(&b.excess()))?;
    let value = match slip.rotor {
        Some(_) => main.rotor?.1,
        None => slip.figure.value(craft)?,
    };
    let to_type = match (slip.rotor, slip.mend) {
        (Some(_), Mend::Times(factor)) => number(value * factor),
        (_, Mend::Exchange(..)) => Figure::Inertia.typed(mended)?,
        _ => slip.figure.typed(mended)?,
    };
    let bands = moved.iter().filter_map(|relation| band(relation, after(relation), slip, value));
    let usual = bands.reduce(both).filter(|usual| usual.min <= usual.max);
    let usual = usual.or_else(|| band(main, after(main), slip, value)).unwrap_or(main.usual_of(value, main.power));
    let item = slip.figure == Figure::Arm && slip.rotor.is_none() && !craft.figures.from_layout;
    let write = if item { format!("{} as the largest distance, and the others alike", to_type) } else { to_type };
    Some(Doubt {
        id: main.id,
        key: key(craft, slip.figure, slip.rotor),
        value,
        unit: unit_of(slip.figure.key(craft)),
        usual: signed(slip.figure, usual),
        likely: format!("{} write {write}", slip.words),
        because: main.in_words(),
        source: main.source.to_owned(),
        vouched: false,
    })
}

/// The band of a ratio in the unit of the slip's figure.
fn band(relation: &Relation, after: Option<&Relation>, slip: &Slip, value: f64) -> Option<Usual> {
    let Mend::Times(factor) = slip.mend else { return None };
    let power = match after {
        Some(after) => (after.ratio / relation.ratio).ln() / factor.ln(),
        None => 1.0,
    };
    Some(relation.usual_of(value, power)).filter(|usual| usual.min.is_finite() && usual.max.is_finite())
}

fn both(a: Usual, b: Usual) -> Usual {
    Usual { min: a.min.max(b.min), max: a.max.min(b.max) }
}

/// A centre of mass may lie either way.
fn signed(figure: Figure, usual: Usual) -> Usual {
    match figure {
        Figure::CenterOfMass => {
            let most = usual.min.abs().max(usual.max.abs());
            Usual { min: -most, max: most }
        }
        _ => usual,
    }
}

fn key(craft: &Craft, figure: Figure, rotor: Option<usize>) -> String {
    match rotor {
        Some(rotor) => {
            let name = figure.key(craft).rsplit('.').next().unwrap_or_default();
            format!("rotor[{}].{name}", rotor + 1)
        }
        None => figure.key(craft).to_owned(),
    }
}

/// Ratios out of their bands, each laid to its own figure.
fn unexplained(craft: &Craft, now: &[Relation]) -> Vec<Doubt> {
    let mut off: Vec<&Relation> = now.iter().filter(|relation| relation.excess() > 0.0).collect();
    off.sort_by(|a, b| b.excess().total_cmp(&a.excess()));
    let doubt = |relation: &&Relation| {
        let value = relation.rotor.map_or_else(|| relation.figure.value(craft).unwrap_or(0.0), |(_, value)| value);
        let usual = signed(relation.figure, relation.usual_of(value, relation.power));
        Doubt {
            id: relation.id,
            key: key(craft, relation.figure, relation.rotor.map(|(rotor, _)| rotor)),
            value,
            unit: unit_of(relation.figure.key(craft)),
            usual,
            likely: without_slip(relation.figure, usual),
            because: relation.in_words(),
            source: relation.source.to_owned(),
            vouched: false,
        }
    };
    off.iter().map(doubt).collect()
}

/// What to do about a figure that no slip explains.
fn without_slip(figure: Figure, usual: Usual) -> String {
    match figure {
        Figure::Tilt => format!("the rotors carry no such tilt: write at most {}", number(usual.max)),
        Figure::ThrustMin => format!("too near to hover: write at most {}", number(usual.max)),
        _ => format!(
            "no known slip explains it: measure it anew; usual is {} to {}",
            number(usual.min),
            number(usual.max)
        ),
    }
}
