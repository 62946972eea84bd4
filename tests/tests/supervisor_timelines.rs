//! Whole stories on a time axis, kept as text tables beside this file; `BLESS=1` writes them anew.

use std::fmt::Write;

use evenkeel_controller::{Decision, SupervisorConfig};
use evenkeel_tests::document::settle_file;

#[path = "supervisor/bench.rs"]
mod bench;

use bench::{Bench, HOVER_N, PERIOD_US, World};

/// At this time, in words, this changes.
type Turn = (f64, &'static str, fn(&mut World));

const ARM: Turn = (1.0, "arm request on", |w| w.arm_request = true);
const TAKE_OFF: Turn = (2.0, "thrust up, off the ground", |w| {
    w.thrust_share = 1.0;
    w.on_ground = Some(false);
});

/// Runs a story and compares it with the one kept.
fn tell(name: &str, turns: &[Turn], until_s: f64) {
    let mut bench = Bench::new(&SupervisorConfig::usual(1.0e-6 * PERIOD_US as f64, HOVER_N));
    let mut turns = turns.iter().peekable();
    let mut table = format!(
        "{:>8}  {:<32}  {:<21}  {:<14}  {:<25}  {}\n",
        "t_s", "given", "event", "state", "the loops may", "reasons"
    );
    let mut last: Option<Decision<f32>> = None;
    while (bench.now_us as f64) < 1.0e6 * until_s {
        let mut given = Vec::new();
        let next_us = bench.now_us + bench.world.period_us;
        while let Some((_, words, turn)) = turns.next_if(|(at_s, _, _)| at_s * 1.0e6 <= next_us as f64) {
            given.push(*words);
            turn(&mut bench.world);
        }
        let decision = bench.step();
        let as_before = last.is_some_and(|last| (last.hold, last.reasons) == (decision.hold, decision.reasons));
        if !(as_before && given.is_empty() && decision.event.is_none()) {
            let held = if decision.hold { ", held" } else { "" };
            let row = format!(
                "{:>8.3}  {:<32}  {:<21}  {:<14}  {:<25}  {}",
                bench.now_us as f64 * 1.0e-6,
                given.join("; "),
                decision.event.map_or(String::new(), |event| event.to_string()),
                decision.state,
                format!("{}{held}", decision.permission),
                decision.reasons
            );
            writeln!(table, "{}", row.trim_end()).unwrap();
        }
        last = Some(decision);
    }
    assert!(turns.next().is_none(), "{name}: the story ends before its last turn");
    settle_file(&format!("tests/tests/supervisor/{name}.txt"), &table);
}

#[test]
fn normal_flight_ends_on_the_ground_and_disarmed() {
    let turns: &[Turn] = &[
        ARM,
        TAKE_OFF,
        (5.0, "thrust low for a dive", |w| w.thrust_share = 0.1),
        (6.0, "thrust up", |w| w.thrust_share = 1.1),
        (8.0, "on the ground", |w| w.on_ground = Some(true)),
        (9.0, "thrust low", |w| w.thrust_share = 0.0),
        (11.0, "arm request off", |w| w.arm_request = false),
    ];
    tell("normal_flight", turns, 12.0);
}

#[test]
fn arming_is_refused_with_every_reason_until_all_are_gone() {
    let turns: &[Turn] = &[
        (0.0, "on at power-up", |w| w.arm_request = true),
        (1.0, "arm request off", |w| w.arm_request = false),
        (2.0, "all wrong", |w| {
            w.configuration_valid = false;
            w.attitude_known = false;
            w.disarm = true;
            w.thrust_share = 0.5;
            w.tilt_deg = 20.0;
            w.rate_rad_s = 0.5;
            w.sensors_finite = false;
            w.battery_share = Some(0.1);
            w.rotor_stopped = true;
            w.period_us = 2 * PERIOD_US;
        }),
        (3.0, "arm request on", |w| w.arm_request = true),
        (4.0, "all well", |w| *w = World { arm_request: true, ..bench::SOUND }),
        (5.0, "arm request off", |w| w.arm_request = false),
        (6.0, "arm request on", |w| w.arm_request = true),
        (6.5, "left alone", |_| ()),
    ];
    tell("refused_arming", turns, 67.0);
}

#[test]
fn link_that_returns_gives_the_craft_back_to_the_pilot() {
    let turns: &[Turn] = &[
        ARM,
        TAKE_OFF,
        (4.0, "link silent", |w| w.link = false),
        (4.4, "link back in time", |w| w.link = true),
        (6.0, "link silent", |w| w.link = false),
        (7.0, "receiver shows request off", |w| w.arm_request = false),
        (8.0, "link back, thrust low", |w| {
            (w.link, w.arm_request) = (true, true);
            w.thrust_share = 0.0;
        }),
        (10.0, "thrust near the weight", |w| w.thrust_share = 0.8),
        (12.0, "link silent", |w| w.link = false),
        (14.0, "link back", |w| w.link = true),
        (14.2, "arm request off", |w| w.arm_request = false),
    ];
    tell("link_loss_and_return", turns, 16.0);
}

#[test]
fn lost_link_ends_at_touch_down_and_is_not_armed_by_the_old_request() {
    let turns: &[Turn] = &[
        ARM,
        TAKE_OFF,
        (4.0, "link silent", |w| w.link = false),
        (9.0, "on the ground, a bounce", |w| w.on_ground = Some(true)),
        (9.2, "in the air", |w| w.on_ground = Some(false)),
        (9.5, "on the ground", |w| w.on_ground = Some(true)),
        (11.0, "receiver shows request off", |w| w.arm_request = false),
        (12.0, "link back, request still on", |w| {
            (w.link, w.arm_request) = (true, true);
            w.thrust_share = 0.0;
        }),
        (13.0, "arm request off", |w| w.arm_request = false),
        (14.0, "arm request on", |w| w.arm_request = true),
    ];
    tell("link_loss_to_touch_down", turns, 15.0);
}

#[test]
fn lost_link_ends_in_time_when_nothing_tells_of_the_ground() {
    let turns: &[Turn] =
        &[ARM, TAKE_OFF, (4.0, "link silent, ground unknown", |w| (w.link, w.on_ground) = (false, None))];
    tell("link_loss_to_time_limit", turns, 36.0);
}

#[test]
fn tilt_beyond_recovery_is_levelled_first_and_stopped_last() {
    let turns: &[Turn] = &[
        ARM,
        TAKE_OFF,
        (3.0, "upside down, a flip", |w| w.tilt_deg = 180.0),
        (3.8, "upright", |w| w.tilt_deg = 10.0),
        (5.0, "upside down", |w| w.tilt_deg = 180.0),
        (6.5, "a sample that is no number", |w| (w.sensors_finite, w.tilt_deg) = (false, 0.0)),
        (6.501, "numbers again", |w| (w.sensors_finite, w.tilt_deg) = (true, 180.0)),
        (9.0, "upright", |w| w.tilt_deg = 0.0),
        (9.5, "arm request off", |w| w.arm_request = false),
    ];
    tell("tilt_beyond_recovery", turns, 10.0);
}

#[test]
fn craft_that_rolled_over_on_the_ground_is_stopped() {
    let turns: &[Turn] = &[
        ARM,
        (2.0, "thrust up, and over it goes", |w| (w.thrust_share, w.tilt_deg) = (0.6, 120.0)),
        (4.0, "link silent", |w| w.link = false),
        (5.0, "link back, thrust low", |w| (w.link, w.thrust_share) = (true, 0.0)),
        (6.0, "disarm action", |w| w.disarm = true),
    ];
    tell("rolled_over_on_the_ground", turns, 7.0);
}

#[test]
fn stale_sensors_are_bridged_then_flown_blind_then_given_up() {
    let turns: &[Turn] = &[
        ARM,
        TAKE_OFF,
        (3.0, "sensors silent", |w| w.sensors = false),
        (3.03, "sensors back in time", |w| w.sensors = true),
        (4.0, "values are no numbers", |w| w.sensors_finite = false),
        (4.3, "numbers again", |w| w.sensors_finite = true),
        (6.0, "sensors silent", |w| w.sensors = false),
        (7.0, "sensors back", |w| w.sensors = true),
        (8.0, "arm request off", |w| w.arm_request = false),
    ];
    tell("stale_sensors", turns, 9.0);
}

#[test]
fn overruns_are_borne_now_and_then_and_a_fault_as_a_habit() {
    let turns: &[Turn] = &[
        ARM,
        TAKE_OFF,
        (3.0, "late samples, a few", |w| w.period_us = 2 * PERIOD_US),
        (3.03, "in time", |w| w.period_us = PERIOD_US),
        (4.0, "late samples, a storm", |w| w.period_us = 2 * PERIOD_US),
        (4.1, "in time", |w| w.period_us = PERIOD_US),
        (6.0, "on the ground", |w| w.on_ground = Some(true)),
        (8.0, "arm request off, thrust low", |w| (w.arm_request, w.thrust_share) = (false, 0.0)),
        (9.0, "arm request on", |w| w.arm_request = true),
        (10.0, "thrust up", |w| (w.thrust_share, w.on_ground) = (1.0, Some(false))),
        (11.0, "one long gap", |w| w.period_us = 400 * PERIOD_US),
        (11.4, "in time", |w| w.period_us = PERIOD_US),
    ];
    tell("overrun_storm", turns, 12.0);
}

#[test]
fn disarming_in_flight_stops_the_motors_at_once() {
    let turns: &[Turn] = &[
        ARM,
        TAKE_OFF,
        (3.0, "disarm action, all else wrong", |w| {
            w.disarm = true;
            (w.link, w.sensors, w.tilt_deg) = (false, false, 180.0);
        }),
        (3.001, "disarm action over, all well", |w| *w = World { arm_request: true, ..bench::SOUND }),
        (4.0, "arm request off", |w| w.arm_request = false),
        (5.0, "arm request on", |w| w.arm_request = true),
    ];
    tell("disarm_in_flight", turns, 6.0);
}

#[test]
fn stopped_rotor_is_flown_to_the_ground_and_keeps_the_craft_from_arming() {
    let turns: &[Turn] = &[
        (0.5, "a rotor reported stopped", |w| w.rotor_stopped = true),
        (1.0, "arm request on", |w| w.arm_request = true),
        (1.5, "mended", |w| w.rotor_stopped = false),
        (2.0, "arm request off", |w| w.arm_request = false),
        (2.5, "arm request on", |w| w.arm_request = true),
        (3.0, "thrust up, off the ground", |w| (w.thrust_share, w.on_ground) = (1.0, Some(false))),
        (4.0, "a rotor stops", |w| w.rotor_stopped = true),
        (5.0, "link silent", |w| w.link = false),
        (6.0, "link back", |w| w.link = true),
        (8.0, "on the ground, thrust low", |w| (w.thrust_share, w.on_ground) = (0.0, Some(true))),
        (9.0, "arm request off", |w| w.arm_request = false),
        (10.0, "mended", |w| w.rotor_stopped = false),
        (11.0, "arm request on", |w| w.arm_request = true),
        (12.0, "a rotor stops", |w| w.rotor_stopped = true),
    ];
    tell("stopped_rotor", turns, 13.0);
}
