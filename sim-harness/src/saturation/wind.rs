//! The steady wind in which a craft still holds its place.
//!
//! * Math: at tilt θ into the wind the air goes along the axis that faces it at v cos θ, through the rotors at v sin θ. Along
//!   that axis m g sin θ = D v cos θ + ½ ρ CdA (v cos θ)², D the drag of the rotors in their plane; along the other the
//!   thrust carries m g cos θ and the body's drag from below. That is the steady speed of a craft held at the tilt in
//!   still air, so it is asked of [`Gathering`]
//! * The thrust there is for it is all that the battery feeds with torques balanced while v sin θ goes through the rotors
//! * Source: statics and the drag of docs/plant.md

use serde::Serialize;

use crate::available_thrust::{AvailableThrust, Feed, first_bound};
use crate::gathering::Gathering;
use crate::site::Site;

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
    /// Wind speed in which it holds its place on a near-empty battery.
    pub near_empty_m_s: f64,
}

/// A craft that stands a wind.
struct Held {
    speed_m_s: f64,
    through_m_s: f64,
    tilt_rad: f64,
    thrust_n: f64,
}

/// Wind from ahead and from the side, up to this tilt; none for an axis without drag.
pub(super) fn steady_wind(site: &Site<'_>, available: &AvailableThrust<'_>, tilt_max_rad: f64) -> Vec<SteadyWind> {
    let sides = [("ahead", 0), ("the side", 1)];
    let against = |(from, axis)| {
        // Nothing drags when the speed has no end.
        let dragged = tilt_max_rad > 0.0 && held(site, tilt_max_rad, axis).speed_m_s.is_finite();
        let strongest = |feed| strongest(site, available, feed, tilt_max_rad, axis);
        dragged.then(|| {
            let charged = strongest(Feed::as_charged(site.craft));
            SteadyWind {
                from,
                speed_m_s: charged.speed_m_s,
                tilt_rad: charged.tilt_rad,
                thrust_n: charged.thrust_n,
                limited_by: if charged.tilt_rad < tilt_max_rad { "thrust" } else { "tilt" },
                near_empty_m_s: strongest(Feed::near_empty(site.craft)).speed_m_s,
            }
        })
    };
    sides.into_iter().filter_map(against).collect()
}

/// The wind that a craft stands at this tilt, and the thrust that takes.
fn held(site: &Site<'_>, tilt_rad: f64, axis: usize) -> Held {
    let (sin, cos) = tilt_rad.sin_cos();
    let speed_m_s = Gathering::at_a_height(site, tilt_rad, axis).steady_m_s() / cos;
    let through_m_s = speed_m_s * sin;
    let from_below_n = 0.5 * site.world.air_density_kg_m3 * site.craft.body.drag_area_m2[2] * through_m_s * through_m_s;
    Held { speed_m_s, through_m_s, tilt_rad, thrust_n: site.weight_n() * cos + from_below_n }
}

/// Up to the first tilt at which the thrust does not suffice. Still air where it cannot even hover.
fn strongest(site: &Site<'_>, available: &AvailableThrust<'_>, feed: Feed, tilt_max_rad: f64, axis: usize) -> Held {
    let suffices = |tilt_rad: f64| {
        let asked = held(site, tilt_rad, axis);
        available.most(feed, asked.through_m_s).is_some_and(|most| asked.thrust_n <= most.thrust_n)
    };
    let still = Held { speed_m_s: 0.0, through_m_s: 0.0, tilt_rad: 0.0, thrust_n: site.weight_n() };
    let hovers = available.most(feed, 0.0).is_some_and(|most| still.thrust_n <= most.thrust_n);
    let tilt_rad = if hovers { first_bound(tilt_max_rad, suffices) } else { 0.0 };
    if tilt_rad > 0.0 { held(site, tilt_rad, axis) } else { still }
}
