//! A set of rotors, small enough to stand beside every facet.

/// Most rotors a mixer can hold.
pub const MAX_ROTORS: usize = 16;

/// Some of the rotors of a craft, by place from 0.
///
/// On the wire and in a record: the bits, lowest first.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct RotorSet(u16);

impl RotorSet {
    /// None.
    pub const EMPTY: RotorSet = RotorSet(0);

    /// The first so many; [`MAX_ROTORS`] for more.
    pub const fn first(count: usize) -> Self {
        if count < MAX_ROTORS { RotorSet((1 << count) - 1) } else { RotorSet(u16::MAX) }
    }

    /// Those whose bit is set, the first rotor's the lowest.
    pub const fn from_bits(bits: u16) -> Self {
        RotorSet(bits)
    }

    /// A bit for each, the first rotor's the lowest.
    pub const fn bits(self) -> u16 {
        self.0
    }

    /// With one more. Places past [`MAX_ROTORS`] are refused when the craft is checked; a set has none.
    #[must_use]
    pub const fn with(self, rotor: usize) -> Self {
        RotorSet(self.0 | 1_u16.wrapping_shl(rotor as u32))
    }

    /// With one less.
    #[must_use]
    pub const fn without(self, rotor: usize) -> Self {
        RotorSet(self.0 & !1_u16.wrapping_shl(rotor as u32))
    }

    /// Whether this one is among them.
    pub const fn contains(self, rotor: usize) -> bool {
        self.0 & 1_u16.wrapping_shl(rotor as u32) != 0
    }

    /// Whether there is none.
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// How many.
    pub const fn count(self) -> usize {
        self.0.count_ones() as usize
    }

    /// These and those.
    #[must_use]
    pub const fn and(self, other: Self) -> Self {
        RotorSet(self.0 | other.0)
    }

    /// Those that are in both.
    #[must_use]
    pub const fn common(self, other: Self) -> Self {
        RotorSet(self.0 & other.0)
    }

    /// These, less those.
    #[must_use]
    pub const fn less(self, other: Self) -> Self {
        RotorSet(self.0 & !other.0)
    }

    /// Those that are in one of them alone.
    #[must_use]
    pub(crate) const fn apart(self, other: Self) -> Self {
        RotorSet(self.0 ^ other.0)
    }

    /// The first of them; none of an empty set.
    pub const fn lowest(self) -> Option<usize> {
        if self.0 == 0 { None } else { Some(self.0.trailing_zeros() as usize) }
    }

    /// Of things in the rotors' order those of these rotors, each with the set of its rotor alone.
    pub(crate) fn among<T>(self, all: &[T]) -> impl Iterator<Item = (Self, &T)> {
        let with_its_own = |alone: &mut u16, one| {
            let its_own = RotorSet(*alone);
            *alone <<= 1;
            Some((its_own, one))
        };
        all.iter().scan(1, with_its_own).filter(move |(its_own, _)| self.0 & its_own.0 != 0)
    }

    /// One after another, from the lowest.
    pub fn iter(self) -> impl Iterator<Item = usize> {
        (0..MAX_ROTORS).filter(move |rotor| self.contains(*rotor))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::vec::Vec;

    #[test]
    fn holds_each_rotor_apart_from_all_others() {
        for one in 0..MAX_ROTORS {
            let set = RotorSet::EMPTY.with(one);
            assert_eq!((set.count(), set.lowest(), set.bits()), (1, Some(one), 1 << one));
            for other in 0..MAX_ROTORS {
                assert_eq!(set.contains(other), one == other, "{one} {other}");
            }
            assert!(set.without(one).is_empty());
        }
    }

    #[test]
    fn adds_takes_away_and_lists_as_sets_do() {
        let (a, b) = (RotorSet::from_bits(0b1011), RotorSet::from_bits(0b0110));
        assert_eq!((a.and(b).bits(), a.common(b).bits(), a.less(b).bits()), (0b1111, 0b0010, 0b1001));
        assert_eq!(a.apart(b).bits(), 0b1101);
        assert_eq!(a.iter().collect::<Vec<_>>(), [0, 1, 3]);
        let among: Vec<_> = a.among(&["first", "second", "third"]).map(|(alone, name)| (alone.bits(), *name)).collect();
        assert_eq!(among, [(1, "first"), (2, "second")]);
        assert_eq!(RotorSet::first(16).among(&[0; 17]).map(|(alone, _)| alone.lowest()).last(), Some(Some(15)));
        assert_eq!((RotorSet::EMPTY.lowest(), RotorSet::EMPTY.iter().count()), (None, 0));
    }

    #[test]
    fn first_are_as_many_as_asked_and_no_more_than_there_can_be() {
        let sizes = [0, 1, 15, 16, 17, usize::MAX].map(|count| RotorSet::first(count).bits());
        assert_eq!(sizes, [0, 1, 0x7fff, 0xffff, 0xffff, 0xffff]);
    }
}
