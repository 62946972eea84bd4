//! The craft that this board flies.

mod constants;

use evenkeel_controller::link::{CraftFacts, CraftName, Fingerprint};
use evenkeel_mixer::{CurveError, CurvePoint, Design, Mixer, Scalar, ThrustCurve, facet_capacity};

pub use constants::{CENTER_OF_MASS_M, CONFIG, CURVES, GEOMETRY, NAME, POINTS, PRIORITY, ROTORS};

use crate::Flying;

/// Facets of the attainable set that there is room for.
pub const FACETS: usize = facet_capacity(ROTORS);
/// The mixer of this craft.
pub type CraftMixer = Mixer<Flying, ROTORS, FACETS, POINTS>;

/// The allocation, worked out while compiling. A craft that cannot be controlled does not compile.
static DESIGN: Design<ROTORS, FACETS> = Design::expect(&GEOMETRY, CENTER_OF_MASS_M, PRIORITY);

/// The mixer in the flying arithmetic, every rotor whole and the battery full.
///
/// # Errors
/// When a bench table does not rise. `evenkeel constants` writes none of those.
pub fn mixer() -> Result<CraftMixer, CurveError> {
    let mut mixer = Mixer::new(&DESIGN);
    for (rotor, table) in CURVES.iter().enumerate().filter(|(_, table)| !table.is_empty()) {
        let mut points = [CurvePoint::default(); POINTS];
        for (slot, point) in points.iter_mut().zip(*table) {
            *slot = CurvePoint { command: Flying::from_f64(point.command), thrust_n: Flying::from_f64(point.thrust_n) };
        }
        let points = points.get(..table.len()).ok_or(CurveError::Points)?;
        mixer = mixer.with_curve(rotor, ThrustCurve::table(points)?);
    }
    Ok(mixer)
}

/// What tells this craft from others.
pub fn fingerprint() -> Fingerprint {
    evenkeel_controller::link::fingerprint(&CraftFacts {
        rotors: &GEOMETRY,
        center_of_mass_m: CENTER_OF_MASS_M,
        priority: PRIORITY,
        curves: &CURVES,
        config: CONFIG,
    })
}

/// Its name as far as it fits on the link.
pub fn name() -> CraftName {
    let mut name = CraftName::new();
    for character in NAME.chars() {
        if name.push(character).is_err() {
            break;
        }
    }
    name
}
