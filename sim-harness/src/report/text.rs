//! The verdict for the terminal: 80 columns, read from top to bottom, the verdict last so that it
//! stays on the screen.

use anstyle::{AnsiColor, Style};
use textwrap::core::display_width;
use textwrap::{Options, wrap};

use super::doubts_page::{DoubtWords, open_in_words};
use super::figures::{Figures, figure, figures, with_unit};
use crate::near_misses::{NearMiss, near_misses};
use crate::verdict::{CAUTIONS, Check, FirstLimit, FlightReport, Mend, Preflight};

/// Whether the text carries colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TextStyle {
    /// No escape codes at all.
    Plain,
    /// ANSI colours. What they say is also said in words.
    Coloured,
}

const WIDTH: usize = 80;
const INDENT: usize = 2;
/// Columns of a row of facts, sticks or limits.
const NAME: usize = 24;
const DEMAND: usize = 11;
const LARGEST: usize = 24;
/// Columns of a check.
const MARK: usize = 6;
const TITLE: usize = 34;
const VALUE: usize = 9;
const UNIT: usize = 6;
const LIMIT: usize = 19;

const HEADING: Style = Style::new().bold();
const GOOD: Style = AnsiColor::Green.on_default().bold();
const BAD: Style = AnsiColor::Red.on_default().bold();
const CARE: Style = AnsiColor::Yellow.on_default();
const PLAIN: Style = Style::new();

/// The maiden-flight check as text, 80 columns wide.
pub fn text(preflight: &Preflight, style: TextStyle) -> String {
    let mut page = Page { out: String::new(), style };
    page.heading(&format!("Maiden-flight check: {}", preflight.craft));
    for fact in &preflight.facts {
        page.named(fact.title, &fact.value);
    }
    doubts(&mut page, preflight);
    sticks(&mut page, preflight);
    first_limits(&mut page, &preflight.first_limits);
    page.heading("At rest");
    preflight.bench.iter().for_each(|check| page.check(check));
    preflight.flights.iter().for_each(|flight| self::flight(&mut page, flight));
    page.heading("Before you fly");
    CAUTIONS.iter().for_each(|caution| page.item("-", caution, CARE));
    closest(&mut page, preflight);
    verdict(&mut page, preflight);
    page.out
}

fn doubts(page: &mut Page, preflight: &Preflight) {
    if preflight.doubts.is_empty() {
        return;
    }
    page.heading("Figures in doubt");
    for (doubt, number) in preflight.doubts.iter().zip(1..) {
        let (words, style) = (DoubtWords::of(doubt), if doubt.vouched { PLAIN } else { BAD });
        page.item(&format!("{number}."), &format!("{}.", words.figure), style);
        // No full stop after a number to type.
        page.paragraph(&words.likely, INDENT + 3);
        for line in [words.because, words.vouch] {
            page.paragraph(&format!("{line}."), INDENT + 3);
        }
    }
}

fn sticks(page: &mut Page, preflight: &Preflight) {
    if preflight.sticks.is_empty() {
        return;
    }
    page.heading("How the rotors answer, from hover");
    for response in &preflight.sticks {
        page.named(response.stick, &format!("faster  {}", names(&response.faster)));
        if !response.slower.is_empty() {
            page.named("", &format!("slower  {}", names(&response.slower)));
        }
    }
}

fn first_limits(page: &mut Page, limits: &[FirstLimit]) {
    if limits.is_empty() {
        return;
    }
    page.heading("What gives way first, one demand alone from hover");
    for limit in limits {
        let largest = largest(limit);
        let stopped_by = names(&limit.stopped_by);
        let row =
            [(limit.words(), DEMAND), (&*largest, LARGEST), (&*stopped_by, WIDTH - INDENT - DEMAND - LARGEST - 2)];
        page.row(&row, PLAIN);
    }
}

/// "32.0 N in all, 16.3 N above hover", or "0.294 N·m, 14.7 rad/s²".
pub(super) fn largest(limit: &FirstLimit) -> String {
    let value = with_unit(&figure(limit.value, 3), limit.unit);
    match (limit.above_hover_n, limit.acceleration_rad_s2) {
        (Some(above_n), _) => format!("{value} in all, {} N above hover", figure(above_n, 3)),
        (None, Some(turn)) => format!("{value}, {} rad/s²", figure(turn, 3)),
        (None, None) => value,
    }
}

fn flight(page: &mut Page, flight: &FlightReport) {
    page.heading(&format!("Flight: {}", flight.title));
    page.paragraph(&flight.asked, INDENT);
    flight.checks.iter().for_each(|check| page.check(check));
}

/// Held checks with least to spare.
fn closest(page: &mut Page, preflight: &Preflight) {
    let near = near_misses(preflight);
    if near.is_empty() {
        return;
    }
    page.heading("Closest to their limits, share of the limit used");
    near.iter().for_each(|near| page.item(&format!("{:>3} %", used_percent(near)), &near_words(near), PLAIN));
}

/// Rounded down: what is within its limit is not 100 % of it.
pub(super) fn used_percent(near: &NearMiss<'_>) -> f64 {
    (100.0 * near.share).floor()
}

/// "Level circle. Speed: 6.00 m/s, 5.82 to 6.18 m/s".
pub(super) fn near_words(near: &NearMiss<'_>) -> String {
    let NearMiss { place, check, .. } = near;
    let Figures { value, limit } = figures(check);
    let value = with_unit(&value, check.unit);
    format!("{place}. {}: {value}, {limit}", check.title)
}

/// The one change, and that it was flown.
pub(super) fn mend_words(mend: &Mend) -> String {
    format!("One change mends it all, flown and held: {} (all {} checks then hold).", mend.change, mend.held_after)
}

fn verdict(page: &mut Page, preflight: &Preflight) {
    let (total, failed) = (preflight.checks().count(), preflight.reasons().count());
    page.line("", PLAIN);
    page.line(&"=".repeat(WIDTH), PLAIN);
    if preflight.fit() {
        page.line("FIT for a first flight, as far as a model can tell", GOOD);
        page.paragraph(&format!("All {total} checks are held."), INDENT);
        return;
    }
    page.line("NOT FIT for a first flight", BAD);
    if preflight.flights.is_empty() {
        page.paragraph("No flight was flown: what the checks at rest found rules it out.", INDENT);
    }
    if let Some(count) = open_in_words(preflight) {
        page.paragraph(&count, INDENT);
        for (words, number) in preflight.open_doubts().map(DoubtWords::of).zip(1..) {
            page.item(&format!("{number}."), &format!("{}. {}", words.figure, words.likely), PLAIN);
        }
    }
    page.paragraph(&format!("{failed} of {total} checks failed."), INDENT);
    if let Some(mend) = &preflight.mend {
        page.paragraph(&mend_words(mend), INDENT);
    }
    for (((place, check), mend), number) in preflight.reasons().zip(preflight.mends()).zip(1..) {
        let Figures { value, limit } = figures(check);
        let value = with_unit(&value, check.unit);
        page.item(
            &format!("{number}."),
            &format!("{place}. {}: {value}, {limit} ({}).", check.title, check.source),
            PLAIN,
        );
        if let Some(mend) = mend {
            page.paragraph(&format!("To mend: {mend}"), INDENT + 3);
        }
    }
}

fn names(names: &[String]) -> String {
    if names.is_empty() { "none".to_owned() } else { names.join(", ") }
}

struct Page {
    out: String,
    style: TextStyle,
}

impl Page {
    /// One line; control characters of foreign names cannot reach the terminal.
    fn line(&mut self, line: &str, style: Style) {
        let clean: String = line.trim_end().chars().map(|c| if c.is_control() { '\u{fffd}' } else { c }).collect();
        if self.style == TextStyle::Plain || style == PLAIN {
            self.out += &clean;
        } else {
            let text = clean.trim_start();
            self.out += &" ".repeat(clean.len() - text.len());
            self.out += &format!("{style}{text}{style:#}");
        }
        self.out.push('\n');
    }

    fn heading(&mut self, heading: &str) {
        if !self.out.is_empty() {
            self.line("", PLAIN);
        }
        for line in wrap(heading, WIDTH) {
            self.line(&line, HEADING);
        }
    }

    fn paragraph(&mut self, text: &str, indent: usize) {
        let indent = " ".repeat(indent);
        for line in wrap(text, Options::new(WIDTH).initial_indent(&indent).subsequent_indent(&indent)) {
            self.line(&line, PLAIN);
        }
    }

    fn item(&mut self, mark: &str, text: &str, style: Style) {
        let first = format!("{:INDENT$}{mark} ", "");
        let next = " ".repeat(first.len());
        for line in wrap(text, Options::new(WIDTH).initial_indent(&first).subsequent_indent(&next)) {
            self.line(&line, style);
        }
    }

    fn named(&mut self, name: &str, value: &str) {
        self.row(&[(name, NAME), (value, WIDTH - INDENT - NAME - 1)], PLAIN);
    }

    fn check(&mut self, check: &Check) {
        let Figures { value, limit } = figures(check);
        let (mark, style) = if check.passes() { ("held", PLAIN) } else { ("FAILED", BAD) };
        let value = format!("{value:>VALUE$}");
        self.row(&[(mark, MARK), (&check.title, TITLE), (&value, VALUE), (check.unit, UNIT), (&limit, LIMIT)], style);
    }

    /// Cells side by side, each wrapped within its own width.
    fn row(&mut self, cells: &[(&str, usize)], style: Style) {
        // A cell that starts with spaces is a figure set to the right: it keeps them.
        let wrapped: Vec<Vec<_>> = cells
            .iter()
            .map(|&(cell, width)| if cell.starts_with(' ') { vec![cell.into()] } else { wrap(cell, width) })
            .collect();
        for k in 0..wrapped.iter().map(Vec::len).max().unwrap_or(0) {
            let mut line = " ".repeat(INDENT);
            for (lines, &(_, width)) in wrapped.iter().zip(cells) {
                let part = lines.get(k).map_or("", |part| part);
                line += part;
                line += &" ".repeat(width.saturating_sub(display_width(part)) + 1);
            }
            self.line(&line, style);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture;

    fn assert_fits(text: &str) {
        for line in text.lines() {
            assert!(display_width(line) <= WIDTH, "{} columns: {line}", display_width(line));
        }
    }

    #[test]
    fn reads_as_agreed_when_the_craft_is_not_fit() {
        let text = text(&fixture::unfit().0, TextStyle::Plain);
        assert_fits(&text);
        insta::assert_snapshot!(text);
    }

    #[test]
    fn ends_with_the_verdict_when_the_craft_is_fit() {
        let text = text(&fixture::fit().0, TextStyle::Plain);
        assert_fits(&text);
        let end: Vec<&str> = text.lines().rev().take(3).collect();
        assert!(end[1].starts_with("FIT for a first flight"), "{end:?}");
        assert!(!text.contains("FAILED") && !text.contains("NOT FIT"));
    }

    #[test]
    fn has_no_escape_codes_when_plain_even_from_a_hostile_name() {
        let (mut preflight, _) = fixture::unfit();
        preflight.craft = "red \u{1b}[31mquad\u{7}".into();
        preflight.flights[0].asked = "hold\u{9b}2J".into();
        let plain = text(&preflight, TextStyle::Plain);
        assert!(!plain.chars().any(|c| c.is_control() && c != '\n'));
        let coloured = text(&preflight, TextStyle::Coloured);
        assert!(coloured.contains("\u{1b}[") && !coloured.contains("\u{1b}[31mquad"));
    }

    #[test]
    fn says_the_same_words_when_coloured() {
        let (preflight, _) = fixture::unfit();
        let coloured = text(&preflight, TextStyle::Coloured);
        let stripped = anstream::adapter::strip_str(&coloured).to_string();
        assert_eq!(stripped, text(&preflight, TextStyle::Plain));
    }

    #[test]
    fn fails_a_check_when_its_value_is_no_number() {
        let (mut preflight, _) = fixture::fit();
        preflight.bench[0].value = f64::NAN;
        let text = text(&preflight, TextStyle::Plain);
        assert!(text.contains("NOT FIT") && text.contains("no value") && !text.contains("NaN"));
        assert!(text.lines().any(|line| line.starts_with("  FAILED Thrust to weight")));
    }

    #[test]
    fn says_that_nothing_flew_when_there_are_no_flights() {
        let (mut preflight, _) = fixture::fit();
        preflight.flights.clear();
        let text = text(&preflight, TextStyle::Plain);
        assert!(text.contains("NOT FIT") && text.contains("No flight was flown"));
    }
}
