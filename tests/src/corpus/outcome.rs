//! What the program makes of a file of the corpus: refused by the reader, not fit, doubted, named.

use evenkeel::doubts::{Doubt, doubts};
use evenkeel::file::parse_craft;
use evenkeel::preflight::preflight;
use evenkeel::script::World;
use evenkeel::verdict::{Check, Limit, Preflight};

use super::table::Table;

/// What became of a file.
#[derive(Clone, Debug, PartialEq)]
pub enum Outcome {
    /// The reader refused it, with this message.
    Refused(String),
    /// It was checked.
    Judged(Box<Preflight>),
    /// A flight diverged, with this message.
    Diverged(String),
    /// Doubts that nobody vouches for: such a craft is not fit whatever its flights show, so it was not flown.
    Doubted(Vec<Doubt>),
}

/// Reads a craft file and asks for its doubts; flies it only where there are none.
///
/// # Panics
/// As [`outcome`].
pub fn doubted_or_flown(file: &Table) -> Outcome {
    let text = toml::to_string(file).unwrap_or_else(|error| panic!("{error}"));
    if let Ok(craft) = parse_craft("craft.toml", &text) {
        let open: Vec<Doubt> = doubts(&craft, &World::default()).into_iter().filter(|doubt| !doubt.vouched).collect();
        if !open.is_empty() {
            return Outcome::Doubted(open);
        }
    }
    outcome(file)
}

/// Reads and checks a craft file.
///
/// # Panics
/// When the tree cannot be written as TOML: a fault of the corpus.
pub fn outcome(file: &Table) -> Outcome {
    let text = toml::to_string(file).unwrap_or_else(|error| panic!("{error}"));
    match parse_craft("craft.toml", &text) {
        Err(error) => Outcome::Refused(error.to_string()),
        Ok(craft) => match preflight(&craft, &|_, _| {}) {
            Ok(found) => Outcome::Judged(Box::new(found)),
            Err(diverged) => Outcome::Diverged(diverged.to_string()),
        },
    }
}

impl Outcome {
    /// Whether the program objects.
    pub fn objects(&self) -> bool {
        match self {
            Outcome::Refused(_) | Outcome::Diverged(_) | Outcome::Doubted(_) => true,
            Outcome::Judged(found) => !found.fit(),
        }
    }

    /// Whether the objection names this key.
    pub fn names(&self, key: &str) -> bool {
        match self {
            Outcome::Refused(message) => stands_in(message, key),
            Outcome::Judged(found) => named(found, key),
            Outcome::Diverged(_) => false,
            Outcome::Doubted(doubts) => doubted(doubts, key),
        }
    }

    /// The checks that failed; one without a value for a flight that diverged or a file that was refused.
    pub fn failed(&self) -> Vec<Check> {
        let by_itself = |id, message: &String| {
            let mut check = Check::new(id, message, f64::NAN, "", Limit::at_most(0.0), "");
            check.mend = Some(message.clone());
            vec![check]
        };
        match self {
            Outcome::Refused(message) => by_itself("reader", message),
            Outcome::Diverged(message) => by_itself("diverged", message),
            Outcome::Doubted(doubts) => doubts.iter().flat_map(|doubt| by_itself(doubt.id, &doubt.likely)).collect(),
            Outcome::Judged(found) => {
                let doubts = found.open_doubts().flat_map(|doubt| by_itself(doubt.id, &doubt.likely));
                doubts.chain(found.reasons().map(|(_, check)| check.clone())).collect()
            }
        }
    }
}

/// Whether a verdict names `key`: by a doubt that decides, or in the mend of its first reason.
pub fn named(found: &Preflight, key: &str) -> bool {
    let by_doubt = found.open_doubts().any(|doubt| stands_in(&doubt.key, key));
    by_doubt || found.reasons().next().is_some_and(|(_, check)| check.mend.iter().any(|mend| stands_in(mend, key)))
}

fn doubted(doubts: &[Doubt], key: &str) -> bool {
    doubts.iter().any(|doubt| stands_in(&doubt.key, key))
}

/// Whether `text` has the last word of `key` in it: `rotors.thrust_max_n` also stands as `rotor[2].thrust_max_n`. A body's
/// inertia must be told from a rotor's, so there the whole key counts.
fn stands_in(text: &str, key: &str) -> bool {
    let inertia = key.ends_with("inertia_kg_m2");
    let word = if inertia { key } else { key.rsplit('.').next().unwrap_or(key) };
    let part_of_word = |letter: Option<char>| letter.is_some_and(|letter| letter.is_alphanumeric() || letter == '_');
    text.match_indices(word).any(|(from, _)| {
        let (before, after) = (text[..from].chars().next_back(), text[from + word.len()..].chars().next());
        !part_of_word(before) && !part_of_word(after)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn finds_a_key_when_it_stands_by_itself_or_at_a_rotor() {
        assert!(stands_in("rotors.thrust_max_n = 612: grams?", "rotors.thrust_max_n"));
        assert!(stands_in("rotor[2].thrust_max_n: write 6.0", "rotors.thrust_max_n"));
        assert!(!stands_in("more thrust", "rotors.thrust_max_n"));
        assert!(!stands_in("rotors.thrust_max_newton", "rotors.thrust_max_n"));
        assert!(stands_in("body.inertia_kg_m2.xx = 1", "body.inertia_kg_m2"));
        assert!(!stands_in("rotors.inertia_kg_m2 = 1", "body.inertia_kg_m2"));
    }
}
