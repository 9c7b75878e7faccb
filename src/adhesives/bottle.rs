//! A bottle and its days: until when it may be used, and how that is said. Pure; civil days, as printed on bottles.

use jiff::ToSpan;
use jiff::civil::Date;

use crate::base::ids::{BottleId, ProductId, RoomId};
use crate::base::time::{DAY, Instant};
use crate::base::zone::Zone;

/// Days before the last one at which a bottle is said to be about to lapse: time enough to order another (common
/// practice).
pub const SOON_DAYS: i32 = 7;

/// One bottle.
#[derive(Debug, Clone, PartialEq)]
pub struct Bottle {
    /// Its id.
    pub id: BottleId,
    /// What it is a bottle of.
    pub product: ProductId,
    /// Its lot; empty where none is printed.
    pub lot: String,
    /// The day it came.
    pub received: Date,
    /// The last day printed on it.
    pub expiry: Option<Date>,
    /// When it was opened.
    pub opened: Option<Instant>,
    /// Where it stands.
    pub room: Option<RoomId>,
    /// Whether it is the one in daily use.
    pub in_use: bool,
    /// When it was used up or thrown away.
    pub finished: Option<Instant>,
    /// When the studio stopped it, its lot or its product.
    pub stopped: Option<Instant>,
}

impl Bottle {
    /// Days since it was opened; 0 while it is closed, since the model counts from the opening.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "days of a bottle are small numbers")]
    pub fn days_open(&self, now: Instant) -> f64 {
        self.opened.map_or(0.0, |opened| (now.since(opened) as f64 / DAY as f64).clamp(0.0, 1000.0))
    }

    /// How it stands on a day.
    #[must_use]
    pub fn lapse(&self, opened_life_days: Option<u32>, zone: &Zone, now: Instant) -> Lapse {
        let opened = self.opened.map(|at| zone.day(at));
        Lapse::on(self.expiry, opened, opened_life_days, zone.day(now))
    }

    /// Why it must not be used now, if so.
    #[must_use]
    pub fn out(&self, opened_life_days: Option<u32>, zone: &Zone, now: Instant) -> Option<Out> {
        if self.stopped.is_some() {
            return Some(Out::Stopped);
        }
        match self.lapse(opened_life_days, zone, now) {
            Lapse::Over { by_date: true, .. } => Some(Out::Expired),
            Lapse::Over { .. } => Some(Out::Lapsed),
            Lapse::Left { .. } | Lapse::NoDate => None,
        }
    }
}

/// Why a bottle must not be used now.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Out {
    /// Past the date printed on it.
    Expired,
    /// Open for longer than its maker allows.
    Lapsed,
    /// The studio stopped it, its lot or its product.
    Stopped,
}

impl Out {
    /// The words beside the mark.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Expired => "lapsed: past its date",
            Self::Lapsed => "lapsed: open too long",
            Self::Stopped => "stopped",
        }
    }
}

/// The last day a bottle may be used: the earlier of the date printed on it and the day it was opened plus its opened
/// life in days; that day itself still counts. `None` where neither is known.
///
/// ```
/// use jiff::civil::date;
/// use stillroom::adhesives::discard_by;
/// let printed = Some(date(2028, 6, 30));
/// assert_eq!(discard_by(printed, Some(date(2028, 2, 1)), Some(30)), Some(date(2028, 3, 2)));
/// ```
#[must_use]
pub fn discard_by(expiry: Option<Date>, opened: Option<Date>, opened_life_days: Option<u32>) -> Option<Date> {
    let used_up = opened.zip(opened_life_days).and_then(|(day, life)| day.checked_add(i64::from(life).days()).ok());
    match (expiry, used_up) {
        (Some(printed), Some(used_up)) => Some(printed.min(used_up)),
        (one, other) => one.or(other),
    }
}

/// How long a bottle may still be used.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lapse {
    /// Neither a printed date nor an opened life is known.
    NoDate,
    /// Days after today on which it may still be used, and the last of them.
    Left {
        /// 0 on its last day.
        days: i32,
        /// The last day.
        last: Date,
    },
    /// Its last day has passed.
    Over {
        /// Days since.
        days: i32,
        /// The last day.
        last: Date,
        /// By the date printed on it, rather than by how long it has been open.
        by_date: bool,
    },
}

impl Lapse {
    /// How a bottle stands on a day.
    #[must_use]
    pub fn on(expiry: Option<Date>, opened: Option<Date>, opened_life_days: Option<u32>, today: Date) -> Self {
        let Some(last) = discard_by(expiry, opened, opened_life_days) else { return Self::NoDate };
        let days = (last - today).get_days();
        if days >= 0 {
            Self::Left { days, last }
        } else {
            Self::Over { days: -days, last, by_date: expiry.is_some_and(|printed| printed < today) }
        }
    }

    /// The mark: fit, near, stop, or unknown.
    #[must_use]
    pub const fn mark(self) -> &'static str {
        match self {
            Self::NoDate => "unknown",
            Self::Left { days, .. } if days <= SOON_DAYS => "near",
            Self::Left { .. } => "fit",
            Self::Over { .. } => "stop",
        }
    }

    /// The words beside the mark: "in date", "4 days left", "lapsed 2 days ago".
    #[must_use]
    pub fn words(self) -> String {
        match self {
            Self::NoDate => "last day not known".to_owned(),
            Self::Left { days: 0, .. } => "last day today".to_owned(),
            Self::Left { days: 1, .. } => "1 day left".to_owned(),
            Self::Left { days, .. } if days <= SOON_DAYS => format!("{days} days left"),
            Self::Left { .. } => "in date".to_owned(),
            Self::Over { days: 1, .. } => "lapsed yesterday".to_owned(),
            Self::Over { days, .. } => format!("lapsed {days} days ago"),
        }
    }

    /// The last day, where there is one.
    #[must_use]
    pub const fn last(self) -> Option<Date> {
        match self {
            Self::NoDate => None,
            Self::Left { last, .. } | Self::Over { last, .. } => Some(last),
        }
    }

    /// What comes first on a list: the most urgent; what has no date comes last.
    #[must_use]
    pub const fn urgency(self) -> i32 {
        match self {
            Self::Over { days, .. } => -days,
            Self::Left { days, .. } => days,
            Self::NoDate => i32::MAX,
        }
    }
}

/// A typed day: ISO as a browser's date field sends it.
#[must_use]
pub fn typed_day(text: &str) -> Option<Date> {
    let text = text.trim();
    let whole = text.len() == 10 && text.bytes().all(|b| b.is_ascii_digit() || b == b'-');
    if whole { text.parse().ok() } else { None }
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;

    #[test]
    fn the_earlier_of_printed_date_and_opened_life_counts() {
        let opened = Some(date(2026, 2, 10));
        assert_eq!(discard_by(Some(date(2026, 12, 31)), opened, Some(30)), Some(date(2026, 3, 12)));
        assert_eq!(discard_by(Some(date(2026, 2, 20)), opened, Some(30)), Some(date(2026, 2, 20)));
        assert_eq!(discard_by(None, opened, Some(30)), Some(date(2026, 3, 12)));
        assert_eq!(discard_by(Some(date(2026, 12, 31)), None, Some(30)), Some(date(2026, 12, 31)));
        assert_eq!(discard_by(Some(date(2026, 12, 31)), opened, None), Some(date(2026, 12, 31)));
        assert_eq!(discard_by(None, opened, None), None);
        assert_eq!(discard_by(None, None, Some(30)), None);
    }

    #[test]
    fn a_leap_day_is_a_day_like_any_other() {
        let last = |year, month, day, life| discard_by(None, Some(date(year, month, day)), Some(life)).unwrap();
        assert_eq!(last(2028, 2, 28, 1), date(2028, 2, 29));
        assert_eq!(last(2027, 2, 28, 1), date(2027, 3, 1));
        assert_eq!(last(2028, 1, 30, 30), date(2028, 2, 29));
        assert_eq!(last(2027, 1, 30, 30), date(2027, 3, 1));
        assert_eq!(last(2028, 2, 29, 366), date(2029, 3, 1));
        // 2100 is no leap year.
        assert_eq!(last(2100, 2, 28, 1), date(2100, 3, 1));
    }

    #[test]
    fn the_last_day_itself_still_counts() {
        let on = |today| Lapse::on(Some(date(2026, 2, 20)), None, None, today);
        assert_eq!(on(date(2026, 2, 20)).words(), "last day today");
        assert_eq!(on(date(2026, 2, 19)).words(), "1 day left");
        assert_eq!((on(date(2026, 2, 13)).words().as_str(), on(date(2026, 2, 13)).mark()), ("7 days left", "near"));
        assert_eq!((on(date(2026, 2, 12)).words().as_str(), on(date(2026, 2, 12)).mark()), ("in date", "fit"));
        assert_eq!(on(date(2026, 2, 21)).words(), "lapsed yesterday");
        assert_eq!((on(date(2026, 3, 1)).words().as_str(), on(date(2026, 3, 1)).mark()), ("lapsed 9 days ago", "stop"));
        assert_eq!(Lapse::NoDate.mark(), "unknown");
    }

    #[test]
    fn days_are_counted_over_the_end_of_years_and_not_in_months() {
        let left = Lapse::on(Some(date(2027, 3, 1)), None, None, date(2026, 12, 31));
        assert!(matches!(left, Lapse::Left { days: 60, .. }), "{left:?}");
    }

    #[test]
    fn what_is_lapsed_longest_comes_first_and_what_has_no_date_last() {
        let today = date(2026, 2, 18);
        let on = |day| Lapse::on(Some(day), None, None, today);
        let mut all = [Lapse::NoDate, on(date(2026, 3, 1)), on(date(2026, 2, 17)), on(date(2026, 1, 1)), on(today)];
        all.sort_by_key(|lapse| lapse.urgency());
        let words: Vec<_> = all.iter().map(|lapse| lapse.words()).collect();
        assert_eq!(
            words,
            ["lapsed 48 days ago", "lapsed yesterday", "last day today", "in date", "last day not known"]
        );
    }

    #[test]
    fn a_bottle_is_out_by_its_date_by_its_opened_life_or_by_being_stopped() {
        let zone = Zone::named("Europe/Copenhagen").unwrap();
        // 23:30 on 19 February in Copenhagen.
        let late = Instant::from_timestamp("2026-02-19T22:30:00Z".parse().unwrap());
        let bottle = Bottle {
            id: BottleId::new(),
            product: ProductId::new(),
            lot: "21".to_owned(),
            received: date(2026, 1, 1),
            expiry: Some(date(2026, 2, 19)),
            opened: Some(late.plus(-20 * DAY)),
            room: None,
            in_use: true,
            finished: None,
            stopped: None,
        };
        assert_eq!(bottle.out(None, &zone, late), None);
        assert_eq!(
            bottle.out(None, &zone, late.plus(DAY / 24)),
            Some(Out::Expired),
            "an hour later it is the next day"
        );
        assert_eq!(bottle.out(Some(14), &zone, late), Some(Out::Lapsed));
        let stopped = Bottle { stopped: Some(late), ..bottle.clone() };
        assert_eq!(stopped.out(Some(14), &zone, late), Some(Out::Stopped));
        assert!((bottle.days_open(late) - 20.0).abs() < 1e-9);
        assert!((Bottle { opened: None, ..bottle }).days_open(late).abs() < 1e-9);
    }

    #[test]
    fn only_whole_days_that_exist_are_read() {
        assert_eq!(typed_day(" 2028-02-29 "), Some(date(2028, 2, 29)));
        for wrong in ["", "2027-02-29", "29.2.2028", "2028-2-9", "2028-02-29T10:00", "tomorrow"] {
            assert_eq!(typed_day(wrong), None, "{wrong}");
        }
    }
}
