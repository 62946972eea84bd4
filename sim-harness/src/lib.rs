//! Flies the controller and mixer against a model of the craft and says whether it is fit to fly.
pub mod allocations;
pub mod attitude;
pub mod craft;
pub mod demo;
pub mod envelope;
pub mod file;
pub mod onboard;
pub mod pilot;
pub mod plant;
pub mod preflight;
pub mod recording;
pub mod report;
pub mod script;
pub mod simulation;
pub mod verdict;
pub mod whole_file;
