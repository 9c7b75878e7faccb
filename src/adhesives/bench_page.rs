//! The bench, for gloved hands: a large timer, choices as they were last, the same again.

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;
use serde::Deserialize;

use super::bench_form::{BenchFields, TypedTest};
use super::bottle::Bottle;
use super::bottle_form::unfinished;
use super::here::Here;
use super::test_rows::{TestRow, test_row};
use super::{Bead, Liquids, bench_store, forecasts, shelf, store};
use crate::base::ids::{BottleId, RoomId};
use crate::base::problem::{FieldNote, Problem};
use crate::base::time::{Instant, MINUTE};
use crate::rooms;
use crate::store::{Db, Kept};
use crate::web::House;
use crate::web::cautions::{Caution, WORK};
use crate::web::checks::done_at;
use crate::web::form::{Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/shelf/bottles/{bottle}/bench", show).post("/shelf/bottles/{bottle}/tests", record)
}

/// Tests of today shown under the timer.
const NEWEST: i64 = 5;
/// The cautions of the work that hold at the bench too.
const AT_THE_BENCH: [&str; 4] = ["Extraction", "Gloves", "Skin", "Maker first"];

#[derive(Deserialize, Default)]
#[serde(default)]
struct Asked {
    bead: String,
    liquids: Option<String>,
    room: String,
    told: String,
}

struct RoomLink {
    word: String,
    href: String,
    here: bool,
}

#[derive(Template)]
#[template(path = "adhesives/bench.html")]
struct BenchPage {
    frame: Frame,
    key: String,
    strike_key: String,
    back: String,
    action: String,
    /// Why nothing can be tested, and where opening the bottle is sent.
    closed: Option<String>,
    air: String,
    rooms: Vec<RoomLink>,
    typed: TypedTest,
    /// The studio's decimal sign, for the timers.
    decimal: &'static str,
    fields: BenchFields,
    mistakes: Vec<Mistake>,
    /// What was just kept or struck out.
    told: Option<String>,
    /// Where taking back what was just kept is sent.
    take_back: Option<String>,
    newest: Vec<TestRow>,
    cautions: Vec<Caution>,
    next: String,
}

/// What the page and its form rest on.
struct Bench {
    studio: Studio,
    bottle: Bottle,
    name: String,
    here: Here,
    rooms: Vec<rooms::Room>,
}

impl Bench {
    async fn load(db: &mut Db, id: BottleId, asked: Option<RoomId>, now: Instant) -> Result<Self, Problem> {
        let studio = Studio::load(db).await?;
        let bottle = unfinished(store::bottle(db, id).await?)?;
        let product = store::product(db, bottle.product).await?.ok_or(Problem::NotHere("product"))?;
        let name = shelf::name(&bottle, &product, &store::bottles(db).await?);
        let here = Here::at(db, &studio, asked.or(bottle.room), now).await?;
        Ok(Self { studio, bottle, name, here, rooms: rooms::all(db).await? })
    }

    /// Why it cannot be tested.
    fn closed(&self) -> Option<String> {
        if self.bottle.stopped.is_some() {
            Some(format!("{} is stopped: nothing of it is used from now on.", self.name))
        } else {
            self.bottle.opened.is_none().then(|| format!("{} has not been opened yet.", self.name))
        }
    }
}

async fn show(
    staff: Staff,
    State(house): State<House>,
    At(id): At<BottleId>,
    Query(asked): Query<Asked>,
) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let bench = Bench::load(&mut db, id, asked.room.parse().ok(), staff.visitor.now.0).await?;
    let sitting = bench_store::newest_sitting(&mut db, id).await?;
    let newest = bench_store::newest_tests(&mut db, id, NEWEST, 0).await?;
    let last = newest.first().zip(sitting.as_ref().map(|(sitting, _)| sitting));
    let mut typed = TypedTest::like(last);
    if let (Some(bead), Some(liquids)) = (Bead::from_word(&asked.bead), &asked.liquids) {
        typed.choose(bead, Liquids::from_keys(liquids));
    }
    typed.fill_air(&bench.studio, bench.here.room.as_ref(), bench.here.read.as_ref());
    let mut view = view(&mut db, &house, &staff, &bench, typed, &[], new_form_key()).await?;
    view.told = match asked.told.as_str() {
        "kept" => {
            view.take_back = view.newest.first().filter(|test| !test.struck).map(|test| test.mark.clone());
            newest.first().map(|test| format!("Kept: {}.", super::test_rows::found_words(&bench.studio, test)))
        }
        "struck" => Some("Struck out: it counts no more.".to_owned()),
        _ => None,
    };
    page(&view)
}

async fn view(
    db: &mut Db,
    house: &House,
    staff: &Staff,
    bench: &Bench,
    typed: TypedTest,
    notes: &[FieldNote],
    key: String,
) -> Result<BenchPage, Problem> {
    let now = staff.visitor.now.0;
    let path = house.url(&format!("/shelf/bottles/{}", bench.bottle.id));
    let fields = typed.fields(&bench.studio, notes);
    let newest = bench_store::newest_tests(db, bench.bottle.id, NEWEST, 0).await?;
    let room = bench.here.room.as_ref().map(|room| room.id);
    let next = super::bottle_page::Found::load(db, bench.bottle.id, room, now).await?.next();
    let air = match (&bench.here.room, &bench.here.read) {
        (Some(room), Some(read)) => format!("Filled in from {}: {}.", room.name, read.words),
        (Some(room), None) => format!("The air of {} has not been read yet: type it.", room.name),
        (None, _) => "The bottle stands in no room: type the air, or choose the room.".to_owned(),
    };
    let link = |room: &rooms::Room| RoomLink {
        word: room.name.clone(),
        href: format!("{path}/bench?room={}", room.id),
        here: bench.here.room.as_ref().is_some_and(|here| here.id == room.id),
    };
    Ok(BenchPage {
        frame: house.frame(&bench.studio, &staff.visitor, Place::Shelf, format!("{} on the bench", bench.name)),
        key,
        strike_key: new_form_key(),
        action: format!("{path}/tests"),
        closed: bench.closed(),
        air,
        rooms: if bench.rooms.len() > 1 || bench.here.room.is_none() {
            bench.rooms.iter().map(link).collect()
        } else {
            Vec::new()
        },
        mistakes: mistakes(fields.all()),
        fields,
        typed,
        decimal: bench.studio.decimal.sign(),
        told: None,
        take_back: None,
        newest: newest.iter().map(|test| test_row(&bench.studio, &path, test, now)).collect(),
        cautions: WORK.iter().copied().filter(|caution| AT_THE_BENCH.contains(&caution.heading)).collect(),
        next: next.what,
        back: path,
    })
}

async fn record(
    staff: Staff,
    State(house): State<House>,
    At(id): At<BottleId>,
    form: Form<TypedTest>,
) -> Result<Response, Problem> {
    // The air is that of the minute in which it was timed, however long the test waited on its tablet.
    let now = done_at(&form.typed.at, staff.visitor.now.0);
    let mut db = house.store.read().await?;
    let asked = form.typed.room.parse().ok();
    let mut bench = Bench::load(&mut db, id, asked, now).await?;
    if staff.visitor.now.0.since(now) > MINUTE {
        bench.here = Here::then(&mut db, &bench.studio, asked.or(bench.bottle.room), now).await?;
    }
    if let Some(why) = bench.closed() {
        return Err(Problem::Clash(why, "Choose another bottle, or open this one on its page.".to_owned()));
    }
    let place = (bench.here.room.as_ref(), bench.here.read.as_ref());
    match form.typed.check(&bench.studio, &bench.bottle, place, staff.who.id, now) {
        Ok((sitting, test)) => {
            drop(db);
            let kept = house
                .store
                .write(&form.key, move |tx| {
                    let (sitting, mut test) = (sitting.clone(), test);
                    Box::pin(async move {
                        let bottle = unfinished(store::bottle(tx.db(), id).await?)?;
                        match bench_store::newest_sitting(tx.db(), id).await? {
                            Some((going_on, newest)) if going_on.goes_on(&sitting, newest) => {
                                test.sitting = going_on.id;
                            }
                            _ => bench_store::add_sitting(tx, &sitting).await?,
                        }
                        bench_store::add_test(tx, id, &test).await?;
                        forecasts::keep_for(tx, &bottle, &test).await?;
                        bench_store::refresh(tx, &bottle).await?;
                        tx.audit("add bench test", test.id, "").await?;
                        let room = sitting.room.map(|room| format!("&room={room}")).unwrap_or_default();
                        Ok(Kept::see(format!("/shelf/bottles/{id}/bench?told=kept{room}")))
                    })
                })
                .await?;
            Ok(answer(&house, &kept))
        }
        Err(Problem::Mistakes(notes)) => {
            let key = form.key.again();
            let view = view(&mut db, &house, &staff, &bench, form.typed, &notes, key).await?;
            page_again(&view)
        }
        Err(other) => Err(other),
    }
}
