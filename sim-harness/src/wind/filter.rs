//! Shaping filters of Dryden turbulence as exact discrete filters of unit variance.
//!
//! With θ = T·V/L, the sample period in units of the time that the field takes to pass:
//!
//! * First order, for u: x ← a·x + √(1 − a²)·n, a = e^(−θ)
//! * Second order, for v and w: x₁' = x₂, x₂' = −x₁ − 2·x₂ + white noise, output x₁ + √3·x₂. Over a period
//!   x ← Φ·x + noise of covariance Q, Φ = e^(−θ)·[[1 + θ, θ], [−θ, 1 − θ]], Q₁₁ = ∫s²e^(−2s), Q₁₂ = θ²e^(−2θ)/2,
//!   Q₂₂ = ∫(1 − s)²e^(−2s), integrals from 0 to θ. In its stationary state both parts have variance 1/4
//! * θ may change from one sample to the next: the variance stays 1
//! * Source: the forming filters of MIL-F-8785C spectra, H_u ∝ 1/(1 + L·s/V), H_w ∝ (1 + √3·L·s/V)/(1 + L·s/V)²; the
//!   discrete forms are worked out from them

/// Where the closed form of Q₁₁ loses its digits and its series is better.
const SERIES_BELOW: f64 = 0.1;
/// Terms of the series: the next is below 1e-16 of the first at the border.
const SERIES_TERMS: i32 = 12;

/// First-order filter for one θ.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FirstOrderFilter {
    /// What is kept of the last sample.
    pub keep: f64,
    /// Standard deviation of what comes in.
    pub noise: f64,
}

impl FirstOrderFilter {
    /// `theta` is above 0.
    pub fn new(theta: f64) -> FirstOrderFilter {
        // 1 − e^(−2θ) without cancellation.
        FirstOrderFilter { keep: (-theta).exp(), noise: (-(-2.0 * theta).exp_m1()).sqrt() }
    }

    /// The next output, from the last and a standard normal number.
    pub fn step(&self, state: f64, normal: f64) -> f64 {
        self.keep * state + self.noise * normal
    }
}

/// Second-order filter for one θ.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SecondOrderFilter {
    /// Φ by rows.
    pub transition: [[f64; 2]; 2],
    /// Q₁₁, Q₁₂, Q₂₂.
    pub covariance: [f64; 3],
    /// Lower Cholesky factor of Q: first row, then both entries of the second.
    root: [f64; 3],
}

impl SecondOrderFilter {
    /// `theta` is above 0.
    pub fn new(theta: f64) -> SecondOrderFilter {
        let decay = (-theta).exp();
        let square = decay * decay;
        let q11 = square_moment(theta, square);
        let q12 = 0.5 * theta * theta * square;
        let q22 = theta * square + q11;
        let root11 = q11.sqrt();
        let root21 = q12 / root11;
        SecondOrderFilter {
            transition: [[decay * (1.0 + theta), decay * theta], [-decay * theta, decay * (1.0 - theta)]],
            covariance: [q11, q12, q22],
            root: [root11, root21, (q22 - root21 * root21).max(0.0).sqrt()],
        }
    }

    /// The next state, from the last and two standard normal numbers.
    pub fn step(&self, [x1, x2]: [f64; 2], [n1, n2]: [f64; 2]) -> [f64; 2] {
        let [[a, b], [c, d]] = self.transition;
        let [root11, root21, root22] = self.root;
        [a * x1 + b * x2 + root11 * n1, c * x1 + d * x2 + root21 * n1 + root22 * n2]
    }

    /// A state of the stationary process, from two standard normal numbers.
    pub fn stationary([n1, n2]: [f64; 2]) -> [f64; 2] {
        [0.5 * n1, 0.5 * n2]
    }

    /// What a state gives: unit variance.
    pub fn output([x1, x2]: [f64; 2]) -> f64 {
        x1 + 3.0_f64.sqrt() * x2
    }
}

/// ∫₀^θ s²·e^(−2s) ds; `square` is e^(−2θ).
fn square_moment(theta: f64, square: f64) -> f64 {
    if theta < SERIES_BELOW {
        // Σ (−2)^k·θ^(k+3)/(k!·(k+3))
        let mut power = theta * theta * theta;
        let mut sum = 0.0;
        for k in 0..SERIES_TERMS {
            sum += power / f64::from(k + 3);
            power *= -2.0 * theta / f64::from(k + 1);
        }
        sum
    } else {
        0.25 * (1.0 - square * (1.0 + 2.0 * theta * (1.0 + theta)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rounding, relative to 1/4.
    const EXACT_TOL: f64 = 1e-14;

    /// P = Φ·P·Φᵀ + Q with P = 1/4: the definition of a stationary state.
    #[test]
    fn keeps_its_stationary_covariance_when_it_steps() {
        for theta in [1e-6, 1e-3, 0.05, 0.0999, 0.1001, 1.0, 5.0, 50.0] {
            let SecondOrderFilter { transition: [[a, b], [c, d]], covariance: [q11, q12, q22], .. } =
                SecondOrderFilter::new(theta);
            let next = [0.25 * (a * a + b * b) + q11, 0.25 * (a * c + b * d) + q12, 0.25 * (c * c + d * d) + q22];
            for (next, kept) in next.into_iter().zip([0.25, 0.0, 0.25]) {
                assert!((next - kept).abs() < EXACT_TOL, "theta {theta}: {next}");
            }
            let first = FirstOrderFilter::new(theta);
            assert!((first.keep * first.keep + first.noise * first.noise - 1.0).abs() < EXACT_TOL, "theta {theta}");
        }
    }

    /// Both forms at the border, relative.
    #[test]
    fn joins_series_and_closed_form_when_theta_grows() {
        const BORDER_TOL: f64 = 1e-11;
        let theta = SERIES_BELOW * (1.0 - 1e-15);
        let series = square_moment(theta, (-2.0 * theta).exp());
        let closed = square_moment(SERIES_BELOW, (-2.0 * SERIES_BELOW).exp());
        assert!((series / closed - 1.0).abs() < BORDER_TOL, "{series:e} {closed:e}");
    }
}
