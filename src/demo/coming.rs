//! Records of those who come next to the invented studio, so that the next day's sheet and the desk have somebody to speak of: about four
//! of five are cleared, one has no test yet, one a test nobody has looked at. Made anew for the next day whenever the studio is opened.

use jiff::ToSpan;
use jiff::civil::date;

use super::cards::Regular;
use crate::adhesives;
use crate::artists::{self, Artist};
use crate::base::actor::{Role, Who};
use crate::base::ids::{ClientId, PersonId, ProductId, SessionId};
use crate::base::problem::Problem;
use crate::base::time::{DAY, HOUR, Instant};
use crate::book::slots::Span;
use crate::book::{self, Appointment};
use crate::clearance::Met;
use crate::clearance::facts::TestResult;
use crate::clearance::seed::{Seed, seed};
use crate::clearance::wet::Wet;
use crate::clients::seed::{SeedClient, seed_client};
use crate::clients::{self, Client, Keeper, Purpose};
use crate::people::Person;
use crate::web::House;
use crate::web::studio::Studio;

/// Days ahead in which the next day with anybody on it is looked for.
const AHEAD: i64 = 5;

/// How last names begin, by their letter, and how they end, by the artist: of one short name each artist has a client of her own. Nobody's.
const STEMS: [&str; 26] = [
    "Aar", "Bos", "Cal", "Dyr", "Ell", "Fal", "Gim", "Hol", "Idd", "Jer", "Kol", "Lys", "Mor", "Nor", "Oks", "Pil",
    "Quor", "Rav", "Sol", "Tor", "Ulv", "Ves", "Wal", "Xen", "Yng", "Zar",
];
const ENDS: [&str; 6] = ["sund", "feldt", "marken", "vik", "ringen", "tofte"];

/// Gives everybody who comes until the end of the next day on which anybody comes a record, where only a name was made up so far.
pub(super) async fn fill(house: &House, people: &[Person], regulars: &[Regular]) -> Result<(), Problem> {
    let now = house.store.clock().now().0;
    let Some(owner) = people.iter().find(|person| person.role == Role::Owner) else { return Ok(()) };
    let by = Who { id: owner.id, session: SessionId::new(), name: owner.name.clone(), role: owner.role };
    let (zone, artists, product, next, mut coming) = {
        let mut db = house.store.read().await?;
        let zone = Studio::load(&mut db).await?.zone;
        let span = Span::new(now, zone.start_of_day_before(now, -AHEAD));
        let shelf = adhesives::shelf(&mut db, None, now).await?;
        let product = shelf.iter().find(|own| own.name.starts_with("Heath")).map(|own| own.product);
        // The next day on which anybody comes, with a record or without.
        let day = |own: &Appointment| zone.day(own.when.visit.from);
        let next = book::between(&mut db, span).await?.iter().map(day).filter(|day| *day > zone.day(now)).min();
        (zone, artists::all(&mut db).await?, product, next, book::seeded_without_record(&mut db, span).await?)
    };
    let Some(product) = product else { return Ok(()) };
    let next = next.unwrap_or_else(|| zone.day(now));
    coming.retain(|own| zone.day(own.when.visit.from) <= next);
    let place = |own: &Appointment| artists.iter().position(|artist| artist.id == own.artist);
    coming.sort_by_key(|own| (own.when.visit.from, place(own)));
    let (mut records, mut tests) = (Vec::new(), Vec::new());
    // How many of the next day have been given a record here.
    let mut n = 0;
    for own in &coming {
        let Some((at, artist)) = place(own).and_then(|at| Some((at, artists.get(at)?))) else { continue };
        let (client, is_new) = record(house, &by, regulars, (at, artist), &own.booked.short, now).await?;
        if is_new {
            let of_next_day = zone.day(own.when.visit.from) == next;
            tests.extend(test(client, product, of_next_day.then_some(n), records.len(), now));
            n += usize::from(of_next_day);
        }
        records.push((own.id, client));
    }
    if !tests.is_empty() {
        seed(house, &by, tests).await?;
    }
    book::seed_records(house, records).await
}

/// Her record, made where there is none yet; and whether it was.
async fn record(
    house: &House,
    by: &Who,
    regulars: &[Regular],
    (at, artist): (usize, &Artist),
    short: &str,
    now: Instant,
) -> Result<(ClientId, bool), Problem> {
    if let Some(own) = regulars.iter().find(|own| own.0 == artist.person && own.2 == short) {
        return Ok((own.1, false));
    }
    let name = whole_name(short, at);
    let found = {
        let mut db = house.store.read().await?;
        clients::find(&mut db, &name, 1).await?
    };
    if let Some(client) = found.first() {
        return Ok((client.id, false));
    }
    let client = client(&name, short, artist.person, now);
    let id = client.id;
    let answered = Some((now.plus(-40 * DAY), Vec::new()));
    let signed = vec![Purpose::HealthData, Purpose::Treatment];
    let own = SeedClient { client, answered, changed: false, signed, guardian: None, withdrew: None, photos: 0 };
    seed_client(house, by, own).await?;
    Ok((id, true))
}

/// "Ada K." of the first artist is Ada Kolsund.
fn whole_name(short: &str, artist: usize) -> String {
    let (first, letter) = short.split_once(' ').unwrap_or((short, "A"));
    let letter = letter.bytes().next().map_or(0, |letter| usize::from(letter.saturating_sub(b'A')));
    format!("{first} {}{}", STEMS[letter % STEMS.len()], ENDS[artist % ENDS.len()])
}

fn client(name: &str, short: &str, artist: PersonId, now: Instant) -> Client {
    // A birthday of her own: two names that sound alike on one day would be taken for one person.
    let days = name.bytes().fold(0_i64, |sum, letter| (sum * 31 + i64::from(letter)) % 9_000);
    Client {
        id: ClientId::new(),
        name: name.to_owned(),
        short: short.to_owned(),
        phone: String::new(),
        email: String::new(),
        born: date(1972, 3, 1).checked_add(days.days()).ok(),
        keeper: Keeper::Studio,
        artists: vec![artist],
        notes: String::new(),
        created: now.plus(-200 * DAY),
        restricted: None,
        merged_into: None,
        erased: None,
    }
}

/// Of the next day one was never tested, and one test waits for somebody to look at it: the third and the sixth, as `n` counts them from
/// 0. Everybody else was tested with no reaction seen, on days that differ with `all`.
fn test(client: ClientId, product: ProductId, n: Option<usize>, all: usize, now: Instant) -> Option<Seed> {
    let met = Met { product, lot: "H-417".to_owned() };
    let test = |placed: Instant, looks| Seed::Test { client, met, liquids: vec![Wet::AlcoholPrimer], placed, looks };
    match n {
        Some(2) => None,
        Some(5) => Some(test(now.plus(-51 * HOUR), Vec::new())),
        _ => {
            let placed = now.plus(-(15 + all as i64 % 30) * DAY);
            Some(test(placed, vec![(placed.plus(49 * HOUR), TestResult::NoneSeen, "")]))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_short_name_is_another_persons_with_another_artist() {
        assert_eq!(whole_name("Ada K.", 0), "Ada Kolsund");
        assert_eq!(whole_name("Ada K.", 1), "Ada Kolfeldt");
        assert_eq!(clients::short_name(&whole_name("Aase Z.", 5)), "Aase Z.");
    }
}
