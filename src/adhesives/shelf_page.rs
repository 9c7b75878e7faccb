//! The shelf: what is about to lapse, then the bottles by room.

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;
use serde::Deserialize;

use super::bottle::{Bottle, Lapse};
use super::product::{Product, StudioClass};
use super::{bench_store, shelf, store, words};
use crate::base::actor::Role;
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::rooms::{self, Room};
use crate::web::House;
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::new_form_key;
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::studio::{Place, Studio};

/// Finished bottles shown behind the link: the newest.
const FINISHED_SHOWN: i64 = 50;

pub(super) fn routes() -> Routes {
    Routes::new().get("/shelf", list)
}

#[derive(Deserialize, Default)]
struct Asked {
    #[serde(default)]
    show: String,
}

pub(super) struct BottleRow {
    name: String,
    href: String,
    mark: &'static str,
    state: String,
    about: String,
    in_use: bool,
    /// The bench, or "" where the bottle is not open or must not be used.
    bench: String,
    /// Where opening it is sent, or "" where it is open.
    open: String,
}

struct RoomRow {
    anchor: String,
    name: String,
    bottles: Vec<BottleRow>,
}

#[derive(Template)]
#[template(path = "adhesives/shelf.html")]
struct ShelfPage {
    frame: Frame,
    key: String,
    lapsing: Vec<BottleRow>,
    none_lapses: &'static str,
    rooms: Vec<RoomRow>,
    finished: Vec<BottleRow>,
    finished_shown: bool,
    has_products: bool,
    products: Vec<ProductRow>,
    is_owner: bool,
}

struct ProductRow {
    name: String,
    edit: String,
    label: String,
    class: String,
    climate: String,
    family: &'static str,
    life: String,
}

async fn list(staff: Staff, State(house): State<House>, Query(asked): Query<Asked>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let now = staff.visitor.now.0;
    let studio = Studio::load(&mut db).await?;
    let products = store::products(&mut db).await?;
    let bottles = store::bottles(&mut db).await?;
    let classes = store::classes(&mut db).await?;
    let counts = bench_store::counts(&mut db).await?;
    let all_rooms = rooms::all(&mut db).await?;
    let finished_shown = asked.show == "finished";
    let finished = if finished_shown { store::finished_bottles(&mut db, FINISHED_SHOWN).await? } else { Vec::new() };
    let rows = Rows { house: &house, studio: &studio, products: &products, bottles: &bottles, classes: &classes, now };
    let tests = |bottle: &Bottle| counts.iter().find(|(id, _)| *id == bottle.id).map_or(0, |(_, tests)| *tests);
    let row = |bottle: &Bottle| rows.row(bottle, tests(bottle));
    let view = ShelfPage {
        frame: house.frame(&studio, &staff.visitor, Place::Shelf, "Shelf"),
        key: new_form_key(),
        lapsing: rows.lapsing().into_iter().filter_map(row).collect(),
        none_lapses: if bottles.is_empty() { "No bottle yet." } else { "No bottle lapses within a week." },
        rooms: by_room(&bottles, &all_rooms, row),
        finished: finished.iter().filter_map(row).collect(),
        finished_shown,
        has_products: !products.is_empty(),
        products: products.iter().map(|product| rows.product(product)).collect(),
        is_owner: staff.who.role == Role::Owner,
    };
    page(&view)
}

struct Rows<'a> {
    house: &'a House,
    studio: &'a Studio,
    products: &'a [Product],
    bottles: &'a [Bottle],
    classes: &'a [StudioClass],
    now: Instant,
}

impl Rows<'_> {
    fn of<'b>(&'b self, bottle: &Bottle) -> Option<&'b Product> {
        self.products.iter().find(|product| product.id == bottle.product)
    }

    fn lapse(&self, bottle: &Bottle) -> Lapse {
        let life = self.of(bottle).and_then(|product| product.opened_life_days);
        bottle.lapse(life, &self.studio.zone, self.now)
    }

    /// The bottles that ask for attention, most urgent first.
    fn lapsing(&self) -> Vec<&Bottle> {
        let mut lapsing: Vec<&Bottle> = self
            .bottles
            .iter()
            .filter(|bottle| bottle.stopped.is_some() || matches!(self.lapse(bottle).mark(), "near" | "stop"))
            .collect();
        lapsing.sort_by_key(|bottle| self.lapse(bottle).urgency());
        lapsing
    }

    fn row(&self, bottle: &Bottle, tests: i64) -> Option<BottleRow> {
        let product = self.of(bottle)?;
        let lapse = self.lapse(bottle);
        let path = self.house.url(&format!("/shelf/bottles/{}", bottle.id));
        let opened = match bottle.opened {
            Some(at) => format!("opened {}", self.studio.zone.date(at, self.now)),
            None => "not opened yet".to_owned(),
        };
        let tested = words::tests(u32::try_from(tests).unwrap_or(u32::MAX));
        let (mark, state) = match (bottle.finished, bottle.stopped) {
            (Some(at), _) => ("unknown", format!("finished {}", self.studio.zone.date(at, self.now))),
            (None, Some(_)) => ("stop", "stopped".to_owned()),
            (None, None) => (lapse.mark(), lapse.words()),
        };
        let label = format!("label {}, {opened}", words::label(self.studio, product.label));
        let usable = bottle.finished.is_none() && bottle.stopped.is_none();
        Some(BottleRow {
            name: shelf::name(bottle, product, self.bottles),
            bench: if usable && bottle.opened.is_some() { format!("{path}/bench") } else { String::new() },
            open: if usable && bottle.opened.is_none() { format!("{path}/open") } else { String::new() },
            href: path,
            mark,
            state,
            about: if bottle.finished.is_some() { label } else { format!("{label}, {tested}") },
            in_use: bottle.in_use,
        })
    }

    fn product(&self, product: &Product) -> ProductRow {
        let class = product.label.class(self.classes);
        ProductRow {
            name: product.name.clone(),
            edit: self.house.url(&format!("/shelf/products/{}/edit", product.id)),
            label: words::label(self.studio, product.label),
            class: class.map_or_else(|| "–".to_owned(), |class| class_words(self.studio, &class)),
            climate: words::climate(self.studio, product.climate),
            family: product.family.words(),
            life: product.opened_life_days.map_or_else(|| "not stated".to_owned(), |days| format!("{days}\u{a0}days")),
        }
    }
}

/// "1–2 s".
pub(super) fn class_words(studio: &Studio, class: &StudioClass) -> String {
    format!("{}–{}\u{a0}s", words::plain(studio, class.low.get()), words::plain(studio, class.high.get()))
}

/// The rooms in use that hold a bottle, then what stands in none of them.
fn by_room(bottles: &[Bottle], rooms: &[Room], row: impl Fn(&Bottle) -> Option<BottleRow>) -> Vec<RoomRow> {
    let mut found = Vec::new();
    for room in rooms {
        let there: Vec<BottleRow> =
            bottles.iter().filter(|bottle| bottle.room == Some(room.id)).filter_map(&row).collect();
        if !there.is_empty() {
            found.push(RoomRow {
                anchor: format!("room-{}", found.len() + 1),
                name: room.name.clone(),
                bottles: there,
            });
        }
    }
    let elsewhere: Vec<BottleRow> = bottles
        .iter()
        .filter(|bottle| !rooms.iter().any(|room| bottle.room == Some(room.id)))
        .filter_map(&row)
        .collect();
    if !elsewhere.is_empty() {
        found.push(RoomRow { anchor: "cupboard".to_owned(), name: "Cupboard".to_owned(), bottles: elsewhere });
    }
    for room in &mut found {
        room.bottles.sort_by_cached_key(|bottle| crate::base::text::fold(&bottle.name));
    }
    found
}
