//! The questionnaire: questions, the answers offered, and what each answer leads to. Versioned; edited by the owner. Pure but for its
//! store.

pub(super) mod edit_page;
mod starting;
pub(super) mod store;
mod typed;

use serde::{Deserialize, Serialize};

pub(super) use starting::starting_questions;

use crate::store::keys::digest_of_secret;

/// The most questions a questionnaire holds.
pub(super) const MOST_QUESTIONS: usize = 60;
/// The most answers a question offers.
pub(super) const MOST_ANSWERS: usize = 6;

/// What an answer leads to, from the lightest.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Effect {
    /// Nothing.
    Nothing,
    /// Treat, with a precaution.
    Precaution,
    /// Medical advice first.
    AdviceFirst,
    /// Do not treat now.
    DoNotTreat,
}

impl Effect {
    /// Every effect, from the lightest.
    pub const ALL: [Self; 4] = [Self::Nothing, Self::Precaution, Self::AdviceFirst, Self::DoNotTreat];

    /// The word in a form.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Nothing => "nothing",
            Self::Precaution => "precaution",
            Self::AdviceFirst => "advice_first",
            Self::DoNotTreat => "do_not_treat",
        }
    }

    /// The words on a page.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Nothing => "nothing",
            Self::Precaution => "treat with a precaution",
            Self::AdviceFirst => "medical advice first",
            Self::DoNotTreat => "do not treat now",
        }
    }

    /// The effect with this word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|effect| effect.word() == word)
    }
}

/// One answer that a question offers.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Offered {
    /// Its words.
    pub words: String,
    /// What it leads to.
    pub effect: Effect,
}

/// How a question is answered.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// One of these.
    OneOf(Vec<Offered>),
    /// In her own words; the effect of writing anything.
    OwnWords(Effect),
}

/// A question.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Question {
    /// Its name through all versions: letters, digits, underscore.
    pub key: String,
    /// What it belongs to; questions of one group stand together.
    pub group: String,
    /// What is asked.
    pub text: String,
    /// Whose answers are offered.
    pub kind: Kind,
    /// What the artist reads when an answer has an effect.
    pub then: String,
}

/// The questions of one version.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Questionnaire {
    /// 0 for the one the program came with.
    pub version: i64,
    /// In the order they are asked.
    pub questions: Vec<Question>,
}

/// A question as it was asked and what was answered; kept sealed, so that a later version changes nothing.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Answered {
    /// The question's name.
    pub key: String,
    /// Its group then.
    pub group: String,
    /// Its words then.
    pub question: String,
    /// The answer's words.
    pub answer: String,
    /// What it led to then.
    pub effect: Effect,
    /// What the artist reads.
    pub then: String,
}

impl Question {
    /// A short mark of what is asked and which answers are offered, so that an answer typed to other words is told from one to these.
    pub(super) fn mark(&self) -> String {
        let mut asked = self.text.clone();
        if let Kind::OneOf(offered) = &self.kind {
            for one in offered {
                asked.push('\n');
                asked.push_str(&one.words);
            }
        }
        digest_of_secret(&asked).chars().take(8).collect()
    }

    /// The answer typed, or the sentence that says what is missing. Own words may stay empty.
    pub(super) fn answer(&self, typed: &str) -> Result<Answered, &'static str> {
        let (answer, effect) = match &self.kind {
            Kind::OneOf(offered) => {
                let chosen = typed.parse::<usize>().ok().and_then(|at| offered.get(at));
                let chosen = chosen.ok_or("Choose one of these.")?;
                (chosen.words.clone(), chosen.effect)
            }
            Kind::OwnWords(effect) => {
                let words = crate::base::text::paragraphs(typed, 2000)
                    .map_err(|_| "Use at most 2000 characters that can be shown.")?;
                let effect = if words.is_empty() { Effect::Nothing } else { *effect };
                (words, effect)
            }
        };
        Ok(Answered {
            key: self.key.clone(),
            group: self.group.clone(),
            question: self.text.clone(),
            answer,
            effect,
            then: self.then.clone(),
        })
    }
}

/// Every door of this room.
pub(super) fn routes() -> crate::web::routes::Routes {
    edit_page::routes()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked() -> Question {
        let offered = |words: &str, effect| Offered { words: words.into(), effect };
        Question {
            key: "redness".into(),
            group: "Eyes".into(),
            text: "Are your eyes red today?".into(),
            kind: Kind::OneOf(vec![offered("yes", Effect::DoNotTreat), offered("no", Effect::Nothing)]),
            then: "Wait until it is over.".into(),
        }
    }

    #[test]
    fn an_answer_carries_its_own_effect_and_the_words_as_they_were_asked() {
        let answered = asked().answer("0").unwrap();
        assert_eq!((answered.answer.as_str(), answered.effect), ("yes", Effect::DoNotTreat));
        assert_eq!(answered.question, "Are your eyes red today?");
        assert_eq!(asked().answer("1").unwrap().effect, Effect::Nothing);
    }

    #[test]
    fn a_question_asked_otherwise_has_another_mark() {
        let first = asked().mark();
        assert_eq!(asked().mark(), first);
        assert_ne!(Question { text: "Are they red now?".into(), ..asked() }.mark(), first);
        let Kind::OneOf(mut offered) = asked().kind else { unreachable!("one of several") };
        offered.swap(0, 1);
        assert_ne!(Question { kind: Kind::OneOf(offered), ..asked() }.mark(), first);
        // What an answer leads to is not asked of her.
        assert_eq!(Question { then: "Ask a colleague.".into(), ..asked() }.mark(), first);
    }

    #[test]
    fn a_question_without_a_choice_is_not_answered() {
        for typed in ["", "2", "-1", "yes"] {
            assert!(asked().answer(typed).is_err(), "{typed}");
        }
    }

    #[test]
    fn own_words_have_an_effect_only_when_something_is_written() {
        let question = Question { kind: Kind::OwnWords(Effect::Precaution), ..asked() };
        assert_eq!(question.answer("  ").unwrap().effect, Effect::Nothing);
        assert_eq!(question.answer("tape itches").unwrap().effect, Effect::Precaution);
    }

    #[test]
    fn the_starting_questions_have_names_of_their_own_and_use_every_effect() {
        let all = starting_questions();
        assert!(all.len() <= MOST_QUESTIONS);
        let names: std::collections::BTreeSet<_> = all.iter().map(|question| &question.key).collect();
        assert_eq!(names.len(), all.len());
        for effect in Effect::ALL {
            let used = all.iter().any(|question| match &question.kind {
                Kind::OneOf(offered) => offered.iter().any(|one| one.effect == effect),
                Kind::OwnWords(of) => *of == effect,
            });
            assert!(used, "{effect:?}");
        }
        for question in &all {
            let has_effect = match &question.kind {
                Kind::OneOf(offered) => {
                    assert!((2..=MOST_ANSWERS).contains(&offered.len()), "{}", question.key);
                    offered.iter().any(|one| one.effect != Effect::Nothing)
                }
                Kind::OwnWords(effect) => *effect != Effect::Nothing,
            };
            assert_eq!(has_effect, !question.then.is_empty(), "{}", question.key);
        }
    }
}
