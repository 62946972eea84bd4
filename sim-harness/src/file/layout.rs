//! Where the rotors of a regular layout are, and whether two rotors share one place.

use super::craft_keys::{CraftKeys, LayoutKeys};
use super::error::FileError;
use crate::craft::{MAX_ROTORS, Rotor, Spin};

/// Two hubs nearer than this are at the same place, metres.
pub const SAME_PLACE_M: f64 = 1e-6;
/// Two unit axes that differ by less than this in each part are the same direction.
const SAME_AXIS: f64 = 1e-6;

/// One place of a layout.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Site {
    pub position_m: [f64; 3],
    pub spin: Spin,
    pub thrust_share: f64,
}

/// The places in order: the first ring clockwise, then the ring under it.
pub(super) fn sites(layout: &LayoutKeys<'_>) -> Result<Vec<Site>, FileError> {
    let arms = usize::try_from(layout.rotors).unwrap_or(usize::MAX);
    let rings = if layout.coaxial { 2 } else { 1 };
    if arms.saturating_mul(rings) > MAX_ROTORS {
        let must = format!("must be at most {} when coaxial", MAX_ROTORS / 2);
        return Err(layout.at.refuse("rotors", &must, "rotors counts the arms, and each carries two; lower it"));
    }
    if layout.ring_gap_m > 0.0 && !layout.coaxial {
        let mend = "set coaxial = true or take ring_gap_m out";
        return Err(layout.at.refuse("ring_gap_m", "must be left out unless coaxial = true", mend));
    }
    if layout.lower_thrust_share < 1.0 && !layout.coaxial {
        let mend = "set coaxial = true or take lower_thrust_share out";
        return Err(layout.at.refuse("lower_thrust_share", "must be left out unless coaxial = true", mend));
    }
    let upper = (0..arms).map(|arm| {
        let azimuth_deg = layout.first_azimuth_deg + 360.0 * arm as f64 / arms as f64;
        let (sin, cos) = sin_cos_deg(azimuth_deg);
        let spin = if arm % 2 == 0 { layout.first_spin } else { opposite(layout.first_spin) };
        Site { position_m: [layout.arm_m * cos, layout.arm_m * sin, 0.0], spin, thrust_share: 1.0 }
    });
    let upper: Vec<Site> = upper.collect();
    let lower = upper.iter().map(|site| {
        let [x, y, _] = site.position_m;
        let thrust_share = layout.lower_thrust_share;
        Site { position_m: [x, y, layout.ring_gap_m], spin: opposite(site.spin), thrust_share }
    });
    let lower: Vec<Site> = if layout.coaxial { lower.collect() } else { Vec::new() };
    Ok([upper, lower].concat())
}

fn opposite(spin: Spin) -> Spin {
    match spin {
        Spin::Cw => Spin::Ccw,
        Spin::Ccw => Spin::Cw,
    }
}

/// Sine and cosine of an angle in degrees, exact at multiples of 90 and the same for mirrored angles,
/// so that a symmetric craft has symmetric numbers.
fn sin_cos_deg(angle_deg: f64) -> (f64, f64) {
    let turn = angle_deg.rem_euclid(360.0);
    let quarter = (turn / 90.0).floor();
    let rest = turn - 90.0 * quarter;
    let (sin, cos) = if rest == 45.0 {
        (std::f64::consts::FRAC_1_SQRT_2, std::f64::consts::FRAC_1_SQRT_2)
    } else if rest < 45.0 {
        rest.to_radians().sin_cos()
    } else {
        let (sin, cos) = (90.0 - rest).to_radians().sin_cos();
        (cos, sin)
    };
    // Adding 0 turns −0 into 0.
    match quarter as i32 {
        1 => (cos, 0.0 - sin),
        2 => (0.0 - sin, 0.0 - cos),
        3 => (0.0 - cos, sin + 0.0),
        _ => (sin, cos),
    }
}

/// Refuses two rotors at one place with one axis and one spin.
pub(super) fn all_apart(file: &CraftKeys<'_>, rotors: &[Rotor]) -> Result<(), FileError> {
    for (index, rotor) in rotors.iter().enumerate() {
        let twin = rotors.iter().take(index).position(|other| same(other, rotor));
        if let (Some(twin), Some(keys)) = (twin, file.rotor.get(index)) {
            let must = format!("must differ from rotor[{}] in place, axis or spin", twin + 1);
            let mend = "two rotors cannot fill one place: correct the position, or its spin if the two are coaxial";
            return Err(keys.placed.at.refuse("position_m", &must, mend));
        }
    }
    Ok(())
}

fn same(a: &Rotor, b: &Rotor) -> bool {
    let near = |a: [f64; 3], b: [f64; 3], tolerance: f64| a.iter().zip(b).all(|(a, b)| (a - b).abs() < tolerance);
    a.spin == b.spin && near(a.position_m, b.position_m, SAME_PLACE_M) && near(a.axis, b.axis, SAME_AXIS)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Error allowed in a sine or cosine.
    const TRIG_TOL: f64 = 1e-15;

    #[test]
    fn is_exact_when_the_angle_is_a_multiple_of_90() {
        for (angle, exact) in [(0.0, (0.0, 1.0)), (90.0, (1.0, 0.0)), (-90.0, (-1.0, 0.0)), (180.0, (0.0, -1.0))] {
            let (sin, cos) = sin_cos_deg(angle);
            assert_eq!((sin, cos), exact, "{angle}");
            assert!([sin, cos].iter().all(|part| part.to_bits() != (-0.0_f64).to_bits()), "{angle}");
        }
    }

    #[test]
    fn mirrors_and_agrees_with_the_standard_library_when_the_angle_is_any() {
        for tenth in -3600..=7200 {
            let angle = f64::from(tenth) / 10.0;
            let (sin, cos) = sin_cos_deg(angle);
            let (other_sin, other_cos) = angle.to_radians().sin_cos();
            assert!((sin - other_sin).abs() < 8.0 * TRIG_TOL && (cos - other_cos).abs() < 8.0 * TRIG_TOL, "{angle}");
        }
        for angle in [30.0, 45.0, 60.0, 72.0] {
            let (sin, cos) = sin_cos_deg(angle);
            assert_eq!(sin_cos_deg(-angle), (-sin, cos), "{angle}");
            assert_eq!(sin_cos_deg(180.0 - angle), (sin, -cos), "{angle}");
        }
    }
}
