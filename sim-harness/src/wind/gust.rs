//! The discrete gust of one minus cosine.
//!
//! * Math: V = V_m/2·(1 − cos(π·x/d)) for 0 ≤ x ≤ d, then V_m; here x/d is the time since its start over its rise, so a gust
//!   of length d met at speed v rises in d/v. It may fall again as it rose
//! * Source: MIL-F-8785C, section 3.7.2.3 (shape read, equation from memory); the fall is that shape backwards

use std::f64::consts::PI;

use crate::script::Gust;

/// Share of the full gust at `t_s`, 0 to 1.
pub fn gust_share(gust: &Gust, t_s: f64) -> f64 {
    let risen = ramp((t_s - gust.at_s) / gust.rise_s);
    match gust.hold_s {
        Some(hold_s) => risen - ramp((t_s - gust.at_s - gust.rise_s - hold_s) / gust.rise_s),
        None => risen,
    }
}

fn ramp(part: f64) -> f64 {
    if part >= 1.0 {
        1.0
    } else if part > 0.0 {
        0.5 * (1.0 - (PI * part).cos())
    } else {
        0.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rounding of a few operations.
    const EXACT_TOL: f64 = 1e-14;

    #[test]
    fn rises_holds_and_falls_when_its_time_comes() {
        let gust = Gust { at_s: 10.0, velocity_m_s: [1.0, 0.0, 0.0], rise_s: 2.0, hold_s: Some(3.0) };
        let shares =
            [(0.0, 0.0), (10.0, 0.0), (11.0, 0.5), (12.0, 1.0), (14.9, 1.0), (15.0, 1.0), (16.0, 0.5), (17.0, 0.0)];
        for (t_s, share) in shares {
            assert!((gust_share(&gust, t_s) - share).abs() < EXACT_TOL, "{t_s} s");
        }
        assert_eq!(gust_share(&Gust { hold_s: None, ..gust }, 1e6), 1.0);
    }
}
