//! Documents with parts that the program writes: between two marks stands what it says today.
//!
//! A test reads the document, gives each block its text, and settles: the document must say the same.
//! With `BLESS=1` in the environment the document is written anew instead.

use std::fs;
use std::path::{Path, PathBuf};

/// The folder of the workspace.
pub fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// Reads a file of the workspace.
///
/// # Panics
/// If it cannot be read.
pub fn read(name: &str) -> String {
    fs::read_to_string(root().join(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
}

/// Files in a folder of the workspace and below it with this extension, as paths from the workspace, sorted.
///
/// # Panics
/// If the folder cannot be read.
pub fn files(folder: &str, extension: &str) -> Vec<String> {
    let entries = fs::read_dir(root().join(folder)).unwrap_or_else(|error| panic!("{folder}: {error}"));
    let mut found = Vec::new();
    for entry in entries {
        let path = entry.unwrap_or_else(|error| panic!("{folder}: {error}")).path();
        let name = format!("{folder}/{}", path.file_name().unwrap_or_default().to_string_lossy());
        if path.is_dir() {
            found.extend(files(&name, extension));
        } else if path.extension().is_some_and(|ending| ending == extension) {
            found.push(name);
        }
    }
    found.sort();
    found
}

/// The contents of the code blocks of a Markdown text that are marked with this language.
pub fn code_blocks<'a>(text: &'a str, language: &str) -> Vec<&'a str> {
    let open = format!("\n```{language}\n");
    text.split(&open).skip(1).filter_map(|rest| rest.split_once("```").map(|(block, _)| block)).collect()
}

/// As [`Document::settle`], for a file that is made as a whole.
///
/// # Panics
/// As there; a file that does not exist yet is one that says nothing.
pub fn settle_file(name: &str, fresh: &str) {
    let text = fs::read_to_string(root().join(name)).unwrap_or_default();
    Document { name: name.to_owned(), text, fresh: fresh.to_owned() }.settle();
}

/// A document under comparison.
pub struct Document {
    name: String,
    text: String,
    fresh: String,
}

impl Document {
    /// Reads a document of the workspace.
    ///
    /// # Panics
    /// If it cannot be read.
    pub fn open(name: &str) -> Document {
        let text = read(name);
        Document { name: name.to_owned(), fresh: text.clone(), text }
    }

    /// What stands in a block now, without the empty lines around it.
    ///
    /// # Panics
    /// If the document has no such block.
    pub fn block(&self, name: &str) -> &str {
        self.split(name).1.trim_matches('\n')
    }

    /// Says what should stand in a block.
    ///
    /// # Panics
    /// If the document has no such block.
    pub fn set_block(&mut self, name: &str, text: &str) {
        let (before, _, after) = self.split(name);
        self.fresh = format!("{before}\n{}\n\n{after}", text.trim_matches('\n'));
    }

    /// Compares, or writes with `BLESS=1`.
    ///
    /// # Panics
    /// If the document says something else, or cannot be written.
    pub fn settle(self) {
        let Document { name, text, fresh } = self;
        if std::env::var_os("BLESS").is_some() {
            fs::write(root().join(&name), fresh).unwrap_or_else(|error| panic!("{name}: {error}"));
        } else if let Some((old, new)) = text.lines().zip(fresh.lines()).find(|(old, new)| old != new) {
            panic!("{name} says\n  {old}\nand should say\n  {new}\nwrite it anew with BLESS=1");
        } else {
            assert!(text == fresh, "{name} is shorter or longer than it should be; write it anew with BLESS=1");
        }
    }

    /// Up to and with the opening mark, between, and from the closing mark on.
    fn split(&self, block: &str) -> (&str, &str, &str) {
        let (open, close) = (format!("<!-- {block}: generated -->\n"), format!("<!-- {block}: end -->"));
        let start = self.fresh.find(&open).unwrap_or_else(|| panic!("{}: no mark {open}", self.name)) + open.len();
        let end = self.fresh[start..].find(&close).unwrap_or_else(|| panic!("{}: no mark {close}", self.name)) + start;
        (&self.fresh[..start], &self.fresh[start..end], &self.fresh[end..])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn document(text: &str) -> Document {
        Document { name: "page".into(), text: text.into(), fresh: text.into() }
    }

    const PAGE: &str = "a\n<!-- one: generated -->\n\nold\n\n<!-- one: end -->\nz\n";

    #[test]
    fn keeps_what_stands_around_a_block_when_it_is_set() {
        let mut page = document(PAGE);
        page.set_block("one", "new");
        assert_eq!(page.fresh, PAGE.replace("old", "new"));
        assert_eq!(page.block("one"), "new");
    }

    #[test]
    fn settles_when_the_block_says_what_it_should() {
        let mut page = document(PAGE);
        page.set_block("one", "old");
        assert_eq!(page.text, page.fresh);
    }

    #[test]
    #[should_panic(expected = "no mark")]
    fn complains_when_there_is_no_such_block() {
        document(PAGE).set_block("two", "new");
    }

    #[test]
    fn finds_the_blocks_of_one_language() {
        let text = "x\n```toml\na = 1\n```\n```text\nb\n```\n```toml\nc = 2\n```\n";
        assert_eq!(code_blocks(text, "toml"), ["a = 1\n", "c = 2\n"]);
    }
}
