//! Crafts drawn from parts and rotor physics, as sheets of figures that can be mistyped before they become a file.

use std::f64::consts::{PI, TAU};
use std::fmt::Write;

use evenkeel::craft::Craft;
use evenkeel::file::parse_craft;

const G_M_S2: f64 = 9.806_65;
const DENSITY: f64 = 1.225;

/// A generator of numbers (splitmix64; public domain, from memory).
pub struct Draws(pub u64);

impl Draws {
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.next()
    }

    fn coin(&mut self, share: f64) -> bool {
        self.next() < share
    }

    fn one_of<T: Copy>(&mut self, items: &[T]) -> T {
        items[((self.next() * items.len() as f64) as usize).min(items.len() - 1)]
    }
}

/// What a craft file says.
#[derive(Clone, Debug)]
pub struct Sheet {
    pub mass_kg: f64,
    pub center_m: [f64; 3],
    pub inertia: [f64; 4],
    pub drag_m2: Option<[f64; 3]>,
    pub thrust_n: f64,
    pub floor_n: Option<f64>,
    pub torque_m: f64,
    pub lag_s: f64,
    pub speed_rad_s: Option<f64>,
    pub diameter_m: Option<f64>,
    pub spin_inertia: Option<f64>,
    pub arms: usize,
    pub arm_m: f64,
    pub azimuth_deg: f64,
    pub coaxial: bool,
    pub share: f64,
    pub gap_m: f64,
    pub listed: bool,
    pub tilted_deg: f64,
    pub wrong_spin: Option<usize>,
    /// Capacity, full and empty voltage, resistance.
    pub battery: Option<[f64; 4]>,
    pub range_deg_s: Option<f64>,
    pub tilt_deg: Option<f64>,
    pub rate_hz: f64,
    pub delay_s: f64,
    pub measured: Vec<String>,
}

/// A sound craft: thrust over weight 1.9 to 5, every part where it would be.
pub fn sound(seed: u64) -> Sheet {
    let mut d = Draws(seed);
    let mass_kg = 0.05 * (600.0_f64).powf(d.next());
    let (arms, coaxial) = d.one_of(&[
        (4, false),
        (4, false),
        (5, false),
        (6, false),
        (8, false),
        (10, false),
        (12, false),
        (4, true),
        (3, true),
        (6, true),
    ]);
    let loading = d.between(40.0, 160.0) * if coaxial { 1.5 } else { 1.0 };
    let diameter_m = (4.0 * mass_kg * G_M_S2 / (PI * arms as f64 * loading)).sqrt();
    let arm_m = diameter_m * d.between(1.03, 1.6) / (2.0 * (PI / arms as f64).sin());
    let rotors = if coaxial { 2 * arms } else { arms };
    let share = if coaxial { d.between(0.7, 0.9) } else { 1.0 };
    let lift = d.between(1.9, 5.0) * mass_kg * G_M_S2;
    let thrust_n = lift / (arms as f64 * (1.0 + if coaxial { share } else { 0.0 }));
    let (coefficient, merit) = (d.between(0.09, 0.16), d.between(0.45, 0.72));
    let torque_m = diameter_m * f64::sqrt(coefficient) * f64::sqrt(2.0 / PI) / (merit * TAU);
    let speed_rad_s = TAU * (thrust_n / (coefficient * DENSITY)).sqrt() / diameter_m.powi(2);
    let (center_m, inertia) = body(&mut d, mass_kg, arm_m, arms);
    let with_battery = d.coin(0.5);
    let power_w = rotors as f64 * torque_m * thrust_n * speed_rad_s * (mass_kg * G_M_S2 / lift).powf(1.5) / 0.8;
    let battery = with_battery.then(|| pack(&mut d, mass_kg, power_w));
    let sized =
        if with_battery { d.one_of(&[(true, false), (true, true), (false, true)]) } else { (d.coin(0.4), d.coin(0.2)) };
    let by_itself = !coaxial && d.coin(0.4);
    Sheet {
        mass_kg,
        center_m,
        inertia,
        drag_m2: d.coin(0.7).then(|| {
            [d.between(0.08, 0.4), d.between(0.08, 0.4), d.between(0.2, 0.9)].map(|share| share * arm_m * arm_m)
        }),
        thrust_n,
        floor_n: d.coin(0.6).then(|| thrust_n * d.between(0.02, 0.07)),
        torque_m,
        lag_s: (0.015 + 0.15 * diameter_m) * d.between(0.6, 1.5),
        speed_rad_s: sized.1.then_some(speed_rad_s),
        diameter_m: sized.0.then_some(diameter_m),
        spin_inertia: d.coin(0.5).then(|| (0.06 * diameter_m.powi(5) * d.between(0.5, 3.0)).min(0.3)),
        arms,
        arm_m,
        azimuth_deg: d.one_of(&[0.0, 180.0 / arms as f64, 17.0]),
        coaxial,
        share,
        gap_m: if coaxial { 0.15 * diameter_m } else { 0.0 },
        listed: by_itself,
        tilted_deg: if by_itself && d.coin(0.5) && arms % 2 == 0 { d.between(2.0, 12.0) } else { 0.0 },
        wrong_spin: None,
        battery,
        range_deg_s: d.coin(0.3).then(|| d.one_of(&[500.0, 1000.0, 2000.0])),
        tilt_deg: d.coin(0.3).then(|| d.between(15.0, 45.0)),
        rate_hz: d.one_of(&[400.0, 500.0, 1000.0, 2000.0]),
        delay_s: d.one_of(&[0.0, 0.0, 0.001, 0.003]),
        measured: Vec::new(),
    }
}

/// Core, arms, motors, a payload low in front and a battery high behind, added up.
fn body(d: &mut Draws, mass_kg: f64, arm_m: f64, arms: usize) -> ([f64; 3], [f64; 4]) {
    let ends = d.between(0.12, 0.4);
    let rods = d.between(0.03, 0.1);
    let payload = if d.coin(0.5) { d.between(0.05, 0.25) } else { 0.0 };
    let battery = d.between(0.1, 0.3);
    let core = 1.0 - ends - rods - payload - battery;
    let mut parts: Vec<(f64, [f64; 3], [f64; 3])> = Vec::new();
    let half = arm_m * d.between(0.25, 0.6);
    parts.push((core, [0.0, 0.0, 0.05 * arm_m], [half, half, 0.3 * half]));
    parts.push((
        battery,
        [-arm_m * d.between(0.0, 0.2), 0.0, arm_m * d.between(-0.25, 0.15)],
        [0.8 * half, 0.4 * half, 0.3 * half],
    ));
    parts.push((payload, [arm_m * d.between(0.0, 0.5), 0.0, arm_m * d.between(0.1, 0.5)], [0.3 * half; 3]));
    for k in 0..arms {
        let (sin, cos) = (TAU * k as f64 / arms as f64 + 0.3).sin_cos();
        parts.push((ends / arms as f64, [arm_m * cos, arm_m * sin, 0.0], [0.0; 3]));
        for along in [0.3, 0.5, 0.7] {
            parts.push((rods / (3 * arms) as f64, [along * arm_m * cos, along * arm_m * sin, 0.0], [0.0; 3]));
        }
    }
    let center: [f64; 3] = std::array::from_fn(|k| parts.iter().map(|(mass, at, _)| mass * at[k]).sum());
    let mut inertia = [0.0; 4];
    for (share, at, size) in &parts {
        let [x, y, z]: [f64; 3] = std::array::from_fn(|k| at[k] - center[k]);
        let own = |k: usize| size[k] * size[k] / 12.0;
        let mass = mass_kg * share;
        inertia[0] += mass * (y * y + z * z + own(1) + own(2));
        inertia[1] += mass * (x * x + z * z + own(0) + own(2));
        inertia[2] += mass * (x * x + y * y + own(0) + own(1));
        inertia[3] -= mass * x * z;
    }
    (center, inertia)
}

fn pack(d: &mut Draws, mass_kg: f64, power_w: f64) -> [f64; 4] {
    let cells: f64 = match mass_kg {
        m if m < 0.1 => 1.0,
        m if m < 0.3 => d.one_of(&[2.0, 3.0]),
        m if m < 1.0 => d.one_of(&[3.0, 4.0]),
        m if m < 4.0 => d.one_of(&[4.0, 6.0]),
        m if m < 12.0 => d.one_of(&[6.0, 12.0]),
        _ => 12.0,
    };
    let minutes = d.between(6.0, 30.0);
    let (full_v, empty_v) = (4.2 * cells, d.one_of(&[3.3, 3.0, 3.5]) * cells);
    let capacity_ah = power_w * minutes / 60.0 / (0.8 * 3.8 * cells);
    let resistance = d.between(0.005, 0.05) * full_v * full_v / power_w;
    [capacity_ah, full_v, empty_v, resistance]
}

impl Sheet {
    pub fn rotors(&self) -> usize {
        if self.coaxial { 2 * self.arms } else { self.arms }
    }

    /// The craft file.
    pub fn text(&self) -> String {
        let [xx, yy, zz, xz] = self.inertia;
        let mut text = format!(
            "format = 1\nname = \"drawn\"\n[body]\nmass_kg = {}\ncenter_of_mass_m = {:?}\n\
             inertia_kg_m2 = {{ xx = {xx}, yy = {yy}, zz = {zz}, xz = {xz} }}\n",
            self.mass_kg, self.center_m,
        );
        let mut line = |key: &str, value: Option<String>| {
            if let Some(value) = value {
                writeln!(text, "{key} = {value}").unwrap();
            }
        };
        let number = |value: f64| Some(format!("{value:?}"));
        line("drag_area_m2", self.drag_m2.map(|area| format!("{area:?}")));
        line("[rotors]\nthrust_max_n", number(self.thrust_n));
        line("thrust_min_n", self.floor_n.and_then(number));
        line("torque_per_thrust_m", number(self.torque_m));
        line("response_time_s", number(self.lag_s));
        line("speed_max_rad_s", self.speed_rad_s.and_then(number));
        line("diameter_m", self.diameter_m.and_then(number));
        line("inertia_kg_m2", self.spin_inertia.and_then(number));
        text += &if self.listed || self.wrong_spin.is_some() { self.list() } else { self.layout() };
        text += &format!("[loops]\nrate_hz = {:?}\nextra_delay_s = {:?}\n", self.rate_hz, self.delay_s);
        if let Some([capacity, full, empty, resistance]) = self.battery {
            text += &format!(
                "[battery]\ncapacity_ah = {capacity:?}\nfull_v = {full:?}\nempty_v = {empty:?}\nresistance_ohm = {resistance:?}\n"
            );
        }
        if let Some(range) = self.range_deg_s {
            text += &format!("[sensors.gyro]\nrange_deg_s = {range:?}\n");
        }
        if let Some(tilt) = self.tilt_deg {
            text += &format!("[limits]\ntilt_deg = {tilt:?}\n");
        }
        if !self.measured.is_empty() {
            text += &format!("[figures]\nmeasured = {:?}\n", self.measured);
        }
        text
    }

    fn layout(&self) -> String {
        let coaxial = if self.coaxial {
            format!("coaxial = true\nlower_thrust_share = {:?}\nring_gap_m = {:?}\n", self.share, self.gap_m)
        } else {
            String::new()
        };
        format!(
            "[layout]\nrotors = {}\narm_m = {:?}\nfirst_azimuth_deg = {:?}\n{coaxial}",
            self.arms, self.arm_m, self.azimuth_deg
        )
    }

    fn list(&self) -> String {
        let one = |k: usize| {
            let (arm, lower) = (k % self.arms, k / self.arms);
            let angle = self.azimuth_deg.to_radians() + TAU * arm as f64 / self.arms as f64;
            let (sin, cos) = angle.sin_cos();
            let ccw = (arm + lower + usize::from(self.wrong_spin == Some(k))) % 2 == 0;
            let way = if arm % 2 == 0 { 1.0 } else { -1.0 };
            let (lean, up) = self.tilted_deg.to_radians().sin_cos();
            let share = if lower > 0 { format!("thrust_share = {:?}\n", self.share) } else { String::new() };
            format!(
                "[[rotor]]\nposition_m = [{:?}, {:?}, {:?}]\nspin = \"{}\"\naxis = [{:?}, {:?}, {:?}]\n{share}",
                self.arm_m * cos,
                self.arm_m * sin,
                lower as f64 * self.gap_m,
                if ccw { "ccw" } else { "cw" },
                -way * lean * sin,
                way * lean * cos,
                -up
            )
        };
        (0..self.rotors()).map(one).collect()
    }

    /// As read, or why not.
    pub fn craft(&self) -> Result<Craft, String> {
        parse_craft("drawn.toml", &self.text()).map_err(|error| error.to_string())
    }
}
