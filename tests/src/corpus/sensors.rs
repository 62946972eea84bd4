//! Sensors: what the file leaves to the defaults, or figures of data sheets.
//!
//! Gyro: 0.003 to 0.02 deg/s/√Hz, a bias of up to 1 deg/s. Accelerometer: a bias of up to 0.3 m/s². Mounted within half a
//! degree. Bands of data sheets of small sensors (from memory).

use super::random::Random;
use super::table::{Table, Value, keys, number, numbers};

/// The `[sensors]` of a craft file, if it has one.
pub fn draw(random: &mut Random) -> Option<Table> {
    let kind = random.share();
    if kind < 0.3 {
        return None;
    }
    if kind < 0.4 {
        return Some(keys([("perfect", Value::Boolean(true))]));
    }
    let mut table = Table::new();
    if random.chance(0.4) {
        table.insert("misalignment_deg".into(), numbers(&[(); 3].map(|()| random.either_way(0.5))));
    }
    let mut gyro = Table::new();
    if random.chance(0.5) {
        gyro.insert("noise_deg_s_rthz".into(), number(random.ratio(0.003, 0.02)));
    }
    if random.chance(0.5) {
        let most = random.pick(&[0.5, 1.0]);
        gyro.insert("bias_deg_s".into(), numbers(&[(); 3].map(|()| random.either_way(most))));
    }
    if random.chance(0.2) {
        gyro.insert("drift_deg_s_rts".into(), number(random.ratio(0.0005, 0.003)));
    }
    if random.chance(0.15) {
        gyro.insert("range_deg_s".into(), number(1000.0));
    }
    if !gyro.is_empty() {
        table.insert("gyro".into(), gyro.into());
    }
    if random.chance(0.4) {
        let most = random.pick(&[0.1, 0.3]);
        let bias = numbers(&[(); 3].map(|()| random.either_way(most)));
        table.insert("accelerometer".into(), keys([("bias_m_s2", bias)]).into());
    }
    for sensor in ["climb", "heading", "voltage", "rotors"] {
        if random.chance(0.12) {
            table.insert(sensor.into(), keys([("fitted", Value::Boolean(false))]).into());
        }
    }
    Some(table)
}
