//! The battery sags, the thrust for a demand does not: rotor ceilings, and with them the commands, follow the supply
//! voltage.
//!
//! A speed controller hands the motor its command's share of the supply voltage. Speed goes with that voltage and
//! thrust with speed squared, so every point of the thrust curve, its end included, goes with the square of the supply
//! voltage. That holds while the rotor's load is what it was; a motor whose speed is governed needs none of this
//! below its ceiling, and must not be given a voltage.
//!
//! * Math: ceiling = v²·(ceiling on a full battery), v the smoothed voltage over that of a full battery
//! * Why smoothed: more command draws more current, which lowers the voltage, which raises the command. Slower than
//!   that round trip, the voltage seen is the one the rotors had; the pilot sees no step either.
//! * Source: common practice, no source; thrust with speed squared as in momentum theory, any textbook

use core::fmt;

use evenkeel_mixer::{Mixer, Scalar};

use crate::filter::{FirstOrderLowPass, FirstOrderLowPassConfig, FirstOrderLowPassState};

/// The mixer plans anew when the ceilings are off by more than this share: so much may thrust be off its demand.
/// Planning costs as much as several steps, and a battery that sags from full to the lowest share that is believed
/// needs it fewer than 300 times.
pub const CEILING_STEP_SHARE: f64 = 5.0e-3;

/// Battery compensation, human side; may be wrong until [`Battery::new`] has seen it.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct BatteryConfig {
    /// Lowest voltage, as a share of that of a full battery, that is followed: below it is a fault of the sensor or the
    /// end of the flight. Above zero, up to 1; 1 switches the compensation off.
    pub voltage_share_min: f64,
    /// Time constant of the smoothing.
    pub smoothing_s: f64,
}

impl Default for BatteryConfig {
    /// Half the full voltage is below what cells of any chemistry should see; half a second is slow beside the rotors
    /// and fast beside the battery. Common practice, no source.
    fn default() -> Self {
        BatteryConfig { voltage_share_min: 0.5, smoothing_s: 0.5 }
    }
}

/// What is wrong with a [`BatteryConfig`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BatteryError {
    /// The lowest voltage share is not above 0 and at most 1, or vanishes in the flying scalar.
    VoltageShareMin,
    /// The smoothing time is not above zero, or too long for the flying scalar.
    Smoothing,
}

impl fmt::Display for BatteryError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            BatteryError::VoltageShareMin => "voltage_share_min must be above 0 and at most 1",
            BatteryError::Smoothing => "smoothing_s must be above 0 and not too long for the sample period",
        })
    }
}

impl core::error::Error for BatteryError {}

/// A validated compensation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Battery<S> {
    voltage_share_min: S,
    smoothing: FirstOrderLowPass<S>,
    step_share: S,
}

/// What it remembers: nothing at power-up, and the mixer's ceilings are then not known either.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BatteryState<S> {
    /// Smoothed; none before the first voltage.
    voltage_share: Option<FirstOrderLowPassState<S>>,
    /// What the mixer took last; zero before the first, which no ceiling is near.
    taken: S,
    /// The same, and one before the first.
    ceiling_share: S,
}

impl<S: Scalar> Default for BatteryState<S> {
    fn default() -> Self {
        BatteryState { voltage_share: None, taken: S::ZERO, ceiling_share: S::ONE }
    }
}

impl<S: Scalar> BatteryState<S> {
    /// Forgets everything.
    pub fn reset(&mut self) {
        *self = Self::default();
    }

    /// Ceilings as a share of those on a full battery, as the mixer took them last.
    pub fn ceiling_share(&self) -> S {
        self.ceiling_share
    }
}

impl<S: Scalar> Battery<S> {
    /// Checks, bakes the sample period in and quantises.
    ///
    /// # Errors
    /// The first value that makes no sense.
    pub fn new(config: &BatteryConfig, period_s: f64) -> Result<Self, BatteryError> {
        let least = S::from_f64(config.voltage_share_min);
        if !(config.voltage_share_min > 0.0 && config.voltage_share_min <= 1.0 && least * least > S::ZERO) {
            return Err(BatteryError::VoltageShareMin);
        }
        let corner_hz = 1.0 / (core::f64::consts::TAU * config.smoothing_s);
        let smoothing = FirstOrderLowPass::new(&FirstOrderLowPassConfig { corner_hz }, period_s);
        Ok(Battery {
            voltage_share_min: least,
            smoothing: smoothing.map_err(|_| BatteryError::Smoothing)?,
            step_share: S::from_f64(CEILING_STEP_SHARE),
        })
    }

    /// One sample: sets the mixer's ceilings where they are off by more than [`CEILING_STEP_SHARE`].
    ///
    /// * Input: supply voltage over that of a full battery. None, or a value that is not finite: the ceilings stay
    ///   where they are, since to go back to those of a full battery would be a jump in thrust. The first one counts
    ///   at once. Outside the lowest share to 1 the nearer end is meant.
    /// * Output: nothing; ceilings that the mixer refuses, at or below a rotor's floor, stay as they were
    pub fn step<const N: usize, const F: usize, const P: usize>(
        &self,
        state: &mut BatteryState<S>,
        voltage_share: Option<S>,
        mixer: &mut Mixer<S, N, F, P>,
    ) {
        let share = match voltage_share {
            // Nearly always, where there is one.
            Some(share) if share >= self.voltage_share_min && share <= S::ONE => self.smoothed(state, share),
            Some(share) if share.is_finite() => self.smoothed(state, share.limit(self.voltage_share_min, S::ONE)),
            _ if state.taken > S::ZERO => return,
            _ => S::ONE,
        };
        let wanted = share * share;
        if !((wanted - state.taken).abs() <= self.step_share * state.taken) {
            take_over(state, wanted, mixer);
        }
    }

    fn smoothed(&self, state: &mut BatteryState<S>, share: S) -> S {
        let memory = state.voltage_share.get_or_insert_with(|| {
            let mut memory = FirstOrderLowPassState::default();
            memory.reset_to(share);
            memory
        });
        // Within the limits, and so are those before.
        self.smoothing.pass(memory, share)
    }
}

#[cold]
#[inline(never)]
fn take_over<S: Scalar, const N: usize, const F: usize, const P: usize>(
    state: &mut BatteryState<S>,
    ceiling_share: S,
    mixer: &mut Mixer<S, N, F, P>,
) {
    if mixer.scale_ceilings(ceiling_share) {
        (state.taken, state.ceiling_share) = (ceiling_share, ceiling_share);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenkeel_mixer::{Design, Priority, Rotor, Spin, Wrench, facet_capacity};

    type Quad = Mixer<f64, 4, { facet_capacity(4) }>;

    const PERIOD_S: f64 = 1.0e-3;
    const FULL_N: f64 = 8.0;

    fn quad() -> Quad {
        let arm = |x, y, spin| Rotor {
            position_m: [x, y, 0.0],
            spin,
            torque_per_thrust_m: 0.016,
            thrust_min_n: 0.3,
            thrust_max_n: FULL_N,
            ..Rotor::UP
        };
        let rotors = [
            arm(0.18, 0.18, Spin::Ccw),
            arm(-0.18, 0.18, Spin::Cw),
            arm(-0.18, -0.18, Spin::Ccw),
            arm(0.18, -0.18, Spin::Cw),
        ];
        Mixer::new(&Design::new(&rotors, [0.0; 3], Priority::DEFAULT).unwrap())
    }

    fn made() -> Battery<f64> {
        Battery::new(&BatteryConfig::default(), PERIOD_S).unwrap()
    }

    /// What four rotors push at these commands on this battery: speed goes with command and voltage, thrust with speed
    /// squared.
    fn pushed_n(mixer: &Quad, thrust_n: f64, voltage_share: f64) -> f64 {
        let allocation = mixer.allocate(Wrench { thrust_n, ..Wrench::default() });
        mixer.commands(&allocation).iter().map(|command| FULL_N * (voltage_share * command).powi(2)).sum()
    }

    /// Until the ceilings have settled at this voltage.
    fn settle(block: &Battery<f64>, state: &mut BatteryState<f64>, mixer: &mut Quad, voltage_share: f64) {
        (0..10_000).for_each(|_| block.step(state, Some(voltage_share), mixer));
    }

    #[test]
    fn thrust_for_a_demand_is_the_same_on_a_full_and_on_a_sagging_battery() {
        let (block, mut state, mut mixer) = (made(), BatteryState::default(), quad());
        for hundredth in (60..=100).rev() {
            let voltage = f64::from(hundredth) / 100.0;
            settle(&block, &mut state, &mut mixer, voltage);
            for demand_n in [4.0, 10.0] {
                let share = pushed_n(&mixer, demand_n, voltage) / demand_n;
                assert!((share - 1.0).abs() <= 1.01 * CEILING_STEP_SHARE, "{voltage}: {share} of {demand_n} N");
            }
        }
        // And without it: at 0.6 of the voltage, 0.36 of the thrust.
        assert!(pushed_n(&quad(), 10.0, 0.6) < 3.7);
    }

    #[test]
    fn ceiling_falls_with_the_voltage_squared_and_a_demand_beyond_it_falls_short() {
        let (block, mut state, mut mixer) = (made(), BatteryState::default(), quad());
        settle(&block, &mut state, &mut mixer, 0.8);
        let allocation = mixer.allocate(Wrench { thrust_n: 4.0 * FULL_N, ..Wrench::default() });
        let share = allocation.achieved.thrust_n / (4.0 * FULL_N * 0.64);
        assert!(allocation.saturated() && (share - 1.0).abs() <= CEILING_STEP_SHARE, "{share}");
        let first = mixer.commands(&allocation)[0];
        assert!((first - 1.0).abs() < 1e-9, "full command at the sagged ceiling: {first}");
    }

    #[test]
    fn voltage_that_jumps_is_followed_with_the_stated_time_constant() {
        let (block, mut state, mut mixer) = (made(), BatteryState::default(), quad());
        settle(&block, &mut state, &mut mixer, 1.0);
        (0..500).for_each(|_| block.step(&mut state, Some(0.8), &mut mixer));
        // After half a second 1 − 1/e of the way.
        let expected: f64 = 0.8 + 0.2 * (-1.0_f64).exp();
        let off = state.ceiling_share() / expected.powi(2) - 1.0;
        assert!(off.abs() <= CEILING_STEP_SHARE, "{off}");
    }

    #[test]
    fn another_mixer_is_set_when_the_memory_is_new() {
        let (block, mut mixer) = (made(), quad());
        settle(&block, &mut BatteryState::default(), &mut mixer, 0.7);
        block.step(&mut BatteryState::default(), None, &mut mixer);
        assert_eq!(mixer.allocate(Wrench { thrust_n: 99.0, ..Wrench::default() }).achieved.thrust_n, 4.0 * FULL_N);
    }
}
