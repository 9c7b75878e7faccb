//! A form on a device in the client's own hands: one question or text at a time, kept sealed as it grows, given at the end as if it had
//! been filled in beside her. Which pages open meanwhile is not decided here: see `web::visitor`.

mod fill_page;
mod finish;
mod start_page;
pub(super) mod store;

use std::collections::BTreeMap;
use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use super::consents::Purpose;
use crate::base::ids::NotAnId;
use crate::web::routes::Routes;

/// What a client fills in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum HandedForm {
    /// The consultation.
    Consultation,
    /// A consent, read and signed.
    Consent(Purpose),
}

const CONSULTATION: &str = "consultation";

impl HandedForm {
    /// The word kept in the database and in addresses.
    pub(super) const fn word(self) -> &'static str {
        match self {
            Self::Consultation => CONSULTATION,
            Self::Consent(purpose) => purpose.word(),
        }
    }
}

impl fmt::Display for HandedForm {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

impl FromStr for HandedForm {
    type Err = NotAnId;

    fn from_str(word: &str) -> Result<Self, NotAnId> {
        match word {
            CONSULTATION => Ok(Self::Consultation),
            other => Purpose::from_word(other).map(Self::Consent).ok_or(NotAnId),
        }
    }
}

impl<'de> Deserialize<'de> for HandedForm {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let word = String::deserialize(deserializer)?;
        word.parse().map_err(|_| serde::de::Error::custom("no form of ours"))
    }
}

/// How far a form in a client's hands is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HandedState {
    /// Being filled in.
    Open,
    /// Given.
    Given,
    /// She would rather be asked in person.
    InPerson,
}

impl HandedState {
    /// Every state.
    pub const ALL: [Self; 3] = [Self::Open, Self::Given, Self::InPerson];

    /// The word kept in the database.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::Given => "given",
            Self::InPerson => "in_person",
        }
    }

    fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|state| state.word() == word)
    }
}

/// What was filled in so far: the version of questions or wording it belongs to, and every field as typed.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Draft {
    pub(super) version: i64,
    pub(super) typed: BTreeMap<String, String>,
}

impl Draft {
    fn get(&self, name: &str) -> &str {
        self.typed.get(name).map(String::as_str).unwrap_or_default()
    }
}

/// One page of the form.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Step {
    /// The guardian who answers for a minor says who that is.
    Guardian,
    /// One question, by its place.
    Question(usize),
    /// Everything answered, before it is given.
    Answers,
    /// The wording of a consent.
    Wording,
    /// Whose consent, in which language: looked over before it is signed.
    Name,
    /// Her signature.
    Signature,
    /// The guardian's name and signature.
    GuardianSignature,
}

/// The pages of a form, in order.
fn steps(form: HandedForm, minor: bool, questions: usize) -> Vec<Step> {
    let (mut all, last) = match form {
        HandedForm::Consultation => {
            let mut all = if minor { vec![Step::Guardian] } else { Vec::new() };
            all.extend((0..questions).map(Step::Question));
            (all, Some(Step::Answers))
        }
        HandedForm::Consent(_) => {
            (vec![Step::Wording, Step::Name, Step::Signature], minor.then_some(Step::GuardianSignature))
        }
    };
    all.extend(last);
    all
}

/// Every door of this room.
pub(super) fn routes() -> Routes {
    start_page::routes().join(fill_page::routes())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_question_has_its_own_page_and_a_last_look_comes_before_it_is_given() {
        let all = steps(HandedForm::Consultation, false, 3);
        assert_eq!(all, [Step::Question(0), Step::Question(1), Step::Question(2), Step::Answers]);
        assert_eq!(steps(HandedForm::Consultation, true, 1)[0], Step::Guardian);
    }

    #[test]
    fn a_wording_is_read_and_looked_over_before_it_is_signed_and_a_guardian_signs_too() {
        let consent = HandedForm::Consent(Purpose::Treatment);
        assert_eq!(steps(consent, false, 9), [Step::Wording, Step::Name, Step::Signature]);
        assert_eq!(steps(consent, true, 9).last(), Some(&Step::GuardianSignature));
    }

    #[test]
    fn a_form_is_known_by_its_word() {
        let all = Purpose::ALL.into_iter().map(HandedForm::Consent).chain([HandedForm::Consultation]);
        for form in all {
            assert_eq!(form.word().parse(), Ok(form));
        }
        assert_eq!("office".parse::<HandedForm>(), Err(NotAnId));
    }
}
