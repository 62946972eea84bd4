//! Files that appear whole under their name or not at all.
//!
//! A file is written beside its place, as `.NAME.PROCESS.part`, and takes its place when it is whole. Its writer holds the part
//! locked; the system lifts the lock of a process that was killed. So a part that nobody has locked is a leftover, and the
//! next writer of the same file removes it.

use std::fmt;
use std::fs::{self, File};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use crate::file::printable;

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
        // A name may hold what would drive the reader's terminal.
        let path = printable(&self.path.display().to_string());
        write!(f, "{path}: cannot {}: {}", self.action, self.source)
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
    let mut part = Part::begin(path)?;
    let filled = fill(&mut part.out);
    filled.map_err(|source| part.cannot_write(source))?;
    part.finish()
}

/// A file on its way: it is written beside its place for as long as that takes, and takes its place when it is finished. Dropped
/// before, it leaves nothing.
#[derive(Debug)]
pub struct Part {
    path: PathBuf,
    part: PathBuf,
    out: BufWriter<File>,
    taken_place: bool,
}

impl Part {
    /// Opens the part with the permissions of the file it replaces, and removes those that nobody is writing any more.
    ///
    /// # Errors
    /// Whatever the system says; nothing is left.
    pub fn begin(path: &Path) -> Result<Part, WriteError> {
        // A link stays a link, and what is no plain file stays what it is.
        let path = fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
        let there = fs::metadata(&path);
        if there.as_ref().is_ok_and(|there| !there.is_file()) {
            let source = io::Error::other("there is something other than a plain file");
            return Err(WriteError { action: "write", path, source });
        }
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        remove_leftovers(&path, &name);
        let part = path.with_file_name(format!(".{name}.{}{PART_END}", std::process::id()));
        let file = match create_locked(&part) {
            Ok(file) => file,
            Err(source) => return Err(WriteError { action: "write", path, source }),
        };
        // From here on the part is removed when something goes wrong.
        let begun = Part { path, part, out: BufWriter::new(file), taken_place: false };
        if let Ok(there) = there {
            let kept = begun.out.get_ref().set_permissions(there.permissions());
            kept.map_err(|source| begun.cannot_write(source))?;
        }
        Ok(begun)
    }

    fn cannot_write(&self, source: io::Error) -> WriteError {
        WriteError { action: "write", path: self.path.clone(), source }
    }

    /// The file takes its place.
    ///
    /// # Errors
    /// Whatever the system says; no half-written file is left.
    pub fn finish(mut self) -> Result<(), WriteError> {
        let placed = self.out.flush().and_then(|()| {
            // The lock lasts until the part has its name.
            self.out.get_ref().sync_all()?;
            fs::rename(&self.part, &self.path)
        });
        self.taken_place = placed.is_ok();
        placed.map_err(|source| self.cannot_write(source))
    }
}

/// What is written stands in the file once that is finished.
impl Write for Part {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.out.write(bytes)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.out.flush()
    }
}

impl Drop for Part {
    fn drop(&mut self) {
        if !self.taken_place {
            // Best effort: a leftover harms nothing.
            let _ = fs::remove_file(&self.part);
        }
    }
}

/// How the name of a file ends while it is being written.
const PART_END: &str = ".part";

/// A new file with its lock; without, where a file system has no locks.
fn create_locked(part: &Path) -> io::Result<File> {
    loop {
        let file = File::create(part)?;
        // Another writer may have taken a part without a lock for a leftover, in between.
        if file.lock().is_err() || fs::exists(part)? {
            return Ok(file);
        }
    }
}

/// Removes the parts of `path` that nobody is writing. Best effort: a leftover harms nothing.
fn remove_leftovers(path: &Path, name: &str) {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        let is_file = entry.file_type().is_ok_and(|kind| kind.is_file());
        if is_file
            && is_part_of(&entry.file_name().to_string_lossy(), name)
            && let Ok(part) = File::open(entry.path())
            && part.try_lock().is_ok()
        {
            let _ = fs::remove_file(entry.path());
        }
    }
}

/// Whether `part` is `.NAME.DIGITS.part`.
fn is_part_of(part: &str, name: &str) -> bool {
    let process =
        part.strip_prefix('.').and_then(|rest| rest.strip_prefix(name)).and_then(|rest| rest.strip_prefix('.'));
    process
        .and_then(|rest| rest.strip_suffix(PART_END))
        .is_some_and(|digits| !digits.is_empty() && digits.bytes().all(|byte| byte.is_ascii_digit()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> =
            fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    #[test]
    fn removes_what_a_killed_run_left_when_the_file_is_written_anew() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("log.csv");
        // Process numbers beyond what systems give out: no part of a run that is under way.
        for name in
            [".log.csv.4294967295.part", ".log.csv.x.part", ".other.csv.4294967295.part", "log.csv.4294967295.part"]
        {
            fs::write(folder.path().join(name), "half").unwrap();
        }
        write_whole(&path, |out| out.write_all(b"whole")).unwrap();
        assert_eq!(fs::read_to_string(&path).unwrap(), "whole");
        let kept = [".log.csv.x.part", ".other.csv.4294967295.part", "log.csv", "log.csv.4294967295.part"];
        assert_eq!(names(folder.path()), kept);
    }

    #[test]
    fn leaves_a_part_alone_when_another_run_is_writing_it() {
        let folder = tempfile::tempdir().unwrap();
        let part = folder.path().join(".log.csv.4294967295.part");
        let writer = create_locked(&part).unwrap();
        write_whole(&folder.path().join("log.csv"), |out| out.write_all(b"whole")).unwrap();
        assert_eq!(names(folder.path()), [".log.csv.4294967295.part", "log.csv"]);
        drop(writer);
        write_whole(&folder.path().join("log.csv"), |out| out.write_all(b"whole")).unwrap();
        assert_eq!(names(folder.path()), ["log.csv"]);
    }

    #[test]
    fn leaves_nothing_when_writing_fails() {
        let folder = tempfile::tempdir().unwrap();
        let error = write_whole(&folder.path().join("log.csv"), |_| Err(io::Error::other("full"))).unwrap_err();
        assert_eq!((error.action, names(folder.path()).len()), ("write", 0));
    }

    #[test]
    fn has_no_file_under_its_name_while_it_is_being_written() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("log.csv");
        let mut part = Part::begin(&path).unwrap();
        part.write_all(b"half").unwrap();
        part.flush().unwrap();
        assert!(!path.exists() && names(folder.path()).len() == 1);
        drop(part);
        assert_eq!(names(folder.path()).len(), 0, "a run that gives up leaves nothing");
        let mut part = Part::begin(&path).unwrap();
        part.write_all(b"whole").unwrap();
        part.finish().unwrap();
        assert_eq!((names(folder.path()).len(), fs::read_to_string(&path).unwrap().as_str()), (1, "whole"));
    }

    #[cfg(unix)]
    #[test]
    fn keeps_the_permissions_when_a_file_is_replaced() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("craft.toml");
        for mode in [0o600, 0o664, 0o755] {
            fs::write(&path, "before").unwrap();
            fs::set_permissions(&path, fs::Permissions::from_mode(mode)).unwrap();
            write_whole(&path, |out| out.write_all(b"after")).unwrap();
            assert_eq!(fs::read_to_string(&path).unwrap(), "after");
            assert_eq!(fs::metadata(&path).unwrap().permissions().mode() & 0o777, mode, "{mode:o}");
        }
    }

    #[test]
    fn shows_no_control_character_when_a_name_holds_one() {
        let path = Path::new("/no/such/folder/a\u{1b}[31m\nb.csv");
        let error = write_whole(path, |_| Ok(())).unwrap_err();
        assert!(!error.to_string().chars().any(char::is_control), "{error}");
    }
}
