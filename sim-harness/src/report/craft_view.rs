//! The craft from above, nose up the page: rotors at their places, with number and sense of rotation.

use std::f64::consts::{FRAC_PI_2, TAU};

use maud::{Markup, html};

use super::figures::{figure, trimmed};
use super::thin::px;
use crate::craft::{Craft, Spin};
use crate::verdict::StickResponse;

/// Rotors nearer than this to each other, seen from above, are one above the other.
const SAME_PLACE_M: f64 = 1e-3;
/// A disc reaches this part of the way to its nearest neighbour; true diameters are not known.
const DISC: f64 = 0.4;
/// How far round the disc a spin arrow runs.
const ARROW_TURN: f64 = 0.7 * TAU;
const SIZE: f64 = 320.0;
const EDGE: f64 = 16.0;

struct Place {
    across: f64,
    down: f64,
    /// Counted from 0: how many rotors before this one stand at the same place.
    beneath: usize,
}

struct View {
    places: Vec<Place>,
    disc: f64,
    datum: (f64, f64),
    per_m: f64,
}

impl View {
    fn of(craft: &Craft, size: f64, edge: f64) -> View {
        let hubs: Vec<(f64, f64)> =
            craft.rotors.iter().map(|rotor| (rotor.position_m[0], rotor.position_m[1])).collect();
        let gap = |a: &(f64, f64), b: &(f64, f64)| (a.0 - b.0).hypot(a.1 - b.1);
        let gaps = hubs.iter().enumerate().flat_map(|(k, a)| hubs[..k].iter().map(move |b| gap(a, b)));
        let reach_m = hubs.iter().map(|hub| hub.0.abs().max(hub.1.abs())).fold(0.05, f64::max);
        let nearest_m = gaps.filter(|&gap| gap > SAME_PLACE_M).fold(2.0 * reach_m, f64::min);
        let disc_m = DISC * nearest_m;
        let per_m = (size / 2.0 - edge) / (reach_m + disc_m);
        let places = hubs.iter().enumerate().map(|(k, hub)| Place {
            across: size / 2.0 + hub.1 * per_m,
            down: size / 2.0 - hub.0 * per_m,
            beneath: hubs[..k].iter().filter(|other| gap(hub, other) <= SAME_PLACE_M).count(),
        });
        View { places: places.collect(), disc: disc_m * per_m, datum: (size / 2.0, size / 2.0), per_m }
    }

    fn arms(&self) -> Markup {
        let (x, y) = self.datum;
        html! {
            @for place in self.places.iter().filter(|place| place.beneath == 0) {
                path.arm d=(format!("M{} {}L{} {}", px(x), px(y), px(place.across), px(place.down))) {}
            }
        }
    }

    fn nose(&self, width: f64) -> Markup {
        let (x, y) = self.datum;
        let (half, long) = (width / 2.0, width * 1.15);
        html! {
            path.nose d=(format!("M{} {}L{} {}L{} {}L{} {}L{} {}z",
                px(x), px(y - long), px(x + half), px(y - half / 2.0), px(x + half), px(y + long * 0.8),
                px(x - half), px(y + long * 0.8), px(x - half), px(y - half / 2.0))) {}
        }
    }
}

/// Whether a rotor stands above or below another.
pub fn shares_a_place(craft: &Craft) -> bool {
    View::of(craft, SIZE, EDGE).places.iter().any(|place| place.beneath > 0)
}

/// The drawing: discs, numbers, spin arrows, nose, centre of mass.
pub fn top_view(craft: &Craft) -> Markup {
    let view = View::of(craft, SIZE, EDGE);
    let (x, y) = view.datum;
    let body = &craft.body.center_of_mass_m;
    let (mass_x, mass_y) = (x + body[1] * view.per_m, y - body[0] * view.per_m);
    let turning = |spin: Spin| {
        let numbers = craft.rotors.iter().zip(1..).filter(|(rotor, _)| rotor.spin == spin);
        let numbers: Vec<String> = numbers.map(|(_, k): (_, i32)| k.to_string()).collect();
        if numbers.is_empty() { "none".to_owned() } else { numbers.join(", ") }
    };
    let words = format!(
        "Nose at the top. {} rotors. Turning clockwise seen from above: {}. Counter-clockwise: {}. The table of rotors gives their places.",
        craft.rotors.len(),
        turning(Spin::Cw),
        turning(Spin::Ccw),
    );
    html! {
        svg.craft viewBox=(format!("0 0 {SIZE} {SIZE}")) role="img" aria-labelledby="craft-t craft-d" {
            title id="craft-t" { "The craft from above" }
            desc id="craft-d" { (words) }
            (view.arms())
            (view.nose(34.0))
            text.note x=(px(x)) y=(px(y - 46.0)) text-anchor="middle" { "nose" }
            path.mass d=(format!("M{} {}h14m-7 -7v14", px(mass_x - 7.0), px(mass_y))) {}
            @for ((rotor, place), number) in craft.rotors.iter().zip(&view.places).zip(1..) {
                (disc(&view, place, rotor.spin, number, &rotor.name))
            }
            (numbers(&view))
        }
    }
}

fn disc(view: &View, place: &Place, spin: Spin, number: i32, name: &str) -> Markup {
    let radius = view.disc * (1.0 - 0.3 * place.beneath.min(2) as f64);
    let class = if spin == Spin::Cw { "disc cw" } else { "disc ccw" };
    html! {
        g class=(class) {
            title { (number) " " (name) ", " (spin_words(spin)) }
            circle cx=(px(place.across)) cy=(px(place.down)) r=(px(radius)) {}
            path.spin d=(arrow(place, radius - 6.0, spin)) {}
        }
    }
}

/// The numbers, above all discs; rotors at one place share a line: "1 / 5".
fn numbers(view: &View) -> Markup {
    let same = |a: &Place, b: &Place| (a.across - b.across).hypot(a.down - b.down) < 0.5;
    html! {
        @for place in view.places.iter().filter(|place| place.beneath == 0) {
            @let here = view.places.iter().zip(1..).filter(|(other, _)| same(place, other));
            @let label = here.map(|(_, number): (_, i32)| number.to_string()).collect::<Vec<_>>().join(" / ");
            text.number x=(px(place.across)) y=(px(place.down + 5.0)) text-anchor="middle" { (label) }
        }
    }
}

/// An arc with a head, running the way the rotor turns.
fn arrow(place: &Place, radius: f64, spin: Spin) -> String {
    // On the page, as on a compass, angles that grow clockwise have y pointing down.
    let (sense, sweep) = if spin == Spin::Cw { (1.0, 1) } else { (-1.0, 0) };
    let at = |angle: f64, radius: f64| (place.across + radius * angle.cos(), place.down + radius * angle.sin());
    let start = -FRAC_PI_2 - sense * ARROW_TURN / 2.0;
    let end = start + sense * ARROW_TURN;
    let head = (7.0 / radius.max(7.0)).min(1.0);
    let points = [
        at(start, radius),
        at(end, radius),
        at(end - sense * head, radius + 5.0),
        at(end - sense * head, radius - 5.0),
    ];
    let [from, tip, outer, inner] = points.map(|(x, y)| format!("{} {}", px(x), px(y)));
    let r = px(radius);
    format!("M{from}A{r} {r} 0 1 {sweep} {tip}M{outer}L{tip}L{inner}")
}

/// A small drawing of who speeds up (+) and who slows down (−).
pub fn stick_view(craft: &Craft, response: &StickResponse) -> Markup {
    let view = View::of(craft, 84.0, 2.0);
    html! {
        svg.stick viewBox="0 0 84 84" aria-hidden="true" {
            (view.arms())
            (view.nose(9.0))
            @for (rotor, place) in craft.rotors.iter().zip(&view.places) {
                @let (class, sign) = if response.faster.contains(&rotor.name) { ("faster", "+") }
                    else if response.slower.contains(&rotor.name) { ("slower", "−") } else { ("same", "") };
                @let shift = if place.beneath > 0 { 7.0 } else { 0.0 };
                circle class=(class) cx=(px(place.across + shift)) cy=(px(place.down + shift)) r=(px(view.disc.min(12.0))) {}
                text class=(class) x=(px(place.across + shift)) y=(px(place.down + shift + 5.0)) text-anchor="middle" { (sign) }
            }
        }
    }
}

/// The rotors as a table: the drawing in words and figures.
pub fn rotor_table(craft: &Craft) -> Markup {
    html! {
        table.rotors {
            caption { "Rotors. Places from the datum; spin as seen from above." }
            thead { tr {
                th scope="col" { "No." } th scope="col" { "Name" } th scope="col" { "Spin" }
                th.number scope="col" { "Forward, m" } th.number scope="col" { "Right, m" } th.number scope="col" { "Down, m" }
            } }
            tbody {
                @for (rotor, number) in craft.rotors.iter().zip(1..) {
                    tr {
                        td { (number) } th scope="row" { (rotor.name) } td { (spin_words(rotor.spin)) }
                        @for along in rotor.position_m { td.number { (trimmed(figure(along, 3)).replace('-', "−")) } }
                    }
                }
            }
        }
    }
}

fn spin_words(spin: Spin) -> &'static str {
    match spin {
        Spin::Cw => "clockwise",
        Spin::Ccw => "counter-clockwise",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::fixture;

    /// Angle lost in coordinates printed to a tenth, 40 from the hub.
    const PRINT_TOL: f64 = 0.01;

    fn numbers(path: &str) -> Vec<f64> {
        path.split(|c: char| !(c.is_ascii_digit() || c == '.' || c == '-'))
            .filter_map(|word| word.parse().ok())
            .collect()
    }

    /// Expectation: on a page whose y points down, sweep flag 1 draws an arc clockwise (SVG 2, 9.3.8, from
    /// memory), and the head's barbs lie where the rotor came from.
    #[test]
    fn points_the_arrow_the_way_the_rotor_turns() {
        let place = Place { across: 100.0, down: 100.0, beneath: 0 };
        for (spin, sense) in [(Spin::Cw, 1.0), (Spin::Ccw, -1.0)] {
            let path = numbers(&arrow(&place, 40.0, spin));
            let (sweep, tip, barb) = (path[6], (path[7], path[8]), (path[9], path[10]));
            assert_eq!(sweep == 1.0, sense > 0.0);
            // From barb to tip about the centre: clockwise on the page is a positive cross product.
            let cross = (barb.0 - 100.0) * (tip.1 - 100.0) - (barb.1 - 100.0) * (tip.0 - 100.0);
            assert!(cross * sense > 0.0, "{spin:?}: {cross}");
            // The long way round from start to tip, so that the arc's centre is the hub.
            let angle = |x: f64, y: f64| (y - 100.0).atan2(x - 100.0);
            let turned = (sense * (angle(tip.0, tip.1) - angle(path[0], path[1]))).rem_euclid(TAU);
            assert!((turned - ARROW_TURN).abs() < PRINT_TOL, "{spin:?} turns by {turned}");
        }
    }

    #[test]
    fn puts_the_nose_up_and_the_right_side_right() {
        let view = View::of(&fixture::craft(), SIZE, EDGE);
        let middle = SIZE / 2.0;
        let sides: Vec<_> = view.places.iter().map(|p| (p.down < middle, p.across > middle)).collect();
        // Front right, rear right, rear left, front left.
        assert_eq!(sides, [(true, true), (false, true), (false, false), (true, false)]);
        assert!(view.places.iter().all(|p| p.across - view.disc >= 0.0 && p.across + view.disc <= SIZE));
    }

    #[test]
    fn signs_the_rotors_that_speed_up_and_slow_down() {
        let (preflight, craft) = fixture::fit();
        let roll_right = stick_view(&craft, &preflight.sticks[1]).into_string();
        let signs: Vec<&str> =
            roll_right.split("text-anchor=\"middle\">").skip(1).filter_map(|s| s.split('<').next()).collect();
        assert_eq!(signs, ["−", "−", "+", "+"]);
    }
}
