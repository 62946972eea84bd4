//! What documents say about the program, held to what the program says. `BLESS=1` writes them anew.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;

use evenkeel::craft::{Battery, Craft, Spin};
use evenkeel::file::{craft_reference, flight_reference, parse_craft};
use evenkeel::onboard::Onboard;
use evenkeel::preflight::preflight;
use evenkeel::report::{self, TextStyle};
use evenkeel::script::World;
use evenkeel::verdict::{CAUTIONS, Check, Limit, Preflight};
use evenkeel_tests::document::{Document, code_blocks, files, read, root};
use evenkeel_tests::specimen;

/// A README longer than this is not read.
const README_LINES_MAX: usize = 120;

fn demo(name: &str) -> Craft {
    let path = format!("sim-harness/crafts/{name}.toml");
    parse_craft(&path, &read(&path)).unwrap()
}

fn checked(craft: &Craft) -> Preflight {
    preflight(craft, &|_, _| ()).unwrap()
}

#[test]
fn agrees_with_the_reader_of_files_when_the_reference_is_read() {
    let mut docs = Document::open("docs/files.md");
    docs.set_block("craft keys", &craft_reference());
    docs.set_block("flight keys", &flight_reference());
    docs.settle();
}

#[test]
fn shows_what_the_program_prints_when_the_readme_is_read() {
    let text = report::text(&checked(&evenkeel::demo::quad().unwrap()), TextStyle::Plain);
    let sections: Vec<&str> = text.split("\n\n").collect();
    let section = |head: &str| {
        let found = sections.iter().find(|section| section.trim_start_matches(['=', '\n']).starts_with(head));
        found.unwrap_or_else(|| panic!("the program prints no {head}")).trim_start_matches(['=', '\n']).trim_end()
    };
    let shown = [section("How the rotors answer"), section("FIT")].join("\n\n");
    let mut readme = Document::open("README.md");
    readme.set_block("output", &format!("```text\n{shown}\n```"));
    readme.settle();
}

#[test]
fn stays_within_its_length_when_the_readme_grows() {
    let lines = read("README.md").lines().count();
    assert!(lines <= README_LINES_MAX, "README.md has {lines} lines");
}

#[test]
fn is_fit_when_the_craft_of_the_readme_is_typed_in() {
    let readme = read("README.md");
    let blocks = code_blocks(&readme, "toml");
    let [typed] = blocks.as_slice() else { panic!("README.md has {} craft files, not one", blocks.len()) };
    let found = checked(&parse_craft("my.toml", typed).unwrap());
    let reasons: Vec<_> = found.reasons().collect();
    assert!(found.fit(), "{reasons:#?}");
}

/// What each check computes is written by hand; everything else in its row is the program's.
#[test]
fn lists_every_check_with_its_formula_when_the_verdict_is_explained() {
    let mut docs = Document::open("docs/verdict.md");
    let formulas: BTreeMap<String, String> = docs.block("checks").lines().filter_map(formula).collect();
    let mut rows =
        String::from("| check | question | computed as | limit | source |\n| --- | --- | --- | --- | --- |\n");
    let mut listed = BTreeSet::new();
    for check in every_check() {
        if listed.insert(check.id.clone()) {
            let formula = formulas.get(&check.id).map_or("", String::as_str);
            let limit = limit(&check.limit, check.unit);
            let _ = writeln!(rows, "| `{}` | {} | {formula} | {limit} | {} |", check.id, check.title, check.source);
        }
    }
    docs.set_block("checks", &rows);
    docs.settle();
    let bare: Vec<&String> = listed.iter().filter(|id| formulas.get(*id).is_none_or(String::is_empty)).collect();
    assert!(bare.is_empty(), "docs/verdict.md does not say how these are computed: {bare:?}");
}

/// Every check that some craft gets: the built-in one first, whose limits are shown, then others, and
/// those that are refused for each cause.
fn every_check() -> Vec<Check> {
    let heavy = {
        let mut craft = specimen::quad();
        craft.body.mass_kg = 100.0;
        craft
    };
    let mut one_way = specimen::quad();
    one_way.rotors.iter_mut().for_each(|rotor| rotor.spin = Spin::Cw);
    let mut lopsided = specimen::quad();
    lopsided.body.center_of_mass_m = [1.0, 0.0, 0.0];
    let mut fed = demo("quad");
    fed.battery = Some(Battery {
        capacity_ah: 4.0,
        full_v: 16.8,
        empty_v: 13.6,
        resistance_ohm: 0.02,
        efficiency: 0.8,
        charge: 1.0,
        voltage_curve: None,
    });
    let crafts = [demo("quad"), demo("six"), demo("eight"), demo("unfit"), heavy, one_way, lopsided, fed];
    crafts.iter().flat_map(|craft| checked(craft).checks().cloned().collect::<Vec<_>>()).collect()
}

/// Check and formula of a row of the table.
fn formula(row: &str) -> Option<(String, String)> {
    let mut cells = row.trim_matches('|').split(" | ").map(str::trim);
    let id = cells.next()?.strip_prefix('`')?.strip_suffix('`')?;
    Some((id.to_owned(), cells.nth(1)?.to_owned()))
}

fn limit(limit: &Limit, unit: &str) -> String {
    let number = |value: f64| format!("{}", (value * 1e4).round() / 1e4);
    let words = match (limit.min, limit.max) {
        (Some(min), Some(max)) => format!("{} to {}", number(min), number(max)),
        (Some(min), None) => format!("at least {}", number(min)),
        (None, Some(max)) => format!("at most {}", number(max)),
        (None, None) => "none".to_owned(),
    };
    format!("{words} {unit}").trim_end().to_owned()
}

#[test]
fn shows_the_gains_of_the_demo_crafts_when_control_is_explained() {
    let head = "| craft | axis | P, 1/s | I, 1/s² | D | D filter, Hz | angle gain, 1/s | rate limit, rad/s |\n";
    let mut rows = format!("{head}| --- | --- | --- | --- | --- | --- | --- | --- |\n");
    for name in ["quad", "six", "eight"] {
        let craft = demo(name);
        let config = Onboard::<f32>::new(&craft, World::default().gravity_m_s2).unwrap().config;
        for (k, axis) in ["roll", "pitch", "yaw"].into_iter().enumerate() {
            let (rate, angle) = (config.rate[k], config.angle);
            let _ = writeln!(
                rows,
                "| {} | {axis} | {:.2} | {:.1} | {:.3} | {:.2} | {:.2} | {:.2} |",
                craft.name,
                rate.p_per_s,
                rate.i_per_s2,
                rate.d,
                rate.d_filter_hz,
                angle.gain_per_s[k],
                angle.rate_max_rad_s[k]
            );
        }
    }
    let mut docs = Document::open("docs/control.md");
    docs.set_block("gains", &rows);
    docs.settle();
}

#[test]
fn repeats_the_cautions_of_the_program_when_cautions_are_read() {
    let mut docs = Document::open("docs/cautions.md");
    docs.set_block("cautions", &CAUTIONS.iter().map(|caution| format!("- {caution}\n")).collect::<String>());
    docs.settle();
}

/// The tables come from their headers, the checks from the source named above each test.
#[test]
fn lists_every_outside_check_when_validation_is_read() {
    let folders = ["tests", "mixer", "controller", "sim-harness"];
    let tests: Vec<(String, String)> =
        folders.into_iter().flat_map(|folder| files(folder, "rs")).map(|path| (path.clone(), read(&path))).collect();
    let mut docs = Document::open("docs/validation.md");
    docs.set_block("tables", &tables(&tests));
    docs.set_block("checks", &checks(&tests));
    docs.settle();
}

fn tables(tests: &[(String, String)]) -> String {
    let mut listed = String::new();
    for path in ["csv", "toml"].into_iter().flat_map(|extension| files("tests/reference", extension)) {
        let name = path.rsplit('/').next().unwrap_or_default();
        let stem = name.split('.').next().unwrap_or_default();
        let quoted = [format!("\"{stem}\""), format!("{name}\"")];
        let used = |text: &str| quoted.iter().any(|call| text.contains(call));
        let users: Vec<String> =
            tests.iter().filter(|(_, text)| used(text)).map(|(path, _)| format!("`{path}`")).collect();
        let text = read(&path);
        let header: Vec<&str> = text.lines().map_while(|line| line.strip_prefix('#')).map(str::trim).collect();
        assert!(!header.is_empty(), "{path}: the header does not say where it is from");
        let readers = if users.is_empty() { "no test yet".to_owned() } else { users.join(", ") };
        let _ = writeln!(listed, "### `{name}`\n\nRead by {readers}.\n");
        header.iter().for_each(|line| listed.push_str(&format!("> {line}\n")));
        listed.push('\n');
    }
    listed
}

fn checks(tests: &[(String, String)]) -> String {
    let mut listed = String::new();
    for (path, text) in tests {
        let mut sourced = sourced_tests(text);
        if path.contains("/tests/") {
            sourced.splice(0..0, sourced_file(text).map(|source| ("every test of this file".to_owned(), source)));
        }
        if !sourced.is_empty() {
            let _ = writeln!(listed, "### `{path}`\n\n| check | source |\n| --- | --- |");
            for (test, source) in sourced {
                let _ = writeln!(listed, "| {test} | {source} |");
            }
            listed.push('\n');
        }
    }
    listed
}

/// What the head of a file of tests says about where its expectations come from.
fn sourced_file(text: &str) -> Option<String> {
    let head: Vec<&str> = text.lines().map_while(|line| line.strip_prefix("//!")).map(str::trim).collect();
    let head = head.join(" ");
    let from = head.split_inclusive(['.', ':']).position(|part| part.contains("ommon practice"))?;
    Some(head.split_inclusive(['.', ':']).skip(from).collect::<String>().trim().replace('|', "\\|"))
}

/// Tests whose comment names a source or calls itself common practice: name in words, and the comment.
fn sourced_tests(text: &str) -> Vec<(String, String)> {
    let mut found = Vec::new();
    let mut comment = String::new();
    let mut is_test = false;
    for line in text.lines().map(str::trim_start) {
        if let Some(words) = line.strip_prefix("///") {
            comment = format!("{comment} {}", words.trim()).trim().to_owned();
        } else if line == "#[test]" {
            is_test = true;
        } else if let Some(rest) = line.strip_prefix("fn ")
            && is_test
        {
            let name = rest.split('(').next().unwrap_or_default().replace('_', " ");
            let source = comment.split_once("Source: ").map(|(_, source)| source.to_owned());
            let practice = || comment.contains("ommon practice").then(|| comment.clone());
            if let Some(source) = source.or_else(practice) {
                found.push((name, source.replace('|', "\\|")));
            }
            (comment, is_test) = (String::new(), false);
        } else if !line.starts_with("#[") {
            (comment, is_test) = (String::new(), false);
        }
    }
    found
}

#[test]
fn names_every_gate_when_developers_are_told_how_to_run_one() {
    let script = read(".ci/run");
    let listed = |name: &str| {
        let line = script.lines().find_map(|line| line.strip_prefix(name)?.strip_prefix("=(")?.strip_suffix(')'));
        line.unwrap().split(' ').map(str::to_owned).collect::<Vec<_>>()
    };
    let gates = [listed("gates"), listed("long_gates")].concat();
    let guide = read("DEVELOPERS.md");
    let told: Vec<&str> =
        guide.lines().filter_map(|line| line.strip_prefix("| `.ci/run ")?.split('`').next()).collect();
    assert_eq!(told, gates, "DEVELOPERS.md and .ci/run");
}

#[test]
fn leads_somewhere_when_a_document_links_or_names_a_path() {
    let pages =
        ["README.md", "DEVELOPERS.md", "CHANGELOG.md"].map(str::to_owned).into_iter().chain(files("docs", "md"));
    let mut count = 0;
    for page in pages {
        let text = read(&page);
        let folder = root().join(&page).parent().unwrap().to_owned();
        let links = text.split("](").skip(1).filter_map(|rest| rest.split(')').next());
        for link in links.filter(|link| !link.contains("://") && !link.starts_with('#')) {
            assert!(folder.join(link.split('#').next().unwrap()).exists(), "{page}: {link} leads nowhere");
            count += 1;
        }
        let named = text.split('`').skip(1).step_by(2).filter(|code| code.contains('/') && code.ends_with(".rs"));
        for path in named {
            assert!(root().join(path).exists(), "{page}: there is no {path}");
            count += 1;
        }
    }
    assert!(count > 20, "only {count} links were found");
}
