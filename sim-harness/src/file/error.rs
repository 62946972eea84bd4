//! The one message a wrong file gets.
//!
//! First line: `file:line:column: key = value: must be ...; how to mend it`. Then the line of the file
//! with a caret under the value. Plain text, safe to print: control characters are replaced.

use std::error::Error;
use std::fmt;

/// Why a file was refused.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FileError {
    file: String,
    place: Option<Position>,
    message: String,
    excerpt: String,
}

/// A place in a text, both counted from 1; columns count characters.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Position {
    pub line: usize,
    pub column: usize,
}

impl FileError {
    /// An error about the file as a whole.
    pub(super) fn whole(file: &str, message: impl Into<String>) -> Self {
        FileError { file: printable(file), place: None, message: message.into(), excerpt: String::new() }
    }

    /// An error about one place in the file, with its excerpt.
    pub(super) fn at(file: &str, place: Position, message: String, excerpt: String) -> Self {
        FileError { file: printable(file), place: Some(place), message, excerpt }
    }

    /// Line of the offending value, from 1; `None` when the file as a whole is refused.
    pub fn line(&self) -> Option<usize> {
        self.place.map(|place| place.line)
    }

    /// Column of the offending value in characters, from 1.
    pub fn column(&self) -> Option<usize> {
        self.place.map(|place| place.column)
    }

    /// What is wrong and how to mend it, without file and position.
    pub fn message(&self) -> &str {
        &self.message
    }
}

impl fmt::Display for FileError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:", self.file)?;
        if let Some(Position { line, column }) = self.place {
            write!(f, "{line}:{column}:")?;
        }
        write!(f, " {}", self.message)?;
        if self.excerpt.is_empty() { Ok(()) } else { write!(f, "\n{}", self.excerpt) }
    }
}

impl Error for FileError {}

/// `text` with every control character replaced, so that a file cannot drive the reader's terminal.
pub fn printable(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { char::REPLACEMENT_CHARACTER } else { c }).collect()
}
