//! A card to read and to print, its earlier versions, and complaints tied to it. Every reading leaves a row in the audit chain.

use askama::Template;
use axum::extract::{Multipart, Query, State};
use axum::http::HeaderMap;
use axum::response::Response;
use serde::Deserialize;

use super::card::Whole;
use super::card_lines::{is_of_map, lines};
use super::map_picture::{Lid, lids};
use super::seen::{Around, card_for, work_for};
use super::{store, version_store};
use crate::base::ids::{CardId, CardPartId, ClientId, ComplaintId};
use crate::base::problem::{FieldNote, Problem};
use crate::base::time::Instant;
use crate::book::slots::Span;
use crate::book::{self, State as Standing};
use crate::clearance;
use crate::clearance::typed::Typed;
use crate::clients::photos::{LARGEST_FORM, Moment, PhotoBlock, Shows, arrive, keep};
use crate::clients::{self, Client};
use crate::store::{Db, Kept};
use crate::web::House;
use crate::web::checks::choice_field;
use crate::web::form::FieldView;
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, Turned, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::Place;

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/cards/{card}/record", record)
        .get("/cards/{card}/versions/{part}", version)
        .post("/cards/{card}/complaint", tie)
        .post_file("/cards/{card}/sheet", LARGEST_FORM, sheet)
        .post_file("/cards/{card}/photos", LARGEST_FORM, photo)
}

/// Said once it is closed.
const CLOSED: &str = "The card is closed.";

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct Told {
    told: String,
}

struct Line {
    word: String,
    value: String,
}

struct ComplaintRow {
    id: String,
    words: String,
    /// Its page; empty where this person does not read it.
    href: String,
    /// How it is tied to this card already.
    tied: Option<&'static str>,
}

#[derive(Template)]
#[template(path = "cards/record.html")]
struct RecordPage {
    frame: Frame,
    key: String,
    path: String,
    told: &'static str,
    client: String,
    state: (&'static str, String),
    lines: Vec<Line>,
    /// Tomorrow's sheet, after the last card of the day.
    tomorrow: Option<String>,
    /// The lash map, lid by lid.
    map: Vec<Lid>,
    first: Option<String>,
    /// Cards that mend this one at no charge.
    fixes: Vec<(String, String)>,
    versions: Vec<(String, String)>,
    complaints: Vec<ComplaintRow>,
    /// Photos of the visit, or of the sheet where the card came from one.
    pictures: PhotoBlock,
    /// The card's id once it is closed: the device keeps its running time no longer.
    ended: String,
    acts: Vec<(String, &'static str)>,
}

async fn record(
    staff: Staff,
    State(house): State<House>,
    At(id): At<CardId>,
    Query(asked): Query<Told>,
) -> Result<Response, Problem> {
    let told = match asked.told.as_str() {
        "closed" => CLOSED,
        "corrected" => "It is corrected; the version before stays readable below.",
        "tied" => "The complaint is tied to this card.",
        "sheet" => "The photo of the sheet is kept.",
        "photo" => "The photo is kept with this card.",
        _ => "",
    };
    page(&shown(&house, &staff, id, told).await?)
}

/// The record in the place of the page at the bed.
pub(super) async fn show_record(house: &House, staff: &Staff, id: CardId) -> Result<Response, Problem> {
    page(&shown(house, staff, id, "").await?)
}

async fn shown(house: &House, staff: &Staff, id: CardId, told: &'static str) -> Result<RecordPage, Problem> {
    let (now, keys) = (staff.visitor.now.0, house.store.keys());
    let mut db = house.store.read().await?;
    let (whole, client) = card_for(&mut db, keys, id, &staff.who).await?;
    let works = work_for(&mut db, keys, id, &staff.who).await.is_ok();
    let around = Around::load(&mut db).await?;
    let lines = lines(&mut db, &around, &whole, now).await?;
    let versions = version_store::versions(&mut db, keys, &whole.card).await?;
    let complaints = clearance::complaints_in_brief(&mut db, client.id).await?;
    let cards = store::of_client(&mut db, client.id).await?;
    let pictures = pictures(&mut db, house, staff, &around, (&whole, &client), works).await?;
    let last = told == CLOSED && is_last_of_the_day(&mut db, &around, now).await?;
    drop(db);
    clients::note_reading(house, &staff.who, client.id, "read card", &id.to_string()).await?;
    let (card, zone) = (&whole.card, &around.studio.zone);
    let path = house.url(&format!("/cards/{id}"));
    let mut acts = Vec::new();
    if works && card.closed.is_none() {
        acts.push((path.clone(), "Back to the card"));
    }
    if works && card.closed.is_some() {
        acts.push((format!("{path}/correct"), "Correct it"));
    }
    acts.push((house.url(&format!("/door/clients/{}/complaints/new", client.id)), "Take a complaint"));
    if let Some(appointment) = card.appointment {
        acts.push((house.url(&format!("/book/{appointment}")), "Its appointment"));
    }
    acts.push((house.url(&format!("/cards/her/{}", client.id)), "Her other cards"));
    if told == CLOSED {
        acts.push((house.url("/cards/sheets/tomorrow"), "Tomorrow’s sheet, to print"));
    }
    acts.push((house.url("/cards"), "All cards"));
    let reads = clients::may_see(&client, &staff.who);
    let of = |card: &super::card::Card| format!("the {} of {}", card.kind.words(), zone.date(card.begun, now));
    let complaint = |own: &clearance::ComplaintBrief| ComplaintRow {
        id: own.id.to_string(),
        words: format!("{}: {}", zone.date_and_clock(own.at, now), own.decided),
        href: if reads { house.url(&format!("/door/complaints/{}", own.id)) } else { String::new() },
        tied: match &own.card {
            of if *of == id.to_string() => Some("about this card"),
            of if !of.is_empty() => Some("about the card this one mends"),
            _ => None,
        },
    };
    let mends = card.first_card.map(|first| first.to_string());
    let concerns = |own: &&clearance::ComplaintBrief| {
        own.card.is_empty() || own.card == id.to_string() || Some(&own.card) == mends.as_ref()
    };
    Ok(RecordPage {
        frame: house.frame(&around.studio, &staff.visitor, Place::Book, format!("Card of {}", client.short)),
        key: new_form_key(),
        told,
        client: client.name.clone(),
        state: match card.closed {
            Some(at) => ("fit", format!("closed {}, version {}", zone.date_and_clock(at, now), card.version)),
            None => ("near", "still open".to_owned()),
        },
        lines: lines
            .into_iter()
            .filter(|(word, _)| !is_of_map(word))
            .map(|(word, value)| Line { word, value })
            .collect(),
        tomorrow: last.then(|| house.url("/cards/sheets/tomorrow?print=yes")),
        map: lids(&whole, &around.studio, around.settings.zones),
        first: cards.iter().find(|own| Some(own.id) == card.first_card).map(of),
        fixes: cards
            .iter()
            .filter(|own| own.first_card == Some(id))
            .map(|own| (house.url(&format!("/cards/{}/record", own.id)), of(own)))
            .collect(),
        versions: versions
            .iter()
            .map(|own| {
                let by = around.name_of_mark(&own.by);
                let when = zone.date_and_clock(own.at, now);
                let words = format!("Version {}, until {when}; corrected by {by}: {}", own.number, own.reason);
                (format!("{path}/versions/{}", own.id), words)
            })
            .collect(),
        complaints: complaints.iter().filter(concerns).map(complaint).collect(),
        pictures,
        ended: card.closed.map(|_| id.to_string()).unwrap_or_default(),
        acts,
        path,
    })
}

/// The photos of this card, for those who see her record; each kept under her consent and shown no longer than that.
async fn pictures(
    db: &mut Db,
    house: &House,
    staff: &Staff,
    around: &Around,
    (whole, client): (&Whole, &Client),
    works: bool,
) -> Result<PhotoBlock, Problem> {
    let id = whole.card.id.to_string();
    let (moment, end) = if whole.card.paper.is_some() { (Moment::Sheet, "sheet") } else { (Moment::After, "photos") };
    let action = house.url(&format!("/cards/{id}/{end}"));
    let now = staff.visitor.now.0;
    let block = PhotoBlock::load(db, house, &around.studio, client, (&id, moment), action, now).await?;
    let mut pictures = PhotoBlock { may_add: block.may_add && works, ..block };
    if moment == Moment::After {
        pictures.words[1] = "No photo of this visit.";
        // Asked before the file, which no page that comes back still holds.
        pictures.fields.insert(0, moment_field(""));
    }
    // Whoever treated her once may read her card; her photos open with her record only.
    if !clients::may_see(client, &staff.who) {
        pictures.photos.clear();
        pictures.words[1] = "Her photos are shown to those who see her record.";
    }
    Ok(pictures)
}

/// When of the visit a photo is taken.
const MOMENTS: [Moment; 2] = [Moment::Before, Moment::After];

fn moment_field(chosen: &str) -> FieldView {
    let moments = MOMENTS.map(|moment| (moment.word().to_owned(), moment.words().to_owned()));
    choice_field("radio", "moment", "Taken", chosen, moments)
}

/// Whether nobody lies on a bed any more, and nobody comes today.
async fn is_last_of_the_day(db: &mut Db, around: &Around, now: Instant) -> Result<bool, Problem> {
    if !store::open(db).await?.is_empty() {
        return Ok(false);
    }
    let zone = &around.studio.zone;
    let rest = Span::new(now, zone.start_of_day_before(now, -1));
    let booked = book::between(db, rest).await?;
    Ok(!booked.iter().any(|own| own.state == Standing::Booked && own.when.visit.from > now))
}

#[derive(Template)]
#[template(path = "cards/version.html")]
struct VersionPage {
    frame: Frame,
    number: i64,
    replaced: String,
    reason: String,
    lines: Vec<Line>,
    back: String,
}

async fn version(
    staff: Staff,
    State(house): State<House>,
    At((id, part)): At<(CardId, CardPartId)>,
) -> Result<Response, Problem> {
    let now = staff.visitor.now.0;
    let mut db = house.store.read().await?;
    let (whole, client) = card_for(&mut db, house.store.keys(), id, &staff.who).await?;
    let around = Around::load(&mut db).await?;
    let versions = version_store::versions(&mut db, house.store.keys(), &whole.card).await?;
    drop(db);
    let own = versions.into_iter().find(|own| own.id == part).ok_or(Problem::NotHere("version"))?;
    clients::note_reading(&house, &staff.who, client.id, "read card", &id.to_string()).await?;
    let by = around.name_of_mark(&own.by);
    page(&VersionPage {
        frame: house.frame(&around.studio, &staff.visitor, Place::Book, format!("Earlier card of {}", client.short)),
        number: own.number,
        replaced: format!("replaced {} by {by}", around.studio.zone.date_and_clock(own.at, now)),
        reason: own.reason,
        lines: own.lines.into_iter().map(|(word, value)| Line { word, value }).collect(),
        back: house.url(&format!("/cards/{id}/record")),
    })
}

async fn tie(
    staff: Staff,
    State(house): State<House>,
    At(id): At<CardId>,
    form: Form<Typed>,
) -> Result<Response, Problem> {
    let client = {
        let mut db = house.store.read().await?;
        work_for(&mut db, house.store.keys(), id, &staff.who).await?.1
    };
    let Ok(complaint) = form.typed.get("complaint").parse::<ComplaintId>() else {
        return Err(Problem::Unreadable("This is none of her complaints.".into()));
    };
    let client = client.id;
    let kept = house.store.write(&form.key, move |tx| {
        Box::pin(async move {
            clearance::tie_complaint(tx, client, complaint, &id.to_string()).await?;
            Ok(Kept::see(format!("/cards/{id}/record?told=tied")))
        })
    });
    Ok(answer(&house, &kept.await?))
}

/// A photo of the sheet that a card was entered from.
async fn sheet(
    staff: Staff,
    State(house): State<House>,
    At(id): At<CardId>,
    headers: HeaderMap,
    parts: Multipart,
) -> Result<Response, Turned> {
    let (whole, client) = photographed(&house, &staff, id).await?;
    if whole.card.paper.is_none() {
        return Err(Problem::Clash(
            "This card was not entered from paper, so there is no sheet of it.".to_owned(),
            "Photos of her lashes are kept with the card itself.".to_owned(),
        )
        .into());
    }
    take(&house, &staff, (id, client.id), headers, parts, &[Moment::Sheet]).await
}

/// A photo of her lashes, kept with the card of the visit.
async fn photo(
    staff: Staff,
    State(house): State<House>,
    At(id): At<CardId>,
    headers: HeaderMap,
    parts: Multipart,
) -> Result<Response, Turned> {
    let (_, client) = photographed(&house, &staff, id).await?;
    take(&house, &staff, (id, client.id), headers, parts, &MOMENTS).await
}

/// The card and its client, of whom this person may take photos now.
async fn photographed(house: &House, staff: &Staff, id: CardId) -> Result<(Whole, Client), Problem> {
    let mut db = house.store.read().await?;
    let (whole, client) = work_for(&mut db, house.store.keys(), id, &staff.who).await?;
    clients::not_restricted(&client)?;
    Ok((whole, client))
}

/// Takes a photo in. Where one moment alone is meant, nobody is asked for it.
async fn take(
    house: &House,
    staff: &Staff,
    (id, client): (CardId, ClientId),
    headers: HeaderMap,
    parts: Multipart,
    moments: &[Moment],
) -> Result<Response, Turned> {
    let arrived = arrive(house, staff, &headers, parts).await?;
    let moment = match moments {
        [only] => Some(*only),
        _ => Moment::from_word(&arrived.moment).filter(|moment| moments.contains(moment)),
    };
    let mut notes = Vec::new();
    if moment.is_none() {
        notes.push(FieldNote::new("moment", "Choose one of these."));
    }
    let picture = arrived.picture.map_err(|sentence| notes.push(FieldNote::new("file", sentence))).ok();
    let (Some(moment), Some(picture)) = (moment, picture) else {
        let mut view = shown(house, staff, id, "").await?;
        for field in &mut view.pictures.fields {
            if field.name == "moment" {
                *field = moment_field(&arrived.moment);
            }
        }
        view.pictures = view.pictures.again(&notes, arrived.key.form.clone());
        return Ok(page_again(&view)?);
    };
    let told = if moment == Moment::Sheet { "sheet" } else { "photo" };
    let shows = Shows { client, moment, about: Some(id.to_string()) };
    let kept = keep(house, staff, &arrived.key, shows, picture, format!("/cards/{id}/record?told={told}")).await?;
    Ok(answer(house, &kept))
}
