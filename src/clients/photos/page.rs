//! A client's photos: taken, shown to those who treat, never without a session. Each picture that is opened is written down.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Multipart, Query, State};
use axum::http::{HeaderMap, HeaderValue, header};
use axum::response::{IntoResponse, Response};

use super::taking::{LARGEST_FORM, Shows, arrive, keep};
use super::{Moment, store};
use crate::base::ids::{ClientId, PhotoId};
use crate::base::older::page_of;
use crate::base::problem::{FieldNote, Problem};
use crate::base::time::Instant;
use crate::clients::consents::{self, Purpose};
use crate::clients::names::Names;
use crate::clients::typed::noted;
use crate::clients::{Client, not_restricted, note_reading, reads_health, seen};
use crate::store::Db;
use crate::web::House;
use crate::web::checks::choice_field;
use crate::web::form::{FieldView, Mistake};
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Turned, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/door/clients/{client}/photos", show)
        .post_file("/door/clients/{client}/photos", LARGEST_FORM, send)
        .get("/door/clients/{client}/photos/{photo}", picture)
}

/// Photos one page shows.
const SHOWN: usize = 60;

struct PhotoRow {
    title: String,
    /// The treatment card it was taken on.
    card: Option<String>,
    by: String,
    href: String,
    alt: String,
    width: i64,
    height: i64,
}

#[derive(Template)]
#[template(path = "clients/photos.html")]
struct PhotosPage {
    frame: Frame,
    key: String,
    action: String,
    back: String,
    sign: String,
    /// Whether her consent to photos of record is in force, in words.
    consent: (&'static str, String),
    may_add: bool,
    publicity: bool,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
    photos: Vec<PhotoRow>,
    /// Where the older ones stand.
    older: Option<String>,
    hidden: Option<String>,
}

/// Who may see the client and treats; the desk does not see her photos.
async fn treated_by(db: &mut Db, staff: &Staff, id: ClientId) -> Result<Client, Problem> {
    let client = seen(db, id, &staff.who).await?;
    if reads_health(&staff.who) {
        Ok(client)
    } else {
        Err(Problem::NotYours("Photos of clients are for those who treat."))
    }
}

async fn show(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ClientId>,
    Query(asked): Query<BTreeMap<String, String>>,
) -> Result<Response, Problem> {
    let part = asked.get("page").and_then(|page| page.parse().ok()).unwrap_or(1);
    page(&view(&house, &staff, (id, part), "", &[], new_form_key()).await?)
}

async fn view(
    house: &House,
    staff: &Staff,
    (id, part): (ClientId, usize),
    moment: &str,
    notes: &[FieldNote],
    key: String,
) -> Result<PhotosPage, Problem> {
    let now = staff.visitor.now.0;
    let mut db = house.store.read().await?;
    let client = treated_by(&mut db, staff, id).await?;
    let studio = Studio::load(&mut db).await?;
    let names = Names::load(&mut db).await?;
    let consent = consents::store::newest(&mut db, id, Purpose::RecordPhotos).await?;
    let publicity = consents::consent_in_force(&mut db, id, Purpose::PublicityPhotos, now).await?;
    let all = store::of_client(&mut db, id).await?;
    let path = house.url(&format!("/door/clients/{id}"));
    let (hidden, shown): (Vec<_>, Vec<_>) = all.into_iter().partition(|photo| photo.withdrawn.is_some());
    let (shown, next) = page_of(shown, part, SHOWN);
    let in_force = consent.as_ref().is_some_and(|consent| consent.withdrawn.is_none());
    let day = |at: Instant| studio.zone.date(at, now);
    let state = match consent {
        None => ("unknown", "not signed: no photo may be kept".to_owned()),
        Some(consent) => match consent.withdrawn {
            Some(at) => ("stop", format!("withdrawn {}: no photo may be kept, those of then are not shown", day(at))),
            None => ("fit", format!("signed {}", day(consent.at))),
        },
    };
    // When it was taken is for whoever took it to say: nothing is chosen beforehand, and it is asked before the file, which no page
    // that comes back still holds.
    let fields = vec![
        choice_field(
            "radio",
            "moment",
            "Taken",
            moment,
            Moment::CHOSEN.map(|moment| (moment.word().to_owned(), moment.words().to_owned())),
        ),
        FieldView {
            name: "file",
            label: "The photo".to_owned(),
            hint: Some(
                "JPEG, PNG or WebP up to 10 MB. Where it was taken, by which camera and when goes; only the picture is kept."
                    .to_owned(),
            ),
            kind: "file",
            ..FieldView::default()
        },
    ];
    let (fields, mistakes) = noted(fields, notes);
    Ok(PhotosPage {
        frame: house.frame(&studio, &staff.visitor, Place::Door, format!("{}: photos", client.name)),
        key,
        action: format!("{path}/photos"),
        sign: format!("{path}/sign/{}", Purpose::RecordPhotos.word()),
        may_add: in_force && client.restricted.is_none(),
        publicity,
        consent: state,
        fields,
        mistakes,
        photos: shown
            .into_iter()
            .map(|photo| PhotoRow {
                card: photo.card().map(|card| house.url(&format!("/cards/{card}/record"))),
                title: format!("{}, {}", photo.moment.words(), studio.zone.date_and_clock(photo.at, now)),
                by: names.of(photo.taken_by),
                href: format!("{path}/photos/{}", photo.id),
                alt: format!("{}, {}", photo.moment.words(), day(photo.at)),
                width: photo.width,
                height: photo.height,
            })
            .collect(),
        older: next.map(|page| format!("{path}/photos?page={page}#photos")),
        hidden: (!hidden.is_empty()).then(|| format!("{} not shown: the consent was withdrawn.", hidden.len())),
        back: path,
    })
}

async fn send(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ClientId>,
    headers: HeaderMap,
    parts: Multipart,
) -> Result<Response, Turned> {
    {
        let mut db = house.store.read().await?;
        not_restricted(&treated_by(&mut db, &staff, id).await?)?;
    }
    let arrived = arrive(&house, &staff, &headers, parts).await?;
    let typed = &arrived.moment;
    let moment = Moment::from_word(typed).filter(|moment| Moment::CHOSEN.contains(moment));
    let mut notes = Vec::new();
    if moment.is_none() {
        notes.push(FieldNote::new("moment", "Choose one of these."));
    }
    let picture = arrived.picture.map_err(|sentence| notes.push(FieldNote::new("file", sentence))).ok();
    let (Some(moment), Some(picture)) = (moment, picture) else {
        let key = arrived.key.again();
        let view = view(&house, &staff, (id, 1), typed, &notes, key).await?;
        return Ok(page_again(&view)?);
    };
    let shows = Shows { client: id, moment, about: None };
    let next = format!("/door/clients/{id}/photos");
    let kept = keep(&house, &staff, &arrived.key, shows, picture, next).await?;
    Ok(answer(&house, &kept))
}

async fn picture(
    staff: Staff,
    State(house): State<House>,
    At((id, photo)): At<(ClientId, PhotoId)>,
) -> Result<Response, Problem> {
    let jpeg = {
        let mut db = house.store.read().await?;
        treated_by(&mut db, &staff, id).await?;
        store::picture(&mut db, house.store.keys(), id, photo).await?
    };
    // Written down before it is given: what cannot be written down is not read.
    note_reading(&house, &staff.who, id, "read photo", &photo.to_string()).await?;
    Ok(shown(jpeg))
}

/// A picture as it is given to a browser.
pub(crate) fn shown(jpeg: Vec<u8>) -> Response {
    let mut answer = jpeg.into_response();
    let headers = answer.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("image/jpeg"));
    headers.insert(header::CONTENT_DISPOSITION, HeaderValue::from_static("inline; filename=\"photo.jpg\""));
    answer
}
