//! Doubts in words, for every renderer, and their part of the page.

use maud::{Markup, html};

use super::figures::{figure, trimmed};
use super::flight_page::typeset;
use crate::doubts::Doubt;
use crate::verdict::Preflight;

const DIGITS: usize = 3;

/// A doubt in sentences.
pub struct DoubtWords {
    /// The figure, and what is usual: "rotors.thrust_max_n = 612 N: usual is 3.92 to 31.4 N".
    pub figure: String,
    /// The likely slip and what to type.
    pub likely: String,
    /// What is out of place, and who says what is usual.
    pub because: String,
    /// How to keep the figure.
    pub vouch: String,
}

impl DoubtWords {
    /// The sentences of one doubt.
    pub fn of(doubt: &Doubt) -> DoubtWords {
        let print = |value: f64| trimmed(figure(value, DIGITS));
        let unit = if doubt.unit.is_empty() { String::new() } else { format!(" {}", doubt.unit) };
        let usual = format!("{} to {}{unit}", print(doubt.usual.min), print(doubt.usual.max));
        DoubtWords {
            figure: format!("{} = {}{unit}: usual is {usual}", doubt.key, print(doubt.value)),
            likely: doubt.likely.clone(),
            because: format!("{} ({})", doubt.because, doubt.source),
            vouch: if doubt.vouched {
                "vouched for in [figures] measured: it does not decide".to_owned()
            } else {
                format!("measured, and right? Add [figures] measured = [\"{}\"]", doubt.key)
            },
        }
    }
}

/// How many doubts decide, in words; `None` when none does.
pub fn open_in_words(preflight: &Preflight) -> Option<String> {
    match preflight.open_doubts().count() {
        0 => None,
        1 => Some("1 figure of the craft file is in doubt.".to_owned()),
        count => Some(format!("{count} figures of the craft file are in doubt.")),
    }
}

/// The doubts that decide, as reasons of the verdict.
pub fn reasons(preflight: &Preflight) -> Markup {
    html! {
        @if let Some(count) = open_in_words(preflight) {
            p { (count) }
            ol.reasons { @for words in preflight.open_doubts().map(DoubtWords::of) {
                li { b { (typeset(&words.figure)) } ". " (words.likely) }
            } }
        }
    }
}

/// Every doubt with its reason and how to vouch; nothing without doubts.
pub fn section(preflight: &Preflight) -> Markup {
    html! {
        @if !preflight.doubts.is_empty() {
            section aria-labelledby="doubts-h" {
                h2 id="doubts-h" { "Figures in doubt" }
                ul { @for (doubt, words) in preflight.doubts.iter().map(|doubt| (doubt, DoubtWords::of(doubt))) {
                    li {
                        b { (typeset(&words.figure)) } ". " (words.likely)
                        span.mend { (typeset(&words.because)) "." }
                        span.mend { @if doubt.vouched { b { "Vouched: " } } (words.vouch) "." }
                    }
                } }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::doubts::Usual;
    use crate::report::{TextStyle, fixture, html, json, text};

    fn doubted(vouched: bool) -> (Preflight, crate::craft::Craft) {
        let (mut preflight, craft) = fixture::fit();
        preflight.doubts = vec![Doubt {
            id: "thrust_to_weight",
            key: "rotors.thrust_max_n".into(),
            value: 612.0,
            unit: "N",
            usual: Usual { min: 3.923, max: 31.381 },
            likely: "grams? write 6.0".into(),
            because: "thrust over weight is 156, usual is 1 to 8".into(),
            source: "common practice, no source".into(),
            vouched,
        }];
        (preflight, craft)
    }

    #[test]
    fn is_not_fit_and_says_what_to_type_when_a_figure_is_in_doubt() {
        let (preflight, craft) = doubted(false);
        assert!(!preflight.fit());
        let page = html(&preflight, &craft);
        let printed = text(&preflight, TextStyle::Plain);
        for what in ["612 N", "usual is 3.92 to 31.4 N", "grams? write 6.0"] {
            assert!(page.contains(what) && printed.contains(what), "{what}");
        }
        assert!(page.contains("Not fit") && page.contains("[figures] measured"));
        let (doubted, checks, verdict) = (
            printed.find("Figures in doubt"),
            printed.find("At rest"),
            printed.rfind("1 figure of the craft file is in doubt"),
        );
        assert!(doubted < checks && checks < verdict, "before the checks, and again at the verdict: {printed}");
        assert!(printed.contains("NOT FIT") && !printed.contains("No flight was flown"));
    }

    #[test]
    fn is_fit_and_still_says_it_when_the_owner_vouches() {
        let (preflight, craft) = doubted(true);
        assert!(preflight.fit());
        let printed = text(&preflight, TextStyle::Plain);
        assert!(printed.contains("612 N") && printed.contains("vouched for") && !printed.contains("NOT FIT"));
        assert!(html(&preflight, &craft).contains("Vouched: "));
        assert_eq!(json(&preflight)["doubts"][0]["vouched"], true);
    }

    #[test]
    fn holds_every_promised_key_when_written_for_scripts() {
        let value = json(&doubted(false).0);
        assert_eq!(value["fit"], false);
        for key in ["id", "key", "value", "unit", "usual", "likely", "source"] {
            assert!(value["doubts"][0].get(key).is_some(), "{key} is missing");
        }
        assert_eq!(value["doubts"][0]["usual"]["max"], 31.381);
        assert_eq!(json(&fixture::fit().0)["doubts"].as_array().map(Vec::len), Some(0));
    }
}
