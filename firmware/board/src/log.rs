//! Log lines, with the feature `defmt`; without it nothing is left of them.

#[cfg(feature = "defmt")]
mod chosen {
    use evenkeel_controller::State;

    pub fn begun(fingerprint: u32) {
        defmt::info!("flight begun, craft {=u32:08x}", fingerprint);
    }

    pub fn refused(reason: &str) {
        defmt::warn!("refused: {=str}", reason);
    }

    pub fn state(state: State) {
        defmt::info!("{}", state);
    }

    pub fn ended() {
        defmt::info!("flight ended");
    }
}

#[cfg(not(feature = "defmt"))]
mod chosen {
    use evenkeel_controller::State;

    pub fn begun(_: u32) {}
    pub fn refused(_: &str) {}
    pub fn state(_: State) {}
    pub fn ended() {}
}

pub use chosen::{begun, ended, refused, state};
