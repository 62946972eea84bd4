//! What was counted on the emulated board, held to what docs/measured.md says.

use evenkeel_tests::document::{Document, read};

#[test]
#[ignore = "`.ci/run counts` counts on the emulated board first"]
fn says_what_the_emulator_counted_when_costs_are_read() {
    let counted = read("target/firmware/counts.md");
    let compiler = counted.lines().find(|line| line.starts_with("Compiler:")).expect("the counter names its compiler");
    if std::env::var_os("BLESS").is_none() && !read("docs/measured.md").contains(compiler) {
        // Other instructions, and no fault of the code: the table waits for somebody to bless it.
        println!("docs/measured.md was counted with another compiler than this, nothing is compared. {compiler}");
        return;
    }
    let mut docs = Document::open("docs/measured.md");
    docs.set_block("counts", &counted);
    docs.set_block("flash", &read("target/firmware/flash.md"));
    docs.settle();
}
