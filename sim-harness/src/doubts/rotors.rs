//! Thrust, torque, size, speed and lag of the rotors against each other and against weight and frame.

use std::f64::consts::TAU;

use super::Usual;
use super::figure::Figure;
use super::power::{diameter_m, figure_of_merit, full_thrust_n};
use super::relation::Relation;
use super::shape::Shape;
use crate::craft::{Craft, Rotor};
use crate::plant::{RATED_AIR_DENSITY_KG_M3, TYPICAL_THRUST_COEFFICIENT};

const LIFT: &str = "common practice, no source: 1 hovers, racing crafts reach 8";
const TORQUE: &str = "UIUC static data, read in a secondary transcription: torque over thrust is 0.061 to 0.112 of the \
                      diameter; 0.04 to 0.12 with margin";
const DISC: &str = "geometry: discs at one height do not overlap; 15 % of overlap and the lower end are our choice";
const DISC_FROM_TORQUE: &str = "geometry, with the diameter that torque over thrust tells to a factor of 1.7: UIUC static \
                                data, read in a secondary transcription";
const LOADING: &str =
    "common practice, no source: 25 N/m² for endurance to 400 N/m² for racing and pairs; margin of our choice";
const SPEED: &str = "common practice, no source: tips run at 40 m/s to near the speed of sound";
const COEFFICIENT: &str = "UIUC static data, read in a secondary transcription: C_T 0.099 to 0.140 for two blades; margin of our choice for more blades";
const MERIT: &str =
    "momentum theory: below 1; UIUC static data, read in a secondary transcription: 0.40 to 0.72; margin of our choice";
const LAG: &str = "scaling: 0.02 s + 0.12 s per metre of diameter; from memory, no source; a factor of three either way is our choice";
const FLOOR: &str = "common practice, no source: the slowest spin carries a small share of the weight";
const SPIN_INERTIA: &str = "scaling: a blade's inertia goes with the diameter to the power of 5; a factor of 60 either way for bells, from memory";

/// Torque over thrust as a share of the diameter of a typical propeller.
const TORQUE_SHARE: f64 = 0.064;

pub(super) fn relations(craft: &Craft, shape: Option<&Shape>, gravity_m_s2: f64) -> Vec<Relation> {
    let upper = shape.map_or_else(|| craft.rotors.iter().collect(), |shape| shape.upper(craft));
    [lift(craft, gravity_m_s2), discs(craft, shape, &upper, gravity_m_s2), speed(&upper), lag(craft)].concat()
}

fn lift(craft: &Craft, gravity_m_s2: f64) -> Vec<Relation> {
    let weight_n = craft.body.mass_kg * gravity_m_s2;
    let floor_n: f64 = craft.rotors.iter().map(|rotor| rotor.thrust_min_n).sum();
    let full_n: f64 = craft.rotors.iter().map(|rotor| rotor.thrust_max_n).sum();
    let floor = |id, words, ratio, max| Relation {
        id,
        words,
        figure: Figure::ThrustMin,
        rotor: None,
        power: 1.0,
        ratio,
        typical: 0.2 * max,
        usual: Usual { min: 0.0, max },
        source: FLOOR,
    };
    vec![
        Relation {
            id: "thrust_to_weight",
            words: "thrust over weight",
            figure: Figure::Thrust,
            rotor: None,
            power: 1.0,
            ratio: full_thrust_n(craft) / weight_n,
            typical: 2.4,
            usual: Usual { min: 1.0, max: 8.0 },
            source: LIFT,
        },
        floor("floor_to_weight", "least thrust over weight", floor_n / weight_n, 0.55),
        floor("floor_to_full", "least thrust over full thrust", floor_n / full_n, 0.3),
    ]
}

fn discs(craft: &Craft, shape: Option<&Shape>, upper: &[&Rotor], gravity_m_s2: f64) -> Vec<Relation> {
    let own_m = median(upper.iter().filter_map(|rotor| rotor.in_moving_air.diameter_m));
    let torque_m = median(upper.iter().map(|rotor| rotor.torque_per_thrust_m).filter(|torque| *torque > 0.0));
    let Some(size_m) = own_m.or(torque_m.map(|torque_m| torque_m / TORQUE_SHARE)) else { return Vec::new() };
    let (figure, size) = if own_m.is_some() { (Figure::Diameter, 1.0) } else { (Figure::Torque, 1.7) };
    let mut found = Vec::new();
    if let (Some(own_m), Some(torque_m)) = (own_m, torque_m) {
        found.push(Relation {
            id: "torque_to_diameter",
            words: "torque over thrust, over the diameter",
            figure: Figure::Torque,
            rotor: None,
            power: 1.0,
            ratio: torque_m / own_m,
            typical: 0.065,
            usual: Usual { min: 0.038, max: 0.126 },
            source: TORQUE,
        });
    }
    if let Some(spacing_m) = shape.and_then(|shape| shape.spacing_m) {
        found.push(Relation {
            id: "disc_to_spacing",
            words: if own_m.is_some() {
                "diameter over the spacing of the rotors"
            } else {
                "diameter of a typical propeller of this torque over the spacing of the rotors"
            },
            figure,
            rotor: None,
            power: 1.0,
            ratio: size_m / spacing_m,
            typical: 0.75,
            usual: if own_m.is_some() { Usual { min: 0.2, max: 1.15 } } else { Usual { min: 0.17, max: 1.95 } },
            source: if own_m.is_some() { DISC } else { DISC_FROM_TORQUE },
        });
    }
    let places = shape.map_or(craft.rotors.len(), |shape| shape.places.len()) as f64;
    let disc_m2 = 0.125 * TAU * size_m * size_m;
    found.push(Relation {
        id: "disc_loading",
        words: "weight over the discs' area, N/m²",
        figure,
        rotor: None,
        power: -2.0,
        ratio: craft.body.mass_kg * gravity_m_s2 / (places * disc_m2),
        typical: 100.0,
        usual: Usual { min: 8.0 / (size * size), max: 700.0 * size * size },
        source: LOADING,
    });
    found
}

fn speed(upper: &[&Rotor]) -> Vec<Relation> {
    let median_of = |figure: fn(&Rotor) -> Option<f64>| median(upper.iter().filter_map(|rotor| figure(rotor)));
    let own_m = median_of(|rotor| rotor.in_moving_air.diameter_m);
    let (Some(thrust_n), Some(size_m)) = (median_of(|rotor| Some(rotor.thrust_max_n)), median_of(diameter_m)) else {
        return Vec::new();
    };
    let density = RATED_AIR_DENSITY_KG_M3;
    let Some(speed_rad_s) = median_of(|rotor| rotor.speed_max_rad_s) else {
        let turns_per_s = (thrust_n / (TYPICAL_THRUST_COEFFICIENT * density)).sqrt() / (size_m * size_m);
        return vec![tip_speed(Figure::Thrust, 0.5, TAU * turns_per_s * 0.5 * size_m, own_m.is_some())];
    };
    let turns_per_s = speed_rad_s / TAU;
    let coefficient = thrust_n / (density * turns_per_s * turns_per_s * size_m.powi(4));
    let mut found = vec![
        tip_speed(Figure::Speed, 1.0, speed_rad_s * 0.5 * size_m, own_m.is_some()),
        Relation {
            id: "thrust_coefficient",
            words: "thrust coefficient",
            figure: Figure::Speed,
            rotor: None,
            power: -2.0,
            ratio: coefficient,
            typical: 0.12,
            usual: if own_m.is_some() { Usual { min: 0.035, max: 0.4 } } else { Usual { min: 0.006, max: 2.5 } },
            source: COEFFICIENT,
        },
    ];
    let torque_m = median_of(|rotor| Some(rotor.torque_per_thrust_m)).filter(|torque_m| *torque_m > 0.0);
    if let (Some(torque_m), Some(own_m)) = (torque_m, own_m) {
        found.push(Relation {
            id: "figure_of_merit",
            words: "ideal power over the shaft power of torque and speed",
            figure: Figure::Speed,
            rotor: None,
            power: -1.0,
            ratio: figure_of_merit(thrust_n, torque_m * thrust_n, speed_rad_s, own_m, density),
            typical: 0.62,
            usual: Usual { min: 0.25, max: 0.95 },
            source: MERIT,
        });
    }
    found
}

fn tip_speed(figure: Figure, power: f64, ratio: f64, is_own: bool) -> Relation {
    Relation {
        id: "tip_speed",
        words: "speed of the tips at full thrust, m/s",
        figure,
        rotor: None,
        power,
        ratio,
        typical: 100.0,
        usual: if is_own { Usual { min: 18.0, max: 340.0 } } else { Usual { min: 11.0, max: 580.0 } },
        source: SPEED,
    }
}

fn lag(craft: &Craft) -> Vec<Relation> {
    let Some(size_m) = median(craft.rotors.iter().filter_map(diameter_m)) else { return Vec::new() };
    let Some(lag_s) = median(craft.rotors.iter().map(|rotor| rotor.response_time_s)) else { return Vec::new() };
    let mut found = vec![Relation {
        id: "lag",
        words: "lag over that of a typical rotor of this size",
        figure: Figure::Lag,
        rotor: None,
        power: 1.0,
        ratio: lag_s / (0.02 + 0.12 * size_m),
        typical: 1.0,
        usual: Usual { min: 0.25, max: 3.5 },
        source: LAG,
    }];
    if let Some(inertia) = median(craft.rotors.iter().map(|rotor| rotor.inertia_kg_m2).filter(|inertia| *inertia > 0.0))
    {
        found.push(Relation {
            id: "spin_inertia",
            words: "rotor inertia over that of a typical propeller of this size",
            figure: Figure::SpinInertia,
            rotor: None,
            power: 1.0,
            ratio: inertia / (0.06 * size_m.powi(5)),
            typical: 1.5,
            usual: Usual { min: 1.0 / 60.0, max: 100.0 },
            source: SPIN_INERTIA,
        });
    }
    found
}

/// The middle value; `None` of none.
pub(super) fn median(values: impl Iterator<Item = f64>) -> Option<f64> {
    let mut sorted: Vec<f64> = values.collect();
    sorted.sort_by(f64::total_cmp);
    sorted.get(sorted.len() / 2).copied()
}
