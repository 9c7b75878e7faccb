//! Liquids as generic steps: where each goes, what it does to the set time, what to mind. Pure; words only.
//!
//! Rules that hold for all: nothing slows an adhesive down; an accelerator goes on the strip unless its maker says
//! otherwise; mist is never a way to speed placing; much alcohol dries lashes out.

use super::Liquid;
use super::set_time::{Parameter, Prior};

/// A step with a liquid beside the adhesive.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step {
    /// Lash cleanser.
    Cleanser,
    /// Primer with alcohol.
    AlcoholPrimer,
    /// Primer that raises the pH.
    PhPrimer,
    /// Accelerator.
    Accelerator,
    /// Water mist.
    Mist,
    /// Keeps adhesive from creeping up between the hairs of a fan.
    WickStop,
    /// After the last lash.
    Finisher,
}

impl Step {
    /// Every step, in the order of a treatment.
    pub const ALL: [Self; 7] = [
        Self::Cleanser,
        Self::AlcoholPrimer,
        Self::PhPrimer,
        Self::Accelerator,
        Self::WickStop,
        Self::Mist,
        Self::Finisher,
    ];

    /// Its name.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Cleanser => "Cleanser",
            Self::AlcoholPrimer => "Alcohol primer",
            Self::PhPrimer => "pH primer",
            Self::Accelerator => "Accelerator",
            Self::Mist => "Water mist",
            Self::WickStop => "Wick stop",
            Self::Finisher => "Finisher",
        }
    }

    /// Where it goes. Common practice.
    #[must_use]
    pub const fn place(self) -> &'static str {
        match self {
            Self::Cleanser | Self::AlcoholPrimer | Self::PhPrimer => {
                "on the natural lashes, before the first placement"
            }
            Self::Accelerator => "on the strip",
            Self::WickStop => "on the fan, above its base",
            Self::Mist => "on finished bonds",
            Self::Finisher => "on finished bonds, after the last lash",
        }
    }

    /// What to mind. Common practice, and each maker's instructions before it.
    #[must_use]
    pub const fn caution(self) -> &'static str {
        match self {
            Self::Cleanser => "Rinse it off and let the lashes dry. Eyes closed.",
            Self::AlcoholPrimer => {
                "Little of it, and fully dry before the first placement. Much alcohol dries lashes out."
            }
            Self::PhPrimer => "Little of it, and fully dry before the first placement. Never towards the eye.",
            Self::Accelerator => {
                "On the strip only, unless its maker says otherwise; never an aggressive one on natural lashes. Bonds come quicker and more brittle, with more vapour at once."
            }
            Self::Mist => "From an arm’s length, eyes closed and covered. Never a way to speed placing.",
            Self::WickStop => "Keep it off the base that is dipped: it holds adhesive away.",
            Self::Finisher => "Only after the wait its maker asks for. Eyes closed until it is dry.",
        }
    }

    /// The liquid of the model, where it changes the set time.
    #[must_use]
    pub const fn liquid(self) -> Option<Liquid> {
        match self {
            Self::Cleanser => Some(Liquid::Cleanser),
            Self::AlcoholPrimer => Some(Liquid::AlcoholPrimer),
            Self::PhPrimer => Some(Liquid::PhPrimer),
            Self::Accelerator => Some(Liquid::Accelerator),
            Self::Mist | Self::WickStop | Self::Finisher => None,
        }
    }

    /// What is assumed of it before a test: how many times as long a bond takes, likely from and to. `None` where it has
    /// no factor.
    #[must_use]
    pub fn assumed(self) -> Option<(f64, f64, f64)> {
        let liquid = self.liquid()?;
        let (mean, sd) = Prior::from_label(None).parameter(Parameter::Liquid(liquid));
        Some(factor(mean, sd))
    }
}

/// Best guess and 8-in-10 range of e to a normal.
#[must_use]
pub fn factor(mean: f64, sd: f64) -> (f64, f64, f64) {
    let reach = 1.281_551_565_544_6 * sd;
    (mean.exp(), (mean - reach).exp(), (mean + reach).exp())
}

/// What holds for all liquids, as sentences.
pub const RULES: [&str; 5] = [
    "Nothing slows an adhesive down. Too quick is answered by a slower class, a fuller bead, or drier and cooler air, never below 20 °C for a client lying still.",
    "An accelerator goes on the strip only, unless its maker says otherwise.",
    "Mist is for finished bonds and never a way to speed placing.",
    "Much alcohol dries lashes out. Let a primer dry fully before the first placement.",
    "A liquid is tested on the bench before it is used, one at a time, after three untouched tests.",
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wick_stop_mist_and_finisher_have_no_factor_and_no_liquid_slows() {
        for step in Step::ALL {
            match (step, step.assumed()) {
                (Step::WickStop | Step::Mist | Step::Finisher, assumed) => assert_eq!(assumed, None),
                (_, Some((best, low, high))) => assert!(low < best && best < high && best <= 1.0 + 1e-9, "{step:?}"),
                (_, None) => panic!("{step:?} has no factor"),
            }
        }
    }

    #[test]
    fn every_step_says_where_it_goes_and_what_to_mind() {
        assert!(Step::ALL.iter().all(|step| !step.place().is_empty() && step.caution().ends_with('.')));
        assert!(Step::Accelerator.place().contains("strip") && Step::Mist.place().contains("finished bonds"));
    }
}
