//! The saturation picture against linear programs and closed forms.
//!
//! The programs know nothing of facets: they have rotor thrusts as variables, floors and ceilings as their
//! limits, and the rigid-body statics written out here once more.

use std::path::Path;

use evenkeel::craft::{Craft, Spin};
use evenkeel::file::read_craft;
use evenkeel::onboard::{Onboard, mixer_for};
use evenkeel::plant::full_speed_rad_s;
use evenkeel::saturation::{Attainable, Picture, stopped_rotors};
use evenkeel::script::World;
use evenkeel_mixer::{Axis, Wrench};
use microlp::{ComparisonOp, OptimizationDirection, Problem, SolveOutcome, Variable};

/// Difference from a linear program, as a share of the largest value of that axis.
const PROGRAM_TOL: f64 = 1.0e-8;
/// Difference from a closed form, relative.
const CLOSED_TOL: f64 = 1.0e-7;
/// On this side of a limit a program must find an answer, and on the other none; relative.
const SIDE: f64 = 1.0e-5;

fn demo(name: &str) -> Craft {
    read_craft(Path::new(&format!("{}/crafts/{name}.toml", env!("CARGO_MANIFEST_DIR")))).unwrap()
}

/// A number in −1 to 1 that looks random and is the same in every run.
fn scatter(seed: u64) -> f64 {
    let mixed = (seed + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    let mixed = (mixed ^ (mixed >> 29)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    ((mixed ^ (mixed >> 32)) as f64 / u64::MAX as f64) * 2.0 - 1.0
}

/// Arms, places, leans and ceilings pulled out of shape.
fn lopsided(mut craft: Craft, seed: u64) -> Craft {
    for (k, rotor) in craft.rotors.iter_mut().enumerate() {
        let at = |which: u64| scatter(1000 * seed + 10 * k as u64 + which);
        rotor.position_m[0] *= 1.0 + 0.2 * at(0);
        rotor.position_m[1] *= 1.0 + 0.2 * at(1);
        let lean = [0.08 * at(2), 0.08 * at(3), -1.0];
        let length = lean.iter().map(|part| part * part).sum::<f64>().sqrt();
        rotor.axis = lean.map(|part| part / length);
        rotor.thrust_max_n *= 1.0 + 0.15 * at(4);
        rotor.thrust_curve = None;
    }
    craft
}

fn ring(spins: &[Spin], floor_n: f64) -> Craft {
    let mut craft = demo("quad");
    let model = craft.rotors[0].clone();
    craft.rotors = spins
        .iter()
        .enumerate()
        .map(|(k, spin)| {
            let azimuth = std::f64::consts::TAU * k as f64 / spins.len() as f64;
            let mut rotor = model.clone();
            rotor.name = format!("rotor {}", k + 1);
            rotor.position_m = [0.25 * azimuth.cos(), 0.25 * azimuth.sin(), 0.0];
            rotor.spin = *spin;
            rotor.thrust_min_n = floor_n;
            rotor
        })
        .collect();
    craft
}

fn crafts() -> Vec<Craft> {
    let mut crafts = vec![demo("quad"), demo("six"), demo("eight")];
    crafts.push(ring(&[Spin::Cw, Spin::Ccw, Spin::Cw, Spin::Ccw, Spin::Cw, Spin::Ccw, Spin::Cw, Spin::Ccw], 0.2));
    for seed in 0..3 {
        let bent = ["quad", "six", "eight"].map(|name| lopsided(demo(name), seed));
        crafts.extend(bent.into_iter().filter(|craft| Onboard::<f32>::new(craft, GRAVITY).is_ok()));
    }
    assert!(crafts.len() >= 10, "only {} crafts are left", crafts.len());
    crafts
}

const GRAVITY: f64 = 9.806_65;

fn weight_n(craft: &Craft) -> f64 {
    craft.body.mass_kg * GRAVITY
}

/// Thrust, roll, pitch and yaw of one newton of each rotor, by rigid-body statics.
fn columns(craft: &Craft) -> Vec<[f64; 4]> {
    let center = craft.body.center_of_mass_m;
    let column = |rotor: &evenkeel::craft::Rotor| {
        let [x, y, z]: [f64; 3] = std::array::from_fn(|k| rotor.position_m[k] - center[k]);
        let [a, b, c] = rotor.axis;
        // The body feels the reaction against the spin: clockwise from above turns about +z, so −k... along
        // the thrust axis it is +k for clockwise.
        let k = if rotor.spin == Spin::Cw { rotor.torque_per_thrust_m } else { -rotor.torque_per_thrust_m };
        [-c, y * c - z * b + k * a, z * a - x * c + k * b, x * b - y * a + k * c]
    };
    craft.rotors.iter().map(column).collect()
}

/// The solver's tolerance is absolute, 1e-7: rows and objectives enlarged by this make it small.
const MAGNIFY: f64 = 1.0e6;

/// A program over rotor thrusts: those axes held, `objective` made as large as can be.
struct Program {
    columns: Vec<[f64; 4]>,
    limits: Vec<(f64, f64)>,
}

impl Program {
    fn of(craft: &Craft) -> Self {
        let limits = craft.rotors.iter().map(|rotor| (rotor.thrust_min_n, rotor.thrust_max_n)).collect();
        Program { columns: columns(craft), limits }
    }

    fn without(mut self, rotor: usize) -> Self {
        self.limits[rotor] = (0.0, 0.0);
        self
    }

    fn largest(&self, objective: [f64; 4], held: &[(usize, f64)]) -> Option<f64> {
        let mut problem = Problem::new(OptimizationDirection::Maximize);
        let gain = |column: &[f64; 4]| MAGNIFY * column.iter().zip(objective).map(|(a, b)| a * b).sum::<f64>();
        let thrusts: Vec<Variable> = self
            .columns
            .iter()
            .zip(&self.limits)
            .map(|(column, limits)| problem.add_var(gain(column), *limits))
            .collect();
        for (axis, value) in held {
            let scale = MAGNIFY / self.range(*axis);
            let terms: Vec<(Variable, f64)> =
                thrusts.iter().zip(&self.columns).map(|(thrust, column)| (*thrust, scale * column[*axis])).collect();
            problem.add_constraint(terms.as_slice(), ComparisonOp::Eq, scale * value);
        }
        match problem.solve().ok()? {
            SolveOutcome::Solution(solution) => Some(solution.objective() / MAGNIFY),
            _ => None,
        }
    }

    fn reaches(&self, held: &[(usize, f64)]) -> bool {
        self.largest([0.0; 4], held).is_some()
    }

    fn range(&self, axis: usize) -> f64 {
        self.columns.iter().zip(&self.limits).map(|(column, (_, high))| column[axis].abs() * high).sum()
    }
}

/// Source: linear programming (`microlp`), on the statics above.
#[test]
fn finds_the_torques_of_a_linear_program_when_others_are_zero() {
    for craft in crafts() {
        let program = Program::of(&craft);
        let set = Attainable::of(&mixer_for(&craft).unwrap());
        for share in [0.7, 1.0, 1.2, 1.5] {
            let level = Wrench { thrust_n: share * weight_n(&craft), ..Wrench::default() };
            for axis in [Axis::Roll, Axis::Pitch, Axis::Yaw] {
                let held: Vec<(usize, f64)> =
                    (0..4).filter(|k| *k != axis.index()).map(|k| (k, level.to_array()[k])).collect();
                let found = set.interval(level, axis);
                let unit = |sense: f64| std::array::from_fn(|k| if k == axis.index() { sense } else { 0.0 });
                let (high, low) = (program.largest(unit(1.0), &held), program.largest(unit(-1.0), &held));
                match (found, high, low) {
                    (Some(found), Some(high), Some(low)) => {
                        let tol = PROGRAM_TOL * program.range(axis.index());
                        assert!(
                            (found.high - high).abs() <= tol && (found.low + low).abs() <= tol,
                            "{}: {found:?} {high} {low}",
                            craft.name
                        );
                    }
                    (None, None, None) => {}
                    other => panic!("{} at {share}: {other:?}", craft.name),
                }
            }
        }
    }
}

/// Source: linear programming (`microlp`): a convex polygon is its support in every direction.
#[test]
fn draws_the_polygons_whose_support_a_linear_program_finds() {
    for craft in crafts() {
        let program = Program::of(&craft);
        let set = Attainable::of(&mixer_for(&craft).unwrap());
        let thrust_n = weight_n(&craft);
        let planes = [
            (Axis::Roll, Axis::Pitch, vec![(0, thrust_n), (3, 0.0)]),
            (Axis::Thrust, Axis::Yaw, vec![(1, 0.0), (2, 0.0)]),
        ];
        for (across, up, held) in planes {
            let corners = set.polygon(Wrench { thrust_n, ..Wrench::default() }, across, up);
            assert!(corners.len() >= 3, "{}: {corners:?}", craft.name);
            let (x, y) = (across.index(), up.index());
            for k in 0..24 {
                let (sin, cos) = (f64::from(k) * std::f64::consts::TAU / 24.0).sin_cos();
                let (along_x, along_y) = (cos / program.range(x), sin / program.range(y));
                let drawn = corners.iter().map(|c| along_x * c[0] + along_y * c[1]).fold(f64::NEG_INFINITY, f64::max);
                let mut objective = [0.0; 4];
                (objective[x], objective[y]) = (along_x, along_y);
                let found = program.largest(objective, &held).unwrap();
                assert!((drawn - found).abs() <= PROGRAM_TOL, "{}: {drawn} against {found}", craft.name);
            }
        }
    }
}

/// Source: linear programming (`microlp`): with a rotor at zero, small torques each way can be had or not.
#[test]
fn holds_level_with_a_rotor_stopped_when_a_linear_program_can() {
    for craft in crafts() {
        let (weight_n, stopped) = (weight_n(&craft), stopped_rotors(&craft, weight_n(&craft)).unwrap());
        for (rotor, one) in stopped.iter().enumerate() {
            let program = Program::of(&craft).without(rotor);
            let near = |axis: usize| SIDE * program.range(axis);
            let all_ways = |axes: &[usize], yaw_held: bool| {
                axes.iter().flat_map(|axis| [(*axis, 1.0), (*axis, -1.0)]).all(|(axis, sense)| {
                    let level = [(0, weight_n), (1, 0.0), (2, 0.0), (3, 0.0)];
                    let held = level.map(|(k, value)| (k, if k == axis { sense * near(k) } else { value }));
                    program.reaches(if yaw_held { &held } else { &held[..3] })
                })
            };
            assert_eq!(one.holds_level, all_ways(&[1, 2, 3], true), "{} without {}: {one:?}", craft.name, one.rotor);
            assert_eq!(
                one.holds_level_without_yaw,
                all_ways(&[1, 2], false),
                "{} without {}: {one:?}",
                craft.name,
                one.rotor
            );
        }
    }
}

/// Source: linear programming (`microlp`), on the statics about the shifted centre of mass.
#[test]
fn loses_hover_where_a_linear_program_does_when_a_load_moves_out() {
    for craft in crafts() {
        let picture = picture(&craft);
        for offset in &picture.answers.offsets {
            let (k, sense) = match offset.towards {
                "front" => (0, 1.0),
                "rear" => (0, -1.0),
                "right" => (1, 1.0),
                _ => (1, -1.0),
            };
            let hovers_at = |share: f64| {
                let mut moved = craft.clone();
                moved.body.center_of_mass_m[k] += sense * share * offset.lost_at_m;
                Program::of(&moved).reaches(&[(0, weight_n(&craft)), (1, 0.0), (2, 0.0), (3, 0.0)])
            };
            assert!(hovers_at(1.0 - SIDE) && !hovers_at(1.0 + SIDE), "{} towards the {}", craft.name, offset.towards);
            let half = |share: f64| {
                let mut moved = craft.clone();
                moved.body.center_of_mass_m[k] += sense * share * offset.halves_at_m;
                weaker_by_program(&moved, 2 - k) / weaker_by_program(&craft, 2 - k)
            };
            assert!((half(1.0) - 0.5).abs() < SIDE, "{} towards the {}: {}", craft.name, offset.towards, half(1.0));
        }
    }
}

/// The weaker way's torque about an axis at hover.
fn weaker_by_program(craft: &Craft, axis: usize) -> f64 {
    let held: Vec<(usize, f64)> =
        [(0, weight_n(craft)), (1, 0.0), (2, 0.0), (3, 0.0)].into_iter().filter(|(k, _)| *k != axis).collect();
    let way = |sense: f64| {
        Program::of(craft).largest(std::array::from_fn(|k| if k == axis { sense } else { 0.0 }), &held).unwrap()
    };
    way(1.0).min(way(-1.0))
}

fn picture(craft: &Craft) -> Picture {
    let onboard = Onboard::<f32>::new(craft, GRAVITY).unwrap();
    Picture::of(craft, &onboard, &World::default()).unwrap()
}

/// Source: linear programming (`microlp`): ceilings scaled, hover with all torques zero.
#[test]
fn hovers_down_to_the_voltage_of_a_linear_program() {
    for craft in crafts() {
        let share = picture(&craft).answers.hover_voltage_share;
        let hovers_at = |voltage: f64| {
            let mut aged = craft.clone();
            aged.rotors.iter_mut().for_each(|rotor| rotor.thrust_max_n *= voltage * voltage);
            Program::of(&aged).reaches(&[(0, weight_n(&craft)), (1, 0.0), (2, 0.0), (3, 0.0)])
        };
        assert!(hovers_at(share * (1.0 + SIDE)) && !hovers_at(share * (1.0 - SIDE)), "{}: {share}", craft.name);
    }
}

/// Source: statics of four equal rotors: the two towards the load stop at their ceilings or the two away from
/// it at their floors, and the moment of that about the middle is the weight's.
#[test]
fn gives_the_closed_forms_when_the_craft_is_a_symmetric_quad() {
    let craft = demo("quad");
    let (weight, rotor) = (weight_n(&craft), &craft.rotors[0]);
    let lever_m = rotor.position_m[0].abs();
    let answers = picture(&craft).answers;
    let ceilings = lever_m * (4.0 * rotor.thrust_max_n - weight) / weight;
    let floors = lever_m * (weight - 4.0 * rotor.thrust_min_n) / weight;
    for offset in &answers.offsets {
        let expected = ceilings.min(floors);
        assert!((offset.lost_at_m / expected - 1.0).abs() < CLOSED_TOL, "{offset:?} against {expected}");
        // Torque to spare falls by the weight's moment: half is left at half the way.
        assert!((offset.halves_at_m / (0.5 * expected) - 1.0).abs() < CLOSED_TOL, "{offset:?}");
    }
    let voltage = (weight / (4.0 * rotor.thrust_max_n)).sqrt();
    assert!((answers.hover_voltage_share / voltage - 1.0).abs() < CLOSED_TOL, "{}", answers.hover_voltage_share);
    let heaviest = answers.heaviest.unwrap();
    let lifted_kg = 4.0 * rotor.thrust_max_n / 1.5 / GRAVITY;
    assert!((heaviest.mass_kg / lifted_kg - 1.0).abs() < CLOSED_TOL, "{heaviest:?}");
    assert_eq!(heaviest.limited_by, "thrust to weight");
}

/// Source: G.-X. Du, Q. Quan, B. Yang, K.-Y. Cai, JGCD 38(5), 2015, their result that six rotors turning
/// alternately cannot be held in hover with any one of them stopped, while with yaw let go they can (from
/// memory).
#[test]
fn loses_yaw_when_a_rotor_of_an_alternating_six_stops() {
    let craft = ring(&[Spin::Cw, Spin::Ccw, Spin::Cw, Spin::Ccw, Spin::Cw, Spin::Ccw], 0.0);
    for one in stopped_rotors(&craft, weight_n(&craft)).unwrap() {
        assert!(!one.holds_level && one.holds_level_without_yaw, "{one:?}");
    }
}

/// Source: the same paper: the order P P N N P N keeps hover with some rotors stopped (from memory).
#[test]
fn keeps_yaw_with_some_rotor_stopped_when_a_six_turns_pairwise() {
    let craft = ring(&[Spin::Cw, Spin::Cw, Spin::Ccw, Spin::Ccw, Spin::Cw, Spin::Ccw], 0.0);
    let held: Vec<bool> = stopped_rotors(&craft, weight_n(&craft)).unwrap().iter().map(|one| one.holds_level).collect();
    assert_eq!(held, [true, true, true, true, false, false]);
}

/// Source: force balance in the world, drag in body axes as docs/plant.md states it.
#[test]
fn balances_drag_thrust_and_weight_in_the_strongest_wind() {
    for craft in crafts() {
        let world = World::default();
        for wind in picture(&craft).answers.wind {
            let axis = usize::from(wind.from != "ahead");
            let (sin, cos) = wind.tilt_rad.sin_cos();
            // Air meets the body along its axis and, tilted into the wind, from above its disc.
            let (along, through) = (wind.speed_m_s * cos, wind.speed_m_s * sin);
            let half_rho = 0.5 * world.air_density_kg_m3;
            let drag_along_n = half_rho * craft.body.drag_area_m2[axis] * along * along;
            let drag_through_n = half_rho * craft.body.drag_area_m2[2] * through * through;
            let horizontal_n = wind.thrust_n * sin - drag_along_n * cos - drag_through_n * sin;
            let vertical_n = wind.thrust_n * cos + drag_along_n * sin - drag_through_n * cos - weight_n(&craft);
            let weight = weight_n(&craft);
            assert!(horizontal_n.abs() < CLOSED_TOL * weight, "{}: {horizontal_n} N across", craft.name);
            assert!(vertical_n.abs() < CLOSED_TOL * weight, "{}: {vertical_n} N down", craft.name);
        }
    }
}

/// Source: the craft file's own voltages, Ohm's law under the power of hover, and thrust that goes with voltage squared
/// (common practice).
#[test]
fn takes_the_battery_of_the_file_when_it_has_one() {
    let text = std::fs::read_to_string(format!("{}/crafts/quad.toml", env!("CARGO_MANIFEST_DIR"))).unwrap();
    let text = text + "\n[battery]\ncapacity_ah = 5.0\nfull_v = 16.8\nempty_v = 14.0\nresistance_ohm = 0.02\n";
    let craft = evenkeel::file::parse_craft("quad.toml", &text).unwrap();
    let picture = picture(&craft);
    let near_empty = picture.operating_points.iter().find(|point| point.name == "hover, battery near empty").unwrap();
    // Reaction torque times speed of four rotors that carry the weight together; V² − E·V + P·R = 0.
    let (rotor, battery) = (&craft.rotors[0], craft.battery.as_ref().unwrap());
    let each_n = weight_n(&craft) / 4.0;
    let speed_rad_s = full_speed_rad_s(rotor) * (each_n / rotor.thrust_max_n).sqrt();
    let power_w = 4.0 * rotor.torque_per_thrust_m * each_n * speed_rad_s / battery.efficiency;
    let terminal_v = 0.5 * (14.0 + (14.0_f64 * 14.0 - 4.0 * power_w * 0.02).sqrt());
    assert!(terminal_v < 13.9, "the resistance must show: {terminal_v} V");
    let expected = (terminal_v / 16.8).powi(2);
    assert!((near_empty.ceiling_share / expected - 1.0).abs() < CLOSED_TOL, "{near_empty:?}");
}
