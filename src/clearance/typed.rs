//! What a form of this part sends, as pairs: a field may stand in it several times. And the page most of its forms share.

use askama::Template;
use axum::http::StatusCode;
use axum::response::Response;
use jiff::civil::{Date, DateTime};
use serde::Deserialize;

use crate::base::problem::{FieldNote, Problem};
use crate::base::time::Instant;
use crate::base::zone::Zone;
use crate::web::checks::{Notes, done_at, note_fields, text_field};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::incoming::new_form_key;
use crate::web::problems::{page_again, page_with};
use crate::web::stood::{STOOD, mark_of, stand_beside};

/// The hidden field of a form that says what stood there when it was opened.
pub(crate) const SEEN: &str = "seen";

/// The hidden field of such a form in which a device's script writes when its button was pressed, for `done_at`.
pub(crate) const DONE: &str = "done";

/// The field for what stood there.
pub(crate) fn seen_field(mark: &str) -> FieldView {
    FieldView { kind: "hidden", ..text_field(SEEN, "", mark) }
}

/// Says that a form may come late: its entries only add, or it says what stood there as well. `kind` is all that its device shows of
/// it in the clear, so it tells nothing of anybody; `meanwhile` is what is said while it waits, in place of "You can go on working".
pub(crate) fn kept_field(kind: &str, meanwhile: &str) -> FieldView {
    FieldView { kind: "kept", ..text_field("kept", meanwhile, kind) }
}

/// The field of such a form for [`DONE`], where it has no field of its own for when it happened.
pub(crate) fn done_field() -> FieldView {
    FieldView { kind: "done", ..text_field(DONE, "", "") }
}

/// What is said of a person's clearance while an entry that bears on it has not arrived.
pub(crate) const NOT_CHECKED: &str = "Clearance cannot be checked: treat nobody not on the printed list.";

/// What is said of a record while it has not arrived, where others go by it.
pub(crate) const TELL_THEM: &str = "Nobody else sees it until then: tell them.";

/// The pairs of a form.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(transparent)]
pub(crate) struct Typed(Vec<(String, String)>);

impl Typed {
    /// A form as it begins.
    pub(crate) fn of<'p>(pairs: impl IntoIterator<Item = (&'p str, String)>) -> Self {
        Self(pairs.into_iter().map(|(name, value)| (name.to_owned(), value)).collect())
    }

    /// The first value of a field; empty where it is not there.
    pub(crate) fn get(&self, name: &str) -> &str {
        self.0.iter().find(|(own, _)| own == name).map_or("", |(_, value)| value.as_str())
    }

    /// Every value of a field.
    pub(crate) fn all(&self, name: &str) -> Vec<&str> {
        self.0.iter().filter(|(own, _)| own == name).map(|(_, value)| value.as_str()).collect()
    }

    /// The same with another value in one field.
    pub(crate) fn with(&self, name: &str, value: String) -> Self {
        let others = self.0.iter().filter(|(own, _)| own != name).cloned();
        Self(others.chain([(name.to_owned(), value)]).collect())
    }

    /// All that a form of the house's rules holds, for its mark; without the mark itself and what every form has.
    pub(crate) fn standing(&self) -> String {
        let own = self.0.iter().filter(|(name, _)| name != STOOD);
        own.map(|(name, value)| format!("{name}={value}\n")).collect()
    }

    /// The same with the mark of what stands there.
    pub(crate) fn marked(self) -> Self {
        let mark = mark_of(&self.standing());
        self.with(STOOD, mark)
    }

    pub(crate) fn is_ticked(&self, name: &str) -> bool {
        self.get(name) == "yes"
    }

    /// When its button was pressed, which may lie back where it waited on a device since.
    pub(crate) fn pressed(&self, now: Instant) -> Instant {
        done_at(self.get(DONE), now).min(now)
    }
}

/// Checks of this part beside those every form shares.
pub(crate) trait MoreNotes {
    /// An instant typed as wall time of the studio, between two, both allowed.
    fn instant(&mut self, field: &'static str, typed: &str, zone: &Zone, limits: (Instant, Instant))
    -> Option<Instant>;
    /// A day between two, both allowed.
    fn day(&mut self, field: &'static str, typed: &str, limits: (Date, Date)) -> Option<Date>;
    /// Text of several lines that has to say something.
    fn words(&mut self, field: &'static str, typed: &str, most: usize) -> Option<String>;
    /// Text of several lines that may be empty.
    fn may_be_words(&mut self, field: &'static str, typed: &str, most: usize) -> Option<String>;
    /// A whole number between two, both allowed.
    fn whole(&mut self, field: &'static str, typed: &str, limits: (u32, u32), unit: &str) -> Option<u32>;
}

impl MoreNotes for Notes {
    fn instant(
        &mut self,
        field: &'static str,
        typed: &str,
        zone: &Zone,
        limits: (Instant, Instant),
    ) -> Option<Instant> {
        let Some(at) = wall_instant(typed, zone) else {
            self.add(field, "Type a day and a time, for instance 2026-02-18 14:30.");
            return None;
        };
        if at < limits.0 || at > limits.1 {
            let wall = |at: Instant| zone.wall(at).strftime("%Y-%m-%d %H:%M").to_string();
            self.add(field, format!("Type a time from {} to {}.", wall(limits.0), wall(limits.1)));
            return None;
        }
        Some(at)
    }

    fn day(&mut self, field: &'static str, typed: &str, (first, last): (Date, Date)) -> Option<Date> {
        let day = typed.trim().parse().ok().filter(|day| (first..=last).contains(day));
        if day.is_none() {
            self.add(field, format!("Type a day from {first} to {last}."));
        }
        day
    }

    fn words(&mut self, field: &'static str, typed: &str, most: usize) -> Option<String> {
        let words = self.may_be_words(field, typed, most)?;
        if words.is_empty() {
            self.add(field, "Fill this in.");
            return None;
        }
        Some(words)
    }

    fn may_be_words(&mut self, field: &'static str, typed: &str, most: usize) -> Option<String> {
        crate::base::text::paragraphs(typed, most).map_err(|bad| self.add(field, bad.to_string())).ok()
    }

    fn whole(&mut self, field: &'static str, typed: &str, (least, most): (u32, u32), unit: &str) -> Option<u32> {
        let value = self.number(field, typed, (f64::from(least), f64::from(most)), unit)?;
        if value.fract() > 0.0 {
            self.add(field, "Type a whole number.");
            return None;
        }
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "whole and between two u32")]
        Some(value as u32)
    }
}

/// A wall time of the studio as an instant: "2026-02-18T14:30" as browsers send it, or with a space. In a repeated hour the
/// first; in a skipped one the time moved on by its length.
pub(crate) fn wall_instant(typed: &str, zone: &Zone) -> Option<Instant> {
    let wall: DateTime = typed.trim().replacen(' ', "T", 1).parse().ok()?;
    let at = zone.inner().to_ambiguous_timestamp(wall).compatible().ok()?;
    (1900..=2200).contains(&wall.year()).then(|| Instant::from_timestamp(at))
}

/// An instant as such a field shows it.
pub(crate) fn wall(zone: &Zone, at: Instant) -> String {
    zone.wall(at).strftime("%Y-%m-%dT%H:%M").to_string()
}

/// A field for a wall time.
pub(crate) fn time_field(name: &'static str, label: &str, value: &str) -> FieldView {
    FieldView { kind: "datetime-local", ..text_field(name, label, value) }
}

/// A field for a day.
pub(crate) fn day_field(name: &'static str, label: &str, value: &str) -> FieldView {
    FieldView { kind: "date", ..text_field(name, label, value) }
}

/// A field for several lines.
pub(crate) fn words_field(name: &'static str, label: &str, value: &str) -> FieldView {
    FieldView { kind: "textarea", ..text_field(name, label, value) }
}

/// A tick.
pub(crate) fn tick_field(name: &'static str, label: &str, ticked: bool) -> FieldView {
    let value = if ticked { "yes" } else { "" };
    FieldView { kind: "check", optional: true, ..text_field(name, label, value) }
}

/// Choices of which several may be chosen.
pub(crate) fn checks_field(
    name: &'static str,
    label: &str,
    chosen: &[&str],
    choices: impl IntoIterator<Item = (String, String)>,
) -> FieldView {
    let mut field = crate::web::checks::choice_field("checks", name, label, "", choices);
    for option in &mut field.options {
        option.chosen = chosen.contains(&option.value.as_str());
    }
    field
}

/// A page with one form.
#[derive(Template)]
#[template(path = "clearance/form.html")]
pub(crate) struct FormPage {
    pub(crate) frame: Frame,
    pub(crate) key: String,
    pub(crate) action: String,
    /// The word in the margin, and the small line under it.
    pub(crate) word: &'static str,
    pub(crate) small: &'static str,
    /// What stands before the form, a sentence each.
    pub(crate) lead: Vec<String>,
    /// A caution before everything.
    pub(crate) caution: Option<Caution>,
    pub(crate) fields: Vec<FieldView>,
    pub(crate) mistakes: Vec<Mistake>,
    pub(crate) button: &'static str,
    /// Where one goes without sending: address and words.
    pub(crate) back: (String, &'static str),
}

/// A heading with sentences under it.
pub(crate) struct Caution {
    pub(crate) heading: &'static str,
    pub(crate) sentences: Vec<&'static str>,
}

/// How a device keeps a form.
pub(crate) struct Late<'f> {
    /// What kind of entry it is.
    pub(crate) kind: &'f str,
    /// What is said while it waits; empty for the usual words.
    pub(crate) meanwhile: &'f str,
    /// Whether it is written over what stands there, so that it says what stood there.
    pub(crate) over: bool,
}

impl FormPage {
    /// How a device keeps what is entered until it has arrived. Only forms that say what stood there when they were opened, since a late
    /// entry must not be written over newer work, and those that say of themselves that they only add.
    pub(crate) fn late(&self) -> Option<Late<'_>> {
        let over = self.fields.iter().any(|field| field.name == SEEN);
        if let Some(kept) = self.fields.iter().find(|field| field.kind == "kept") {
            return Some(Late { kind: &kept.value, meanwhile: &kept.label, over });
        }
        over.then_some(Late { kind: self.word, meanwhile: "", over })
    }

    /// Whether it holds rules of the house and nothing about anybody: what is half typed then comes back in its tab.
    pub(crate) fn is_of_the_house(&self) -> bool {
        self.fields.iter().any(|field| field.name == STOOD)
    }

    /// With what stands there now beside each field where that is not what was typed.
    pub(crate) fn beside(mut self, now: &Self, key: Option<String>) -> Self {
        stand_beside(&mut self.fields, &now.fields);
        self.mistakes = mistakes(&self.fields);
        self.key = key.unwrap_or_else(new_form_key);
        self
    }

    /// Puts sentences before the form that say what changed since it was opened.
    pub(crate) fn moved(mut self, lines: Vec<String>, key: Option<String>) -> Self {
        self.lead.splice(0..0, lines);
        self.key = key.unwrap_or_else(new_form_key);
        self
    }

    /// Puts the mistakes beside their fields and keeps the key they came with.
    pub(crate) fn again(mut self, notes: &[FieldNote], key: Option<String>) -> Self {
        note_fields(&mut self.fields, notes);
        self.mistakes = mistakes(&self.fields);
        self.key = key.unwrap_or_else(new_form_key);
        self
    }
}

/// The page of a form of the house's rules that was not written: where somebody else changed them since it was opened, what stands
/// there `now` beside what was typed, else the mistakes. `view` is the form with the values it is given.
///
/// # Errors
/// Any problem that is not told on the form.
pub(crate) fn refused(
    problem: Problem,
    typed: &Typed,
    now: &Typed,
    key: Option<String>,
    view: impl Fn(&Typed) -> FormPage,
) -> Result<Response, Problem> {
    if let Problem::Clash(..) = problem {
        let over = typed.with(STOOD, now.get(STOOD).to_owned());
        return page_with(StatusCode::CONFLICT, &view(&over).beside(&view(now), key));
    }
    page_again(&view(typed).again(&notes_of(problem)?, key))
}

/// The mistakes, or the other problem back.
pub(crate) fn notes_of(problem: Problem) -> Result<Vec<FieldNote>, Problem> {
    match problem {
        Problem::Mistakes(notes) => Ok(notes),
        other => Err(other),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::time::{HOUR, MINUTE};

    #[test]
    fn a_typed_time_is_wall_time_of_the_studio() {
        let zone = Zone::named("Europe/Copenhagen").unwrap();
        let at = wall_instant("2026-02-18T10:12", &zone).unwrap();
        assert_eq!(at.iso(), "2026-02-18T09:12:00Z");
        assert_eq!(wall_instant("2026-02-18 10:12", &zone), Some(at));
        assert_eq!(wall(&zone, at), "2026-02-18T10:12");
        for bad in ["", "tomorrow", "2026-02-30T10:00", "18/02/2026 10:12", "0000-01-01T00:00"] {
            assert_eq!(wall_instant(bad, &zone), None, "{bad}");
        }
        // The skipped hour of the spring change moves on by its length.
        let skipped = wall_instant("2026-03-29T02:30", &zone).unwrap();
        assert_eq!(skipped, wall_instant("2026-03-29T03:30", &zone).unwrap());
        assert_eq!(skipped.since(wall_instant("2026-03-29T01:30", &zone).unwrap()), HOUR);
    }

    #[test]
    fn times_outside_their_limits_are_told_with_the_limits() {
        let zone = Zone::utc();
        let now = Instant(1_771_405_920_000_000);
        let mut notes = Notes::default();
        assert!(notes.instant("at", "2026-02-18T09:13", &zone, (now.plus(-HOUR), now)).is_none());
        assert_eq!(notes.all()[0].sentence, "Type a time from 2026-02-18 08:12 to 2026-02-18 09:12.");
        assert!(notes.instant("at", "2026-02-18T09:13", &zone, (now, now.plus(5 * MINUTE))).is_some());
        assert_eq!(notes.whole("n", "2.5", (0, 9), ""), None);
        assert_eq!(notes.whole("n", "4", (0, 9), ""), Some(4));
    }

    #[test]
    fn a_day_is_typed_as_browsers_send_it_and_lies_between_its_limits() {
        let day = |text: &str| text.parse::<Date>().unwrap();
        let mut notes = Notes::default();
        let limits = (day("2026-02-18"), day("2026-02-25"));
        assert_eq!(notes.day("on", " 2026-02-25 ", limits), Some(day("2026-02-25")));
        for bad in ["", "soon", "2026-02-17", "2026-02-26", "2026-02-30"] {
            assert_eq!(notes.day("on", bad, limits), None, "{bad}");
        }
        assert_eq!(notes.all()[0].sentence, "Type a day from 2026-02-18 to 2026-02-25.");
    }

    #[test]
    fn a_field_may_stand_several_times() {
        let typed: Typed = serde_urlencoded::from_str("a=1&b=x&a=2").unwrap();
        assert_eq!((typed.all("a"), typed.get("a"), typed.get("c")), (vec!["1", "2"], "1", ""));
    }
}
