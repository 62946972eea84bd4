//! A ratio between figures of a craft, and where it lies on crafts that fly.

use super::Usual;
use super::figure::Figure;
use super::words::shown;

/// Deviations from the middle of a band to its end, for the sum that weighs explanations.
const DEVIATIONS_TO_END: f64 = 2.5;

/// A ratio that follows from the file, held to what is usual.
#[derive(Clone, Debug)]
pub(super) struct Relation {
    /// Stable name.
    pub id: &'static str,
    /// The ratio in words.
    pub words: &'static str,
    /// The figure it is laid to when nothing explains it.
    pub figure: Figure,
    /// The one rotor that it is about, from 0, with its figure.
    pub rotor: Option<(usize, f64)>,
    /// The ratio goes with this power of that figure.
    pub power: f64,
    pub ratio: f64,
    pub typical: f64,
    pub usual: Usual,
    /// Where the band comes from, with its status.
    pub source: &'static str,
}

impl Relation {
    /// How far outside the band, as a logarithm; 0 inside. A ratio that is no number is as far off as can be.
    pub fn excess(&self) -> f64 {
        let Usual { min, max } = self.usual;
        if self.ratio >= min && self.ratio <= max {
            0.0
        } else if self.ratio > max {
            (self.ratio / max).ln().min(FAR)
        } else if self.ratio > 0.0 {
            (min / self.ratio).ln().min(FAR)
        } else {
            FAR
        }
    }

    /// Square of the distance from the typical ratio, in deviations. In a band that begins at 0 only
    /// what is small beyond [`FAR_BELOW`] counts.
    pub fn unlikeliness(&self) -> f64 {
        let Usual { min, max } = self.usual;
        let side = if self.ratio > self.typical { max } else { min };
        if side == 0.0 {
            let low = (FAR_BELOW * self.typical / self.ratio).ln();
            return if self.ratio > 0.0 && low > 0.0 { low.min(FAR).powi(2) } else { 0.0 };
        }
        let deviation = (side / self.typical).ln().abs() / DEVIATIONS_TO_END;
        let off = if self.ratio > 0.0 { (self.ratio / self.typical).ln().abs().min(FAR) } else { FAR };
        (off / deviation).powi(2)
    }

    /// Whether both hold the same figures against each other.
    pub fn is_about_the_same(&self, other: &Relation) -> bool {
        let rotor = |relation: &Relation| relation.rotor.map(|(rotor, _)| rotor);
        self.id == other.id && self.figure == other.figure && rotor(self) == rotor(other)
    }

    /// The ratio, and what is usual.
    pub fn in_words(&self) -> String {
        let Usual { min, max } = self.usual;
        let usual =
            if min == 0.0 { format!("at most {}", shown(max)) } else { format!("{} to {}", shown(min), shown(max)) };
        format!("{} is {}, usual is {usual}", self.words, shown(self.ratio))
    }

    /// The band in the unit of a figure with this value, if the ratio goes with that power of it.
    pub fn usual_of(&self, value: f64, power: f64) -> Usual {
        let at = |ratio: f64| value * (ratio / self.ratio).powf(1.0 / power);
        let (from, to) = (at(self.usual.min), at(self.usual.max));
        Usual { min: from.min(to), max: from.max(to) }
    }
}

/// Share of the typical ratio below which a figure that may be 0 is too small to have been typed on purpose.
const FAR_BELOW: f64 = 0.1;
/// The logarithm of a factor beyond all slips.
const FAR: f64 = 40.0;
