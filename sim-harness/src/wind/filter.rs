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

/// First-order low-pass of the output of a [`SecondOrderFilter`], exact for any step, driven by the noise of that filter.
///
/// * Math, in the time of the second-order filter: z′ = c·(x₁ + √3·x₂ − z). With p₂ = c·(√3·c − 1)/(c − 1)² and p₁ = 1 + p₂/c the
///   part z − p₁·x₁ − p₂·x₂ decays by itself as e^(−cθ), driven by −p₂ times the noise; its covariances with the
///   noise of x over a step are integrals of e^(−(c+1)s) and s·e^(−(c+1)s)
/// * At c = 1 the two have the same pole and p has none; c is kept a hundredth away
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LowPassedFilter {
    corner: f64,
    part: [f64; 2],
    keep: f64,
    /// On the two normal numbers of the second-order filter, and on one of its own.
    noise: [f64; 3],
}

/// Least distance of a corner from that of the second-order filter.
const APART: f64 = 1.0e-2;

impl LowPassedFilter {
    /// `theta` as of the second-order filter, `corner` in its units; both above 0.
    pub fn new(theta: f64, corner: f64) -> LowPassedFilter {
        let c = if (corner - 1.0).abs() < APART { 1.0 + APART } else { corner };
        let [root11, root21, root22] = SecondOrderFilter::new(theta).root;
        let p2 = c * (3.0_f64.sqrt() * c - 1.0) / ((c - 1.0) * (c - 1.0));
        let [zeroth, first] = moments(theta, c + 1.0);
        // Covariances with the noise of x₁ and x₂.
        let with = [-p2 * first, -p2 * (zeroth - first)];
        let on_first = with[0] / root11;
        let on_second = if root22 > 0.0 { (with[1] - on_first * root21) / root22 } else { 0.0 };
        let variance = p2 * p2 * -(-2.0 * c * theta).exp_m1() / (2.0 * c);
        let left = variance - on_first * on_first - on_second * on_second;
        LowPassedFilter {
            corner: c,
            part: [1.0 + p2 / c, p2],
            keep: (-c * theta).exp(),
            noise: [on_first, on_second, left.max(0.0).sqrt()],
        }
    }

    /// The next output, from the last, the state of the second-order filter before and after its step, the two numbers that
    /// made that step and one more.
    pub fn step(&self, low: f64, from: [f64; 2], to: [f64; 2], [n1, n2]: [f64; 2], n3: f64) -> f64 {
        let [on_first, on_second, own] = self.noise;
        self.keep * (low - self.partly(from)) + on_first * n1 + on_second * n2 + own * n3 + self.partly(to)
    }

    /// An output of the stationary process beside this state of the second-order filter.
    pub fn stationary(&self, state: [f64; 2], normal: f64) -> f64 {
        let (c, [_, p2]) = (self.corner, self.part);
        let rate = c + 1.0;
        // Covariances with x over all the past; x has the variances 1/4.
        let [on_first, on_second] = [-p2 / (rate * rate), -p2 * c / (rate * rate)].map(|with| 4.0 * with);
        let left = p2 * p2 / (2.0 * c) - 0.25 * (on_first * on_first + on_second * on_second);
        let [x1, x2] = state;
        on_first * x1 + on_second * x2 + left.max(0.0).sqrt() * normal + self.partly(state)
    }

    fn partly(&self, [x1, x2]: [f64; 2]) -> f64 {
        self.part[0] * x1 + self.part[1] * x2
    }
}

/// ∫₀^θ e^(−as) ds and ∫₀^θ s·e^(−as) ds.
fn moments(theta: f64, rate: f64) -> [f64; 2] {
    let x = rate * theta;
    let zeroth = -(-x).exp_m1() / rate;
    let first = if x < SERIES_BELOW {
        // θ²·Σ (−x)^k/(k!·(k+2))
        let mut power = 1.0;
        let mut sum = 0.0;
        for k in 0..SERIES_TERMS {
            sum += power / f64::from(k + 2);
            power *= -x / f64::from(k + 1);
        }
        theta * theta * sum
    } else {
        (zeroth - theta * (-x).exp()) / rate
    };
    [zeroth, first]
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

    /// A stationary state stays one, and a step of θ after one of θ is a step of 2θ: the covariances of (low, x) that the
    /// coefficients make, worked out here by hand.
    #[test]
    fn low_passes_exactly_when_steps_are_short_or_long() {
        /// Beside an equal pole the two parts are thousands of times what is left of them.
        const ROUND_TOL: f64 = 1e-8;
        for corner in [0.2, 0.9, 1.0, 1.3, 5.0, 300.0] {
            for theta in [1e-5, 1e-3, 0.05, 0.5] {
                let (second, low) = (SecondOrderFilter::new(theta), LowPassedFilter::new(theta, corner));
                // From three independent normal numbers of the start and three of the step.
                let starts = [[0.5, 0.0], [0.0, 0.5], [0.0, 0.0]];
                let mut ends = [[0.0; 3]; 6];
                for k in 0..6 {
                    let from = if k < 3 { starts[k] } else { [0.0; 2] };
                    let normals =
                        if k >= 3 { [f64::from(u8::from(k == 3)), f64::from(u8::from(k == 4))] } else { [0.0; 2] };
                    let before = if k < 3 { low.stationary(from, f64::from(u8::from(k == 2))) } else { 0.0 };
                    let to = second.step(from, normals);
                    let after = low.step(before, from, to, normals, f64::from(u8::from(k == 5)));
                    ends[k] = [after, to[0], to[1]];
                }
                let begun = [0, 1, 2]
                    .map(|k| [low.stationary(starts[k], f64::from(u8::from(k == 2))), starts[k][0], starts[k][1]]);
                let covariance =
                    |rows: &[[f64; 3]], a: usize, b: usize| rows.iter().map(|row| row[a] * row[b]).sum::<f64>();
                let size = covariance(&begun, 0, 0) + 0.25;
                for (a, b) in [(0, 0), (0, 1), (0, 2)] {
                    let (then, now) = (covariance(&begun, a, b), covariance(&ends, a, b));
                    assert!(
                        (then - now).abs() < ROUND_TOL * size,
                        "c = {corner}, theta = {theta}, {a}{b}: {then} {now}"
                    );
                }
            }
        }
    }

    /// Source: variance of the low-passed process by its spectrum, (2/π)·∫(1 + 3ω²)/((1 + ω²)²·(1 + (ω/c)²))dω/2, integrated here.
    #[test]
    fn has_the_variance_of_its_spectrum_when_it_is_stationary() {
        const INTEGRAL_TOL: f64 = 1e-4;
        for corner in [0.2, 1.0, 5.0, 300.0] {
            // ω = tan φ maps the line to a quarter turn.
            const STEPS: u32 = 200_000;
            let density = |phi: f64| {
                let square = phi.tan().powi(2);
                (1.0 + 3.0 * square) / (1.0 + square) / (1.0 + square / (corner * corner)) / std::f64::consts::PI
            };
            let width = std::f64::consts::FRAC_PI_2 / f64::from(STEPS);
            let expected: f64 = (0..STEPS).map(|k| density((f64::from(k) + 0.5) * width) * width).sum();
            let low = LowPassedFilter::new(0.01, corner);
            let ways =
                [low.stationary([0.5, 0.0], 0.0), low.stationary([0.0, 0.5], 0.0), low.stationary([0.0; 2], 1.0)];
            let ours: f64 = ways.iter().map(|way| way * way).sum();
            assert!((ours / expected - 1.0).abs() < INTEGRAL_TOL + 2.0 * APART, "c = {corner}: {ours} {expected}");
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
