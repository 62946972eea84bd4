//! The two streams a person sees.

use std::io::{self, IsTerminal, Write};
use std::time::Duration;

use super::outcome::Refusal;
use evenkeel::report::TextStyle;
use indicatif::{ProgressBar, ProgressStyle};

/// Prints an answer. A reader that has gone away (`evenkeel | head`) is no error; a full disk is.
///
/// # Errors
/// When the answer is lost.
pub fn answer(text: &str) -> Result<(), Refusal> {
    let mut out = io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => {
            Err(Refusal::wrong_input(format!("the answer could not be written to standard output: {error}")))
        }
        _ => Ok(()),
    }
}

/// Prints an object, alone, on standard output.
///
/// # Errors
/// When the answer is lost.
pub fn answer_json(value: &serde_json::Value) -> Result<(), Refusal> {
    answer(&format!("{value:#}\n"))
}

/// Prints a message on standard error.
pub fn complain(message: &str) {
    let _ = writeln!(io::stderr().lock(), "evenkeel: {message}");
}

/// Colour for standard output.
pub fn style() -> TextStyle {
    if io::stdout().is_terminal() && !no_color() { TextStyle::Coloured } else { TextStyle::Plain }
}

/// A progress bar over `length` units; silent without a terminal.
pub fn progress(length: u64, what: &'static str) -> ProgressBar {
    if !io::stderr().is_terminal() || no_color() {
        return ProgressBar::hidden();
    }
    let bar = ProgressBar::new(length).with_message(what);
    if let Ok(style) = ProgressStyle::with_template("{msg} [{bar:40}] {pos}/{len}") {
        bar.set_style(style.progress_chars("=> "));
    }
    bar.enable_steady_tick(Duration::from_millis(200));
    bar
}

/// <https://no-color.org>: set and not empty.
fn no_color() -> bool {
    std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty())
}
