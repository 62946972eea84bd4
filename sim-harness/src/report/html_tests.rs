//! What the HTML file promises, checked on the whole file.

use super::{fixture, html};
use crate::craft::{Craft, Spin};
use crate::recording::Recording;
use crate::verdict::{FlightReport, Preflight};

/// Bytes that a report of ten flights of 60 s may have.
const MOST_BYTES: usize = 1_500_000;
/// Elements that have no end tag, from the HTML standard.
const VOID: [&str; 4] = ["meta", "br", "hr", "link"];

/// Splits into tags, respecting quotes; panics where the text between has a bare `<`.
fn tags(page: &str) -> Vec<String> {
    let mut tags = Vec::new();
    let mut rest = page;
    while let Some(start) = rest.find('<') {
        assert!(!rest[..start].contains('>'), "a bare > in: {}", &rest[..start]);
        let mut quoted = false;
        let end = rest[start..].char_indices().find_map(|(k, c)| {
            quoted ^= c == '"';
            (c == '>' && !quoted).then_some(start + k)
        });
        let end = end.expect("a tag that does not end");
        tags.push(rest[start + 1..end].to_owned());
        rest = &rest[end + 1..];
    }
    tags
}

fn assert_balanced(page: &str) {
    let mut open: Vec<String> = Vec::new();
    for tag in tags(page).iter().skip(1) {
        let name = tag.trim_start_matches('/').split_whitespace().next().unwrap().to_owned();
        if tag.starts_with('/') {
            assert_eq!(open.pop().as_deref(), Some(name.as_str()), "closed in the wrong order");
        } else if !VOID.contains(&name.as_str()) {
            open.push(name);
        }
    }
    assert!(open.is_empty(), "left open: {open:?}");
}

fn attributes(page: &str, name: &str) -> Vec<String> {
    let key = format!(" {name}=\"");
    page.match_indices(&key).map(|(at, _)| page[at + key.len()..].split('"').next().unwrap().to_owned()).collect()
}

/// Every recording with its values made bad from some row on, in a way of its own.
fn spoil(preflight: &mut Preflight) {
    let bad = [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 1e300];
    for (flight, bad) in preflight.flights.iter_mut().zip(bad.into_iter().cycle()) {
        for row in flight.recording.rows.iter_mut().skip(100) {
            row.position_m = [bad; 3];
            row.velocity_m_s[0] = bad;
            row.attitude = [bad; 4];
            row.rotor_n.clear();
            row.demand.roll_nm = bad;
        }
        flight.checks[0].value = bad;
    }
    preflight.first_limits[0].value = f64::NAN;
    preflight.flights[1].recording = Recording::default();
}

#[test]
fn is_balanced_and_needs_nothing_else_when_rendered() {
    for (preflight, craft) in [fixture::fit(), fixture::unfit()] {
        let page = html(&preflight, &craft);
        assert_balanced(&page);
        for outside in ["http", "src=", "<script", "<link", "@import", "url("] {
            assert!(!page.contains(outside), "found {outside}");
        }
    }
}

#[test]
fn gives_every_drawing_a_title_and_every_id_once() {
    let (preflight, craft) = fixture::fit();
    let page = html(&preflight, &craft);
    let mut ids = attributes(&page, "id");
    let count = ids.len();
    ids.sort();
    ids.dedup();
    assert_eq!(ids.len(), count, "an id is used twice");
    let labels = attributes(&page, "aria-labelledby");
    assert!(labels.iter().flat_map(|label| label.split(' ')).all(|id| ids.iter().any(|known| known == id)));
    let drawings = tags(&page).iter().filter(|tag| tag.starts_with("svg ")).cloned().collect::<Vec<_>>();
    assert!(drawings.len() > 30);
    assert!(drawings.iter().all(|tag| tag.contains("aria-labelledby") || tag.contains("aria-hidden")));
}

#[test]
fn leads_with_the_verdict_and_its_reasons() {
    let (preflight, craft) = fixture::unfit();
    let page = html(&preflight, &craft);
    let at = |text: &str| page.find(text).unwrap_or_else(|| panic!("{text} is missing"));
    assert!(
        at("Not fit") < at("To mend: ")
            && at("To mend: ") < at("Before you fly")
            && at("Before you fly") < at("The craft</h2>")
    );
    assert_eq!(page.matches("<ol class=\"reasons\">").count(), 1);
    let (preflight, craft) = fixture::fit();
    let page = html(&preflight, &craft);
    assert!(
        page.contains(&format!("All {} checks are held", preflight.checks().count()))
            && !page.contains("Not fit")
            && !page.contains("To mend")
    );
}

#[test]
fn tells_a_change_once_when_it_mends_two_checks() {
    let (mut preflight, craft) = fixture::unfit();
    let change = "Take the ballast out.";
    preflight.bench[3].mend = Some(change.into());
    preflight.flights[2].checks[0].mend = Some(change.into());
    let page = html(&preflight, &craft);
    let reasons = page.split("<ol class=\"reasons\">").nth(1).unwrap().split("</ol>").next().unwrap();
    assert_eq!(reasons.matches(change).count(), 1);
    assert!(reasons.contains("as under 1"));
    let text = super::text(&preflight, super::TextStyle::Plain);
    assert!(text.contains("To mend: as under 1") && text.matches(change).count() == 1, "{text}");
}

#[test]
fn escapes_names_when_they_hold_markup() {
    let (mut preflight, mut craft) = fixture::unfit();
    let name = "<b>&\"";
    preflight.craft = name.into();
    craft.rotors[0].name = name.into();
    preflight.sticks[0].faster[0] = name.into();
    preflight.bench[0].title = name.into();
    preflight.bench[3].mend = Some(name.into());
    preflight.flights[0].asked = name.into();
    let page = html(&preflight, &craft);
    assert_balanced(&page);
    assert!(!page.contains("<b>&") && page.contains("<h1>&lt;b&gt;&amp;&quot;</h1>"));
}

#[test]
fn prints_no_bad_number_when_flights_diverge() {
    let (mut preflight, craft) = fixture::fit();
    spoil(&mut preflight);
    let page = html(&preflight, &craft);
    assert_balanced(&page);
    for bad in ["NaN", "nan ", "inf ", "inf\"", "-inf", "e300\""] {
        assert!(!page.contains(bad), "found {bad}");
    }
    for d in attributes(&page, "d") {
        assert!(d.chars().all(|c| c.is_ascii_digit() || " .-MLHVAmhvlz".contains(c)), "path {d}");
    }
    assert!(page.contains("no value") && page.contains("Not fit"));
}

#[test]
fn renders_when_nothing_was_flown_and_nothing_is_known() {
    let (_, mut craft) = fixture::fit();
    craft.rotors.clear();
    let preflight = Preflight {
        craft: String::new(),
        doubts: vec![],
        mend: None,
        facts: vec![],
        sticks: vec![],
        first_limits: vec![],
        saturation: None,
        loops: vec![],
        bench: vec![],
        flights: vec![],
    };
    let page = html(&preflight, &craft);
    assert_balanced(&page);
    assert!(page.contains("Not fit") && page.contains("No flight was flown"));
}

/// A second rotor under each, of the opposite spin.
fn add_rotors_below(craft: &mut Craft) {
    let below: Vec<_> = craft
        .rotors
        .iter()
        .cloned()
        .map(|mut rotor| {
            rotor.name += " below";
            rotor.position_m[2] = 0.05;
            rotor.spin = if rotor.spin == Spin::Cw { Spin::Ccw } else { Spin::Cw };
            rotor
        })
        .collect();
    craft.rotors.extend(below);
}

#[test]
fn draws_coaxial_rotors_both_when_one_is_above_the_other() {
    let (preflight, mut craft) = fixture::fit();
    add_rotors_below(&mut craft);
    let page = html(&preflight, &craft);
    assert_balanced(&page);
    assert!(page.contains("8 front left below, counter-clockwise") && page.contains("4 front left, clockwise"));
}

#[test]
fn stays_small_when_ten_flights_last_a_minute() {
    let (mut preflight, craft) = fixture::fit();
    let longest = preflight.flights.iter().find(|flight| flight.id == "forward").unwrap().clone();
    let ids = ["a", "b", "c", "d", "e", "f", "g", "h", "i", "j"];
    preflight.flights = ids.map(|id| FlightReport { id, ..longest.clone() }).to_vec();
    assert!(preflight.flights.iter().all(|flight| flight.recording.rows.len() == 3001));
    let bytes = html(&preflight, &craft).len();
    assert!(bytes < MOST_BYTES, "{bytes} bytes");
}

/// For the eye: `cargo test -p evenkeel preview -- --ignored`, then open target/report-preview.
#[test]
#[ignore = "writes files to look at"]
fn preview() {
    let target = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/report-preview");
    let mut octo = fixture::fit();
    add_rotors_below(&mut octo.1);
    for (name, (preflight, craft)) in [("fit", fixture::fit()), ("unfit", fixture::unfit()), ("octo", octo)] {
        super::write_all(&target.join(name), &preflight, &craft).unwrap();
        let text = super::text(&preflight, super::TextStyle::Coloured);
        std::fs::write(target.join(name).join("verdict.txt"), text).unwrap();
    }
}
