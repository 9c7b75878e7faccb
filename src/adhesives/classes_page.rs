//! The studio's cure-speed classes: read by all who work there, changed by the owner.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::product::StudioClass;
use super::product_form::FormPage;
use super::shelf_page::class_words;
use super::{store, words};
use crate::base::actor::Role;
use crate::base::ids::ClassId;
use crate::base::problem::{FieldNote, Problem};
use crate::base::units::Seconds;
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, note_fields, number_field};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::{Owner, Staff};
use crate::web::incoming::{At, Form, Nothing, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};
use crate::web::visitor::Visitor;

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/shelf/classes", list)
        .post("/shelf/classes", add)
        .get("/shelf/classes/{class}", edit_page)
        .post("/shelf/classes/{class}", change)
        .post("/shelf/classes/{class}/retire", retire)
}

#[derive(Deserialize, Default)]
#[serde(default)]
struct TypedClass {
    low: String,
    high: String,
}

struct ClassRow {
    words: String,
    edit: String,
    retire: String,
}

#[derive(Template)]
#[template(path = "adhesives/classes.html")]
struct ClassesPage {
    frame: Frame,
    key: String,
    reference: String,
    classes: Vec<ClassRow>,
    is_owner: bool,
    action: String,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
}

impl TypedClass {
    fn check(&self, id: ClassId, studio: &Studio) -> Result<StudioClass, Problem> {
        let mut notes = Notes::said_with(studio.decimal);
        let low = notes.number("low", &self.low, (0.05, 600.0), "s");
        let high = notes.number("high", &self.high, (0.05, 600.0), "s");
        if low.zip(high).is_some_and(|(low, high)| low >= high) {
            notes.add("high", "This is the slower end: it must be above the quicker one.");
        }
        let class = (|| Some(StudioClass { id, low: Seconds::new(low?).ok()?, high: Seconds::new(high?).ok()? }))();
        notes.settle(class)
    }

    fn fields(&self, notes: &[FieldNote]) -> Vec<FieldView> {
        let mut fields =
            vec![number_field("low", "From, seconds", &self.low), number_field("high", "To, seconds", &self.high)];
        note_fields(&mut fields, notes);
        fields
    }
}

async fn list(staff: Staff, State(house): State<House>) -> Result<Response, Problem> {
    let is_owner = staff.who.role == Role::Owner;
    let fields = TypedClass::default().fields(&[]);
    page(&list_view(&house, &staff.visitor, is_owner, fields, new_form_key()).await?)
}

async fn list_view(
    house: &House,
    visitor: &Visitor,
    is_owner: bool,
    fields: Vec<FieldView>,
    key: String,
) -> Result<ClassesPage, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let row = |class: StudioClass| {
        let path = house.url(&format!("/shelf/classes/{}", class.id));
        ClassRow { words: class_words(&studio, &class), retire: format!("{path}/retire"), edit: path }
    };
    let classes = store::classes(&mut db).await?.into_iter().map(row).collect();
    Ok(ClassesPage {
        frame: house.frame(&studio, visitor, Place::Shelf, "Cure-speed classes"),
        key,
        reference: format!("{}\u{a0}{}", studio.number(studio.scale(22.0), 0), studio.temperature_unit()),
        classes,
        is_owner,
        action: house.url("/shelf/classes"),
        mistakes: mistakes(&fields),
        fields,
    })
}

async fn add(owner: Owner, State(house): State<House>, form: Form<TypedClass>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    drop(db);
    let result = match form.typed.check(ClassId::new(), &studio) {
        Ok(class) => {
            house
                .store
                .write(&form.key, move |tx| {
                    Box::pin(async move {
                        store::add_class(tx, &class).await?;
                        Ok(Kept::see("/shelf/classes"))
                    })
                })
                .await
        }
        Err(problem) => Err(problem),
    };
    match result {
        Err(Problem::Mistakes(notes)) => {
            let key = form.key.again();
            let view = list_view(&house, &owner.visitor, true, form.typed.fields(&notes), key).await?;
            page_again(&view)
        }
        other => Ok(answer(&house, &other?)),
    }
}

async fn load(house: &House, id: ClassId) -> Result<(Studio, StudioClass), Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let class = store::classes(&mut db).await?.into_iter().find(|class| class.id == id);
    Ok((studio, class.ok_or(Problem::NotHere("class"))?))
}

async fn edit_page(owner: Owner, State(house): State<House>, At(id): At<ClassId>) -> Result<Response, Problem> {
    let (studio, class) = load(&house, id).await?;
    let typed =
        TypedClass { low: words::plain(&studio, class.low.get()), high: words::plain(&studio, class.high.get()) };
    page(&edit_view(&house, &owner, &studio, &class, typed.fields(&[]), new_form_key()))
}

fn edit_view(
    house: &House,
    owner: &Owner,
    studio: &Studio,
    class: &StudioClass,
    fields: Vec<FieldView>,
    key: String,
) -> FormPage {
    FormPage {
        frame: house.frame(studio, &owner.visitor, Place::Shelf, format!("The class {}", class_words(studio, class))),
        key,
        action: house.url(&format!("/shelf/classes/{}", class.id)),
        word: "Class",
        small: "a window of set time".to_owned(),
        lead: String::new(),
        mistakes: mistakes(&fields),
        fields,
        button: "Keep the window",
        back: house.url("/shelf/classes"),
        kept: "",
    }
}

async fn change(
    owner: Owner,
    State(house): State<House>,
    At(id): At<ClassId>,
    form: Form<TypedClass>,
) -> Result<Response, Problem> {
    let (studio, was) = load(&house, id).await?;
    let result = match form.typed.check(id, &studio) {
        Ok(class) => {
            house
                .store
                .write(&form.key, move |tx| {
                    Box::pin(async move {
                        store::change_class(tx, &class).await?;
                        Ok(Kept::see("/shelf/classes"))
                    })
                })
                .await
        }
        Err(problem) => Err(problem),
    };
    match result {
        Err(Problem::Mistakes(notes)) => {
            let key = form.key.again();
            let view = edit_view(&house, &owner, &studio, &was, form.typed.fields(&notes), key);
            page_again(&view)
        }
        other => Ok(answer(&house, &other?)),
    }
}

async fn retire(
    _owner: Owner,
    State(house): State<House>,
    At(id): At<ClassId>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    let kept = house
        .store
        .write(&form.key, move |tx| {
            Box::pin(async move {
                store::retire_class(tx, id).await?;
                Ok(Kept::see("/shelf/classes"))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}
