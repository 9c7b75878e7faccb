//! The hands of the invented studio: artists, their techniques and their timings, drawn from what is true there.

use super::truth::{self, HANDS, TrueHands};
use crate::artists::{self, AirThen, Artist, BottleInHand, Employment, Session, Source, Style};
use crate::base::actor::{Actor, Role, Who};
use crate::base::ids::{ArtistId, SessionId, TimingSessionId};
use crate::base::problem::Problem;
use crate::base::time::{DAY, HOUR, Instant};
use crate::base::units::{Celsius, RelHumidity, Seconds};
use crate::people::Person;
use crate::web::House;

/// Days between two sessions of one pair of hands.
const EVERY_DAYS: i64 = 11;

/// Makes the studio's artists and times them, where that has not been done.
///
/// # Errors
/// When the database refuses it.
pub(super) async fn fill(house: &House, people: &[Person]) -> Result<(), Problem> {
    let now = house.store.clock().now().0;
    let there = {
        let mut db = house.store.read().await?;
        artists::all(&mut db).await?
    };
    for person in people.iter().filter(|person| person.role == Role::Artist && person.left.is_none()) {
        let own: Vec<&TrueHands> = HANDS.iter().filter(|hands| hands.artist == person.name).collect();
        let Some(first) = own.first() else { continue };
        if there.iter().any(|artist| artist.person == person.id) {
            continue;
        }
        let styles: Vec<Style> = own.iter().map(|hands| style(hands)).collect();
        let artist = Artist {
            id: ArtistId::new(),
            person: person.id,
            name: person.name.clone(),
            employment: if person.name == "Tilde Brandt" { Employment::SelfEmployed } else { Employment::Employed },
            trainee: person.name == "Marlo Vance",
            usual: Some(style(first)),
            styles,
            placements_per_set: first.per_set,
        };
        let id = artist.id;
        let by = Who { id: person.id, session: SessionId::new(), name: person.name.clone(), role: person.role };
        artists::seed_artist(house, artist).await?;
        for hands in own {
            for n in 0..hands.sessions {
                let placements: Vec<(Seconds, Seconds)> = truth::placements(hands, n)
                    .into_iter()
                    .map(|(travel, settle)| (Seconds::clamped(travel), Seconds::clamped(settle)))
                    .collect();
                let session = session(hands, id, n, now, &Actor::Person(by.clone()).mark());
                artists::seed_session(house, session, &placements).await?;
            }
        }
    }
    Ok(())
}

fn style(hands: &TrueHands) -> Style {
    hands.fan.and_then(|fan| Style::fans(hands.technique, fan)).unwrap_or_else(|| Style::plain(hands.technique))
}

/// Dry sessions, typed and tapped by turns. The first of Marlo's was made with a bottle slower than his hands: it says that it
/// may include waiting.
fn session(hands: &TrueHands, artist: ArtistId, n: u32, now: Instant, by: &str) -> Session {
    let back = i64::from(hands.sessions - n) * EVERY_DAYS;
    let slow = hands.artist == "Marlo Vance" && n == 0;
    let tapped = n % 2 == 1;
    Session {
        id: TimingSessionId::new(),
        artist,
        style: style(hands),
        at: now.plus(-back * DAY - 3 * HOUR),
        source: if tapped { Source::Taps } else { Source::Typed },
        uncertainty_s: None,
        bottle: slow.then(|| BottleInHand { id: None, name: "Fen".to_owned(), predicted_set: Seconds::new(4.2).ok() }),
        air: slow.then(|| AirThen { temperature: Celsius::clamped(19.6), humidity: Some(RelHumidity::clamped(46.0)) }),
        room: None,
        dry: !slow,
        entered_by: by.to_owned(),
        struck: None,
    }
}
