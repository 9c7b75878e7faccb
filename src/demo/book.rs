//! The book of the invented studio: services, beds, hours, and a year of appointments of invented clients, drawn so that they come
//! again after two to three weeks as clients do.

use jiff::civil::Date;

use super::air::DemoRoom;
use super::cards::Regular;
use crate::artists::{self, Artist, Technique};
use crate::base::ids::{AppointmentId, ArtistId, BedId, RoomId, ServiceId, TimeOffId};
use crate::base::problem::Problem;
use crate::base::time::{DAY, Instant, MINUTE};
use crate::base::zone::Zone;
use crate::book::hours::{Week, edge, typed_hours};
use crate::book::plan::{Bed, Off, Reason};
use crate::book::search::later;
use crate::book::slots::{Length, Span};
use crate::book::{self, Appointment, Beginning, Booked, Service, State, VisitKind, When};
use crate::clearance;
use crate::clients;
use crate::web::House;
use crate::web::studio::Studio;

/// Days ahead that are booked.
const AHEAD: i64 = 45;

/// Clients of one artist.
const CLIENTS: usize = 48;

/// First names; none is anybody's.
const NAMES: [&str; 24] = [
    "Ada", "Bryn", "Cleo", "Dagny", "Elin", "Freya", "Gro", "Hedda", "Iben", "Janne", "Kaja", "Liv", "Maren", "Nanna",
    "Olga", "Petra", "Rikke", "Signe", "Thea", "Una", "Vilde", "Ylva", "Zita", "Aase",
];

/// A stream of numbers that is the same every time (splitmix64, from memory).
pub(super) struct Draw(u64);

impl Draw {
    /// A stream that begins here.
    pub(super) const fn begun(at: u64) -> Self {
        Self(at)
    }

    /// A share from 0 to 1, in steps of a thousandth.
    pub(super) fn share(&mut self) -> f64 {
        f64::from(i32::try_from(self.below(1001)).unwrap_or(0)) / 1000.0
    }

    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    pub(super) fn below(&mut self, n: u64) -> i64 {
        i64::try_from(self.next() % n.max(1)).unwrap_or(0)
    }
}

/// Fills the book of a studio that has none, from so many days ago; one that was filled before gets the days it lacks.
pub(super) async fn fill(
    house: &House,
    rooms: &[(DemoRoom, RoomId)],
    regulars: &[Regular],
    days: i64,
) -> Result<(), Problem> {
    let now = house.store.clock().now().0;
    let (studio, artists, there) = {
        let mut db = house.store.read().await?;
        (Studio::load(&mut db).await?, artists::all(&mut db).await?, book::services(&mut db).await?)
    };
    let zone = &studio.zone;
    if there.is_empty() {
        book::seed_beginning(house, beginning(rooms, &artists, zone, now)).await?;
    }
    let (services, beds, known) = {
        let mut db = house.store.read().await?;
        (book::services(&mut db).await?, book::beds(&mut db).await?, book::first_and_last(&mut db).await?)
    };
    let today = zone.day(now);
    let first = known.map_or(later(today, -days), |(first, _)| zone.day(first));
    let from = known.map_or(first, |(_, last)| later(zone.day(last), 1));
    let mut made = match known {
        None => of_clients(house, &artists, &beds, &services, zone, now).await?,
        Some(_) => Vec::new(),
    };
    // Nobody made up is put where one of the studio's clients lies.
    let fixed: Vec<(ArtistId, Span)> = made.iter().map(|own: &Appointment| (own.artist, own.when.busy)).collect();
    let is_free =
        |own: &Appointment| !fixed.iter().any(|(artist, busy)| *artist == own.artist && busy.overlaps(&own.when.busy));
    for (n, (artist, bed)) in artists.iter().zip(&beds).enumerate() {
        let mut life = Life::new(n, artist, bed.id, &services, zone);
        life.regulars = regulars.iter().filter(|own| own.0 == artist.person).cloned().collect();
        let mut day = first;
        while day <= later(today, AHEAD) {
            let of_day = life.day(day, now);
            if day >= from {
                made.extend(of_day.into_iter().filter(is_free));
            }
            day = later(day, 1);
        }
    }
    book::seed_appointments(house, made).await
}

/// Appointments of the studio's clients in the coming week: whoever clearance expects, each with the same id.
async fn of_clients(
    house: &House,
    artists: &[Artist],
    beds: &[Bed],
    services: &[Service],
    zone: &Zone,
    now: Instant,
) -> Result<Vec<Appointment>, Problem> {
    let mut db = house.store.read().await?;
    let (from, to) = (zone.start_of_day_before(now, 0), zone.start_of_day_before(now, -8));
    let mut made = Vec::new();
    for visit in clearance::expected(&mut db, from, to).await? {
        let pair = artists.iter().zip(beds).find(|(artist, _)| Some(artist.person) == visit.artist);
        let (Some((artist, bed)), Some(client)) = (pair, clients::client(&mut db, visit.client).await?) else {
            continue;
        };
        let kind = match visit.kind {
            clearance::VisitKind::Set => VisitKind::FullSet,
            clearance::VisitKind::Infill => VisitKind::Infill,
            clearance::VisitKind::Removal => VisitKind::Removal,
            clearance::VisitKind::Test => VisitKind::PatchTest,
            clearance::VisitKind::Other => VisitKind::Other,
        };
        let Some(service) = alike(services, kind, technique(artist)) else { continue };
        let created = now.plus(-3 * DAY);
        made.push(Appointment {
            id: visit.id.into(),
            artist: artist.id,
            bed: service.takes_bed.then_some(bed.id),
            service: service.id,
            booked: Booked { client: Some(client.id), short: client.short, first_visit: false },
            when: When::found(visit.at, zone, &service.length_for(false)),
            state: State::Booked,
            version: 1,
            note: String::new(),
            created,
            changed: created,
        });
    }
    Ok(made)
}

/// The technique an artist does most.
fn technique(artist: &Artist) -> Technique {
    artist.styles.first().map_or(Technique::Classic, |style| style.technique)
}

/// A service of this kind in this technique, where the kind is done in one.
fn alike(services: &[Service], kind: VisitKind, technique: Technique) -> Option<&Service> {
    let of = |service: &&Service| service.kind == kind && !service.closed;
    let alike = |service: &&Service| service.techniques.is_empty() || service.techniques.contains(&technique);
    services.iter().filter(of).find(alike)
}

fn beginning(rooms: &[(DemoRoom, RoomId)], artists: &[Artist], zone: &Zone, now: Instant) -> Beginning {
    let beds =
        rooms.iter().flat_map(|(_, room)| ["Left bed", "Right bed"].map(|name| (BedId::new(), *room, name.to_owned())));
    let week = |day: &str, saturday: &str| {
        let day = typed_hours(day).unwrap_or_default();
        let saturday = typed_hours(saturday).unwrap_or_default();
        Week([day.clone(), day.clone(), day.clone(), day.clone(), day, saturday, Vec::new()])
    };
    let own = artists.iter().filter(|artist| artist.name == "Tilde Brandt");
    let weeks = own.map(|artist| (artist.id, week("9:00–13:00, 13:45–17:30", ""))).collect();
    let off = |artist: Option<&Artist>, day: Date, days: i64, reason| {
        let to = later(day, days);
        let span = Span::new(edge(day, 0, zone), edge(to, 0, zone));
        let walls = (day.at(0, 0, 0, 0), to.at(0, 0, 0, 0));
        let artist = artist.map(|artist| artist.id);
        (
            Off { id: TimeOffId::new(), artist, from_wall: walls.0, to_wall: walls.1, span, reason },
            zone.name().to_owned(),
        )
    };
    let today = zone.day(now);
    // After what is booked, so that nothing lies in it.
    let holiday = artists
        .iter()
        .find(|artist| artist.name == "Ines Okafor")
        .map(|ines| off(Some(ines), later(today, 60), 14, Reason::Holiday));
    Beginning {
        services: services(),
        beds: beds.collect(),
        weeks,
        off: holiday.into_iter().chain([off(None, later(today, 90), 1, Reason::House)]).collect(),
    }
}

fn services() -> Vec<Service> {
    use Technique::{Classic, Hybrid, Mega, Volume};
    let service = |name: &str, kind, (minutes, first): (i64, i64), techniques: &[Technique], patch_test| Service {
        id: ServiceId::new(),
        name: name.to_owned(),
        kind,
        length: Length { minutes, before: 5, after: 10 },
        first_minutes: first,
        techniques: techniques.to_vec(),
        patch_test,
        takes_bed: kind != VisitKind::Consultation,
        closed: false,
    };
    vec![
        service("Classic set", VisitKind::FullSet, (120, 15), &[Classic], true),
        service("Hybrid set", VisitKind::FullSet, (135, 15), &[Hybrid], true),
        service("Volume set", VisitKind::FullSet, (150, 15), &[Volume, Mega], true),
        service("Infill, classic", VisitKind::Infill, (75, 0), &[Classic], true),
        service("Infill, hybrid", VisitKind::Infill, (75, 0), &[Hybrid], true),
        service("Infill, volume", VisitKind::Infill, (90, 0), &[Volume, Mega], true),
        service("Mini infill", VisitKind::MiniInfill, (45, 0), &[Classic, Hybrid, Volume, Mega], true),
        service("Correction", VisitKind::Correction, (30, 0), &[], true),
        service("Removal", VisitKind::Removal, (30, 0), &[], false),
        service("Infill of another studio’s set", VisitKind::OtherInfill, (90, 15), &[Classic, Volume], true),
        service("Removal of another studio’s set", VisitKind::OtherRemoval, (40, 10), &[], false),
        service("Patch test", VisitKind::PatchTest, (15, 0), &[], false),
        service("Consultation", VisitKind::Consultation, (20, 0), &[], false),
        service("Lift and tint", VisitKind::Other, (60, 10), &[], true),
    ]
}

/// An artist's days, one after the other: each client comes again when she is due.
struct Life<'a> {
    draw: Draw,
    artist: &'a Artist,
    bed: BedId,
    services: &'a [Service],
    zone: &'a Zone,
    technique: Technique,
    /// (due, name, visits so far), longest due first.
    clients: Vec<(Date, String, u32)>,
    /// Those who have a record and come again and again: the first of the clients.
    regulars: Vec<Regular>,
}

impl<'a> Life<'a> {
    fn new(n: usize, artist: &'a Artist, bed: BedId, services: &'a [Service], zone: &'a Zone) -> Self {
        let technique = technique(artist);
        let draw = Draw(0x5eed_0b00 + n as u64);
        Self { draw, artist, bed, services, zone, technique, clients: Vec::new(), regulars: Vec::new() }
    }

    /// The appointments of a day.
    fn day(&mut self, day: Date, now: Instant) -> Vec<Appointment> {
        if self.clients.is_empty() {
            self.clients = (0..CLIENTS).map(|n| (later(day, n as i64 / 3), self.name(n), 0)).collect();
            for (client, own) in self.clients.iter_mut().zip(&self.regulars) {
                client.1.clone_from(&own.2);
            }
        }
        let mut made = Vec::new();
        let weekday = day.weekday().to_monday_zero_offset();
        if weekday == 6 || (weekday == 5 && self.artist.name == "Tilde Brandt") {
            return made;
        }
        let close = if weekday == 5 { 14 * 60 } else { 17 * 60 + 30 };
        let mut minute = 9 * 60 + 15 * self.draw.below(3);
        while let Some(at) = self.due(day) {
            let (_, name, visits) = self.clients[at].clone();
            let Some(service) = self.service(visits).cloned() else { break };
            let first = visits == 0;
            let length = service.length_for(first);
            // Tilde's break, and everybody's at half past twelve at the latest.
            let lunch = 13 * 60;
            if minute < lunch && minute + length.minutes + length.after > lunch {
                minute = lunch + 45;
            }
            if minute + length.minutes + length.after > close {
                break;
            }
            let from = edge(day, minute, self.zone);
            minute += length.minutes + length.after + length.before + 15 * self.draw.below(4);
            minute = (minute + 14) / 15 * 15;
            made.push(self.appointment(&service, name.clone(), first, When::found(from, self.zone, &length), now));
            let next = later(day, 14 + self.draw.below(10));
            let stays = at < self.regulars.len();
            self.clients[at] = if self.draw.below(25) == 0 && !stays {
                (next, self.name(200 + visits as usize), 0)
            } else {
                (next, name, visits + 1)
            };
        }
        made
    }

    /// Who has been due longest.
    fn due(&self, day: Date) -> Option<usize> {
        let due = self.clients.iter().enumerate().filter(|(_, client)| client.0 <= day);
        due.min_by_key(|(n, client)| (client.0, *n)).map(|(n, _)| n)
    }

    fn name(&mut self, n: usize) -> String {
        let first = NAMES[(n + usize::try_from(self.draw.below(24)).unwrap_or(0)) % NAMES.len()];
        let last = char::from(b'A' + u8::try_from(self.draw.below(26)).unwrap_or(0));
        format!("{first} {last}.")
    }

    fn service(&mut self, visits: u32) -> Option<&'a Service> {
        let kind = match (visits, self.draw.below(20)) {
            (0, _) => VisitKind::FullSet,
            (_, 0) => VisitKind::MiniInfill,
            (_, 1) => VisitKind::Correction,
            (_, 2) if visits > 6 => VisitKind::Removal,
            (_, 3) if visits > 4 => VisitKind::FullSet,
            _ => VisitKind::Infill,
        };
        alike(self.services, kind, self.technique)
    }

    fn appointment(
        &mut self,
        service: &Service,
        short: String,
        first_visit: bool,
        when: When,
        now: Instant,
    ) -> Appointment {
        let past = when.visit.to < now;
        // Who is expected stands on clearance's list: a visit to come is of nobody's record here.
        let regular = self.regulars.iter().find(|own| past && own.2 == short);
        let client = regular.map(|own| own.1);
        let state = match self.draw.below(50) {
            0 | 1 if past => State::NoShow,
            2..=4 => State::Cancelled,
            _ => State::Booked,
        };
        let created = when.visit.from.plus(-(10 + self.draw.below(10)) * DAY);
        Appointment {
            id: AppointmentId::new(),
            artist: self.artist.id,
            bed: service.takes_bed.then_some(self.bed),
            service: service.id,
            booked: Booked { client, short, first_visit },
            when,
            state,
            version: 1,
            note: String::new(),
            created: created.min(now),
            changed: created.plus(self.draw.below(60) * MINUTE).min(now),
        }
    }
}
