//! Walking a parsed file: tables and values that know where they stand, and what to say about them.

use std::ops::Range;

use toml::de::{DeTable, DeValue};

use super::error::{FileError, printable};
use super::source::Source;
use super::unit;

/// Similarity (Jaro-Winkler, 0 to 1) from which a known key is suggested for an unknown one.
const NEAR: f64 = 0.82;

/// A table of the file, or the empty table that stands for one left out.
#[derive(Clone, Debug)]
pub(super) struct Table<'a> {
    source: &'a Source<'a>,
    path: String,
    header: Range<usize>,
    entries: Option<&'a DeTable<'a>>,
}

/// A value of the file.
#[derive(Clone, Debug)]
pub(super) struct Place<'a> {
    source: &'a Source<'a>,
    /// Dotted key, list items counted from 1.
    pub path: String,
    span: Range<usize>,
    pub value: &'a DeValue<'a>,
    /// What the key is for, in words.
    pub about: &'static str,
}

impl<'a> Table<'a> {
    /// The file itself.
    pub fn root(source: &'a Source<'a>, entries: &'a DeTable<'a>) -> Self {
        Table { source, path: String::new(), header: 0..0, entries: Some(entries) }
    }

    /// What a table that was left out reads as.
    pub fn left_out(&self, key: &str) -> Self {
        Table { source: self.source, path: self.path_of(key), header: self.header.clone(), entries: None }
    }

    /// Whether the table stands in the file.
    pub fn stands(&self) -> bool {
        self.entries.is_some()
    }

    /// The value under `key`.
    pub fn get(&self, key: &str, about: &'static str) -> Option<Place<'a>> {
        let value = self.entries?.get(key)?;
        let (span, value) = (value.span(), value.get_ref());
        Some(Place { source: self.source, path: self.path_of(key), span, value, about })
    }

    /// Refuses keys that are not in `known`: the first of them in the file.
    pub fn only(&self, known: &[&str]) -> Result<(), FileError> {
        let strangers = self.entries.into_iter().flatten().map(|(key, _)| key);
        let stranger =
            strangers.filter(|key| !known.contains(&key.get_ref().as_ref())).min_by_key(|key| key.span().start);
        let Some(stranger) = stranger else { return Ok(()) };
        let name = stranger.get_ref().as_ref();
        let mend = match nearest(name, known) {
            Some(near) => format!("did you mean {}?", in_unit(near, &self.path_of(near))),
            None => "take it out; docs/files.md says what each key is for".to_string(),
        };
        let message =
            format!("{}: unknown key: must be one of {}; {mend}", printable(&self.path_of(name)), known.join(", "));
        Err(self.source.error(stranger.span(), message))
    }

    /// Reads `format` before anything else: a file of another version fails for that, not for its keys.
    pub fn check_format(&self) -> Result<(), FileError> {
        let Some(place) = self.get("format", "") else { return Ok(()) };
        let DeValue::Integer(digits) = place.value else { return Ok(()) };
        if digits.as_str() == "1" && digits.radix() == 10 {
            return Ok(());
        }
        Err(place.refuse("must be 1", "this version reads format 1 only; use the version the file was written for"))
    }

    /// An error about `key`: at its value where it stands, else at the table's header.
    pub fn refuse(&self, key: &str, must: &str, mend: &str) -> FileError {
        match self.get(key, "") {
            Some(place) => place.refuse(must, mend),
            None => self.source.error(self.header.clone(), format!("{}: {must}; {mend}", self.path_of(key))),
        }
    }

    /// An error about the table itself.
    pub fn refuse_table(&self, must: &str, mend: &str) -> FileError {
        let path = if self.path.is_empty() { String::new() } else { format!("{}: ", self.path) };
        self.source.error(self.header.clone(), format!("{path}{must}; {mend}"))
    }

    /// Where to add a key to this table, in words.
    pub fn inside(&self) -> String {
        let has_header = self.source.text.get(self.header.clone()).is_some_and(|text| text.starts_with('['));
        match self.path.as_str() {
            "" => "at the top of the file".to_string(),
            path if has_header && !path.contains('[') => format!("under [{path}]"),
            path => format!("in {path}"),
        }
    }

    /// Dotted path of `key` in this table.
    pub fn path_of(&self, key: &str) -> String {
        if self.path.is_empty() { key.to_string() } else { format!("{}.{key}", self.path) }
    }
}

impl<'a> Place<'a> {
    /// An error about this value: `must` says what is allowed, `mend` how to get there.
    pub fn refuse(&self, must: &str, mend: &str) -> FileError {
        let found = if self.is_written_out() { format!(" = {}", self.written()) } else { String::new() };
        self.source.error(self.span.clone(), format!("{}{found}: {must}; {mend}", self.path))
    }

    /// The value as it stands in the file.
    pub fn written(&self) -> String {
        self.source.quote(self.span.clone())
    }

    /// A sentence on what the key is for: `mass_kg, in kg, is the take-off mass`.
    pub fn meaning(&self) -> String {
        let key = self.path.rsplit('.').next().unwrap_or_default();
        let key = key.split('[').next().unwrap_or_default();
        match unit::of(&self.path) {
            "" => format!("{key} is {}", self.about),
            unit => format!("{key}, in {unit}, is {}", self.about),
        }
    }

    /// The table here, if it is one.
    pub fn table(&self) -> Option<Table<'a>> {
        let DeValue::Table(entries) = self.value else { return None };
        Some(Table { source: self.source, path: self.path.clone(), header: self.span.clone(), entries: Some(entries) })
    }

    /// The items of the list here, if it is one.
    pub fn items(&self) -> Option<Vec<Place<'a>>> {
        let DeValue::Array(items) = self.value else { return None };
        let item = |(index, item): (usize, &'a toml::Spanned<DeValue<'a>>)| Place {
            source: self.source,
            path: format!("{}[{}]", self.path, index + 1),
            span: item.span(),
            value: item.get_ref(),
            about: self.about,
        };
        Some(items.iter().enumerate().map(item).collect())
    }

    /// Whether the text here is the value itself and not the header or key that opens a table.
    fn is_written_out(&self) -> bool {
        let opens_with = |c| self.source.text.get(self.span.clone()).is_some_and(|text| text.starts_with(c));
        match self.value {
            DeValue::Table(_) => opens_with('{'),
            DeValue::Array(items) => items.iter().all(|item| !item.get_ref().is_table()) || !self.is_header(),
            _ => true,
        }
    }

    /// Whether the text here is the `[[...]]` line of a list of tables.
    fn is_header(&self) -> bool {
        let text = self.source.text.get(self.span.clone()).unwrap_or_default();
        text.starts_with("[[") && !text.contains('{')
    }
}

/// `text` followed by the unit of `path`, if it has one.
fn in_unit(text: &str, path: &str) -> String {
    match unit::of(path) {
        "" => text.to_string(),
        unit => format!("{text} (in {unit})"),
    }
}

/// The word of `known` that `word` most likely stands for.
pub(super) fn nearest<'k>(word: &str, known: &[&'k str]) -> Option<&'k str> {
    let (word, sorted) = (word.to_lowercase(), sorted_parts(word));
    let score = |known: &&'k str| {
        let alike = strsim::jaro_winkler(&word, &known.to_lowercase());
        (alike.max(strsim::jaro_winkler(&sorted, &sorted_parts(known))), *known)
    };
    let (score, near) = known.iter().map(score).max_by(|a, b| a.0.total_cmp(&b.0))?;
    (score >= NEAR).then_some(near)
}

/// The parts of a name in one order, so that `max_thrust_n` is near `thrust_max_n`.
fn sorted_parts(name: &str) -> String {
    let name = name.to_lowercase();
    let mut parts: Vec<&str> = name.split('_').collect();
    parts.sort_unstable();
    parts.join("_")
}
