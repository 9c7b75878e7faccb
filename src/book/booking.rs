//! Booking, moving, calling off: each inside one write, which is the only one at its time on both databases. What is in the way is
//! asked inside that write, so two appointments never share an artist or a bed for an instant.

use super::appointment::{Appointment, Booked, Change, State, When};
use super::around::Around;
use super::expecting;
use super::from_cards::HasCard;
use super::hours::MINUTES_A_DAY;
use super::plan_store;
use super::search::{self, Ask};
use super::service::Service;
use super::slots::{Length, Span, Spans};
use super::store::{self, Taken};
use crate::base::ids::{AppointmentId, ArtistId, BedId};
use crate::base::problem::Problem;
use crate::base::zone::Zone;
use crate::store::Tx;

/// Which bed is wished for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Wish {
    /// Whichever is free.
    Any,
    /// This one.
    One(BedId),
}

/// An appointment as it is wished for.
#[derive(Debug, Clone)]
pub(super) struct Draft {
    pub(super) id: AppointmentId,
    pub(super) artist: ArtistId,
    pub(super) bed: Wish,
    pub(super) service: Service,
    pub(super) booked: Booked,
    pub(super) when: When,
    pub(super) note: String,
    /// Also outside the hours.
    pub(super) outside: bool,
}

/// Books.
pub(super) async fn book(tx: &mut Tx, draft: &Draft) -> Result<Appointment, Problem> {
    let bed = place(tx, draft).await?;
    let now = tx.now.0;
    let appointment = Appointment {
        id: draft.id,
        artist: draft.artist,
        bed,
        service: draft.service.id,
        booked: draft.booked.clone(),
        when: draft.when.clone(),
        state: State::Booked,
        version: 1,
        note: draft.note.clone(),
        created: now,
        changed: now,
    };
    finish(tx, &appointment, "", Change::Made).await?;
    Ok(appointment)
}

/// Moves an appointment to what the draft says, if it is still as it was seen and has no card.
pub(super) async fn move_to(tx: &mut Tx, draft: &Draft, seen: i64, has_card: HasCard) -> Result<Appointment, Problem> {
    if has_card(tx.db(), draft.id).await? {
        return Err(she_came());
    }
    let before = as_seen(tx, draft.id, seen).await?;
    if before.state != State::Booked {
        return Err(Problem::Clash(
            "It was called off meanwhile.".into(),
            "Open it and let it hold again first.".into(),
        ));
    }
    let bed = place(tx, draft).await?;
    let appointment = Appointment {
        artist: draft.artist,
        bed,
        service: draft.service.id,
        booked: draft.booked.clone(),
        when: draft.when.clone(),
        note: draft.note.clone(),
        version: before.version + 1,
        changed: tx.now.0,
        ..before
    };
    finish(tx, &appointment, "", Change::Moved).await?;
    Ok(appointment)
}

/// What one tap makes of an appointment.
#[derive(Debug, Clone)]
pub(super) struct Deed {
    pub(super) state: State,
    /// Why it is called off; may be empty.
    pub(super) reason: String,
    /// Held again also outside the hours.
    pub(super) outside: bool,
}

/// Calls off, notes that nobody came, or lets it hold again, if it is still as it was seen.
pub(super) async fn set_state(
    tx: &mut Tx,
    id: AppointmentId,
    seen: i64,
    deed: &Deed,
    has_card: HasCard,
) -> Result<Appointment, Problem> {
    let before = as_seen(tx, id, seen).await?;
    let state = deed.state;
    if state != State::Booked && has_card(tx.db(), id).await? {
        return Err(she_came());
    }
    let bed = if state == State::Booked { still_free(tx, &before, deed.outside).await? } else { before.bed };
    let change = match state {
        State::Booked => Change::Made,
        State::Cancelled => Change::Cancelled,
        State::NoShow => Change::NoShow,
    };
    let appointment = Appointment { state, bed, version: before.version + 1, changed: tx.now.0, ..before };
    finish(tx, &appointment, &deed.reason, change).await?;
    Ok(appointment)
}

/// Why an appointment that has a card stays as it is.
pub(super) fn she_came() -> Problem {
    Problem::Clash(
        "A treatment card was opened for this appointment: she came, and the card stands.".into(),
        "Open the card from the appointment: go on with it, or correct what is wrong on it.".into(),
    )
}

async fn as_seen(tx: &mut Tx, id: AppointmentId, seen: i64) -> Result<Appointment, Problem> {
    let before = store::one(tx.db(), id).await?.ok_or(Problem::NotHere("appointment"))?;
    if before.version == seen {
        Ok(before)
    } else {
        Err(Problem::Clash(
            "The appointment was changed by somebody else since you opened it.".into(),
            "Open it again, look at what changed, and decide anew.".into(),
        ))
    }
}

pub(super) async fn finish(
    tx: &mut Tx,
    appointment: &Appointment,
    reason: &str,
    change: Change,
) -> Result<(), Problem> {
    store::keep(tx, appointment, reason).await?;
    expecting::tell(tx, appointment).await?;
    tx.raise(super::TOPIC);
    let deed = match change {
        Change::Made => "book",
        Change::Moved => "move appointment",
        Change::Cancelled => "call appointment off",
        Change::NoShow => "note no-show",
    };
    tx.audit(deed, appointment.id, &format!("version {}", appointment.version)).await
}

/// The bed it gets, when artist and bed are free and the house is open; else the mistake with what is free instead.
async fn place(tx: &mut Tx, draft: &Draft) -> Result<Option<BedId>, Problem> {
    let around = Around::load(tx.db()).await?;
    let zone = &around.studio.zone;
    let taken = store::in_the_way(tx, draft.when.busy, draft.id).await?;
    if let Some(other) = taken.iter().find(|other| other.artist == draft.artist) {
        let who = around.first_name(other.artist);
        let clash = format!("That time overlaps with {who}’s {}, its buffers counted in.", zone.clock(other.starts));
        return Err(Problem::mistake("at", format!("{clash} {}", instead(tx, &around, draft).await?)));
    }
    let bed = match bed(&around, draft, &taken) {
        Ok(bed) => bed,
        Err((field, clash)) => {
            return Err(Problem::mistake(field, format!("{clash} {}", instead(tx, &around, draft).await?)));
        }
    };
    if !draft.outside && !is_open(tx, draft.artist, draft.when.visit, zone).await? {
        let closed = format!("{} does not work then, or the house is closed.", around.first_name(draft.artist));
        let tick = "Tick “also outside the hours” to book it all the same.";
        return Err(Problem::mistake("at", format!("{closed} {} {tick}", instead(tx, &around, draft).await?)));
    }
    Ok(bed)
}

/// The bed wished for, or the first that is free; in words what stands against it.
fn bed(around: &Around, draft: &Draft, taken: &[Taken]) -> Result<Option<BedId>, (&'static str, String)> {
    if !draft.service.takes_bed {
        return Ok(None);
    }
    let taker = |id: BedId| taken.iter().find(|other| other.bed == Some(id));
    match draft.bed {
        Wish::One(id) => match (around.beds().find(|bed| bed.id == id), taker(id)) {
            (None, _) => Err(("bed", "This bed is not in use.".to_owned())),
            (Some(bed), Some(other)) => Err((
                "bed",
                format!("{} is taken then, from {}.", bed.words(), around.studio.zone.clock(other.busy.from)),
            )),
            (Some(_), None) => Ok(Some(id)),
        },
        Wish::Any if around.beds().next().is_none() => {
            Err(("bed", "The studio has no bed yet. The owner adds beds under Book, Beds.".to_owned()))
        }
        Wish::Any => match around.beds().find(|bed| taker(bed.id).is_none()) {
            Some(bed) => Ok(Some(bed.id)),
            None => Err(("at", "No bed is free then.".to_owned())),
        },
    }
}

/// Whether the house is open and the artist works during all of a visit.
pub(super) async fn is_open(tx: &mut Tx, artist: ArtistId, visit: Span, zone: &Zone) -> Result<bool, Problem> {
    let hours = plan_store::hours(tx.db(), visit).await?;
    let days = [zone.day(visit.from), zone.day(visit.to)];
    let open = days.iter().flat_map(|day| hours.open(artist, *day, zone).as_slice().to_vec());
    Ok(Spans::of(open).hold(&visit))
}

/// "Free that day: 14:30, 15:00." or the next days that have room.
async fn instead(tx: &mut Tx, around: &Around, draft: &Draft) -> Result<String, Problem> {
    let (zone, now) = (&around.studio.zone, tx.now.0);
    let day = zone.day(draft.when.visit.from);
    let ask = Ask {
        length: Length { minutes: draft.when.minutes(), ..draft.service.length },
        takes_bed: draft.service.takes_bed,
        artists: vec![draft.artist],
        moving: Some(draft.id),
        after: 0,
        before: MINUTES_A_DAY,
        from: day,
        days: 28,
        most_a_day: 50,
        most: 50,
    };
    let beds: Vec<_> = around.beds().collect();
    let mut found = search::search(tx.db(), &ask, &beds, zone, now).await?;
    // The day asked for, and there what lies nearest to the time asked for.
    let wished = draft.when.visit.from;
    if found.iter().any(|free| zone.day(free.at) == day) {
        found.retain(|free| zone.day(free.at) == day);
        found.sort_by_key(|free| free.at.since(wished).abs());
        found.truncate(3);
        found.sort_by_key(|free| free.at);
        let times: Vec<_> = found.iter().map(|free| zone.clock(free.at)).collect();
        return Ok(format!("Free that day: {}.", times.join(", ")));
    }
    Ok(match found.first() {
        Some(free) => format!("The next free time is {} {}.", zone.date(free.at, now), zone.clock(free.at)),
        None => "Nothing is free in the four weeks after it.".to_owned(),
    })
}

/// For one that was called off: the bed it gets where artist, bed and hours are still free, judged as a booking is.
async fn still_free(tx: &mut Tx, before: &Appointment, outside: bool) -> Result<Option<BedId>, Problem> {
    if before.state == State::Booked {
        return Err(Problem::Clash("It holds already.".into(), "Nothing needs to be done.".into()));
    }
    let around = Around::load(tx.db()).await?;
    let anew = || "Book it anew at another time.".to_owned();
    if around.artist(before.artist).is_none() {
        return Err(Problem::Clash("Whoever it was booked with works here no more.".into(), anew()));
    }
    let service = around.service(before.service).cloned().ok_or(Problem::NotHere("service"))?;
    let draft = Draft {
        id: before.id,
        artist: before.artist,
        bed: before.bed.map_or(Wish::Any, Wish::One),
        service,
        booked: before.booked.clone(),
        when: before.when.clone(),
        note: before.note.clone(),
        outside: true,
    };
    let bed = place(tx, &draft).await.map_err(|problem| match problem {
        Problem::Mistakes(notes) => {
            let why = notes.first().map(|note| note.sentence.clone()).unwrap_or_default();
            Problem::Clash(format!("Its time is no longer free. {why}"), anew())
        }
        other => other,
    })?;
    if !outside && !is_open(tx, before.artist, before.when.visit, &around.studio.zone).await? {
        let closed = format!("{} does not work then, or the house is closed.", around.first_name(before.artist));
        return Err(Problem::mistake("outside", format!("{closed} Tick this to let it hold all the same.")));
    }
    Ok(bed)
}
