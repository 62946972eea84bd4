//! A sound craft, drawn: frame, propellers, body, battery, sensors, and its file.

use std::f64::consts::PI;

use nalgebra::{Matrix3, Vector2, Vector3};

use super::authority::{Lifted, Push};
use super::body::{Build, Built, Load};
use super::frame::Frame;
use super::propeller::Propeller;
use super::random::Random;
use super::supply::{LOW_CHARGE, Supply};
use super::table::{Table, rounded};
use super::{GRAVITY_M_S2, write};

/// Roll and pitch, then yaw acceleration from hover on a full pack: rad/s². A quarter turn in 0.6 s and half a turn in
/// three; what makes a craft answer is common practice, no source.
const FROM_HOVER_RAD_S2: [f64; 2] = [8.0, 0.9];
/// The same with a fifth of the charge left, and in a climb at 1.2 weights.
const IN_TROUBLE_RAD_S2: [f64; 2] = [4.0, 0.45];
/// Least gap of discs on neighbouring arms, in diameters between hubs.
const TIGHTEST_GAP: f64 = 1.03;
/// Most lean along the circle that builders use for yaw (common practice, no source).
const MOST_CANT_RAD: f64 = 0.105;
/// How often a draw may be built stronger.
const ATTEMPTS: usize = 60;

/// A craft of the corpus.
#[derive(Clone, Debug, PartialEq)]
pub struct Drawn {
    /// Which: "seed-index", or what it was made from.
    pub name: String,
    /// What it has, in single words.
    pub traits: Vec<String>,
    /// Its craft file.
    pub file: Table,
}

impl Drawn {
    /// The text of its craft file.
    ///
    /// # Panics
    /// When the tree cannot be written as TOML: a fault of the corpus.
    pub fn text(&self) -> String {
        toml::to_string(&self.file).unwrap_or_else(|error| panic!("{}: {error}", self.name))
    }
}

/// What is drawn of a craft before its parts are put together.
#[derive(Clone, Debug)]
pub struct Design {
    /// Take-off mass.
    pub mass_kg: f64,
    /// Where the rotors are.
    pub frame: Frame,
    /// What they are.
    pub propeller: Propeller,
    /// Hubs of neighbouring arms apart, in diameters.
    pub gap: f64,
    /// Rated thrust over weight, torques balanced, full voltage.
    pub rated: f64,
    /// The battery on board.
    pub supply: Supply,
    /// Whether the file tells of it.
    pub battery_told: bool,
    /// Proportions of the body.
    pub build: Build,
    /// Share of its thrust that a lower rotor keeps.
    pub lower_share: f64,
    /// How far it hangs below, in diameters.
    pub ring_gap: f64,
}

/// A design with its parts put together.
#[derive(Clone, Debug)]
pub struct Assembled {
    /// Mean arm.
    pub arm_m: f64,
    /// Hubs, from the middle of the upper rotors.
    pub hubs_m: Vec<Vector3<f64>>,
    /// Thrust directions.
    pub axes: Vec<Vector3<f64>>,
    /// Full thrust of an upper rotor.
    pub thrust_max_n: f64,
    /// The body.
    pub built: Built,
    /// Shaft power of hover.
    pub hover_power_w: f64,
    /// The battery, its minutes as its mass allows.
    pub supply: Supply,
    lifted: Lifted,
}

/// Craft `index` of corpus `seed`: the same for ever.
pub fn sound(seed: u64, index: u64) -> Drawn {
    let mut random = Random::new(seed, index);
    let mut design = Design::draw(&mut random);
    let assembled = design.strong_enough();
    write::drawn(&mut random, format!("{seed}-{index}"), &design, &assembled)
}

impl Design {
    fn draw(random: &mut Random) -> Design {
        let mass_kg = rounded(random.ratio(0.05, 30.0), 3);
        let frame = Frame::draw(random, mass_kg);
        // Weight over disc area, N/m²: common practice, no source; the propellers of hover_endurance.csv have 45 to 77.
        let disc_loading = random.ratio(45.0, 120.0);
        let diameter_m = (4.0 * mass_kg * GRAVITY_M_S2 / (PI * disc_loading * frame.places.len() as f64)).sqrt();
        let propeller = Propeller::draw(random, rounded(diameter_m, 3));
        let mut rated = random.between(2.3, 3.2);
        let mut supply = Supply::draw(random, mass_kg);
        let battery_told = random.chance(0.55);
        if battery_told {
            (supply, rated) = supply.strong_enough(rated);
        }
        Design {
            mass_kg,
            frame,
            propeller,
            gap: random.between(1.06, 1.5),
            rated,
            supply,
            battery_told,
            build: Build::draw(random),
            lower_share: random.between(0.75, 0.9),
            ring_gap: random.between(0.12, 0.3),
        }
    }

    /// Puts the parts together; as long as the craft would be weak: with more thrust for roll and pitch; for yaw canted
    /// more, on shorter arms, on propellers that turn it harder.
    fn strong_enough(&mut self) -> Assembled {
        for _ in 0..ATTEMPTS {
            let assembled = self.assemble();
            let [tilt, yaw] = assembled.falls_short(self);
            if !(tilt || yaw) {
                return assembled;
            }
            if tilt {
                self.rated += 0.1;
            } else if self.frame.can_cant && self.frame.cant_rad < MOST_CANT_RAD {
                self.frame.cant_rad += 0.0175;
            } else if self.gap > TIGHTEST_GAP {
                self.gap = (0.93 * self.gap).max(TIGHTEST_GAP);
            } else {
                self.propeller.turn_harder();
            }
        }
        panic!("no sound craft in {ATTEMPTS} attempts: {self:#?}");
    }

    fn assemble(&self) -> Assembled {
        let arm_m = self.gap * self.propeller.diameter_m / self.frame.spacing();
        let lower_z = self.ring_gap * self.propeller.diameter_m;
        let hub = |place: &super::frame::Place| {
            Vector3::new(place.plan.x, place.plan.y, 0.0) * arm_m
                + Vector3::z() * if place.lower { lower_z } else { 0.0 }
        };
        let hubs_m: Vec<_> = self.frame.places.iter().map(hub).collect();
        let weight_n = self.mass_kg * GRAVITY_M_S2;
        let shares: f64 = self.frame.places.iter().map(|place| self.kept(place)).sum();
        let hover_n = weight_n / shares;
        let hover_power_w = self.propeller.shaft_power_w(hover_n) * self.frame.places.len() as f64;
        let mut thrust_max_n = self.rated * hover_n;
        // Heavier motors need more thrust to carry them: each round a tenth of what is left.
        loop {
            let (built, supply) = self.body(&hubs_m, arm_m, thrust_max_n, hover_power_w);
            let center = built.whole.center_of_mass_m;
            let axis = |place| self.frame.axis(place, Vector2::new(center.x, center.y) / arm_m);
            let axes: Vec<_> = self.frame.places.iter().map(axis).collect();
            let pushes: Vec<Push> =
                (0..hubs_m.len()).map(|rotor| self.push(rotor, hubs_m[rotor], axes[rotor], thrust_max_n)).collect();
            let lifted = Lifted::new(self.mass_kg, &center, built.whole.inertia_kg_m2, &pushes);
            let lifted = lifted.unwrap_or_else(|| panic!("four axes: {self:#?}"));
            let reached = lifted.thrust_to_weight(1.0) / self.rated;
            if (reached - 1.0).abs() < 1e-3 {
                return Assembled { arm_m, hubs_m, axes, thrust_max_n, built, hover_power_w, supply, lifted };
            }
            thrust_max_n /= reached;
        }
    }

    fn body(&self, hubs_m: &[Vector3<f64>], arm_m: f64, thrust_max_n: f64, hover_power_w: f64) -> (Built, Supply) {
        let propeller_kg = self.propeller.mass_kg();
        let mut load = Load { mass_kg: self.mass_kg, arm_m, hubs_m, thrust_max_n, propeller_kg, battery_kg: 0.0 };
        // The plate keeps 8 % at least.
        let most_kg = 0.92 * self.mass_kg - self.build.fixed_kg(&load);
        let mut supply = self.supply.clone();
        load.battery_kg = supply.mass_kg(hover_power_w, most_kg);
        (self.build.put_together(&load), supply)
    }

    fn kept(&self, place: &super::frame::Place) -> f64 {
        if place.lower { self.lower_share } else { 1.0 }
    }

    fn push(&self, rotor: usize, place_m: Vector3<f64>, axis: Vector3<f64>, thrust_max_n: f64) -> Push {
        let place = &self.frame.places[rotor];
        let kept = self.kept(place);
        let way = if place.clockwise { 1.0 } else { -1.0 };
        Push {
            place_m,
            axis,
            // The same torque for less thrust.
            reaction_m: way * self.propeller.torque_per_thrust_m() / kept,
            most_n: kept * thrust_max_n,
            least_n: kept * self.propeller.idle_share * thrust_max_n,
        }
    }
}

impl Assembled {
    /// Whether roll or pitch, and yaw, are too weak from hover, with little charge, or in a climb.
    fn falls_short(&self, design: &Design) -> [bool; 2] {
        let supply = &self.supply;
        let (full, low) = if design.battery_told {
            let full = supply.loaded(design.rated, supply.open_share(supply.charge)) / design.rated;
            (full, (supply.open_share(LOW_CHARGE) - supply.sag_share).powi(2))
        } else {
            (1.0, 0.81)
        };
        let at = |load: f64, share: f64, [tilt, yaw]: [f64; 2]| {
            let authority = self.lifted.authority(load, share);
            [!authority.reaches(tilt, f64::NEG_INFINITY), !authority.reaches(f64::NEG_INFINITY, yaw)]
        };
        let all = [at(1.0, full, FROM_HOVER_RAD_S2), at(1.0, low, IN_TROUBLE_RAD_S2), at(1.2, full, IN_TROUBLE_RAD_S2)];
        [all.iter().any(|short| short[0]), all.iter().any(|short| short[1])]
    }

    /// Inertia about the centre of mass.
    pub fn inertia_kg_m2(&self) -> Matrix3<f64> {
        self.built.whole.inertia_kg_m2
    }
}

#[cfg(test)]
mod tests {
    use std::f64::consts::PI;

    use super::*;

    /// What a builder would not build must not come out of the mends of weak draws either.
    #[test]
    fn stays_plausible_when_a_draw_was_built_stronger() {
        for index in 0..4000 {
            let mut design = Design::draw(&mut Random::new(7, index));
            let drawn = design.clone();
            let built = design.strong_enough();
            let propeller = &design.propeller;
            let discs_m2 = design.frame.places.len() as f64 * PI * propeller.diameter_m.powi(2) / 4.0;
            let loading = design.mass_kg * GRAVITY_M_S2 / discs_m2;
            assert!((44.0..200.0).contains(&loading), "{index}: {loading} N/m2");
            assert!((0.40..0.73).contains(&propeller.figure_of_merit()), "{index}: {}", propeller.figure_of_merit());
            let torque_share = propeller.torque_per_thrust_m() / propeller.diameter_m;
            assert!((0.045..0.12).contains(&torque_share), "{index}: {torque_share}");
            assert!((2.3..3.8).contains(&design.rated), "{index}: {}, drawn {}", design.rated, drawn.rated);
            assert!(design.gap >= TIGHTEST_GAP, "{index}: discs overlap");
            let minutes = built.supply.minutes;
            assert!((3.0..31.0).contains(&minutes), "{index}: {minutes} min");
            let center = built.built.whole.center_of_mass_m / built.arm_m;
            assert!(center.xy().norm() < 0.06 && center.z.abs() < 1.0, "{index}: {center}");
        }
    }
}
