//! Marks of a shape of their own, so that no colour is needed to tell them apart, and the legend that names them.

use maud::{Markup, html};

use super::thin::px;

/// Height of a row of the legend.
pub const LEGEND_ROW: f64 = 17.0;
const CHARACTER: f64 = 6.8;
const SWATCH: f64 = 28.0;
const BETWEEN: f64 = 12.0;

/// What a legend shows before a name.
pub enum Mark {
    /// A line of this class.
    Line(&'static str),
    /// A bar that must not be reached.
    Gate,
    /// A hollow circle.
    Circle,
    /// A full square.
    Square,
    /// A hollow square on its corner.
    Diamond,
    /// A full triangle.
    Triangle,
}

impl Mark {
    /// The mark at a place; a line is drawn through it.
    pub fn at(&self, x: f64, y: f64) -> Markup {
        html! {
            @match self {
                Mark::Line(class) => path class=(class) d=(format!("M{} {}h22", px(x - 11.0), px(y))) {},
                Mark::Gate => rect.gate x=(px(x - 4.0)) y=(px(y - 6.0)) width="8" height="12" {},
                Mark::Circle => circle.start cx=(px(x)) cy=(px(y)) r="4.5" {},
                Mark::Square => rect.end x=(px(x - 4.0)) y=(px(y - 4.0)) width="8" height="8" {},
                Mark::Diamond => path.start d=(format!("M{} {}l5.5 5.5l-5.5 5.5l-5.5 -5.5z", px(x), px(y - 5.5))) {},
                Mark::Triangle => path.end d=(format!("M{} {}l5.5 9h-11z", px(x), px(y - 5.5))) {},
            }
        }
    }
}

/// Names in rows from `left` to `right`, and how many rows they take.
pub fn legend(entries: &[(Mark, String)], left: f64, right: f64) -> (Markup, usize) {
    let (mut x, mut row, mut placed) = (left, 0, Vec::new());
    for (mark, label) in entries {
        let width = SWATCH + label.chars().count() as f64 * CHARACTER + BETWEEN;
        if x > left && x + width > right {
            (x, row) = (left, row + 1);
        }
        placed.push((mark, label, x, LEGEND_ROW * row as f64 + 10.0));
        x += width;
    }
    let markup = html! {
        @for (mark, label, x, y) in placed {
            (mark.at(x + 11.0, y))
            text.key x=(px(x + SWATCH)) y=(px(y + 4.0)) { (label) }
        }
    };
    (markup, if entries.is_empty() { 0 } else { row + 1 })
}

/// A note beside a drawing, with a rim that keeps it readable over lines.
pub fn said(x: f64, y: f64, anchor: &str, words: &str) -> Markup {
    html! { text.said x=(px(x)) y=(px(y)) text-anchor=(anchor) { (words) } }
}
