//! A client's file: everything every part keeps of her, as a page to read and print, and as JSON to hand over. Each export is written
//! down before it is given.

use askama::Template;
use axum::extract::{Query, State};
use axum::http::{HeaderValue, header};
use axum::response::{IntoResponse, Response};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use serde::Deserialize;
use serde_json::{Map, Value, json};

use super::file_view::{SectionView, Wording};
use super::kept_by;
use super::parts::PARTS;
use crate::base::ids::{ClientId, PhotoId};
use crate::base::problem::Problem;
use crate::clients::file::FilePart;
use crate::clients::names::Names;
use crate::clients::note_reading;
use crate::clients::rights;
use crate::web::House;
use crate::web::frame::Frame;
use crate::web::guard::{Staff, with_passphrase};
use crate::web::incoming::At;
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/door/clients/{client}/file", show).get("/door/clients/{client}/file.json", as_json)
}

#[derive(Template)]
#[template(path = "privacy/file.html")]
struct FilePage {
    frame: Frame,
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
}

/// Everything, after the reading was written down.
async fn collect(house: &House, staff: &Staff, id: ClientId) -> Result<(String, Studio, Vec<FilePart>), Problem> {
    {
        let mut db = house.store.read().await?;
        kept_by(&mut db, staff, id).await?;
    }
    note_reading(house, &staff.who, id, "export client file", "").await?;
    let mut db = house.store.read().await?;
    let client = kept_by(&mut db, staff, id).await?;
    let studio = Studio::load(&mut db).await?;
    let mut all = Vec::new();
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
    with_passphrase(&staff.visitor)?;
    let (name, studio, parts) = collect(&house, &staff, id).await?;
    let path = house.url(&format!("/door/clients/{id}"));
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
    page(&FilePage {
        photos: photos.collect(),
        frame: house.frame(&studio, &staff.visitor, Place::Door, format!("{name}: her file")),
        made: studio.zone.date_and_clock(now, now),
        zone: studio.zone.name().to_owned(),
        sections,
        nothing: nothing.join(", "),
        open,
        all: if open { format!("{path}/file") } else { format!("{path}/file?open=yes") },
        json: format!("{path}/file.json"),
        back: path,
    })
}

async fn as_json(staff: Staff, State(house): State<House>, At(id): At<ClientId>) -> Result<Response, Problem> {
    with_passphrase(&staff.visitor)?;
    let (_, studio, parts) = collect(&house, &staff, id).await?;
    let photos: Vec<Value> = {
        let mut db = house.store.read().await?;
        let all = rights::client_photos(&mut db, house.store.keys(), id).await?;
        all.into_iter().map(|(photo, jpeg)| photo_as_json(photo, &jpeg)).collect()
    };
    let parts: Vec<Value> = parts.iter().map(part_as_json).collect();
    let file = json!({
        "studio": studio.name,
        "client": id.to_string(),
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
