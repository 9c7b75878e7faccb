//! Which room somebody works in today, by the strongest sign there is: a card open at a bed, what she said or took there, the book.

use crate::advice::store::{self as advice, WorksIn};
use crate::artists::Artist;
use crate::base::ids::{ArtistId, RoomId};
use crate::base::problem::Problem;
use crate::base::time::{DAY, Instant};
use crate::base::zone::Zone;
use crate::book::{self, State, slots::Span};
use crate::cards;
use crate::rooms::Room;
use crate::store::Db;

/// What the house knows of where everybody works.
#[derive(Debug, Clone)]
pub(super) struct Whereabouts {
    /// The rooms in use; a sign that names another one counts for nothing.
    rooms: Vec<RoomId>,
    /// Cards opened today and not closed, the newest first. One that was forgotten on another day says nothing of today.
    cards: Vec<(ArtistId, RoomId)>,
    /// What each last said today; of yesterday it would say nothing. Who takes a bottle on advice has said so, too.
    said: Vec<WorksIn>,
    /// Of today's appointments that are not over and have a bed, in their order.
    booked: Vec<(ArtistId, RoomId)>,
}

impl Whereabouts {
    pub(super) async fn load(db: &mut Db, zone: &Zone, rooms: &[Room], now: Instant) -> Result<Self, Problem> {
        let morning = zone.start_of(zone.day(now));
        // A civil day may have 25 hours; half a day more never reaches the evening of tomorrow.
        let tomorrow = zone.start_of(zone.day(morning.plus(DAY + DAY / 2)));
        let beds = book::beds(db).await?;
        let today = book::between(db, Span::new(now, tomorrow)).await?;
        let mut holds: Vec<_> = today
            .into_iter()
            .filter(|one| one.state == State::Booked && one.when.visit.from < tomorrow && one.when.visit.to > now)
            .collect();
        holds.sort_by_key(|one| one.when.visit.from);
        let room = |one: &book::Appointment| beds.iter().find(|bed| Some(bed.id) == one.bed).map(|bed| bed.room);
        Ok(Self {
            rooms: rooms.iter().map(|room| room.id).collect(),
            cards: cards::open_since(db, morning).await?,
            said: advice::works_in(db, morning).await?,
            booked: holds.iter().filter_map(|one| Some((one.artist, room(one)?))).collect(),
        })
    }

    /// What somebody said today.
    pub(super) fn said_today(&self, artist: &Artist) -> Option<&WorksIn> {
        self.said.iter().find(|works| works.person == artist.person)
    }

    /// The room she works in: of her open card; where she last said she works today, or took a bottle; of her appointment of now, else
    /// her next one of today.
    pub(super) fn of(&self, artist: &Artist) -> Option<RoomId> {
        let of = |signs: &[(ArtistId, RoomId)]| {
            signs.iter().find(|(own, room)| *own == artist.id && self.rooms.contains(room)).map(|(_, room)| *room)
        };
        let said = || self.said_today(artist).map(|works| works.room).filter(|room| self.rooms.contains(room));
        of(&self.cards).or_else(said).or_else(|| of(&self.booked))
    }

    /// The same, or the only room of the house.
    pub(super) fn or_only(&self, artist: &Artist) -> Option<RoomId> {
        let only = || self.rooms.first().copied().filter(|_| self.rooms.len() == 1);
        self.of(artist).or_else(only)
    }

    /// Where her advice opens: where she works, else in the first room.
    pub(super) fn opens_on(&self, artist: &Artist) -> Option<RoomId> {
        self.of(artist).or_else(|| self.rooms.first().copied())
    }
}
