//! Mass, centre of mass, inertia and drag against the size of the frame.

use super::Usual;
use super::figure::Figure;
use super::power::{diameter_m, full_thrust_n};
use super::relation::Relation;
use super::rotors::median;
use super::shape::Shape;
use crate::craft::{Craft, Rotor};

const GYRATION: &str = "scaling: a tenth to six tenths of the mass at the arms' ends, the rest a body of up to half the \
                        arm; our choice of margin";
const PLANAR: &str =
    "J_zz = J_xx + J_yy for a flat body and less for any other; the lower end, a body as tall as wide, is our choice";
const PLACE: &str = "common practice, no source: the mass hangs between the rotors; the margin is our choice";
const SIZE: &str =
    "scaling: mass goes with the arm to the power of 2.6 from palm-sized crafts to lifters; from memory, no source";
const JOINT: &str =
    "scaling: the two ratios' bands together, which crafts reach on one side only at a time; our choice";
const DRAG: &str = "scaling: bluff bodies have a drag coefficient near 1, and a frame's area is a share of its arm squared; our choice of margin";

/// Mass of a typical craft with an arm of one metre, and the power of the arm it goes with.
const MASS_AT_A_METRE_KG: f64 = 60.0;
const MASS_POWER: f64 = 2.6;

pub(super) fn relations(craft: &Craft, shape: &Shape, gravity_m_s2: f64) -> Vec<Relation> {
    [inertia(craft, shape), center_of_mass(craft, shape), together(craft, shape, gravity_m_s2), size(craft, shape)]
        .concat()
}

fn inertia(craft: &Craft, shape: &Shape) -> Vec<Relation> {
    let [[xx, ..], [_, yy, _], [.., zz]] = craft.body.inertia_kg_m2;
    let [roll_m, pitch_m] = shape.reach_m;
    let gyration = |id, words, figure, moment: f64, reach_m: f64, typical, max| Relation {
        id,
        words,
        figure,
        rotor: None,
        power: 0.5,
        ratio: (moment / craft.body.mass_kg).sqrt() / reach_m,
        typical,
        usual: Usual { min: if max > 0.9 { 0.24 } else { 0.19 }, max },
        source: GYRATION,
    };
    vec![
        gyration("roll_gyration", "radius of gyration about x over the arm", Figure::InertiaXx, xx, roll_m, 0.4, 0.8),
        gyration("pitch_gyration", "radius of gyration about y over the arm", Figure::InertiaYy, yy, pitch_m, 0.4, 0.8),
        gyration(
            "yaw_gyration",
            "radius of gyration about z over the arm",
            Figure::InertiaZz,
            zz,
            shape.arm_m,
            0.53,
            1.0,
        ),
        Relation {
            id: "flatness",
            words: "J_zz over J_xx + J_yy",
            figure: Figure::InertiaZz,
            rotor: None,
            power: 1.0,
            ratio: zz / (xx + yy),
            typical: 0.88,
            usual: Usual { min: 0.48, max: 1.002 },
            source: PLANAR,
        },
        Relation {
            id: "length_to_width",
            words: "radius of gyration about y over that about x, each over the arm",
            figure: Figure::InertiaYy,
            rotor: None,
            power: 0.5,
            ratio: (yy / xx).sqrt() * roll_m / pitch_m,
            typical: 1.0,
            usual: Usual { min: 0.4, max: 2.5 },
            source: "scaling: both radii within their bands; our choice",
        },
    ]
}

fn center_of_mass(craft: &Craft, shape: &Shape) -> Vec<Relation> {
    let [x, y, z] = std::array::from_fn(|k| craft.body.center_of_mass_m[k] - shape.center_m[k]);
    let place = |id, words, off_m: f64, max| Relation {
        id,
        words,
        figure: Figure::CenterOfMass,
        rotor: None,
        power: 1.0,
        ratio: off_m,
        typical: 0.1 * max,
        usual: Usual { min: 0.0, max },
        source: PLACE,
    };
    vec![
        place(
            "center_in_plan",
            "centre of mass beside the middle of the rotors, over the arm",
            x.hypot(y) / shape.arm_m,
            0.4,
        ),
        place(
            "center_in_height",
            "centre of mass above or below the rotors, over the arm",
            (z.abs() - shape.half_height_m).max(0.0) / shape.arm_m,
            1.0,
        ),
    ]
}

/// Slips by a factor of two stay within each band and leave the bands taken together.
fn together(craft: &Craft, shape: &Shape, gravity_m_s2: f64) -> Vec<Relation> {
    let [[xx, ..], [_, yy, _], _] = craft.body.inertia_kg_m2;
    let [roll_m, pitch_m] = shape.reach_m;
    let square = 0.5 * (xx / roll_m.powi(2) + yy / pitch_m.powi(2)) / craft.body.mass_kg;
    let lift = full_thrust_n(craft) / (craft.body.mass_kg * gravity_m_s2);
    let mut found = vec![Relation {
        id: "lift_and_gyration",
        words: "thrust over weight times the square of the radius of gyration over the arm",
        figure: Figure::Mass,
        rotor: None,
        power: -2.0,
        ratio: lift * square,
        typical: 0.4,
        usual: Usual { min: 0.12, max: 1.5 },
        source: JOINT,
    }];
    let upper = shape.upper(craft);
    let disc_m = median(upper.iter().filter_map(|rotor| diameter_m(rotor)));
    let known = upper.iter().all(|rotor| rotor.in_moving_air.diameter_m.is_some());
    if let (Some(disc_m), Some(spacing_m)) = (disc_m, shape.spacing_m) {
        found.push(Relation {
            id: "gyration_and_discs",
            words: "radius of gyration over the arm times disc over the spacing of the rotors",
            figure: Figure::Arm,
            rotor: None,
            power: -2.0,
            ratio: square.sqrt() * disc_m / spacing_m,
            typical: 0.3,
            usual: Usual { min: 0.12, max: if known { 0.9 } else { 1.4 } },
            source: JOINT,
        });
    }
    found
}

fn size(craft: &Craft, shape: &Shape) -> Vec<Relation> {
    let area = shape.arm_m * shape.arm_m;
    let typical_kg = MASS_AT_A_METRE_KG * shape.arm_m.powf(MASS_POWER);
    let mut found = vec![Relation {
        id: "mass_for_size",
        words: "mass over that of a typical craft with this arm",
        figure: Figure::Mass,
        rotor: None,
        power: 1.0,
        ratio: craft.body.mass_kg / typical_kg,
        typical: 1.0,
        usual: Usual { min: 0.02, max: 40.0 },
        source: SIZE,
    }];
    let areas = craft.body.drag_area_m2.into_iter().filter(|area| *area > 0.0);
    if let Some(largest) = areas.max_by(f64::total_cmp) {
        found.push(Relation {
            id: "drag_area",
            words: "largest drag area over the arm squared",
            figure: Figure::DragArea,
            rotor: None,
            power: 1.0,
            ratio: largest / area,
            typical: 0.5,
            usual: Usual { min: 0.01, max: 6.0 },
            source: DRAG,
        });
    }
    if let Some(ground) = &craft.ground_effect {
        found.push(Relation {
            id: "standing_height",
            words: "height of the datum while the craft stands, over the arm",
            figure: Figure::DatumHeight,
            rotor: None,
            power: 1.0,
            ratio: ground.datum_height_m / shape.arm_m,
            typical: 0.6,
            usual: Usual { min: 0.0, max: 5.0 },
            source: "common practice, no source; the margin is our choice",
        });
    }
    found
}

/// The file's figure of one rotor, or what stands for all.
pub(super) fn largest(craft: &Craft, figure: impl Fn(&Rotor) -> f64) -> f64 {
    craft.rotors.iter().map(figure).fold(0.0, f64::max)
}
