//! The steady wind in which a craft still holds its place.
//!
//! * Math: at tilt θ into the wind, drag in body axes, the horizontal and the vertical balance give
//!   m g tan θ = ½ ρ CdA v² cos θ, with CdA that of the axis that faces the wind; the thrust follows
//! * Source: statics and the drag of docs/plant.md

use serde::Serialize;

use crate::craft::Craft;
use crate::script::World;

const HALVINGS: u32 = 60;

/// The strongest steady wind from one side.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct SteadyWind {
    /// "ahead" or "the side".
    pub from: &'static str,
    /// Wind speed.
    pub speed_m_s: f64,
    /// Tilt into the wind.
    pub tilt_rad: f64,
    /// Thrust it takes.
    pub thrust_n: f64,
    /// "tilt" or "thrust".
    pub limited_by: &'static str,
}

/// Wind from ahead and from the side, up to this tilt and thrust; none for an axis without drag.
pub fn steady_wind(craft: &Craft, world: &World, tilt_max_rad: f64, thrust_max_n: f64) -> Vec<SteadyWind> {
    let sides = [("ahead", 0), ("the side", 1)];
    sides
        .into_iter()
        .filter_map(|(from, axis)| strongest(craft, world, tilt_max_rad, thrust_max_n, from, axis))
        .collect()
}

fn strongest(
    craft: &Craft,
    world: &World,
    tilt_max_rad: f64,
    thrust_max_n: f64,
    from: &'static str,
    axis: usize,
) -> Option<SteadyWind> {
    let [area_m2, below_m2] = [axis, 2].map(|k| craft.body.drag_area_m2[k]);
    let weight_n = craft.body.mass_kg * world.gravity_m_s2;
    let pressure = 0.5 * world.air_density_kg_m3;
    if !(area_m2 > 0.0 && pressure > 0.0 && tilt_max_rad > 0.0) {
        return None;
    }
    let at = |tilt_rad: f64| {
        let (sin, cos) = tilt_rad.sin_cos();
        let speed_m_s = (weight_n * sin / cos / (pressure * area_m2 * cos)).sqrt();
        let horizontal_n = pressure * speed_m_s * speed_m_s * (area_m2 * cos.powi(3) + below_m2 * sin.powi(3));
        (speed_m_s, horizontal_n / sin)
    };
    let holds = |tilt_rad: f64| at(tilt_rad).1 <= thrust_max_n;
    let (mut low, mut high) = (0.0, tilt_max_rad);
    let limited_by = if holds(high) { "tilt" } else { "thrust" };
    if limited_by == "tilt" {
        low = high;
    } else {
        for _ in 0..HALVINGS {
            let middle = 0.5 * (low + high);
            if holds(middle) { low = middle } else { high = middle }
        }
    }
    if !(low > 0.0) {
        return None;
    }
    let (speed_m_s, thrust_n) = at(low);
    Some(SteadyWind { from, speed_m_s, tilt_rad: low, thrust_n, limited_by })
}
