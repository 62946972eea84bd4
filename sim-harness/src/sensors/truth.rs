//! What there is to measure: a craft in flight, or one that stands still before it.

use nalgebra::{UnitQuaternion, Vector3};

use crate::plant::{Plant, PlantState};

/// With less of the nose in the horizontal it has no heading.
const NOSE_LEVEL_MIN: f64 = 0.05;

/// The quantities that sensors measure, without their errors; body axes.
pub trait Truth {
    /// Body rates.
    fn rate_rad_s(&self) -> Vector3<f64>;
    /// Acceleration less gravity.
    fn specific_force_m_s2(&self) -> Vector3<f64>;
    /// Where the nose points, clockwise from north; `None` when it points up or down.
    fn heading_rad(&self) -> Option<f64>;
    /// Vertical speed, up positive.
    fn climb_m_s(&self) -> f64;
    /// Supply voltage over that of a full battery.
    fn voltage_share(&self) -> f64;
    /// State of charge, 0 to 1.
    fn state_of_charge(&self) -> f64;
    /// Some foot touches the ground.
    fn on_ground(&self) -> bool;
}

/// The plant in its state of one moment.
#[derive(Clone, Copy, Debug)]
pub struct InFlight<'a> {
    /// The craft in its world.
    pub plant: &'a Plant,
    /// Its state.
    pub state: &'a PlantState,
}

impl Truth for InFlight<'_> {
    fn rate_rad_s(&self) -> Vector3<f64> {
        self.state.rate_rad_s
    }

    fn specific_force_m_s2(&self) -> Vector3<f64> {
        self.plant.specific_force_m_s2(self.state)
    }

    fn heading_rad(&self) -> Option<f64> {
        heading_rad(&self.state.attitude)
    }

    fn climb_m_s(&self) -> f64 {
        -self.state.velocity_m_s.z
    }

    fn voltage_share(&self) -> f64 {
        self.plant.voltage_share(self.state)
    }

    fn state_of_charge(&self) -> f64 {
        self.plant.state_of_charge(self.state)
    }

    fn on_ground(&self) -> bool {
        self.plant.on_ground(self.state)
    }
}

/// A craft that stands level and still, its nose to the north, rotors off.
#[derive(Clone, Copy, Debug)]
pub struct Standing {
    /// Downward.
    pub gravity_m_s2: f64,
}

impl Truth for Standing {
    fn rate_rad_s(&self) -> Vector3<f64> {
        Vector3::zeros()
    }

    fn specific_force_m_s2(&self) -> Vector3<f64> {
        Vector3::new(0.0, 0.0, -self.gravity_m_s2)
    }

    fn heading_rad(&self) -> Option<f64> {
        Some(0.0)
    }

    fn climb_m_s(&self) -> f64 {
        0.0
    }

    fn voltage_share(&self) -> f64 {
        1.0
    }

    fn state_of_charge(&self) -> f64 {
        1.0
    }

    fn on_ground(&self) -> bool {
        true
    }
}

fn heading_rad(attitude: &UnitQuaternion<f64>) -> Option<f64> {
    let nose = attitude.transform_vector(&Vector3::x());
    (nose.xy().norm() > NOSE_LEVEL_MIN).then(|| nose.y.atan2(nose.x))
}
