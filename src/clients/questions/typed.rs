//! One question as it is typed, and what is wrong with it.

use serde::Deserialize;

use super::{Effect, Kind, MOST_ANSWERS, Offered, Question, Questionnaire};
use crate::base::problem::Problem;
use crate::base::text;
use crate::web::checks::Notes;
use crate::web::stood::mark_of;

/// The names of its fields: what is offered as an answer, and what each leads to.
pub(super) const ANSWERS: [&str; MOST_ANSWERS] = ["answer0", "answer1", "answer2", "answer3", "answer4", "answer5"];
pub(super) const EFFECTS: [&str; MOST_ANSWERS] = ["effect0", "effect1", "effect2", "effect3", "effect4", "effect5"];
/// Stands for the place before all others.
pub(super) const FIRST: &str = "first";

#[derive(Deserialize, Default, Clone)]
#[serde(default)]
pub(super) struct TypedQuestion {
    pub(super) text: String,
    pub(super) group: String,
    pub(super) kind: String,
    pub(super) answer0: String,
    pub(super) answer1: String,
    pub(super) answer2: String,
    pub(super) answer3: String,
    pub(super) answer4: String,
    pub(super) answer5: String,
    pub(super) effect0: String,
    pub(super) effect1: String,
    pub(super) effect2: String,
    pub(super) effect3: String,
    pub(super) effect4: String,
    pub(super) effect5: String,
    pub(super) own_effect: String,
    pub(super) then: String,
    /// The key of the question it stands after, or "first".
    pub(super) after: String,
    /// The mark of what stood there when its form was opened.
    pub(super) stood: String,
}

impl TypedQuestion {
    pub(super) fn fresh(all: &Questionnaire) -> Self {
        Self {
            kind: "one_of".to_owned(),
            group: all.questions.last().map(|last| last.group.clone()).unwrap_or_default(),
            after: all.questions.last().map_or(FIRST.to_owned(), |last| last.key.clone()),
            answer0: "no".to_owned(),
            answer1: "yes".to_owned(),
            effect1: Effect::Precaution.word().to_owned(),
            ..Self::default()
        }
    }

    pub(super) fn of(question: &Question, all: &Questionnaire) -> Self {
        let at = all.questions.iter().position(|other| other.key == question.key).unwrap_or(0);
        let after = at.checked_sub(1).map_or(FIRST.to_owned(), |before| all.questions[before].key.clone());
        let mut typed = Self {
            text: question.text.clone(),
            group: question.group.clone(),
            then: question.then.clone(),
            after,
            ..Self::default()
        };
        match &question.kind {
            Kind::OwnWords(effect) => {
                typed.kind = "own_words".to_owned();
                typed.own_effect = effect.word().to_owned();
            }
            Kind::OneOf(offered) => {
                typed.kind = "one_of".to_owned();
                for (one, (words, effect)) in offered.iter().zip(typed.answers_mut()) {
                    words.clone_from(&one.words);
                    one.effect.word().clone_into(effect);
                }
            }
        }
        typed.stood = mark_of(&typed.standing());
        typed
    }

    /// All of it and the place where it stands, for its mark.
    pub(super) fn standing(&self) -> String {
        let answers = self.answers().into_iter().flat_map(|(words, effect)| [words, effect]);
        let own = [&self.text, &self.group, &self.kind, &self.own_effect, &self.then, &self.after];
        own.into_iter().chain(answers).map(|text| format!("{text}\n")).collect()
    }

    fn answers_mut(&mut self) -> [(&mut String, &mut String); MOST_ANSWERS] {
        [
            (&mut self.answer0, &mut self.effect0),
            (&mut self.answer1, &mut self.effect1),
            (&mut self.answer2, &mut self.effect2),
            (&mut self.answer3, &mut self.effect3),
            (&mut self.answer4, &mut self.effect4),
            (&mut self.answer5, &mut self.effect5),
        ]
    }

    pub(super) fn answers(&self) -> [(&String, &String); MOST_ANSWERS] {
        [
            (&self.answer0, &self.effect0),
            (&self.answer1, &self.effect1),
            (&self.answer2, &self.effect2),
            (&self.answer3, &self.effect3),
            (&self.answer4, &self.effect4),
            (&self.answer5, &self.effect5),
        ]
    }

    pub(super) fn check(&self, key: String) -> Result<Question, Problem> {
        let mut notes = Notes::default();
        let words = notes.line("text", &self.text, 300);
        let group = notes.line("group", &self.group, 60);
        let then = text::paragraphs(&self.then, 600).map_err(|bad| notes.add("then", bad.to_string())).ok();
        let kind = match self.kind.as_str() {
            "one_of" => self.check_answers(&mut notes),
            "own_words" => notes.choice("own_effect", Effect::from_word(&self.own_effect)).map(Kind::OwnWords),
            _ => notes.choice("kind", None),
        };
        let has_effect = kind.as_ref().is_some_and(|kind| match kind {
            Kind::OneOf(offered) => offered.iter().any(|one| one.effect != Effect::Nothing),
            Kind::OwnWords(effect) => *effect != Effect::Nothing,
        });
        if has_effect && then.as_ref().is_some_and(String::is_empty) {
            notes.add("then", "Write what the artist is to do when an answer has an effect.");
        }
        let question = (|| Some(Question { key, group: group?, text: words?, kind: kind?, then: then? }))();
        notes.settle(question)
    }

    fn check_answers(&self, notes: &mut Notes) -> Option<Kind> {
        let mut offered: Vec<Offered> = Vec::new();
        let mut whole = true;
        for (at, (words, effect)) in self.answers().into_iter().enumerate() {
            if words.trim().is_empty() {
                continue;
            }
            let words = notes.line(ANSWERS[at], words, 80);
            let effect = notes.choice(EFFECTS[at], Effect::from_word(effect));
            match words.zip(effect) {
                Some((words, _)) if offered.iter().any(|one| one.words == words) => {
                    notes.add(ANSWERS[at], "This answer stands there twice.");
                    whole = false;
                }
                Some((words, effect)) => offered.push(Offered { words, effect }),
                None => whole = false,
            }
        }
        if whole && offered.len() < 2 {
            notes.add(ANSWERS[1], "Offer at least two answers.");
            return None;
        }
        whole.then_some(Kind::OneOf(offered))
    }
}

#[cfg(test)]
mod tests {
    use super::super::starting_questions;
    use super::*;

    fn all() -> Questionnaire {
        Questionnaire { version: 0, questions: starting_questions() }
    }

    #[test]
    fn every_question_comes_through_its_form_unchanged() {
        let all = all();
        for question in &all.questions {
            let typed = TypedQuestion::of(question, &all);
            assert_eq!(typed.check(question.key.clone()).unwrap(), *question);
        }
    }

    #[test]
    fn a_question_needs_two_different_answers_and_words_for_the_artist() {
        let good = TypedQuestion { text: "Red eyes?".into(), then: "Wait.".into(), ..TypedQuestion::fresh(&all()) };
        let wrong = |typed: TypedQuestion| match typed.check("q".into()) {
            Err(Problem::Mistakes(notes)) => notes.iter().map(|note| note.field.to_string()).collect::<Vec<_>>(),
            other => panic!("{other:?}"),
        };
        // A select always sends its first choice; an empty effect is none of them.
        let good = TypedQuestion { effect0: "nothing".into(), ..good };
        assert!(good.check("q".into()).is_ok());
        assert_eq!(wrong(TypedQuestion { answer1: String::new(), ..good.clone() }), ["answer1"]);
        assert_eq!(wrong(TypedQuestion { answer1: "no".into(), ..good.clone() }), ["answer1"]);
        assert_eq!(wrong(TypedQuestion { then: String::new(), ..good.clone() }), ["then"]);
        assert_eq!(wrong(TypedQuestion { effect1: "death".into(), ..good.clone() }), ["effect1"]);
        assert_eq!(wrong(TypedQuestion { kind: "x".into(), ..good }), ["kind"]);
    }
}
