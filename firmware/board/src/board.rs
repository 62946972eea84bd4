//! What a board must be able to do. Porting is filling this trait.

use evenkeel_controller::estimate::InertialSample;
use evenkeel_mixer::RotorSet;

use crate::Flying;

/// A board's duties: clock, gyro and accelerometer, rotors, link.
///
/// No duty may wait longer than a fraction of the loop's period, and none may panic.
pub trait Board {
    /// Microseconds since power-up. Only runs forward; never stands still between two samples.
    fn now_us(&mut self) -> u64;

    /// A fresh sample of gyro and accelerometer, and when it was taken, when there is one; none until then.
    ///
    /// It sets the pace: one sample, one step. The sensor must deliver at the craft's loop rate.
    /// Body axes: x forward, y right, z down, whatever way the chip is soldered; rad/s, and m/s² of
    /// acceleration less gravity, so that (0, 0, −9.81) is read at rest and level. What cannot be read is
    /// handed on as NaN, or not at all: the supervisor knows what to do with both. Never repeat an old sample.
    fn inertial(&mut self) -> Option<(u64, InertialSample<Flying>)>;

    /// Whether the craft stands on the ground, where a board can tell. `None` is safe: the supervisor then
    /// ends a flight by the pilot's disarming alone.
    fn on_ground(&mut self) -> Option<bool> {
        None
    }

    /// Fills in how fast each rotor turns, rad/s, in the order of the craft file, where a board can tell; the notches
    /// follow it. What it leaves at zero is not known.
    fn rotor_speeds(&mut self, _speeds_rad_s: &mut [Flying]) {}

    /// Vertical speed, m/s, up positive, where a board can tell. The descent after the link's loss then holds its speed;
    /// without, it is steered by thrust alone.
    fn climb_m_s(&mut self) -> Option<Flying> {
        None
    }

    /// Charge left, 0 to 1, where it is measured. A craft without it arms with any battery: check it by hand.
    fn battery_share(&mut self) -> Option<Flying> {
        None
    }

    /// Supply voltage over that of a full battery, where it is measured.
    fn voltage_share(&mut self) -> Option<Flying> {
        None
    }

    /// Rotors that have stopped or do not obey: a fault that the motor electronics report, or a measured speed far below
    /// the one commanded for longer than a spin-up takes. Never those that stand still because their command is zero.
    /// Empty where a board cannot tell; the craft then flies on as if they turned.
    fn stopped_rotors(&mut self) -> RotorSet {
        RotorSet::EMPTY
    }

    /// Writes one command a rotor, 0 to 1, in the order of the craft file. 0 must stop the motor at once, and
    /// so must a board that resets, hangs (watchdog) or loses power to its processor.
    fn rotors(&mut self, commands: &[Flying]);

    /// Takes what has come over the link into `into`, and says how many bytes. Never waits.
    fn receive(&mut self, into: &mut [u8]) -> usize;

    /// Sends bytes over the link. May put them in a queue; what does not fit is lost whole, never in part.
    fn send(&mut self, bytes: &[u8]);
}
