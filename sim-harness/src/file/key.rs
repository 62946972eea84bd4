//! Tables of keys: how the formats in `craft_keys` and `flight_keys` are written down.
//!
//! A key is a name, a rule for its value, what holds when it is left out, and a few words. From one
//! table come the struct that holds what was read, the reader, the list of known keys, and the reference
//! in docs/files.md.

use super::error::FileError;
use super::rule::Rule;
use super::table::Table;
use super::unit;

/// One line of the reference.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Row {
    pub key: &'static str,
    pub allowed: String,
    pub default: String,
    pub about: &'static str,
}

/// A table whose keys are known.
pub(super) trait Keys<'a>: Sized {
    /// Every key it may have.
    fn known() -> Vec<&'static str>;
    /// Reads the known keys.
    fn take(table: &Table<'a>) -> Result<Self, FileError>;
    /// Its part of the reference.
    fn rows() -> Vec<Row>;

    /// Reads the known keys and refuses all others.
    fn read(table: &Table<'a>) -> Result<Self, FileError> {
        table.only(&Self::known())?;
        Self::take(table)
    }
}

/// What one key reads as, present or left out.
pub(super) trait KeyRule<'a> {
    type Out;
    fn read_key(&self, table: &Table<'a>, key: &'static str, about: &'static str) -> Result<Self::Out, FileError>;
    fn row(&self, key: &'static str, about: &'static str) -> Row;
}

/// The key must be there.
pub(super) struct Required<R>(pub R);
/// The key has a default.
pub(super) struct Or<R, T>(pub R, pub T);
/// The key may be left out; the words say what holds then.
pub(super) struct Optional<R>(pub R, pub &'static str);

impl<'a, R: Rule<'a>> KeyRule<'a> for Required<R> {
    type Out = R::Out;

    fn read_key(&self, table: &Table<'a>, key: &'static str, about: &'static str) -> Result<R::Out, FileError> {
        match table.get(key, about) {
            Some(place) => self.0.read(&place),
            None => {
                Err(missing(table, key, &self.0.allowed(unit::of(&table.path_of(key))), about, &self.0.example(key)))
            }
        }
    }

    fn row(&self, key: &'static str, about: &'static str) -> Row {
        Row { key, allowed: self.0.allowed(unit::of(key)), default: "required".to_string(), about }
    }
}

impl<'a, R: Rule<'a>> KeyRule<'a> for Or<R, R::Out>
where
    R::Out: Clone,
{
    type Out = R::Out;

    fn read_key(&self, table: &Table<'a>, key: &'static str, about: &'static str) -> Result<R::Out, FileError> {
        table.get(key, about).map_or_else(|| Ok(self.1.clone()), |place| self.0.read(&place))
    }

    fn row(&self, key: &'static str, about: &'static str) -> Row {
        Row { key, allowed: self.0.allowed(unit::of(key)), default: format!("`{}`", self.0.show(&self.1)), about }
    }
}

impl<'a, R: Rule<'a>> KeyRule<'a> for Optional<R> {
    type Out = Option<R::Out>;

    fn read_key(&self, table: &Table<'a>, key: &'static str, about: &'static str) -> Result<Self::Out, FileError> {
        table.get(key, about).map(|place| self.0.read(&place)).transpose()
    }

    fn row(&self, key: &'static str, about: &'static str) -> Row {
        Row { key, allowed: self.0.allowed(unit::of(key)), default: self.1.to_string(), about }
    }
}

/// The error for a key that must be there.
pub(super) fn missing(table: &Table<'_>, key: &str, allowed: &str, about: &str, example: &str) -> FileError {
    let must = format!("missing: must be {allowed}");
    table.refuse(key, &must, &format!("add {example} {}: {about}", table.inside()))
}

/// Declares tables of keys.
macro_rules! keys {
    ($($(#[doc = $title:literal])+ $name:ident { $($key:ident: $ty:ty = $rule:expr, $about:literal;)* })*) => {$(
        $(#[doc = $title])+
        #[derive(Clone, Debug)]
        pub(super) struct $name<'a> {
            #[doc = "Where the table stands in the file."]
            #[allow(dead_code)]
            pub at: Table<'a>,
            $(#[doc = $about] #[allow(dead_code)] pub $key: $ty,)*
        }

        impl<'a> Keys<'a> for $name<'a> {
            fn known() -> Vec<&'static str> {
                vec![$(stringify!($key)),*]
            }

            fn take(table: &Table<'a>) -> Result<Self, FileError> {
                Ok($name { at: table.clone(), $($key: $rule.read_key(table, stringify!($key), $about)?,)* })
            }

            fn rows() -> Vec<Row> {
                vec![$($rule.row(stringify!($key), $about)),*]
            }
        }
    )*};
}
pub(super) use keys;
