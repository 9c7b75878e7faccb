//! The week of the house, and of artists who work other hours. The owner's pages.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::around::Around;
use super::hours::{DAYS, Week, hours_words, typed_hours};
use super::plan::Hours;
use super::plan_store;
use super::slots::Span;
use crate::base::ids::ArtistId;
use crate::base::problem::{FieldNote, Problem};
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, note_fields, text_field};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Owner;
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::Place;

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/book/hours", house_page)
        .post("/book/hours", keep_house)
        .get("/book/hours/{artist}", artist_page)
        .post("/book/hours/{artist}", keep_artist)
}

/// Names of the seven fields, Monday first.
const FIELDS: [&str; 7] = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"];

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct TypedWeek {
    /// Of an artist: she has hours of her own.
    own: String,
    mon: String,
    tue: String,
    wed: String,
    thu: String,
    fri: String,
    sat: String,
    sun: String,
}

struct ArtistRow {
    name: String,
    words: &'static str,
    href: String,
}

#[derive(Template)]
#[template(path = "book/hours.html")]
struct HoursPage {
    frame: Frame,
    key: String,
    action: String,
    word: &'static str,
    lead: &'static str,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
    artists: Vec<ArtistRow>,
    back: (String, &'static str),
}

impl TypedWeek {
    fn of(week: &Week, own: bool) -> Self {
        let [mon, tue, wed, thu, fri, sat, sun] = std::array::from_fn(|day| hours_words(&week.0[day]));
        Self { own: if own { "yes".to_owned() } else { String::new() }, mon, tue, wed, thu, fri, sat, sun }
    }

    fn typed(&self) -> [&str; 7] {
        [&self.mon, &self.tue, &self.wed, &self.thu, &self.fri, &self.sat, &self.sun]
    }

    fn check(&self) -> Result<Week, Problem> {
        let mut notes = Notes::default();
        let mut week = Week::default();
        for ((field, typed), day) in FIELDS.into_iter().zip(self.typed()).zip(&mut week.0) {
            match typed_hours(typed) {
                Ok(hours) => *day = hours,
                Err(_) => notes.add(
                    field,
                    "Type hours as 9:00–12:30, 13:00–18:00, earlier ones first; nothing for a day without work.",
                ),
            }
        }
        notes.settle(Some(week))
    }

    fn fields(&self, artist: bool, notes: &[FieldNote]) -> Vec<FieldView> {
        let mut fields = Vec::new();
        if artist {
            let label = "She works other hours than the house";
            fields.push(FieldView { kind: "check", optional: true, ..text_field("own", label, &self.own) });
        }
        let days = FIELDS.into_iter().zip(DAYS).zip(self.typed());
        fields.extend(days.map(|((name, (_, day)), typed)| text_field(name, day, typed).or_empty()));
        note_fields(&mut fields, notes);
        fields
    }
}

async fn load(house: &House) -> Result<(Around, Hours), Problem> {
    let mut db = house.store.read().await?;
    let now = house.store.clock().now().0;
    Ok((Around::load(&mut db).await?, plan_store::hours(&mut db, Span::new(now, now)).await?))
}

async fn house_page(owner: Owner, State(house): State<House>) -> Result<Response, Problem> {
    let (around, hours) = load(&house).await?;
    page(&house_view(&house, &owner, &around, &hours, &TypedWeek::of(&hours.house, false), &[], new_form_key()))
}

fn house_view(
    house: &House,
    owner: &Owner,
    around: &Around,
    hours: &Hours,
    typed: &TypedWeek,
    notes: &[FieldNote],
    key: String,
) -> HoursPage {
    let fields = typed.fields(false, notes);
    let row = |artist: &crate::artists::Artist| ArtistRow {
        name: artist.name.clone(),
        words: if hours.artists.contains_key(&artist.id) { "hours of her own" } else { "as the house" },
        href: house.url(&format!("/book/hours/{}", artist.id)),
    };
    HoursPage {
        frame: house.frame(&around.studio, &owner.visitor, Place::Book, "Hours"),
        key,
        action: house.url("/book/hours"),
        word: "The house",
        lead: "When somebody can be treated. What lies between two spans of a day is a break.",
        mistakes: mistakes(&fields),
        fields,
        artists: around.artists.iter().map(row).collect(),
        back: (house.url("/book"), "Back to the diary"),
    }
}

async fn keep_house(owner: Owner, State(house): State<House>, form: Form<TypedWeek>) -> Result<Response, Problem> {
    match form.typed.check() {
        Ok(week) => {
            let kept = house.store.write(&form.key, move |tx| {
                let week = week.clone();
                Box::pin(async move {
                    plan_store::set_week(tx, None, Some(&week)).await?;
                    Ok(Kept::see("/book/hours"))
                })
            });
            Ok(answer(&house, &kept.await?))
        }
        Err(Problem::Mistakes(notes)) => {
            let (around, hours) = load(&house).await?;
            let key = form.key.again();
            let view = house_view(&house, &owner, &around, &hours, &form.typed, &notes, key);
            page_again(&view)
        }
        Err(problem) => Err(problem),
    }
}

async fn artist_page(owner: Owner, State(house): State<House>, At(id): At<ArtistId>) -> Result<Response, Problem> {
    let (around, hours) = load(&house).await?;
    around.artist(id).ok_or(Problem::NotHere("artist"))?;
    let own = hours.artists.get(&id);
    let typed = TypedWeek::of(own.unwrap_or(&hours.house), own.is_some());
    page(&artist_view(&house, &owner, &around, id, &typed, &[], new_form_key()))
}

fn artist_view(
    house: &House,
    owner: &Owner,
    around: &Around,
    id: ArtistId,
    typed: &TypedWeek,
    notes: &[FieldNote],
    key: String,
) -> HoursPage {
    let fields = typed.fields(true, notes);
    let title = format!("Hours of {}", around.artist(id).map_or("", |artist| artist.name.as_str()));
    HoursPage {
        frame: house.frame(&around.studio, &owner.visitor, Place::Book, title),
        key,
        action: house.url(&format!("/book/hours/{id}")),
        word: "Her week",
        lead: "Only what also lies within the house’s hours can be booked.",
        mistakes: mistakes(&fields),
        fields,
        artists: Vec::new(),
        back: (house.url("/book/hours"), "Back to the hours"),
    }
}

async fn keep_artist(
    owner: Owner,
    State(house): State<House>,
    At(id): At<ArtistId>,
    form: Form<TypedWeek>,
) -> Result<Response, Problem> {
    let (around, _) = load(&house).await?;
    around.artist(id).ok_or(Problem::NotHere("artist"))?;
    let own = form.typed.own == "yes";
    match form.typed.check() {
        Ok(week) => {
            let kept = house.store.write(&form.key, move |tx| {
                let week = week.clone();
                Box::pin(async move {
                    plan_store::set_week(tx, Some(id), own.then_some(&week)).await?;
                    Ok(Kept::see("/book/hours"))
                })
            });
            Ok(answer(&house, &kept.await?))
        }
        Err(Problem::Mistakes(notes)) => {
            let key = form.key.again();
            let view = artist_view(&house, &owner, &around, id, &form.typed, &notes, key);
            page_again(&view)
        }
        Err(problem) => Err(problem),
    }
}
