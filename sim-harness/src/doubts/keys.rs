//! The keys that can be doubted, and which of them a vouched key covers.

use super::figure::Figure;
use super::{missing, spins};

/// Every key that a doubt can name, as `[figures] measured` takes it.
pub fn doubtable_keys() -> Vec<&'static str> {
    let mut keys: Vec<&'static str> = Vec::new();
    let figures = Figure::ALL.into_iter().flat_map(|figure| figure.keys().iter().copied());
    for key in figures.chain(missing::KEYS).chain([spins::KEY]) {
        if !keys.contains(&key) {
            keys.push(key);
        }
    }
    keys
}

/// Whether a key as typed is one that a doubt can name. `rotor.` and `rotor[3].` stand for `rotors.` too.
pub fn is_doubtable(typed: &str) -> bool {
    doubtable_keys().iter().any(|key| general(key) == general(typed))
}

/// Whether vouching for `typed` vouches for the figure at `key`.
///
/// A table stands for its entries, `rotors.` and `rotor.` for every rotor; `rotor[3].` for the third alone.
pub(super) fn covers(typed: &str, key: &str) -> bool {
    let within =
        |typed: &str, key: &str| key == typed || key.strip_prefix(typed).is_some_and(|rest| rest.starts_with('.'));
    if typed.starts_with("rotor[") { typed == key } else { within(&general(typed), &general(key)) }
}

/// The key with `rotor[3].` and `rotor.` as `rotors.`.
fn general(key: &str) -> String {
    match key.split_once('.') {
        Some((table, rest)) if table == "rotor" || is_item(table) => format!("rotors.{rest}"),
        _ => key.to_owned(),
    }
}

/// Whether this is `rotor[N]`, N from 1.
fn is_item(table: &str) -> bool {
    let number = table.strip_prefix("rotor[").and_then(|rest| rest.strip_suffix(']'));
    number.and_then(|number| number.parse::<usize>().ok()).is_some_and(|number| number > 0)
}
