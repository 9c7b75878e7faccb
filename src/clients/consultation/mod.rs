//! What a client said of her health: answers sealed at rest, what they lead to, how long they hold. Every reading leaves an audit row
//! without a value.

pub(super) mod ask_page;
pub(super) mod blank_page;
pub(super) mod read_page;
pub(super) mod store;

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use super::questions::{Answered, Effect};
use super::settings::ClientSettings;
use crate::base::ids::{ClientId, ConsultationId};
use crate::base::problem::Problem;
use crate::base::time::{DAY, Instant};
use crate::store::Db;
use crate::store::keys::Keys;

/// Who gave the answers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum GivenBy {
    /// The client herself, on a device handed to her.
    Client,
    /// Her guardian.
    Guardian,
    /// The client, asked aloud by somebody of the studio who wrote it down.
    Asked,
}

impl GivenBy {
    /// Every way.
    pub const ALL: [Self; 3] = [Self::Client, Self::Guardian, Self::Asked];

    /// The word kept in the database.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Client => "client",
            Self::Guardian => "guardian",
            Self::Asked => "asked",
        }
    }

    /// The words on a page.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Client => "she wrote the answers herself",
            Self::Guardian => "her guardian answered",
            Self::Asked => "she was asked, and answered aloud",
        }
    }

    /// The way with this word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|by| by.word() == word)
    }
}

/// Sealed: a consultation as it was given.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct SealedAnswers {
    pub(super) answers: Vec<Answered>,
    /// The guardian's printed name, where one answered.
    pub(super) guardian: String,
}

impl SealedAnswers {
    /// True where one of them says not to treat now, or to ask for medical advice first.
    pub(super) fn stand_against(&self) -> bool {
        self.answers.iter().any(|answered| matches!(answered.effect, Effect::DoNotTreat | Effect::AdviceFirst))
    }

    /// What these answers lead to, question by question, those that lead to nothing left out. Her own words may differ from one time to
    /// the next without anything having changed.
    pub(super) fn leads_to(&self) -> BTreeSet<(&str, Effect)> {
        let some = self.answers.iter().filter(|answered| answered.effect != Effect::Nothing);
        some.map(|answered| (answered.key.as_str(), answered.effect)).collect()
    }
}

/// Of [`SealedAnswers`], what they lead to.
#[derive(Debug, Deserialize)]
struct LeadTo<'a> {
    #[serde(borrow)]
    answers: Vec<Led<'a>>,
}

/// Of [`Answered`], what it led to.
#[derive(Debug, Deserialize)]
struct Led<'a> {
    #[serde(borrow)]
    question: Cow<'a, str>,
    #[serde(borrow)]
    answer: Cow<'a, str>,
    effect: Effect,
    #[serde(borrow)]
    then: Cow<'a, str>,
}

impl LeadTo<'_> {
    fn advice_first(&self) -> bool {
        self.answers.iter().any(|led| led.effect == Effect::AdviceFirst)
    }
}

/// Sealed: what a doctor said.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct AdviceGiven {
    /// Who said it: a doctor, by name or practice.
    pub from: String,
    /// On which day, as written.
    pub dated: String,
    /// What was said.
    pub words: String,
    /// True where the doctor said that she may be treated.
    pub may_be_treated: bool,
}

/// An answer whose effect is in force.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct InForce {
    /// The question as it was asked.
    pub question: String,
    /// The answer.
    pub answer: String,
    /// What the artist is to do.
    pub then: String,
}

/// What a client's newest consultation leads to now.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct HealthAnswers {
    /// The newest consultation; `None` when she never answered.
    pub consultation: Option<ConsultationId>,
    /// When it was given.
    pub answered: Option<Instant>,
    /// Until when it holds.
    pub expires: Option<Instant>,
    /// True when it no longer holds.
    pub expired: bool,
    /// When she said that something has changed, without having answered anew since.
    pub changed: Option<Instant>,
    /// When "anything changed?" was last asked.
    pub last_asked: Option<Instant>,
    /// Do not treat now, because of these.
    pub do_not_treat: Vec<InForce>,
    /// Medical advice first, because of these.
    pub advice_first: Vec<InForce>,
    /// Treat with these precautions.
    pub precautions: Vec<InForce>,
    /// What a doctor answered to this consultation.
    pub advice: Option<AdviceGiven>,
}

impl HealthAnswers {
    /// True while medical advice must come first and no doctor has said that she may be treated.
    #[must_use]
    pub fn waits_for_advice(&self) -> bool {
        !self.advice_first.is_empty() && !self.advice.as_ref().is_some_and(|advice| advice.may_be_treated)
    }

    /// True where there are answers that still hold and nothing has changed since.
    #[must_use]
    pub const fn hold(&self) -> bool {
        self.answered.is_some() && !self.expired && self.changed.is_none()
    }

    /// The answers of one consultation sorted by what they lead to.
    pub(super) fn sort(&mut self, answers: &[Answered]) {
        for answered in answers {
            self.add(answered.effect, || InForce {
                question: answered.question.clone(),
                answer: answered.answer.clone(),
                then: answered.then.clone(),
            });
        }
    }

    /// The same of answers as they were sealed, with no copy made of those that lead to nothing, which are nearly all.
    fn sort_sealed(&mut self, answers: &LeadTo<'_>) {
        for led in &answers.answers {
            self.add(led.effect, || InForce {
                question: led.question.to_string(),
                answer: led.answer.to_string(),
                then: led.then.to_string(),
            });
        }
    }

    fn add(&mut self, effect: Effect, answered: impl FnOnce() -> InForce) {
        let list = match effect {
            Effect::Nothing => return,
            Effect::Precaution => &mut self.precautions,
            Effect::AdviceFirst => &mut self.advice_first,
            Effect::DoNotTreat => &mut self.do_not_treat,
        };
        list.push(answered());
    }
}

/// What the newest consultation of one client leads to. Whoever shows more of it than that something is missing writes an audit row
/// with [`super::note_reading`].
///
/// # Errors
/// When the database cannot be read, or a sealed answer was changed.
pub async fn health_answers(db: &mut Db, keys: &Keys, id: ClientId, now: Instant) -> Result<HealthAnswers, Problem> {
    Ok(health_answers_of(db, keys, &[id], now).await?.remove(&id).unwrap_or_default())
}

/// As [`health_answers`] for several clients, in a few statements. Who never answered has no entry.
///
/// # Errors
/// As [`health_answers`].
pub async fn health_answers_of(
    db: &mut Db,
    keys: &Keys,
    clients: &[ClientId],
    now: Instant,
) -> Result<BTreeMap<ClientId, HealthAnswers>, Problem> {
    let holds = i64::from(ClientSettings::load(db).await?.answers_days) * DAY;
    let mut all = store::newest_of(db, keys, clients).await?;
    for health in all.values_mut() {
        health.expires = health.answered.map(|at| at.plus(holds));
        health.expired = health.expires.is_some_and(|until| until <= now);
        // What was said before the newest answers is answered by them.
        health.changed = health.changed.filter(|said| health.answered.is_none_or(|at| at <= *said));
    }
    Ok(all)
}

/// Every door of this room.
pub(super) fn routes() -> crate::web::routes::Routes {
    ask_page::routes().join(read_page::routes()).join(blank_page::routes())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn advice(may_be_treated: bool) -> AdviceGiven {
        AdviceGiven { from: "Dr Aune".into(), dated: "1 Feb".into(), words: "yes".into(), may_be_treated }
    }

    #[test]
    fn only_a_doctors_yes_ends_the_wait_for_advice() {
        let mut health = HealthAnswers::default();
        assert!(!health.waits_for_advice());
        health.advice_first.push(InForce { question: "q".into(), answer: "yes".into(), then: String::new() });
        assert!(health.waits_for_advice());
        health.advice = Some(advice(false));
        assert!(health.waits_for_advice());
        health.advice = Some(advice(true));
        assert!(!health.waits_for_advice());
    }

    #[test]
    fn sealed_answers_lead_to_the_same_however_they_are_read() {
        let answered = |n: u8, effect| Answered {
            key: format!("q{n}"),
            group: "Eyes".into(),
            question: format!("Question {n}, \"quoted\"\n?"),
            answer: format!("yes, ø {n}"),
            effect,
            then: "speak with the owner".into(),
        };
        let effects = [Effect::Nothing, Effect::Precaution, Effect::DoNotTreat, Effect::AdviceFirst, Effect::Nothing];
        let answers = effects.into_iter().zip(0..).map(|(effect, n)| answered(n, effect)).collect();
        let sealed = SealedAnswers { answers, guardian: String::new() };
        let text = serde_json::to_vec(&sealed).unwrap();
        let (mut one, mut other) = (HealthAnswers::default(), HealthAnswers::default());
        one.sort(&sealed.answers);
        let lead_to: LeadTo<'_> = serde_json::from_slice(&text).unwrap();
        other.sort_sealed(&lead_to);
        assert_eq!(one, other);
        assert_eq!((one.do_not_treat.len(), one.advice_first.len(), one.precautions.len()), (1, 1, 1));
        assert!(lead_to.advice_first());
    }

    #[test]
    fn answers_hold_until_they_expire_or_something_has_changed() {
        let mut health = HealthAnswers { answered: Some(Instant(1)), ..HealthAnswers::default() };
        assert!(health.hold());
        health.changed = Some(Instant(2));
        assert!(!health.hold());
        assert!(!HealthAnswers { expired: true, changed: None, ..health }.hold());
        assert!(!HealthAnswers::default().hold());
    }
}
