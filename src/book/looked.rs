//! Who a booking is for: clients found by what is typed, and how the one chosen stands for that service at that time. The book
//! stands where others can see it: nothing here tells about health.

use super::around::Around;
use super::service::Service;
use super::typed_booking::TypedBooking;
use super::{expecting, store};
use crate::base::actor::Who;
use crate::base::ids::AppointmentId;
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::clearance::{self, AtBooking, Known};
use crate::clients::{self, Client};
use crate::store::Db;
use crate::web::House;
use crate::web::checks::choice_field;
use crate::web::form::FieldView;

/// Clients shown to choose from.
const MOST: usize = 8;

/// What was found for the form as it stands.
#[derive(Default)]
pub(super) struct Looked {
    /// The client chosen.
    pub(super) client: Option<Client>,
    /// Records to choose from; none while nobody is found.
    pub(super) who: Option<FieldView>,
    /// How many were found, or that she has not been here yet.
    pub(super) told: String,
    /// How she stands; none while client, service or time is open.
    pub(super) stands: Option<Stands>,
}

/// How the chosen client stands for what is about to be booked.
pub(super) struct Stands {
    /// "Alva L., Classic set, Fri 20 Feb 10:00".
    pub(super) what: String,
    /// Mark, word, steps.
    pub(super) at: AtBooking,
    /// What else is to be known of the service.
    pub(super) more: &'static str,
}

/// Her record where one was chosen that this person may book: hers already, or one she sees.
pub(super) async fn chosen(
    db: &mut Db,
    who: &Who,
    typed: &TypedBooking,
    kept: Option<crate::base::ids::ClientId>,
) -> Result<Option<Client>, Problem> {
    let Ok(id) = typed.client.parse() else { return Ok(None) };
    let client = clients::client(db, id).await?.filter(Client::is_in_use);
    Ok(client.filter(|client| kept == Some(id) || clients::may_see(client, who)))
}

/// Looks both up.
pub(super) async fn look(
    house: &House,
    db: &mut Db,
    around: &Around,
    who: &Who,
    typed: &TypedBooking,
    kept: Option<crate::base::ids::ClientId>,
    now: Instant,
) -> Result<Looked, Problem> {
    let client = chosen(db, who, typed, kept).await?;
    let asked = typed.short_name.trim();
    let is_hers = client.as_ref().is_some_and(|client| client.short == asked);
    let mut found =
        if asked.is_empty() || is_hers { Vec::new() } else { clients::find_for(db, who, asked, MOST).await? };
    found.retain(|other| client.as_ref().is_none_or(|client| client.id != other.id));
    let mut told = match found.len() {
        0 => String::new(),
        1 => "One record found.".to_owned(),
        n => format!("{n} records found."),
    };
    if let Some(client) = &client {
        let first = !store::came_before(db, client.id, now).await?;
        if first && typed.first_visit.is_empty() {
            told = format!("{told} No earlier visit of hers is in the book.").trim().to_owned();
        }
    }
    let choices: Vec<_> = client.iter().chain(&found).map(choice).collect();
    let who = (!choices.is_empty()).then(|| {
        let alone = (String::new(), "the name alone, without a record".to_owned());
        let chosen = client.as_ref().map(|client| client.id.to_string()).unwrap_or_default();
        choice_field("radio", "client", "Her record", &chosen, choices.into_iter().chain([alone]))
    });
    let stands = match &client {
        Some(client) => stands_if_asked(house, db, around, typed, client, now).await?,
        None => None,
    };
    Ok(Looked { client, who, told, stands })
}

fn choice(client: &Client) -> (String, String) {
    let about = clients::told_apart(client);
    let about = if about.is_empty() { about } else { format!(", {about}") };
    (client.id.to_string(), format!("{}{about}", client.name))
}

async fn stands_if_asked(
    house: &House,
    db: &mut Db,
    around: &Around,
    typed: &TypedBooking,
    client: &Client,
    now: Instant,
) -> Result<Option<Stands>, Problem> {
    let service = around.all_services().iter().find(|service| service.id.to_string() == typed.service);
    let Some((service, at)) = service.and_then(|service| Some((service, typed.starts(around, service, now)?))) else {
        return Ok(None);
    };
    let artist = typed.artist.parse().ok().and_then(|id| around.artist(id));
    stands(house, db, around, (AppointmentId::new(), client), service, artist.map(|artist| artist.id), at, now).await
}

/// How a client stands for a service at an instant; nothing where nothing is judged.
#[expect(clippy::too_many_arguments, reason = "a booking is a client, a service, an artist and a time")]
pub(super) async fn stands(
    house: &House,
    db: &mut Db,
    around: &Around,
    (id, client): (AppointmentId, &Client),
    service: &Service,
    artist: Option<crate::base::ids::ArtistId>,
    at: Instant,
    now: Instant,
) -> Result<Option<Stands>, Problem> {
    let with = artist.and_then(|id| around.artist(id));
    let person = with.map(|artist| artist.person);
    let Some(visit) = expecting::visit(id, client.id, service.kind, at, person) else { return Ok(None) };
    let speaks = artist.map_or("the artist or the owner", |id| around.first_name(id));
    let standing = clearance::at_booking(db, house.store.keys(), &visit, speaks, now, Known::ByNow).await?;
    let zone = &around.studio.zone;
    let what = format!("{}, {}, {}", client.short, service.name, zone.date_and_clock(at, now));
    Ok(Some(Stands { what, at: standing, more: more(service) }))
}

/// A tint's or a lift's own patch test stands on no shelf here: nobody may read "cleared" as if it had been made.
fn more(service: &Service) -> &'static str {
    let is_other = matches!(expecting::judged_as(service.kind), Some(clearance::VisitKind::Other));
    if is_other && service.patch_test {
        "This service needs a patch test with its own product, which is not judged here: ask whether it was made and looked at."
    } else {
        ""
    }
}
