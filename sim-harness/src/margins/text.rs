//! Margins for the terminal, in 80 columns.

use std::fmt::Write;

use super::{LoopMargins, Margins};
use crate::verdict::Limit;

impl Margins {
    /// A table, and what falls short of its limit.
    pub fn text(&self) -> String {
        let mut text = format!(
            "{:<12} {:>8} {:>7} {:>9} {:>8} {:>9} {:>8} {:>6}\n{:<12} {:>8} {:>7} {:>9} {:>8} {:>9} {:>8} {:>6}\n",
            "loop",
            "gain dB",
            "phase",
            "crossover",
            "delay",
            "bandwidth",
            "peak S",
            "disk",
            "",
            "up/down",
            "deg",
            "Hz",
            "ms",
            "Hz",
            "",
            ""
        );
        for one in &self.loops {
            text += &one.row();
        }
        if let Some(one) = self.loops.first() {
            let limits = &one.limits;
            let least = |limit: Limit| limit.min.unwrap_or(f64::NAN);
            let _ = write!(
                text,
                "\nHeld to: gain {:.0} dB both ways, phase {:.0} deg (SAE AS94900), delay {:.1} ms,\n\
                 peak sensitivity {:.1}; rate loop at least {:.0} times as fast as angle loop.\n",
                least(limits.gain_margin_db),
                least(limits.phase_margin_deg),
                1e3 * least(limits.delay_margin_s),
                limits.peak_sensitivity.max.unwrap_or(f64::NAN),
                least(limits.separation),
            );
        }
        for line in self.short() {
            text += &(line + "\n");
        }
        text
    }

    /// What falls short of its limit, in words.
    pub fn short(&self) -> Vec<String> {
        self.loops.iter().flat_map(LoopMargins::short).collect()
    }
}

impl LoopMargins {
    fn short(&self) -> Vec<String> {
        if !self.stable {
            return vec![format!("{} {}: unstable", self.axis, self.name)];
        }
        let failed = self.judged().into_iter().filter(|(_, value, limit)| !limit.holds(*value));
        let words = |(name, value, limit): (&str, f64, Limit)| {
            let (word, bound) = match limit.min {
                Some(least) => ("at least", least),
                None => ("at most", limit.max.unwrap_or(f64::NAN)),
            };
            format!("{} {}: {name} {value:.4}, must be {word} {bound:.4}", self.axis, self.name)
        };
        failed.map(words).collect()
    }

    fn row(&self) -> String {
        let name = format!("{} {}", self.axis, self.name);
        if !self.stable {
            return format!("{name:<12} unstable\n");
        }
        let down = self.gain_margin_down_db.map_or("-".to_string(), |down| format!("{down:.1}"));
        format!(
            "{name:<12} {:>8} {:>7.1} {:>9.2} {:>8.1} {:>9.2} {:>8.2} {:>6.2}\n",
            format!("{:.1}/{down}", self.gain_margin_up_db),
            self.phase_margin_deg,
            self.crossover_hz,
            1e3 * self.delay_margin_s,
            self.bandwidth_hz,
            self.peak_sensitivity,
            self.disk_margin,
        )
    }
}
