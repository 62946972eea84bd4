//! The report as one HTML file that needs nothing else: style and drawings are inside.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::craft_view::{rotor_table, shares_a_place, stick_view, top_view};
use super::figures::{figures, with_unit};
use super::flight_page::{checks_table, mark, section, tally, typeset};
use super::text::{largest, mend_words, near_words, used_percent};
use super::{doubts_page, loops_page, saturation_page};
use crate::craft::Craft;
use crate::near_misses::near_misses;
use crate::verdict::{CAUTIONS, FirstLimit, Preflight};

const STYLE: &str = include_str!("page.css");

/// The report as HTML: verdict and cautions first, then the craft, its rotors and loops, the bench, the flights.
pub fn html(preflight: &Preflight, craft: &Craft) -> String {
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (preflight.craft) ": " (if preflight.fit() { "fit" } else { "not fit" }) " for a first flight" }
                style { (PreEscaped(STYLE)) }
            }
            body {
                header {
                    p.over { "Maiden-flight check" }
                    h1 { (preflight.craft) }
                }
                main {
                    div.first { (verdict(preflight)) (cautions()) }
                    (doubts_page::section(preflight))
                    (about(preflight, craft))
                    @if !preflight.sticks.is_empty() { (answers(preflight, craft)) }
                    @if let Some(picture) = &preflight.saturation { (saturation_page::section(picture)) }
                    (loops_page::section(&preflight.loops))
                    section aria-labelledby="bench-h" {
                        h2 id="bench-h" { "At rest" }
                        (checks_table("Checks on the craft at rest", &preflight.bench))
                    }
                    (flights(preflight, craft))
                }
                footer { p { "evenkeel " (env!("CARGO_PKG_VERSION")) ". A simulation is no clearance to fly." } }
            }
        }
    };
    page.into_string()
}

fn verdict(preflight: &Preflight) -> Markup {
    let fit = preflight.fit();
    let (total, failed) = (preflight.checks().count(), preflight.reasons().count());
    html! {
        section.verdict.fit[fit].unfit[!fit] aria-labelledby="verdict-h" {
            h2 id="verdict-h" {
                svg.sign viewBox="0 0 24 24" aria-hidden="true" {
                    @if fit { path d="M4 13l5 5L20 6" {} } @else { path d="M5 5l14 14M19 5L5 19" {} }
                }
                (if fit { "Fit" } else { "Not fit" })
                small { " for a first flight" }
            }
            @if fit { p { "All " (total) " checks are held, as far as a model of the craft can tell." } }
            @else { (doubts_page::reasons(preflight)) p { (failed) " of " (total) " checks failed." } }
            @if preflight.flights.is_empty() { p { "No flight was flown: what the checks at rest found rules it out." } }
            @if let Some(mend) = &preflight.mend { p { b { (mend_words(mend)) } } }
            @if failed > 0 {
                ol.reasons { @for ((place, check), mend) in preflight.reasons().zip(preflight.mends()) {
                    @let figures = figures(check);
                    li {
                        (place) ". " b { (check.title) } ": "
                        (typeset(&with_unit(&figures.value, check.unit))) ", " (typeset(&figures.limit)) "."
                        @if let Some(mend) = mend { span.mend { b { "To mend: " } (mend) } }
                    }
                } }
            }
            @let near = near_misses(preflight);
            @if !near.is_empty() {
                h3 { "Closest to their limits" }
                ul.near { @for near in &near { li { b { (used_percent(near)) " %" } " of the limit used. " (typeset(&near_words(near))) } } }
            }
        }
    }
}

fn cautions() -> Markup {
    html! {
        section.cautions aria-labelledby="cautions-h" {
            h2 id="cautions-h" { "Before you fly" }
            ul { @for caution in CAUTIONS { li { (caution) } } }
        }
    }
}

fn about(preflight: &Preflight, craft: &Craft) -> Markup {
    html! {
        section aria-labelledby="craft-h" {
            h2 id="craft-h" { "The craft" }
            div.pair {
                dl.facts { @for fact in &preflight.facts { div { dt { (fact.title) } dd { (fact.value) } } } }
                figure.drawing {
                    (top_view(craft))
                    figcaption {
                        "From above. Arrows: sense of rotation. Cross: centre of mass. Discs are not to scale."
                        @if shares_a_place(craft) { " Two rings at one place: the outer is the rotor named first." }
                    }
                }
            }
            (rotor_table(craft))
        }
    }
}

fn answers(preflight: &Preflight, craft: &Craft) -> Markup {
    let names = |names: &[String]| if names.is_empty() { "none".to_owned() } else { names.join(", ") };
    html! {
        section aria-labelledby="sticks-h" {
            h2 id="sticks-h" { "How the rotors answer" }
            p.muted { "From hover. Compare with the craft on the bench, propellers off: if a rotor answers otherwise, do not fly." }
            div.sticks { @for response in &preflight.sticks {
                div.response {
                    h3 { (response.stick) }
                    (stick_view(craft, response))
                    p { b { "Faster: " } (names(&response.faster)) }
                    p { b { "Slower: " } (names(&response.slower)) }
                }
            } }
            table.limits role="table" {
                caption { "What gives way first when one demand alone grows from hover" }
                thead role="rowgroup" { tr role="row" {
                    th role="columnheader" scope="col" { "Demand" } th role="columnheader" scope="col" { "Met in full up to" }
                    th role="columnheader" scope="col" { "Stopped by" } th role="columnheader" scope="col" { "Beyond it" }
                } }
                tbody role="rowgroup" { @for limit in &preflight.first_limits {
                    tr role="row" {
                        th role="rowheader" scope="row" { (limit.words()) }
                        td role="cell" { (typeset(&largest(limit))) }
                        td.by role="cell" { (names(&limit.stopped_by)) }
                        td.by role="cell" { (beyond(preflight, limit)) }
                    }
                } }
            }
        }
    }
}

/// The axes that are cut first when the demand goes on.
fn beyond(preflight: &Preflight, limit: &FirstLimit) -> String {
    let found = preflight.saturation.iter().flat_map(|picture| &picture.gives_way);
    let mut axes = found.filter(|one| one.demand == limit.demand).map(|one| one.gives_way.join(" and "));
    axes.next().filter(|axes| !axes.is_empty()).map_or("–".to_owned(), |axes| format!("{axes} gives way"))
}

fn flights(preflight: &Preflight, craft: &Craft) -> Markup {
    html! {
        section aria-labelledby="flights-h" {
            h2 id="flights-h" { "Flights" }
            @if preflight.flights.is_empty() { p { "None was flown." } }
            @else { nav aria-label="Flights" { ul { @for flight in &preflight.flights {
                @let (all_held, tally) = tally(&flight.checks);
                li { a href=(format!("#flight-{}", flight.id)) { (flight.title) } " " (mark(all_held)) span.muted { " " (tally) } }
            } } } }
            @for flight in &preflight.flights { (section(flight, craft)) }
        }
    }
}
