//! A client's file: everything every part keeps of her, as a page to read and print, and as JSON to hand over; of somebody erased, what had
//! to stay. Each export is written down before it is given.

use askama::Template;
use axum::extract::{Query, State};
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use serde::Deserialize;
use serde_json::{Map, Value, json};

use super::file_view::{SectionView, Wording};
use super::parts::PARTS;
use super::{erased_kept_by, kept_by};
use crate::base::ids::{ClientId, PhotoId};
use crate::base::problem::Problem;
use crate::clients::file::{FilePart, FileRecord};
use crate::clients::names::Names;
use crate::clients::{Client, note_reading, photos, rights};
use crate::store::Db;
use crate::web::House;
use crate::web::frame::Frame;
use crate::web::guard::{Staff, with_passphrase};
use crate::web::incoming::At;
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/door/clients/{client}/file", show)
        .get("/door/clients/{client}/file.json", as_json)
        .get("/door/erased/{client}/file", show_erased)
        .get("/door/erased/{client}/file.json", erased_as_json)
        .get("/door/erased/{client}/photos/{photo}", erased_photo)
}

/// Whose file it is.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Whose {
    /// A client's, hers to have.
    Client,
    /// Somebody's who was erased: opened to answer a claim.
    Erased,
}

impl Whose {
    /// The path of her record, without the base.
    fn path(self, id: ClientId) -> String {
        match self {
            Self::Client => format!("/door/clients/{id}"),
            Self::Erased => format!("/door/erased/{id}"),
        }
    }

    async fn kept_by(self, db: &mut Db, staff: &Staff, id: ClientId) -> Result<Client, Problem> {
        match self {
            Self::Client => kept_by(db, staff, id).await,
            Self::Erased => erased_kept_by(db, staff, id).await,
        }
    }
}

#[derive(Template)]
#[template(path = "privacy/file.html")]
struct FilePage {
    frame: Frame,
    /// What this is.
    lead: &'static str,
    /// What it is good for, taken along.
    take: &'static str,
    made: String,
    zone: String,
    sections: Vec<SectionView>,
    /// Headings under which nothing is kept, with commas between.
    nothing: String,
    /// Address, words, width and height of each photo.
    photos: Vec<(String, String, i64, i64)>,
    /// True where every entry stands open, and where to have it the other way.
    open: bool,
    all: String,
    json: String,
    back: String,
    back_words: &'static str,
}

/// Everything, after the reading was written down.
async fn collect(
    house: &House,
    staff: &Staff,
    (id, whose): (ClientId, Whose),
) -> Result<(String, Studio, Vec<FilePart>), Problem> {
    {
        let mut db = house.store.read().await?;
        whose.kept_by(&mut db, staff, id).await?;
    }
    let what = match whose {
        Whose::Client => "export client file",
        Whose::Erased => "open what stays of client",
    };
    note_reading(house, &staff.who, id, what, "").await?;
    let mut db = house.store.read().await?;
    let client = whose.kept_by(&mut db, staff, id).await?;
    let studio = Studio::load(&mut db).await?;
    let mut all = Vec::new();
    let mut rests = rights::rests(&mut db, house.store.keys(), &[id]).await?;
    if let Some(rest) = rests.remove(&id) {
        let born = rest.born.unwrap_or_default();
        let reached = [
            ("name", rest.name.into()),
            ("born", born.into()),
            ("phone", rest.phone.into()),
            ("email", rest.email.into()),
        ];
        all.push(FilePart::new("Whose this is", vec![FileRecord::new("Kept with what stays", reached)]));
    }
    for part in PARTS {
        all.extend((part.client_file)(&mut db, house.store.keys(), id).await?);
    }
    Ok((client.name, studio, all))
}

/// How the page is asked for.
#[derive(Deserialize, Default)]
#[serde(default)]
struct Asked {
    /// "yes": every entry open, as it is printed.
    open: String,
}

async fn show(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ClientId>,
    Query(asked): Query<Asked>,
) -> Result<Response, Problem> {
    file_page(&house, &staff, (id, Whose::Client), &asked).await
}

async fn show_erased(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ClientId>,
    Query(asked): Query<Asked>,
) -> Result<Response, Problem> {
    file_page(&house, &staff, (id, Whose::Erased), &asked).await
}

async fn file_page(
    house: &House,
    staff: &Staff,
    (id, whose): (ClientId, Whose),
    asked: &Asked,
) -> Result<Response, Problem> {
    with_passphrase(&staff.visitor)?;
    let (name, studio, parts) = collect(house, staff, (id, whose)).await?;
    let path = house.url(&whose.path(id));
    let (photos, names) = {
        let mut db = house.store.read().await?;
        (rights::listed_photos(&mut db, id).await?, Names::load(&mut db).await?)
    };
    let now = staff.visitor.now.0;
    let wording = Wording { zone: &studio.zone, names: &names, now };
    let (sections, nothing) = wording.sections(&parts);
    let photos = photos.into_iter().map(|(photo, moment, at, width, height)| {
        let words = format!("{moment}, {}", studio.zone.date(at, now));
        (format!("{path}/photos/{photo}"), words, width, height)
    });
    let open = asked.open == "yes";
    let (title, lead, take, back_words) = match whose {
        Whose::Client => (
            format!("{name}: her file"),
            "Everything this house keeps of her",
            "Opened whole and printed, or kept by the browser as a whole page, this is a copy she can read without any program. The file for programs holds the photos, and besides the same words every id, digest and stroke of a pen.",
            "Back to her page",
        ),
        Whose::Erased => (
            "What stays of somebody erased".to_owned(),
            "What had to stay of her, to answer a claim, an insurer or an authority and for nothing else",
            "Give away what answers the claim and no more. A copy that is taken along does not go by itself on its day: destroy it when it has served. The file for programs holds the photos, and besides the same words every id, digest and stroke of a pen.",
            "Back to what stays",
        ),
    };
    page(&FilePage {
        photos: photos.collect(),
        frame: house.frame(&studio, &staff.visitor, Place::Door, title),
        lead,
        take,
        made: studio.zone.date_and_clock(now, now),
        zone: studio.zone.name().to_owned(),
        sections,
        nothing: nothing.join(", "),
        open,
        all: if open { format!("{path}/file") } else { format!("{path}/file?open=yes") },
        json: format!("{path}/file.json"),
        back: path,
        back_words,
    })
}

async fn as_json(staff: Staff, State(house): State<House>, At(id): At<ClientId>) -> Result<Response, Problem> {
    json_file(&house, &staff, (id, Whose::Client)).await
}

async fn erased_as_json(staff: Staff, State(house): State<House>, At(id): At<ClientId>) -> Result<Response, Problem> {
    json_file(&house, &staff, (id, Whose::Erased)).await
}

/// A photo that stays with a complaint.
async fn erased_photo(
    staff: Staff,
    State(house): State<House>,
    At((id, photo)): At<(ClientId, PhotoId)>,
) -> Result<Response, Problem> {
    with_passphrase(&staff.visitor)?;
    let jpeg = {
        let mut db = house.store.read().await?;
        // A photo that is not there is told as that, also to whoever is not her keeper.
        if !rights::listed_photos(&mut db, id).await?.iter().any(|listed| listed.0 == photo) {
            return Err(Problem::NotHere("photo"));
        }
        erased_kept_by(&mut db, &staff, id).await?;
        rights::client_photo(&mut db, house.store.keys(), (id, photo)).await?
    };
    note_reading(&house, &staff.who, id, "read photo", &photo.to_string()).await?;
    Ok(photos::shown(jpeg))
}

async fn json_file(house: &House, staff: &Staff, whose: (ClientId, Whose)) -> Result<Response, Problem> {
    with_passphrase(&staff.visitor)?;
    let (id, kind) = whose;
    let (_, studio, parts) = collect(house, staff, whose).await?;
    let photos: Vec<Value> = {
        let mut db = house.store.read().await?;
        let all = rights::client_photos(&mut db, house.store.keys(), id).await?;
        all.into_iter().map(|(photo, jpeg)| photo_as_json(photo, &jpeg)).collect()
    };
    let parts: Vec<Value> = parts.iter().map(part_as_json).collect();
    let file = json!({
        "studio": studio.name,
        "client": id.to_string(),
        "erased": kind == Whose::Erased,
        "made": staff.visitor.now.0.iso(),
        "parts": parts,
        "photos": photos,
    });
    let text = serde_json::to_string_pretty(&file).map_err(Problem::broken)?;
    let mut answer = text.into_response();
    let headers = answer.headers_mut();
    headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("application/json"));
    // No name in the file's name: it ends up in lists of downloads.
    headers.insert(header::CONTENT_DISPOSITION, HeaderValue::from_static("attachment; filename=\"client-file.json\""));
    Ok(answer)
}

/// Not through the page's own route: what a withdrawn consent hides is still hers to have.
fn photo_as_json(photo: PhotoId, jpeg: &[u8]) -> Value {
    json!({ "id": photo.to_string(), "type": "image/jpeg", "base64": STANDARD.encode(jpeg) })
}

fn part_as_json(part: &FilePart) -> Value {
    let records: Vec<Value> = part
        .records
        .iter()
        .map(|record| {
            let mut fields = Map::new();
            for (name, value) in &record.fields {
                // Two questions may read alike: neither answer is lost.
                let name = if fields.contains_key(name) { format!("{name} ({})", fields.len()) } else { name.clone() };
                fields.insert(name, Value::String(value.text()));
            }
            json!({ "title": record.title, "fields": fields })
        })
        .collect();
    json!({ "heading": part.heading, "records": records })
}
