//! A hover with the mass not quite where the craft file says: the attitude must hold all the same.
//!
//! The flying code knows only the file. Statics: with the centre of mass d ahead of where it is believed
//! to be, a level hover needs the pitch torque m·g·d about the believed place, and nothing else.

use super::{LEVEL, Maiden, Site, largest, leg, mean};
use crate::craft::Rotor;
use crate::recording::Row;
use crate::script::Vertical;
use crate::verdict::{Check, Limit};

const HEIGHT_M: f64 = 10.0;
/// How far off, in mean arms, forward and right each.
const OFFSET_ARMS: f64 = 0.03;
const END_S: f64 = 12.0;
const JUDGED_FROM_S: f64 = 10.0;
/// The torque balance stands as soon as the craft has stopped turning, and before it has drifted far: the rotors' drag turns it then.
const BALANCED_S: (f64, f64) = (3.0, 5.0);

pub(super) fn off_centre(site: &Site<'_>) -> Maiden {
    let believed_m = site.craft.body.center_of_mass_m;
    let arm = |position_m: [f64; 3]| (position_m[0] - believed_m[0]).hypot(position_m[1] - believed_m[1]);
    let arms: f64 = site.craft.rotors.iter().map(|rotor| arm(rotor.position_m)).sum();
    let offset_m = OFFSET_ARMS * arms / site.craft.rotors.len() as f64;
    let mut real = site.craft.clone();
    real.body.center_of_mass_m[0] += offset_m;
    real.body.center_of_mass_m[1] += offset_m;

    let level = site.level_within(1.0, END_S);
    let expected_nm = site.weight_n() * offset_m;
    let upright = site.craft.is_upright();
    // A craft that leans drifts, and its rotors' drag acts above or below the centre of mass.
    let drift_m_s = site.world.gravity_m_s2 * site.aligned().lean_all_rad() * BALANCED_S.1;
    let above_m = |rotor: &Rotor| (rotor.position_m[2] - believed_m[2]).abs();
    let drag_nm: f64 =
        site.craft.rotors.iter().map(|rotor| rotor.in_moving_air.drag_n_per_m_s * drift_m_s * above_m(rotor)).sum();
    let off_share = 0.05 + drag_nm / expected_nm;
    let ahead_m: Vec<f64> = site.craft.rotors.iter().map(|rotor| rotor.position_m[0] - believed_m[0]).collect();
    let pitch_nm = move |row: &Row| ahead_m.iter().zip(&row.rotor_n).map(|(x, n)| x * n).sum::<f64>();
    Maiden {
        id: "off-centre",
        title: "Hover with the mass off centre",
        asked: format!(
            "Hold level at {HEIGHT_M} m with the mass {:.0} mm ahead and to the right of where the file says.",
            1000.0 * offset_m
        ),
        flight: site.flight("off centre", HEIGHT_M, vec![leg("hover", END_S, Vertical::Height(HEIGHT_M), LEVEL)]),
        real: Some(real),
        judge: Box::new(move |flown| {
            let mut checks = vec![
                Check::new(
                    "off-centre.level",
                    "Tilt that is left",
                    largest(flown, JUDGED_FROM_S, END_S, Row::tilt_rad).to_degrees(),
                    "deg",
                    level,
                    "the attitude asked for, and the lean that alignment leaves; one degree more is our choice",
                )
                .or_else(|| "Raise the angle gains or the rate loop's i in [gains], or leave them out.".into()),
                Check::new(
                    "off-centre.height",
                    "Height, most off",
                    largest(flown, 0.0, END_S, |row| (row.height_m() - HEIGHT_M).abs()),
                    "m",
                    Limit::at_most(0.5),
                    "our choice",
                ),
            ];
            if upright {
                checks.push(Check::new(
                    "off-centre.torque",
                    "Pitch torque of the rotors / (weight x offset)",
                    mean(flown, BALANCED_S.0, BALANCED_S.1, &pitch_nm) / expected_nm,
                    "",
                    Limit::between(1.0 - off_share, 1.0 + off_share),
                    "statics: torque = weight x offset; 0.05 is our choice, the drag of leaning rotors comes on top",
                ));
            }
            checks
        }),
    }
}
