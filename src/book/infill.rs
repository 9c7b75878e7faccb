//! The infill that may follow a visit: free times two to three weeks after it, with the same artist, near the same hour.

use super::appointment::{Appointment, State as Standing};
use super::around::Around;
use super::hours::MINUTES_A_DAY;
use super::search::{self, Ask, Free, later};
use super::service::{Service, VisitKind};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::base::zone::Zone;
use crate::store::Db;
use crate::web::House;

/// Days after a visit between which an infill is offered. Common practice; the studio's own figures come with its counts.
pub(super) const INFILL_DAYS: (i64, i64) = (14, 21);

/// How many times are offered.
const OFFERED: usize = 3;

/// A free time, with the form that books it.
pub(super) struct Offer {
    pub(super) words: String,
    pub(super) href: String,
}

/// Free times for an infill between two and three weeks after, with the same artist, nearest to the same hour.
pub(super) async fn infill(
    db: &mut Db,
    house: &House,
    around: &Around,
    appointment: &Appointment,
    now: Instant,
) -> Result<(String, Vec<Offer>), Problem> {
    let service = around.service(appointment.service).filter(|service| service.kind.leads_to_infill());
    let (Some(service), true) = (service, appointment.state == Standing::Booked) else { return Ok(Default::default()) };
    let Some(next) = infill_for(around, service) else { return Ok(Default::default()) };
    let zone = &around.studio.zone;
    let day = zone.day(appointment.when.visit.from);
    let ask = Ask {
        length: next.length,
        takes_bed: next.takes_bed,
        artists: vec![appointment.artist],
        moving: None,
        after: 0,
        before: MINUTES_A_DAY,
        from: later(day, INFILL_DAYS.0),
        days: INFILL_DAYS.1 - INFILL_DAYS.0 + 1,
        most_a_day: 100,
        most: 1000,
    };
    let beds: Vec<_> = around.beds().collect();
    let found = search::search(db, &ask, &beds, zone, now).await?;
    let wished = zone.wall(appointment.when.visit.from);
    let wished = i64::from(wished.hour()) * 60 + i64::from(wished.minute());
    let offer = |free: Free| Offer {
        words: format!("{} {}", zone.date(free.at, now), zone.clock(free.at)),
        href: house.url(&format!("/book/new?{}", link(appointment, next, free, zone))),
    };
    let offers = nearest(found, wished, zone).into_iter().map(offer).collect();
    Ok((format!("{}, {} to {} days after", next.name, INFILL_DAYS.0, INFILL_DAYS.1), offers))
}

/// The infill that follows a service: one in the same technique where there is one.
fn infill_for<'a>(around: &'a Around, service: &Service) -> Option<&'a Service> {
    let infills = || around.offered().filter(|offered| offered.kind == VisitKind::Infill);
    let alike = |offered: &&Service| offered.techniques.iter().any(|technique| service.techniques.contains(technique));
    infills().find(alike).or_else(|| infills().next())
}

/// One time a day, the nearest to the wished minute of the day; of the days those that come nearest.
fn nearest(found: Vec<Free>, wished: i64, zone: &Zone) -> Vec<Free> {
    let aside = |free: &Free| {
        let wall = zone.wall(free.at);
        (i64::from(wall.hour()) * 60 + i64::from(wall.minute()) - wished).abs()
    };
    let mut days: Vec<Free> = Vec::new();
    for free in found {
        match days.last_mut() {
            Some(last) if zone.day(last.at) == zone.day(free.at) => {
                if aside(&free) < aside(last) {
                    *last = free;
                }
            }
            _ => days.push(free),
        }
    }
    days.sort_by_key(|free| (aside(free), free.at));
    days.truncate(OFFERED);
    days.sort_by_key(|free| free.at);
    days
}

fn link(appointment: &Appointment, next: &Service, free: Free, zone: &Zone) -> String {
    let wall = zone.wall(free.at);
    let query = [
        ("next_of", appointment.id.to_string()),
        ("service", next.id.to_string()),
        ("artist", free.artist.to_string()),
        ("day", wall.date().to_string()),
        ("at", wall.strftime("%H:%M").to_string()),
    ];
    serde_urlencoded::to_string(query).unwrap_or_default()
}
