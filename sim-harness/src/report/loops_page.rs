//! What the loops bear, on the page: a table of all margins, then a Bode and a Nyquist picture of each loop.

use maud::{Markup, html};

use super::bode::bode;
use super::figures::{figure, figures_of, trimmed};
use super::flight_page::typeset;
use super::nyquist::nyquist;
use crate::margins::{LoopMargins, LoopResponse};
use crate::verdict::Limit;

/// The section; nothing where the craft has no loops.
pub fn section(loops: &[LoopResponse]) -> Markup {
    html! {
        @if !loops.is_empty() { section.picture aria-labelledby="loops-h" {
            h2 id="loops-h" { "What the loops bear" }
            p.muted {
                "Each loop cut open, sampled as it flies, delays and rotor lag included, linear around hover. "
                "Rate loops are cut at the torque demand, the angle loop closed; angle loops at the rate set-point, the rate loop closed. "
                "A margin is read off a model. It is no clearance to fly."
            }
            (table(loops))
            p.muted {
                "Gain: how far the loop's gain may rise or fall before it is unstable. Phase and delay: how much more lag it bears. "
                "Peak S: the largest sensitivity |1/(1 + L)|. Disk: gain and phase changing together. Separation: the rate loop's crossover "
                "over the angle loop's."
            }
            @for one in loops { (pictures(one)) }
        } }
    }
}

fn pictures(one: &LoopResponse) -> Markup {
    let name = format!("{} {}", one.judged.axis, one.judged.name);
    let id = format!("{}-{}", one.judged.axis, one.judged.name);
    html! {
        div.charts {
            figure { figcaption { (capital(&name)) " loop, Bode" } (bode(one, &format!("bode-{id}"))) }
            figure { figcaption { (capital(&name)) " loop, Nyquist, near −1" } (nyquist(one, &format!("nyquist-{id}"))) }
        }
    }
}

fn capital(name: &str) -> String {
    let mut letters = name.chars();
    letters.next().map_or(String::new(), |first| first.to_uppercase().chain(letters).collect())
}

const HEADS: [&str; 9] = [
    "Gain up, dB",
    "Gain down, dB",
    "Phase, deg",
    "Crossover, Hz",
    "Delay, ms",
    "Bandwidth, Hz",
    "Peak S",
    "Disk",
    "Separation",
];

fn table(loops: &[LoopResponse]) -> Markup {
    html! {
        div.wide { table.loops role="table" {
            caption { "Margins of each loop. The last row is what they are held to; ✕ marks what falls short." }
            thead role="rowgroup" { tr role="row" {
                th role="columnheader" scope="col" { "Loop" }
                @for head in HEADS { th.number role="columnheader" scope="col" { (head) } }
            } }
            tbody role="rowgroup" {
                @for one in loops { (row(&one.judged)) }
                @if let Some(one) = loops.first() { (held_to(&one.judged)) }
            }
        } }
    }
}

fn row(one: &LoopMargins) -> Markup {
    let limits = &one.limits;
    // A loop that bears any change has no figure there.
    let cell = |value: Option<f64>, limit: Option<Limit>| {
        let value = value.filter(|value| value.is_finite());
        let failed = value.zip(limit).is_some_and(|(value, limit)| !limit.holds(value));
        let words = value.map_or("–".to_owned(), |value| typeset(&figures_of(value, limit.unwrap_or(FREE)).value));
        html! { td.number.failed[failed] role="cell" { @if failed { "✕ " } (words) } }
    };
    let milliseconds = |limit: Limit| Limit { min: limit.min.map(|s| 1e3 * s), max: limit.max.map(|s| 1e3 * s) };
    html! {
        tr.failed[!one.held] role="row" {
            th role="rowheader" scope="row" { (one.axis) " " (one.name) }
            @if !one.stable { td.failed colspan=(HEADS.len()) role="cell" { "✕ unstable as it is: no margins" } }
            @else {
                (cell(Some(one.gain_margin_up_db), Some(limits.gain_margin_db)))
                (cell(one.gain_margin_down_db, Some(limits.gain_margin_db)))
                (cell(Some(one.phase_margin_deg), Some(limits.phase_margin_deg)))
                (cell(Some(one.crossover_hz), None))
                (cell(Some(1e3 * one.delay_margin_s), Some(milliseconds(limits.delay_margin_s))))
                (cell(Some(one.bandwidth_hz), None))
                (cell(Some(one.peak_sensitivity), Some(limits.peak_sensitivity)))
                (cell(Some(one.disk_margin), None))
                (cell(one.separation, Some(limits.separation)))
            }
        }
    }
}

/// No limit at all.
const FREE: Limit = Limit { min: None, max: None };

fn held_to(one: &LoopMargins) -> Markup {
    let limits = &one.limits;
    let bound = |limit: Limit, scale: f64| {
        let print = |value: f64| trimmed(figure(scale * value, 3));
        let least = limit.min.map(|min| format!("≥ {}", print(min)));
        least.or(limit.max.map(|max| format!("≤ {}", print(max)))).unwrap_or_default()
    };
    let bounds = [
        bound(limits.gain_margin_db, 1.0),
        bound(limits.gain_margin_db, 1.0),
        bound(limits.phase_margin_deg, 1.0),
        String::new(),
        bound(limits.delay_margin_s, 1e3),
        String::new(),
        bound(limits.peak_sensitivity, 1.0),
        String::new(),
        bound(limits.separation, 1.0),
    ];
    html! {
        tr.held-to role="row" {
            th role="rowheader" scope="row" { "held to" }
            @for bound in bounds { td.number role="cell" { (bound) } }
        }
    }
}
