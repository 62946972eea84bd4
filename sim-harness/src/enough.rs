//! What counts as authority enough: in the checks at rest, for gains, and in the answers on saturation. Our choice.

/// Thrust at full command over weight.
pub const ENOUGH_THRUST_TO_WEIGHT: f64 = 1.5;
/// Angular acceleration from hover about roll and pitch, the weaker way: from rest to 10 degrees in a little over a quarter of
/// a second.
pub const ENOUGH_TILT_RAD_S2: f64 = 5.0;
/// About yaw: half a turn in under four seconds.
pub const ENOUGH_YAW_RAD_S2: f64 = 0.5;
/// Thrust over weight that must be left on a near-empty battery: enough to stop a descent at a fifth of gravity.
pub const ENOUGH_THRUST_LEFT_TO_WEIGHT: f64 = 1.2;
