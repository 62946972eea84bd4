//! Frames: where the rotors sit, which way they turn, how they lean.
//!
//! * Places are drawn with a mean arm of 1 and scaled once the propellers are known: discs on different arms keep clear
//!   of each other
//! * Rotors lean outward, or alternately along their circle so that leaning helps their reaction. Either lean goes with
//!   the arm, so that the sideways pushes of a balanced craft cancel

use nalgebra::{Vector2, Vector3};

use super::random::Random;

/// A rotor's place, with a mean arm of 1.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// From the middle of the rotors: forward, right.
    pub plan: Vector2<f64>,
    /// Turns clockwise seen from above.
    pub clockwise: bool,
    /// Sits under another.
    pub lower: bool,
}

/// A frame.
#[derive(Clone, Debug, PartialEq)]
pub struct Frame {
    /// What it is, in words.
    pub kind: &'static str,
    /// The rotors; those that sit under others after those.
    pub places: Vec<Place>,
    /// Arms.
    pub arms: usize,
    /// Where the first arm points, degrees.
    pub first_azimuth_deg: f64,
    /// Equal arms, equally spaced: a `[layout]` can say it.
    pub regular: bool,
    /// Two rotors an arm.
    pub coaxial: bool,
    /// Alternate lean along the circle leaves no push sideways.
    pub can_cant: bool,
    /// Outward lean, rad.
    pub outward_rad: f64,
    /// Lean along the circle, rad, each rotor the way that helps its reaction.
    pub cant_rad: f64,
}

impl Frame {
    /// A frame for a craft of this mass.
    pub fn draw(random: &mut Random, mass_kg: f64) -> Frame {
        // Small crafts have few rotors.
        let most = if mass_kg < 0.2 {
            6
        } else if mass_kg < 1.0 {
            8
        } else {
            12
        };
        let kind = random.share();
        let clockwise = random.chance(0.5);
        let mut frame = if kind < 0.35 {
            let arms = random.pick(&[4, 4, 10, 6, 6, 8, 8, 12].map(|arms| if arms > most { 4 } else { arms }));
            let azimuth = first_azimuth(random, arms);
            Frame::ring("ring", arms, azimuth, clockwise)
        } else if kind < 0.55 {
            let arms = random.pick(&[3, 4, 5, 6].map(|arms| if 2 * arms > most { 3 } else { arms }));
            let azimuth = first_azimuth(random, arms);
            Frame::ring("coaxial", arms, azimuth, clockwise).doubled()
        } else if kind < 0.65 {
            let azimuth = random.either_way(6.0) + random.pick(&[0.0, 90.0]);
            Frame::ring("turned plus", 4, azimuth, clockwise)
        } else if kind < 0.8 {
            let arms = random.pick(&[4, 4, 6, 8].map(|arms| if arms > most { 4 } else { arms }));
            let azimuth = if random.chance(0.7) { 180.0 / arms as f64 } else { first_azimuth(random, arms) };
            let stretch = random.ratio(0.75, 1.35);
            Frame::ring("stretched", arms, azimuth, clockwise).stretched(stretch)
        } else {
            Frame::unequal_four(random, clockwise)
        };
        if random.chance(0.2) {
            frame.outward_rad = random.between(1.0, 5.0).to_radians();
        }
        if frame.can_cant && random.chance(0.15) {
            frame.cant_rad = random.between(1.5, 5.0).to_radians();
        }
        frame
    }

    /// Equal arms, equally spaced, spins alternating.
    pub fn ring(kind: &'static str, arms: usize, first_azimuth_deg: f64, clockwise: bool) -> Frame {
        let place = |index: usize| {
            let azimuth = (first_azimuth_deg + 360.0 * index as f64 / arms as f64).to_radians();
            let plan = Vector2::new(azimuth.cos(), azimuth.sin());
            Place { plan, clockwise: clockwise == index.is_multiple_of(2), lower: false }
        };
        Frame {
            kind,
            places: (0..arms).map(place).collect(),
            arms,
            first_azimuth_deg,
            regular: true,
            coaxial: false,
            can_cant: arms.is_multiple_of(2),
            outward_rad: 0.0,
            cant_rad: 0.0,
        }
    }

    /// With a second rotor of opposite spin under each.
    fn doubled(mut self) -> Frame {
        let lower = |place: &Place| Place { clockwise: !place.clockwise, lower: true, ..*place };
        self.places.extend(self.places.iter().map(lower).collect::<Vec<_>>());
        self.coaxial = true;
        self.can_cant = false;
        self
    }

    /// Longer along x by `stretch`, shorter along y.
    fn stretched(mut self, stretch: f64) -> Frame {
        for place in &mut self.places {
            place.plan = Vector2::new(place.plan.x * stretch, place.plan.y / stretch);
        }
        self.regular = false;
        self.centred()
    }

    /// Two arms wide in front, two of another length narrower behind.
    fn unequal_four(random: &mut Random, clockwise: bool) -> Frame {
        let front_rad = random.between(38.0, 72.0).to_radians();
        let rear_rad = random.between(128.0, 158.0).to_radians();
        let rear_arm = random.ratio(0.85, 1.3);
        let mut frame = Frame::ring("unequal four", 4, 45.0, clockwise);
        let plans = [(front_rad, 1.0), (rear_rad, rear_arm), (-rear_rad, rear_arm), (-front_rad, 1.0)];
        for (place, (azimuth, arm)) in frame.places.iter_mut().zip(plans) {
            place.plan = Vector2::new(azimuth.cos(), azimuth.sin()) * arm;
        }
        frame.regular = false;
        frame.can_cant = false;
        frame.centred()
    }

    /// Moved so that the rotors' middle is the origin, with a mean arm of 1.
    fn centred(mut self) -> Frame {
        let count = self.places.len() as f64;
        let middle = self.places.iter().map(|place| place.plan).sum::<Vector2<f64>>() / count;
        self.places.iter_mut().for_each(|place| place.plan -= middle);
        let mean = self.places.iter().map(|place| place.plan.norm()).sum::<f64>() / count;
        self.places.iter_mut().for_each(|place| place.plan /= mean);
        self
    }

    /// Least distance between the hubs of two arms.
    pub fn spacing(&self) -> f64 {
        let upper: Vec<_> = self.places.iter().filter(|place| !place.lower).collect();
        let each =
            upper.iter().enumerate().flat_map(|(k, one)| upper[..k].iter().map(|other| (one.plan - other.plan).norm()));
        each.fold(f64::INFINITY, f64::min)
    }

    /// The direction of a rotor's thrust for a centre of mass at `center`, in arms.
    pub fn axis(&self, place: &Place, center: Vector2<f64>) -> Vector3<f64> {
        let out = place.plan - center;
        // A push along (−y, x) turns the nose right, as a counter-clockwise rotor does.
        let way = if place.clockwise { -1.0 } else { 1.0 };
        let along = Vector2::new(-place.plan.y, place.plan.x) * way;
        let lean = out * self.outward_rad.sin() + along * self.cant_rad.sin();
        Vector3::new(lean.x, lean.y, -1.0).normalize()
    }
}

/// An arm in front, the nose between two arms, or anywhere.
fn first_azimuth(random: &mut Random, arms: usize) -> f64 {
    let step = 360.0 / arms as f64;
    match random.pick(&[0, 1, 1, 2]) {
        0 => 0.0,
        1 => 0.5 * step,
        _ => (random.either_way(180.0) * 10.0).round() / 10.0,
    }
}
