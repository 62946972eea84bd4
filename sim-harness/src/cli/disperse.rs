//! `evenkeel disperse`: one flight, many crafts that are not quite what the file says.

use std::fmt::Write;
use std::fs::File;
use std::io::{self, Read};
use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Instant;

use clap::Args;
use evenkeel::craft::Craft;
use evenkeel::dispersion::{Answer, Campaign, CampaignError, CannotVary, Drawn, Flown, Shard, merge};
use evenkeel::expectation::Finding;
use evenkeel::file::{self, printable};
use evenkeel::whole_file::write_whole;
use serde_json::{Value, json};

use super::fly::check_log;
use super::outcome::{Outcome, Refusal};
use super::sign_of_life::with_sign_of_life;
use super::terminal;

/// Fly varied crafts.
#[derive(Debug, Args)]
pub struct DisperseArgs {
    /// Craft file; its [dispersion] says what varies.
    #[arg(required_unless_present = "merge")]
    craft: Option<PathBuf>,
    /// Flight file; without one, up, lean each way, turn, and down.
    flight: Option<PathBuf>,
    /// Varied crafts to fly.
    #[arg(long, value_name = "N", default_value_t = 200, allow_negative_numbers = true, value_parser = |text: &str| whole(text, 1..=FLIGHTS_MAX))]
    flights: u64,
    /// Seed of all that is drawn.
    #[arg(long, value_name = "S", default_value_t = 1, allow_negative_numbers = true, value_parser = |text: &str| whole(text, 0..=SEED_MAX))]
    seed: u64,
    /// Fly part i of n, i from 1; --merge makes one answer of the parts.
    #[arg(long, value_name = "i/n", allow_hyphen_values = true, value_parser = parse_shard)]
    shard: Option<Shard>,
    /// Fly flight K alone and say what was drawn for it and what it was held to.
    #[arg(long, value_name = "K", conflicts_with = "shard", allow_negative_numbers = true, value_parser = |text: &str| whole(text, 1..=u64::MAX))]
    only: Option<u64>,
    /// With --only: write one row a log period to this CSV file.
    #[arg(long, value_name = "FILE.csv", requires = "only")]
    log: Option<PathBuf>,
    /// Share of the flights that must hold for exit status 0.
    #[arg(long, value_name = "SHARE", default_value_t = 1.0, allow_negative_numbers = true, value_parser = parse_share)]
    require: f64,
    /// Make one answer of the --json answers of shards; flies nothing.
    #[arg(long, value_name = "FILE", num_args = 1.., conflicts_with_all = ["craft", "flight", "flights", "seed", "shard", "only"])]
    merge: Vec<PathBuf>,
    /// Print one JSON object instead of text.
    #[arg(long)]
    pub json: bool,
}

/// More would take days.
const FLIGHTS_MAX: u64 = 100_000_000;
/// A seed stands in files as a whole number of 63 bits.
const SEED_MAX: u64 = i64::MAX as u64;
/// Where a text is broken.
const TEXT_WIDTH: usize = 100;
/// Worst flights printed when none fell short.
const SHOWN_WHEN_ALL_HELD: usize = 3;
/// Longest answer that is read.
const ANSWER_MAX_BYTES: u64 = 1 << 20;

pub fn run(typed: &DisperseArgs) -> Result<Outcome, Refusal> {
    let Some(path) = &typed.craft else { return print(&merged(&typed.merge)?, typed) };
    let craft = file::read_craft(path)?;
    let flight = typed.flight.as_ref().map(|path| file::read_flight(path, &craft)).transpose()?;
    let campaign = Campaign::new(&craft, flight)?;
    if let Some(index) = typed.only {
        return only(index, &campaign, &craft, typed);
    }
    let shard = typed.shard.unwrap_or(Shard::WHOLE);
    if shard.of() > typed.flights {
        return Err(Refusal::wrong_input(format!(
            "--shard {}/{}: must be at most as many shards as --flights, {}; each flies one at least",
            shard.number(),
            shard.of(),
            typed.flights
        )));
    }
    let asked = typed.flights.saturating_sub(shard.number()) / shard.of() + 1;
    let bar = terminal::progress(asked, "flights");
    let done = AtomicU64::new(0);
    let flown = || {
        bar.inc(1);
        done.fetch_add(1, Ordering::Relaxed);
    };
    let line = || format!("{} of {asked} flights flown", done.load(Ordering::Relaxed));
    let started = Instant::now();
    let answer = with_sign_of_life(!bar.is_hidden(), line, || campaign.run(typed.flights, typed.seed, shard, &flown))?;
    let wall_s = started.elapsed().as_secs_f64();
    bar.finish_and_clear();
    if !typed.json {
        let threads = rayon::current_num_threads();
        terminal::complain(&speed(done.into_inner(), campaign.flight().duration_s, wall_s, threads));
    }
    print(&answer, typed)
}

/// How fast the flights went by. Not in the answer: the machine's, and another each time.
///
/// A flight counts in full though it may have ended early, and the craft as filed not at all.
fn speed(flights: u64, flight_s: f64, wall_s: f64, threads: usize) -> String {
    let flown_s = flights as f64 * flight_s;
    let cores = threads as f64;
    format!(
        "{flights} flights of {flight_s:.1} s in {wall_s:.2} s on {threads} threads: {:.0} flight-seconds a second and \
         thread",
        flown_s / (wall_s * cores)
    )
}

fn print(answer: &Answer, typed: &DisperseArgs) -> Result<Outcome, Refusal> {
    if typed.json {
        let value = serde_json::to_value(answer).map_err(|error| Refusal::wrong_input(error.to_string()))?;
        terminal::answer_json(&value)?;
    } else {
        // The words of an answer that was read from a file are anybody's.
        let lines: String = text(answer).lines().map(|line| printable(line) + "\n").collect();
        terminal::answer(&lines)?;
    }
    Ok(if answer.pass_rate >= typed.require { Outcome::Held } else { Outcome::FellShort })
}

fn text(answer: &Answer) -> String {
    let head = &answer.head;
    let [low, high] = answer.interval95.map(|end| 100.0 * end);
    let mut text = format!("{}: {}, {} varied crafts, seed {}", head.craft, head.flight, answer.flights, head.seed);
    if answer.shards > 1 {
        let done: Vec<String> = answer.shards_done.iter().map(u64::to_string).collect();
        let _ = write!(text, " (shard {} of {})", done.join(", "), answer.shards);
    }
    let varied: Vec<String> = head.varied.iter().map(|one| format!("{} {}", one.key, one.bound)).collect();
    let varied = format!("{}: {}", head.shape, varied.join(", "));
    let _ = write!(
        text,
        "\n  passed   {} of {}, {:.1} %; 95 % interval {low:.1} % to {high:.1} %\n{}\n  redrawn  {}\n",
        answer.passed,
        answer.flights,
        100.0 * answer.pass_rate,
        filled("  varied   ", &varied),
        answer.redrawn,
    );
    let nominal = if head.nominal.held { "held" } else { "FELL SHORT" };
    let _ = writeln!(text, "  as filed {nominal}; {}", head.nominal.reason);
    text.push_str("  fell short, and the worst\n");
    for check in &answer.checks {
        let _ = writeln!(
            text,
            "    {:>6}  {}: {} (flight {})",
            check.fell_short,
            check.name,
            check.text(),
            check.worst_index
        );
    }
    text.push_str("  worst flights, held or not; --only K shows one\n");
    let shown = if answer.passed < answer.flights { answer.worst.len() } else { SHOWN_WHEN_ALL_HELD };
    for worst in answer.worst.iter().take(shown) {
        let word = if worst.held { "held" } else { "FELL SHORT" };
        let _ = writeln!(text, "    {:>6}  {word:<11} {}", worst.index, worst.reason);
    }
    text
}

/// A long line, broken and indented under where it starts.
fn filled(head: &str, words: &str) -> String {
    let indent = " ".repeat(head.len());
    textwrap::fill(words, textwrap::Options::new(TEXT_WIDTH).initial_indent(head).subsequent_indent(&indent))
}

/// One flight, by its index.
fn only(index: u64, campaign: &Campaign<'_>, craft: &Craft, typed: &DisperseArgs) -> Result<Outcome, Refusal> {
    if let Some(log) = &typed.log {
        let inputs: Vec<&PathBuf> = typed.craft.iter().chain(&typed.flight).collect();
        check_log(log, &inputs)?;
    }
    let line = || "0 of 1 flights flown".to_owned();
    let flown = with_sign_of_life(false, line, || campaign.fly_one(typed.seed, index))?;
    if let Some(path) = &typed.log {
        match &flown.recording {
            Ok(recording) => write_whole(path, |out| recording.write_csv(out))?,
            Err(diverged) => return Err(Refusal::from(*diverged)),
        }
    }
    if typed.json {
        terminal::answer_json(&only_json(index, campaign, craft, &flown, typed.seed))?;
    } else {
        terminal::answer(&only_text(index, campaign, craft, &flown, typed.seed))?;
    }
    let held = flown.findings.iter().all(|finding| finding.held);
    Ok(if held { Outcome::Held } else { Outcome::FellShort })
}

fn only_json(index: u64, campaign: &Campaign<'_>, craft: &Craft, flown: &Flown, seed: u64) -> Value {
    let drawn: serde_json::Map<String, Value> =
        flown.sample.drawn.iter().map(|one| (one.key.to_owned(), json!(one.deviations))).collect();
    json!({
        "craft": craft.name,
        "flight": campaign.flight().name,
        "seed": seed,
        "index": index,
        "held": flown.findings.iter().all(|finding| finding.held),
        "redrawn": flown.sample.redrawn,
        "drawn": drawn,
        "flight_seed": flown.sample.seed,
        "checks": flown.findings,
    })
}

fn only_text(index: u64, campaign: &Campaign<'_>, craft: &Craft, flown: &Flown, seed: u64) -> String {
    let mut text = format!("{}: {}, flight {index} of seed {seed}\n", craft.name, campaign.flight().name);
    text.push_str("  drawn\n");
    for Drawn { key, deviations } in &flown.sample.drawn {
        let shown: Vec<String> = deviations.iter().map(|value| format!("{value:+.4}")).collect();
        let _ = writeln!(text, "    {key:<22} {}", shown.join(" "));
    }
    text.push_str("  held to\n");
    for finding in &flown.findings {
        let word = if finding.held { "held" } else { "FELL SHORT" };
        let _ = writeln!(text, "    {word:<11} {}: {}", finding.name, Finding::text(finding));
    }
    text
}

fn merged(paths: &[PathBuf]) -> Result<Answer, Refusal> {
    let answers = paths.iter().map(|path| read_answer(path)).collect::<Result<Vec<_>, _>>()?;
    merge(answers).map_err(|error| {
        use evenkeel::dispersion::MergeError::{Counts, Nothing, Other, Twice};
        let place = match error {
            Other { place, .. } | Twice { place, .. } | Counts { place } => paths.get(place),
            Nothing => None,
        };
        let name = place.map_or_else(|| "--merge".to_owned(), |path| printable(&path.display().to_string()));
        Refusal::wrong_input(format!("{name}: {error}"))
    })
}

fn read_answer(path: &Path) -> Result<Answer, Refusal> {
    let name = printable(&path.display().to_string());
    let refused = |what: String| Refusal::wrong_input(format!("{name}: {what}"));
    let cannot = |error: io::Error| refused(format!("cannot read the answer: {error}"));
    let mut bytes = Vec::new();
    // A device has no length to ask for beforehand, and no end.
    File::open(path).and_then(|file| file.take(ANSWER_MAX_BYTES + 1).read_to_end(&mut bytes)).map_err(cannot)?;
    if bytes.len() as u64 > ANSWER_MAX_BYTES {
        return Err(refused(format!(
            "must be an answer of `disperse --json`, at most {ANSWER_MAX_BYTES} bytes; is it?"
        )));
    }
    serde_json::from_slice(&bytes).map_err(|error| {
        let place = format!("{name}:{}:{}", error.line(), error.column());
        Refusal::wrong_input(format!("{place}: must be an answer of `disperse --json`: {error}; fly the shard again"))
    })
}

fn whole(text: &str, range: RangeInclusive<u64>) -> Result<u64, String> {
    let number = text.parse().ok().filter(|number| range.contains(number));
    number.ok_or_else(|| format!("must be a whole number from {} to {}", range.start(), range.end()))
}

fn parse_shard(text: &str) -> Result<Shard, String> {
    let parts = text.split_once('/').and_then(|(i, n)| Some((i.parse().ok()?, n.parse().ok()?)));
    parts
        .and_then(|(number, of)| Shard::new(number, of))
        .ok_or_else(|| "must be i/n with whole numbers, i from 1 to n: --shard 2/4".to_owned())
}

fn parse_share(text: &str) -> Result<f64, String> {
    let share = text.parse().ok().filter(|share| (0.0..=1.0).contains(share));
    share.ok_or_else(|| "must be a number from 0 to 1: --require 0.99".to_owned())
}

impl From<CampaignError> for Refusal {
    fn from(error: CampaignError) -> Self {
        match error {
            CampaignError::Unflyable(reason) => reason.into(),
            CampaignError::NothingToHold => Refusal::wrong_input(error),
            CampaignError::CannotVary(reason) => reason.into(),
        }
    }
}

impl From<CannotVary> for Refusal {
    fn from(error: CannotVary) -> Self {
        Refusal::wrong_input(error)
    }
}
