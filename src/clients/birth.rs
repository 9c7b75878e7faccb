//! A birth date in three text fields: no picker to scroll through sixty years, nothing guessed from two digits.

use jiff::civil::Date;

use crate::web::checks::{Notes, text_field};
use crate::web::form::FieldView;

/// Nobody who comes is older, in years.
const OLDEST: i16 = 120;

/// As typed.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct TypedBirth {
    pub(super) day: String,
    pub(super) month: String,
    pub(super) year: String,
}

impl TypedBirth {
    pub(super) fn of(born: Option<Date>) -> Self {
        born.map_or_else(Self::default, |born| Self {
            day: born.day().to_string(),
            month: born.month().to_string(),
            year: format!("{:04}", born.year()),
        })
    }

    /// All three empty is `Some(None)`; a mistake is `None` and noted beside the field that is wrong.
    pub(super) fn check(&self, notes: &mut Notes, today: Date) -> Option<Option<Date>> {
        let typed = [&self.day, &self.month, &self.year].map(|text| text.trim());
        if typed.iter().all(|text| text.is_empty()) {
            return Some(None);
        }
        let number = |text: &str| text.parse::<i16>().ok();
        let [day, month, year] = typed.map(number);
        let day = day.filter(|day| (1..=31).contains(day));
        let month = month.filter(|month| (1..=12).contains(month));
        let year = year.filter(|year| (today.year() - OLDEST..=today.year()).contains(year));
        if day.is_none() {
            notes.add("born_day", "Type the day as a number from 1 to 31.");
        }
        if month.is_none() {
            notes.add("born_month", "Type the month as a number from 1 to 12.");
        }
        if year.is_none() {
            notes.add("born_year", "Type the year with four digits, for instance 1994.");
        }
        let (day, month, year) = (i8::try_from(day?).ok()?, i8::try_from(month?).ok()?, year?);
        match Date::new(year, month, day) {
            Ok(born) if born <= today => Some(Some(born)),
            Ok(_) => {
                notes.add("born_year", "This day is still to come.");
                None
            }
            Err(_) => {
                notes.add("born_day", "That month had no such day.");
                None
            }
        }
    }

    pub(super) fn fields(&self) -> [FieldView; 3] {
        let field = |name, label, value: &str| FieldView {
            inputmode: "numeric",
            ..text_field(name, label, value).short().or_empty()
        };
        [
            field("born_day", "Day", &self.day),
            field("born_month", "Month", &self.month),
            field("born_year", "Year", &self.year),
        ]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(day: &str, month: &str, year: &str) -> (Option<Option<Date>>, Vec<String>) {
        let mut notes = Notes::default();
        let typed = TypedBirth { day: day.into(), month: month.into(), year: year.into() };
        let born = typed.check(&mut notes, Date::constant(2026, 2, 18));
        (born, notes.all().iter().map(|note| note.field.to_string()).collect())
    }

    #[test]
    fn a_birth_date_is_read_only_when_it_was_a_day() {
        let (born, notes) = check(" 29", "2", "1996");
        assert_eq!((born, notes.len()), (Some(Some(Date::constant(1996, 2, 29))), 0));
        assert_eq!(check("", "", ""), (Some(None), vec![]));
        assert_eq!(check("29", "2", "1995").1, ["born_day"]);
        assert_eq!(check("1", "13", "94").1, ["born_month", "born_year"]);
        assert_eq!(check("19", "2", "2026").1, ["born_year"]);
        assert_eq!(check("1", "", "1994").1, ["born_month"]);
        assert_eq!(check("1", "1", "1905").1, ["born_year"]);
    }

    #[test]
    fn what_was_kept_is_shown_as_it_would_be_typed() {
        let born = Date::constant(1994, 3, 7);
        let typed = TypedBirth::of(Some(born));
        assert_eq!((typed.day.as_str(), typed.month.as_str(), typed.year.as_str()), ("7", "3", "1994"));
        assert_eq!(check(&typed.day, &typed.month, &typed.year).0, Some(Some(born)));
    }
}
