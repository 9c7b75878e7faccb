//! Somebody else treats her clients: for a holiday, with access that ends with its last day, or because she leaves, with her sign-in
//! ended in the same step. The record goes to nobody: who keeps a client stays her keeper, and alone may export or erase.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use jiff::ToSpan;
use serde::Deserialize;

use crate::base::actor::Role;
use crate::base::ids::PersonId;
use crate::base::problem::{FieldNote, Problem};
use crate::base::time::Instant;
use crate::book;
use crate::clearance;
use crate::clients::names::Names;
use crate::clients::{self, Cover};
use crate::people::{self, Person};
use crate::store::{Db, Kept};
use crate::web::House;
use crate::web::checks::{Notes, choice_field, note_fields, text_field};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Owner;
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/office/people/{person}/cover", show).post("/office/people/{person}/cover", keep)
}

#[derive(Deserialize, Default, Clone)]
#[serde(default)]
struct TypedCover {
    to: String,
    /// "holiday" or "leaves".
    why: String,
    last_day: String,
}

#[derive(Template)]
#[template(path = "privacy/cover.html")]
struct CoverPage {
    frame: Frame,
    key: String,
    action: String,
    back: String,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
}

/// Whose clients, the studio, and who might treat them.
struct Opened {
    studio: Studio,
    person: Person,
    others: Vec<(String, String)>,
}

async fn open(db: &mut Db, id: PersonId) -> Result<Opened, Problem> {
    let studio = Studio::load(db).await?;
    let everybody = people::everyone(db).await?;
    let treats = |person: &&Person| matches!(person.role, Role::Artist | Role::Owner) && person.left.is_none();
    let person = everybody.iter().filter(treats).find(|person| person.id == id).cloned();
    let owners = everybody.iter().filter(|person| person.role == Role::Owner && person.left.is_none());
    let owners: Vec<_> = owners.map(|owner| (owner.id, owner.name.clone())).collect();
    let names = Names::load(db).await?;
    let others = names.artists().chain(owners).filter(|(other, _)| *other != id);
    Ok(Opened {
        studio,
        person: person.ok_or(Problem::NotHere("person"))?,
        others: others.map(|(id, name)| (id.to_string(), name)).collect(),
    })
}

fn view(
    house: &House,
    owner: &Owner,
    opened: &Opened,
    typed: &TypedCover,
    notes: &[FieldNote],
    key: String,
) -> CoverPage {
    let path = house.url(&format!("/office/people/{}", opened.person.id));
    let why = [("holiday", "she is away, and comes back"), ("leaves", "she leaves: her sign-in ends now")];
    let nobody_yet = std::iter::once((String::new(), "choose".to_owned()));
    let mut fields = vec![
        choice_field(
            "select",
            "to",
            "Who treats her clients",
            &typed.to,
            nobody_yet.chain(opened.others.iter().cloned()),
        ),
        choice_field("radio", "why", "Why", &typed.why, why.map(|(key, words)| (key.to_owned(), words.to_owned()))),
        text_field("last_day", "Last day of the holiday", &typed.last_day)
            .hinted("As 2026-08-14. Access ends with this day. Empty when she leaves.")
            .or_empty(),
    ];
    note_fields(&mut fields, notes);
    CoverPage {
        frame: house.frame(
            &opened.studio,
            &owner.visitor,
            Place::Office,
            format!("Somebody else for the clients of {}", opened.person.name),
        ),
        key,
        action: format!("{path}/cover"),
        back: path,
        mistakes: mistakes(&fields),
        fields,
    }
}

async fn show(owner: Owner, State(house): State<House>, At(id): At<PersonId>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let opened = open(&mut db, id).await?;
    let typed = TypedCover { why: "holiday".to_owned(), ..TypedCover::default() };
    page(&view(&house, &owner, &opened, &typed, &[], new_form_key()))
}

/// Who, and until when; `None` for good.
fn check(typed: &TypedCover, opened: &Opened, now: Instant) -> Result<(PersonId, Option<Instant>), Problem> {
    let mut notes = Notes::default();
    let to = opened.others.iter().find(|(id, _)| *id == typed.to).and_then(|(id, _)| id.parse().ok());
    let to = notes.choice("to", to);
    let until = match typed.why.as_str() {
        "leaves" => Some(None),
        "holiday" => {
            let zone = &opened.studio.zone;
            let day: Option<jiff::civil::Date> = typed.last_day.trim().parse().ok();
            let (today, most) = (zone.day(now), zone.day(now).saturating_add(1.year()));
            match day {
                Some(day) if (today..=most).contains(&day) => Some(Some(zone.start_of(day.saturating_add(1.day())))),
                Some(_) => {
                    notes.add("last_day", "Type a day from today on, at most a year ahead.");
                    None
                }
                None => {
                    notes.add("last_day", "Type the last day, as 2026-08-14.");
                    None
                }
            }
        }
        _ => notes.choice("why", None),
    };
    notes.settle((|| Some((to?, until?)))())
}

async fn keep(
    owner: Owner,
    State(house): State<House>,
    At(id): At<PersonId>,
    form: Form<TypedCover>,
) -> Result<Response, Problem> {
    let opened = {
        let mut db = house.store.read().await?;
        open(&mut db, id).await?
    };
    match check(&form.typed, &opened, owner.visitor.now.0) {
        Ok((to, until)) => {
            let kept = house
                .store
                .write(&form.key, move |tx| {
                    Box::pin(async move {
                        // Whoever is to treat them may have left while this waited.
                        let works = people::everyone(tx.db()).await?;
                        if !works.iter().any(|person| person.id == to && person.left.is_none()) {
                            return Err(Problem::NotHere("person"));
                        }
                        clients::cover(tx, &Cover { from: id, to, until }).await?;
                        clearance::hand_visits(tx, id, to, until).await?;
                        book::hand_over(tx, id, to, until).await?;
                        if until.is_none() {
                            people::leave(tx, id).await?;
                        }
                        Ok(Kept::see(format!("/office/people/{id}")))
                    })
                })
                .await?;
            Ok(answer(&house, &kept))
        }
        Err(Problem::Mistakes(notes)) => {
            let key = form.key.again();
            let view = view(&house, &owner, &opened, &form.typed, &notes, key);
            page_again(&view)
        }
        Err(other) => Err(other),
    }
}
