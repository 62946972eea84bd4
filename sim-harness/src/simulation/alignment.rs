//! What an alignment on the ground leaves behind: every flight that begins armed begins with it.
//!
//! The flying code is switched on beside a craft that stands level and still, and told what its sensors make of that,
//! until it has aligned. What it then believes is off by what the accelerometer's bias and the misalignment of the
//! sensors make of level. Noise is left out: it averages out while a craft stands, and the flight from power-up has it.
//!
//! * Math: the sensors' housing is turned by m against the body. It stood at m when the estimate said q₀; at an attitude q
//!   it stands at q·m, and a gyro without error has turned the estimate to q₀·m⁻¹·q·m

use evenkeel_controller::estimate::Alignment;
use evenkeel_controller::link::Start;
use evenkeel_controller::{BodyAxes, Quaternion, Setpoint};
use evenkeel_mixer::Scalar;
use nalgebra::{UnitQuaternion, Vector3};

use super::clock::Beat;
use super::computer::HostComputer;
use super::link::Link;
use crate::attitude;
use crate::craft::Craft;
use crate::onboard::Onboard;
use crate::sensors::{InertialSensor, ScalarSensor, Sensors, SensorsConfig, Standing};

/// The alignment may begin anew this often; a craft whose sensors never let it end has not aligned.
const ALIGNMENTS: f64 = 5.0;
/// Nothing is random without noise.
const ANY_SEED: u64 = 0;

/// What the flight computer believes after its alignment.
#[derive(Clone, Copy, Debug)]
pub(super) struct Aligned {
    /// Of the level craft with its nose to the north.
    attitude: UnitQuaternion<f64>,
    bias_rad_s: Vector3<f64>,
    /// From the axes of gyro and accelerometer to those of the body.
    housing: UnitQuaternion<f64>,
}

impl Aligned {
    /// As if there were nothing to learn but the bias of the file. Sensors without any error leave nothing else; where a computer
    /// never aligns, the flight from power-up shows that, and the others need a start all the same.
    fn exact(sensors: &SensorsConfig) -> Aligned {
        let housing = attitude::from_euler_rad(sensors.misalignment_rad);
        Aligned { attitude: housing, bias_rad_s: sensors.gyro.bias.into(), housing }
    }

    /// Aligns on the ground under this gravity.
    pub(super) fn on_the_ground<S: Scalar>(craft: &Craft, onboard: &Onboard<S>, gravity_m_s2: f64) -> Aligned {
        if craft.sensors == SensorsConfig::PERFECT || !(gravity_m_s2 > 0.0) {
            return Self::exact(&craft.sensors);
        }
        let (standing, rate_hz) = (Standing { gravity_m_s2 }, craft.loops.rate_hz);
        let mut sensors = Sensors::<S>::new(&without_noise(&craft.sensors), rate_hz, ANY_SEED);
        let mut computer = HostComputer::new(onboard, Start::PowerUp);
        let mut beat = Beat::new(rate_hz);
        let longest_s = ALIGNMENTS * onboard.computer_config.estimator.align_s;
        let mut link = Link::default();
        for _ in 0..(longest_s * rate_hz) as u64 {
            let now_ns = beat.next_ns();
            while sensors.next_ns() <= now_ns {
                sensors.measure(now_ns, &standing);
            }
            let pilot = link.carry(now_ns, Setpoint::DISARMED);
            let step = computer.step(&sensors.sample(now_ns, &standing), &pilot);
            if step.estimate.status.alignment == Alignment::Aligned {
                let [w, x, y, z] = step.estimate.attitude.to_array().map(S::to_f64);
                return Aligned {
                    attitude: UnitQuaternion::from_quaternion(nalgebra::Quaternion::new(w, x, y, z)),
                    bias_rad_s: step.estimate.bias_rad_s.to_array().map(S::to_f64).into(),
                    housing: attitude::from_euler_rad(craft.sensors.misalignment_rad),
                };
            }
            beat.advance();
        }
        Self::exact(&craft.sensors)
    }

    /// What the estimate says at a true attitude.
    pub(super) fn attitude<S: Scalar>(&self, truth: &UnitQuaternion<f64>) -> Quaternion<S> {
        let estimate = self.attitude * self.housing.inverse() * truth * self.housing;
        Quaternion::from_array(attitude::components(&estimate).map(S::from_f64))
    }

    /// What the gyro shows at true body rates.
    pub(super) fn gyro_rad_s<S: Scalar>(&self, rate_rad_s: [f64; 3]) -> BodyAxes<S> {
        let shown = self.housing.inverse() * Vector3::from(rate_rad_s) + self.bias_rad_s;
        BodyAxes::from_array(<[f64; 3]>::from(shown).map(S::from_f64))
    }

    /// The gyro's bias as the alignment found it.
    pub(super) fn bias_rad_s<S: Scalar>(&self) -> BodyAxes<S> {
        BodyAxes::from_array(<[f64; 3]>::from(self.bias_rad_s).map(S::from_f64))
    }
}

/// The same sensors without what is random in them. Noise carries samples over the steps of the resolution, so those go too.
fn without_noise(sensors: &SensorsConfig) -> SensorsConfig {
    let quiet =
        |sensor: InertialSensor| InertialSensor { noise_density: 0.0, bias_drift: 0.0, resolution: 0.0, ..sensor };
    SensorsConfig {
        gyro: quiet(sensors.gyro),
        accelerometer: quiet(sensors.accelerometer),
        heading: sensors.heading.map(|heading| ScalarSensor { noise: 0.0, ..heading }),
        ..sensors.clone()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo;

    const GRAVITY_M_S2: f64 = 9.806_65;
    /// What angles of a few hundredths leave of the small-angle formulas.
    const TILT_TOL_RAD: f64 = 4e-4;
    /// Single precision, a thousand samples added up.
    const BIAS_TOL_RAD_S: f64 = 1e-7;

    fn aligned(change: impl Fn(&mut SensorsConfig)) -> Aligned {
        let mut craft = demo::quad().unwrap();
        change(&mut craft.sensors);
        let onboard = Onboard::<f32>::new(&craft, GRAVITY_M_S2).unwrap();
        Aligned::on_the_ground(&craft, &onboard, GRAVITY_M_S2)
    }

    /// Roll and pitch of the body when the estimate says level, nose north.
    fn lean_rad(aligned: &Aligned) -> [f64; 2] {
        let truth = aligned.housing * aligned.attitude.inverse() * aligned.housing.inverse();
        let says = aligned.attitude::<f64>(&truth).to_array();
        assert!(says[1].hypot(says[2]) < 1e-6, "{says:?} is level");
        let [roll, pitch, _] = attitude::to_euler_rad(&truth);
        [roll, pitch]
    }

    #[test]
    fn knows_the_bias_of_the_gyro_and_not_that_of_the_accelerometer() {
        let bias_rad_s = [0.02, -0.01, 0.03];
        let found = aligned(|sensors| {
            sensors.gyro.bias = bias_rad_s;
            sensors.accelerometer.bias = [0.2, -0.1, 0.0];
        });
        let off = (found.bias_rad_s - Vector3::from(bias_rad_s)).amax();
        assert!(off < BIAS_TOL_RAD_S, "{off} rad/s");
        // Statics: a bias that shows the craft nose down is held as nose up. Level, it reads (b_x, b_y, -g).
        let [roll, pitch] = lean_rad(&found);
        let expected = [-(0.1_f64 / GRAVITY_M_S2).atan(), -(0.2_f64 / GRAVITY_M_S2).atan()];
        assert!((roll.abs() - expected[0].abs()).abs() < TILT_TOL_RAD, "roll {roll}");
        assert!((pitch.abs() - expected[1].abs()).abs() < TILT_TOL_RAD, "pitch {pitch}");
    }

    #[test]
    fn leans_against_the_misalignment_whatever_the_heading_and_attitude() {
        let turned = [0.01, -0.02, 0.015];
        let found = aligned(|sensors| sensors.misalignment_rad = turned);
        let [roll, pitch] = lean_rad(&found);
        assert!((roll + turned[0]).abs() < 2.0 * TILT_TOL_RAD && (pitch + turned[1]).abs() < 2.0 * TILT_TOL_RAD);
        // Held upside down it is as far off as level.
        let upset = attitude::from_euler_rad([2.0, 0.3, 1.0]);
        let says = found.attitude::<f64>(&upset).to_array();
        let says = UnitQuaternion::from_quaternion(nalgebra::Quaternion::new(says[0], says[1], says[2], says[3]));
        let off_rad = (upset.inverse() * says).angle();
        assert!(off_rad > 0.01 && off_rad < 0.05, "{off_rad} rad");
    }

    #[test]
    fn leaves_nothing_when_the_sensors_are_perfect() {
        let found = aligned(|sensors| *sensors = SensorsConfig::PERFECT);
        assert_eq!((found.bias_rad_s, found.attitude.angle()), (Vector3::zeros(), 0.0));
    }
}
