//! Incidents of those who work here, apart from every client's file: anybody records one, the owner reads them.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;

use super::lot_page::choose;
use super::reaction_store::{StaffIncident, add_staff_incident, staff_incidents};
use super::seen::Names;
use super::standing::Bench;
use super::typed::{MoreNotes, Typed, notes_of, time_field, wall, words_field};
use crate::base::actor::Role;
use crate::base::ids::StaffIncidentId;
use crate::base::older::{Before, cut};
use crate::base::problem::{FieldNote, Problem};
use crate::base::text;
use crate::base::time::{DAY, Instant};
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, choice_field, note_fields, text_field};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{Form, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/door/staff-incidents", show).post("/door/staff-incidents", add)
}

#[derive(Template)]
#[template(path = "clearance/staff.html")]
struct StaffPage {
    frame: Frame,
    key: String,
    action: String,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
    /// The owner's list; nobody else's.
    all: Option<Vec<IncidentRow>>,
    /// Where the older ones stand.
    older: Option<String>,
}

struct IncidentRow {
    when: String,
    who: String,
    what: String,
    with: String,
    /// Empty where none is known.
    lot: String,
    first_aid: String,
}

/// So many on one page of the list.
const LISTED: usize = 50;

async fn show(
    staff: Staff,
    State(house): State<House>,
    Query(asked): Query<BTreeMap<String, String>>,
) -> Result<Response, Problem> {
    if staff.who.role == Role::Owner {
        let key = crate::store::FormKey::unkeyed(staff.visitor.actor.clone());
        house
            .store
            .write(&key, |tx| {
                Box::pin(async move {
                    tx.audit("see staff incidents", "", "").await?;
                    Ok(Kept::see(""))
                })
            })
            .await?;
    }
    page(&view(&house, &staff, &Before::asked(asked.get("before").map(String::as_str)), None).await?)
}

async fn view(
    house: &House,
    staff: &Staff,
    before: &Before,
    again: Option<(&Typed, Vec<FieldNote>, String)>,
) -> Result<StaffPage, Problem> {
    let now = staff.visitor.now.0;
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let (names, bench) = (Names::load(&mut db).await?, Bench::load(&mut db, &studio.zone).await?);
    let fresh = Typed::of([("at", wall(&studio.zone, now))]);
    let (typed, notes, key) = match again {
        Some((typed, notes, key)) => (typed.clone(), notes, key),
        None => (fresh, Vec::new(), new_form_key()),
    };
    let mut products: Vec<_> =
        bench.products.values().map(|product| (product.id.to_string(), product.name.clone())).collect();
    products.sort_by_cached_key(|(_, name)| text::fold(name));
    let none = std::iter::once((String::new(), "none, or not known".to_owned()));
    let mut fields = vec![
        choice_field("select", "person", "Who", typed.get("person"), choose().chain(names.all())),
        time_field("at", "When", typed.get("at")),
        words_field("what", "What happened", typed.get("what"))
            .hinted("Cough, wheeze, itching hands, a splash: what was noticed, where, with how much air."),
        choice_field("select", "product", "With what", typed.get("product"), none.chain(products)),
        text_field("lot", "Lot", typed.get("lot")).or_empty(),
        words_field("first_aid", "First aid given", typed.get("first_aid")).or_empty(),
    ];
    note_fields(&mut fields, &notes);
    let (mut all, mut older) = (None, None);
    if staff.who.role == Role::Owner {
        let mut some = staff_incidents(&mut db, before, LISTED as i64 + 1).await?;
        let last = cut(&mut some, LISTED, |incident| Before::row(incident.at, incident.id));
        older = last.map(|before| house.url(&format!("/door/staff-incidents?before={before}#all")));
        all = Some(some.into_iter().map(|incident| row(incident, &studio, &names, &bench, now)).collect());
    }
    Ok(StaffPage {
        frame: house.frame(&studio, &staff.visitor, Place::Door, "Incidents of those who work here"),
        key,
        action: house.url("/door/staff-incidents"),
        mistakes: mistakes(&fields),
        fields,
        all,
        older,
    })
}

fn row(incident: StaffIncident, studio: &Studio, names: &Names, bench: &Bench, now: Instant) -> IncidentRow {
    IncidentRow {
        when: studio.zone.date_and_clock(incident.at, now),
        who: names.of(incident.person),
        with: incident.product.map(|product| bench.name(Some(product))).unwrap_or_default(),
        lot: incident.lot,
        what: incident.what,
        first_aid: incident.first_aid,
    }
}

async fn add(staff: Staff, State(house): State<House>, form: Form<Typed>) -> Result<Response, Problem> {
    let now = staff.visitor.now.0;
    let typed = &form.typed;
    let (studio, names, bench) = {
        let mut db = house.store.read().await?;
        let studio = Studio::load(&mut db).await?;
        let names = Names::load(&mut db).await?;
        (studio.clone(), names, Bench::load(&mut db, &studio.zone).await?)
    };
    let mut notes = Notes::default();
    let person = names.all().find(|(id, _)| id == typed.get("person")).and_then(|(id, _)| id.parse().ok());
    let person = notes.choice("person", person);
    let at = notes.instant("at", typed.get("at"), &studio.zone, (now.plus(-3650 * DAY), now));
    let what = notes.words("what", typed.get("what"), 4000);
    let product = match typed.get("product") {
        "" => Some(None),
        id => notes.choice("product", id.parse().ok().filter(|id| bench.products.contains_key(id))).map(Some),
    };
    let lot = if typed.get("lot").trim().is_empty() {
        Some(String::new())
    } else {
        notes.line("lot", typed.get("lot"), 60).map(|lot| text::lot(&lot))
    };
    let first_aid = notes.may_be_words("first_aid", typed.get("first_aid"), 2000);
    let new = (|| {
        let id = StaffIncidentId::new();
        Some(StaffIncident {
            id,
            person: person?,
            at: at?,
            what: what?,
            product: product?,
            lot: lot?,
            first_aid: first_aid?,
        })
    })();
    match notes.settle(new) {
        Ok(new) => {
            let inner = house.clone();
            let kept = house
                .store
                .write(&form.key, move |tx| {
                    let (house, new) = (inner.clone(), new.clone());
                    Box::pin(async move {
                        add_staff_incident(tx, house.store.keys(), &new).await?;
                        Ok(Kept::see("/door/not-cleared"))
                    })
                })
                .await?;
            Ok(answer(&house, &kept))
        }
        Err(problem) => {
            let notes = notes_of(problem)?;
            let key = form.key.again();
            let again = Some((&form.typed, notes, key));
            page_again(&view(&house, &staff, &Before::anything(), again).await?)
        }
    }
}
