//! Clients of the invented studio who come again and again, and the cards of their visits: what was placed, and what was still there when
//! they came again.

use super::book::Draw;
use crate::adhesives::{self, Bead, Liquids, OnShelf};
use crate::artists::{self, Artist};
use crate::base::actor::{Role, Who};
use crate::base::ids::{BottleId, CardId, CardPartId, ClientId, PersonId, ProductId, RoomId, SessionId};
use crate::base::problem::Problem;
use crate::base::time::{DAY, HOUR, Instant, MINUTE};
use crate::book::slots::Span;
use crate::book::{self, Appointment, State, VisitKind};
use crate::cards::card::{Aftercare, Arrival, Card, Count, CountedBy, Lids, Remover, Side, has_adhesive, lashes_of};
use crate::cards::counts::Found;
use crate::cards::{self, SeedCard};
use crate::clearance::Met;
use crate::clearance::facts::TestResult;
use crate::clearance::seed::{Seed, seed};
use crate::clients::seed::{SeedClient, seed_client};
use crate::clients::{self, Client, Keeper, Purpose, short_name};
use crate::people::Person;
use crate::web::House;

/// Who comes again, and to whom. Nobody of them lives anywhere.
const REGULARS: [(&str, &str); 18] = [
    ("Agda Winther", "Ines Okafor"),
    ("Birte Solvang", "Ines Okafor"),
    ("Connie Edvard", "Ines Okafor"),
    ("Ditte Mosegaard", "Ines Okafor"),
    ("Esther Kvam", "Ines Okafor"),
    ("Filippa Norby", "Ines Okafor"),
    ("Gerda Halvard", "Oona Pell"),
    ("Helle Brixen", "Oona Pell"),
    ("Inger Tofte", "Oona Pell"),
    ("Jette Amdal", "Oona Pell"),
    ("Klara Egge", "Oona Pell"),
    ("Lone Varde", "Oona Pell"),
    ("Merete Fynbo", "Tilde Brandt"),
    ("Nete Osterby", "Tilde Brandt"),
    ("Oline Krogh", "Tilde Brandt"),
    ("Pia Ravnsborg", "Tilde Brandt"),
    ("Randi Skovlund", "Tilde Brandt"),
    ("Solvej Thorup", "Tilde Brandt"),
];

/// A client who comes again: to whom, her record, how she is called.
pub(super) type Regular = (PersonId, ClientId, String);

/// The records of those who come again; made where there are none yet.
pub(super) async fn regulars(house: &House, people: &[Person]) -> Result<Vec<Regular>, Problem> {
    let now = house.store.clock().now().0;
    let Some(owner) = people.iter().find(|person| person.role == Role::Owner) else { return Ok(Vec::new()) };
    let by = Who { id: owner.id, session: SessionId::new(), name: owner.name.clone(), role: owner.role };
    let mut all = Vec::new();
    for (name, artist) in REGULARS {
        let Some(artist) = people.iter().find(|person| person.name == artist) else { continue };
        let found = {
            let mut db = house.store.read().await?;
            clients::find(&mut db, name, 1).await?
        };
        let id = match found.first() {
            Some(client) => client.id,
            None => {
                let client = client(name, artist.id, now);
                let id = client.id;
                let answered = Some((now.plus(-30 * DAY), Vec::new()));
                let signed = vec![Purpose::HealthData, Purpose::PatchTest, Purpose::Treatment];
                let own =
                    SeedClient { client, answered, changed: false, signed, guardian: None, withdrew: None, photos: 0 };
                seed_client(house, &by, own).await?;
                id
            }
        };
        all.push((artist.id, id, short_name(name)));
    }
    Ok(all)
}

fn client(name: &str, artist: PersonId, now: Instant) -> Client {
    Client {
        id: ClientId::new(),
        name: name.to_owned(),
        short: short_name(name),
        phone: String::new(),
        email: String::new(),
        born: Some(jiff::civil::date(1986, 5, 14)),
        keeper: Keeper::Studio,
        artists: vec![artist],
        notes: String::new(),
        created: now.plus(-390 * DAY),
        restricted: None,
        merged_into: None,
        erased: None,
    }
}

/// Cards of past visits, from the day the oldest bottle of the shelf was opened: nothing is said to have been placed from a bottle that
/// nobody knows any more. A studio that has cards gets no more.
pub(super) async fn fill(house: &House, people: &[Person], regulars: &[Regular], days: i64) -> Result<(), Problem> {
    let now = house.store.clock().now().0;
    let Some(owner) = people.iter().find(|person| person.role == Role::Owner) else { return Ok(()) };
    let by = Who { id: owner.id, session: SessionId::new(), name: owner.name.clone(), role: owner.role };
    let (visits, around) = {
        let mut db = house.store.read().await?;
        if cards::has_cards(&mut db).await? {
            return Ok(());
        }
        let mut shelf = Vec::new();
        for own in adhesives::shelf(&mut db, None, now).await? {
            if let Some((bottle, _)) = adhesives::bottle_and_product(&mut db, own.bottle).await? {
                shelf.push((own, bottle.lot, bottle.opened));
            }
        }
        let around = Around {
            artists: artists::all(&mut db).await?,
            rooms: book::beds(&mut db).await?.into_iter().map(|bed| (bed.id, bed.room)).collect(),
            kinds: book::services(&mut db).await?.into_iter().map(|service| (service.id, service.kind)).collect(),
            shelf,
        };
        (book::between(&mut db, Span::new(now.plus(-days * DAY), now)).await?, around)
    };
    let mut draw = Draw::begun(0x5eed_ca2d);
    let (mut made, mut met): (Vec<SeedCard>, Vec<Seed>) = (Vec::new(), Vec::new());
    for visit in visits.iter().filter(|visit| visit.state == State::Booked && visit.when.visit.to < now) {
        let before = made.iter().rev().find(|own| Some(own.card.client) == visit.booked.client);
        let Some((card, product)) = around.card(visit, before, owner.id, &mut draw) else { continue };
        if let Some(product) = product {
            let of = Met { product, lot: card.card.lot.clone() };
            met.push(Seed::Card { client: card.card.client, met: of, at: card.card.begun, card: card.card.id });
        }
        made.push(card);
    }
    cards::seed_cards(house, made).await?;
    met.extend(around.tests(regulars, now));
    seed(house, &by, met).await
}

struct Around {
    artists: Vec<Artist>,
    rooms: Vec<(crate::base::ids::BedId, RoomId)>,
    kinds: Vec<(crate::base::ids::ServiceId, VisitKind)>,
    /// Bottles with lot and the instant each was opened.
    shelf: Vec<(OnShelf, String, Option<Instant>)>,
}

impl Around {
    /// The card of a visit, and the product that was used; none where no bottle of the shelf was open then.
    fn card(
        &self,
        visit: &Appointment,
        before: Option<&SeedCard>,
        by: PersonId,
        draw: &mut Draw,
    ) -> Option<(SeedCard, Option<ProductId>)> {
        let client = visit.booked.client?;
        let artist = self.artists.iter().find(|artist| artist.id == visit.artist)?;
        let kind = self.kinds.iter().find(|(id, _)| *id == visit.service).map(|(_, kind)| *kind)?;
        let room = self.rooms.iter().find(|(bed, _)| Some(*bed) == visit.bed).map(|(_, room)| *room)?;
        let (begun, closed) = (visit.when.visit.from, visit.when.visit.to);
        let used = if has_adhesive(kind) { Some(self.bottle(room, begun)?) } else { None };
        let style = artist.opens_on().filter(|_| used.is_some());
        let id = CardId::new();
        let arrival = before.map(|own| arrival(own, begun, draw)).unwrap_or_default();
        let card = Card {
            id,
            appointment: Some(visit.id),
            client,
            artist: visit.artist,
            room,
            kind,
            lids: Lids::Upper,
            begun,
            closed: Some(closed),
            paper: None,
            entered: (closed, format!("person:{}", artist.person)),
            clearance: "cleared".to_owned(),
            air: Some((20.5 + draw.share() * 3.0, 36.0 + draw.share() * 22.0)),
            advice: None,
            advised_class: String::new(),
            advised_bottle: None,
            bottle: used.as_ref().map(|(bottle, ..)| *bottle),
            lot: used.as_ref().map(|(_, _, lot)| lot.clone()).unwrap_or_default(),
            bead: Bead::Medium,
            liquids: Liquids::NONE,
            style,
            supervisor: artist.trainee.then_some(by),
            elsewhere: false,
            first_card: None,
            remover: if used.is_some() { Remover::default() } else { cream() },
            next_visit: "infill in two to three weeks".to_owned(),
            aftercare: Aftercare::Told,
            hygiene: Vec::new(),
            version: 1,
        };
        let counts = if used.is_some() { counts(artist, &card, &arrival, draw) } else { Vec::new() };
        Some((SeedCard { card, counts, arrival }, used.map(|(_, product, _)| product)))
    }

    /// A patch test of each of them with the adhesive that is in use most, long over and looked at.
    fn tests(&self, regulars: &[Regular], now: Instant) -> Vec<Seed> {
        let Some((own, lot, _)) = self.shelf.iter().find(|(own, ..)| own.in_use && own.name.starts_with("Heath"))
        else {
            return Vec::new();
        };
        let placed = now.plus(-60 * DAY);
        let test = |regular: &Regular| Seed::Test {
            client: regular.1,
            met: Met { product: own.product, lot: lot.clone() },
            liquids: Vec::new(),
            placed,
            looks: vec![(placed.plus(50 * HOUR), TestResult::NoneSeen, "")],
        };
        regulars.iter().map(test).collect()
    }

    /// A bottle that was open then: of that room if there is one.
    fn bottle(&self, room: RoomId, at: Instant) -> Option<(BottleId, ProductId, String)> {
        let open =
            || self.shelf.iter().filter(|(own, _, opened)| own.out.is_none() && opened.is_some_and(|day| day <= at));
        let (own, lot, _) = open().find(|(own, ..)| own.room == Some(room)).or_else(|| open().next())?;
        Some((own.bottle, own.product, lot.clone()))
    }
}

fn cream() -> Remover {
    Remover { product: "cream remover".to_owned(), lot: "CR-88".to_owned(), minutes: Some(10) }
}

/// What was placed: a set whole, an infill what is missing of it.
fn counts(artist: &Artist, card: &Card, arrival: &[Arrival], draw: &mut Draw) -> Vec<Count> {
    let whole = u32::try_from(i64::from(artist.placements_per_set) / 2 - 6 + draw.below(13)).unwrap_or(80);
    let at = card.begun.plus(90 * MINUTE).min(card.closed.unwrap_or(card.begun));
    let lashes = lashes_of(card.style);
    let mut counts = Vec::new();
    for side in card.lids.sides() {
        let there = arrival.iter().find(|own| own.side == *side).map_or(0, |own| own.found.attached);
        let part = match card.kind {
            VisitKind::MiniInfill | VisitKind::Correction => 2,
            _ => 1,
        };
        let placed = whole.saturating_sub(there) / part;
        let fans = if lashes.len() > 1 { placed * 2 / 5 } else { placed };
        for (lash, placed) in lashes.iter().zip(if lashes.len() > 1 { [placed - fans, fans] } else { [placed, 0] }) {
            counts.push(Count { id: CardPartId::new(), side: *side, lash: *lash, placed, strips: None, at });
        }
    }
    counts
}

/// What is still there: some grow out with the lash, some are lost.
fn arrival(before: &SeedCard, at: Instant, draw: &mut Draw) -> Vec<Arrival> {
    #[expect(clippy::cast_precision_loss, reason = "days between two visits")]
    let days = (at.since(before.card.begun) as f64 / DAY as f64).clamp(0.0, 60.0);
    let mut all = Vec::new();
    for side in [Side::Left, Side::Right] {
        let placed: u32 = before.counts.iter().filter(|own| own.side == side).map(|own| own.placed).sum();
        let kept = before.arrival.iter().find(|own| own.side == side).map_or(0, |own| own.found.attached);
        let had = placed + kept;
        if had == 0 {
            continue;
        }
        // About 1.3 in 100 a day go with their lash, as many again let go, more or less by chance.
        let share = |rate: f64| (1.0 - (-rate * days).exp()).clamp(0.0, 0.9);
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 0 and what there was")]
        let number = |share: f64| (share * f64::from(had)).round().clamp(0.0, f64::from(had)) as u32;
        let grown_out = number(share(0.013));
        let lost = number(share(0.009 + draw.share() * 0.009)).min(had - grown_out);
        let counted_by = if draw.below(4) == 0 { CountedBy::Photo } else { CountedBy::Own };
        let found = Found { had, attached: had - grown_out - lost, grown_out, lost };
        all.push(Arrival { side, of_card: before.card.id, found, counted_by, counter: None, at });
    }
    all
}
