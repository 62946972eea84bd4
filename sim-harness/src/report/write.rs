//! Writes the report's files. Each appears whole under its name or not at all.

use std::fs::{self, File};
use std::io::{BufRead, BufReader, Write};
use std::path::Path;

use serde_json::Value;

use super::{html, json};
use crate::craft::Craft;
use crate::recording::columns;
use crate::verdict::Preflight;
use crate::whole_file::{WriteError, write_whole};

const VERDICT: &str = "verdict.json";
const PAGE: &str = "report.html";
const FLIGHTS: &str = "flights";

/// Writes `report.html`, `verdict.json` and `flights/<id>.csv` into `dir`, which is created if missing.
///
/// Flights of an earlier run that this one has not flown are removed: those that the earlier
/// `verdict.json` lists and that begin as our recordings do. Other files are left alone. The verdict is
/// written last, so it never speaks of files that are not there.
///
/// # Errors
/// The first file or folder that could not be written or removed; no half-written file is left.
pub fn write_all(dir: &Path, preflight: &Preflight, craft: &Craft) -> Result<(), WriteError> {
    let flights = dir.join(FLIGHTS);
    fs::create_dir_all(&flights).map_err(|source| WriteError {
        action: "create the folder",
        path: flights.clone(),
        source,
    })?;
    // Two runs into one folder write one after the other, so that all its files are of one run. Best effort: some file
    // systems have no locks. The system lifts that of a process that ends.
    let folder = File::open(dir).ok();
    let _locked = folder.as_ref().map(File::lock);
    clear_earlier(dir, preflight)?;
    for flight in &preflight.flights {
        write_whole(&flights.join(format!("{}.csv", flight.id)), |out| flight.recording.write_csv(out))?;
    }
    write_whole(&dir.join(PAGE), |out| out.write_all(html(preflight, craft).as_bytes()))?;
    write_whole(&dir.join(VERDICT), |out| {
        serde_json::to_writer_pretty(&mut *out, &json(preflight))?;
        out.write_all(b"\n")
    })
}

fn clear_earlier(dir: &Path, preflight: &Preflight) -> Result<(), WriteError> {
    let Ok(earlier) = fs::read(dir.join(VERDICT)) else { return Ok(()) };
    let Ok(earlier) = serde_json::from_slice::<Value>(&earlier) else { return Ok(()) };
    let ids = earlier["flights"].as_array().into_iter().flatten().filter_map(|flight| flight["id"].as_str());
    for id in ids.filter(|id| is_plain(id) && preflight.flights.iter().all(|flight| flight.id != *id)) {
        let path = dir.join(FLIGHTS).join(format!("{id}.csv"));
        if is_recording(&path) {
            fs::remove_file(&path).map_err(|source| WriteError { action: "remove", path: path.clone(), source })?;
        }
    }
    Ok(())
}

/// A name that stays in its folder.
fn is_plain(id: &str) -> bool {
    !id.is_empty() && id.chars().all(|c| c.is_ascii_alphanumeric() || c == '-' || c == '_')
}

/// Whether a file begins with the columns of our recordings.
fn is_recording(path: &Path) -> bool {
    // Those before the first rotor's, which are the same for every craft.
    let ours: Vec<String> = columns(0).into_iter().take_while(|name| !name.starts_with("est_")).collect();
    let mut first = String::new();
    let Ok(file) = File::open(path) else { return false };
    BufReader::new(file).read_line(&mut first).is_ok() && first.starts_with(&ours.join(","))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture;

    fn names(dir: &Path) -> Vec<String> {
        let mut names: Vec<String> =
            fs::read_dir(dir).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    #[test]
    fn waits_with_its_files_when_another_run_is_writing_into_the_folder() {
        /// Without the lock everything is written in a small part of this.
        const WAIT: std::time::Duration = std::time::Duration::from_millis(500);
        let dir = tempfile::tempdir().unwrap();
        let (preflight, craft) = fixture::unfit();
        let other_run = File::open(dir.path()).unwrap();
        other_run.lock().unwrap();
        std::thread::scope(|scope| {
            let run = scope.spawn(|| write_all(dir.path(), &preflight, &craft));
            std::thread::sleep(WAIT);
            let written = names(&dir.path().join(FLIGHTS)).len() + usize::from(dir.path().join(PAGE).exists());
            other_run.unlock().unwrap();
            run.join().unwrap().unwrap();
            assert_eq!(written, 0);
        });
        assert!(dir.path().join(VERDICT).exists());
    }

    #[test]
    fn writes_every_file_whole_when_the_folder_is_new() {
        let dir = tempfile::tempdir().unwrap();
        let out = dir.path().join("deep/report");
        let (preflight, craft) = fixture::unfit();
        write_all(&out, &preflight, &craft).unwrap();
        assert_eq!(names(&out), ["flights", "report.html", "verdict.json"]);
        let flown: Vec<String> = names(&out.join("flights"));
        let mut wanted: Vec<String> = preflight.flights.iter().map(|flight| format!("{}.csv", flight.id)).collect();
        wanted.sort();
        assert_eq!(flown, wanted);
        let verdict: Value = serde_json::from_slice(&fs::read(out.join("verdict.json")).unwrap()).unwrap();
        assert_eq!(verdict["fit"], false);
        let csv = fs::read_to_string(out.join("flights/hover.csv")).unwrap();
        assert_eq!(csv.lines().count(), 1 + preflight.flights[0].recording.rows.len());
    }

    #[test]
    fn clears_its_own_earlier_flights_and_no_other_file() {
        let dir = tempfile::tempdir().unwrap();
        let (mut preflight, craft) = fixture::fit();
        write_all(dir.path(), &preflight, &craft).unwrap();
        let flights = dir.path().join("flights");
        fs::copy(flights.join("circle.csv"), flights.join("my copy.csv")).unwrap();
        fs::write(flights.join("climb.csv"), "a,b\n1,2\n").unwrap();
        preflight.flights.retain(|flight| flight.id == "hover");
        write_all(dir.path(), &preflight, &craft).unwrap();
        assert_eq!(names(&flights), ["climb.csv", "hover.csv", "my copy.csv"]);
    }

    #[test]
    fn removes_nothing_outside_when_the_earlier_verdict_names_a_path() {
        let dir = tempfile::tempdir().unwrap();
        let (preflight, craft) = fixture::fit();
        write_all(dir.path(), &preflight, &craft).unwrap();
        let outside = dir.path().join("kept.csv");
        fs::copy(dir.path().join("flights/hover.csv"), &outside).unwrap();
        fs::write(dir.path().join("verdict.json"), r#"{"flights":[{"id":"../kept"},{"id":""},{"id":3}]}"#).unwrap();
        write_all(dir.path(), &preflight, &craft).unwrap();
        assert!(outside.exists());
    }

    #[test]
    fn names_the_path_and_leaves_no_part_when_a_file_cannot_be_written() {
        let dir = tempfile::tempdir().unwrap();
        fs::create_dir_all(dir.path().join("report.html/in the way")).unwrap();
        let (preflight, craft) = fixture::fit();
        let error = write_all(dir.path(), &preflight, &craft).unwrap_err();
        assert_eq!(error.path, dir.path().join("report.html"));
        assert!(error.to_string().contains("report.html: cannot write"));
        assert_eq!(names(dir.path()), ["flights", "report.html"]);
    }
}
