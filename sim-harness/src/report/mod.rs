//! Renders what the maiden-flight check found: for the terminal, for scripts, and as one HTML file.
//!
//! The renderers read [`crate::verdict::Preflight`] and judge nothing: what passes is decided there.

mod bode;
mod chart;
mod craft_view;
mod decades;
mod doubts_page;
mod figures;
mod flight_page;
mod html;
mod json;
mod loops_page;
mod margin_chart;
mod marks;
mod nyquist;
mod plane;
mod plots;
mod region_chart;
mod saturation_page;
mod standing;
mod text;
mod thin;
mod ticks;
mod write;

pub(crate) use figures::{Figures, figure, figures_of, trimmed};
pub use html::html;
pub use json::json;
pub use text::{TextStyle, text};
pub use write::write_all;

#[cfg(test)]
mod chart_tests;
#[cfg(test)]
pub(crate) mod fixture;
#[cfg(test)]
mod html_tests;
#[cfg(test)]
mod loops_tests;
#[cfg(test)]
mod picture_tests;
