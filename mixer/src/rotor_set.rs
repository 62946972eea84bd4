//! A set of rotors, small enough to stand beside every facet.

/// Most rotors a mixer can hold.
pub const MAX_ROTORS: usize = 16;

/// Some of the rotors of a craft, by place from 0.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct RotorSet(u16);

impl RotorSet {
    pub const EMPTY: RotorSet = RotorSet(0);

    /// With one more. Places past [`MAX_ROTORS`] are refused when the craft is checked.
    pub const fn with(self, rotor: usize) -> Self {
        RotorSet(self.0 | 1_u16.wrapping_shl(rotor as u32))
    }

    pub const fn without(self, rotor: usize) -> Self {
        RotorSet(self.0 & !1_u16.wrapping_shl(rotor as u32))
    }

    pub const fn contains(self, rotor: usize) -> bool {
        self.0 & 1_u16.wrapping_shl(rotor as u32) != 0
    }
}
