//! Files that appear whole under their name or not at all.

use std::fmt;
use std::fs::{self, File};
use std::io::{self, BufWriter};
use std::path::{Path, PathBuf};

/// Why a file could not be written.
#[derive(Debug)]
pub struct WriteError {
    /// What was tried: "write", "create the folder", "remove".
    pub action: &'static str,
    /// Where.
    pub path: PathBuf,
    /// What the system said.
    pub source: io::Error,
}

impl fmt::Display for WriteError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: cannot {}: {}", self.path.display(), self.action, self.source)
    }
}

impl std::error::Error for WriteError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        Some(&self.source)
    }
}

/// Writes beside the file, then takes its place.
///
/// # Errors
/// Whatever the system says; no half-written file is left.
pub fn write_whole(path: &Path, fill: impl FnOnce(&mut BufWriter<File>) -> io::Result<()>) -> Result<(), WriteError> {
    // A link stays a link, and what is no plain file stays what it is.
    let path = &fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
    if fs::metadata(path).is_ok_and(|there| !there.is_file()) {
        let source = io::Error::other("there is something other than a plain file");
        return Err(WriteError { action: "write", path: path.clone(), source });
    }
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let part = path.with_file_name(format!(".{name}.{}.part", std::process::id()));
    let written = File::create(&part).and_then(|file| {
        let mut out = BufWriter::new(file);
        fill(&mut out)?;
        out.into_inner().map_err(io::IntoInnerError::into_error)?.sync_all()?;
        fs::rename(&part, path)
    });
    written.map_err(|source| {
        // Best effort: the error that matters is the one above.
        let _ = fs::remove_file(&part);
        WriteError { action: "write", path: path.to_owned(), source }
    })
}
