//! One appointment: when, with whom, what may be done with it, when she might come again, and how it came to lie where it does.

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;
use serde::Deserialize;

use super::appointment::{Appointment, State as Standing, Version};
use super::around::Around;
use super::expecting;
use super::from_cards::HasCard;
use super::infill::{Offer, infill};
use super::looked::{self, Stands};
use super::move_page::hers;
use super::service::VisitKind;
use super::typed_booking::TypedBooking;
use super::waiting_page::{self, WaitingRow};
use super::{store, waiting_store};
use crate::base::actor::Role;
use crate::base::ids::AppointmentId;
use crate::base::problem::{FieldNote, Problem};
use crate::base::time::{Instant, MINUTE};
use crate::clearance::typed::tick_field;
use crate::clients::{self, Client};
use crate::people;
use crate::store::Db;
use crate::web::House;
use crate::web::checks::{note_fields, text_field};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, new_form_key};
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::studio::Place;

pub(super) fn routes(has_card: HasCard) -> Routes {
    let shown = move |staff: Staff, house: State<House>, id: At<AppointmentId>, asked: Query<Told>| {
        show(staff, house, id, asked, has_card)
    };
    Routes::new().get("/book/{appointment}", shown)
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct Told {
    told: String,
}

struct Line {
    word: &'static str,
    value: String,
}

struct Past {
    when: String,
    what: String,
}

/// How she stands for this visit while it is to come.
struct ClearanceBlock {
    /// None where no record is chosen: then nothing is known.
    stands: Option<Stands>,
    /// Her clearance, for those who may open it.
    href: Option<String>,
}

impl ClearanceBlock {
    /// A sentence to go with "It is booked.", where she is not cleared.
    fn warning(&self) -> &'static str {
        match &self.stands {
            Some(stands) if stands.at.is_cleared() => "",
            Some(_) => " She is not cleared for it: see below.",
            None => " Without a record nothing is known of her clearance.",
        }
    }
}

#[derive(Template)]
#[template(path = "book/appointment.html")]
pub(super) struct AppointmentPage {
    frame: Frame,
    key: String,
    mistakes: Vec<Mistake>,
    why: FieldView,
    outside: FieldView,
    path: String,
    told: String,
    lead: String,
    state: (&'static str, &'static str),
    /// Her record, for those who may open it.
    record: Option<String>,
    /// Her card, for those who treat her: opened there, or gone on with.
    card: Option<String>,
    clearance: Option<ClearanceBlock>,
    lines: Vec<Line>,
    seen: i64,
    booked: bool,
    /// A card was opened for it, closed since or not: then it is neither moved nor called off.
    carded: bool,
    /// It has begun, so that nobody may have come.
    begun: bool,
    move_to: String,
    find: String,
    infill: Vec<Offer>,
    infill_word: String,
    waiting: Vec<WaitingRow>,
    history: Vec<Past>,
    day: String,
}

async fn show(
    staff: Staff,
    State(house): State<House>,
    At(id): At<AppointmentId>,
    Query(asked): Query<Told>,
    has_card: HasCard,
) -> Result<Response, Problem> {
    page(&view(&house, &staff, (id, has_card), &asked.told, DeedFields::of("", false, &[]), new_form_key()).await?)
}

/// Fields of what is done in one tap: why it is called off, and whether it holds again outside the hours.
pub(super) struct DeedFields([FieldView; 2]);

impl DeedFields {
    pub(super) fn of(reason: &str, outside: bool, notes: &[FieldNote]) -> Self {
        let why = text_field("reason", "Why", reason).hinted("A few words, without a word of health.").or_empty();
        let mut fields = [why, tick_field("outside", "also outside the hours", outside)];
        note_fields(&mut fields, notes);
        Self(fields)
    }
}

/// The page, with the fields of its deeds as they were typed.
pub(super) async fn view(
    house: &House,
    staff: &Staff,
    (id, has_card): (AppointmentId, HasCard),
    told: &str,
    DeedFields([why, outside]): DeedFields,
    key: String,
) -> Result<AppointmentPage, Problem> {
    let (around, appointment) = hers(house, staff, id).await?;
    let now = staff.visitor.now.0;
    let mut db = house.store.read().await?;
    let versions = store::versions(&mut db, id).await?;
    let names = people::everyone(&mut db).await?;
    let carded = has_card(&mut db, id).await?;
    let infill = infill(&mut db, house, &around, &appointment, now).await?;
    let client = match appointment.booked.client {
        Some(id) => clients::client(&mut db, id).await?.filter(Client::is_in_use),
        None => None,
    };
    let clearance = clearance(&mut db, house, staff, &around, &appointment, client.as_ref()).await?;
    let opens = client.as_ref().filter(|client| clients::may_see(client, &staff.who));
    let waiting = match appointment.state {
        Standing::Booked => Vec::new(),
        _ => would_come(&mut db, house, &around, &appointment, now).await?,
    };
    drop(db);
    let zone = &around.studio.zone;
    let path = house.url(&format!("/book/{id}"));
    let whose = |by: &str| {
        let person = by.strip_prefix("person:").and_then(|id| names.iter().find(|person| person.id.to_string() == id));
        person.map_or_else(|| "the house".to_owned(), |person| person.name.clone())
    };
    Ok(AppointmentPage {
        frame: house.frame(&around.studio, &staff.visitor, Place::Book, appointment.booked.short.clone()),
        key,
        mistakes: mistakes([&why, &outside]),
        why,
        outside,
        told: told_words(told, clearance.as_ref()),
        record: opens.map(|client| house.url(&format!("/door/clients/{}", client.id))),
        card: opens_card(&around, staff, &appointment).then(|| house.url(&format!("/cards/of/{id}"))),
        clearance,
        lead: lead(&around, &appointment, now),
        state: (if appointment.state == Standing::Booked { "fit" } else { "stop" }, appointment.state.words()),
        lines: lines(&around, &appointment),
        seen: appointment.version,
        booked: appointment.state == Standing::Booked,
        carded,
        begun: appointment.when.visit.from <= now,
        move_to: format!("{path}/move"),
        find: house.url(&find_path(&around, &appointment)),
        infill_word: infill.0,
        infill: infill.1,
        waiting,
        history: versions.iter().rev().map(|version| past(&around, version, &whose(&version.by), now)).collect(),
        day: house.url(&format!("/book?day={}", zone.day(appointment.when.visit.from))),
        path,
    })
}

/// Where another time is looked for, as long as this visit is.
fn find_path(around: &Around, appointment: &Appointment) -> String {
    let typed = TypedBooking::of(around, appointment);
    let query = [
        ("moving", appointment.id.to_string()),
        ("service", typed.service),
        ("artist", typed.artist),
        ("minutes", typed.minutes),
        ("first_visit", typed.first_visit),
    ];
    let query = query.into_iter().filter(|(_, value)| !value.is_empty()).collect::<Vec<_>>();
    format!("/book/free?{}", serde_urlencoded::to_string(query).unwrap_or_default())
}

/// Whether this person opens a card for this appointment: whoever treats her, and the owner; not for a test or a talk.
fn opens_card(around: &Around, staff: &Staff, appointment: &Appointment) -> bool {
    let kind = around.service(appointment.service).map(|service| service.kind);
    let placed = kind.is_some_and(|kind| !matches!(kind, VisitKind::PatchTest | VisitKind::Consultation));
    let hers = staff.who.role == Role::Owner || around.own(&staff.who) == Some(appointment.artist);
    placed && hers && appointment.booked.client.is_some() && appointment.state == Standing::Booked
}

/// How she stands, of what is to come and judged at all.
async fn clearance(
    db: &mut Db,
    house: &House,
    staff: &Staff,
    around: &Around,
    appointment: &Appointment,
    client: Option<&Client>,
) -> Result<Option<ClearanceBlock>, Problem> {
    let now = staff.visitor.now.0;
    let service = around.service(appointment.service);
    let judged = service.filter(|service| expecting::judged_as(service.kind).is_some());
    let to_come = appointment.state == Standing::Booked && appointment.when.visit.to > now;
    let Some(service) = judged.filter(|_| to_come) else { return Ok(None) };
    let Some(client) = client else { return Ok(Some(ClearanceBlock { stands: None, href: None })) };
    let (whose, with) = ((appointment.id, client), Some(appointment.artist));
    let stands = looked::stands(house, db, around, whose, service, with, appointment.when.visit.from, now).await?;
    // Whoever is booked with her sees her clearance, and so do those who see her record.
    let sees = clients::may_see(client, &staff.who) || around.own(&staff.who) == Some(appointment.artist);
    let href = sees.then(|| house.url(&format!("/door/clients/{}/clearance", client.id)));
    Ok(stands.map(|stands| ClearanceBlock { stands: Some(stands), href }))
}

fn told_words(told: &str, clearance: Option<&ClearanceBlock>) -> String {
    let warning = match told {
        "booked" | "moved" | "restored" => clearance.map_or("", ClearanceBlock::warning),
        _ => "",
    };
    format!("{}{warning}", told_sentence(told))
}

fn told_sentence(told: &str) -> &'static str {
    match told {
        "booked" => "It is booked.",
        "moved" => "It is moved.",
        "cancelled" => "It is called off; its time is free again.",
        "missed" => "It is noted that nobody came; the time is free again.",
        "restored" => "It holds again.",
        _ => "",
    }
}

fn lead(around: &Around, appointment: &Appointment, now: Instant) -> String {
    let zone = &around.studio.zone;
    let (from, to) = (appointment.when.visit.from, appointment.when.visit.to);
    format!(
        "{} {}–{} with {}.",
        zone.date(from, now),
        zone.clock(from),
        zone.clock(to),
        around.first_name(appointment.artist)
    )
}

fn lines(around: &Around, appointment: &Appointment) -> Vec<Line> {
    let when = &appointment.when;
    let minutes = |from: Instant, to: Instant| to.since(from) / MINUTE;
    let line = |word, value| Line { word, value };
    let kind = around.service(appointment.service).map_or("", |service| service.kind.words());
    let mut lines = vec![
        line("Service", format!("{}, {kind}", around.service_name(appointment.service))),
        line("Length", format!("{} min", minutes(when.visit.from, when.visit.to))),
        line(
            "Kept free",
            format!(
                "{} min before, {} min after",
                minutes(when.busy.from, when.visit.from),
                minutes(when.visit.to, when.busy.to)
            ),
        ),
        line("Bed", around.bed_words(appointment.bed)),
    ];
    if appointment.booked.first_visit {
        lines.push(line("First visit", "yes, with the extra time".to_owned()));
    }
    if around.service(appointment.service).is_some_and(|service| service.patch_test) {
        lines.push(line("Patch test", "needed before it".to_owned()));
    }
    if when.zone != around.studio.zone.name() {
        lines.push(line("Zone", format!("booked on the clock of {}", when.zone)));
    }
    if !appointment.note.is_empty() {
        lines.push(line("Note", appointment.note.clone()));
    }
    lines
}

fn past(around: &Around, version: &Version, by: &str, now: Instant) -> Past {
    let zone = &around.studio.zone;
    let what = match (version.number, version.state) {
        (1, _) => "booked".to_owned(),
        (_, Standing::Booked) => "moved, or holds again".to_owned(),
        (_, state) => state.words().to_owned(),
    };
    let reason = if version.reason.is_empty() { String::new() } else { format!(": {}", version.reason) };
    let lay = format!("{} {}", zone.date(version.starts, now), zone.clock(version.starts));
    Past {
        when: zone.date_and_clock(version.at, now),
        what: format!("{what} by {by}{reason}; {lay} with {}", around.first_name(version.artist)),
    }
}

/// Who on the waiting list would take this time, with a link that books it for her.
async fn would_come(
    db: &mut Db,
    house: &House,
    around: &Around,
    freed: &Appointment,
    now: Instant,
) -> Result<Vec<WaitingRow>, Problem> {
    let zone = &around.studio.zone;
    if freed.when.visit.from <= now {
        return Ok(Vec::new());
    }
    let waiting = waiting_store::all(db).await?;
    let rows = waiting.iter().filter(|waiting| waiting_page::would_come(waiting, freed, zone)).map(|waiting| {
        let query = [
            ("waiting", waiting.id.to_string()),
            ("service", waiting.service.to_string()),
            ("artist", freed.artist.to_string()),
            ("day", freed.when.wall.date().to_string()),
            ("at", freed.when.wall.strftime("%H:%M").to_string()),
        ];
        let find = house.url(&format!("/book/new?{}", serde_urlencoded::to_string(query).unwrap_or_default()));
        WaitingRow { find, done: String::new(), ..waiting_page::row(house, around, waiting, now) }
    });
    Ok(rows.collect())
}
