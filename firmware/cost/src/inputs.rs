//! Samples and demands, the same in every run: gentle ones that rotors can meet, and wild ones that they cannot.
//!
//! * Source: the generator is splitmix64 (G. Steele and others, 2014; from memory)

use evenkeel_controller::estimate::InertialSample;
use evenkeel_controller::{BodyAxes, Motion, PilotDemand, Sample};
use evenkeel_mixer::RotorSet;

/// Period of the steps, µs.
pub const PERIOD_US: u64 = 1000;

/// Numbers from −1 to 1.
pub struct Noise(u64);

impl Noise {
    /// From the same beginning every time.
    pub const fn new() -> Self {
        Noise(1)
    }

    fn next(&mut self) -> f32 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 40) as f32 / (1 << 23) as f32 - 1.0
    }

    fn three(&mut self, reach: f32) -> [f32; 3] {
        [self.next() * reach, self.next() * reach, self.next() * reach]
    }
}

impl Default for Noise {
    fn default() -> Self {
        Self::new()
    }
}

/// How far inputs go from level hover.
#[derive(Clone, Copy)]
pub struct Reach {
    /// Gyro, rad/s.
    pub rate_rad_s: f32,
    /// Accelerometer, m/s².
    pub acceleration_m_s2: f32,
    /// Angles asked for, rad.
    pub angle_rad: f32,
    /// Thrust asked for, share of hover.
    pub thrust_share: f32,
    /// Share of the full battery's voltage that is lost each second.
    pub sag_per_s: f32,
}

/// Met by every craft.
pub const GENTLE: Reach =
    Reach { rate_rad_s: 0.001, acceleration_m_s2: 0.2, angle_rad: 0.02, thrust_share: 0.05, sag_per_s: 0.0 };
/// The same while the battery empties.
pub const SAGGING: Reach = Reach { sag_per_s: 0.02, ..GENTLE };
/// Far beyond.
pub const WILD: Reach =
    Reach { rate_rad_s: 12.0, acceleration_m_s2: 20.0, angle_rad: 0.6, thrust_share: 1.5, sag_per_s: 0.0 };

/// The sample and the demand of a step.
pub fn input<const N: usize>(
    noise: &mut Noise,
    now_us: u64,
    hover_n: f32,
    reach: Reach,
) -> (Sample<f32, N>, PilotDemand<f32>) {
    let [x, y, z] = noise.three(reach.acceleration_m_s2);
    let [roll_rad, pitch_rad, yaw_rate_rad_s] = noise.three(reach.angle_rad);
    let sample = Sample {
        now_us,
        sensed_at_us: Some(now_us),
        inertial: InertialSample {
            gyro_rad_s: BodyAxes::from_array(noise.three(reach.rate_rad_s)),
            acceleration_m_s2: [x, y, z - 9.806_65],
            heading: None,
        },
        rotor_speeds_rad_s: [0.0; N],
        stopped_rotors: RotorSet::EMPTY,
        on_ground: Some(false),
        battery_share: Some(0.9),
        voltage_share: Some(1.0 - reach.sag_per_s * now_us as f32 * 1.0e-6),
        climb_m_s: Some(0.0),
    };
    let pilot = PilotDemand {
        at_us: Some(now_us),
        arm: true,
        disarm: false,
        thrust_n: hover_n * (1.0 + reach.thrust_share * noise.next()),
        motion: Motion::Angles { roll_rad, pitch_rad, yaw_rate_rad_s },
    };
    (sample, pilot)
}
