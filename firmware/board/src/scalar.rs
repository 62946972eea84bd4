//! The arithmetic that flies, chosen by the feature `fixed`.

use evenkeel_controller::link::Arithmetic;

#[cfg(not(feature = "fixed"))]
mod chosen {
    use super::Arithmetic;

    /// The number that flies.
    pub type Flying = f32;
    /// Its name on the link.
    pub const ARITHMETIC: Arithmetic = Arithmetic::F32;
}

#[cfg(feature = "fixed")]
mod chosen {
    use super::Arithmetic;

    /// The number that flies.
    pub type Flying = evenkeel_mixer::Fixed;
    /// Its name on the link.
    pub const ARITHMETIC: Arithmetic = Arithmetic::Fixed;
}

pub use chosen::{ARITHMETIC, Flying};
