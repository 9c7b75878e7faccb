//! An artist's appointments in a calendar of her own: the page that opens and closes its secret address, and the calendar itself.
//! What leaves the house holds no name and no word of what is done.

use askama::Template;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};

use super::appointment::{Appointment, State as Standing};
use super::around::Around;
use super::calendar::{self, Event};
use super::slots::Span;
use super::{feed_store, store};
use crate::artists;
use crate::base::actor::{Role, Who};
use crate::base::ids::ArtistId;
use crate::base::problem::Problem;
use crate::base::time::{DAY, Instant};
use crate::people::SecretView;
use crate::store::keys::digest_of_secret;
use crate::store::{Db, Kept};
use crate::web::House;
use crate::web::frame::Frame;
use crate::web::guard::{Anyone, Staff, with_passphrase};
use crate::web::incoming::{At, Form, Nothing, new_form_key};
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};
use crate::web::visitor::text_header;

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/book/calendar/{artist}", show)
        .post("/book/calendar/{artist}", make)
        .post("/book/calendar/{artist}/hide", hide)
        .post("/book/calendar/{artist}/revoke", revoke)
        .get("/calendar/{feed}", feed)
}

/// Days back and ahead that are sent.
const DAYS: (i64, i64) = (60, 400);

#[derive(Template)]
#[template(path = "book/calendar.html")]
struct CalendarPage {
    frame: Frame,
    key: String,
    path: String,
    /// The address, while it may be shown.
    address: Option<SecretView>,
    /// Since when one is open.
    since: Option<String>,
}

/// Her own calendar, or any for the owner.
fn hers(around: &Around, who: &Who, artist: ArtistId) -> Result<(), Problem> {
    let known = around.artist(artist).is_some() && (who.role == Role::Owner || around.own(who) == Some(artist));
    if known { Ok(()) } else { Err(Problem::NotHere("artist")) }
}

async fn show(staff: Staff, State(house): State<House>, At(id): At<ArtistId>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let around = Around::load(&mut db).await?;
    hers(&around, &staff.who, id)?;
    let now = staff.visitor.now;
    let open = feed_store::open(&mut db, house.store.keys(), id, now).await?;
    let since = open.as_ref().map(|feed| around.studio.zone.date_and_clock(feed.created, now.0));
    let full = |secret| house.config.external(&format!("/calendar/{secret}.ics"));
    let shown = open.and_then(|feed| feed.secret);
    let address = SecretView::of(&mut db, &house, &around.studio, &staff.visitor, shown, full).await?;
    drop(db);
    let title = format!("Calendar of {}", around.artist(id).map_or("", |artist| artist.name.as_str()));
    page(&CalendarPage {
        frame: house.frame(&around.studio, &staff.visitor, Place::Book, title),
        key: new_form_key(),
        path: house.url(&format!("/book/calendar/{id}")),
        since,
        address,
    })
}

async fn make(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ArtistId>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    // Whoever has the address reads her days without signing in.
    with_passphrase(&staff.visitor)?;
    write(&house, &staff, id, form, Deed::Open).await
}

async fn hide(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ArtistId>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    write(&house, &staff, id, form, Deed::Hide).await
}

async fn revoke(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ArtistId>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    with_passphrase(&staff.visitor)?;
    write(&house, &staff, id, form, Deed::Close).await
}

/// What is done with an address.
#[derive(Clone, Copy)]
enum Deed {
    Open,
    Hide,
    Close,
}

async fn write(
    house: &House,
    staff: &Staff,
    id: ArtistId,
    form: Form<Nothing>,
    deed: Deed,
) -> Result<Response, Problem> {
    let (who, inner) = (staff.who.clone(), house.clone());
    let kept = house.store.write(&form.key, move |tx| {
        let (who, house) = (who.clone(), inner.clone());
        Box::pin(async move {
            hers(&Around::load(tx.db()).await?, &who, id)?;
            match deed {
                Deed::Open => feed_store::make(tx, house.store.keys(), id).await?,
                Deed::Hide => feed_store::hide(tx, id).await?,
                Deed::Close => feed_store::revoke(tx, id).await?,
            }
            Ok(Kept::see(format!("/book/calendar/{id}")))
        })
    });
    Ok(answer(house, &kept.await?))
}

async fn feed(
    Anyone(visitor): Anyone,
    State(house): State<House>,
    At(file): At<String>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let secret = file.strip_suffix(".ics").filter(|secret| secret.len() < 100).ok_or(Problem::NotHere("calendar"))?;
    let mut db = house.store.read().await?;
    let artist = feed_store::whose(&mut db, secret).await?.ok_or(Problem::NotHere("calendar"))?;
    // Who has left has no calendar here any more.
    let artist = artists::one(&mut db, artist).await?.ok_or(Problem::NotHere("calendar"))?;
    let studio = Studio::load(&mut db).await?;
    let events = events(&mut db, artist.id, visitor.now.0).await?;
    drop(db);
    let first = artist.name.split_whitespace().next().unwrap_or_default();
    let text = calendar::text(&format!("{first} at {}", studio.name), &events);
    // Weak: what is compressed on the way is the same calendar.
    let tag = format!("W/\"{}\"", digest_of_secret(&text));
    let known = text_header(&headers, header::IF_NONE_MATCH.as_str());
    let common = [(header::ETAG, tag.clone()), (header::CACHE_CONTROL, "private, no-cache".to_owned())];
    let is_known = known.trim() == "*"
        || known.split(',').any(|one| one.trim().trim_start_matches("W/") == tag.trim_start_matches("W/"));
    if is_known {
        return Ok((StatusCode::NOT_MODIFIED, common).into_response());
    }
    Ok((common, [(header::CONTENT_TYPE, "text/calendar; charset=utf-8")], text).into_response())
}

async fn events(db: &mut Db, artist: ArtistId, now: Instant) -> Result<Vec<Event>, Problem> {
    let span = Span::new(now.plus(-DAYS.0 * DAY), now.plus(DAYS.1 * DAY));
    let around = Around::load(db).await?;
    let own = store::of_artist(db, artist, span).await?;
    let mut events: Vec<Event> = own.iter().map(|appointment| event(&around, appointment)).collect();
    let gone = store::gone_from(db, artist, span).await?.into_iter();
    events.extend(gone.map(|(id, span, version, changed)| Event {
        uid: id.to_string(),
        starts: span.from,
        ends: span.to,
        changed,
        sequence: version,
        cancelled: true,
        summary: "Appointment".to_owned(),
        place: String::new(),
    }));
    Ok(events)
}

fn event(around: &Around, appointment: &Appointment) -> Event {
    let initials = appointment.booked.initials();
    Event {
        uid: appointment.id.to_string(),
        starts: appointment.when.visit.from,
        ends: appointment.when.visit.to,
        changed: appointment.changed,
        sequence: appointment.version,
        cancelled: appointment.state == Standing::Cancelled,
        summary: if initials.is_empty() { "Appointment".to_owned() } else { format!("Appointment {initials}") },
        place: appointment.bed.and_then(|bed| around.bed(bed)).map(super::Bed::words).unwrap_or_default(),
    }
}
