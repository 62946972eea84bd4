//! The stages by themselves, at the pace of the steps.

use super::*;
use crate::reference::ReferenceConfig;
use crate::shaping::ShaperConfig;
use std::vec::Vec;

const STEP_S: f64 = 1.0e-3;
const LEVEL: Motion<f64> = Motion::LEVEL;

fn config(rotor_lag_s: f64) -> ReferenceConfig {
    ReferenceConfig {
        tilt: [ShaperConfig { slew_max: 4.0, acceleration_max: 80.0, gain_per_s: 12.0 }; 2],
        rate: [ShaperConfig { slew_max: 80.0, acceleration_max: 2000.0, gain_per_s: 30.0 }; 3],
        rotor_lag_s,
        tilt_max_rad: 0.6,
        rate_max_rad_s: [5.0, 5.0, 2.0],
    }
}

fn made(divider: u32) -> Reference<f64> {
    Reference::new(&config(0.03), STEP_S, divider).unwrap()
}

fn angles(roll_rad: f64, pitch_rad: f64, yaw_rate_rad_s: f64) -> Motion<f64> {
    Motion::Angles { roll_rad, pitch_rad, yaw_rate_rad_s }
}

fn rates(roll: f64, pitch: f64, yaw: f64) -> Motion<f64> {
    Motion::Rates(BodyAxes { roll, pitch, yaw })
}

/// A reference and its place between two runs, one call a step.
struct Paced {
    reference: Reference<f64>,
    state: ReferenceState<f64>,
    divider: u32,
    steps_to_run: u32,
}

impl Paced {
    fn new(reference: Reference<f64>, divider: u32) -> Self {
        Paced { reference, state: ReferenceState::default(), divider, steps_to_run: 0 }
    }

    /// What is followed, when the loop runs in this step.
    fn step(&mut self, attitude: Quaternion<f64>, motion: &Motion<f64>) -> Option<Followed<f64>> {
        let followed = (self.steps_to_run == 0).then(|| {
            self.steps_to_run = self.divider;
            self.reference.step(&mut self.state, attitude, BodyAxes::default(), motion)
        });
        if followed.is_none() {
            self.reference.prepare(&mut self.state, motion, self.steps_to_run);
        }
        self.steps_to_run -= 1;
        followed
    }

    fn runs(&mut self, count: usize, motion: &Motion<f64>) -> Vec<Followed<f64>> {
        let steps = count * self.divider as usize;
        (0..steps).filter_map(|_| self.step(Quaternion::IDENTITY, motion)).collect()
    }
}

#[test]
fn motion_is_the_same_however_its_stages_are_spread() {
    for motion in [angles(0.4, -0.3, 0.7), rates(2.0, -1.0, 0.5)] {
        for divider in 2..=9 {
            let whole = Reference::new(&config(0.03), STEP_S * f64::from(divider), 1).unwrap();
            let at_once = Paced::new(whole, 1).runs(60, &motion);
            assert_eq!(Paced::new(made(divider), divider).runs(60, &motion), at_once, "{divider}");
            assert_ne!(at_once[59].rate_rad_s, at_once[2].rate_rad_s, "something moves");
        }
    }
}

#[test]
fn no_step_works_out_more_than_its_share() {
    let place = |stage| match stage {
        Stage::BaseTilt => 0,
        Stage::BaseHeading | Stage::Demand => 1,
        Stage::Tilt => 2,
        Stage::Attitude => 3,
        Stage::Ready => 4,
    };
    for (divider, share) in [(1, 4), (2, 2), (3, 2), (4, 1), (5, 1), (8, 1)] {
        for (motion, without_base) in [(angles(0.4, -0.3, 0.7), 0), (rates(2.0, -1.0, 0.5), 1)] {
            let mut paced = Paced::new(made(divider), divider);
            let mut most = 0;
            for _ in 0..10 * divider {
                let before = place(paced.state.stage);
                let runs = paced.step(Quaternion::IDENTITY, &motion).is_some();
                // A run names the first stage of the next; all that was left is done.
                most = most.max(if runs { 4 } else { place(paced.state.stage) } - before);
            }
            let share = if divider == 1 { share - without_base } else { share };
            assert_eq!(most, share, "{divider} {motion:?}");
        }
    }
}

#[test]
fn demand_waits_for_its_stage_and_then_for_the_run() {
    // It waits for its stage, up to a period less one step, then for the run, three steps.
    for (divider, most) in [(1, 0), (2, 2), (4, 6), (6, 8)] {
        let mut longest = 0;
        for at in 40..40 + divider {
            let mut paced = Paced::new(made(divider), divider);
            let seen = (0..200).find(|step| {
                let motion = if *step >= at { angles(0.3, 0.0, 0.0) } else { LEVEL };
                let followed = paced.step(Quaternion::IDENTITY, &motion);
                followed.is_some_and(|followed| followed.acceleration_rad_s2.roll > 0.0)
            });
            longest = longest.max(seen.unwrap() - at);
        }
        assert_eq!(longest, most, "{divider}");
    }
}

/// Without a lag each run's angles, rates and accelerations are one point of one motion: the rate is the change of
/// the angle, the acceleration that of the rate, over a period of the angle loop.
#[test]
fn angle_rate_and_acceleration_belong_together_while_the_demand_jumps_in_every_step() {
    let (divider, period_s) = (4, 4.0 * STEP_S);
    let mut paced = Paced::new(Reference::new(&config(0.0), STEP_S, divider).unwrap(), divider);
    let mut last: Option<(f64, f64)> = None;
    let mut largest = 0.0_f64;
    for step in 0..400 {
        let motion = angles(0.5 * f64::from(step * 7 % 11 - 5) / 5.0, 0.0, 0.0);
        let Some(followed) = paced.step(Quaternion::IDENTITY, &motion) else { continue };
        let [roll, _] = tilt_of(followed.attitude.unwrap());
        let rate = followed.rate_rad_s.roll;
        if let Some((roll_before, rate_before)) = last {
            // Single-precision polynomials behind the angle.
            assert!((roll - roll_before - period_s * rate).abs() < 1.0e-6, "{step}: {roll} {rate}");
            let change = rate - rate_before - period_s * followed.acceleration_rad_s2.roll;
            assert!(change.abs() < 1.0e-12, "{step}: {change}");
        }
        last = Some((roll, rate));
        largest = largest.max(rate.abs());
    }
    assert!(largest > 0.3, "{largest}");
}

#[test]
fn change_of_behaviour_leaves_nothing_of_the_other() {
    let attitude = Quaternion::yaw(0.4) * Quaternion::roll(0.2);
    for between in 0..4 {
        let mut paced = Paced::new(made(4), 4);
        paced.runs(30, &rates(3.0, -2.0, 1.0));
        // The loop runs next; the demand changes when this many stages of what comes after are done.
        for _ in 0..=between {
            paced.step(Quaternion::IDENTITY, &rates(3.0, -2.0, 1.0));
        }
        let mut begun = None;
        while begun.is_none() {
            begun = paced.step(attitude, &angles(-0.3, 0.3, 0.5));
        }
        let begun = begun.unwrap();
        assert_eq!(begun.attitude, Some(attitude), "{between}");
        assert_eq!([begun.rate_rad_s, begun.acceleration_rad_s2, begun.expected_rad_s2], [BodyAxes::default(); 3]);
        let mut fresh = Paced::new(made(4), 4);
        assert_eq!(fresh.step(attitude, &angles(-0.3, 0.3, 0.5)), Some(begun));
        for _ in 0..40 {
            let motion = angles(-0.3, 0.3, 0.5);
            assert_eq!(paced.step(attitude, &motion), fresh.step(attitude, &motion), "{between}");
        }
    }
}

#[test]
fn behaviour_asked_for_between_two_runs_only_leaves_no_gap() {
    let (demand, other) = (angles(0.4, -0.3, 0.7), rates(1.0, 1.0, 1.0));
    let undisturbed = Paced::new(made(4), 4).runs(20, &demand);
    let mut paced = Paced::new(made(4), 4);
    let mut followed = Vec::new();
    for step in 0..80 {
        let motion = if step % 4 == 0 { demand } else { other };
        followed.extend(paced.step(Quaternion::IDENTITY, &motion));
    }
    assert_eq!(followed, undisturbed);
}

#[test]
fn reset_between_stages_begins_from_the_craft() {
    for between in 0..4 {
        let mut paced = Paced::new(made(4), 4);
        paced.runs(30, &angles(0.4, 0.2, 1.0));
        for _ in 0..=between {
            paced.step(Quaternion::IDENTITY, &angles(0.4, 0.2, 1.0));
        }
        paced.state.reset();
        assert_eq!(paced.state, ReferenceState::default());
        let attitude = Quaternion::pitch(-0.3);
        let turning = BodyAxes { roll: 0.1, pitch: -0.2, yaw: 0.3 };
        let begun = paced.reference.step(&mut paced.state, attitude, turning, &LEVEL);
        assert_eq!((begun.attitude, begun.rate_rad_s.yaw), (Some(attitude), 0.3), "{between}");
        let BodyAxes { roll, pitch, yaw } = begun.acceleration_rad_s2;
        let limit = config(0.0).tilt[0].acceleration_max;
        assert!((roll + 0.1 / STEP_S / 4.0).abs() < 1.0e-9 && roll.abs() < limit, "to a stand: {roll}");
        assert!((pitch - 0.2 / STEP_S / 4.0).abs() < 1.0e-9 && yaw == 0.0, "{pitch} {yaw}");
    }
}

/// The heading wanted and how far it is ahead of a nose that turns at its own rate, run by run, while `unmet_nm` of yaw torque is
/// missing in every step.
fn turned_short(nose_rad_s: f64, asked_rad_s: f64, unmet_nm: f64, runs: usize) -> (Paced, f64, Vec<f64>) {
    let mut paced = Paced::new(made(1), 1);
    let (mut nose_rad, mut leads) = (0.0, Vec::new());
    for _ in 0..runs {
        nose_rad += STEP_S * nose_rad_s;
        let rate = BodyAxes { yaw: nose_rad_s, ..BodyAxes::default() };
        let motion = angles(0.0, 0.0, asked_rad_s);
        let followed = paced.reference.step(&mut paced.state, Quaternion::yaw(nose_rad), rate, &motion);
        leads.push(followed.error.yaw);
        if unmet_nm != 0.0 {
            paced.state.yaw_fell_short(unmet_nm);
        }
    }
    (paced, nose_rad, leads)
}

#[test]
fn heading_stays_when_the_rotors_give_no_torque_for_its_turn() {
    for side in [1.0, -1.0] {
        let (_, _, leads) = turned_short(0.0, side, side * 0.1, 2000);
        // One run of the shaped turn at its slew limit is all that is let through, behind the rotors' lag.
        assert!(leads.iter().all(|lead| lead.abs() < 0.01), "{:?}", leads.last());
        let (_, _, leads) = turned_short(0.0, side, 0.0, 2000);
        assert!(side * leads[1999] > 0.4, "and runs ahead of a nose that sticks with nothing missing: {}", leads[1999]);
    }
}

#[test]
fn heading_turns_as_fast_as_the_nose_when_the_rotors_give_too_little_torque() {
    for side in [1.0, -1.0] {
        let (_, nose_rad, leads) = turned_short(side * 0.3, side, side * 0.1, 2000);
        assert!((nose_rad - side * 0.6).abs() < 1.0e-9);
        let (first, last) = (leads[200], leads[1999]);
        assert!((last - first).abs() < 0.02, "neither ahead nor behind: {first} {last}");
    }
}

#[test]
fn heading_comes_to_rest_at_once_when_the_sticks_let_go_of_a_turn_that_was_not_possible() {
    let (mut paced, _, _) = turned_short(0.0, 1.0, 0.1, 2000);
    let before = paced.state.heading;
    let after = paced.runs(2000, &LEVEL);
    let turned = AttitudeError::between(before, after[1999].attitude.unwrap()).yaw;
    assert!(turned.abs() < 0.03, "{turned}");
}

#[test]
fn heading_that_is_held_stays_when_the_nose_is_blown_away_and_torque_is_missing() {
    for unmet_nm in [0.1, -0.1] {
        let (paced, _, leads) = turned_short(-0.3, 0.0, unmet_nm, 1000);
        let held = AttitudeError::between(Quaternion::IDENTITY, paced.state.heading).yaw;
        // The first run follows the craft and brakes; then the heading is held.
        assert!(held.abs() < 0.03 && leads[999] > 0.25, "{held} {}", leads[999]);
    }
}

#[test]
fn turn_has_the_same_bits_when_torque_is_missing_against_its_sense_or_not_at_all() {
    let (_, _, without) = turned_short(0.2, 1.0, 0.0, 500);
    assert_eq!(turned_short(0.2, 1.0, -0.1, 500).2, without);
    assert_ne!(turned_short(0.2, 1.0, 0.1, 500).2, without);
}

#[test]
fn rates_are_asked_for_in_full_when_torque_is_missing() {
    let motion = rates(0.0, 0.0, 1.0);
    let mut paced = Paced::new(made(1), 1);
    let mut last = None;
    for _ in 0..1000 {
        last = paced.step(Quaternion::IDENTITY, &motion);
        paced.state.yaw_fell_short(0.1);
    }
    assert!((last.unwrap().rate_rad_s.yaw - 1.0).abs() < 1.0e-3);
}
