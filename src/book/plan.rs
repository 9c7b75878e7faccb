//! What the book rests on: when the house and its artists work, and the beds. Pure.

use std::collections::BTreeMap;

use jiff::civil::{Date, DateTime};

use super::hours::Week;
use super::slots::{Span, Spans};
use crate::base::ids::{ArtistId, BedId, RoomId, TimeOffId};
use crate::base::zone::Zone;

/// A bed of a room.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bed {
    /// Its id.
    pub id: BedId,
    /// Where it stands.
    pub room: RoomId,
    /// Its name.
    pub name: String,
    /// The room's name.
    pub room_name: String,
    /// Out of use.
    pub closed: bool,
}

impl Bed {
    /// "Gable, left bed".
    #[must_use]
    pub fn words(&self) -> String {
        format!("{}, {}", self.room_name, self.name)
    }
}

/// Why somebody does not work.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reason {
    /// A holiday.
    Holiday,
    /// A break within the day.
    Break,
    /// Away for whatever reason: nobody's business.
    Away,
    /// The house is closed.
    House,
}

impl Reason {
    /// Every reason.
    pub const ALL: [Self; 4] = [Self::Holiday, Self::Break, Self::Away, Self::House];

    /// The word kept in the database.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Holiday => "holiday",
            Self::Break => "break",
            Self::Away => "away",
            Self::House => "house",
        }
    }

    /// The words shown.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Holiday => "holiday",
            Self::Break => "break",
            Self::Away => "away",
            Self::House => "the house is closed",
        }
    }

    /// The reason with this word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|reason| reason.word() == word)
    }
}

/// Hours in which somebody does not work besides her week.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Off {
    /// Its id.
    pub id: TimeOffId,
    /// Whose; none for the whole house.
    pub artist: Option<ArtistId>,
    /// From this hour on the wall.
    pub from_wall: DateTime,
    /// Up to and without this one.
    pub to_wall: DateTime,
    /// The same in instants.
    pub span: Span,
    /// Why.
    pub reason: Reason,
}

/// When the house and its artists work.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Hours {
    /// The house's week.
    pub house: Week,
    /// The weeks of artists who have their own; the others work as the house does.
    pub artists: BTreeMap<ArtistId, Week>,
    /// What is off besides.
    pub off: Vec<Off>,
}

impl Hours {
    /// When an artist works on a civil day: within the house's hours and her own, without what is off.
    #[must_use]
    pub fn open(&self, artist: ArtistId, day: Date, zone: &Zone) -> Spans {
        let house = self.house.on(day, zone);
        let open = match self.artists.get(&artist) {
            Some(own) => house.and(&own.on(day, zone)),
            None => house,
        };
        open.without(&Spans::of(self.off_for(artist).map(|off| off.span)))
    }

    /// When the house is open on a civil day.
    #[must_use]
    pub fn house_open(&self, day: Date, zone: &Zone) -> Spans {
        let off = self.off.iter().filter(|off| off.artist.is_none());
        self.house.on(day, zone).without(&Spans::of(off.map(|off| off.span)))
    }

    /// What keeps an artist from working besides her week.
    pub fn off_for(&self, artist: ArtistId) -> impl Iterator<Item = &Off> {
        self.off.iter().filter(move |off| off.artist.is_none_or(|whose| whose == artist))
    }
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;
    use crate::book::hours::edge;

    #[test]
    fn an_artist_works_within_the_house_her_week_and_what_is_not_off() {
        let (zone, day) = (Zone::named("Europe/Copenhagen").unwrap(), date(2026, 2, 18));
        let at = |minute| edge(day, minute, &zone);
        let (ines, tilde) = (ArtistId::new(), ArtistId::new());
        let own = Week(std::array::from_fn(|_| vec![(8 * 60, 12 * 60), (13 * 60, 20 * 60)]));
        let off = |artist, from, to| Off {
            id: TimeOffId::new(),
            artist,
            from_wall: day.at(0, 0, 0, 0),
            to_wall: day.at(0, 0, 0, 0),
            span: Span::new(at(from), at(to)),
            reason: Reason::Break,
        };
        let hours = Hours {
            house: Week::usual(),
            artists: BTreeMap::from([(ines, own)]),
            off: vec![off(Some(ines), 600, 630), off(None, 1020, 1440), off(Some(tilde), 540, 1080)],
        };
        let spans = |of: &[(i64, i64)]| Spans::of(of.iter().map(|(from, to)| Span::new(at(*from), at(*to))));
        assert_eq!(hours.open(ines, day, &zone), spans(&[(540, 600), (630, 720), (780, 1020)]));
        assert_eq!(hours.open(tilde, day, &zone), Spans::default());
        assert_eq!(hours.house_open(day, &zone), spans(&[(540, 1020)]));
        assert_eq!(hours.open(ines, date(2026, 2, 22), &zone), Spans::default(), "closed on Sunday");
    }
}
