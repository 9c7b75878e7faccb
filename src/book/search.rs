//! The search for free time: "120 minutes with Ines, after 16:00". Reads a fortnight at a time, and beds only where an artist has
//! time, so that a full year is not read to find the first free hour.

use std::collections::BTreeMap;

use jiff::ToSpan;
use jiff::civil::Date;

use super::hours::{MINUTES_A_DAY, edge};
use super::plan::{Bed, Hours};
use super::plan_store;
use super::slots::{Length, Span, Spans, beginnings};
use super::store::{self, Taken};
use crate::base::ids::{AppointmentId, ArtistId, BedId};
use crate::base::problem::Problem;
use crate::base::time::{HOUR, Instant};
use crate::base::zone::Zone;
use crate::store::Db;

/// Appointments begin at these minutes of the hour: every quarter.
pub const STEP_MINUTES: i64 = 15;

/// Days read at once.
const AT_ONCE: i64 = 14;

/// What is looked for.
#[derive(Debug, Clone)]
pub struct Ask {
    /// How long it takes.
    pub length: Length,
    /// Whether it takes a bed.
    pub takes_bed: bool,
    /// With one of these artists.
    pub artists: Vec<ArtistId>,
    /// The appointment that is to be moved: its own time is free for it.
    pub moving: Option<AppointmentId>,
    /// Begins at or after this minute of the day.
    pub after: i64,
    /// Begins before this minute of the day.
    pub before: i64,
    /// The first day looked at.
    pub from: Date,
    /// How many days are looked at.
    pub days: i64,
    /// At most so many of one artist's day.
    pub most_a_day: usize,
    /// At most so many in all.
    pub most: usize,
}

/// A time that is free.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Free {
    /// When the visit would begin.
    pub at: Instant,
    /// With whom.
    pub artist: ArtistId,
    /// On which bed.
    pub bed: Option<BedId>,
}

/// Free times, soonest first.
///
/// # Errors
/// When the database cannot be read.
pub async fn search(db: &mut Db, ask: &Ask, beds: &[&Bed], zone: &Zone, now: Instant) -> Result<Vec<Free>, Problem> {
    let mut found = Vec::new();
    let whole = Span::new(zone.start_of(ask.from), edge(later(ask.from, ask.days), 0, zone));
    let hours = plan_store::hours(db, whole).await?;
    let mut day = 0;
    while day < ask.days && found.len() < ask.most {
        let days = AT_ONCE.min(ask.days - day);
        let from = later(ask.from, day);
        fortnight(db, ask, beds, (from, days), &hours, zone, now, &mut found).await?;
        day += days;
    }
    found.truncate(ask.most);
    Ok(found)
}

/// The civil day so many days later; the last there is where the calendar ends.
#[must_use]
pub fn later(day: Date, days: i64) -> Date {
    day.checked_add(days.days()).unwrap_or(day)
}

#[expect(clippy::too_many_arguments, reason = "one step of a loop, told apart for its length")]
async fn fortnight(
    db: &mut Db,
    ask: &Ask,
    beds: &[&Bed],
    (from, days): (Date, i64),
    hours: &Hours,
    zone: &Zone,
    now: Instant,
    found: &mut Vec<Free>,
) -> Result<(), Problem> {
    // Buffers reach over midnight.
    let margin = 4 * HOUR;
    let span = Span::new(zone.start_of(from).plus(-margin), zone.start_of(later(from, days)).plus(margin));
    let taken = match ask.artists.as_slice() {
        [one] => store::taken_of(db, *one, span, ask.moving).await?,
        _ => store::taken(db, span, ask.moving).await?,
    };
    let free: Vec<(ArtistId, Spans)> = ask
        .artists
        .iter()
        .map(|artist| (*artist, free_of(span, taken.iter().filter(|taken| taken.artist == *artist))))
        .collect();
    for day in (0..days).map(|n| later(from, n)) {
        let mut of_day = Vec::new();
        // Only of a day on which an artist has time.
        let mut free_beds: Option<BTreeMap<BedId, Spans>> = None;
        let span = Span::new(zone.start_of(day).plus(-margin), zone.start_of(later(day, 1)).plus(margin));
        for (artist, free) in &free {
            let starts = starts_of_day(ask, &hours.open(*artist, day, zone), free, day, zone, now);
            let mut counted = 0;
            for at in starts {
                if counted == ask.most_a_day {
                    break;
                }
                let bed = if ask.takes_bed {
                    if free_beds.is_none() {
                        free_beds = Some(beds_of(db, beds, span, ask.moving).await?);
                    }
                    let busy = ask.length.busy(at);
                    let free = |bed: &&&Bed| {
                        free_beds.as_ref().and_then(|all| all.get(&bed.id)).is_some_and(|free| free.hold(&busy))
                    };
                    match beds.iter().find(free) {
                        Some(bed) => Some(bed.id),
                        None => continue,
                    }
                } else {
                    None
                };
                of_day.push(Free { at, artist: *artist, bed });
                counted += 1;
            }
        }
        of_day.sort_by_key(|free| free.at);
        found.extend(of_day);
        if found.len() >= ask.most {
            break;
        }
    }
    Ok(())
}

/// The beginnings of a day that suit hours, wish and artist.
fn starts_of_day(ask: &Ask, open: &Spans, free: &Spans, day: Date, zone: &Zone, now: Instant) -> Vec<Instant> {
    let wished = Spans::of([Span::new(edge(day, ask.after, zone), edge(day, MINUTES_A_DAY, zone))]);
    let before = edge(day, ask.before, zone);
    let starts = beginnings(&open.and(&wished), free, &ask.length, STEP_MINUTES, zone.start_of(day), usize::MAX);
    starts.into_iter().filter(|at| *at < before && *at >= now).collect()
}

async fn beds_of(
    db: &mut Db,
    beds: &[&Bed],
    span: Span,
    moving: Option<AppointmentId>,
) -> Result<BTreeMap<BedId, Spans>, Problem> {
    let taken = store::taken(db, span, moving).await?;
    Ok(beds.iter().map(|bed| (bed.id, free_of(span, taken.iter().filter(|taken| taken.bed == Some(bed.id))))).collect())
}

fn free_of<'t>(span: Span, taken: impl Iterator<Item = &'t Taken>) -> Spans {
    Spans::of([span]).without(&Spans::of(taken.map(|taken| taken.busy)))
}
