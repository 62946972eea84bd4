//! Text that a program makes and the repository keeps: compared, or written anew with `BLESS=1`.

use std::fs;
use std::path::Path;

/// The whole file is made.
#[allow(dead_code, reason = "each test file includes this one and uses what it needs")]
pub fn file(path: &str, fresh: &str) {
    compare(&Path::new(env!("CARGO_MANIFEST_DIR")).join(path), fresh);
}

/// What stands between the marks `<!-- name: generated -->` and `<!-- name: end -->` is made.
#[allow(dead_code, reason = "each test file includes this one and uses what it needs")]
pub fn section(path: &str, name: &str, fresh: &str) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(path);
    let kept = fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    let (open, close) = (format!("<!-- {name}: generated -->\n"), format!("<!-- {name}: end -->"));
    let (before, rest) = kept.split_once(&open).expect("the opening mark stands in the file");
    let (_, after) = rest.split_once(&close).expect("the closing mark stands in the file");
    compare(&path, &format!("{before}{open}\n{fresh}\n{close}{after}"));
}

fn compare(path: &Path, fresh: &str) {
    if std::env::var_os("BLESS").is_some() {
        fs::write(path, fresh).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
        return;
    }
    let kept = fs::read_to_string(path).unwrap_or_default();
    let place = kept.lines().zip(fresh.lines()).position(|(kept, fresh)| kept != fresh);
    let line = place.unwrap_or(kept.lines().count().min(fresh.lines().count()));
    assert!(
        kept == fresh,
        "{}:{}: kept and made differ; if what is made is right, write it anew with BLESS=1\n kept: {}\n made: {}",
        path.display(),
        line + 1,
        kept.lines().nth(line).unwrap_or("(end)"),
        fresh.lines().nth(line).unwrap_or("(end)"),
    );
}
