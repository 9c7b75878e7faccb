//! What a card is opened with: whose and by whom, what was advised, how she stands, what the air is, what is on the shelf.

use super::card::{Card, Lids, is_removal, kinds};
use super::open_store;
use super::seen::{Around, must_treat};
use super::store;
use crate::adhesives::{self, Bead, Liquids, OnShelf};
use crate::advice::store::{self as advice, Advised};
use crate::artists::Artist;
use crate::base::actor::{Role, Who};
use crate::base::ids::{AppointmentId, BottleId, ClientId};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::book::{self, Appointment, VisitKind};
use crate::clearance::typed::{Typed, wall};
use crate::clearance::{self, ForHer, Known};
use crate::clients::{self, Client, Purpose};
use crate::rooms::{RoomSettings, asked};
use crate::store::Db;
use crate::web::House;

/// Everything the form needs.
pub(super) struct Opening {
    pub(super) around: Around,
    pub(super) client: Client,
    pub(super) appointment: Option<Appointment>,
    pub(super) kind: VisitKind,
    /// Artists this person may open a card for, herself first.
    pub(super) artists: Vec<Artist>,
    pub(super) shelf: Vec<OnShelf>,
    pub(super) her: ForHer,
    pub(super) held: bool,
    /// Whether she agrees to be treated, by a consent in force.
    pub(super) agreed: bool,
    pub(super) advised: Option<Advised>,
    pub(super) room: String,
    pub(super) air: String,
    pub(super) earlier: Vec<Card>,
    pub(super) path: String,
}

/// Said of an appointment that does not hold.
pub(super) fn called_off() -> Problem {
    Problem::Clash(
        "This appointment was called off, or nobody came.".to_owned(),
        "Let it hold again first, on its page in the book.".to_owned(),
    )
}

/// Opening one for a booked visit: none where nobody may, or where it is called off.
pub(super) async fn of_appointment(
    house: &House,
    who: &Who,
    id: AppointmentId,
    now: Instant,
) -> Result<Opening, Problem> {
    must_treat(who)?;
    let mut db = house.store.read().await?;
    let around = Around::load(&mut db).await?;
    let mine = |appointment: &Appointment| {
        who.role == Role::Owner || around.own(who).is_some_and(|own| own.id == appointment.artist)
    };
    let appointment = book::appointment(&mut db, id).await?.filter(mine).ok_or(Problem::NotHere("appointment"))?;
    if appointment.state != book::State::Booked {
        return Err(called_off());
    }
    let Some(client) = appointment.booked.client else {
        return Err(Problem::Clash(
            "No record is chosen for this appointment, so nothing is known of her clearance.".to_owned(),
            "Move it to choose her record, or begin one under Door first.".to_owned(),
        ));
    };
    let client = clients::client(&mut db, client).await?.filter(Client::is_in_use).ok_or(Problem::NotHere("client"))?;
    let services = book::services(&mut db).await?;
    let kind = services.iter().find(|service| service.id == appointment.service).map(|service| service.kind);
    let kind = kind.filter(|kind| kinds().any(|own| own == *kind)).ok_or_else(|| {
        Problem::Clash(
            "A patch test or a talk has no card.".to_owned(),
            "Place the test on her clearance page.".to_owned(),
        )
    })?;
    let beds = book::beds(&mut db).await?;
    let room = beds.iter().find(|bed| Some(bed.id) == appointment.bed).map(|bed| bed.room.to_string());
    let artists = around.artists.iter().filter(|artist| artist.id == appointment.artist).cloned().collect();
    let path = format!("/cards/of/{id}");
    opening(house, &mut db, who, (around, client, artists), (Some(appointment), kind, room, path), now).await
}

/// Opening one for who walked in.
pub(super) async fn of_client(house: &House, who: &Who, id: ClientId, now: Instant) -> Result<Opening, Problem> {
    must_treat(who)?;
    let mut db = house.store.read().await?;
    let around = Around::load(&mut db).await?;
    let client = clients::seen(&mut db, id, who).await?;
    let own = around.own(who).map(|artist| artist.id);
    let mut artists: Vec<Artist> =
        around.artists.iter().filter(|artist| who.role == Role::Owner || Some(artist.id) == own).cloned().collect();
    artists.sort_by_key(|artist| Some(artist.id) != own);
    let path = format!("/cards/for/{id}");
    opening(house, &mut db, who, (around, client, artists), (None, VisitKind::FullSet, None, path), now).await
}

async fn opening(
    house: &House,
    db: &mut Db,
    who: &Who,
    (around, client, artists): (Around, Client, Vec<Artist>),
    (appointment, kind, room, path): (Option<Appointment>, VisitKind, Option<String>, String),
    now: Instant,
) -> Result<Opening, Problem> {
    clients::not_restricted(&client)?;
    let zone = &around.studio.zone;
    let shelf = adhesives::shelf(db, None, now).await?;
    let ids: Vec<BottleId> = shelf.iter().map(|bottle| bottle.bottle).collect();
    let her = clearance::for_advice(db, house.store.keys(), client.id, who, &ids, now, Known::ByNow).await?;
    let held = open_store::is_held(&her, &ids);
    let agreed = clients::consent_in_force(db, client.id, Purpose::Treatment, now).await?;
    let advised = match artists.first() {
        Some(artist) => advice::newest_taken(db, artist.id, zone.start_of_day_before(now, 0)).await?,
        None => None,
    };
    let room = match (room, &advised) {
        (Some(room), _) => room,
        (None, Some(advised)) => advised.taken.room.to_string(),
        (None, None) => {
            let works = advice::works_in(db, zone.start_of_day_before(now, 0)).await?;
            let own = works.iter().find(|works| works.person == who.id).map(|works| works.room);
            let first = around.rooms.iter().find(|room| room.closed.is_none()).map(|room| room.id);
            own.or(first).map(|room| room.to_string()).unwrap_or_default()
        }
    };
    let settings = RoomSettings::load(db).await?;
    let air = match room.parse() {
        Ok(id) => asked::air_then(db, id, &settings, now).await?,
        Err(_) => None,
    };
    let studio = &around.studio;
    let air = air.map_or_else(
        || "The air has not been read within the hour: enter a reading first if you can.".to_owned(),
        |air| {
            format!(
                "Air now: {}\u{a0}{}, {}\u{a0}%RH.",
                studio.temperature(air.measured.temperature),
                studio.temperature_unit(),
                studio.number(air.measured.humidity.humidity.get(), 0)
            )
        },
    );
    let earlier = store::of_client(db, client.id).await?.into_iter().filter(|card| card.closed.is_some()).collect();
    Ok(Opening {
        around,
        client,
        appointment,
        kind,
        artists,
        shelf,
        her,
        held,
        agreed,
        advised,
        room,
        air,
        earlier,
        path,
    })
}

impl Opening {
    /// The form as it begins.
    pub(super) fn fresh(&self, now: Instant) -> Typed {
        let kind = if self.held && !is_removal(self.kind) { VisitKind::Removal } else { self.kind };
        let artist = self.artists.first();
        let taken = self.advised.as_ref().map(|advised| &advised.taken);
        let in_use = self
            .shelf
            .iter()
            .find(|bottle| bottle.in_use && bottle.room.map(|id| id.to_string()) == Some(self.room.clone()));
        // What is not for her today is never chosen before she chooses: it would only be refused.
        let may_be_used = |id: &BottleId| {
            self.shelf.iter().any(|own| own.bottle == *id && own.out.is_none())
                && !self.her.bottles.iter().any(|(other, _)| other == id)
        };
        let bottle = taken.map(|taken| taken.bottle).or(in_use.map(|bottle| bottle.bottle)).filter(may_be_used);
        let style = taken.map(|taken| taken.style.clone());
        let style = style.or_else(|| artist.and_then(Artist::opens_on).map(|style| style.key()));
        let mut pairs = vec![
            ("artist", artist.map(|artist| artist.id.to_string()).unwrap_or_default()),
            ("room", self.room.clone()),
            ("kind", kind.word().to_owned()),
            ("lids", Lids::Upper.word().to_owned()),
            ("bottle", bottle.map(|id| id.to_string()).unwrap_or_default()),
            ("bead", taken.map_or(Bead::Medium, |taken| taken.work.bead()).word().to_owned()),
            ("technique", style.unwrap_or_default()),
            (
                "begun",
                wall(
                    &self.around.studio.zone,
                    self.appointment.as_ref().map_or(now, |own| own.when.visit.from).min(now),
                ),
            ),
        ];
        for liquid in taken.map_or(Liquids::NONE, |taken| taken.work.liquids()).iter() {
            pairs.push(("liquids", liquid.key().to_owned()));
        }
        Typed::of(pairs)
    }

    /// What stands before the form, a sentence each.
    pub(super) fn lead(&self, now: Instant) -> Vec<String> {
        let zone = &self.around.studio.zone;
        let mut lead = vec![format!("{}: {}.", self.her.short, self.her.words)];
        // On paper she may have.
        lead.extend((!self.agreed).then(|| {
            "No consent to the treatment is signed here: she, and under age her guardian, reads and signs it before her lenses come out, on her page or on paper."
                .to_owned()
        }));
        lead.push(self.air.clone());
        lead.push(match &self.advised {
            Some(advised) => {
                let taken = &advised.taken;
                let bottle = self
                    .shelf
                    .iter()
                    .find(|own| own.bottle == taken.bottle)
                    .map_or("a bottle that is finished", |own| own.name.as_str());
                let class = if advised.class.is_empty() { String::new() } else { format!("class {}; ", advised.class) };
                format!(
                    "Advice no.\u{a0}{} of {}: {class}{bottle} was taken, {} bead.",
                    taken.number,
                    zone.date_and_clock(taken.at, now),
                    taken.work.bead().word()
                )
            }
            None => "No advice was taken today: open the room’s advice first if you want one.".to_owned(),
        });
        lead
    }
}
