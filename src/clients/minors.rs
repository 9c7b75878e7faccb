//! The studio's rule of ages: who is refused, who comes with a guardian. Judged at the day of the test and at the day of the
//! appointment, never once for all. Pure.
//!
//! Defaults (below 16 refused, 16 and 17 with a guardian present, no publicity photos and no marketing under 18) are common practice;
//! no statutory age for lash extensions was found, and ages of consent differ by country. Check with your insurer and local law.

use jiff::civil::Date;

/// The studio's ages.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct AgeRule {
    /// Younger is refused, years.
    pub refused_below: i16,
    /// Younger comes with a guardian, years.
    pub guardian_below: i16,
}

impl Default for AgeRule {
    fn default() -> Self {
        Self { refused_below: 16, guardian_below: 18 }
    }
}

/// What the rule says of somebody on a day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AgeVerdict {
    /// The birth date is not known: nothing can be judged.
    NotKnown,
    /// Too young by the studio's rule.
    Refused,
    /// A guardian must be there, sign and answer.
    WithGuardian,
    /// Of age by the studio's rule.
    OfAge,
}

/// Whole years on a day. Born on 29 February, a year is complete on 1 March of years without that day: the later of the two dates in
/// use, so nobody counts as older than she is.
///
/// ```
/// use jiff::civil::Date;
/// use stillroom::clients::minors::age_on;
/// let born = Date::constant(2010, 2, 18);
/// assert_eq!(age_on(born, Date::constant(2026, 2, 17)), 15);
/// assert_eq!(age_on(born, Date::constant(2026, 2, 18)), 16);
/// ```
#[must_use]
pub fn age_on(born: Date, day: Date) -> i16 {
    let had_birthday = (day.month(), day.day()) >= (born.month(), born.day());
    day.year() - born.year() - i16::from(!had_birthday)
}

impl AgeRule {
    /// The verdict on a day.
    #[must_use]
    pub fn judge(self, born: Option<Date>, day: Date) -> AgeVerdict {
        match born.map(|born| age_on(born, day)) {
            None => AgeVerdict::NotKnown,
            Some(age) if age < self.refused_below => AgeVerdict::Refused,
            Some(age) if age < self.guardian_below => AgeVerdict::WithGuardian,
            Some(_) => AgeVerdict::OfAge,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(born: (i16, i8, i8), day: (i16, i8, i8), verdict: AgeVerdict) {
        let date = |(year, month, day)| Date::constant(year, month, day);
        assert_eq!(AgeRule::default().judge(Some(date(born)), date(day)), verdict, "{born:?} on {day:?}");
    }

    #[test]
    fn the_rule_turns_on_the_birthday_itself() {
        check((2010, 2, 18), (2026, 2, 17), AgeVerdict::Refused);
        check((2010, 2, 18), (2026, 2, 18), AgeVerdict::WithGuardian);
        check((2010, 2, 18), (2028, 2, 17), AgeVerdict::WithGuardian);
        check((2010, 2, 18), (2028, 2, 18), AgeVerdict::OfAge);
    }

    #[test]
    fn a_leap_day_child_is_a_year_older_on_the_first_of_march() {
        check((2008, 2, 29), (2026, 2, 28), AgeVerdict::WithGuardian);
        check((2008, 2, 29), (2026, 3, 1), AgeVerdict::OfAge);
        check((2008, 2, 29), (2028, 2, 29), AgeVerdict::OfAge);
    }

    #[test]
    fn the_same_client_is_judged_apart_for_the_test_and_for_the_appointment() {
        let born = Some(Date::constant(2008, 2, 20));
        let (test, appointment) = (Date::constant(2026, 2, 18), Date::constant(2026, 2, 20));
        assert_eq!(AgeRule::default().judge(born, test), AgeVerdict::WithGuardian);
        assert_eq!(AgeRule::default().judge(born, appointment), AgeVerdict::OfAge);
    }

    #[test]
    fn an_unknown_birth_date_is_neither_adult_nor_child() {
        assert_eq!(AgeRule::default().judge(None, Date::constant(2026, 2, 18)), AgeVerdict::NotKnown);
    }
}
