//! Clearance in words: for screens that others can see, and for those who treat her. Pure.
//!
//! On a shared screen: short name, time, the missing step; *held* and *refer* look alike there. Never a health word.

use super::facts::TestResult;
use super::judge::{Clearance, Missing, NotYet, Reason, Why};
use super::rules::Rules;
use crate::base::time::{DAY, HOUR, Instant, MINUTE};
use crate::base::zone::Zone;

/// A mark with its word.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Mark {
    /// "fit", "near" or "stop".
    pub mark: &'static str,
    /// The word beside it.
    pub word: &'static str,
}

/// The mark on a shared screen: held and refer are one.
#[must_use]
pub fn shared_mark(answer: &Clearance, rules: &Rules, now: Instant) -> Mark {
    match answer {
        Clearance::Cleared(_) => Mark { mark: "fit", word: "cleared" },
        Clearance::NotYet(not_yet) if not_yet.is_overdue(rules, now) => Mark { mark: "stop", word: "overdue" },
        Clearance::NotYet(_) => Mark { mark: "near", word: "not yet" },
        Clearance::Held(_) | Clearance::Refer(_) => Mark { mark: "stop", word: "not now" },
    }
}

/// The mark for those who treat her.
#[must_use]
pub fn own_mark(answer: &Clearance, rules: &Rules, now: Instant) -> Mark {
    match answer {
        Clearance::Held(_) => Mark { mark: "stop", word: "held" },
        Clearance::Refer(_) => Mark { mark: "stop", word: "refer" },
        other => shared_mark(other, rules, now),
    }
}

/// The missing step for a shared screen. `artist` is who is to be spoken with.
#[must_use]
pub fn shared_step(answer: &Clearance, artist: &str) -> String {
    match answer {
        Clearance::Cleared(_) => "nothing is missing".to_owned(),
        Clearance::Held(_) | Clearance::Refer(_) => format!("speak with {artist}"),
        Clearance::NotYet(not_yet) => not_yet.missing.first().map(step).unwrap_or_default(),
    }
}

/// A step in words that say nothing about health.
#[must_use]
pub fn step(missing: &Missing) -> String {
    match missing {
        Missing::Adhesive => "choose the adhesive",
        Missing::BirthDate => "ask for the birth date",
        Missing::Consent => "ask for her consent",
        Missing::Answers { expired: false } => "ask the questions before a first treatment",
        Missing::Answers { expired: true } => "ask the questions again",
        Missing::Reading { .. } => "look at the patch test and ask",
        Missing::Test { .. } => "place a patch test",
    }
    .to_owned()
}

/// How long until a deadline, or since: "in 1 h 55 min", "overdue by 3 h 10 min".
#[must_use]
pub fn left(due: Instant, now: Instant) -> String {
    let away = due.since(now);
    if away >= 0 { format!("in {}", span(away)) } else { format!("overdue by {}", span(-away)) }
}

/// A length of time by its two largest units.
#[must_use]
pub fn span(micros: i64) -> String {
    let (days, hours, minutes) = (micros / DAY, micros % DAY / HOUR, micros % HOUR / MINUTE);
    match (days, hours) {
        (0, 0) => format!("{minutes} min"),
        (0, _) => format!("{hours} h {minutes} min"),
        (1, _) => format!("1 day {hours} h"),
        _ => format!("{days} days {hours} h"),
    }
}

/// Until when the first step has to be done, with the time left; and what to do when it is too late.
#[must_use]
pub fn deadline(not_yet: &NotYet, rules: &Rules, zone: &Zone, now: Instant) -> String {
    let due = not_yet.due(rules);
    if not_yet.is_overdue(rules, now) {
        let waits = not_yet.missing.iter().find_map(|missing| match missing {
            Missing::Reading { from, .. } => Some(*from),
            _ => None,
        });
        let earliest = waits.unwrap_or_else(|| now.plus(rules.wait()));
        let late = if now > due {
            format!("{}: ", left(due, now))
        } else {
            "overdue: the wait ends after the visit; ".to_owned()
        };
        return format!(
            "{late}too late for this time. Move the visit to {} or later.",
            zone.date_and_clock(earliest, now)
        );
    }
    if let Some(Missing::Reading { from, .. }) = not_yet.missing.first()
        && *from > now
    {
        return format!("from {} on, before the visit", zone.date_and_clock(*from, now));
    }
    format!("by {}, {}", zone.date_and_clock(due, now), left(due, now))
}

/// Why, for those who treat her.
#[must_use]
pub fn reason(reason: Reason, zone: &Zone, now: Instant) -> String {
    let on = |at: Instant| zone.date(at, now);
    match reason {
        Reason::Acute => "Pain, swelling or changed vision: medical help first. No adhesive and no remover.".to_owned(),
        Reason::AdviceFirst => "A health answer asks for medical advice first, and no answer to it is here.".to_owned(),
        Reason::Reaction(at) => format!(
            "A reaction was recorded, noticed {}. It holds every adhesive until a doctor has written that she may have this family again; the owner enters that. Time, another adhesive or a test without a reaction change nothing.",
            on(at)
        ),
        Reason::TestReaction(at) => format!("The patch test looked at {} showed a reaction.", on(at)),
        Reason::Doubtful(at) => {
            format!("The patch test looked at {} was doubtful. Doubtful does not count as clear.", on(at))
        }
        Reason::Finding(at) => format!("A doctor’s finding of {} is not clear.", on(at)),
        Reason::DoNotTreat => "A health answer says: do not treat now.".to_owned(),
        Reason::Declined(at) => format!("She declined a patch test on {}.", on(at)),
        Reason::TooYoung => "She is below the studio’s age on that day.".to_owned(),
        Reason::NoGuardian => "She is a minor on that day, and no guardian’s consent is in force.".to_owned(),
        Reason::Stopped(_) => "What is planned is stopped.".to_owned(),
        Reason::Restricted => "Her file is restricted: it is kept and not used.".to_owned(),
    }
}

/// What is missing, for those who treat her.
#[must_use]
pub fn missing(missing: &Missing, product: &str, zone: &Zone, now: Instant) -> String {
    match missing {
        Missing::Reading { from, .. } if *from > now => format!(
            "A patch test is waiting until {}. A wait that is over is not a result: somebody looks and asks.",
            zone.date_and_clock(*from, now)
        ),
        Missing::Reading { .. } => "The wait of the patch test is over. That is not a result: look and ask.".to_owned(),
        Missing::Test { why, .. } => {
            let why = match why {
                Why::Gap => "too long since the last treatment",
                Why::Lapsed => "the last test is past its days",
                Why::HealthChanged => "her health has changed since the last test",
                Why::AfterReaction => "the last test was before a reaction",
                Why::NotRead => "nobody looked at the last test in time",
                Why::Stopped => "the last test was made with something that is stopped since",
                Why::NeverTested => "not tested with this",
            };
            format!("A patch test with {product}: {why}.")
        }
        Missing::Answers { expired: true } => "The health answers are past their date: ask again.".to_owned(),
        Missing::Answers { expired: false } => "No health answers yet.".to_owned(),
        Missing::BirthDate => "No birth date yet: the age rules need it.".to_owned(),
        Missing::Consent => "She took her consent back, and has given none since.".to_owned(),
        Missing::Adhesive => "No adhesive chosen, and the house has none set for that day.".to_owned(),
    }
}

/// A test's result with its hours, never more than was seen.
#[must_use]
pub fn result(result: TestResult, placed: Instant, read: Option<Instant>) -> String {
    match (result, read) {
        (TestResult::NoneSeen, Some(read)) => format!("no reaction seen in {} h", read.since(placed) / HOUR),
        (other, _) => other.word().to_owned(),
    }
}

/// Words to copy into a message to her. Nothing about health, and no name but the house's.
#[must_use]
pub fn message(not_yet: &NotYet, at: Instant, rules: &Rules, house: &str, zone: &Zone, now: Instant) -> Option<String> {
    let visit = zone.date_and_clock(at, now);
    let by = zone.date_and_clock(not_yet.due(rules), now);
    let overdue = not_yet.is_overdue(rules, now);
    Some(match not_yet.missing.first()? {
        Missing::Test { .. } if overdue => format!(
            "Hello, before your visit ({visit}) we have to place a small patch test {} hours ahead, and that is no longer possible. Which other time suits you? {house}",
            rules.wait_hours
        ),
        Missing::Test { .. } => format!(
            "Hello, before your visit ({visit}) we place a small patch test. It has to be placed by {by} at the latest and takes about ten minutes. When can you come? {house}"
        ),
        Missing::Reading { .. } => format!(
            "Hello, we would like to look at your patch test before your visit ({visit}). When can you come? {house}"
        ),
        Missing::Answers { .. } | Missing::BirthDate | Missing::Consent | Missing::Adhesive => {
            format!(
                "Hello, we have some questions for you before your visit ({visit}). Please come ten minutes earlier. {house}"
            )
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::ids::PatchTestId;

    const NOW: Instant = Instant(1_771_405_920_000_000);

    /// Words that tell something about health.
    const HEALTH: &[&str] =
        &["reaction", "allerg", "doctor", "pregnan", "health", "doubtful", "pain", "medical", "minor"];

    #[test]
    fn held_and_refer_look_alike_where_others_can_see() {
        let rules = Rules::default();
        let (held, refer) = (Clearance::Held(vec![Reason::DoNotTreat]), Clearance::Refer(vec![Reason::Acute]));
        assert_eq!(shared_mark(&held, &rules, NOW), shared_mark(&refer, &rules, NOW));
        assert_eq!(shared_step(&held, "Oona"), shared_step(&refer, "Oona"));
        assert_ne!(own_mark(&held, &rules, NOW), own_mark(&refer, &rules, NOW));
    }

    #[test]
    fn no_step_and_no_message_says_a_health_word() {
        let rules = Rules::default();
        let all = [
            Missing::Adhesive,
            Missing::BirthDate,
            Missing::Answers { expired: true },
            Missing::Answers { expired: false },
            Missing::Reading { test: PatchTestId::new(), from: NOW },
            Missing::Test { product: None, why: Why::AfterReaction },
            Missing::Test { product: None, why: Why::HealthChanged },
        ];
        for one in all {
            let not_yet = NotYet { last_instant_for_a_test: NOW.plus(-rules.wait()), missing: vec![one] };
            let said = [
                step(&not_yet.missing[0]),
                deadline(&not_yet, &rules, &Zone::utc(), NOW),
                message(&not_yet, NOW, &rules, "Marram House", &Zone::utc(), NOW).unwrap(),
            ];
            for line in said {
                assert!(!HEALTH.iter().any(|word| line.to_lowercase().contains(word)), "{line}");
            }
        }
    }

    #[test]
    fn a_deadline_gives_the_instant_and_the_time_left() {
        let rules = Rules::default();
        let not_yet = |due: i64, missing| NotYet { last_instant_for_a_test: NOW.plus(due), missing: vec![missing] };
        let test = || Missing::Test { product: None, why: Why::NeverTested };
        let say = |not_yet: &NotYet| deadline(not_yet, &rules, &Zone::utc(), NOW);
        assert_eq!(say(&not_yet(115 * MINUTE, test())), "by today 11:07, in 1 h 55 min");
        assert_eq!(
            say(&not_yet(-190 * MINUTE, test())),
            "overdue by 3 h 10 min: too late for this time. Move the visit to Fri 20 Feb 09:12 or later."
        );
        let reading = |from: i64| Missing::Reading { test: PatchTestId::new(), from: NOW.plus(from) };
        assert_eq!(say(&not_yet(-30 * HOUR, reading(2 * HOUR))), "from today 11:12 on, before the visit");
        assert_eq!(say(&not_yet(-30 * HOUR, reading(-HOUR))), "by Thu 19 Feb 03:12, in 18 h 0 min");
        assert!(say(&not_yet(-30 * HOUR, reading(20 * HOUR))).starts_with("overdue: the wait ends after the visit"));
    }

    #[test]
    fn a_result_says_what_was_seen_and_for_how_long() {
        let said = result(TestResult::NoneSeen, NOW, Some(NOW.plus(49 * HOUR)));
        assert_eq!(said, "no reaction seen in 49 h");
    }

    #[test]
    fn lengths_are_told_by_their_two_largest_units() {
        for (micros, said) in
            [(5 * MINUTE, "5 min"), (HOUR, "1 h 0 min"), (25 * HOUR, "1 day 1 h"), (3 * DAY + 2 * HOUR, "3 days 2 h")]
        {
            assert_eq!(span(micros), said);
        }
    }
}
