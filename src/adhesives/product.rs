//! An adhesive as it is sold: what its label says, and what its maker says about it. Pure.

use super::set_time::{Climate, Label};
use crate::base::ids::{ClassId, ProductId};
use crate::base::time::Instant;
use crate::base::units::Seconds;

/// A cure-speed class of the studio: a window of set time at 22 °C and 50 %RH.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StudioClass {
    /// Its id.
    pub id: ClassId,
    /// Lower edge.
    pub low: Seconds,
    /// Upper edge.
    pub high: Seconds,
}

/// What an adhesive is made of, as far as its maker says.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Family {
    /// Ethyl cyanoacrylate.
    Ethyl,
    /// Methoxyethyl cyanoacrylate.
    Methoxyethyl,
    /// A blend of butyl and octyl cyanoacrylate.
    ButylOctyl,
    /// Something else that the maker names.
    Other,
    /// The maker does not say.
    NotStated,
}

impl Family {
    /// Every family, in the order of the form.
    pub const ALL: [Self; 5] = [Self::Ethyl, Self::Methoxyethyl, Self::ButylOctyl, Self::Other, Self::NotStated];

    /// The word kept in the database.
    #[must_use]
    pub const fn key(self) -> &'static str {
        match self {
            Self::Ethyl => "ethyl",
            Self::Methoxyethyl => "methoxyethyl",
            Self::ButylOctyl => "butyl_octyl",
            Self::Other => "another",
            Self::NotStated => "not_stated",
        }
    }

    /// The words shown.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Ethyl => "ethyl",
            Self::Methoxyethyl => "methoxyethyl",
            Self::ButylOctyl => "butyl/octyl blend",
            Self::Other => "another one",
            Self::NotStated => "not stated",
        }
    }

    /// The family with this key.
    #[must_use]
    pub fn from_key(key: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|family| family.key() == key)
    }

    /// Whether products of it are taken to answer alike to air and bead. What is unknown, or merely "another one", is
    /// no family.
    #[must_use]
    pub const fn is_kin(self) -> bool {
        !matches!(self, Self::Other | Self::NotStated)
    }
}

/// The seconds on a label.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Stated {
    /// From one figure to another.
    Window(Seconds, Seconds),
    /// One figure.
    Figure(Seconds),
    /// No figure.
    NotStated,
}

impl Stated {
    /// From the two columns of the database; a row that fits no form counts as not stated.
    #[must_use]
    pub fn of(low: Option<f64>, high: Option<f64>) -> Self {
        let seconds = |value: Option<f64>| value.and_then(|value| Seconds::new(value).ok());
        match (seconds(low), seconds(high)) {
            (Some(low), Some(high)) if low.get() > 0.0 && low <= high => Self::Window(low, high),
            (Some(figure), None) if figure.get() > 0.0 => Self::Figure(figure),
            _ => Self::NotStated,
        }
    }

    /// The two columns of the database.
    #[must_use]
    pub fn columns(self) -> (Option<f64>, Option<f64>) {
        match self {
            Self::Window(low, high) => (Some(low.get()), Some(high.get())),
            Self::Figure(figure) => (Some(figure.get()), None),
            Self::NotStated => (None, None),
        }
    }

    /// The label for the model, with the maker's climate window.
    #[must_use]
    pub fn label(self, climate: Option<Climate>) -> Option<Label> {
        match self {
            Self::Window(low, high) => Label::window(low, high, climate),
            Self::Figure(figure) => Label::figure(figure, climate),
            Self::NotStated => None,
        }
    }

    /// The class of the studio that holds the middle of the label (of the logarithms); of two the quicker.
    ///
    /// ```
    /// use stillroom::adhesives::{Stated, StudioClass};
    /// use stillroom::base::{ids::ClassId, units::Seconds};
    /// let s = |x| Seconds::new(x).unwrap();
    /// let class = |low, high| StudioClass { id: ClassId::new(), low: s(low), high: s(high) };
    /// let classes = [class(0.5, 1.0), class(1.0, 2.0), class(2.0, 3.0)];
    /// assert_eq!(Stated::Window(s(1.0), s(1.5)).class(&classes).map(|c| c.low), Some(s(1.0)));
    /// assert_eq!(Stated::Figure(s(9.0)).class(&classes), None);
    /// ```
    #[must_use]
    pub fn class(self, classes: &[StudioClass]) -> Option<StudioClass> {
        let middle = match self {
            Self::Window(low, high) => (low.get() * high.get()).sqrt(),
            Self::Figure(figure) => figure.get(),
            Self::NotStated => return None,
        };
        classes.iter().copied().find(|class| (class.low.get()..=class.high.get()).contains(&middle))
    }
}

/// An adhesive as it is sold.
#[derive(Debug, Clone, PartialEq)]
pub struct Product {
    /// Its id.
    pub id: ProductId,
    /// Its name.
    pub name: String,
    /// The seconds on its label.
    pub label: Stated,
    /// The maker's climate window.
    pub climate: Option<Climate>,
    /// What it is made of.
    pub family: Family,
    /// Its colour in words; may be empty.
    pub colour: String,
    /// Days a bottle may be used once it is opened; `None` where the maker says nothing.
    pub opened_life_days: Option<u32>,
    /// How it is kept, in words; may be empty.
    pub storage: String,
    /// Whether its maker allows an accelerator on natural lashes; `None` when not known.
    pub accelerator: Option<bool>,
    /// When the studio stopped it.
    pub stopped: Option<Instant>,
}

impl Product {
    /// The label for the model.
    #[must_use]
    pub fn label(&self) -> Option<Label> {
        self.label.label(self.climate)
    }
}

/// The word kept in the database for what a maker says about an accelerator.
#[must_use]
pub const fn allowed_key(allowed: Option<bool>) -> &'static str {
    match allowed {
        Some(true) => "yes",
        Some(false) => "no",
        None => "not_known",
    }
}

/// What such a word means; `None` for no word of ours.
#[must_use]
pub fn allowed_from_key(key: &str) -> Option<Option<bool>> {
    [Some(true), Some(false), None].into_iter().find(|allowed| allowed_key(*allowed) == key)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn s(x: f64) -> Seconds {
        Seconds::new(x).unwrap()
    }

    #[test]
    fn a_label_has_two_figures_or_one_or_none_and_comes_back_from_its_columns() {
        for stated in [Stated::Window(s(1.0), s(2.0)), Stated::Figure(s(0.8)), Stated::NotStated] {
            let (low, high) = stated.columns();
            assert_eq!(Stated::of(low, high), stated);
        }
        for odd in [(None, Some(2.0)), (Some(0.0), None), (Some(3.0), Some(2.0)), (Some(-1.0), None)] {
            assert_eq!(Stated::of(odd.0, odd.1), Stated::NotStated, "{odd:?}");
        }
    }

    #[test]
    fn one_figure_stands_for_a_window_around_it_and_none_for_no_label() {
        let (low, high) = Stated::Figure(s(1.0)).label(None).unwrap().seconds();
        assert!((low - 0.8).abs() < 1e-12 && (high - 1.25).abs() < 1e-12);
        assert!(Stated::NotStated.label(None).is_none());
    }

    #[test]
    fn on_the_edge_of_two_classes_the_quicker_one_is_named() {
        let class = |low, high| StudioClass { id: ClassId::new(), low: s(low), high: s(high) };
        let classes = [class(0.5, 1.0), class(1.0, 2.0)];
        assert_eq!(Stated::Figure(s(1.0)).class(&classes), Some(classes[0]));
        assert_eq!(Stated::NotStated.class(&classes), None);
    }

    #[test]
    fn every_word_of_the_database_is_read_back() {
        for family in Family::ALL {
            assert_eq!(Family::from_key(family.key()), Some(family));
        }
        for allowed in [Some(true), Some(false), None] {
            assert_eq!(allowed_from_key(allowed_key(allowed)), Some(allowed));
        }
        assert_eq!((Family::from_key("Ethyl"), allowed_from_key("maybe")), (None, None));
    }
}
