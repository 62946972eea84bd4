//! `evenkeel fly`: a script, flown and logged.

use std::io;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

use clap::Args;
use evenkeel::arrival::{Arrival, IMPACT_MAX_M_S};
use evenkeel::board::{Address, fly_on_board_into};
use evenkeel::expectation::{Expectation, Finding, Sampled, Scene};
use evenkeel::file;
use evenkeel::onboard::Onboard;
use evenkeel::recording::{CsvLog, Row};
use evenkeel::saturation::least_hover_voltage_share;
use evenkeel::script::{Fault, Flight};
use evenkeel::simulation::fly_into;
use evenkeel::whole_file::{Part, WriteError};
use serde::Serialize;
use serde_json::{Value, json};

use super::outcome::{Outcome, Refusal};
use super::sign_of_life::with_sign_of_life;
use super::terminal;

/// Fly a script.
#[derive(Debug, Args)]
pub struct FlyArgs {
    /// Craft file.
    craft: PathBuf,
    /// Flight file.
    flight: PathBuf,
    /// Write one row a log period to this CSV file.
    #[arg(long, value_name = "FILE.csv")]
    log: Option<PathBuf>,
    /// Fly with the controller on a board in lock-step: a serial device, tcp:HOST:PORT, unix:PATH or pipe:FOLDER.
    #[arg(long, value_name = "ADDRESS")]
    board: Option<String>,
    /// Fly it here too, and stop at the first step whose bits differ.
    #[arg(long, requires = "board")]
    compare: bool,
    /// Print one JSON object instead of text.
    #[arg(long)]
    pub json: bool,
}

pub fn run(typed: &FlyArgs) -> Result<Outcome, Refusal> {
    let craft = file::read_craft(&typed.craft)?;
    let flight = file::read_flight(&typed.flight, &craft)?;
    if let Some(log) = &typed.log {
        check_log(log, &[&typed.craft, &typed.flight])?;
    }
    let board = typed.board.as_deref().map(str::parse::<Address>).transpose()?;
    if let Some(address) = board.as_ref().filter(|_| !flight.control) {
        return Err(Refusal::wrong_input(format!(
            "--board {address}: the flight has control = \"off\", which leaves a board nothing to do; leave out one of them"
        )));
    }
    let onboard = match flight.control {
        true => Some(Onboard::<f32>::new(&craft, flight.world.gravity_m_s2)?),
        false => None,
    };
    let mut log = typed.log.as_deref().map(|path| Log::begin(path, craft.rotors.len())).transpose()?;
    let scene = Scene::new(&craft);
    // A craft that cannot be controlled, and is flown without control, has no hover to lose.
    let hover_voltage_share =
        craft.battery.as_ref().and_then(|_| least_hover_voltage_share(&craft, &flight.world).ok().flatten());
    let mut seen = Seen { hover_voltage_share, ..Seen::default() };
    let mut sampled: Vec<Sampled<'_>> = flight.expectations.iter().map(Expectation::begin).collect();
    let mut keep = |row: Row| {
        if let Some(log) = &mut log {
            log.row(&row);
        }
        sampled.iter_mut().for_each(|one| one.see(&row, &scene));
        seen.see(row);
    };
    let bar = terminal::progress(flight.duration_s.ceil() as u64, "seconds flown");
    let flown_s = AtomicU64::new(0);
    let watch = |t_s: f64| {
        bar.set_position(t_s as u64);
        flown_s.store(t_s as u64, Ordering::Relaxed);
    };
    let line = || format!("{} of {:.0} s flown", flown_s.load(Ordering::Relaxed), flight.duration_s);
    let flown = with_sign_of_life(!bar.is_hidden(), line, || match &board {
        Some(address) => fly_on_board_into(&craft, &craft, &flight, (address, typed.compare), &watch, &mut keep)
            .map_err(Refusal::from),
        None => fly_into(&craft, &flight, onboard.as_ref(), &watch, &mut keep).map_err(Refusal::from),
    });
    bar.finish_and_clear();
    flown?;
    let findings: Vec<Finding> = sampled.iter().map(Sampled::finding).collect();
    if let Some(log) = log {
        log.finish()?;
    }
    let Some(summary) = seen.summary() else {
        return Err(Refusal { outcome: Outcome::Internal, message: "the flight left no record".into() });
    };
    if typed.json {
        terminal::answer_json(&summary.json(&craft.name, &flight, &findings))?;
    } else {
        terminal::answer(&summary.text(&craft.name, &flight))?;
        terminal::answer(&expectations(&findings))?;
    }
    let crashed = flight.control && summary.impact_m_s > IMPACT_MAX_M_S;
    let held = !crashed && summary.flat.is_none() && findings.iter().all(|finding| finding.held);
    Ok(if held { Outcome::Held } else { Outcome::FellShort })
}

/// Each expectation on a line, with what was found; nothing for a flight without any.
fn expectations(findings: &[Finding]) -> String {
    let line = |finding: &Finding| {
        let word = if finding.held { "held" } else { "FELL SHORT" };
        let source = finding.source.as_ref().map_or_else(String::new, |source| format!("\n      ({source})"));
        format!("    {word:<11} {}: {}{source}\n", finding.name, finding.text())
    };
    let lines: String = findings.iter().map(line).collect();
    if lines.is_empty() { lines } else { format!("  expected\n{lines}") }
}

/// Finds out before the flight whether its log can be written.
pub(super) fn check_log(log: &Path, inputs: &[&PathBuf]) -> Result<(), Refusal> {
    let same = |input: &&PathBuf| matches!((log.canonicalize(), input.canonicalize()), (Ok(a), Ok(b)) if a == b);
    if inputs.iter().any(same) {
        return Err(Refusal::wrong_input(format!(
            "--log {}: must not be one of the input files; name another file",
            log.display()
        )));
    }
    let folder = log.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    if !folder.is_dir() {
        return Err(Refusal::wrong_input(format!(
            "--log {}: the folder {} must exist; make it, or name another",
            log.display(),
            folder.display()
        )));
    }
    Ok(())
}

/// A log that is written while the flight is flown.
struct Log {
    csv: CsvLog<Part>,
    path: PathBuf,
    /// The first thing that went wrong; nothing is written after it.
    failed: Option<io::Error>,
}

impl Log {
    fn begin(path: &Path, rotors: usize) -> Result<Self, Refusal> {
        let csv = CsvLog::new(Part::begin(path)?, rotors).map_err(|source| cannot_write(path, source))?;
        Ok(Log { csv, path: path.to_owned(), failed: None })
    }

    fn row(&mut self, row: &Row) {
        if self.failed.is_none() {
            self.failed = self.csv.row(row).err();
        }
    }

    fn finish(self) -> Result<(), Refusal> {
        let Log { csv, path, failed } = self;
        let part = failed.map_or_else(|| csv.finish(), Err).map_err(|source| cannot_write(&path, source))?;
        Ok(part.finish()?)
    }
}

fn cannot_write(path: &Path, source: io::Error) -> WriteError {
    WriteError { action: "write", path: path.to_owned(), source }
}

/// A flight in a few figures.
struct Summary {
    rows: usize,
    last: Row,
    highest_m: f64,
    fastest_m_s: f64,
    tilt_max_deg: f64,
    /// Fastest speed at which the craft came to the ground; 0 when it never did.
    impact_m_s: f64,
    flat: Option<Flat>,
}

/// The battery has run flat: nothing is left of its charge, or its voltage does not carry the craft any more.
#[derive(Clone, Copy, Serialize)]
struct Flat {
    t_s: f64,
    height_m: f64,
    voltage_share: f64,
    state_of_charge: f64,
}

impl Flat {
    /// Whether the battery is flat in this row; `hover_voltage_share`: the least voltage that carries the craft.
    fn of(row: &Row, hover_voltage_share: Option<f64>) -> Option<Self> {
        let (voltage_share, state_of_charge) = (row.on_board.voltage_share, row.on_board.state_of_charge);
        let carries = hover_voltage_share.is_none_or(|least| voltage_share >= least);
        let flat = state_of_charge <= 0.0 || !carries;
        flat.then(|| Flat { t_s: row.t_s, height_m: row.height_m(), voltage_share, state_of_charge })
    }

    fn line(&self) -> String {
        let Flat { t_s, height_m, voltage_share, state_of_charge } = self;
        let (volts, charge) = (100.0 * voltage_share, 100.0 * state_of_charge);
        format!(
            "  battery       FLAT at {t_s:.2} s, {height_m:.2} m up: {volts:.1} % of full voltage, {charge:.1} % of the charge\n"
        )
    }
}

/// Rows seen so far.
#[derive(Default)]
struct Seen {
    rows: usize,
    last: Option<Row>,
    arrival: Arrival,
    impact_m_s: f64,
    /// Largest height, ground speed and tilt.
    most: Option<[f64; 3]>,
    /// The least voltage that carries the craft; `None` without a battery.
    hover_voltage_share: Option<f64>,
    /// When the battery first was flat.
    flat: Option<Flat>,
}

impl Seen {
    fn see(&mut self, row: Row) {
        self.rows += 1;
        let arrived_m_s = self.arrival.see(&row).map_or(0.0, |(_, speed_m_s)| speed_m_s);
        self.impact_m_s = self.impact_m_s.max(arrived_m_s);
        let now = [row.height_m(), row.ground_speed_m_s(), row.tilt_rad()];
        let most = self.most.get_or_insert(now);
        most.iter_mut().zip(now).for_each(|(most, now)| *most = most.max(now));
        self.flat = self.flat.or_else(|| Flat::of(&row, self.hover_voltage_share));
        self.last = Some(row);
    }

    /// `None` without a row.
    fn summary(self) -> Option<Summary> {
        let [highest_m, fastest_m_s, tilt_max_rad] = self.most?;
        Some(Summary {
            rows: self.rows,
            last: self.last?,
            highest_m,
            fastest_m_s,
            tilt_max_deg: tilt_max_rad.to_degrees(),
            impact_m_s: self.impact_m_s,
            flat: self.flat,
        })
    }
}

impl Summary {
    fn json(&self, craft: &str, flight: &Flight, findings: &[Finding]) -> Value {
        json!({
            "craft": craft,
            "flight": flight.name,
            "duration_s": flight.duration_s,
            "rows": self.rows,
            "highest_m": self.highest_m,
            "fastest_m_s": self.fastest_m_s,
            "tilt_max_deg": self.tilt_max_deg,
            "impact_m_s": self.impact_m_s,
            "battery_flat": self.flat,
            "expectations": findings,
            "end": {
                "t_s": self.last.t_s,
                "position_m": self.last.position_m,
                "velocity_m_s": self.last.velocity_m_s,
                "attitude": self.last.attitude,
                "rate_rad_s": self.last.rate_rad_s,
            },
        })
    }

    fn text(&self, craft: &str, flight: &Flight) -> String {
        let [north, east, down] = self.last.position_m;
        let [roll, pitch, yaw] = self.last.euler_rad().map(f64::to_degrees);
        format!(
            "{craft}: {flight}\n\
             \x20 flown         {:.2} s, {} rows\n\
             \x20 highest       {:.2} m\n\
             \x20 fastest       {:.2} m/s over ground\n\
             \x20 largest tilt  {:.1} deg\n\
             \x20 touch-down    {}\n\
             {faults}{flat}\
             \x20 ends at       north {north:.2} m, east {east:.2} m, height {:.2} m\n\
             \x20 attitude      roll {roll:.1}, pitch {pitch:.1}, yaw {yaw:.1} deg\n",
            self.last.t_s,
            self.rows,
            self.highest_m,
            self.fastest_m_s,
            self.tilt_max_deg,
            touch_down(self.impact_m_s),
            -down,
            flight = flight.name,
            faults = faults(&flight.faults, self.last.t_s),
            flat = self.flat.as_ref().map(Flat::line).unwrap_or_default(),
        )
    }
}

/// Each fault that struck, on a line.
fn faults(faults: &[Fault], flown_s: f64) -> String {
    let line = |fault: &Fault| format!("  fault         at {:.2} s: {}\n", fault.at_s, fault.kind);
    faults.iter().filter(|fault| fault.at_s <= flown_s).map(line).collect()
}

fn touch_down(impact_m_s: f64) -> String {
    if impact_m_s > IMPACT_MAX_M_S {
        format!("CRASH at {impact_m_s:.1} m/s")
    } else if impact_m_s > 0.0 {
        format!("at {impact_m_s:.2} m/s")
    } else {
        "none".to_owned()
    }
}
