//! Bodies: a plate, arms, motors, propellers, a battery, electronics, often a payload, each with its mass and place.
//!
//! Lengths go with the mean arm; shares of mass are common practice, no source. A builder slides the battery until the
//! craft balances: what is left of the centre of mass is a few hundredths of the arm.

use nalgebra::Vector3;

use super::parts::{Part, Shape, Whole, together};
use super::propeller::motor_radius_m;
use super::random::Random;

/// Shares and proportions, drawn once for a craft.
#[derive(Clone, Debug, PartialEq)]
pub struct Build {
    /// Thrust of a motor over its weight.
    pub motor_thrust_to_weight: f64,
    arms_share: f64,
    electronics_share: f64,
    /// Share of the mass, 0 for none.
    pub payload_share: f64,
    plate_side: f64,
    plate_height: f64,
    battery_above: bool,
    battery_lift: f64,
    payload_x: f64,
    payload_drop: f64,
    left_over: [f64; 2],
    electronics_y: f64,
}

/// What a craft carries and where its rotors are.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Load<'a> {
    /// Take-off mass.
    pub mass_kg: f64,
    /// Mean arm.
    pub arm_m: f64,
    /// Hubs, from the middle of the upper rotors.
    pub hubs_m: &'a [Vector3<f64>],
    /// Full thrust of a rotor.
    pub thrust_max_n: f64,
    /// Mass of a propeller.
    pub propeller_kg: f64,
    /// Mass of the battery.
    pub battery_kg: f64,
}

/// A body, with the area it meets the air with.
#[derive(Clone, Debug, PartialEq)]
pub struct Built {
    /// Mass, centre of mass, inertia.
    pub whole: Whole,
    /// Cd·A seen from the front, the side, above.
    pub drag_area_m2: [f64; 3],
    /// Mass of a motor.
    pub motor_kg: f64,
}

impl Build {
    /// Proportions of a craft.
    pub fn draw(random: &mut Random) -> Build {
        let payload = random.chance(0.5);
        Build {
            motor_thrust_to_weight: random.between(14.0, 21.0),
            arms_share: random.between(0.05, 0.10),
            electronics_share: random.between(0.02, 0.04),
            payload_share: if payload { random.between(0.04, 0.18) } else { 0.0 },
            plate_side: random.between(0.35, 0.6),
            plate_height: random.between(0.06, 0.15),
            battery_above: random.chance(0.5),
            battery_lift: if random.chance(0.3) { random.between(0.1, 0.3) } else { 0.0 },
            payload_x: random.between(0.25, 0.75),
            payload_drop: random.between(0.1, 0.35),
            left_over: [random.either_way(0.04), random.either_way(0.01)],
            electronics_y: random.either_way(0.2),
        }
    }

    /// Mass of all but plate and battery.
    pub fn fixed_kg(&self, load: &Load<'_>) -> f64 {
        let motors = load.hubs_m.len() as f64 * (self.motor_kg(load) + load.propeller_kg);
        motors + load.mass_kg * (self.arms_share + self.electronics_share + self.payload_share)
    }

    fn motor_kg(&self, load: &Load<'_>) -> f64 {
        load.thrust_max_n / (super::GRAVITY_M_S2 * self.motor_thrust_to_weight)
    }

    /// Puts the parts together.
    pub fn put_together(&self, load: &Load<'_>) -> Built {
        let arm = load.arm_m;
        let motor_kg = self.motor_kg(load);
        let motor_radius = motor_radius_m(motor_kg);
        let arm_z = 2.0 * motor_radius;
        let upper: Vec<_> = load.hubs_m.iter().filter(|hub| hub.z == 0.0).collect();
        let plate = [self.plate_side * arm, self.plate_side * arm, self.plate_height * arm];
        let mut parts = Vec::new();
        for hub in load.hubs_m {
            // A lower rotor hangs under the arm, its motor above it.
            let motor_z = if hub.z == 0.0 { motor_radius } else { hub.z - motor_radius };
            let shape = Shape::CylinderZ(motor_radius, 2.0 * motor_radius);
            parts.push(Part { mass_kg: motor_kg, place_m: [hub.x, hub.y, motor_z], shape });
            parts.push(Part { mass_kg: load.propeller_kg, place_m: [hub.x, hub.y, hub.z], shape: Shape::Point });
        }
        let arm_kg = load.mass_kg * self.arms_share / upper.len() as f64;
        for hub in &upper {
            let root = **hub * (0.4 * self.plate_side * arm / hub.norm());
            let shape = Shape::RodTo([hub.x, hub.y, arm_z]);
            parts.push(Part { mass_kg: arm_kg, place_m: [root.x, root.y, arm_z], shape });
        }
        let plate_kg = load.mass_kg - self.fixed_kg(load) - load.battery_kg;
        parts.push(Part { mass_kg: plate_kg, place_m: [0.0, 0.0, arm_z], shape: Shape::Box(plate) });
        let electronics_kg = load.mass_kg * self.electronics_share;
        let place_m = [0.0, self.electronics_y * arm, arm_z - 0.5 * plate[2]];
        let size = [0.15 * arm, 0.1 * arm, 0.03 * arm];
        parts.push(Part { mass_kg: electronics_kg, place_m, shape: Shape::Box(size) });
        let battery = self.battery(load, arm_z, plate[2]);
        let payload = self.payload(load, arm_z, plate[2]);
        let drag_area_m2 = drag_area(arm, &upper, plate, box_sides(&battery), payload.map(|part| box_sides(&part)));
        balance(&mut parts, battery, payload, self.left_over.map(|share| share * arm), arm);
        Built { whole: together(&parts), drag_area_m2, motor_kg }
    }

    /// A box of 2000 kg/m³, three by 1.4 by one.
    fn battery(&self, load: &Load<'_>, plate_z: f64, plate_height: f64) -> Part {
        let unit = (load.battery_kg / 2000.0 / (3.0 * 1.4)).cbrt();
        let away = 0.5 * (plate_height + unit) + self.battery_lift * load.arm_m;
        let z = if self.battery_above { plate_z - away } else { plate_z + away };
        Part { mass_kg: load.battery_kg, place_m: [0.0, 0.0, z], shape: Shape::Box([3.0 * unit, 1.4 * unit, unit]) }
    }

    /// A cube of 800 kg/m³, low in front.
    fn payload(&self, load: &Load<'_>, plate_z: f64, plate_height: f64) -> Option<Part> {
        let mass_kg = self.payload_share * load.mass_kg;
        let side = (mass_kg / 800.0).cbrt();
        let z = plate_z + 0.5 * plate_height + self.payload_drop * load.arm_m;
        let place_m = [self.payload_x * load.arm_m, 0.0, z];
        (mass_kg > 0.0).then_some(Part { mass_kg, place_m, shape: Shape::Box([side; 3]) })
    }
}

/// Slides the battery, within 0.45 of the arm, then the payload, until the craft balances but for `left_over`.
fn balance(parts: &mut Vec<Part>, mut battery: Part, payload: Option<Part>, left_over: [f64; 2], arm_m: f64) {
    let mass_kg: f64 = parts.iter().chain(payload.iter()).map(|part| part.mass_kg).sum::<f64>() + battery.mass_kg;
    let moment =
        |parts: &[Part], axis: usize| parts.iter().map(|part| part.mass_kg * part.center_m()[axis]).sum::<f64>();
    let payload_moment = payload.map_or(0.0, |part| part.mass_kg * part.place_m[0]);
    let slide = (left_over[0] * mass_kg - moment(parts, 0) - payload_moment) / battery.mass_kg;
    battery.place_m[0] = slide.clamp(-0.45 * arm_m, 0.45 * arm_m);
    battery.place_m[1] =
        ((left_over[1] * mass_kg - moment(parts, 1)) / battery.mass_kg).clamp(-0.1 * arm_m, 0.1 * arm_m);
    parts.push(battery);
    if let Some(mut payload) = payload {
        payload.place_m[0] = (left_over[0] * mass_kg - moment(parts, 0)) / payload.mass_kg;
        parts.push(payload);
    }
}

fn box_sides(part: &Part) -> [f64; 3] {
    match part.shape {
        Shape::Box(sides) => sides,
        _ => [0.0; 3],
    }
}

/// Drag coefficient about 1 for boxes and rods (from memory); arms a twentieth of their length thick.
fn drag_area(
    arm_m: f64,
    hubs_m: &[&Vector3<f64>],
    plate: [f64; 3],
    battery: [f64; 3],
    payload: Option<[f64; 3]>,
) -> [f64; 3] {
    let boxes = [Some(plate), Some(battery), payload];
    let boxes = |one: usize, other: usize| boxes.iter().flatten().map(|sides| sides[one] * sides[other]).sum::<f64>();
    let thick_m = 0.05 * arm_m;
    let across = |axis: usize| hubs_m.iter().map(|hub| hub[axis].abs() * thick_m).sum::<f64>();
    let from_above = hubs_m.iter().map(|hub| hub.norm() * thick_m).sum::<f64>();
    [boxes(1, 2) + across(1), boxes(0, 2) + across(0), plate[0] * plate[1] + from_above]
}
