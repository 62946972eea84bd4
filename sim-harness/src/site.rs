//! A craft, what flies it, and the world it is in: what flights and answers are worked out from.

use crate::craft::Craft;
use crate::onboard::Onboard;
use crate::script::World;

pub(crate) struct Site<'a> {
    pub(crate) craft: &'a Craft,
    pub(crate) onboard: &'a Onboard<f32>,
    pub(crate) world: &'a World,
}

impl Site<'_> {
    pub(crate) fn weight_n(&self) -> f64 {
        self.craft.body.mass_kg * self.world.gravity_m_s2
    }
}
