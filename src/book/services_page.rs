//! What can be booked: listed for everybody who works here, kept by the owner.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::around::Around;
use super::plan_store;
use super::service::{Service, VisitKind};
use super::slots::Length;
use crate::artists::Technique;
use crate::base::actor::Role;
use crate::base::ids::ServiceId;
use crate::base::problem::{FieldNote, Problem};
use crate::base::text::capital;
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, choice_field, note_fields, number_field, text_field};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::{Owner, Staff};
use crate::web::incoming::{At, Form, Nothing, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::Place;

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/book/services", list)
        .post("/book/services", add)
        .get("/book/services/new", new_page)
        .get("/book/services/{service}", edit_page)
        .post("/book/services/{service}", change)
        .post("/book/services/{service}/close", close)
}

#[derive(Debug, Clone, Default, Deserialize)]
#[serde(default)]
struct TypedService {
    name: String,
    kind: String,
    minutes: String,
    before: String,
    after: String,
    first: String,
    classic: String,
    hybrid: String,
    volume: String,
    mega: String,
    patch_test: String,
    takes_bed: String,
}

struct Row {
    name: String,
    about: String,
    length: String,
    patch_test: bool,
    href: String,
}

#[derive(Template)]
#[template(path = "book/services.html")]
struct ServicesPage {
    frame: Frame,
    rows: Vec<Row>,
    owner: bool,
}

#[derive(Template)]
#[template(path = "book/service.html")]
struct ServiceForm {
    frame: Frame,
    key: String,
    action: String,
    close: String,
    name: String,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
    button: &'static str,
}

async fn list(staff: Staff, State(house): State<House>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let around = Around::load(&mut db).await?;
    let owner = staff.who.role == Role::Owner;
    let row = |service: &Service| {
        let techniques: Vec<_> = service.techniques.iter().map(|technique| technique.word()).collect();
        let of = if techniques.is_empty() { String::new() } else { format!(", {}", techniques.join(", ")) };
        let first = if service.first_minutes > 0 {
            format!("; {} more at a first visit", service.first_minutes)
        } else {
            String::new()
        };
        let bed = if service.takes_bed { "" } else { "; takes no bed" };
        Row {
            name: service.name.clone(),
            about: format!("{}{of}", service.kind.words()),
            length: format!(
                "{} min, {} kept free before, {} after{first}{bed}",
                service.length.minutes, service.length.before, service.length.after
            ),
            patch_test: service.patch_test,
            href: if owner { house.url(&format!("/book/services/{}", service.id)) } else { String::new() },
        }
    };
    let rows = around.offered().map(row).collect();
    page(&ServicesPage { frame: house.frame(&around.studio, &staff.visitor, Place::Book, "Services"), rows, owner })
}

impl TypedService {
    fn fresh() -> Self {
        Self {
            minutes: "120".into(),
            before: "5".into(),
            after: "10".into(),
            first: "15".into(),
            patch_test: "yes".into(),
            takes_bed: "yes".into(),
            ..Self::default()
        }
    }

    fn of(service: &Service) -> Self {
        let yes = |set: bool| if set { "yes".to_owned() } else { String::new() };
        let has = |technique| yes(service.techniques.contains(&technique));
        Self {
            name: service.name.clone(),
            kind: service.kind.word().to_owned(),
            minutes: service.length.minutes.to_string(),
            before: service.length.before.to_string(),
            after: service.length.after.to_string(),
            first: service.first_minutes.to_string(),
            classic: has(Technique::Classic),
            hybrid: has(Technique::Hybrid),
            volume: has(Technique::Volume),
            mega: has(Technique::Mega),
            patch_test: yes(service.patch_test),
            takes_bed: yes(service.takes_bed),
        }
    }

    fn techniques(&self) -> Vec<Technique> {
        let typed = [&self.classic, &self.hybrid, &self.volume, &self.mega];
        Technique::ALL
            .into_iter()
            .zip(typed)
            .filter(|(_, typed)| *typed == "yes")
            .map(|(technique, _)| technique)
            .collect()
    }

    fn check(&self, id: ServiceId) -> Result<Service, Problem> {
        let mut notes = Notes::default();
        let name = notes.line("name", &self.name, 60);
        let kind = notes.choice("kind", VisitKind::from_word(&self.kind));
        #[expect(clippy::cast_possible_truncation, reason = "the limits are small")]
        let mut whole = |field, typed: &str, low: f64, high: f64| {
            notes.number(field, typed, (low, high), "minutes").map(|minutes| minutes.round() as i64)
        };
        let minutes = whole("minutes", &self.minutes, 5.0, 600.0);
        let before = whole("before", &self.before, 0.0, 120.0);
        let after = whole("after", &self.after, 0.0, 120.0);
        let first = whole("first", &self.first, 0.0, 120.0);
        let service = (|| {
            Some(Service {
                id,
                name: name?,
                kind: kind?,
                length: Length { minutes: minutes?, before: before?, after: after? },
                first_minutes: first?,
                techniques: self.techniques(),
                patch_test: self.patch_test == "yes",
                takes_bed: self.takes_bed == "yes",
                closed: false,
            })
        })();
        notes.settle(service)
    }

    fn fields(&self, notes: &[FieldNote]) -> Vec<FieldView> {
        let kinds = VisitKind::ALL.map(|kind| (kind.word().to_owned(), kind.words().to_owned()));
        let kinds = std::iter::once((String::new(), "choose".to_owned())).chain(kinds);
        let tick = |name, label: &str, value: &str| FieldView {
            kind: "check",
            optional: true,
            ..text_field(name, label, value)
        };
        let technique =
            |technique: Technique, name, value: &str| tick(name, &format!("done in {}", technique.word()), value);
        let mut fields = vec![
            text_field("name", "Name", &self.name).hinted("As the studio calls it."),
            choice_field("select", "kind", "What the visit is", &self.kind, kinds),
            number_field("minutes", "Minutes", &self.minutes),
            number_field("before", "Minutes kept free before", &self.before).hinted("For making the bed ready."),
            number_field("after", "Minutes kept free after", &self.after).hinted("For cleaning and airing."),
            number_field("first", "Minutes more at a first visit", &self.first)
                .hinted("For the consultation and the papers."),
            technique(Technique::Classic, "classic", &self.classic),
            technique(Technique::Hybrid, "hybrid", &self.hybrid),
            technique(Technique::Volume, "volume", &self.volume),
            technique(Technique::Mega, "mega", &self.mega),
            tick("patch_test", "A patch test is needed before it", &self.patch_test),
            tick("takes_bed", "Somebody lies on a bed for it", &self.takes_bed),
        ];
        note_fields(&mut fields, notes);
        fields
    }
}

async fn around(house: &House) -> Result<Around, Problem> {
    let mut db = house.store.read().await?;
    Around::load(&mut db).await
}

fn form(
    house: &House,
    owner: &Owner,
    around: &Around,
    of: Option<&Service>,
    typed: &TypedService,
    notes: &[FieldNote],
    key: String,
) -> ServiceForm {
    let fields = typed.fields(notes);
    let action =
        of.map_or_else(|| house.url("/book/services"), |service| house.url(&format!("/book/services/{}", service.id)));
    let title = of.map_or_else(|| "A new service".to_owned(), |service| capital(&service.name));
    ServiceForm {
        frame: house.frame(&around.studio, &owner.visitor, Place::Book, title),
        key,
        close: of.map(|_| format!("{action}/close")).unwrap_or_default(),
        action,
        name: of.map(|service| service.name.clone()).unwrap_or_default(),
        mistakes: mistakes(&fields),
        fields,
        button: if of.is_some() { "Keep the changes" } else { "Add the service" },
    }
}

async fn new_page(owner: Owner, State(house): State<House>) -> Result<Response, Problem> {
    let around = around(&house).await?;
    page(&form(&house, &owner, &around, None, &TypedService::fresh(), &[], new_form_key()))
}

async fn add(owner: Owner, State(house): State<House>, sent: Form<TypedService>) -> Result<Response, Problem> {
    let around = around(&house).await?;
    let result = match sent.typed.check(ServiceId::new()) {
        Ok(service) => {
            house
                .store
                .write(&sent.key, move |tx| {
                    let service = service.clone();
                    Box::pin(async move {
                        plan_store::add_service(tx, &service).await?;
                        Ok(Kept::see("/book/services"))
                    })
                })
                .await
        }
        Err(problem) => Err(problem),
    };
    match result {
        Err(Problem::Mistakes(notes)) => {
            let key = sent.key.again();
            let view = form(&house, &owner, &around, None, &sent.typed, &notes, key);
            page_again(&view)
        }
        other => Ok(answer(&house, &other?)),
    }
}

fn offered(around: &Around, id: ServiceId) -> Result<Service, Problem> {
    around.offered().find(|service| service.id == id).cloned().ok_or(Problem::NotHere("service"))
}

async fn edit_page(owner: Owner, State(house): State<House>, At(id): At<ServiceId>) -> Result<Response, Problem> {
    let around = around(&house).await?;
    let service = offered(&around, id)?;
    page(&form(&house, &owner, &around, Some(&service), &TypedService::of(&service), &[], new_form_key()))
}

async fn change(
    owner: Owner,
    State(house): State<House>,
    At(id): At<ServiceId>,
    sent: Form<TypedService>,
) -> Result<Response, Problem> {
    let around = around(&house).await?;
    let before = offered(&around, id)?;
    let result = match sent.typed.check(id) {
        Ok(service) => {
            house
                .store
                .write(&sent.key, move |tx| {
                    let service = service.clone();
                    Box::pin(async move {
                        plan_store::change_service(tx, &service).await?;
                        Ok(Kept::see("/book/services"))
                    })
                })
                .await
        }
        Err(problem) => Err(problem),
    };
    match result {
        Err(Problem::Mistakes(notes)) => {
            let key = sent.key.again();
            let view = form(&house, &owner, &around, Some(&before), &sent.typed, &notes, key);
            page_again(&view)
        }
        other => Ok(answer(&house, &other?)),
    }
}

async fn close(
    _owner: Owner,
    State(house): State<House>,
    At(id): At<ServiceId>,
    sent: Form<Nothing>,
) -> Result<Response, Problem> {
    let kept = house.store.write(&sent.key, move |tx| {
        Box::pin(async move {
            plan_store::close_service(tx, id).await?;
            Ok(Kept::see("/book/services"))
        })
    });
    Ok(answer(&house, &kept.await?))
}
