//! Clients of the invented studio who come again and again, and the cards of their visits: what was placed, and what was still there when
//! they came again.

use super::book::Draw;
use crate::adhesives::{self, Bead, Bottle, Liquids, OnShelf};
use crate::artists::{self, Artist};
use crate::base::actor::{Role, Who};
use crate::base::ids::{BottleId, CardId, CardPartId, ClientId, PersonId, ProductId, RoomId, SessionId};
use crate::base::problem::Problem;
use crate::base::time::{DAY, HOUR, Instant, MINUTE};
use crate::book::slots::Span;
use crate::book::{self, Appointment, State, VisitKind};
use crate::cards::card::{
    Aftercare, Arrival, Card, Count, CountedBy, Lids, Remover, Side, Zone, has_adhesive, lashes_of,
};
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
const REGULARS: [(&str, &str); 36] = [
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
    ("Tyra Bolstad", "Marlo Vance"),
    ("Unni Grevstad", "Marlo Vance"),
    ("Valborg Sjursen", "Marlo Vance"),
    ("Wilma Torgard", "Marlo Vance"),
    ("Yrsa Hammerlund", "Marlo Vance"),
    ("Aagot Linderud", "Marlo Vance"),
    ("Bergit Solhaug", "Wren Castell"),
    ("Charlot Emmested", "Wren Castell"),
    ("Dorthe Kvistgard", "Wren Castell"),
    ("Elna Rosendal", "Wren Castell"),
    ("Fanny Uldall", "Wren Castell"),
    ("Gunvor Steensund", "Wren Castell"),
    ("Henny Barfoed", "Juna Eide"),
    ("Isa Mollgard", "Juna Eide"),
    ("Judit Fossheim", "Juna Eide"),
    ("Kirsten Ovregard", "Juna Eide"),
    ("Lisbet Nyboe", "Juna Eide"),
    ("Magna Hestnes", "Juna Eide"),
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

/// Cards of past visits, each from a bottle that was open then. A studio that has cards gets no more.
pub(super) async fn fill(house: &House, people: &[Person], regulars: &[Regular], days: i64) -> Result<(), Problem> {
    let now = house.store.clock().now().0;
    let Some(owner) = people.iter().find(|person| person.role == Role::Owner) else { return Ok(()) };
    let by = Who { id: owner.id, session: SessionId::new(), name: owner.name.clone(), role: owner.role };
    let (visits, around) = {
        let mut db = house.store.read().await?;
        if cards::has_cards(&mut db).await? {
            return Ok(());
        }
        let of_today = adhesives::shelf(&mut db, None, now).await?;
        let mut bottles = adhesives::seeded_bottles(&mut db).await?;
        // What lapsed or was stopped is not said to have been used.
        bottles.retain(|own| {
            own.finished.is_some() || of_today.iter().any(|shown| shown.bottle == own.id && shown.out.is_none())
        });
        let around = Around {
            artists: artists::all(&mut db).await?,
            rooms: book::beds(&mut db).await?.into_iter().map(|bed| (bed.id, bed.room)).collect(),
            kinds: book::services(&mut db).await?.into_iter().map(|service| (service.id, service.kind)).collect(),
            bottles,
            shelf: of_today,
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
    for own in made.iter_mut().skip(7).step_by(90) {
        own.corrected = Some(("She moved her next visit when she left.", "infill in three weeks, in the afternoon"));
    }
    draw_maps(&mut made, &around.artists);
    met.extend(around.complaint(&mut made));
    cards::seed_cards(house, made).await?;
    met.extend(around.tests(regulars, days, now));
    seed(house, &by, met).await
}

struct Around {
    artists: Vec<Artist>,
    rooms: Vec<(crate::base::ids::BedId, RoomId)>,
    kinds: Vec<(crate::base::ids::ServiceId, VisitKind)>,
    /// Bottles that may have been used, those used up among them.
    bottles: Vec<Bottle>,
    /// What stands on the shelf today.
    shelf: Vec<OnShelf>,
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
        Some((
            SeedCard { card, counts, zones: Vec::new(), arrival, corrected: None },
            used.map(|(_, product, _)| product),
        ))
    }

    /// Patch tests of each of them with the adhesive that is in use most, long over and looked at: one for each half year.
    fn tests(&self, regulars: &[Regular], days: i64, now: Instant) -> Vec<Seed> {
        let Some(own) = self.shelf.iter().find(|own| own.in_use && own.name.starts_with("Heath")) else {
            return Vec::new();
        };
        let lot = self.bottles.iter().find(|bottle| bottle.id == own.bottle).map(|bottle| bottle.lot.clone());
        let lot = lot.unwrap_or_default();
        let test = |(client, days): (ClientId, i64)| {
            let placed = now.plus(-days * DAY);
            Seed::Test {
                client,
                met: Met { product: own.product, lot: lot.clone() },
                liquids: Vec::new(),
                placed,
                looks: vec![(placed.plus(50 * HOUR), TestResult::NoneSeen, "")],
            }
        };
        let ago = [400, 230, 60].into_iter().filter(|ago| *ago == 60 || *ago <= days + 60);
        let each = |ago: i64| regulars.iter().map(move |regular| (regular.1, ago));
        ago.flat_map(each).map(test).collect()
    }

    /// One of them was not content and had it mended at no charge: both are tied to the card of that set.
    fn complaint(&self, made: &mut [SeedCard]) -> Option<Seed> {
        let mends = |own: &SeedCard, kind| own.card.kind == kind && own.card.bottle.is_some();
        let kinds = [VisitKind::Correction, VisitKind::MiniInfill, VisitKind::Infill];
        let (at, first) = kinds.into_iter().find_map(|kind| {
            made.iter().enumerate().filter(|(_, own)| mends(own, kind)).find_map(|(at, own)| {
                let before = made[..at].iter().rev().find(|other| other.card.client == own.card.client)?;
                before.card.bottle.map(|_| (at, before.card.clone()))
            })
        })?;
        let fix = made.get_mut(at)?;
        fix.card.first_card = Some(first.id);
        let product = self.bottles.iter().find(|bottle| Some(bottle.id) == first.bottle)?.product;
        Some(Seed::Complaint {
            client: first.client,
            at: fix.card.begun.plus(-3 * DAY),
            what: "A few came off at the outer corner within days.",
            met: Met { product, lot: first.lot },
            fix_until: fix.card.begun.plus(11 * DAY),
            fixed: Some((first.id, fix.card.begun)),
        })
    }

    /// A bottle that was open then: of that room if there is one, and of those the one opened last.
    fn bottle(&self, room: RoomId, at: Instant) -> Option<(BottleId, ProductId, String)> {
        let was_open =
            |own: &&Bottle| own.opened.is_some_and(|day| day <= at) && own.finished.is_none_or(|day| day > at);
        let open = || self.bottles.iter().filter(was_open);
        let newest = |a: &&Bottle| a.opened;
        let own = open().filter(|own| own.room == Some(room)).max_by_key(newest);
        let own = own.or_else(|| open().max_by_key(newest))?;
        Some((own.id, own.product, own.lot.clone()))
    }
}

/// Lengths from the inner corner, millimetres, and the curl: one of them lets the lashes grow towards the outer corner, the other sets
/// the longest above the middle.
const MAPS: [(&str, &[f64]); 2] = [("C", &[8.0, 9.0, 10.0, 11.0, 12.0]), ("CC", &[8.0, 10.0, 12.0, 11.0, 9.0])];

/// Two of the artists draw a map now and then, each in her own way.
fn draw_maps(made: &mut [SeedCard], artists: &[Artist]) {
    for (artist, (curl, lengths)) in artists.iter().filter(|artist| !artist.trainee).zip(MAPS) {
        let own = made.iter_mut().filter(|own| own.card.artist == artist.id && own.card.style.is_some());
        for drawn in own.step_by(4) {
            let fan = drawn.card.style.and_then(|style| style.fan).map_or(1, u32::from);
            let diameter_mm = if fan > 1 { 0.05 } else { 0.15 };
            let lid = |side: &Side| {
                let zone = |(zone, length_mm): (u32, &f64)| Zone {
                    side: *side,
                    zone,
                    length_mm: *length_mm,
                    curl: curl.to_owned(),
                    diameter_mm,
                    fan,
                };
                (1..).zip(lengths).map(zone).collect::<Vec<_>>()
            };
            drawn.zones = drawn.card.lids.sides().iter().flat_map(lid).collect();
        }
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
            counts.push(Count {
                id: CardPartId::new(),
                side: *side,
                lash: *lash,
                placed,
                zone: None,
                strips: None,
                at,
            });
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
