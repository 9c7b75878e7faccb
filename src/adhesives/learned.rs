//! How a bottle was learned, as its page shows it: how honest the model has been, and what each thing does.

use super::effects::Effect;
use super::summary::{Foretold, Summary};
use super::words;
use crate::web::studio::Studio;

/// How honest the model has been with a bottle.
pub(super) struct Learning {
    /// A sentence for each thing to know.
    pub(super) sentences: Vec<String>,
    pub(super) foretold: Vec<ForetoldRow>,
}

pub(super) struct ForetoldRow {
    pub(super) sitting: String,
    pub(super) measured: String,
    pub(super) foretold: String,
    pub(super) off: String,
    pub(super) state: (&'static str, &'static str),
}

/// One factor as its page shows it.
pub(super) struct EffectRow {
    pub(super) what: String,
    pub(super) rule: String,
    pub(super) learned: String,
    pub(super) assumed: String,
    pub(super) words: &'static str,
}

/// From the kept summary.
pub(super) fn learning(studio: &Studio, summary: &Summary) -> Learning {
    let mut sentences = Vec::new();
    let foretold = match &summary.honest {
        Some(honest) => {
            let inside = (honest.coverage_80 * f64::from(honest.tests)).round();
            sentences.push(format!(
                "{} foretold, each without its own sitting: {inside:.0} lay in the likely range, where 8 in 10 should.",
                words::tests(honest.tests)
            ));
            sentences.push(format!(
                "Half of them took less than {} times as long, or as short, as foretold.",
                studio.number(honest.typical_factor, 2)
            ));
            honest.newest.iter().rev().map(|test| foretold_row(studio, test)).collect()
        }
        None => {
            sentences.push("Tests of two sittings are needed before one can be foretold from the other.".to_owned());
            Vec::new()
        }
    };
    if summary.left_out > 0 {
        sentences.push(format!(
            "{} on another piece: kept, and not mixed with those on a {}.",
            words::tests(summary.left_out),
            summary.piece.words()
        ));
    }
    Learning { sentences, foretold }
}

fn foretold_row(studio: &Studio, test: &Foretold) -> ForetoldRow {
    let ratio = test.measured / test.foretold.max(1e-9);
    ForetoldRow {
        sitting: format!("{}", test.sitting + 1),
        measured: words::number(studio, test.measured),
        foretold: words::number(studio, test.foretold),
        off: studio.number(ratio, 2),
        state: if test.inside { ("fit", "as likely") } else { ("near", "outside") },
    }
}

/// Every factor in numbers, words and on its rule.
pub(super) fn effect_rows(studio: &Studio, effects: &[Effect]) -> Vec<EffectRow> {
    effects
        .iter()
        .map(|effect| EffectRow {
            what: change_words(studio, effect.what),
            rule: effect.rule(studio),
            learned: times(studio, effect.learned),
            assumed: times(studio, effect.assumed),
            words: match effect.share {
                share if share < 0.05 => "as assumed, not tested",
                share if share < 0.5 => "partly tested",
                _ => "tested here",
            },
        })
        .collect()
}

/// The change in the studio's unit: 2 °C are 3.6 °F.
fn change_words(studio: &Studio, what: &str) -> String {
    if studio.fahrenheit {
        what.replace("2\u{a0}°C", &format!("{}\u{a0}°F", studio.number(3.6, 1)))
    } else {
        what.to_owned()
    }
}

fn times(studio: &Studio, (best, low, high): (f64, f64, f64)) -> String {
    format!("× {}, likely {}–{}", studio.number(best, 2), studio.number(low, 2), studio.number(high, 2))
}
