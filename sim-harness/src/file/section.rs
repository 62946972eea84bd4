//! Rules for tables and lists of tables.

use std::marker::PhantomData;

use super::error::FileError;
use super::key::{KeyRule, Keys, Row};
use super::rule::Rule;
use super::table::{Place, Table};

/// A table.
pub(super) fn section<T>() -> Section<T> {
    Section(PhantomData)
}
pub(super) struct Section<T>(PhantomData<T>);

impl<'a, T: Keys<'a>> Rule<'a> for Section<T> {
    type Out = T;

    fn read(&self, at: &Place<'a>) -> Result<T, FileError> {
        let table = at.table().ok_or_else(|| {
            let mend = match at.items() {
                Some(items) if items.iter().all(|item| item.table().is_some()) => {
                    format!("write its header with single brackets, [{}], and only once", at.path)
                }
                _ => {
                    let keys = T::known().into_iter().take(3).map(|key| format!("{key} = ...")).collect::<Vec<_>>();
                    format!("write {{ {} }}, or a line [{}] with these keys below it", keys.join(", "), at.path)
                }
            };
            at.refuse("must be a table", &mend)
        })?;
        T::read(&table)
    }

    fn allowed(&self, _unit: &str) -> String {
        "a table".to_string()
    }

    fn show(&self, _value: &T) -> String {
        "{}".to_string()
    }

    fn example(&self, key: &str) -> String {
        format!("a table [{key}]")
    }
}

/// A table that may be left out and then reads as empty: each of its keys has a default.
pub(super) struct Empty<T>(PhantomData<T>);

impl<T> Section<T> {
    pub fn or_empty(self) -> Empty<T> {
        Empty(self.0)
    }
}

impl<'a, T: Keys<'a>> KeyRule<'a> for Empty<T> {
    type Out = T;

    fn read_key(&self, table: &Table<'a>, key: &'static str, about: &'static str) -> Result<T, FileError> {
        match table.get(key, about) {
            Some(place) => Section(self.0).read(&place),
            None => T::read(&table.left_out(key)),
        }
    }

    fn row(&self, key: &'static str, about: &'static str) -> Row {
        let (allowed, default) = ("a table".to_string(), "each of its keys has a default".to_string());
        Row { key, allowed, default, about }
    }
}

/// Tables under a repeated header; none when left out.
pub(super) fn list<T>() -> List<T> {
    List(PhantomData)
}
pub(super) struct List<T>(PhantomData<T>);

impl<'a, T: Keys<'a>> KeyRule<'a> for List<T> {
    type Out = Vec<T>;

    fn read_key(&self, table: &Table<'a>, key: &'static str, about: &'static str) -> Result<Vec<T>, FileError> {
        let Some(place) = table.get(key, about) else { return Ok(Vec::new()) };
        let refused = |at: &Place<'a>| {
            let mend = format!("open each with a line [[{}]], in double brackets", place.path);
            at.refuse("must be a list of tables", &mend)
        };
        let items = place.items().ok_or_else(|| refused(&place))?;
        items.iter().map(|item| item.table().ok_or_else(|| refused(item)).and_then(|table| T::read(&table))).collect()
    }

    fn row(&self, key: &'static str, about: &'static str) -> Row {
        let (allowed, default) = ("a list of tables".to_string(), "none".to_string());
        Row { key, allowed, default, about }
    }
}
