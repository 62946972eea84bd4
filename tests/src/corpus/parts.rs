//! A body from its parts: mass, centre of mass, inertia by the parallel axis theorem.
//!
//! Source: moments of solids and the parallel axis theorem, any text on rigid bodies (from memory); checked against
//! `reference/composite_inertia.csv`.

use nalgebra::{Matrix3, Vector3};

/// The shape of a part.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Shape {
    /// Sides along x, y, z.
    Box([f64; 3]),
    /// Radius and height, the axis along z.
    CylinderZ(f64, f64),
    /// Radius.
    Sphere(f64),
    /// A thin rod from the part's place to this end.
    RodTo([f64; 3]),
    /// No extent.
    Point,
}

/// A part of a craft.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Part {
    /// Mass.
    pub mass_kg: f64,
    /// Its centre from the datum, body axes; one end of a rod.
    pub place_m: [f64; 3],
    /// Shape.
    pub shape: Shape,
}

/// What parts make together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Whole {
    /// Mass.
    pub mass_kg: f64,
    /// Centre of mass from the datum.
    pub center_of_mass_m: Vector3<f64>,
    /// Inertia tensor about the centre of mass.
    pub inertia_kg_m2: Matrix3<f64>,
}

impl Part {
    /// The centre of mass.
    pub fn center_m(&self) -> Vector3<f64> {
        match self.shape {
            Shape::RodTo(end) => (Vector3::from(self.place_m) + Vector3::from(end)) * 0.5,
            _ => Vector3::from(self.place_m),
        }
    }

    /// The inertia tensor about its own centre of mass.
    pub fn own_inertia_kg_m2(&self) -> Matrix3<f64> {
        let mass = self.mass_kg;
        let diagonal = |x: f64, y: f64, z: f64| Matrix3::from_diagonal(&Vector3::new(x, y, z));
        match self.shape {
            Shape::Box([x, y, z]) => diagonal(y * y + z * z, x * x + z * z, x * x + y * y) * (mass / 12.0),
            Shape::CylinderZ(radius, height) => {
                let across = mass * (3.0 * radius * radius + height * height) / 12.0;
                diagonal(across, across, 0.5 * mass * radius * radius)
            }
            Shape::Sphere(radius) => Matrix3::identity() * (0.4 * mass * radius * radius),
            Shape::RodTo(end) => about(mass / 12.0, &(Vector3::from(end) - Vector3::from(self.place_m))),
            Shape::Point => Matrix3::zeros(),
        }
    }
}

/// Inertia of a point mass at `arm` about the origin.
fn about(mass_kg: f64, arm_m: &Vector3<f64>) -> Matrix3<f64> {
    (Matrix3::identity() * arm_m.norm_squared() - arm_m * arm_m.transpose()) * mass_kg
}

/// The body that `parts` make.
pub fn together(parts: &[Part]) -> Whole {
    let mass_kg = parts.iter().map(|part| part.mass_kg).sum::<f64>();
    let moment = parts.iter().map(|part| part.center_m() * part.mass_kg).sum::<Vector3<f64>>();
    let center_of_mass_m = moment / mass_kg;
    let inertia = |part: &Part| part.own_inertia_kg_m2() + about(part.mass_kg, &(part.center_m() - center_of_mass_m));
    Whole { mass_kg, center_of_mass_m, inertia_kg_m2: parts.iter().map(inertia).sum() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reference::{Row, table};

    /// Places stand to a tenth of a nanometre: Σ 2·m·r·δ of the four farthest motors.
    const PRINTED_TOL: f64 = 1e-10;

    fn part(row: Row<'_>) -> Part {
        let size = ["size_1_m", "size_2_m", "size_3_m"].map(|column| row.number(column));
        let shape = match row.text("shape") {
            "box" => Shape::Box(size),
            "cylinder_z" => Shape::CylinderZ(size[0], size[1]),
            "sphere" => Shape::Sphere(size[0]),
            "rod" => Shape::RodTo(size),
            "point" => Shape::Point,
            other => panic!("{other}"),
        };
        Part { mass_kg: row.number("mass_kg"), place_m: ["x_m", "y_m", "z_m"].map(|column| row.number(column)), shape }
    }

    /// The answers stand in the head of reference/composite_inertia.csv, computed outside this project.
    #[test]
    fn adds_up_to_the_published_body_when_its_parts_are_given() {
        let parts: Vec<Part> = table("composite_inertia").rows().map(part).collect();
        let whole = together(&parts);
        assert!((whole.mass_kg - 2.374).abs() < PRINTED_TOL);
        let center = Vector3::new(0.008_340_353_838_19, 0.001_979_780_960_4, -0.005_248_525_695_03);
        assert!((whole.center_of_mass_m - center).abs().max() < PRINTED_TOL, "{}", whole.center_of_mass_m);
        let (xx, yy, zz) = (0.032_333_912_399_3, 0.042_856_411_697_3, 0.065_709_517_356_9);
        let (xy, xz, yz) = (0.000_681_199_663_016, -0.004_641_920_808_76, -0.000_321_668_070_767);
        let inertia = Matrix3::new(xx, xy, xz, xy, yy, yz, xz, yz, zz);
        assert!((whole.inertia_kg_m2 - inertia).abs().max() < PRINTED_TOL, "{}", whole.inertia_kg_m2);
    }
}
