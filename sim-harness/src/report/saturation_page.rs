//! The saturation picture on the page.

use maud::{Markup, html};

use super::figures::figure;
use super::flight_page::typeset;
use super::region_chart::{Region, RegionChart};
use crate::saturation::{Flown, Picture, sentences};

/// The section: charts, tables, answers.
pub fn section(picture: &Picture, rotors: usize) -> Markup {
    html! {
        section.picture aria-labelledby="saturation-h" {
            h2 id="saturation-h" { "What the rotors can reach" }
            p.muted { "Inside a polygon a demand is met in full. Dots are what the flights asked; crosses are demands that were cut." }
            @if let Some(least) = &picture.least_margin {
                p { "Smallest control margin in the flights, but for the one that asks for more than there is: " b { (typeset(&figure(least.margin_nm, 3))) " N·m" }
                    ", in “" (least.title) "” at " (figure(least.t_s, 4)) " s." }
            }
            div.charts {
                figure { figcaption { "Roll and pitch torque, yaw zero" } (roll_pitch(picture).svg("roll-pitch")) }
                figure { figcaption { "Yaw torque over thrust, roll and pitch zero" } (thrust_yaw(picture).svg("thrust-yaw")) }
            }
            (operating_points(picture))
            (gives_way(picture, rotors))
            (stopped(picture))
            h3 { "A builder's questions" }
            ul.answers { @for sentence in sentences(picture) { li { (sentence) } } }
        }
    }
}

fn demands(picture: &Picture, axes: [usize; 2]) -> [Vec<[f64; 2]>; 2] {
    let of = |pick: fn(&Flown) -> &Vec<evenkeel_mixer::Wrench<f64>>| {
        let wrenches = picture.flown.iter().flat_map(pick).map(|wrench| wrench.to_array());
        wrenches.map(|wrench| axes.map(|axis| wrench[axis])).collect()
    };
    [of(|flown| &flown.met), of(|flown| &flown.cut)]
}

fn roll_pitch(picture: &Picture) -> RegionChart {
    let [met, cut] = demands(picture, [1, 2]);
    let region = |slice: &crate::saturation::Slice| Region {
        label: format!("{}, {} N", slice.name, figure(slice.thrust_n, 3)),
        corners: slice.corners_nm.clone(),
    };
    RegionChart {
        title: "Roll and pitch torque within reach",
        across: "roll torque, N·m (right side down +)",
        up: "pitch torque, N·m (nose up +)",
        regions: picture.roll_pitch.iter().map(region).collect(),
        met,
        cut,
        marked: None,
    }
}

fn thrust_yaw(picture: &Picture) -> RegionChart {
    let [met, cut] = demands(picture, [0, 3]);
    RegionChart {
        title: "Yaw torque within reach over thrust",
        across: "thrust, N",
        up: "yaw torque, N·m (nose right +)",
        regions: vec![Region { label: "within reach".into(), corners: picture.thrust_yaw.clone() }],
        met,
        cut,
        marked: Some(([picture.weight_n, 0.0], "hover")),
    }
}

fn operating_points(picture: &Picture) -> Markup {
    let pair = |low: f64, high: f64| format!("{} / +{}", typeset(&figure(low, 3)), typeset(&figure(high, 3)));
    html! {
        table.limits role="table" {
            caption { "Largest torque each way, the other two zero: N·m, and below it rad/s²" }
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

fn gives_way(picture: &Picture, rotors: usize) -> Markup {
    html! {
        h3 { "What gives way first from hover" }
        ul.answers { @for limit in &picture.gives_way { li { b { (limit.demand) } ": " (limit.words(rotors)) } } }
    }
}

fn stopped(picture: &Picture) -> Markup {
    let torque = |nm: Option<f64>| nm.map_or("–".to_owned(), |nm| typeset(&figure(nm, 3)));
    html! {
        table.limits role="table" {
            caption { "With one rotor stopped, in level hover: torque to spare, N·m. No figure here makes flight with a rotor lost safe." }
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
        let page = section(&picture, craft.rotors.len()).into_string();
        // Four thrusts and the yaw chart, each an outline of its own.
        assert_eq!(page.matches("class=\"region line").count(), 5);
        for words in ["battery near empty", "Stopped", "Steady wind from ahead", "gives way", "torque of a gust"] {
            assert!(page.contains(words), "{words} is missing");
        }
    }
}
