//! The house adhesive from a date on, and who of those expected needs a test first.

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use super::desk_page::needs_a_test;
use super::judge::Clearance;
use super::lot_page::{choose, product_choices};
use super::seen::Names;
use super::standing::{Bench, standings};
use super::typed::{MoreNotes, Typed, notes_of, time_field, wall};
use super::visit_store::{HouseAdhesive, house_adhesive_at, set_house_adhesive};
use super::words;
use crate::base::actor::Role;
use crate::base::problem::{FieldNote, Problem};
use crate::base::time::DAY;
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, choice_field, note_fields};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::{Owner, Staff};
use crate::web::incoming::{Form, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/door/house-adhesive", house_adhesive).post("/door/house-adhesive", set)
}

#[derive(Template)]
#[template(path = "clearance/house_adhesive.html")]
struct HouseAdhesivePage {
    frame: Frame,
    key: String,
    action: String,
    now: String,
    next: Vec<(String, String)>,
    /// Who of those expected needs a test first: short name, visit, until when.
    first: Vec<(String, String, String)>,
    is_owner: bool,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
}

/// How far ahead those expected are looked at.
const AHEAD: i64 = 60 * DAY;

async fn house_adhesive(staff: Staff, State(house): State<House>) -> Result<Response, Problem> {
    page(&house_view(&house, &staff, None).await?)
}

async fn house_view(
    house: &House,
    staff: &Staff,
    again: Option<(&Typed, Vec<FieldNote>, String)>,
) -> Result<HouseAdhesivePage, Problem> {
    let now = staff.visitor.now.0;
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let zone = &studio.zone;
    let bench = Bench::load(&mut db, zone).await?;
    let all = standings(&mut db, house.store.keys(), &bench, (now, now.plus(AHEAD)), now).await?;
    let names = Names::load(&mut db).await?;
    let first = all.iter().filter(|standing| needs_a_test(standing)).map(|standing| {
        let with = standing.visit.artist.map(|id| format!(", {}", names.first(id))).unwrap_or_default();
        let due = match &standing.answer {
            Clearance::NotYet(not_yet) => words::deadline(not_yet, &bench.rules, zone, now),
            _ => String::new(),
        };
        (standing.short.clone(), format!("{}{with}", zone.date_and_clock(standing.visit.at, now)), due)
    });
    let later = bench.house.iter().filter(|house| house.from > now);
    let fresh = Typed::of([("from", wall(zone, zone.start_of_day_before(now, -1)))]);
    let (typed, notes, key) = match again {
        Some((typed, notes, key)) => (typed.clone(), notes, key),
        None => (fresh, Vec::new(), new_form_key()),
    };
    let mut fields = vec![
        choice_field("select", "product", "Adhesive", typed.get("product"), choose().chain(product_choices(&bench))),
        time_field("from", "From", typed.get("from")),
    ];
    note_fields(&mut fields, &notes);
    Ok(HouseAdhesivePage {
        frame: house.frame(&studio, &staff.visitor, Place::Door, "House adhesive"),
        key,
        action: house.url("/door/house-adhesive"),
        now: house_adhesive_at(&bench.house, now).map_or_else(|| "none set".to_owned(), |id| bench.name(Some(id))),
        next: later.map(|later| (zone.date_and_clock(later.from, now), bench.name(Some(later.product)))).collect(),
        first: first.collect(),
        is_owner: staff.who.role == Role::Owner,
        mistakes: mistakes(&fields),
        fields,
    })
}

async fn set(owner: Owner, State(house): State<House>, form: Form<Typed>) -> Result<Response, Problem> {
    let now = owner.visitor.now.0;
    let (zone, bench) = {
        let mut db = house.store.read().await?;
        let zone = Studio::load(&mut db).await?.zone;
        (zone.clone(), Bench::load(&mut db, &zone).await?)
    };
    let mut notes = Notes::default();
    let known =
        form.typed.get("product").parse().ok().filter(|id| bench.products.get(id).is_some_and(|own| !own.stopped));
    let product = notes.choice("product", known);
    let from = notes.instant("from", form.typed.get("from"), &zone, (now.plus(-DAY), now.plus(730 * DAY)));
    match notes.settle((|| Some(HouseAdhesive { product: product?, from: from? }))()) {
        Ok(new) => {
            let kept = house
                .store
                .write(&form.key, move |tx| {
                    Box::pin(async move {
                        set_house_adhesive(tx, new).await?;
                        Ok(Kept::see("/door/house-adhesive"))
                    })
                })
                .await?;
            Ok(answer(&house, &kept))
        }
        Err(problem) => {
            let notes = notes_of(problem)?;
            let staff = Staff { who: owner.who, visitor: owner.visitor };
            let key = form.key.again();
            page_again(&house_view(&house, &staff, Some((&form.typed, notes, key))).await?)
        }
    }
}
