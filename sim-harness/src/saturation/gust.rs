//! The strongest gust of one minus cosine in which a craft still holds its place.
//!
//! * Math: the gust rises out of still air to u in [`RISE_S`] and stays. Leaned as far as it may, a craft is not carried on by
//!   it as long as u is at most the strongest steady wind. Level until it has risen, the craft has by then gathered
//!   v = ∫ (D/m · w + ½ ρ CdA/m · w²) dt with w = u/2·(1 − cos(π t/T)), so ½ · D u T/m + 3/16 · ρ CdA u² T/m, D the drag of
//!   the rotors in their plane; its own speed against the air left out: no more than that
//! * Source: shape, MIL-F-8785C, section 3.7.2.3 (equation from memory); statics, and the drag of docs/plant.md

use serde::Serialize;

use super::wind::SteadyWind;
use crate::gathering::Gathering;
use crate::site::Site;

/// Time in which it rises, as in the gust that the check flies.
pub const RISE_S: f64 = 1.0;

/// The strongest gust from one side.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct DiscreteGust {
    /// "ahead" or "the side".
    pub from: &'static str,
    /// Air speed once it has risen; a steady wind that blows already takes its own speed off this.
    pub peak_m_s: f64,
    /// Time in which it rises.
    pub rise_s: f64,
    /// Ground speed at the end of the rise, at most, where the craft has stayed level until then.
    pub carried_m_s: f64,
}

impl DiscreteGust {
    /// From where the steady wind comes, and as strong.
    pub(super) fn of(site: &Site<'_>, wind: &SteadyWind) -> Self {
        let drag = Gathering::held(site, 0.0, usize::from(wind.from != "ahead"), 0.0);
        let u_m_s = wind.speed_m_s;
        DiscreteGust {
            from: wind.from,
            peak_m_s: wind.speed_m_s,
            rise_s: RISE_S,
            carried_m_s: (0.5 * drag.linear_per_s * u_m_s + 3.0 / 8.0 * drag.square_per_m * u_m_s * u_m_s) * RISE_S,
        }
    }
}
