//! The saturation picture on the page.

use maud::{Markup, html};

use super::figures::figure;
use super::flight_page::typeset;
use super::margin_chart::MarginChart;
use super::region_chart::{Region, RegionChart};
use crate::saturation::{OFF_GROUND_M, Picture, SPINNING_NOT_TRIED, sentences};

/// The section: charts, tables, answers.
pub fn section(picture: &Picture) -> Markup {
    html! {
        section.picture aria-labelledby="saturation-h" {
            h2 id="saturation-h" { "What the rotors can reach" }
            div.charts {
                figure { figcaption { "Roll and pitch torque within reach, each polygon at one thrust" } (roll_pitch(picture).svg("roll-pitch")) }
                figure { figcaption { "Yaw torque within reach over thrust" } (thrust_yaw(picture).svg("thrust-yaw")) }
            }
            p.muted { "First: a demand of that thrust and no yaw torque is met in full inside its polygon. Second: the same for a demand "
                "without roll and pitch torque. Ceilings as the craft file has them." }
            (flown(picture))
            (operating_points(picture))
            (stopped(picture))
            h3 { "A builder's questions" }
            ul.answers { @for sentence in sentences(picture) { li { (sentence) } } }
        }
    }
}

fn flown(picture: &Picture) -> Markup {
    let chart = MarginChart::of(&picture.flown, picture.hover_margin_nm);
    let unplaced: usize = picture.flown.iter().map(|flown| flown.unplaced).sum();
    html! {
        @if !chart.flights.is_empty() {
            h3 { "What the flights asked of it" }
            div.charts {
                figure { figcaption { "Torque to spare for every demand" } (chart.svg("margin")) }
                div.reading {
                    p { "Each flight has a line, each demand a mark: a dot right of the bar was met in full, and so much torque was still to spare; "
                        "a cross left of it was cut, and so much torque was missing." }
                    p { "The torque is the smallest, in any direction of roll, pitch and yaw together, that leads to the boundary at the "
                        "demand's own thrust and yaw torque, with the battery and the rotors of that moment. Below "
                        (OFF_GROUND_M) " m demands are left out." }
                    @if unplaced > 0 { p { (unplaced) " demands were cut for another reason than this boundary, such as thrust that must not rise; they have no mark." } }
                    @if let Some(least) = &picture.least_margin {
                        p { "Smallest control margin, but for the flight that asks for more than there is: " b { (typeset(&figure(least.margin_nm, 3))) " N·m" }
                            ", in “" (least.title) "” at " (figure(least.t_s, 4)) " s." }
                    }
                }
            }
        }
    }
}

fn roll_pitch(picture: &Picture) -> RegionChart {
    let region = |slice: &crate::saturation::Slice| Region {
        label: format!("{}, {} N", slice.name, figure(slice.thrust_n, 3)),
        corners: slice.corners_nm.clone(),
    };
    RegionChart {
        title: "Roll and pitch torque within reach",
        across: "roll torque, N·m (right side down +)",
        up: "pitch torque, N·m (nose up +)",
        regions: picture.roll_pitch.iter().map(region).collect(),
        marked: None,
    }
}

fn thrust_yaw(picture: &Picture) -> RegionChart {
    RegionChart {
        title: "Yaw torque within reach over thrust",
        across: "thrust, N",
        up: "yaw torque, N·m (nose right +)",
        regions: vec![Region { label: "within reach".into(), corners: picture.thrust_yaw.clone() }],
        marked: Some(([picture.weight_n, 0.0], "hover")),
    }
}

fn operating_points(picture: &Picture) -> Markup {
    let pair = |low: f64, high: f64| format!("{} / +{}", typeset(&figure(low, 3)), typeset(&figure(high, 3)));
    html! {
        table.limits.reach role="table" {
            caption { "Largest torque each way, the other two zero: roll left / right, nose down / up, nose left / right; N·m, and below it rad/s²" }
            thead role="rowgroup" { tr role="row" {
                th role="columnheader" scope="col" { "Where" } th.number role="columnheader" scope="col" { "Roll left / right" }
                th.number role="columnheader" scope="col" { "Nose down / up" } th.number role="columnheader" scope="col" { "Nose left / right" }
            } }
            tbody role="rowgroup" { @for point in &picture.operating_points { tr role="row" {
                th role="rowheader" scope="row" { (point.name) ", " (figure(point.thrust_n, 3)) " N" }
                @match &point.axes {
                    Some(axes) => { @for axis in axes { td.number role="cell" {
                        (pair(axis.negative_nm, axis.positive_nm)) br; span.unit { (pair(axis.negative_rad_s2, axis.positive_rad_s2)) }
                    } } }
                    None => { td role="cell" colspan="3" { "out of reach" } }
                }
            } } }
        }
    }
}

fn stopped(picture: &Picture) -> Markup {
    let torque = |nm: Option<f64>| nm.map_or("–".to_owned(), |nm| typeset(&figure(nm, 3)));
    html! {
        table.limits role="table" {
            caption { "With one rotor stopped, in level hover: torque to spare, N·m. Not level: " (SPINNING_NOT_TRIED) ". No figure here makes flight with a rotor lost safe." }
            thead role="rowgroup" { tr role="row" {
                th role="columnheader" scope="col" { "Stopped" } th.number role="columnheader" scope="col" { "Nose held" }
                th.number role="columnheader" scope="col" { "Yaw let go" } th role="columnheader" scope="col" { "So it" }
            } }
            tbody role="rowgroup" { @for one in &picture.rotor_stopped { tr role="row" {
                th role="rowheader" scope="row" { (one.rotor) } td.number role="cell" { (torque(one.margin_nm)) }
                td.number role="cell" { (torque(one.margin_without_yaw_nm)) } td.by role="cell" { (one.words()) }
            } } }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo;
    use crate::onboard::Onboard;
    use crate::script::World;

    #[test]
    fn shows_polygons_tables_and_answers_when_a_craft_can_hover() {
        let (craft, world) = (demo::quad().unwrap(), World::default());
        let onboard = Onboard::<f32>::new(&craft, world.gravity_m_s2).unwrap();
        let picture = Picture::of(&craft, &onboard, &world).unwrap();
        let page = section(&picture).into_string();
        // Four thrusts and the yaw chart, each an outline of its own.
        assert_eq!(page.matches("class=\"region line").count(), 5);
        for words in ["battery near empty", "Stopped", "Steady wind from ahead", "torque of a gust"] {
            assert!(page.contains(words), "{words} is missing");
        }
    }
}
