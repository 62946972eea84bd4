//! Rules for words: names, flags, one word of a few.

use toml::de::DeValue;

use super::error::FileError;
use super::rule::Rule;
use super::table::{Place, nearest};

/// Longest name, in characters.
const TEXT_MAX: usize = 80;

/// A name.
pub(super) fn text() -> Text {
    Text
}
pub(super) struct Text;

impl<'a> Rule<'a> for Text {
    type Out = String;

    fn read(&self, at: &Place<'a>) -> Result<String, FileError> {
        let refused = |mend: &str| Err(at.refuse(&format!("must be {}", self.allowed("")), mend));
        let DeValue::String(text) = at.value else {
            return refused("put it in double quotes");
        };
        if text.trim().is_empty() {
            return refused("give it a name you will recognise in the report");
        }
        if text.chars().any(|c| matches!(c, '\n' | '\r')) || text.chars().count() > TEXT_MAX {
            return refused("shorten it to one line");
        }
        if text.chars().any(char::is_control) {
            return refused("take the control character out");
        }
        if text.chars().any(steers_the_text) {
            return refused("type it anew: it holds marks that are not seen and change how text is laid out");
        }
        Ok(text.to_string())
    }

    fn allowed(&self, _unit: &str) -> String {
        format!("a text in quotes, 1 to {TEXT_MAX} characters on one line")
    }

    fn show(&self, value: &String) -> String {
        format!("{value:?}")
    }
}

/// Marks that are not seen and move or hide the text around them: a name with one could pass for another.
///
/// Source: Unicode Standard Annex 9 (directional formatting characters) and the line and paragraph separators; from memory.
fn steers_the_text(c: char) -> bool {
    matches!(c, '\u{200B}'..='\u{200F}' | '\u{2028}'..='\u{202E}' | '\u{2066}'..='\u{2069}' | '\u{FEFF}')
}

/// `true` or `false`.
pub(super) fn flag() -> Flag {
    Flag
}
pub(super) struct Flag;

impl<'a> Rule<'a> for Flag {
    type Out = bool;

    fn read(&self, at: &Place<'a>) -> Result<bool, FileError> {
        let DeValue::Boolean(value) = at.value else {
            return Err(at.refuse("must be true or false", "write one of the two words, without quotes"));
        };
        Ok(*value)
    }

    fn allowed(&self, _unit: &str) -> String {
        "true or false".to_string()
    }

    fn show(&self, value: &bool) -> String {
        value.to_string()
    }
}

/// One of a few words.
pub(super) fn word<T: 'static>(words: &'static [(&'static str, T)]) -> Word<T> {
    Word(words)
}
pub(super) struct Word<T: 'static>(&'static [(&'static str, T)]);

impl<'a, T: Copy + PartialEq> Rule<'a> for Word<T> {
    type Out = T;

    fn read(&self, at: &Place<'a>) -> Result<T, FileError> {
        let must = format!("must be {}", self.allowed(""));
        let DeValue::String(text) = at.value else {
            return Err(at.refuse(&must, &format!("write one of the words, in double quotes: {}", at.meaning())));
        };
        let found = self.0.iter().find(|(word, _)| word == text).map(|(_, value)| *value);
        found.ok_or_else(|| {
            let words: Vec<&str> = self.0.iter().map(|(word, _)| *word).collect();
            match nearest(text, &words) {
                Some(near) => at.refuse(&must, &format!("did you mean \"{near}\"? {}", at.meaning())),
                None => at.refuse(&must, &at.meaning()),
            }
        })
    }

    fn allowed(&self, _unit: &str) -> String {
        let quoted: Vec<String> = self.0.iter().map(|(word, _)| format!("\"{word}\"")).collect();
        quoted.join(" or ")
    }

    fn show(&self, value: &T) -> String {
        let word = self.0.iter().find(|(_, known)| known == value);
        word.map_or_else(String::new, |(word, _)| format!("\"{word}\""))
    }
}

/// Every one of a few words exactly once, in a list of lists.
pub(super) fn tiers<T: 'static>(words: &'static [(&'static str, T)]) -> Tiers<T> {
    Tiers(words)
}
pub(super) struct Tiers<T: 'static>(&'static [(&'static str, T)]);

impl<'a, T: Copy + PartialEq> Rule<'a> for Tiers<T> {
    type Out = Vec<Vec<T>>;

    fn read(&self, at: &Place<'a>) -> Result<Vec<Vec<T>>, FileError> {
        let must = format!("must be {}", self.allowed(""));
        let tiers =
            at.items().ok_or_else(|| at.refuse(&must, "write a list of lists: [[\"roll\", \"pitch\"], [\"yaw\"]]"))?;
        let mut read: Vec<Vec<T>> = Vec::new();
        for tier in &tiers {
            let items = tier.items().filter(|items| !items.is_empty());
            let items = items.ok_or_else(|| {
                tier.refuse(
                    "must be a list of axes",
                    &format!("put the axes in brackets of their own: [{}]", tier.written()),
                )
            })?;
            let mut axes = Vec::new();
            for item in &items {
                let axis = word(self.0).read(item)?;
                if read.iter().flatten().chain(&axes).any(|known| *known == axis) {
                    return Err(item.refuse("must stand once in the whole list", "take one of the two out"));
                }
                axes.push(axis);
            }
            read.push(axes);
        }
        match self.0.iter().find(|(_, axis)| !read.iter().flatten().any(|known| known == axis)) {
            Some((word, _)) => {
                Err(at.refuse(&must, &format!("\"{word}\" is left out; add it to a tier or as a tier of its own")))
            }
            None => Ok(read),
        }
    }

    fn allowed(&self, _unit: &str) -> String {
        let words: Vec<&str> = self.0.iter().map(|(word, _)| *word).collect();
        format!("a list of lists that names each of {} once", words.join(", "))
    }

    fn show(&self, value: &Vec<Vec<T>>) -> String {
        let tier = |tier: &Vec<T>| tier.iter().map(|axis| word(self.0).show(axis)).collect::<Vec<_>>().join(", ");
        let tiers: Vec<String> = value.iter().map(|axes| format!("[{}]", tier(axes))).collect();
        format!("[{}]", tiers.join(", "))
    }
}
