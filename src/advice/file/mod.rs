//! Advice from a plain file: a question in JSON, an answer in JSON, no database. Its field names are part of the
//! product and do not change.

mod check;
mod input;
mod object;
mod output;
mod refusal;

pub use check::{LARGEST_FILE, LONGEST_NAME, MOST_BOTTLES, MOST_CLASSES, MOST_TESTS, MOST_TIMINGS};
pub use input::{
    Asked, BottleAsked, ClimateAsked, LimitsAsked, NotTodayAsked, OpenTestAsked, RoomAsked, SetTestAsked, TimingAsked,
};
pub use output::{Answer, BottleAnswer, ClassAnswer, LearnedAnswer, OptionAnswer, SpreadAnswer, TimesAnswer};
pub use refusal::Refusal;

use crate::adhesives::set_time::Scatter;
use crate::artists::hands::Hands;

use self::object::Object;
use super::judge::{HandsTables, Question, RoomDraws};
use super::options::options_by;
use super::page::Picture;
use super::reasons::why;
use super::surest::surest_by;

/// An answer and what its picture needs besides.
#[derive(Debug, Clone)]
pub struct Advised {
    /// The machine form.
    pub answer: Answer,
    /// For the page.
    pub picture: Picture,
}

/// Answers the text of a question file.
///
/// # Errors
/// [`Refusal`] naming the field, or the line where the text stops being JSON.
pub fn answer(text: &str) -> Result<Answer, Refusal> {
    advise(text).map(|advised| advised.answer)
}

/// The same, with what the page needs to draw its picture.
///
/// # Errors
/// As [`answer`].
pub fn advise(text: &str) -> Result<Advised, Refusal> {
    let checked = check::check(&read(text)?)?;
    let hands = Hands::from_timings(&checked.timings);
    let any_adhesive = Scatter::of_any_adhesive();
    let question = Question {
        hands: &hands,
        room: checked.room,
        work: checked.work,
        classes: &checked.classes,
        any_adhesive: &any_adhesive,
        bottles: &checked.bottles,
        not_today: &checked.not_today,
        daily: None,
        limits: checked.limits,
    };
    let tables = HandsTables::of(&hands);
    let judged = RoomDraws::of(&question).judge_by(&question, &tables);
    let options = options_by(&question, &judged, &tables);
    let next = surest_by(&question, &judged, &tables);
    let why = why(&question, &judged);
    let answer = Answer::of(&question, &judged, &options, &next, &why);
    Ok(Advised { answer, picture: Picture::of(&question, &judged, &options, &tables, why) })
}

/// Reads the file as written, without checking ranges.
///
/// # Errors
/// As [`answer`].
pub fn read(text: &str) -> Result<Asked, Refusal> {
    if text.len() > LARGEST_FILE {
        return Err(Refusal::field("the file", format!("longer than the {LARGEST_FILE} bytes accepted")));
    }
    let mut reader = serde_json::Deserializer::from_str(text);
    let Object(asked) = serde_path_to_error::deserialize(&mut reader).map_err(|e| Refusal::reading(&e))?;
    reader.end().map_err(|e| Refusal::NotJson { line: e.line().max(1) })?;
    Ok(asked)
}
