//! The shelf of the invented studio: products, bottles and their bench tests, drawn from what is true there.

use jiff::ToSpan;

use super::air::{self, DemoRoom};
use super::truth::{self, BOTTLES, Benched, PRODUCTS, TrueBottle, TrueProduct};
use crate::adhesives::bench::{BenchTest, Found, Sitting};
use crate::adhesives::set_time::{Climate, TestPiece};
use crate::adhesives::{self, Air, AirDoubt, Bead, Bottle, Conditions, Liquid, Liquids, PickUp, Product, Stated};
use crate::base::ids::{BenchTestId, BottleId, PersonId, ProductId, RoomId, SittingId};
use crate::base::problem::Problem;
use crate::base::time::{DAY, HOUR, Instant, MINUTE};
use crate::base::units::{Celsius, HumidityDoubt, RelHumidity, Seconds, TemperatureDoubt};
use crate::base::zone::Zone;
use crate::web::House;

/// Puts products and bottles on an empty shelf, with the tests of their sittings. `rooms` are those of the studio by their
/// demo names, `tester` whoever sat at the bench; so many days back, bottles were used up one after the other.
///
/// # Errors
/// When the database refuses it.
pub(super) async fn fill(
    house: &House,
    zone: &Zone,
    rooms: &[(DemoRoom, RoomId)],
    tester: PersonId,
    days: i64,
) -> Result<(), Problem> {
    let now = house.store.clock().now().0;
    {
        let mut db = house.store.read().await?;
        if !adhesives::shelf(&mut db, None, now).await?.is_empty() {
            return Ok(());
        }
    }
    let mut products = Vec::new();
    for its in PRODUCTS {
        let product = product(&its);
        products.push((its.name, product.id));
        adhesives::seed_product(house, product).await?;
    }
    for its in BOTTLES {
        let Some((_, product)) = products.iter().find(|(name, _)| *name == its.product) else { continue };
        let room = its.room.and_then(|which| rooms.iter().find(|(room, _)| *room == which)).map(|(_, id)| *id);
        let bottle = bottle(&its, *product, room, zone, now);
        let sittings = (0..its.sittings).filter_map(|n| sitting(&its, n, &bottle, tester, zone, now)).collect();
        let id = bottle.id;
        adhesives::seed_bottle(house, bottle).await?;
        adhesives::seed_sittings(house, id, sittings).await?;
    }
    let mut used_up = Vec::new();
    for its in BOTTLES.iter().filter(|its| its.in_use) {
        let Some((_, product)) = products.iter().find(|(name, _)| *name == its.product) else { continue };
        let room = its.room.and_then(|which| rooms.iter().find(|(room, _)| *room == which)).map(|(_, id)| *id);
        used_up.extend(before(its, &bottle(its, *product, room, zone, now), days, now));
    }
    adhesives::seed_used_up(house, used_up).await
}

/// Days one bottle lasts in daily use.
const LASTS: i64 = 26;

/// The bottles that stood in its place before it, newest first: each opened the day the one before it was finished.
fn before(its: &TrueBottle, newest: &Bottle, days: i64, now: Instant) -> Vec<Bottle> {
    let mut all = Vec::new();
    let mut finished = its.opened_days.unwrap_or(0);
    while finished < days {
        let opened = finished + LASTS;
        let shift =
            |day: jiff::civil::Date| day.checked_sub((opened - its.opened_days.unwrap_or(0)).days()).unwrap_or(day);
        all.push(Bottle {
            id: BottleId::new(),
            lot: format!("{}-{:02}", its.lot, all.len() + 1),
            received: shift(newest.received),
            expiry: newest.expiry.map(shift),
            opened: Some(now.plus(-opened * DAY)),
            in_use: false,
            finished: Some(now.plus(-finished * DAY)),
            ..newest.clone()
        });
        finished = opened;
    }
    all
}

fn product(its: &TrueProduct) -> Product {
    let climate = its.climate.map(|[t0, t1, h0, h1]| Climate {
        temperature: (Celsius::clamped(t0), Celsius::clamped(t1)),
        humidity: (RelHumidity::clamped(h0), RelHumidity::clamped(h1)),
    });
    let label = match its.label_s {
        Some((low, high)) if low < high => Stated::Window(Seconds::clamped(low), Seconds::clamped(high)),
        Some((figure, _)) => Stated::Figure(Seconds::clamped(figure)),
        None => Stated::NotStated,
    };
    Product {
        id: ProductId::new(),
        name: its.name.to_owned(),
        label,
        climate,
        family: its.family,
        colour: "black".to_owned(),
        opened_life_days: Some(its.opened_life),
        storage: "upright, closed at once, dry and dark at 15–25 °C".to_owned(),
        accelerator: its.accelerator,
        stopped: None,
    }
}

fn bottle(its: &TrueBottle, product: ProductId, room: Option<RoomId>, zone: &Zone, now: Instant) -> Bottle {
    let day = |days: i64| zone.day(now).checked_add(days.days()).unwrap_or(zone.day(now));
    Bottle {
        id: BottleId::new(),
        product,
        lot: its.lot.to_owned(),
        received: day(-its.opened_days.unwrap_or(3) - 12),
        expiry: Some(day(its.expires_in)),
        opened: its.opened_days.map(|days| now.plus(-days * DAY)),
        room,
        in_use: its.in_use,
        finished: None,
        stopped: None,
    }
}

/// The n-th sitting of a bottle: spread over the days since it was opened, in the air its room had then.
fn sitting(
    its: &TrueBottle,
    n: u32,
    bottle: &Bottle,
    person: PersonId,
    zone: &Zone,
    now: Instant,
) -> Option<(Sitting, Vec<BenchTest>)> {
    let opened = bottle.opened?;
    let span = now.since(opened) - 4 * HOUR;
    let near = opened.plus(2 * HOUR + span * i64::from(n) / i64::from(its.sittings));
    // Before the first client, or in the afternoon between two.
    let at = zone.start_of(zone.day(near)).plus((9 + i64::from(n % 3) * 3) * HOUR).max(opened).min(now.plus(-HOUR));
    let air = air_of(its.room?, zone, at)?;
    let days_open = bottle.days_open(at);
    let id = SittingId::new();
    let begun = Sitting {
        id,
        bottle: bottle.id,
        room: bottle.room,
        person: Some(person),
        piece: TestPiece::PracticeLash,
        shaken: Seconds::new(60.0).ok(),
        at,
    };
    let tests = truth::bench(its, n, &air, days_open).into_iter().zip(0..);
    let tests = tests.map(|(benched, minutes)| test(benched, minutes, id, at, air, days_open)).collect();
    Some((begun, tests))
}

fn test(benched: Benched, minutes: i64, sitting: SittingId, begun: Instant, air: Air, days_open: f64) -> BenchTest {
    let (found, bead, primed, pick_up) = match benched {
        Benched::Set { set_s, bead, primed } => {
            let (seconds, nudge_every) = (Seconds::clamped(set_s), Seconds::new(truth::NUDGE_S).ok());
            (Found::Set { seconds, nudge_every }, bead, primed, PickUp::Ball)
        }
        Benched::Open { delay_s, held, pick_up } => {
            (Found::Open { delay: Seconds::clamped(delay_s), held }, Bead::Medium, false, pick_up)
        }
    };
    let liquids = if primed { Liquids::NONE.with(Liquid::AlcoholPrimer) } else { Liquids::NONE };
    BenchTest {
        id: BenchTestId::new(),
        sitting,
        at: begun.plus(minutes * 2 * MINUTE),
        found,
        piece: TestPiece::PracticeLash,
        conditions: Conditions { air, bead, liquids, days_open },
        doubt: AirDoubt { temperature: TemperatureDoubt::clamped(0.5), humidity: HumidityDoubt::clamped(2.5) },
        pick_up: Some(pick_up),
        drop_minutes: Some(2.0 * minutes as f64),
        struck: false,
    }
}

/// What the room's sensor showed at that time; none during an outage.
fn air_of(room: DemoRoom, zone: &Zone, at: Instant) -> Option<Air> {
    let shown = air::readings(room, zone.inner(), at.plus(-HOUR).0, at.plus(HOUR).0);
    shown.into_iter().find_map(|reading| {
        let plausible = (10.0..35.0).contains(&reading.temperature) && (10.0..90.0).contains(&reading.humidity);
        let temperature = Celsius::new(reading.temperature).ok().filter(|_| plausible)?;
        Some(Air { temperature, humidity: RelHumidity::new(reading.humidity).ok()? })
    })
}
