//! Slips that people make: a wrong unit, a slipped digit, a part for the whole.

use super::figure::Figure;
use crate::craft::Craft;

/// Unlikeliness of a slip beside a mistaken unit, on the scale of [`super::relation::Relation::unlikeliness`]. Our choice.
const RARE: f64 = 4.0;

/// One slip of one figure, with the factor that mends it.
#[derive(Clone, Debug)]
pub(super) struct Slip {
    pub figure: Figure,
    /// One rotor alone, or every rotor.
    pub rotor: Option<usize>,
    pub mend: Mend,
    /// What was likely meant: a question, or a statement.
    pub words: String,
    /// How much rarer than a mistaken unit.
    pub rarity: f64,
}

/// What mends a slip.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Mend {
    /// The figure times this.
    Times(f64),
    /// The moments about two axes, exchanged.
    Exchange(usize, usize),
}

impl Slip {
    /// The craft with this slip mended.
    pub fn mended(&self, craft: &Craft) -> Craft {
        match self.mend {
            Mend::Times(factor) => self.figure.scaled(craft, factor, self.rotor),
            Mend::Exchange(a, b) => {
                let mut craft = craft.clone();
                let inertia = &mut craft.body.inertia_kg_m2;
                let (first, second) = (inertia[a][a], inertia[b][b]);
                (inertia[a][a], inertia[b][b]) = (second, first);
                craft
            }
        }
    }
}

/// Grams and kilograms of thrust in newtons.
const KILOGRAM_N: f64 = 9.806_65;
const GRAM_N: f64 = KILOGRAM_N / 1000.0;
const POUND_KG: f64 = 0.453_592_37;
const INCH_M: f64 = 0.0254;
const TURN_A_MINUTE_RAD_S: f64 = std::f64::consts::TAU / 60.0;
/// Most cells in series that a pack has.
const CELLS_MAX: u32 = 14;

/// Factor, words, rarity.
type Row = (f64, &'static str, f64);

const DIGIT: [Row; 2] = [(0.1, "a slipped digit?", RARE), (10.0, "a slipped digit?", RARE)];
const LENGTH: [Row; 3] = [(1e-3, "millimetres?", 0.0), (1e-2, "centimetres?", 0.0), (INCH_M, "inches?", 0.0)];
const MASS: [Row; 4] = [
    (1e-3, "grams?", 0.0),
    (POUND_KG, "pounds?", 1.0),
    (2.0, "half of the mass? Weigh it ready to fly, battery on board:", 1.0),
    (1.0 / KILOGRAM_N, "newtons?", RARE),
];
const THRUST: [Row; 3] = [(GRAM_N, "grams?", 0.0), (KILOGRAM_N, "kilograms?", 0.0), (4.448_222, "pounds?", 1.0)];
const INERTIA: [Row; 6] = [
    (1e-7, "g cm²?", 0.0),
    (1e-4, "kg cm²?", 0.0),
    (1e-3, "g m²?", 0.0),
    (1e-6, "kg mm²?", 0.0),
    (1e-9, "g mm²?", 0.0),
    (1e3, "a slipped digit?", 2.0 * RARE),
];
const ARM: [Row; 2] = [(0.5, "motor to motor across? The arm is half of it:", 0.0), (2.0, "half of the arm?", RARE)];
const TORQUE: [Row; 2] = [(1e-3, "N mm per newton?", 0.0), (1e3, "kN?", 2.0 * RARE)];
const TIME: [Row; 2] = [(1e-3, "milliseconds?", 0.0), (1e-2, "a slipped digit?", RARE)];
const SPEED: [Row; 2] =
    [(TURN_A_MINUTE_RAD_S, "turns a minute?", 0.0), (std::f64::consts::TAU, "turns a second?", 0.0)];
const DIAMETER: [Row; 2] = [(2.0, "the radius?", 0.0), (0.5, "twice the diameter?", RARE)];
const CAPACITY: [Row; 1] = [(1e-3, "mAh?", 0.0)];
const RESISTANCE: [Row; 1] = [(1e-3, "milliohms?", 0.0)];
const AREA: [Row; 3] = [(1e-4, "cm²?", 0.0), (1e-2, "dm²?", 1.0), (1e-6, "mm²?", 0.0)];
const TURN: [Row; 1] = [(180.0 / std::f64::consts::PI, "rad/s?", 0.0)];
const RANGE: [Row; 2] = [
    (8.0, "the finest setting of the part? Set it to its widest:", 0.0),
    (4.0, "a fine setting of the part? Set it wider:", 0.0),
];
const RATE: [Row; 1] = [(1e3, "kHz?", 0.0)];

/// Every slip that could be mended in this craft.
pub(super) fn slips(craft: &Craft) -> Vec<Slip> {
    let fixed = Figure::ALL.into_iter().flat_map(|figure| rows(figure).into_iter().map(move |row| (figure, row)));
    let mut found: Vec<Slip> = fixed
        .map(|(figure, (factor, words, rarity))| Slip {
            figure,
            rotor: None,
            mend: Mend::Times(factor),
            words: words.into(),
            rarity,
        })
        .collect();
    let count = craft.rotors.len();
    let times =
        |figure, factor, words: String, rarity| Slip { figure, rotor: None, mend: Mend::Times(factor), words, rarity };
    found.push(times(Figure::Thrust, 1.0 / count as f64, format!("all {count} rotors together?"), 0.0));
    if let Some(thrust_n) = Figure::Thrust.value(craft) {
        found.push(times(Figure::Torque, 1.0 / thrust_n, "the torque at full thrust, in N m?".into(), 1.0));
        found.push(times(Figure::ThrustMin, thrust_n / 100.0, "per cent of full thrust?".into(), 1.0));
    }
    found.extend((2..=CELLS_MAX).map(|cells| {
        times(Figure::Voltage, f64::from(cells), format!("the voltage of one cell? With {cells} in series"), 0.0)
    }));
    for (figure, axes, words) in
        [(Figure::InertiaZz, (0, 2), "xx and zz exchanged?"), (Figure::InertiaZz, (1, 2), "yy and zz exchanged?")]
    {
        found.push(Slip {
            figure,
            rotor: None,
            mend: Mend::Exchange(axes.0, axes.1),
            words: words.into(),
            rarity: 0.0,
        });
    }
    found.extend(of_one_rotor(craft));
    found.retain(|slip| slip.figure.value(craft).is_some());
    found
}

/// The same slips in one rotor that differs from the others.
fn of_one_rotor(craft: &Craft) -> Vec<Slip> {
    let figures =
        [Figure::Thrust, Figure::ThrustMin, Figure::Torque, Figure::Lag, Figure::Diameter, Figure::Speed, Figure::Arm];
    let odd = figures
        .into_iter()
        .flat_map(|figure| super::odd::odd_rotors(craft, figure).into_iter().map(move |odd| (figure, odd.rotor)));
    odd.flat_map(|(figure, rotor)| {
        rows(figure).into_iter().map(move |(factor, words, rarity)| Slip {
            figure,
            rotor: Some(rotor),
            mend: Mend::Times(factor),
            words: words.into(),
            rarity,
        })
    })
    .collect()
}

fn rows(figure: Figure) -> Vec<Row> {
    let own: &[&[Row]] = match figure {
        Figure::Mass => &[&MASS, &DIGIT],
        Figure::CenterOfMass | Figure::DatumHeight => &[&LENGTH, &DIGIT],
        Figure::Inertia => &[&INERTIA, &DIGIT],
        Figure::InertiaXx | Figure::InertiaYy | Figure::InertiaZz | Figure::EmptyVoltage => &[&DIGIT],
        Figure::SpinInertia => &[&INERTIA, &DIGIT],
        Figure::DragArea => &[&AREA, &DIGIT],
        Figure::Arm => &[&ARM, &LENGTH, &DIGIT],
        Figure::Thrust => &[&THRUST, &DIGIT],
        Figure::ThrustMin => &[&THRUST, &DIGIT],
        Figure::Torque => &[&TORQUE, &DIGIT],
        Figure::Lag | Figure::Delay | Figure::GyroLatency => &[&TIME, &DIGIT],
        Figure::Speed => &[&SPEED, &DIGIT],
        Figure::Diameter => &[&DIAMETER, &LENGTH, &DIGIT],
        Figure::Capacity => &[&CAPACITY, &DIGIT],
        Figure::Resistance => &[&RESISTANCE, &DIGIT],
        Figure::RollRate | Figure::PitchRate | Figure::YawRate => &[&TURN, &DIGIT],
        Figure::GyroRange => &[&RANGE, &TURN],
        Figure::LoopRate => &[&RATE, &DIGIT],
        Figure::Voltage | Figure::Tilt => &[],
    };
    own.concat()
}
