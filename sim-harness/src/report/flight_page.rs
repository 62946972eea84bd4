//! The parts of the page that show checks: tables of them, and one section a flight.

use maud::{Markup, html};

use super::chart::Chart;
use super::figures::{figure, figures};
use super::plots;
use crate::craft::Craft;
use crate::verdict::{Check, FlightReport};

/// "held" or "failed", with a sign of its own shape.
pub fn mark(held: bool) -> Markup {
    html! {
        @if held { span.mark.held { span aria-hidden="true" { "✓" } " held" } }
        @else { span.mark.failed { span aria-hidden="true" { "✕" } " failed" } }
    }
}

/// A printed number with a minus sign instead of a hyphen.
pub fn typeset(printed: &str) -> String {
    let mut set = String::with_capacity(printed.len());
    let mut before = ' ';
    for c in printed.chars() {
        // The exponent's sign stays as it is: 1e-6 is copied into other programs.
        set.push(if c == '-' && before != 'e' { '−' } else { c });
        before = c;
    }
    set
}

/// A table of checks.
pub fn checks_table(caption: &str, checks: &[Check]) -> Markup {
    // Roles are written out because the narrow layout takes the table's own display away.
    html! {
        table.checks role="table" {
            caption.unseen { (caption) }
            thead role="rowgroup" { tr role="row" {
                th role="columnheader" scope="col" { "Answer" }
                th role="columnheader" scope="col" { "Question" }
                th.number role="columnheader" scope="col" { "Found" }
                th role="columnheader" scope="col" { "Held to" }
                th role="columnheader" scope="col" { "Source of the limit" }
            } }
            tbody role="rowgroup" { @for check in checks { (row(check)) } }
        }
    }
}

fn row(check: &Check) -> Markup {
    let figures = figures(check);
    html! {
        tr.failed[!check.passes()] role="row" {
            td.answer role="cell" { (mark(check.passes())) }
            th.question role="rowheader" scope="row" {
                (check.title)
                @if let (false, Some(mend)) = (check.passes(), &check.mend) { span.mend { b { "To mend: " } (mend) } }
            }
            td.number.found role="cell" { (typeset(&figures.value)) @if !check.unit.is_empty() { span.unit { " " (check.unit) } } }
            td.limit role="cell" { (typeset(&figures.limit)) }
            td.source role="cell" { (check.source) }
        }
    }
}

/// How many of the checks are held, in words.
pub fn tally(checks: &[Check]) -> (bool, String) {
    let held = checks.iter().filter(|check| check.passes()).count();
    (held == checks.len(), format!("{held} of {} held", checks.len()))
}

/// "yaw torque stayed at 0 N·m".
fn still_words(chart: &Chart) -> Option<String> {
    // What an axis could not show is no figure worth printing either.
    let value = chart.still_at().map(|value| if value.abs() < 1e-3 * chart.least_span { 0.0 } else { value })?;
    Some(format!("{} stayed at {} {}", chart.title.to_lowercase(), typeset(&figure(value, 3)), chart.unit))
}

/// One flight: what was asked, what was found, what happened.
pub fn section(flight: &FlightReport, craft: &Craft) -> Markup {
    let (all_held, tally) = tally(&flight.checks);
    html! {
        section.flight id=(format!("flight-{}", flight.id)) aria-labelledby=(format!("flight-{}-h", flight.id)) {
            h3 id=(format!("flight-{}-h", flight.id)) { (flight.title) }
            p.asked { span.tally.failed[!all_held] { (tally) } " " b { "Asked: " } (flight.asked) }
            (checks_table(&format!("Checks of this flight: {}", flight.title), &flight.checks))
            @let charts = plots::charts(&flight.recording, craft);
            @if charts.is_empty() { p.muted { "No rows were recorded, so there is nothing to draw." } }
            @let still: Vec<String> = charts.iter().filter_map(still_words).collect();
            @if !still.is_empty() { p.muted { "Not drawn, for nothing moved: " (still.join("; ")) "." } }
            div.charts {
                @for (chart, k) in charts.iter().zip(1..).filter(|(chart, _)| chart.still_at().is_none()) {
                    figure { figcaption { (chart.title) } (chart.svg(&format!("{}-{k}", flight.id))) }
                }
            }
        }
    }
}
