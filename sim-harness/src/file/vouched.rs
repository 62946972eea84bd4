//! The keys that the owner vouches for: each one that a doubt can name.

use toml::de::DeValue;

use super::error::FileError;
use super::rule::Rule;
use super::table::{Place, nearest};
use crate::doubts::{doubtable_keys, is_doubtable};

/// A list of keys that can be doubted.
pub(super) fn doubtable() -> Doubtable {
    Doubtable
}
pub(super) struct Doubtable;

impl<'a> Rule<'a> for Doubtable {
    type Out = Vec<String>;

    fn read(&self, at: &Place<'a>) -> Result<Vec<String>, FileError> {
        let must = format!("must be {}", self.allowed(""));
        let items = at
            .items()
            .ok_or_else(|| at.refuse(&must, "write them in square brackets: [\"rotors.torque_per_thrust_m\"]"))?;
        items.iter().map(one).collect()
    }

    fn allowed(&self, _unit: &str) -> String {
        "a list of keys in quotes, each as a doubt prints it".to_string()
    }

    fn show(&self, value: &Vec<String>) -> String {
        format!("{value:?}")
    }
}

fn one(at: &Place<'_>) -> Result<String, FileError> {
    let must = "must be a key that can be doubted";
    let DeValue::String(typed) = at.value else {
        return Err(at.refuse(must, "put the key in double quotes: \"rotors.torque_per_thrust_m\""));
    };
    if is_doubtable(typed) {
        return Ok(typed.to_string());
    }
    let known = doubtable_keys();
    // A key without its table, or in another one, is meant for the one that ends alike.
    let end = typed.rsplit('.').next().unwrap_or_default();
    let same_end = known.iter().copied().find(|key| !end.is_empty() && key.rsplit('.').next() == Some(end));
    Err(match same_end.or_else(|| nearest(typed, &known)) {
        Some(near) => at.refuse(must, &format!("did you mean \"{near}\"?")),
        None => at.refuse(must, "write the key as the doubt prints it; docs/doubts.md lists them"),
    })
}
