//! What each thing does to a bottle's set time, on one straight rule: as learned, and as assumed before. Pure.
//!
//! The words beside a rule say the same, so the pictures are hidden from readers of the screen.

use std::fmt::Write as _;

use super::Liquid;
use super::liquid::factor;
use super::set_time::{Parameter, Posterior, Prior, Times};
use crate::base::chart::{Px, Scale, escaped, round_span};
use crate::web::studio::Studio;

const WIDTH: f64 = 264.0;
const HEIGHT: f64 = 46.0;
const FOOT: f64 = 28.0;
const EDGE: f64 = 14.0;
/// Half of all values lie within so many standard deviations.
const HALF: f64 = 0.674_489_750_196_08;
/// The axis of factors, in logarithms, so that twice and half are equally far from 1.
const FACTORS: (f64, f64) = (0.15, 3.0);
const TICKS: [f64; 4] = [0.2, 0.5, 1.0, 2.0];

/// One factor, as learned and as assumed: how many times as long a bond takes.
#[derive(Debug, Clone, PartialEq)]
pub struct Effect {
    /// What changes.
    pub what: &'static str,
    /// Best guess, likely from and to, as learned.
    pub learned: (f64, f64, f64),
    /// The same before any test.
    pub assumed: (f64, f64, f64),
    /// Share of the assumed doubt, in variance, that the tests took away.
    pub share: f64,
    half: (f64, f64),
}

/// A change one meets in a studio, and what the parameter is multiplied by for it.
const CHANGES: [(&str, Parameter, f64); 8] = [
    // ln(50/40)
    ("air at 40 instead of 50\u{a0}%RH", Parameter::Humidity, 0.223_143_551_314_21),
    ("air 2\u{a0}°C cooler", Parameter::Temperature, 0.2),
    ("full instead of medium bead", Parameter::Bead, 1.0),
    ("cleanser", Parameter::Liquid(Liquid::Cleanser), 1.0),
    ("alcohol primer", Parameter::Liquid(Liquid::AlcoholPrimer), 1.0),
    ("pH primer", Parameter::Liquid(Liquid::PhPrimer), 1.0),
    ("accelerator on the strip", Parameter::Liquid(Liquid::Accelerator), 1.0),
    ("ten days longer open", Parameter::Age, 1.0),
];

/// Every factor of a bottle.
#[must_use]
pub fn effects(bottle: &Posterior, prior: &Prior) -> Vec<Effect> {
    CHANGES
        .into_iter()
        .map(|(what, parameter, times)| {
            let (mean, sd) = bottle.parameter(parameter);
            let (before, before_sd) = prior.parameter(parameter);
            Effect {
                what,
                learned: factor(times * mean, times * sd),
                assumed: factor(times * before, times * before_sd),
                share: (1.0 - (sd / before_sd).powi(2)).clamp(0.0, 1.0),
                half: ((times * (mean - HALF * sd)).exp(), (times * (mean + HALF * sd)).exp()),
            }
        })
        .collect()
}

impl Effect {
    /// The rule: what was assumed as a dashed line above, what was learned below it.
    #[must_use]
    pub fn rule(&self, studio: &Studio) -> String {
        let x = Scale::new((FACTORS.0.ln(), FACTORS.1.ln()), (EDGE, WIDTH - EDGE));
        let at = |factor: f64| Px(x.at_or_edge(factor.ln()));
        let mut svg = begun(&TICKS.map(|tick| (x.at(tick.ln()), studio.number(tick, usize::from(tick < 1.0)))));
        let written = write!(
            svg,
            "<path class=\"thin guess\" d=\"M{} 6H{}\"/><path class=\"thin\" d=\"M{} 18H{}\"/><path class=\"thick\" d=\"M{} 18H{}\"/>\
             <circle class=\"best\" cx=\"{}\" cy=\"18\" r=\"5\"/></svg>",
            at(self.assumed.1),
            at(self.assumed.2),
            at(self.learned.1),
            at(self.learned.2),
            at(self.half.0),
            at(self.half.1),
            at(self.learned.0),
        );
        debug_assert!(written.is_ok(), "writing into memory cannot fail");
        svg
    }
}

/// Seconds on a rule from 0: thin line 8 in 10, thick line half the time, circle best guess. `guess`: label only, dashed.
#[must_use]
pub fn seconds_rule(studio: &Studio, times: Times, half: (f64, f64), guess: bool) -> String {
    let (span, ticks) = round_span((0.0, times.high.get() * 1.05), 5);
    let x = Scale::new(span, (EDGE, WIDTH - EDGE));
    let figures: Vec<_> = ticks.iter().map(|tick| (x.at(*tick), super::words::plain(studio, *tick))).collect();
    let mut svg = begun(&figures);
    let at = |value: f64| Px(x.at_or_edge(value));
    let written = write!(
        svg,
        "<path class=\"thin{}\" d=\"M{} 14H{}\"/><path class=\"thick{}\" d=\"M{} 14H{}\"/><circle class=\"best\" cx=\"{}\" cy=\"14\" r=\"5\"/></svg>",
        if guess { " guess" } else { "" },
        at(times.low.get()),
        at(times.high.get()),
        if guess { " guess" } else { "" },
        at(half.0),
        at(half.1),
        at(times.median.get()),
    );
    debug_assert!(written.is_ok(), "writing into memory cannot fail");
    svg
}

fn begun(figures: &[(f64, String)]) -> String {
    let mut svg = format!("<svg class=\"rl\" viewBox=\"0 0 {} {}\" aria-hidden=\"true\">", Px(WIDTH), Px(HEIGHT));
    let mut add = |piece: std::fmt::Arguments<'_>| {
        let written = svg.write_fmt(piece);
        debug_assert!(written.is_ok(), "writing into memory cannot fail");
    };
    add(format_args!("<path class=\"tick\" d=\""));
    for (at, _) in figures {
        add(format_args!("M{} 0V{}", Px(*at), Px(FOOT)));
    }
    add(format_args!("\"/>"));
    for (at, figure) in figures {
        add(format_args!(
            "<text class=\"q\" x=\"{}\" y=\"{}\" text-anchor=\"middle\">{}</text>",
            Px(*at),
            Px(FOOT + 15.0),
            escaped(figure)
        ));
    }
    svg
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::adhesives::set_time::{Sums, times};
    use crate::adhesives::{Air, AirDoubt, Bead, Conditions, Liquids};
    use crate::base::units::{Celsius, RelHumidity};

    #[test]
    fn without_a_test_every_factor_is_as_assumed() {
        let prior = Prior::from_label(None);
        for effect in effects(&Posterior::of(&prior, &Sums::none()), &prior) {
            assert!((effect.learned.0 - effect.assumed.0).abs() < 1e-6 && effect.share < 1e-6, "{effect:?}");
        }
    }

    #[test]
    fn drier_cooler_fuller_and_older_take_longer_and_liquids_shorter() {
        let prior = Prior::from_label(None);
        for effect in effects(&Posterior::of(&prior, &Sums::none()), &prior) {
            let longer = effect.learned.0 >= 1.0 - 1e-9;
            let liquid = effect.what.contains("primer") || effect.what.contains("accelerator");
            assert_eq!(longer, !liquid, "{effect:?}");
        }
    }

    #[test]
    fn rules_stay_on_their_picture() {
        let prior = Prior::from_label(None);
        let bottle = Posterior::of(&prior, &Sums::none());
        let air = Air { temperature: Celsius::new(21.0).unwrap(), humidity: RelHumidity::new(30.0).unwrap() };
        let at = Conditions { air, bead: Bead::Medium, liquids: Liquids::NONE, days_open: 0.0 };
        let set = bottle.placement(&at, AirDoubt::NONE);
        let half = (set.quantile(0.25).exp(), set.quantile(0.75).exp());
        let studio = Studio::default();
        let mut all = vec![seconds_rule(&studio, times(&set), half, true)];
        all.extend(effects(&bottle, &prior).iter().map(|effect| effect.rule(&studio)));
        for svg in all {
            assert!(!svg.contains("NaN") && svg.len() < 1500, "{svg}");
            for place in svg.split("cx=\"").skip(1).chain(svg.split(" x=\"").skip(1)) {
                let value: f64 = place.split('"').next().unwrap().parse().unwrap();
                assert!((0.0..=WIDTH).contains(&value), "{value}: {svg}");
            }
        }
    }
}
