//! What the saturation picture draws, held to what the mixer said in flight.

use std::path::Path;

use super::saturation_page;
use crate::craft::Craft;
use crate::file;
use crate::onboard::Onboard;
use crate::preflight::flights;
use crate::saturation::{OFF_GROUND_M, Picture};
use crate::script::World;
use crate::simulation::fly;
use crate::verdict::FlightReport;

/// "a rotor stands at a limit, and the demand is not met in full": the mixer's own word, which the picture does not read.
const NOT_MET: u32 = 2;
/// Flights in which demands are cut on some craft or other, and one in which none is.
const FLOWN: [&str; 7] = ["hover", "off-centre", "landing", "upset", "battery-low", "out-of-reach", "rotor-out"];

fn flown(name: &str) -> (Craft, Picture, Vec<FlightReport>) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("crafts").join(name);
    let (craft, world) = (file::read_craft(&path).unwrap(), World::default());
    let onboard = Onboard::<f32>::new(&craft, world.gravity_m_s2).unwrap();
    let maidens = flights::all(&craft, &onboard, &world);
    let reports = maidens.iter().filter(|maiden| FLOWN.contains(&maiden.id)).map(|maiden| {
        let flown = fly(maiden.real.as_ref().unwrap_or(&craft), &maiden.flight, Some(&onboard), &|_| ());
        FlightReport {
            id: maiden.id,
            title: maiden.title,
            asked: String::new(),
            checks: vec![],
            recording: flown.unwrap(),
        }
    });
    let reports: Vec<FlightReport> = reports.collect();
    let picture = Picture::of(&craft, &onboard, &world).unwrap().with_flights(&craft, &reports).unwrap();
    (craft, picture, reports)
}

/// Attribute of a tag, as a number.
fn number(tag: &str, name: &str) -> f64 {
    tag.split(&format!(" {name}=\"")).nth(1).unwrap().split('"').next().unwrap().parse().unwrap()
}

/// Every mark of a drawing that stands on the wrong side of the boundary drawn there, and how many marks there are.
///
/// In a drawing of polygons a mark of a cut demand inside one is wrong; in one with a bar a dot must stand right of it and a
/// cross or arrow left of it.
fn wrong_marks(svg: &str) -> (usize, usize) {
    let of = |class: &str| -> Vec<&str> {
        svg.split('<').filter(|tag| tag.contains(&format!("class=\"{class}\"")) && !tag.contains("r=\"2.5\"")).collect()
    };
    let start = |tag: &str| -> [f64; 2] {
        let d = tag.split("d=\"M").nth(1).unwrap().split('l').next().unwrap();
        let (x, y) = d.split_once(' ').unwrap();
        [x, y].map(|value| value.parse().unwrap())
    };
    let polygons: Vec<Vec<[f64; 2]>> =
        svg.split('<').filter(|tag| tag.contains("class=\"region")).map(corners).collect();
    if !polygons.is_empty() {
        let inside = |tag: &&&str| {
            let [x, y] = start(tag);
            polygons.iter().any(|polygon| holds(polygon, [x + 3.0, y + 3.0]))
        };
        let cut = of("cut");
        return (cut.iter().filter(inside).count(), cut.len() + of("met").len());
    }
    let Some(marks) = svg.split_once("<rect class=\"band").map(|(_, marks)| marks) else { return (0, 0) };
    let bar = marks.split('<').find(|tag| tag.contains("class=\"boundary\"")).unwrap();
    let (left, right) = (number(bar, "x"), number(bar, "x") + number(bar, "width"));
    let marks =
        |class: &str| marks.split('<').filter(|tag| tag.contains(&format!("class=\"{class}\""))).collect::<Vec<_>>();
    let (met, cut) = (marks("met"), marks("cut"));
    // To a tenth of a unit, as the drawing is written.
    let met_wrong = met.iter().filter(|tag| !(number(tag, "cx") - number(tag, "r") >= right - 0.15)).count();
    // An arrow starts at its right end, a cross at its left.
    let cut_end = |tag: &str| start(tag)[0] + if tag.contains("l6") { 6.0 } else { 0.0 };
    let cut_wrong = cut.iter().filter(|tag| !(cut_end(tag) <= left + 0.15)).count();
    (met_wrong + cut_wrong, met.len() + cut.len())
}

fn corners(tag: &str) -> Vec<[f64; 2]> {
    let d = tag.split(" d=\"").nth(1).unwrap().split('"').next().unwrap();
    let points = d.trim_end_matches('z').split(['M', 'L']).filter(|point| !point.is_empty());
    let corner = |point: &str| point.split_once(' ').map(|(x, y)| [x, y].map(|value| value.parse().unwrap())).unwrap();
    points.map(corner).collect()
}

/// Whether a convex polygon has a point in it, by the same turn at every side.
fn holds(polygon: &[[f64; 2]], [x, y]: [f64; 2]) -> bool {
    let turns = polygon.iter().zip(polygon.iter().cycle().skip(1));
    let turns: Vec<f64> = turns.map(|(a, b)| (b[0] - a[0]) * (y - a[1]) - (b[1] - a[1]) * (x - a[0])).collect();
    turns.iter().all(|turn| *turn > 0.0) || turns.iter().all(|turn| *turn < 0.0)
}

#[test]
fn draws_met_demands_inside_the_boundary_and_cut_ones_outside() {
    for name in ["quad.toml", "six.toml", "eight.toml", "unfit.toml"] {
        let (_, picture, reports) = flown(name);
        for (drawn, report) in picture.flown.iter().zip(&reports) {
            let rows: Vec<_> = report.recording.rows.iter().filter(|row| row.height_m() > OFF_GROUND_M).collect();
            let of = |short: bool| {
                let rows = rows.iter().filter(move |row| (row.on_board.flags as u32 & NOT_MET != 0) == short);
                rows.map(|row| row.on_board.control_margin_nm).collect::<Vec<f64>>()
            };
            assert_eq!((drawn.id, drawn.unplaced), (report.id, 0), "{name}");
            assert_eq!((&drawn.met_nm, &drawn.cut_nm), (&of(false), &of(true)), "{name} {}", drawn.id);
            assert!(drawn.met_nm.iter().all(|nm| *nm >= 0.0) && drawn.cut_nm.iter().all(|nm| *nm < 0.0), "{name}");
        }
        let page = saturation_page::section(&picture).into_string();
        let counts: Vec<(usize, usize)> = page.split("<svg").skip(1).map(wrong_marks).collect();
        assert!(counts.iter().all(|(wrong, _)| *wrong == 0), "{name}: wrong marks of all, a drawing each: {counts:?}");
        let (cut, marks) = (
            picture.flown.iter().map(|flown| flown.cut_nm.len()).sum::<usize>(),
            counts.iter().map(|c| c.1).sum::<usize>(),
        );
        assert!(cut > 20 && marks > 50, "{name}: {cut} cut, {marks} marks");
    }
}
