//! The text of a file: reading it within limits, and turning byte offsets into places and excerpts.

use std::fs::File;
use std::io::{ErrorKind, Read};
use std::ops::Range;
use std::path::Path;

use super::error::{FileError, Position, printable};

/// Longest file that is read.
pub const MAX_BYTES: u64 = 1 << 20;

/// Widest excerpt, in characters.
const EXCERPT_WIDTH: usize = 100;
/// Characters kept before the caret when a long line is cropped.
const EXCERPT_LEAD: usize = 40;
/// Longest value quoted in the first line of a message, in characters.
const QUOTE_WIDTH: usize = 48;

/// A named text.
#[derive(Debug)]
pub(super) struct Source<'t> {
    pub name: &'t str,
    pub text: &'t str,
}

impl<'t> Source<'t> {
    /// `text` under `name`, if there is something in it.
    pub fn new(name: &'t str, text: &'t str, kind: &str) -> Result<Self, FileError> {
        if text.len() as u64 > MAX_BYTES {
            return Err(too_long(name, kind));
        }
        if text.trim().is_empty() {
            return Err(FileError::whole(
                name,
                format!("the file is empty: must be a {kind} file; start from a copy of a model in sim-harness/crafts"),
            ));
        }
        Ok(Source { name, text })
    }

    /// The text as written between two offsets, on one line and not too long to quote.
    pub fn quote(&self, span: Range<usize>) -> String {
        let written = self.text.get(span).unwrap_or_default();
        let line: Vec<&str> = written.split_whitespace().collect();
        let line = printable(&line.join(" "));
        if line.chars().count() <= QUOTE_WIDTH {
            return line;
        }
        line.chars().take(QUOTE_WIDTH - 1).chain(['…']).collect()
    }

    /// An error at `span`.
    pub fn error(&self, span: Range<usize>, message: String) -> FileError {
        let start = self.floor_boundary(span.start);
        let before = &self.text[..start];
        let line_start = before.rfind('\n').map_or(0, |newline| newline + 1);
        let line = self.text[line_start..].lines().next().unwrap_or_default();
        // Between CR and LF is the end of the line.
        let lead = before[line_start..].chars().count().min(line.chars().count());
        let place = Position { line: before.matches('\n').count() + 1, column: lead + 1 };
        let marked = self.text[start..self.floor_boundary(span.end).max(start)].lines().next().unwrap_or_default();
        FileError::at(self.name, place, message, excerpt(place, line, marked.chars().count()))
    }

    /// An error of the TOML parser, with a hint for the common ones.
    pub fn syntax_error(&self, span: Option<Range<usize>>, parser_says: &str) -> FileError {
        let says = printable(&parser_says.split_whitespace().collect::<Vec<_>>().join(" "));
        let span = span.unwrap_or(0..0);
        let found = match self.quote(span.clone()) {
            found if found.is_empty() => String::new(),
            found => format!("`{found}`: "),
        };
        let mend = syntax_hint(&says, self.text.get(span.start..).unwrap_or_default());
        self.error(span, format!("{found}must be TOML ({}); {mend}", says.trim_end_matches(", expected nothing")))
    }

    fn floor_boundary(&self, offset: usize) -> usize {
        let mut offset = offset.min(self.text.len());
        while !self.text.is_char_boundary(offset) {
            offset -= 1;
        }
        offset
    }
}

/// How to mend what the parser of `toml` 1 stumbled on; `rest` is the text from there on.
fn syntax_hint(says: &str, rest: &str) -> &'static str {
    let ends_here = rest.is_empty() || rest.starts_with(['\n', '\r', '#']);
    match says {
        _ if says.contains("duplicate key") => {
            "keep one of the two; tables that make a list each open with double brackets, as in [[rotor]]"
        }
        _ if says.contains("string values must be quoted") && ends_here => "write the value after the equals sign",
        _ if says.contains("string values must be quoted") => {
            "put a text in double quotes; write a number without its unit, which the key says"
        }
        _ if says.contains("basic string") && ends_here => "close the double quote on the line where it opens",
        _ if says.contains("visible characters") => "take the control character out",
        _ if says.contains("array") => "close each [ with a ], and put commas between the entries",
        _ if says.contains("unclosed") => {
            "close what was opened: each [ needs its ], each { its }, each quote its quote"
        }
        _ if says.contains("leading zero") => "write the number without the zero in front",
        _ if says.contains("carriage return") => "save the file with line ends of the kind LF or CR LF",
        _ if rest.starts_with(',') => "write decimals with a point, and one key to a line",
        _ => "a line holds one `key = value`, a table opens with [name], a text stands in double quotes",
    }
}

/// The line of the file, with carets under `width` characters from the place on.
fn excerpt(place: Position, line: &str, width: usize) -> String {
    let lead = place.column - 1;
    let skip = if line.chars().count() > EXCERPT_WIDTH { lead.saturating_sub(EXCERPT_LEAD) } else { 0 };
    let shown: String = printable(&line.replace('\t', " ")).chars().skip(skip).take(EXCERPT_WIDTH).collect();
    let number = place.line.to_string();
    let margin = " ".repeat(number.len());
    let pad = " ".repeat(lead - skip);
    let room = shown.chars().count().saturating_sub(lead - skip).max(1);
    let carets = "^".repeat(width.clamp(1, room));
    format!("{margin} |\n{number} | {}\n{margin} | {pad}{carets}", shown.trim_end())
}

/// Reads a file of at most [`MAX_BYTES`] as UTF-8.
pub(super) fn read_text(path: &Path, kind: &str) -> Result<String, FileError> {
    let name = path.display().to_string();
    let refused = |message: &str| Err(FileError::whole(&name, message));
    if path.is_dir() {
        return refused(&format!("this is a directory: must be a {kind} file; name the file inside it"));
    }
    let mut bytes = Vec::new();
    let read = File::open(path).and_then(|file| file.take(MAX_BYTES + 1).read_to_end(&mut bytes));
    if let Err(error) = read {
        return match error.kind() {
            ErrorKind::NotFound => {
                refused(&format!("no such file: must be a {kind} file; check the spelling and the folder"))
            }
            ErrorKind::PermissionDenied => {
                refused(&format!("no permission to read it: must be a readable {kind} file; check its access rights"))
            }
            _ => refused(&format!(
                "cannot be read ({error}): must be a readable {kind} file; check the disk or copy it anew"
            )),
        };
    }
    if bytes.len() as u64 > MAX_BYTES {
        return Err(too_long(&name, kind));
    }
    String::from_utf8(bytes).map_err(|error| not_utf8(&name, &error))
}

fn too_long(name: &str, kind: &str) -> FileError {
    FileError::whole(
        name,
        format!("the file is longer than 1 MiB: must be at most {MAX_BYTES} bytes; is this a {kind} file at all?"),
    )
}

fn not_utf8(name: &str, error: &std::string::FromUtf8Error) -> FileError {
    let (valid, rest) = error.as_bytes().split_at(error.utf8_error().valid_up_to());
    let byte = rest.first().copied().unwrap_or_default();
    let text = String::from_utf8_lossy(valid);
    let message = format!("byte 0x{byte:02x}: must be text in UTF-8; save the file again with the encoding UTF-8");
    Source { name, text: &text }.error(text.len()..text.len(), message)
}
