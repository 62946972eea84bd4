//! The demo crafts as they stand and turned by half an arm: all of the craft but its nose. Each as it is, with a battery,
//! without drag, with the errors of its sensors, with a payload in front, and with all of these.

use std::f64::consts::PI;

use nalgebra::{Matrix3, Rotation3, Vector3};

use super::craft::Drawn;
use super::parts::{Part, Shape, together};
use super::propeller::Propeller;
use super::table::{Table, Value, at, keys, length, lengths, number, number_at, numbers, put, rounded, take_out};
use super::{GRAVITY_M_S2, supply::Supply};

const DEMOS: [(&str, &str); 3] = [
    ("quad", include_str!("../../../sim-harness/crafts/quad.toml")),
    ("six", include_str!("../../../sim-harness/crafts/six.toml")),
    ("eight", include_str!("../../../sim-harness/crafts/eight.toml")),
];

/// Torque per thrust over diameter, and thrust coefficient, of the 10x4.7 of `reference/propeller_static.csv`.
const TORQUE_SHARE: f64 = 0.065;
const THRUST_COEFFICIENT: f64 = 0.125;

/// What is done to a craft file.
type Change = fn(&mut Table);

/// Every one of them.
///
/// # Panics
/// When a demo craft is no TOML or lacks a key that all of them have.
pub fn demos() -> Vec<Drawn> {
    let changes: [(&str, Change); 6] = [
        ("as it is", |_| ()),
        ("with a battery", battery),
        ("without drag", without_drag),
        ("with biases", biases),
        ("with a payload", payload),
        ("with all", |file| [battery, without_drag, biases, payload].into_iter().for_each(|change| change(file))),
    ];
    let each = DEMOS.into_iter().flat_map(move |(name, text)| {
        [0.0, 0.5].into_iter().flat_map(move |arms| {
            changes.map(move |(what, change)| {
                let mut file: Table = text.parse().unwrap_or_else(|error| panic!("{name}: {error}"));
                turn(&mut file, arms);
                change(&mut file);
                let turned = if arms > 0.0 { "turned" } else { "straight" };
                let traits = [name, turned, what].map(|word| word.replace(' ', "-"));
                Drawn { name: traits.join("-"), traits: traits.to_vec(), file }
            })
        })
    });
    each.collect()
}

/// Three numbers at a key.
fn vector(file: &Table, key: &str) -> Option<Vector3<f64>> {
    let list = at(file, key)?.as_array()?;
    let figures: Vec<f64> = list.iter().filter_map(Value::as_float).collect();
    (figures.len() == 3).then(|| Vector3::from_column_slice(&figures))
}

fn required(file: &Table, key: &str) -> f64 {
    number_at(file, key).unwrap_or_else(|| panic!("{key} is missing"))
}

fn tensor(file: &Table) -> Matrix3<f64> {
    let figure = |key: &str| number_at(file, &format!("body.inertia_kg_m2.{key}")).unwrap_or(0.0);
    let [xx, yy, zz, xy, xz, yz] = ["xx", "yy", "zz", "xy", "xz", "yz"].map(figure);
    Matrix3::new(xx, xy, xz, xy, yy, yz, xz, yz, zz)
}

fn put_tensor(file: &mut Table, inertia: &Matrix3<f64>) {
    for (key, at) in [("xx", (0, 0)), ("yy", (1, 1)), ("zz", (2, 2)), ("xy", (0, 1)), ("xz", (0, 2)), ("yz", (1, 2))] {
        put(file, &format!("body.inertia_kg_m2.{key}"), Value::Float(rounded(inertia[at], 6)));
    }
}

/// Turns all of the craft about the vertical by so many of the angles between two arms.
fn turn(file: &mut Table, arms: f64) {
    if arms == 0.0 {
        return;
    }
    let count = number_at(file, "layout.rotors")
        .or_else(|| Some(file.get("rotor")?.as_array()?.len() as f64))
        .unwrap_or_else(|| panic!("no rotors"));
    let angle_rad = arms * 2.0 * PI / count;
    let turn = Rotation3::from_axis_angle(&Vector3::z_axis(), angle_rad);
    if let Some(azimuth_deg) = number_at(file, "layout.rotors").map(|_| number_at(file, "layout.first_azimuth_deg")) {
        put(file, "layout.first_azimuth_deg", number(azimuth_deg.unwrap_or(0.0) + angle_rad.to_degrees()));
    }
    for rotor in file.get_mut("rotor").and_then(Value::as_array_mut).into_iter().flatten() {
        if let Some(rotor) = rotor.as_table_mut()
            && let Some(place_m) = vector(rotor, "position_m")
        {
            rotor.insert("position_m".into(), lengths((turn * place_m).as_slice()));
        }
    }
    if let Some(center_m) = vector(file, "body.center_of_mass_m") {
        put(file, "body.center_of_mass_m", lengths((turn * center_m).as_slice()));
    }
    let inertia = turn * tensor(file) * turn.transpose();
    put_tensor(file, &inertia);
    if let Some(drag_m2) = vector(file, "body.drag_area_m2") {
        // Areas seen from between front and side.
        let (sin, cos) = (angle_rad.sin().powi(2), angle_rad.cos().powi(2));
        let [front, side] = [drag_m2.x * cos + drag_m2.y * sin, drag_m2.x * sin + drag_m2.y * cos];
        put(file, "body.drag_area_m2", numbers(&[front, side, drag_m2.z]));
    }
}

fn without_drag(file: &mut Table) {
    take_out(file, "body.drag_area_m2");
}

fn biases(file: &mut Table) {
    put(file, "sensors.gyro.bias_deg_s", numbers(&[0.8, -0.6, 1.0]));
    put(file, "sensors.accelerometer.bias_m_s2", numbers(&[0.15, -0.1, 0.2]));
    put(file, "sensors.misalignment_deg", numbers(&[0.4, -0.5, 0.3]));
}

/// A twentieth of the mass, 0.4 of the arm in front of the centre of mass and 0.2 below.
fn payload(file: &mut Table) {
    let mass_kg = required(file, "body.mass_kg");
    let center_m = vector(file, "body.center_of_mass_m").unwrap_or_else(Vector3::zeros);
    let arm_m = number_at(file, "layout.arm_m").unwrap_or(0.36);
    let place = center_m + Vector3::new(0.4, 0.0, 0.2) * arm_m;
    let side_m = (0.05 * mass_kg / 800.0_f64).cbrt();
    let shape = Shape::Box([side_m; 3]);
    let camera = Part { mass_kg: 0.05 * mass_kg, place_m: place.into(), shape };
    let craft = Part { mass_kg, place_m: center_m.into(), shape: Shape::Point };
    let whole = together(&[craft, camera]);
    let inertia = whole.inertia_kg_m2 + tensor(file);
    put(file, "body.mass_kg", number(whole.mass_kg));
    put(file, "body.center_of_mass_m", lengths(whole.center_of_mass_m.as_slice()));
    put_tensor(file, &inertia);
}

/// For a quarter of an hour of hover, with 2 % of sag in it, on typical propellers.
fn battery(file: &mut Table) {
    let torque_m = required(file, "rotors.torque_per_thrust_m");
    let full_n = required(file, "rotors.thrust_max_n");
    let mass_kg = required(file, "body.mass_kg");
    let propeller = Propeller {
        diameter_m: rounded(torque_m / TORQUE_SHARE, 3),
        thrust_coefficient: THRUST_COEFFICIENT,
        power_coefficient: 2.0 * PI * TORQUE_SHARE * THRUST_COEFFICIENT,
        pitch_ratio: 1.0,
        response_time_s: 0.0,
        idle_share: 0.0,
    };
    let rings = if at(file, "layout.coaxial").is_some() { 2.0 } else { 1.0 };
    let count = number_at(file, "layout.rotors").map_or(6.0, |arms| arms * rings);
    let power_w = count * propeller.shaft_power_w(mass_kg * GRAVITY_M_S2 / count);
    let supply = Supply {
        cells: if mass_kg < 3.0 { 4.0 } else { 6.0 },
        minutes: 15.0,
        efficiency: 0.82,
        wh_per_kg: 150.0,
        charge: 1.0,
        sag_share: 0.02,
        empty_share: 3.5 / 4.2,
        curved: false,
    };
    file.insert("battery".into(), supply.table(power_w).into());
    put(file, "rotors.diameter_m", length(propeller.diameter_m));
    put(file, "rotors.speed_max_rad_s", number(propeller.speed_rad_s(full_n)));
    let voltage = keys([("fitted", Value::Boolean(true))]);
    put(file, "sensors.voltage", voltage.into());
}
