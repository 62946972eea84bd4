//! What `evenkeel constants` writes, compiled: the craft that the compiler makes of it is that of the file, bit for bit.
//!
//! The craft is unlike the firmware's in all that can differ: six rotors listed one by one, bench tables, a centre of
//! mass off the datum, an order of priority of its own. That the constants are those of its file today is asserted beside
//! the firmware's, in `board_link.rs`: there they can be written anew when these no longer compile.

use evenkeel::board::{constants, craft_fingerprint, flight_computer_config};
use evenkeel::craft::Craft;
use evenkeel::demo;
use evenkeel::file::parse_craft;
use evenkeel::onboard::{priority, rotors};
use evenkeel_controller::link::{CraftFacts, fingerprint};
use evenkeel_mixer::{Axis, CurvePoint, Design, Mixer, Priority, Wrench, facet_capacity};
use evenkeel_tests::document;

#[path = "board_constants/written.rs"]
mod written;

const GRAVITY: f64 = 9.806_65;
const FILE: &str = "tests/tests/board_constants/craft.toml";
const FACETS: usize = facet_capacity(written::ROTORS);

/// Worked out while this file compiles.
static DESIGN: Design<{ written::ROTORS }, FACETS> =
    Design::expect(&written::GEOMETRY, written::CENTER_OF_MASS_M, written::PRIORITY);

fn craft() -> Craft {
    parse_craft(FILE, &document::read(FILE)).expect("a craft")
}

/// The design made when the program runs.
fn at_run_time(craft: &Craft) -> Design<{ written::ROTORS }, FACETS> {
    let priority = priority(craft).expect("an order");
    Design::new(&rotors(craft), craft.body.center_of_mass_m, priority).expect("it can be controlled")
}

#[test]
fn compiled_design_is_that_of_the_run_time_bit_for_bit() {
    let run_time = at_run_time(&craft());
    // Debug prints as many digits as it takes to tell two numbers apart, and the sign of zero.
    assert!(format!("{DESIGN:?}") == format!("{run_time:?}"), "the two designs differ");
    let (compiled, made) = (Mixer::<f32, 6, FACETS>::new(&DESIGN), Mixer::<f32, 6, FACETS>::new(&run_time));
    for number in 0..2_000_u32 {
        // Far beyond what the rotors can do, each way.
        let part = |axis: u32| ((number * 4 + axis).wrapping_mul(2_654_435_761) >> 8) as f32 / (1 << 23) as f32 - 1.0;
        let demand = Wrench {
            thrust_n: 45.0 + 60.0 * part(0),
            roll_nm: 12.0 * part(1),
            pitch_nm: 12.0 * part(2),
            yaw_nm: 3.0 * part(3),
        };
        let bits = |mixer: &Mixer<f32, 6, FACETS>| -> Vec<u32> {
            mixer.allocate(demand).thrusts_n.iter().map(|thrust_n| thrust_n.to_bits()).collect()
        };
        assert_eq!(bits(&compiled), bits(&made), "{demand:?}");
    }
}

#[test]
fn compiled_craft_has_the_fingerprint_and_the_configuration_of_its_file() {
    let compiled = fingerprint(&CraftFacts {
        rotors: &written::GEOMETRY,
        center_of_mass_m: written::CENTER_OF_MASS_M,
        priority: written::PRIORITY,
        curves: &written::CURVES,
        config: written::CONFIG,
    });
    assert_eq!(compiled, craft_fingerprint(&craft(), GRAVITY).expect("it flies"));
    assert_eq!(written::CONFIG, flight_computer_config(&craft(), GRAVITY).expect("it flies"));
    assert_eq!((written::NAME, written::POINTS), (craft().name.as_str(), 5));
    let last = CurvePoint { command: 1.0, thrust_n: 15.0 };
    assert!(written::CURVES.iter().all(|curve| curve.last() == Some(&last)), "as in the craft file");
}

/// Every way to put these axes into tiers.
fn orders(axes: &[Axis]) -> Vec<Vec<Vec<Axis>>> {
    if axes.is_empty() {
        return vec![Vec::new()];
    }
    let mut found = Vec::new();
    for first in 1_u8..1 << axes.len() {
        let (top, rest): (Vec<_>, Vec<_>) = axes.iter().enumerate().partition(|(place, _)| first & (1 << place) != 0);
        let axes = |part: Vec<(usize, &Axis)>| part.into_iter().map(|(_, axis)| *axis).collect::<Vec<_>>();
        let top = axes(top);
        found.extend(orders(&axes(rest)).into_iter().map(|further| [vec![top.clone()], further].concat()));
    }
    found
}

/// The order that a written constant stands for, read as the compiler reads it.
fn read_back(text: &str) -> Priority {
    let (_, rest) = text.split_once("PRIORITY: Priority = Priority::expect(&[").expect("an order");
    let (arguments, _) = rest.split_once(");").expect("its end");
    let (tiers, keep) = arguments.rsplit_once("], ").expect("two arguments");
    let axis = |name: &str| {
        let named = |axis: &&Axis| name == format!("Axis::{axis:?}");
        *Axis::ALL.iter().find(named).unwrap_or_else(|| panic!("{name} is no axis"))
    };
    let tiers: Vec<Vec<Axis>> = tiers
        .split("&[")
        .skip(1)
        .map(|tier| tier.split_once(']').expect("a tier ends").0.split(", ").map(axis).collect())
        .collect();
    let tiers: Vec<&[Axis]> = tiers.iter().map(Vec::as_slice).collect();
    Priority::new(&tiers, keep.parse().expect("true or false")).expect("an order")
}

#[test]
fn any_order_of_priority_is_written_as_it_is() {
    let mut craft = demo::quad().expect("the demo craft");
    let all = orders(&Axis::ALL);
    assert_eq!(all.len(), 75, "the ordered partitions of four");
    for (number, order) in all.into_iter().enumerate() {
        craft.saturation.priority = order;
        craft.saturation.keep_yaw_sign = number % 2 == 0;
        let text = constants(&craft, GRAVITY).expect("it flies");
        assert_eq!(Ok(read_back(&text)), priority(&craft), "{:?}", craft.saturation.priority);
    }
}
