//! The part of the maiden-flight check that varies the craft.

use super::answer::Answer;
use super::campaign::{Campaign, CampaignError, Shard};
use super::safety::{CALM_MAX_DEG_S, HEIGHT_OFF_MAX_M, LEAN_OFF_MAX_DEG, TILT_BEYOND_MAX_DEG};
use crate::arrival::IMPACT_MAX_M_S;
use crate::craft::{Craft, Gains};
use crate::recording::Recording;
use crate::simulation::Diverged;
use crate::verdict::{Check, Limit};

/// Varied crafts flown for the verdict. If all hold, the share of such crafts that do is above 0.91 with
/// 95 % confidence (Wilson interval, its lower end n/(n + z²)).
pub const FLIGHTS_JUDGED: u64 = 40;
/// Lower end of the 95 % interval of the pass rate. Of 40 flights, none may fall short: with one that does
/// it is 0.87.
pub const PASS_RATE_MIN: f64 = 0.9;

/// The same crafts each time.
const SEED: u64 = 1;

/// What was found, and the recording of the flight that came out worst.
pub struct Judged {
    /// Checks with an id `dispersed.*`.
    pub checks: Vec<Check>,
    /// All that was counted.
    pub answer: Answer,
    /// The worst flight; that of the craft as its file has it when the worst could not be computed.
    pub recording: Result<Recording, Diverged>,
}

/// Flies varied crafts round and holds them to safety. `progress` is called after each flight.
///
/// # Errors
/// When the craft as its file has it cannot be flown or diverges, or no craft that can exist was drawn.
pub fn judge(craft: &Craft, flights: u64, progress: &(dyn Fn() + Sync)) -> Result<Judged, CampaignError> {
    let campaign = Campaign::new(craft, None)?;
    let answer = campaign.run(flights, SEED, Shard::WHOLE, progress)?;
    let worst = answer.worst.first().map_or(1, |worst| worst.index);
    let recording = campaign.fly_one(SEED, worst)?.recording.or_else(|_| campaign.fly_nominal().0);
    let most = |id: &str, name: &str, title: &str, unit, limit: f64| {
        let value = answer.check(name).and_then(|check| check.worst_value).unwrap_or(f64::NAN);
        Check::new(id, title, value, unit, Limit::at_most(limit), "our choice; the worst of the varied crafts")
    };
    let mend = || {
        let worst =
            answer.worst.first().map_or_else(String::new, |worst| format!("flight {}: {}", worst.index, worst.reason));
        format!(
            "Measure the craft better and narrow [dispersion]{}; the worst is {worst}.",
            if craft.gains == Gains::default() { "" } else { ", or take [gains] out" }
        )
    };
    let checks = vec![
        Check::new(
            "dispersed.pass_rate",
            "Pass rate of varied crafts, low end of its 95 % interval",
            answer.interval95[0],
            "",
            Limit::at_least(PASS_RATE_MIN),
            "Wilson interval; the limit is our choice: none of 40 may fall short",
        )
        .or_else(mend),
        most("dispersed.attitude", "attitude", "Varied crafts: tilt beyond what is asked", "deg", TILT_BEYOND_MAX_DEG),
        most("dispersed.lean", "lean", "Varied crafts: lean off what is asked, once settled", "deg", LEAN_OFF_MAX_DEG),
        most(
            "dispersed.calm",
            "calm",
            "Varied crafts: roll and pitch rate at the end of a leg",
            "deg/s",
            CALM_MAX_DEG_S,
        ),
        most("dispersed.height", "height", "Varied crafts: height off the way asked for", "m", HEIGHT_OFF_MAX_M),
        most("dispersed.ground", "ground", "Varied crafts: speed on arrival at the ground", "m/s", IMPACT_MAX_M_S),
    ];
    Ok(Judged { checks, answer, recording })
}
