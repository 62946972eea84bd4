//! How many seconds the plant flies in a second of one core, at a step of a millisecond, without controller and log.
//!
//! `cargo run --release -p evenkeel --example plant_speed`
use std::error::Error;
use std::hint::black_box;
use std::path::Path;
use std::time::Instant;

use evenkeel::craft::{Battery, Craft, GroundEffect, Inflow};
use evenkeel::file::read_craft;
use evenkeel::plant::{Plant, PlantState};
use evenkeel::script::{Turbulence, World};

const STEPS: u32 = 1_000_000;
const DT_S: f64 = 0.001;
const REPEATS: u32 = 5;

/// Best of a few runs: what else the machine does only slows a run down.
fn flight_seconds_per_second(craft: &Craft, world: &World) -> f64 {
    let plant = Plant::new(craft, world).seeded(1);
    let hover = (craft.body.mass_kg * world.gravity_m_s2
        / craft.rotors.iter().map(|rotor| rotor.thrust_max_n).sum::<f64>())
    .sqrt();
    let mut best = 0.0_f64;
    for _ in 0..REPEATS {
        let mut state = PlantState::default();
        state.position_m.z = -30.0;
        let started = Instant::now();
        for _ in 0..STEPS {
            // A free fall from here would change what is measured.
            state.position_m.z = -30.0;
            plant.advance(black_box(&mut state), black_box(&[hover; 16]), DT_S);
        }
        best = best.max(f64::from(STEPS) * DT_S / started.elapsed().as_secs_f64());
    }
    best
}

fn main() -> Result<(), Box<dyn Error>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("crafts");
    for name in ["quad", "six", "eight"] {
        let mut craft = read_craft(&folder.join(name).with_extension("toml"))?;
        let plain = flight_seconds_per_second(&craft, &World::default());
        for rotor in &mut craft.rotors {
            rotor.in_moving_air.inflow = Inflow::Momentum;
            rotor.in_moving_air.drag_n_per_m_s = 0.02;
        }
        craft.ground_effect = Some(GroundEffect { datum_height_m: 0.2 });
        craft.battery = Some(Battery {
            capacity_ah: 1e4,
            full_v: 16.8,
            empty_v: 13.2,
            resistance_ohm: 0.02,
            efficiency: 0.8,
            charge: 1.0,
            voltage_curve: None,
        });
        let world = World {
            ground_altitude_m: Some(500.0),
            turbulence: Some(Turbulence { wind_20ft_m_s: 7.7 }),
            ..World::default()
        };
        let all = flight_seconds_per_second(&craft, &world);
        println!("{name}: {plain:.0} flight-seconds a second, with every option {all:.0}");
    }
    Ok(())
}
