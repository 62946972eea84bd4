//! The plane against the facets: two ways to one answer.

use std::vec::Vec;

use proptest::prelude::{Just, ProptestConfig, Strategy, prop_oneof};
use proptest::proptest;

use crate::wrench::Axis::{Pitch, Roll, Thrust, Yaw};
use crate::{Design, Mixer, Priority, Rotor, Spin, Wrench, facet_capacity};

const FACETS: usize = facet_capacity(4);
/// Both ways agree to this share of what the rotors can do in an axis.
const TOL_F64: f64 = 1e-9;
const CASES: u32 = 4096;

fn rotors(spread: f64) -> impl Strategy<Value = Vec<Rotor>> {
    let shift = -spread..=spread;
    let one = (shift.clone(), shift, 6.0..=10.0_f64, 0.01..=0.03_f64);
    (proptest::array::uniform4(one), prop_oneof![Just(0.0), Just(0.3)]).prop_map(|(found, thrust_min_n)| {
        let corner = [(1.0, 1.0, Spin::Ccw), (-1.0, 1.0, Spin::Cw), (-1.0, -1.0, Spin::Ccw), (1.0, -1.0, Spin::Cw)];
        let placed =
            corner.into_iter().zip(found).map(|((x, y, spin), (dx, dy, thrust_max_n, torque_per_thrust_m))| {
                let position_m = [0.2 * x + dx, 0.2 * y + dy, 0.0];
                Rotor { position_m, spin, torque_per_thrust_m, thrust_min_n, thrust_max_n, ..Rotor::UP }
            });
        placed.collect()
    })
}

fn orders() -> impl Strategy<Value = Priority> {
    let order = |tiers, keep| Priority::new(tiers, keep).expect("an order");
    prop_oneof![
        Just(Priority::DEFAULT),
        Just(order(&[&[Roll, Pitch], &[Thrust], &[Yaw]], false)),
        Just(order(&[&[Roll, Pitch], &[Yaw], &[Thrust]], true)),
        Just(order(&[&[Roll, Yaw], &[Thrust], &[Pitch]], true)),
        Just(order(&[&[Thrust, Yaw], &[Pitch], &[Roll]], true)),
        Just(order(&[&[Thrust, Pitch], &[Roll], &[Yaw]], true)),
        Just(order(&[&[Roll, Thrust], &[Yaw], &[Pitch]], true)),
        Just(order(&[&[Pitch, Yaw], &[Roll], &[Thrust]], false)),
    ]
}

/// What both ways make of a demand, as shares of the axis ranges; nothing where the plane leaves it to the facets.
fn apart(mixer: &Mixer<f64, 4, FACETS>, demand: &[f64; 4], reach: &[f64; 4]) -> Option<f64> {
    let plane = mixer.on_the_plane(demand, None)?;
    let facets = mixer.walked(demand, None);
    let units = mixer.units;
    let shares = (0..4).map(|k| (plane.wrench[k] - facets.wrench[k]).abs() * units[k] / reach[k]);
    Some(shares.fold(0.0, f64::max))
}

fn demand(of: [f64; 4], reach: &[f64; 4]) -> [f64; 4] {
    let [thrust, roll, pitch, yaw] = reach;
    [(of[0] * thrust).abs(), of[1] * roll, of[2] * pitch, of[3] * yaw]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(CASES))]

    #[test]
    fn chooses_what_the_facets_choose(
        rotors in prop_oneof![rotors(0.0), rotors(0.05)],
        order in orders(),
        of in proptest::array::uniform4(-2.0..=2.0_f64),
        size in prop_oneof![0.1..=0.4_f64, Just(1.0)],
        share in 0.5..=1.0_f64,
    ) {
        let Ok(design) = Design::<4, FACETS>::new(&rotors, [0.0; 3], order) else { return Ok(()) };
        let mut mixer = Mixer::<f64, 4, FACETS>::new(&design);
        proptest::prop_assert!(mixer.scale_ceilings(share));
        let reach = reach(&mixer);
        let demand = demand(of.map(|share| size * share), &reach);
        if let Some(apart) = apart(&mixer, &demand, &reach) {
            proptest::prop_assert!(apart <= TOL_F64, "{demand:?}: {apart:e}");
        }
    }
}

fn reach(mixer: &Mixer<f64, 4, FACETS>) -> [f64; 4] {
    let mut reach = [0.0; 4];
    for (column, (_, ceiling)) in mixer.columns().zip(mixer.limits_n()) {
        for (sum, share) in reach.iter_mut().zip(column) {
            *sum += share.abs() * ceiling;
        }
    }
    reach
}

/// The quick way would be none if the facets had to be asked often.
#[test]
fn leaves_no_demand_on_a_quadrotor_to_the_facets() {
    let corner = [(1.0, 1.0, Spin::Ccw), (-1.0, 1.0, Spin::Cw), (-1.0, -1.0, Spin::Ccw), (1.0, -1.0, Spin::Cw)];
    let place = |by: f64| {
        corner.map(|(x, y, spin)| Rotor {
            position_m: [0.2 * x + by, 0.17 * y, 0.0],
            spin,
            torque_per_thrust_m: 0.016,
            thrust_min_n: 0.3,
            thrust_max_n: 8.0,
            ..Rotor::UP
        })
    };
    for by in [0.0, 0.015, 0.03] {
        let design = Design::<4, FACETS>::new(&place(by), [0.0; 3], Priority::DEFAULT).expect("a quadrotor");
        let mixer = Mixer::<f32, 4, FACETS>::new(&design);
        let (mut cut, mut left) = (0, 0);
        for k in 0..50_000 {
            let part = |step: f64| 4.0 * (f64::from(k) * step).fract() - 2.0;
            let of = [part(0.754_877_666), part(0.569_840_291), part(0.618_033_989), part(0.324_717_957)];
            let demand = demand(of, &[32.0, 6.4, 5.4, 0.512]).map(|value| value as f32);
            if mixer.allocate(Wrench::from_array(demand)).saturated() {
                cut += 1;
                left += usize::from(mixer.on_the_plane(&demand, None).is_none());
            }
        }
        assert!(cut > 10_000 && left == 0, "{left} of {cut} at {by}");
    }
}

/// In fixed point rounding does not shrink with what is rounded: here a gap of five of its steps lies between strips whose
/// slopes differ by 25.
#[cfg(feature = "fixed")]
#[test]
fn steps_along_no_slope_that_is_rounding_in_fixed_point() {
    use crate::{Fixed, Scalar};

    /// Newtons and newton metres.
    const TOL: f64 = 1e-6;
    let places = [
        [0.249_812_585_234_384_82, 0.250_234_740_226_124_9, 0.010_360_887_860_324_377],
        [-0.249_977_566_809_509_58, 0.249_946_944_898_808_75, 0.008_419_981_488_003_152],
        [-0.250_073_155_640_288_6, -0.250_002_448_224_497_4, 0.007_667_078_683_290_807_5],
        [0.249_813_889_949_352_25, -0.249_783_432_525_458_57, 0.013_522_772_284_877_36],
    ];
    let floors =
        [0.268_416_825_823_611_15, 0.181_228_533_603_389_47, 0.090_609_972_333_021_69, 0.195_362_732_570_776_5];
    let ceilings = [7.943_767_042_686_153, 4.822_994_070_948_025, 5.176_772_400_905_854, 8.806_124_194_453_65];
    let rotors: [Rotor; 4] = core::array::from_fn(|i| Rotor {
        position_m: [places[i][0], places[i][1], 0.0],
        spin: if i % 2 == 0 { Spin::Ccw } else { Spin::Cw },
        torque_per_thrust_m: places[i][2],
        thrust_min_n: floors[i],
        thrust_max_n: ceilings[i],
        ..Rotor::UP
    });
    let design = Design::<4, FACETS>::new(&rotors, [0.0; 3], Priority::DEFAULT).expect("a quadrotor");
    let demand = [17.394_266_589_544_713, -2.039_724_700_152_874, 1.887_213_136_302_307_2, -0.018_938_046_414_405_107];
    let exact = Mixer::<f64, 4, FACETS>::new(&design).allocate(Wrench::from_array(demand)).achieved;
    let fixed = Mixer::<Fixed, 4, FACETS>::new(&design).allocate(Wrench::from_array(demand.map(Fixed::from_f64)));
    for (fixed, exact) in fixed.achieved.to_array().into_iter().zip(exact.to_array()) {
        assert!((fixed.to_f64() - exact).abs() <= TOL, "{fixed:?}, not {exact}");
    }
}
