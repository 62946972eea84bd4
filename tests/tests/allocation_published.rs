//! Allocation against published examples and independently computed tables. The tables stand in
//! `reference/` with their sources; what each value rests on is repeated beside its check.

use evenkeel_mixer::{Axis, Design, Effectiveness, Mixer, Priority, Rotor, Spin, Wrench, facet_capacity};
use nalgebra::Matrix4;
use toml::{Table, Value};

const F: usize = facet_capacity(8);

/// The tables print twelve decimals.
const TABLE_TOL: f64 = 1e-9;
/// Published or printed to three or four decimals.
const PRINTED_TOL: f64 = 6e-4;
/// The torque ratio of the research quad is printed to 3e-5 of its value, yaw is 0.07 N m.
const PARAMETER_TOL: f64 = 3e-6;
/// Printed to six decimals.
const SIX_DECIMALS: f64 = 1e-6;
/// Deflections printed to six decimals, degrees: the sum of seven of them is asked for, so their roundings add up.
const DEFLECTION_TOL: f64 = 5e-6;

fn examples(name: &str) -> Table {
    let text = include_str!("../reference/allocation_examples.toml");
    let all: Table = text.parse().unwrap();
    all[name].as_table().unwrap().clone()
}

fn number(value: &Value) -> f64 {
    value.as_float().or_else(|| value.as_integer().map(|whole| whole as f64)).unwrap()
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(number).collect()
}

fn upright(x: f64, y: f64, spin: Spin, torque_per_thrust_m: f64, thrust_max_n: f64) -> Rotor {
    Rotor { position_m: [x, y, 0.0], spin, torque_per_thrust_m, thrust_min_n: 0.0, thrust_max_n, ..Rotor::UP }
}

fn mixer(rotors: &[Rotor], priority: Priority) -> Mixer<f64, 8, F> {
    Mixer::new(&Design::new(rotors, [0.0; 3], priority).unwrap())
}

/// Source: invented geometry, computed with numpy.linalg.pinv (header of the table).
#[test]
fn columns_inverse_and_thrusts_agree_with_the_pseudo_inverse_table() {
    let text = include_str!("../reference/pseudo_inverse_allocation.csv");
    let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(text.as_bytes());
    let rows: Vec<(String, Vec<f64>)> = reader
        .records()
        .map(|record| {
            let record = record.unwrap();
            (record[0].to_string(), record.iter().skip(1).map(|field| field.parse().unwrap()).collect())
        })
        .collect();
    let demand = Wrench { thrust_n: 14.709975, roll_nm: 0.3, pitch_nm: -0.2, yaw_nm: 0.05 };
    let mut layouts: Vec<&str> = rows.iter().map(|(layout, _)| layout.as_str()).collect();
    layouts.dedup();
    assert_eq!(layouts, ["quadX", "quadPlus", "hexaX", "octoX"]);
    for layout in layouts {
        let table: Vec<&[f64]> = rows.iter().filter(|(name, _)| name == layout).map(|(_, row)| &row[..]).collect();
        let rotor = |row: &&[f64]| {
            let spin = if row[3] > 0.0 { Spin::Ccw } else { Spin::Cw };
            upright(row[1], row[2], spin, 0.016, 8.0)
        };
        let rotors: Vec<Rotor> = table.iter().map(rotor).collect();
        let matrix = Effectiveness::<8>::new(&rotors, [0.0; 3]).unwrap();
        let thrusts = mixer(&rotors, Priority::DEFAULT).allocate(demand).thrusts_n;
        for (i, row) in table.iter().enumerate() {
            for axis in 0..4 {
                let (effect, inverse) = (matrix.columns()[i][axis], matrix.pseudo_inverse()[i][axis]);
                assert!((effect - row[4 + axis]).abs() < TABLE_TOL, "{layout} {} B {effect}", i + 1);
                assert!((inverse - row[8 + axis]).abs() < TABLE_TOL, "{layout} {} inverse {inverse}", i + 1);
            }
            assert!((thrusts[i] - row[12]).abs() < TABLE_TOL, "{layout} rotor {}: {}", i + 1, thrusts[i]);
        }
    }
}

/// Source: parameters from S. Sun et al., IEEE T-RO 2022, tables I and II (read); results computed by
/// hand of that model in strict order, yaw free to turn. The paper's axes are x forward, y left, z up:
/// pitch and yaw change sign against ours.
#[test]
fn research_quad_achieves_the_exact_wrench_of_its_table() {
    let (arm, angle, ratio) = (0.14_f64, 56.0_f64.to_radians(), 0.015695);
    let (x, y) = (arm * angle.cos(), arm * angle.sin());
    let rotors = [
        upright(-x, y, Spin::Cw, ratio, 8.5),
        upright(x, -y, Spin::Cw, ratio, 8.5),
        upright(-x, -y, Spin::Ccw, ratio, 8.5),
        upright(x, y, Spin::Ccw, ratio, 8.5),
    ];
    let mixer = mixer(&rotors, Priority::DEFAULT.with_keep_yaw_sign(false));
    let inverse = Effectiveness::<4>::new(&rotors, [0.0; 3]).unwrap().pseudo_inverse();
    let ours = |values: Vec<f64>| [values[0], values[1], -values[2], -values[3]];
    let cases = examples("research_quad")["case"].as_array().unwrap().clone();
    assert_eq!(cases.len(), 3);
    for case in cases {
        let demand = ours(numbers(&case["demand"]));
        for (row, printed) in inverse.iter().zip(numbers(&case["inverse"])) {
            let thrust: f64 = row.iter().zip(demand).map(|(share, value)| share * value).sum();
            assert!((thrust - printed).abs() < 6e-3, "inverse {thrust}, printed {printed}");
        }
        let achieved = mixer.allocate(Wrench::from_array(demand)).achieved.to_array();
        for (got, printed) in achieved.into_iter().zip(ours(numbers(&case["exact_achieves"]))) {
            assert!((got - printed).abs() < PARAMETER_TOL, "{achieved:?}, printed {printed}");
        }
    }
}

/// Source: the three-moment, seven-surface example of J. Stephan, W. Fichter, IEEE TCST 27(1), 2019
/// (arXiv:1607.05209, section IV; read in a public transcription). Scales computed independently by
/// linear programming. A surface between its limits is a rotor between zero and their difference,
/// with the moments at the lower limits taken off; the sum of deflections plays thrust and is free.
#[test]
fn surfaces_scale_along_the_demand_as_far_as_published() {
    let example = examples("aircraft_3x7");
    let effect: Vec<Vec<f64>> = example["b_times_1e5"].as_array().unwrap().iter().map(numbers).collect();
    let (lower, upper) = (numbers(&example["lower_deg"]), numbers(&example["upper_deg"]));
    // Roll is −y, pitch x, yaw the reaction torque, newtons stand for degrees.
    let surface = |i: usize| {
        let [roll, pitch, yaw] = [0, 1, 2].map(|k| effect[k][i] * 1e-5);
        let spin = if yaw > 0.0 { Spin::Ccw } else { Spin::Cw };
        upright(pitch, -roll, spin, yaw.abs(), upper[i] - lower[i])
    };
    let rotors: Vec<Rotor> = (0..7).map(surface).collect();
    let mixer = mixer(&rotors, Priority::DEFAULT);
    let at_lower = [0, 1, 2].map(|k| -effect[k].iter().zip(&lower).map(|(b, low)| b * 1e-5 * low).sum::<f64>());
    let total: f64 = upper.iter().zip(&lower).map(|(high, low)| high - low).sum();
    for case in example["case"].as_array().unwrap() {
        let demand = numbers(&case["demand"]);
        let direction = Wrench { thrust_n: 0.0, roll_nm: demand[0], pitch_nm: demand[1], yaw_nm: demand[2] };
        let scale = |sum: f64| {
            let from = Wrench { thrust_n: sum, roll_nm: at_lower[0], pitch_nm: at_lower[1], yaw_nm: at_lower[2] };
            let (low, high) = mixer.span(from, direction);
            if low <= high { high } else { -1.0 }
        };
        // The scale is concave in the free sum: golden-section search.
        let (mut low, mut high) = (0.0, total);
        for _ in 0..200 {
            let (a, b) = (high - (high - low) / 1.618_033_988_75, low + (high - low) / 1.618_033_988_75);
            if scale(a) < scale(b) { low = a } else { high = b }
        }
        let (got, printed) = (scale(0.5 * (low + high)), number(&case["direction_scale"]));
        assert!((got - printed).abs() < 2.0 * SIX_DECIMALS, "{demand:?}: {got}, printed {printed}");
        if let Some(achieves) = case.get("scaled_achieves") {
            for (asked, printed) in demand.iter().zip(numbers(achieves)) {
                assert!((got * asked - printed).abs() < SIX_DECIMALS, "{demand:?}: {}, printed {printed}", got * asked);
            }
        }
    }
}

/// Source: the same example; deflections computed independently by quadratic programming and by a product. The mixer has a
/// fourth row, thrust, for which the sum of the deflections stands. The pseudo-inverse's are of least effort among all
/// sums, so also among those of their own: ours must give them. Within the box the mixer's effort counts from the lower
/// limits, the table's from zero: there the moments are compared, that they are met, and that no effort is wasted.
#[test]
fn surfaces_deflect_as_published_where_their_sum_is_asked_for_too() {
    let example = examples("aircraft_3x7");
    let effect: Vec<Vec<f64>> = example["b_times_1e5"].as_array().unwrap().iter().map(numbers).collect();
    let (lower, upper) = (numbers(&example["lower_deg"]), numbers(&example["upper_deg"]));
    let surface = |i: usize| {
        let [roll, pitch, yaw] = [0, 1, 2].map(|k| effect[k][i] * 1e-5);
        let spin = if yaw > 0.0 { Spin::Ccw } else { Spin::Cw };
        upright(pitch, -roll, spin, yaw.abs(), upper[i] - lower[i])
    };
    let rotors: Vec<Rotor> = (0..7).map(surface).collect();
    let mixer = mixer(&rotors, Priority::DEFAULT);
    let inverse = Effectiveness::<7>::new(&rotors, [0.0; 3]).unwrap().pseudo_inverse();
    let at_lower = mixer.wrench(&lower).to_array();
    let (mut by_product, mut in_box) = (0, 0);
    for case in example["case"].as_array().unwrap() {
        let demand = numbers(&case["demand"]);
        if let Some(printed) = case.get("pseudo_inverse_deg").map(numbers) {
            let asked = [printed.iter().sum(), demand[0], demand[1], demand[2]];
            for (row, printed) in inverse.iter().zip(&printed) {
                let got: f64 = row.iter().zip(asked).map(|(share, value)| share * value).sum();
                assert!((got - printed).abs() < DEFLECTION_TOL, "{demand:?}: {got}, printed {printed}");
            }
            by_product += 1;
        }
        if let Some(printed) = case.get("least_squares_in_box_deg").map(numbers) {
            let above: Vec<f64> = printed.iter().zip(&lower).map(|(deflection, low)| deflection - low).collect();
            let wrench = mixer.wrench(&above);
            for (k, asked) in demand.iter().enumerate() {
                let made = wrench.to_array()[k + 1] + at_lower[k + 1];
                assert!((made - asked).abs() < SIX_DECIMALS, "{demand:?}: the deflections make {made}");
            }
            let allocation = mixer.allocate(wrench);
            assert!(!allocation.saturated(), "{demand:?}: {:?}", allocation.achieved);
            let effort = |thrusts: &[f64]| thrusts.iter().map(|thrust| thrust * thrust).sum::<f64>();
            assert!(effort(&allocation.thrusts_n) <= effort(&above) * (1.0 + SIX_DECIMALS), "{demand:?}");
            in_box += 1;
        }
    }
    assert_eq!((by_product, in_box), (1, 2), "cases with deflections");
}

/// Source: G.-X. Du et al., JGCD 38(5), 2015 (arXiv:1403.5986; abstract read, table values from memory
/// and reproduced independently).
#[test]
fn hexarotor_has_the_published_authority_after_each_failure() {
    let example = examples("hexarotor_after_a_failure");
    let value = |key: &str| number(&example[key]);
    let hover = Wrench { thrust_n: value("mass_kg") * value("gravity_m_s2"), ..Wrench::default() };
    let ring = |spins: &str| -> Vec<Rotor> {
        let rotor = |(i, spin): (usize, char)| {
            let azimuth = (60.0 * i as f64).to_radians();
            let spin = if spin == 'p' { Spin::Ccw } else { Spin::Cw };
            let (x, y) = (value("arm_m") * azimuth.cos(), value("arm_m") * azimuth.sin());
            upright(x, y, spin, value("torque_per_thrust_m"), value("thrust_max_n"))
        };
        spins.chars().enumerate().map(rotor).collect()
    };
    for spins in ["pnpnpn", "ppnnpn"] {
        let printed = example[&format!("index_{spins}")].as_table().unwrap().clone();
        let whole = mixer(&ring(spins), Priority::DEFAULT);
        let index = whole.control_authority_index(hover);
        assert!((index - number(&printed["none"])).abs() < PRINTED_TOL, "{spins}: {index}");
        for lost in 1..=6 {
            let mut left = whole.clone();
            assert!(left.fail_rotor(lost - 1));
            let index = left.control_authority_index(hover);
            let expected = printed.get(&format!("lost_{lost}")).unwrap_or_else(|| &printed["any_one_lost"]);
            match expected.as_str() {
                Some(words) => {
                    assert_eq!(words, "not controllable");
                    assert!(index <= TABLE_TOL, "{spins} without {lost}: {index}");
                }
                None => assert!((index - number(expected)).abs() < PRINTED_TOL, "{spins} without {lost}: {index}"),
            }
        }
    }
}

/// Source: T. Lee, M. Leok, N. H. McClamroch, 49th IEEE CDC, 2010 (matrix from memory).
#[test]
fn effectiveness_of_the_plus_quad_has_the_published_determinant() {
    let example = examples("hover_balance_3x4");
    let (arm, ratio) = (number(&example["arm_m"]), number(&example["torque_per_thrust_m"]));
    let rotors = [
        upright(arm, 0.0, Spin::Cw, ratio, 8.0),
        upright(0.0, arm, Spin::Ccw, ratio, 8.0),
        upright(-arm, 0.0, Spin::Cw, ratio, 8.0),
        upright(0.0, -arm, Spin::Ccw, ratio, 8.0),
    ];
    let matrix = Effectiveness::<4>::new(&rotors, [0.0; 3]).unwrap();
    let determinant = Matrix4::from_fn(|row, column| matrix.columns()[column][row]).determinant();
    let printed = number(&example["determinant"]);
    assert!((determinant - printed).abs() < SIX_DECIMALS * printed, "{determinant:e}, printed {printed:e}");
}

/// The order of the tiers is what the research quad's table assumes.
#[test]
fn default_order_is_roll_and_pitch_then_thrust_then_yaw() {
    let tiers: [&[Axis]; 3] = [&[Axis::Roll, Axis::Pitch], &[Axis::Thrust], &[Axis::Yaw]];
    assert_eq!(Priority::new(&tiers, true), Ok(Priority::DEFAULT));
}
