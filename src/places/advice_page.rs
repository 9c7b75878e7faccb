//! Advice for one artist in one room: which class and bottle, why, how sure, what to change. And taking a bottle on it,
//! which is kept with what was asked and answered.

use std::sync::Arc;

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;

use super::advice_asked::{self, Asked, Read, Settled, Typed};
use super::advice_links::{Address, Choices, choices};
use super::advice_view::{Around, Full, Judged, ShelfRow, about, judged, question};
use super::may_treat::{MayTreat, may_begin, may_treat};
use crate::advice::judge::Verdict;
use crate::advice::kept::Whole;
use crate::advice::shown::{self, Answered, Shown};
use crate::advice::store::{self as taken, NewAdvice};
use crate::base::ids::RoomId;
use crate::base::problem::Problem;
use crate::base::time::{Instant, MINUTE, SECOND};
use crate::base::units::{Celsius, RelHumidity};
use crate::base::zone::ago;
use crate::clearance;
use crate::rooms;
use crate::store::{Kept, Tx};
use crate::web::House;
use crate::web::cautions::{Caution, WORK};
use crate::web::checks::done_at;
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/rooms/{room}/advice", show)
        .post("/rooms/{room}/advice", take)
        .post("/rooms/{room}/here", work_here)
}

/// The age of the reading, for the head of the page.
struct Age {
    seconds: i64,
    ago: String,
    then: String,
    stale_after: i64,
    air: String,
    stale: bool,
}

/// Taking the bottle.
struct Act {
    action: String,
    button: String,
    filled: bool,
    fields: Vec<(&'static str, String)>,
}

#[derive(Template)]
#[template(path = "places/advice.html")]
struct AdvicePage {
    frame: Frame,
    key: String,
    style: String,
    placements: u32,
    age: Option<Age>,
    reading: String,
    margin: String,
    /// Where advice that was taken is read back.
    taken: String,
    fell_back: Vec<String>,
    lead: String,
    poor: Option<String>,
    act: Option<Act>,
    /// Where to say that one works here from now on.
    here: Option<Act>,
    may_treat: MayTreat,
    /// Liquids that are not for this client today, a sentence each.
    not_for_her: Vec<String>,
    choices: Vec<Choices>,
    shelf: Vec<ShelfRow>,
    shelf_href: String,
    room: String,
    artist: String,
    full: Option<Full>,
    cautions: Vec<String>,
    at_the_bed: &'static [Caution],
}

#[derive(Template)]
#[template(path = "places/advice_nobody.html")]
struct NobodyPage {
    frame: Frame,
    hands: String,
}

async fn show(
    staff: Staff,
    State(house): State<House>,
    At(room): At<RoomId>,
    Query(typed): Query<Typed>,
) -> Result<Response, Problem> {
    let now = staff.visitor.now.0;
    let mut db = house.store.read().await?;
    let settled = Settled::load(&mut db).await?;
    let keys = house.store.keys();
    let found = advice_asked::read(&mut db, keys, &settled, room, &staff.who, &typed, now).await?;
    let studio = settled.studio;
    let Some((asked, read)) = found else {
        let frame = house.frame(&studio, &staff.visitor, Place::Rooms, "Advice");
        return page(&NobodyPage { frame, hands: house.url("/hands") });
    };
    let from = studio.zone.start_of(studio.zone.day(now));
    let trail = rooms::asked::trail(&mut db, room, from, now.plus(1)).await?;
    drop(db);
    let (asked, read, judged) = think(&house, &studio, &staff, asked, read, trail).await?;
    if !staff.visitor.unattended && asked.is_for_work(&read, &staff.who) {
        shown::leave(&house, as_shown(&asked, &read, &judged, now)).await;
    }
    page(&view(&house, &studio, &staff, &typed, asked, read, judged, now))
}

/// The advice as this page shows it.
fn as_shown(asked: &Asked, read: &Read, judged: &Judged, now: Instant) -> Shown {
    Shown {
        at: now,
        artist: asked.artist.id,
        room: read.room.id,
        about: about(asked, read, now),
        question: Whole::of(&read.matter.question(asked)),
        answer: Some(Answered { bottle: judged.take, text: judged.answer.clone() }),
    }
}

/// Judging and drawing take milliseconds of one core; pages of others must not wait behind them.
async fn think(
    house: &House,
    studio: &Studio,
    staff: &Staff,
    asked: Asked,
    read: Read,
    trail: Vec<(Celsius, RelHumidity)>,
) -> Result<(Asked, Read, Judged), Problem> {
    let turn = house.thinking.next().await?;
    let full = asked.artist.seconds_seen_by(&staff.who);
    let (house, studio) = (house.clone(), studio.clone());
    tokio::task::spawn_blocking(move || {
        let _turn = turn;
        let around = Around { house: &house, studio: &studio, trail: &trail, full };
        let judged = judged(&asked, &read, &around);
        (asked, read, judged)
    })
    .await
    .map_err(Problem::broken)
}

#[expect(clippy::too_many_arguments, reason = "the page and all it was made from")]
fn view(
    house: &House,
    studio: &Studio,
    staff: &Staff,
    typed: &Typed,
    asked: Asked,
    read: Read,
    judged: Judged,
    now: Instant,
) -> AdvicePage {
    let first = asked.artist.name.split(' ').next().unwrap_or(&asked.artist.name).to_owned();
    let at = Address::of(&asked, &read);
    let own = staff.who.id == asked.artist.person;
    let said_so = read.whereabouts.said_today(&asked.artist).is_some_and(|works| works.room == read.room.id);
    let may_take = asked.artist.seconds_seen_by(&staff.who) && may_begin(asked.her.as_ref()).is_ok();
    let act = judged.take.filter(|_| may_take).map(|(b, _)| Act {
        action: house.url(&format!("/rooms/{}/advice", read.room.id)),
        button: format!("Take {}, {} bead", read.shelf[b].name, asked.bead.word()),
        filled: judged.filled,
        fields: at.with_bottle(read.shelf[b].bottle.to_string()).fields(),
    });
    let here = (own && !said_so).then(|| Act {
        action: house.url(&format!("/rooms/{}/here", read.room.id)),
        button: format!("I work in {} today", read.room.name),
        filled: false,
        fields: vec![("style", asked.style.key())],
    });
    AdvicePage {
        frame: house.frame(studio, &staff.visitor, Place::Rooms, format!("{first} in {}, now", read.room.name)),
        key: new_form_key(),
        style: crate::base::text::capital(&asked.style.words()),
        placements: asked.artist.placements_per_set,
        age: age(&read, studio, now),
        reading: house.url(&format!("/rooms/{}/readings/new", read.room.id)),
        margin: kept_as(typed),
        taken: house.url(&format!("/advice?artist={}", asked.artist.id)),
        lead: judged.lead,
        poor: judged.poor,
        act,
        here,
        may_treat: may_treat(asked.her.as_ref()),
        not_for_her: not_for_her(&asked),
        choices: choices(house, &asked, &read),
        shelf: judged.shelf,
        shelf_href: house.url("/shelf"),
        room: read.room.name,
        artist: asked.artist.name,
        full: judged.full,
        cautions: judged.cautions,
        at_the_bed: WORK,
        fell_back: asked.fell_back,
    }
}

fn not_for_her(asked: &Asked) -> Vec<String> {
    let Some(her) = &asked.her else { return Vec::new() };
    // Whoever is not treated at all needs no line for every liquid.
    let own = her.liquids.iter().filter(|(_, why)| !matches!(why, clearance::NotToday::NotNow) || her.mark != "stop");
    own.map(|(wet, why)| format!("{}, not for today: {}", crate::base::text::capital(wet.word()), why.words()))
        .collect()
}

fn age(read: &Read, studio: &Studio, now: Instant) -> Option<Age> {
    let air = read.air.as_ref()?;
    Some(Age {
        seconds: now.since(air.at).max(0) / SECOND,
        ago: ago(&studio.zone, air.at, now),
        then: studio.zone.date_and_clock(air.at, now),
        stale_after: read.settings.stale_after() / SECOND,
        air: format!(
            "{}\u{a0}{}, {}\u{a0}%RH",
            studio.temperature(air.measured.temperature),
            studio.temperature_unit(),
            studio.number(air.measured.humidity.humidity.get(), 0)
        ),
        stale: air.stale,
    })
}

/// "kept as no. 12", when the address says so.
fn kept_as(typed: &Typed) -> String {
    let number = typed.get("kept").and_then(|number| number.parse::<u32>().ok());
    number.map(|number| format!("kept as no.\u{a0}{number}")).unwrap_or_default()
}

async fn take(
    staff: Staff,
    State(house): State<House>,
    At(room): At<RoomId>,
    form: Form<Typed>,
) -> Result<Response, Problem> {
    let (inner, staff, typed) = (house.clone(), Arc::new(staff), Arc::new(form.typed));
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let (house, staff, typed) = (inner.clone(), Arc::clone(&staff), Arc::clone(&typed));
            Box::pin(async move { take_now(tx, &house, &staff, room, &typed).await })
        })
        .await?;
    Ok(answer(&house, &kept))
}

/// Judged inside the write: between the page and the tap the air, the bottle or the client's standing may have changed.
async fn take_now(tx: &mut Tx, house: &House, staff: &Staff, room: RoomId, typed: &Typed) -> Result<Kept, Problem> {
    let now = tx.now.0;
    let pressed = typed.get("done").map_or(now, |done| done_at(done, now));
    if now.since(pressed) > WAITED_AT_MOST {
        return Err(Problem::Clash(
            "This waited on a device, and the air it was advised in is another by now.".to_owned(),
            "Nothing is kept as advised. What was used stands on the card; open the advice again for what comes next."
                .to_owned(),
        ));
    }
    let settled = Settled::load(tx.db()).await?;
    let keys = house.store.keys();
    let found = advice_asked::read(tx.db(), keys, &settled, room, &staff.who, typed, now).await?;
    let (asked, read) = found.ok_or(Problem::NotHere("artist"))?;
    if !asked.artist.seconds_seen_by(&staff.who) {
        return Err(Problem::NotYours("Only the artist herself, or the owner, takes a bottle for her."));
    }
    if !asked.fell_back.is_empty() || asked.bottle.is_none() {
        return Err(moved("What was chosen is not there any more."));
    }
    may_begin(asked.her.as_ref())?;
    let path = Address::of(&asked, &read).path();
    let (asked, read, judged) = think(house, &settled.studio, staff, asked, read, Vec::new()).await?;
    let Some((b, verdict)) = judged.take.filter(|(_, verdict)| *verdict != Verdict::NotForToday) else {
        return Err(moved("This bottle is not for today any more."));
    };
    let (question, states) = question(&asked, &read, now)?;
    let new = NewAdvice {
        person: staff.who.id,
        artist: asked.artist.id,
        room,
        style: asked.style.key(),
        bottle: read.shelf[b].bottle,
        verdict,
        question,
        states,
        answer: judged.answer,
    };
    let number = taken::keep(tx, &new).await?;
    taken::note_room(tx, asked.artist.person, new.room, &new.style).await?;
    tx.raise("advice");
    Ok(Kept::see(format!("{path}&kept={number}")))
}

/// A bottle that was taken longer ago is not judged by the air of now.
const WAITED_AT_MOST: i64 = 10 * MINUTE;

fn moved(happened: &str) -> Problem {
    Problem::Clash(happened.to_owned(), "Open the advice again and choose anew.".to_owned())
}

async fn work_here(
    staff: Staff,
    State(house): State<House>,
    At(room): At<RoomId>,
    form: Form<Typed>,
) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    rooms::asked::open(&mut db, room).await?;
    drop(db);
    // Work whose style is not said is noted without one.
    let asked = form.typed.get("style").map(String::as_str).unwrap_or_default();
    let style = crate::artists::Style::parse(asked).map(|style| style.key()).unwrap_or_default();
    if style.is_empty() && !asked.is_empty() {
        return Err(Problem::Unreadable("This style is none that hands are timed in here.".into()));
    }
    let person = staff.who.id;
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let style = style.clone();
            Box::pin(async move {
                taken::note_room(tx, person, room, &style).await?;
                tx.audit("work in room", room, "").await?;
                tx.raise("advice");
                Ok(Kept::see(format!("/rooms/{room}/advice")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}
