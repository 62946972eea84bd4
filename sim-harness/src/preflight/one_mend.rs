//! One change of the craft that makes every failed check hold: tried on the craft, and flown.
//!
//! The owner's gains taken out, the centre of mass brought under the rotors, or a lighter craft: the mass of which the checks at
//! rest say that it would do is looked for first, which costs little, and only that one is flown.

use super::{at_rest, checked, remedy};
use crate::craft::{Craft, Gains};
use crate::script::World;
use crate::verdict::{Check, Mend, Preflight};

/// Steps in which a lighter craft is looked for, as a share of the mass, and the least that is left of it.
const MASS_STEP: f64 = 0.05;
const LIGHTEST: f64 = 0.4;
/// So many masses are flown, each a step lighter than the one before.
const MASSES_FLOWN: usize = 2;

/// The first of the changes that was flown and held; `None` where none does, or nothing failed.
///
/// A craft with doubts has none: what is typed wrongly is to be mended first.
pub(super) fn find(craft: &Craft, found: &Preflight) -> Option<Mend> {
    if found.open_doubts().next().is_some() || found.checks().all(Check::passes) {
        return None;
    }
    without_gains(craft).or_else(|| balanced(craft)).or_else(|| lighter(craft))
}

/// Flies the changed craft through the whole check.
fn flown(changed: &Craft, change: String) -> Option<Mend> {
    let found = checked(changed, &|_, _| {}).ok()?;
    let count = found.checks().count();
    (!found.flights.is_empty() && found.checks().all(Check::passes)).then_some(Mend { change, held_after: count })
}

fn without_gains(craft: &Craft) -> Option<Mend> {
    if craft.gains == Gains::default() {
        return None;
    }
    flown(&Craft { gains: Gains::default(), ..craft.clone() }, "take [gains] out of the craft file".into())
}

fn balanced(craft: &Craft) -> Option<Mend> {
    let (change, center_of_mass_m) = (remedy::balanced(craft)?, remedy::balanced_center_m(craft));
    let mut changed = craft.clone();
    changed.body.center_of_mass_m = center_of_mass_m;
    flown(&changed, change)
}

/// Mass alone: the inertia of what is taken off is not known and stays.
fn lighter(craft: &Craft) -> Option<Mend> {
    let of = |share: f64| {
        let mut changed = craft.clone();
        changed.body.mass_kg *= share;
        changed
    };
    let world = World::default();
    let steps = ((1.0 - LIGHTEST) / MASS_STEP) as u32;
    let shares = (1..=steps).map(|step| 1.0 - MASS_STEP * f64::from(step));
    let at_rest = shares.filter(|share| at_rest(&of(*share), &world).is_some_and(|all| all.iter().all(Check::passes)));
    at_rest.take(MASSES_FLOWN).find_map(|share| {
        // To the hundredth of a gram for the smallest crafts, and never less than what was flown.
        let off_kg = craft.body.mass_kg * (1.0 - share);
        let places = if craft.body.mass_kg < 0.5 { 5 } else { 3 };
        flown(&of(share), format!("take {off_kg:.places$} kg off"))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo;
    use crate::preflight::preflight;

    /// The mass printed, taken off, makes the craft fit: what is told was flown, and is flown again here.
    #[test]
    fn mass_that_is_told_makes_an_overloaded_craft_fit() {
        let mut craft = demo::quad().unwrap();
        craft.body.mass_kg = 2.4;
        let mend = preflight(&craft, &|_, _| {}).unwrap().mend.unwrap();
        let off_kg: f64 = mend.change.split_whitespace().nth(1).unwrap().parse().unwrap();
        assert!(mend.change.ends_with("kg off") && off_kg > 0.05, "{}", mend.change);
        craft.body.mass_kg -= off_kg;
        let again = checked(&craft, &|_, _| {}).unwrap();
        assert_eq!((again.checks().count(), again.reasons().count()), (mend.held_after, 0), "{}", mend.change);
    }

    #[test]
    fn gains_are_the_first_to_go_and_a_fit_craft_is_told_nothing() {
        let mut craft = demo::quad().unwrap();
        assert_eq!(preflight(&craft, &|_, _| {}).unwrap().mend, None);
        craft.gains.rate[0].p_per_s = Some(200.0);
        let mend = preflight(&craft, &|_, _| {}).unwrap().mend;
        assert!(mend.is_some_and(|mend| mend.change.contains("[gains]")));
    }
}
