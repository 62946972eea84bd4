//! The craft file of a drawn craft: every optional table is there in some draws and not in others.

use nalgebra::Vector3;

use super::craft::{Assembled, Design, Drawn};
use super::random::Random;
use super::sensors;
use super::table::{Table, Value, keys, length, lengths, number, numbers, put, rounded};

/// Writes a craft down, and draws what a builder tells of it.
pub fn drawn(random: &mut Random, name: String, design: &Design, assembled: &Assembled) -> Drawn {
    let mut writing = Writing { random, design, assembled, file: Table::new(), datum: Vector3::zeros() };
    writing.file.insert("format".into(), Value::Integer(1));
    writing.file.insert("name".into(), Value::String(format!("drawn {name}")));
    writing.rotors();
    writing.places();
    writing.body();
    writing.ground();
    writing.loops();
    writing.limits();
    writing.saturation();
    if design.battery_told {
        let supply = assembled.supply.table(assembled.hover_power_w);
        writing.file.insert("battery".into(), supply.into());
    }
    if let Some(sensors) = sensors::draw(writing.random) {
        writing.file.insert("sensors".into(), sensors.into());
    }
    writing.each_measured();
    writing.dispersion();
    let file = writing.file;
    Drawn { name, traits: traits(design, &file), file }
}

/// The words by which figures of a corpus are grouped.
fn traits(design: &Design, file: &Table) -> Vec<String> {
    let mut words = vec![design.frame.kind.replace(' ', "-"), format!("{}-rotors", design.frame.places.len())];
    words.push(format!("{:.3}kg", design.mass_kg));
    for table in ["battery", "sensors", "ground_effect", "limits", "loops", "saturation", "layout"] {
        if file.contains_key(table) {
            words.push(table.replace('_', "-"));
        }
    }
    for (path, word) in [
        ("rotors.thrust_curve", "curve"),
        ("rotors.propeller", "table"),
        ("rotors.inflow", "momentum"),
        ("rotors.drag_n_per_m_s", "rotor-drag"),
        ("sensors.perfect", "perfect"),
        ("sensors.gyro.bias_deg_s", "gyro-bias"),
        ("sensors.accelerometer.bias_m_s2", "accel-bias"),
        ("sensors.misalignment_deg", "misaligned"),
        ("sensors.climb", "no-climb"),
        ("sensors.heading", "no-heading"),
        ("sensors.voltage", "no-voltage"),
        ("sensors.rotors", "no-reports"),
        ("dispersion", "dispersion"),
    ] {
        if super::table::at(file, path).is_some() {
            words.push(word.into());
        }
    }
    if super::table::at(file, "body.drag_area_m2").is_none() {
        words.push("no-drag".into());
    }
    if design.frame.outward_rad > 0.0 {
        words.push("outward".into());
    }
    if design.frame.cant_rad > 0.0 {
        words.push("cant".into());
    }
    if design.build.payload_share > 0.0 {
        words.push("payload".into());
    }
    words
}

struct Writing<'a> {
    random: &'a mut Random,
    design: &'a Design,
    assembled: &'a Assembled,
    file: Table,
    /// The builder's datum, from the middle of the upper rotors.
    datum: Vector3<f64>,
}

impl Writing<'_> {
    fn rotors(&mut self) {
        let propeller = &self.design.propeller;
        let full_n = self.assembled.thrust_max_n;
        let mut rotors = keys([
            ("torque_per_thrust_m", number(propeller.torque_per_thrust_m())),
            ("response_time_s", number(rounded(propeller.response_time_s, 2))),
        ]);
        if self.random.chance(0.7) {
            rotors.insert("thrust_min_n".into(), number(propeller.idle_share * full_n));
        }
        if self.random.chance(0.25) {
            let linear = self.random.between(0.1, 0.45);
            let commands = [0.1, 0.25, 0.4, 0.55, 0.7, 0.85, 1.0];
            let thrust =
                commands.map(|command| rounded(full_n * (linear * command + (1.0 - linear) * command * command), 4));
            let curve = keys([("command", numbers(&commands)), ("thrust_n", numbers(&thrust))]);
            rotors.insert("thrust_curve".into(), curve.into());
        } else {
            rotors.insert("thrust_max_n".into(), number(full_n));
        }
        if self.random.chance(0.6) {
            rotors.insert("inertia_kg_m2".into(), number(propeller.inertia_kg_m2(self.assembled.built.motor_kg)));
        }
        let air = self.random.pick(&["", "momentum", "table"]);
        if air == "momentum" {
            rotors.insert("inflow".into(), Value::String(air.into()));
        } else if air == "table" {
            rotors.insert("propeller".into(), propeller.table().into());
        }
        // What hover costs follows from speed and diameter: whoever tells of a battery tells of them.
        if self.design.battery_told || !air.is_empty() || self.random.chance(0.4) {
            rotors.insert("speed_max_rad_s".into(), number(propeller.speed_rad_s(full_n)));
            rotors.insert("diameter_m".into(), number(propeller.diameter_m));
        }
        if self.random.chance(0.3) {
            // H-force: thrust over tip speed times 0.3 to 1 (from memory).
            let tip_m_s = 0.5 * propeller.diameter_m * propeller.speed_rad_s(full_n);
            rotors.insert("drag_n_per_m_s".into(), number(self.random.between(0.3, 1.0) * full_n / tip_m_s));
        }
        self.file.insert("rotors".into(), rotors.into());
    }

    fn places(&mut self) {
        let frame = &self.design.frame;
        let plain = frame.regular && frame.outward_rad == 0.0 && frame.cant_rad == 0.0;
        if plain && self.random.chance(0.6) {
            self.layout();
        } else {
            if self.random.chance(0.2) {
                // On the ground below the nose, or on the plate.
                let arm = self.assembled.arm_m;
                self.datum = self.random.pick(&[Vector3::new(0.5, 0.0, 0.6), Vector3::new(0.0, 0.0, 0.1)]) * arm;
            }
            self.listed();
        }
    }

    fn layout(&mut self) {
        let frame = &self.design.frame;
        let first_clockwise = frame.places.first().is_some_and(|place| place.clockwise);
        let mut layout = keys([
            ("rotors", Value::Integer(frame.arms as i64)),
            ("arm_m", length(self.assembled.arm_m)),
            ("first_azimuth_deg", number(frame.first_azimuth_deg)),
            ("first_spin", Value::String(if first_clockwise { "cw" } else { "ccw" }.into())),
        ]);
        if frame.coaxial {
            layout.insert("coaxial".into(), Value::Boolean(true));
            layout.insert("lower_thrust_share".into(), number(rounded(self.design.lower_share, 2)));
            layout.insert("ring_gap_m".into(), length(self.design.ring_gap * self.design.propeller.diameter_m));
        }
        self.file.insert("layout".into(), layout.into());
    }

    fn listed(&mut self) {
        let rotors = self.design.frame.places.iter().zip(&self.assembled.hubs_m).zip(&self.assembled.axes);
        let rotor = |((place, hub), axis): ((&super::frame::Place, &Vector3<f64>), &Vector3<f64>)| {
            let mut rotor = keys([
                ("position_m", lengths((hub - self.datum).as_slice())),
                ("spin", Value::String(if place.clockwise { "cw" } else { "ccw" }.into())),
            ]);
            if axis.xy().norm() > 0.0 {
                rotor.insert("axis".into(), Value::Array(axis.iter().map(|part| length(*part)).collect()));
            }
            if place.lower {
                rotor.insert("thrust_share".into(), number(rounded(self.design.lower_share, 2)));
            }
            Value::Table(rotor)
        };
        let list = rotors.map(rotor).collect();
        self.file.insert("rotor".into(), Value::Array(list));
    }

    fn body(&mut self) {
        let center = self.assembled.built.whole.center_of_mass_m - self.datum;
        let inertia = self.assembled.inertia_kg_m2();
        let figure = |row: usize, column: usize| Value::Float(rounded(inertia[(row, column)], 5));
        let mut tensor = keys([("xx", figure(0, 0)), ("yy", figure(1, 1)), ("zz", figure(2, 2))]);
        // Many a builder leaves the products out; that is no slip while they are small.
        let small = [(0, 1), (0, 2), (1, 2)].iter().all(|at| inertia[*at].abs() < 0.02 * inertia[(0, 0)]);
        if !small || self.random.chance(0.5) {
            tensor.extend(keys([("xy", figure(0, 1)), ("xz", figure(0, 2)), ("yz", figure(1, 2))]));
        }
        let mut body = keys([
            ("mass_kg", number(self.design.mass_kg)),
            ("center_of_mass_m", lengths(center.as_slice())),
            ("inertia_kg_m2", tensor.into()),
        ]);
        if self.random.chance(0.65) {
            body.insert("drag_area_m2".into(), numbers(&self.assembled.built.drag_area_m2));
        }
        self.file.insert("body".into(), body.into());
    }

    fn ground(&mut self) {
        if self.random.chance(0.3) {
            let height = (self.random.between(0.45, 0.9) * self.assembled.arm_m - self.datum.z).max(0.0);
            put(&mut self.file, "ground_effect.datum_height_m", length(height));
            let diameter = number(self.design.propeller.diameter_m);
            put(&mut self.file, "rotors.diameter_m", diameter);
        }
    }

    fn loops(&mut self) {
        if self.random.chance(0.35) {
            return;
        }
        let quick = self.design.propeller.response_time_s < 0.03;
        let rates: &[f64] = if quick { &[1000.0, 1600.0, 2000.0, 4000.0] } else { &[500.0, 800.0, 1000.0, 2000.0] };
        let rate_hz = self.random.pick(rates);
        put(&mut self.file, "loops.rate_hz", number(rate_hz));
        // The angle loop at 250 Hz or a little more.
        put(&mut self.file, "loops.angle_divider", Value::Integer((rate_hz / 250.0) as i64));
        if self.random.chance(0.1) {
            let delay_s = 0.05 * self.design.propeller.response_time_s;
            put(&mut self.file, "loops.extra_delay_s", number(rounded(delay_s, 2)));
        }
    }

    fn limits(&mut self) {
        if !self.random.chance(0.25) {
            return;
        }
        put(&mut self.file, "limits.tilt_deg", number(self.random.between(18.0, 32.0).round()));
        if self.random.chance(0.5) {
            let most = if self.design.mass_kg < 2.0 { 250.0 } else { 120.0 };
            let rate = self.random.between(80.0, most).round();
            put(&mut self.file, "limits.roll_rate_deg_s", number(rate));
            put(&mut self.file, "limits.pitch_rate_deg_s", number(rate));
            put(&mut self.file, "limits.yaw_rate_deg_s", number(self.random.between(40.0, 80.0).round()));
        }
    }

    fn saturation(&mut self) {
        if self.random.chance(0.15) {
            put(&mut self.file, "saturation.keep_yaw_sign", Value::Boolean(false));
        }
        if self.random.chance(0.1) {
            let tier = |axes: &[&str]| Value::Array(axes.iter().map(|axis| Value::String((*axis).into())).collect());
            let tiers = vec![tier(&["roll", "pitch"]), tier(&["yaw"]), tier(&["thrust"])];
            put(&mut self.file, "saturation.priority", Value::Array(tiers));
        }
    }

    /// Names, and a bench run of each rotor: no two motors are quite alike.
    fn each_measured(&mut self) {
        let (named, measured) = (self.random.chance(0.3), self.random.chance(0.15));
        let full_n = super::table::number_at(&self.file, "rotors.thrust_max_n");
        let Some(rotors) = self.file.get_mut("rotor").and_then(Value::as_array_mut) else { return };
        for (number, rotor) in (1..).zip(rotors) {
            let Some(rotor) = rotor.as_table_mut() else { continue };
            if named {
                rotor.insert("name".into(), Value::String(format!("motor {number}")));
            }
            if let (true, Some(full_n)) = (measured, full_n) {
                rotor.insert("thrust_max_n".into(), super::table::number(full_n * self.random.between(0.98, 1.02)));
            }
        }
    }

    /// A craft that was measured well differs less from its file.
    fn dispersion(&mut self) {
        if self.random.chance(0.15) {
            let narrow =
                keys([("mass_share", number(0.02)), ("thrust_share", number(0.03)), ("wind_m_s", number(2.0))]);
            self.file.insert("dispersion".into(), narrow.into());
        }
    }
}
