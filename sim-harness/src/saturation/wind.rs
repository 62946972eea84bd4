//! The steady wind in which a craft still holds its place.
//!
//! * Math: at tilt θ into the wind the air goes along the axis that faces it at v cos θ, through the rotors at v sin θ. Along
//!   that axis m g sin θ = D v cos θ + ½ ρ CdA (v cos θ)², D the drag of the rotors in their plane; along the other the
//!   thrust carries m g cos θ and the body's drag from below. That is the steady speed of a craft held at the tilt in
//!   still air, so it is asked of [`Gathering`]
//! * Source: statics and the drag of docs/plant.md

use serde::Serialize;

use crate::gathering::Gathering;
use crate::site::Site;

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
pub(super) fn steady_wind(site: &Site<'_>, tilt_max_rad: f64, thrust_max_n: f64) -> Vec<SteadyWind> {
    let sides = [("ahead", 0), ("the side", 1)];
    let against = |(from, axis)| {
        let at = |tilt_rad: f64| held(site, tilt_rad, axis);
        strongest(from, tilt_max_rad, thrust_max_n, at)
    };
    sides.into_iter().filter_map(against).collect()
}

/// Wind speed that a craft stands at this tilt, and the thrust that takes.
fn held(site: &Site<'_>, tilt_rad: f64, axis: usize) -> (f64, f64) {
    let (sin, cos) = tilt_rad.sin_cos();
    let speed_m_s = Gathering::at_a_height(site, tilt_rad, axis).steady_m_s() / cos;
    let through_m_s = speed_m_s * sin;
    let from_below_n = 0.5 * site.world.air_density_kg_m3 * site.craft.body.drag_area_m2[2] * through_m_s * through_m_s;
    (speed_m_s, site.weight_n() * cos + from_below_n)
}

fn strongest(
    from: &'static str,
    tilt_max_rad: f64,
    thrust_max_n: f64,
    at: impl Fn(f64) -> (f64, f64),
) -> Option<SteadyWind> {
    // Nothing drags when the speed has no end.
    if !(tilt_max_rad > 0.0 && at(tilt_max_rad).0.is_finite()) {
        return None;
    }
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
