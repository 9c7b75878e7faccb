//! What a booking form holds: as it was typed, as fields, and judged as a wish.

use jiff::ToSpan;
use jiff::civil::Date;
use serde::Deserialize;

use super::appointment::{Appointment, Booked, When};
use super::around::Around;
use super::booking::{Draft, Wish};
use super::hours::{MINUTES_A_DAY, typed_minute};
use super::service::Service;
use super::slots::Length;
use crate::base::actor::Who;
use crate::base::ids::AppointmentId;
use crate::base::problem::{FieldNote, Problem};
use crate::base::text;
use crate::base::time::Instant;
use crate::clients::Client;
use crate::web::checks::{Notes, choice_field, note_fields, number_field, text_field};
use crate::web::form::FieldView;

/// How far back and ahead a day may lie: what was on paper, and what is planned.
const DAYS_BACK: i64 = 400;
const DAYS_AHEAD: i64 = 800;

/// How short and how long a visit may be, minutes.
pub(super) const MINUTES: (f64, f64) = (5.0, 600.0);

/// What a booking form holds, and what a link to it may already say.
#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
pub(super) struct TypedBooking {
    pub(super) short_name: String,
    pub(super) first_visit: String,
    pub(super) service: String,
    /// Where the visit takes another time than the service's own.
    pub(super) minutes: String,
    pub(super) artist: String,
    pub(super) day: String,
    pub(super) at: String,
    pub(super) bed: String,
    pub(super) outside: String,
    pub(super) note: String,
    /// Her record, where one is chosen.
    pub(super) client: String,
    /// Whose place on the waiting list this takes.
    pub(super) waiting: String,
    /// The visit after which this one is the next: who it is for stands there, and in no address.
    pub(super) next_of: String,
    /// An appointment that is moved.
    pub(super) moving: String,
    /// The version that was looked at.
    pub(super) seen: String,
    /// "found" from the script, which wants nothing around what was found.
    pub(super) part: String,
}

impl TypedBooking {
    /// The form of an appointment as it lies.
    pub(super) fn of(around: &Around, appointment: &Appointment) -> Self {
        let yes = |set: bool| if set { "yes".to_owned() } else { String::new() };
        let service = around.service(appointment.service);
        let usual = service.map(|service| service.length_for(appointment.booked.first_visit).minutes);
        let minutes = appointment.when.minutes();
        Self {
            minutes: if usual == Some(minutes) { String::new() } else { minutes.to_string() },
            short_name: appointment.booked.short.clone(),
            first_visit: yes(appointment.booked.first_visit),
            service: appointment.service.to_string(),
            artist: appointment.artist.to_string(),
            day: appointment.when.wall.date().to_string(),
            at: appointment.when.wall.strftime("%H:%M").to_string(),
            bed: appointment.bed.map(|bed| bed.to_string()).unwrap_or_default(),
            note: appointment.note.clone(),
            client: appointment.booked.client.map(|client| client.to_string()).unwrap_or_default(),
            seen: appointment.version.to_string(),
            ..Self::default()
        }
    }

    /// What was typed as a wish; the service of an appointment that is moved may be offered no more.
    pub(super) fn check(
        &self,
        around: &Around,
        who: &Who,
        now: Instant,
        of: Option<&Appointment>,
        client: Option<&Client>,
    ) -> Result<Draft, Problem> {
        let mut notes = Notes::default();
        let short = self.short(&mut notes, of, client);
        let kept = of.map(|appointment| appointment.service);
        let services = around.all_services().iter().filter(|service| !service.closed || Some(service.id) == kept);
        let service = notes.choice("service", services.clone().find(|service| service.id.to_string() == self.service));
        let artists = around.booked_by(who);
        let artist = artists.iter().map(|artist| artist.id).find(|id| id.to_string() == self.artist);
        let artist = notes.choice("artist", artist);
        let bed = notes.choice("bed", self.wish());
        let when = self.when(&mut notes, around, service, now);
        let note = text::line(&self.note, 200);
        let note = match note {
            Err(text::BadText::Empty) => Some(String::new()),
            Err(bad) => {
                notes.add("note", bad.to_string());
                None
            }
            Ok(note) => Some(note),
        };
        let draft = (|| {
            Some(Draft {
                id: of.map_or_else(AppointmentId::new, |appointment| appointment.id),
                artist: artist?,
                bed: bed?,
                service: service?.clone(),
                booked: Booked {
                    client: client.map(|client| client.id),
                    short: short?,
                    first_visit: self.first_visit == "yes",
                },
                when: when?,
                note: note?,
                outside: self.outside == "yes",
            })
        })();
        notes.settle(draft)
    }

    /// How she is called on screens: as her record says, or as it was typed of somebody without one.
    fn short(&self, notes: &mut Notes, of: Option<&Appointment>, client: Option<&Client>) -> Option<String> {
        let hers = of.and_then(|appointment| appointment.booked.client);
        match client {
            None if !self.client.is_empty() => {
                notes.add("short_name", "This record cannot be chosen any more. Choose another, or the name alone.");
                None
            }
            Some(client) if client.restricted.is_some() && hers != Some(client.id) => {
                notes.add("short_name", "Her record is restricted at her wish: it is kept and not used.");
                None
            }
            Some(client) => Some(client.short.clone()),
            None => notes.line("short_name", &self.short_name, 40),
        }
    }

    /// When the visit would begin, where day and time are such.
    pub(super) fn starts(&self, around: &Around, service: &Service, now: Instant) -> Option<Instant> {
        self.when(&mut Notes::default(), around, Some(service), now).map(|when| when.visit.from)
    }

    fn wish(&self) -> Option<Wish> {
        if self.bed.is_empty() { Some(Wish::Any) } else { self.bed.parse().ok().map(Wish::One) }
    }

    fn when(&self, notes: &mut Notes, around: &Around, service: Option<&Service>, now: Instant) -> Option<When> {
        let zone = &around.studio.zone;
        let today = zone.day(now);
        let near = |day: &Date| {
            let back = today.checked_sub(DAYS_BACK.days()).unwrap_or(today);
            let ahead = today.checked_add(DAYS_AHEAD.days()).unwrap_or(today);
            (back..=ahead).contains(day)
        };
        let day: Option<Date> = self.day.trim().parse().ok().filter(near);
        if day.is_none() {
            notes.add("day", "Type the day as year-month-day, for instance 2026-02-18, within two years.");
        }
        let minute = typed_minute(&self.at).filter(|minute| *minute < MINUTES_A_DAY);
        if minute.is_none() {
            notes.add("at", "Type the time as hours and minutes, for instance 14:30.");
        }
        let takes = notes.optional_number("minutes", &self.minutes, MINUTES, "minutes");
        let (hour, minute) = (i8::try_from(minute? / 60).ok()?, i8::try_from(minute? % 60).ok()?);
        let own = service?.length_for(self.first_visit == "yes");
        #[expect(clippy::cast_possible_truncation, reason = "5 to 600 minutes")]
        let length = Length { minutes: takes?.map_or(own.minutes, |minutes| minutes.round() as i64), ..own };
        match When::typed(day?.at(hour, minute, 0, 0), zone, &length) {
            Ok(when) => Some(when),
            Err(gap) => {
                notes.add("at", gap.sentence());
                None
            }
        }
    }

    /// Its fields, the name first.
    pub(super) fn fields(&self, around: &Around, who: &Who, notes: &[FieldNote]) -> Vec<FieldView> {
        let service = |service: &Service| {
            let first = if service.first_minutes > 0 {
                format!(", first visit {} more", service.first_minutes)
            } else {
                String::new()
            };
            (service.id.to_string(), format!("{}, {} min{first}", service.name, service.length.minutes))
        };
        let offered =
            around.all_services().iter().filter(|s| !s.closed || s.id.to_string() == self.service).map(service);
        let artists = around.booked_by(who).into_iter().map(|artist| (artist.id.to_string(), artist.name.clone()));
        let beds = std::iter::once((String::new(), "whichever is free".to_owned()));
        let beds = beds.chain(around.beds().map(|bed| (bed.id.to_string(), bed.words())));
        let mut fields = vec![
            text_field("short_name", "Who", &self.short_name).hinted(
                "The beginning of her name finds her record. For somebody without one: first name and one letter, since others can see this screen.",
            ),
            FieldView {
                kind: "check",
                optional: true,
                ..text_field("first_visit", "Comes for the first time", &self.first_visit)
            },
            choice_field("select", "service", "Service", &self.service, with_none(offered)),
            number_field("minutes", "Minutes", &self.minutes)
                .hinted("Where it takes another time than the service’s own, a first visit’s counted in.")
                .or_empty(),
            choice_field("select", "artist", "With", &self.artist, with_none(artists)),
            FieldView { kind: "date", ..text_field("day", "Day", &self.day) },
            FieldView { kind: "time", ..text_field("at", "Time", &self.at) },
            choice_field("select", "bed", "Bed", &self.bed, beds),
            FieldView {
                kind: "check",
                optional: true,
                ..text_field("outside", "also outside the hours", &self.outside)
            },
            text_field("note", "Note", &self.note).hinted("Without a word of health.").or_empty(),
        ];
        note_fields(&mut fields, notes);
        fields
    }
}

fn with_none(choices: impl Iterator<Item = (String, String)>) -> Vec<(String, String)> {
    std::iter::once((String::new(), "choose".to_owned())).chain(choices).collect()
}
