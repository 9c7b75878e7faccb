//! Checking what was typed: every mistake of a form is found at once and told beside its field.

use crate::base::number::{DecimalMark, typed_decimal};
use crate::base::problem::{FieldNote, Problem};
use crate::base::text;
use crate::base::time::{DAY, Instant, MINUTE};

use super::form::{Choice, FieldView};

/// Older than this, an entry that waited on a tablet is dated by when it came in.
const WAITED_AT_MOST: i64 = 60 * DAY;

/// When something was done that may have waited on a device since: milliseconds since 1970 as the device's script wrote
/// them. `now` where nothing was written, where it is older than 60 days, or where the device's clock runs more than ten
/// minutes ahead.
#[must_use]
pub fn done_at(typed: &str, now: Instant) -> Instant {
    let written = typed.parse::<f64>().ok().filter(|ms| ms.abs() < 1e14).map(|ms| Instant((ms * 1000.0) as i64));
    written.filter(|at| now.since(*at) <= WAITED_AT_MOST && at.since(now) <= 10 * MINUTE).unwrap_or(now)
}

/// The pair in which a device's script tells what its clock says while it sends.
pub const SENT: &str = "sent";

/// The fields in which a script writes a moment: of the button, and of the beginning of what a stopwatch timed.
const MOMENTS: [&str; 2] = ["done", "at"];

/// A number below this is no moment: fields of the same name hold the place on a keypad, or a wall time.
const MOMENT: f64 = 1e12;

/// The pairs of a form whose script told what its clock says while it sends, without that pair: a moment in it is put as long before
/// `now` as it was before the sending, so that a clock that is wrong dates nothing. `None` where no script told.
#[must_use]
pub fn by_our_clock(pairs: &[(String, String)], now: Instant) -> Option<Vec<(String, String)>> {
    let ms = |text: &str| text.parse::<f64>().ok().filter(|ms| ms.abs() < 1e14);
    let sent = pairs.iter().find(|(name, _)| name == SENT).map(|(_, sent)| ms(sent))?;
    let put_right = |(name, value): &(String, String)| match (sent, ms(value)) {
        (Some(sent), Some(pressed)) if MOMENTS.contains(&name.as_str()) && pressed >= MOMENT => {
            let waited = (sent - pressed).max(0.0) as i64;
            (name.clone(), (now.0 / 1000 - waited).to_string())
        }
        _ => (name.clone(), value.clone()),
    };
    Some(pairs.iter().filter(|(name, _)| name != SENT).map(put_right).collect())
}

/// Collects the mistakes of one form.
#[derive(Debug, Default)]
pub struct Notes {
    notes: Vec<FieldNote>,
    mark: DecimalMark,
}

impl Notes {
    /// None yet; what they will say of numbers is in this sign.
    #[must_use]
    pub fn said_with(mark: DecimalMark) -> Self {
        Self { notes: Vec::new(), mark }
    }

    /// The sign in which numbers are said.
    #[must_use]
    pub const fn mark(&self) -> DecimalMark {
        self.mark
    }

    /// Adds a mistake.
    pub fn add(&mut self, field: &'static str, sentence: impl Into<String>) {
        self.notes.push(FieldNote::new(field, sentence));
    }

    /// One line of text, at most `most` characters.
    pub fn line(&mut self, field: &'static str, typed: &str, most: usize) -> Option<String> {
        text::line(typed, most).map_err(|bad| self.add(field, bad.to_string())).ok()
    }

    /// A number between two limits, both allowed.
    pub fn number(&mut self, field: &'static str, typed: &str, (low, high): (f64, f64), unit: &str) -> Option<f64> {
        match typed_decimal(typed) {
            Some(value) if (low..=high).contains(&value) => Some(value),
            Some(_) => {
                let (low, high) = (self.mark.exact(low), self.mark.exact(high));
                self.add(field, format!("Type a number from {low} to {high} {unit}.").replace(" .", "."));
                None
            }
            None if typed.trim().is_empty() => {
                self.add(field, "Fill this in.");
                None
            }
            None => {
                self.add(field, "This is not a number. Digits with a comma or a point are read.");
                None
            }
        }
    }

    /// As [`Notes::number`], where nothing typed is `Some(None)` and a mistake is `None`.
    pub fn optional_number(
        &mut self,
        field: &'static str,
        typed: &str,
        limits: (f64, f64),
        unit: &str,
    ) -> Option<Option<f64>> {
        if typed.trim().is_empty() { Some(None) } else { self.number(field, typed, limits, unit).map(Some) }
    }

    /// One of the choices.
    pub fn choice<T>(&mut self, field: &'static str, chosen: Option<T>) -> Option<T> {
        if chosen.is_none() {
            self.add(field, "Choose one of these.");
        }
        chosen
    }

    /// The mistakes so far.
    #[must_use]
    pub fn all(&self) -> &[FieldNote] {
        &self.notes
    }

    /// The typed values when nothing was wrong, else the mistakes.
    ///
    /// # Errors
    /// [`Problem::Mistakes`] when there are any.
    pub fn settle<T>(self, typed: Option<T>) -> Result<T, Problem> {
        match typed {
            Some(typed) if self.notes.is_empty() => Ok(typed),
            _ => Err(Problem::Mistakes(self.notes)),
        }
    }
}

/// Puts each note beside its field.
pub fn note_fields(fields: &mut [FieldView], notes: &[FieldNote]) {
    for note in notes {
        if let Some(field) = fields.iter_mut().find(|field| field.name == note.field) {
            field.error.get_or_insert_with(|| note.sentence.clone());
        }
    }
}

/// A field of one line.
#[must_use]
pub fn text_field(name: &'static str, label: &str, value: &str) -> FieldView {
    FieldView {
        name,
        label: label.to_owned(),
        value: value.to_owned(),
        autocomplete: "off",
        kind: "text",
        ..FieldView::default()
    }
}

/// A field for a number.
#[must_use]
pub fn number_field(name: &'static str, label: &str, value: &str) -> FieldView {
    FieldView { inputmode: "decimal", ..text_field(name, label, value) }
}

/// A field with choices: (value, words).
#[must_use]
pub fn choice_field(
    kind: &'static str,
    name: &'static str,
    label: &str,
    chosen: &str,
    choices: impl IntoIterator<Item = (String, String)>,
) -> FieldView {
    let options = choices.into_iter().map(|(value, label)| Choice { chosen: value == chosen, value, label }).collect();
    FieldView { name, label: label.to_owned(), kind, options, value: chosen.to_owned(), ..FieldView::default() }
}

impl FieldView {
    /// With a small line under the label.
    #[must_use]
    pub fn hinted(mut self, hint: impl Into<String>) -> Self {
        self.hint = Some(hint.into());
        self
    }

    /// For a few letters only.
    #[must_use]
    pub fn short(mut self) -> Self {
        self.short = true;
        self
    }

    /// May stay empty.
    #[must_use]
    pub fn or_empty(mut self) -> Self {
        self.optional = true;
        self
    }
}

/// A field of a form that two people may have open at once: as the page showed it, as it is kept now, and as it was typed.
/// Gives what it becomes: what was not touched stays as it is now, what was changed by this person alone is taken. Where
/// both changed it the typed value stays on the page, with a note beside it.
pub fn merged(notes: &mut Notes, field: &'static str, shown: &str, now: &str, typed: &str) -> String {
    if typed == shown {
        return now.to_owned();
    }
    if now != shown && now != typed {
        let now = if now.trim().is_empty() { "nothing".to_owned() } else { format!("“{}”", now.trim()) };
        notes.add(
            field,
            format!(
                "Somebody else changed this while the page was open: it now holds {now}. Look, and keep what is right."
            ),
        );
    }
    typed.to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_button_is_dated_by_how_long_it_waited_and_not_by_the_clock_of_the_device() {
        let now = Instant(1_771_405_920_000_000);
        let (at, minute) = (now.0 / 1000, MINUTE / 1000);
        let done = |pressed: i64, sent: &str| {
            let pairs = [("done", pressed.to_string()), ("site", "corners".to_owned()), (SENT, sent.to_owned())];
            let pairs = by_our_clock(&pairs.map(|(name, value)| (name.to_owned(), value)), now).unwrap();
            assert_eq!(pairs[1..], [("site".to_owned(), "corners".to_owned())], "its clock is no field of the form");
            done_at(&pairs[0].1, now)
        };
        for (name, off, waited, expected) in [
            ("sent at once, right", 0, 0, 0),
            ("sent at once, ten minutes slow", -10, 0, 0),
            ("sent at once, a day fast", 1440, 0, 0),
            ("half an hour late, ten minutes slow", -10, 30, -30),
            ("half an hour late, two hours fast", 120, 30, -30),
            ("pressed after it was sent", 0, -5, 0),
            ("more than 60 days late", 0, 61 * 1440, 0),
        ] {
            let sent = at + off * minute;
            let found = done(sent - waited * minute, &sent.to_string());
            assert_eq!(found, now.plus(expected * MINUTE), "{name}");
        }
        assert_eq!(
            done(at - 7 * minute, "noon"),
            now.plus(-7 * MINUTE),
            "a clock that cannot be read counts for nothing"
        );
        for (name, value, expected) in [
            ("at", (at - 90 * minute).to_string(), (at - 30 * minute).to_string()),
            ("at", "1".to_owned(), "1".to_owned()),
            ("at", "2026-02-18T09:10".to_owned(), "2026-02-18T09:10".to_owned()),
            ("seconds", (at - 90 * minute).to_string(), (at - 90 * minute).to_string()),
        ] {
            let pairs = [(name.to_owned(), value), (SENT.to_owned(), (at - 60 * minute).to_string())];
            assert_eq!(
                by_our_clock(&pairs, now).unwrap(),
                [(name.to_owned(), expected)],
                "an hour slow, half an hour late"
            );
        }
        let placed = [("done".to_owned(), "placed".to_owned()), (SENT.to_owned(), at.to_string())];
        assert_eq!(by_our_clock(&placed, now).unwrap(), [("done".to_owned(), "placed".to_owned())]);
        assert_eq!(by_our_clock(&placed[..1], now), None);
    }

    #[test]
    fn every_mistake_of_a_form_is_found_at_once() {
        let mut notes = Notes::default();
        let name = notes.line("name", "  ", 40);
        let volume = notes.number("volume", "12,5 m", (3.0, 2000.0), "m³");
        let height = notes.number("height", "0,5", (2.0, 6.0), "m");
        let none = notes.optional_number("surface", "", (-20.0, 60.0), "°C");
        assert_eq!((name, volume, height, none), (None, None, None, Some(None)));
        let fields: Vec<_> = notes.all().iter().map(|note| note.field.to_string()).collect();
        assert_eq!(fields, ["name", "volume", "height"]);
        assert_eq!(notes.all()[2].sentence, "Type a number from 2 to 6 m.");
    }
}
