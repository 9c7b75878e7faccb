//! Advice that was taken, and advice that was shown for work, read back: a list for the artist herself and the owner, and each
//! with everything it rested on.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;

use super::board::{mark, word};
use super::file::Answer;
use super::for_work::MODEL;
use super::judge::Verdict;
use super::kept::{KeptBottle, KeptQuestion, States};
use super::shown_store::{self, KeptShown};
use super::store::{self, KeptAdvice, RestsOn};
use super::words;
use crate::adhesives::{Liquid, Liquids, PickUp};
use crate::artists::{self, Artist, Style};
use crate::base::actor::{Role, Who};
use crate::base::ids::{AdviceId, ArtistId, BottleId};
use crate::base::number::DecimalMark;
use crate::base::problem::Problem;
use crate::base::text::capital;
use crate::base::time::Instant;
use crate::base::units::{Celsius, Seconds};
use crate::web::House;
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::At;
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/advice", list).get("/advice/{advice}", one)
}

/// So many on one page of the list.
const LISTED: usize = 20;

/// An advice in the list.
struct Row {
    href: String,
    what: String,
    when: String,
    mark: &'static str,
    word: String,
    air: String,
}

/// A list's rows, and the number of the last where more follow.
fn cut<T>(mut found: Vec<T>, number: impl Fn(&T) -> i64) -> (Vec<T>, Option<i64>) {
    let goes_on = found.len() > LISTED;
    found.truncate(LISTED);
    let last = found.last().filter(|_| goes_on).map(number);
    (found, last)
}

#[derive(Template)]
#[template(path = "advice/kept_list.html")]
struct ListPage {
    frame: Frame,
    lead: String,
    taken: Vec<Row>,
    older: String,
    shown: Vec<Row>,
    shown_older: String,
}

/// A word with its value.
struct Line {
    word: &'static str,
    value: String,
}

/// A bottle as it was judged.
struct BottleRow {
    name: String,
    mark: &'static str,
    state: String,
    set_time: String,
    disturbed: String,
    holding: String,
    known: String,
}

#[derive(Template)]
#[template(path = "advice/kept.html")]
struct OnePage {
    frame: Frame,
    lead: String,
    state: (&'static str, String),
    /// Whether what was kept gives the same answer again.
    again: (&'static str, String),
    lines: Vec<Line>,
    bottles: Vec<BottleRow>,
    reasons: Vec<String>,
    cautions: Vec<String>,
    list: String,
}

/// The artists whose advice this person may read: all for the owner, else her own.
async fn readable(db: &mut crate::store::Db, who: &Who) -> Result<Vec<Artist>, Problem> {
    let mut artists = artists::all(db).await?;
    artists.retain(|artist| artist.seconds_seen_by(who));
    Ok(artists)
}

async fn list(
    staff: Staff,
    State(house): State<House>,
    Query(asked): Query<BTreeMap<String, String>>,
) -> Result<Response, Problem> {
    let now = staff.visitor.now.0;
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let artists = readable(&mut db, &staff.who).await?;
    let chosen = asked.get("artist").and_then(|id| id.parse::<ArtistId>().ok());
    let shown: Vec<&Artist> = artists.iter().filter(|artist| chosen.is_none_or(|id| artist.id == id)).collect();
    let before = |name: &str| asked.get(name).and_then(|number| number.parse().ok()).unwrap_or(i64::MAX);
    let ids: Vec<ArtistId> = shown.iter().map(|artist| artist.id).collect();
    let most = LISTED as i64 + 1;
    let taken = store::newest(&mut db, &ids, before("before"), most).await?;
    let only_shown = shown_store::newest(&mut db, &ids, Instant(before("shown_before")), most).await?;
    drop(db);
    let (taken, taken_goes_on) = cut(taken, |kept| kept.number);
    let (only_shown, shown_goes_on) = cut(only_shown, |kept| kept.last.0);
    let whose = match (shown.as_slice(), staff.who.role) {
        ([], _) => "Nobody takes bottles on advice in your name.".to_owned(),
        ([only], _) => format!("Bottles taken on advice by {}, and advice shown to her for work.", only.name),
        (_, Role::Owner) => "Bottles taken on advice, by everybody, and advice shown for work.".to_owned(),
        _ => "Bottles taken on advice, and advice shown for work.".to_owned(),
    };
    let artist = chosen.map(|id| format!("artist={id}&")).unwrap_or_default();
    let older = |name: &str, last: Option<i64>| {
        last.map(|last| house.url(&format!("/advice?{artist}{name}={last}"))).unwrap_or_default()
    };
    page(&ListPage {
        frame: house.frame(&studio, &staff.visitor, Place::Hands, "Advice taken"),
        lead: whose,
        taken: taken.iter().map(|kept| taken_row(&house, kept, &artists, &studio, now)).collect(),
        older: older("before", taken_goes_on),
        shown: only_shown.iter().map(|kept| shown_row(&house, kept, &artists, &studio, now)).collect(),
        shown_older: older("shown_before", shown_goes_on),
    })
}

fn taken_row(house: &House, kept: &KeptAdvice, artists: &[Artist], studio: &Studio, now: Instant) -> Row {
    let when = format!("no.\u{a0}{}, {}", kept.number, studio.zone.date_and_clock(kept.at, now));
    let about =
        About { artist: kept.artist, style: &kept.style, bottle: Some((kept.bottle, kept.verdict)), on: &kept.on };
    row(house.url(&format!("/advice/{}", kept.id)), when, &about, artists, studio)
}

fn shown_row(house: &House, kept: &KeptShown, artists: &[Artist], studio: &Studio, now: Instant) -> Row {
    let about = About { artist: kept.artist, style: &kept.style, bottle: kept.bottle, on: &kept.on };
    row(house.url(&format!("/advice/{}", kept.id)), when_shown(kept, studio, now), &about, artists, studio)
}

/// "8 Feb 10:12", "8 Feb 10:12 and 8 Feb 10:40", or "5 times, 8 Feb 10:12 to 8 Feb 16:02".
fn when_shown(kept: &KeptShown, studio: &Studio, now: Instant) -> String {
    let [first, last] = [kept.first, kept.last].map(|at| studio.zone.date_and_clock(at, now));
    match kept.times {
        1 => first,
        2 => format!("{first} and {last}"),
        n => format!("{n} times, {first} to {last}"),
    }
}

/// What a row of either list tells of.
struct About<'k> {
    artist: ArtistId,
    style: &'k str,
    bottle: Option<(BottleId, Verdict)>,
    on: &'k RestsOn,
}

fn row(href: String, when: String, about: &About<'_>, artists: &[Artist], studio: &Studio) -> Row {
    let artist = artists.iter().find(|artist| artist.id == about.artist).map_or("", |artist| artist.name.as_str());
    let question = about.on.question();
    let bottle = question.as_ref().zip(about.bottle).and_then(|(question, (id, _))| named(question, id));
    let style = Style::parse(about.style).map(|style| style.words()).unwrap_or_default();
    let name = match (&bottle, about.bottle) {
        (Some(bottle), _) => bottle.name.as_str(),
        (None, Some(_)) => "a bottle",
        (None, None) => "no bottle",
    };
    let (mark, word) = state(about.bottle);
    Row {
        href,
        what: format!("{name}, {artist}, {style}"),
        when,
        mark,
        word,
        air: question.as_ref().map(|question| air(question, studio)).unwrap_or_default(),
    }
}

/// A verdict in mark and words.
fn state(bottle: Option<(BottleId, Verdict)>) -> (&'static str, String) {
    let Some((_, verdict)) = bottle else { return ("unknown", "no bottle to use".to_owned()) };
    let (word, wrong) = word(verdict);
    (mark(verdict), if wrong.is_empty() { word.to_owned() } else { format!("{word}, {wrong}") })
}

/// A bottle of the question, as it was kept.
fn named(question: &KeptQuestion, bottle: BottleId) -> Option<&KeptBottle> {
    let id = bottle.to_string();
    question.bottles.iter().find(|bottle| bottle.id == id)
}

fn air(question: &KeptQuestion, studio: &Studio) -> String {
    let room = &question.room;
    let assumed = if room.read_at.is_some() { "" } else { ", assumed" };
    format!(
        "{}: {}\u{a0}{}, {}\u{a0}%RH{assumed}",
        room.name,
        studio.temperature(Celsius::clamped(room.temperature_c)),
        studio.temperature_unit(),
        studio.number(room.humidity_pct, 0)
    )
}

async fn one(staff: Staff, State(house): State<House>, At(id): At<AdviceId>) -> Result<Response, Problem> {
    let now = staff.visitor.now.0;
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let artists = readable(&mut db, &staff.who).await?;
    let found = one_of_either(&mut db, id).await?.ok_or(Problem::NotHere("advice"))?;
    let (artist, bottle) = match &found {
        Either::Taken(kept) => (kept.artist, Some((kept.bottle, kept.verdict))),
        Either::Shown(kept) => (kept.artist, kept.bottle),
    };
    let artist = artists.into_iter().find(|own| own.id == artist).ok_or(Problem::NotHere("advice"))?;
    let question = found.on().question();
    let states = match &question {
        Some(question) => store::states(&mut db, question).await?,
        None => States::new(),
    };
    drop(db);
    let again = again(&house, found.on(), question.clone(), states).await?;
    let answer = found.on().answer();
    let name = question.as_ref().zip(bottle).and_then(|(question, (id, _))| named(question, id));
    let name = name.map(|bottle| bottle.name.clone());
    let (title, lead) = match &found {
        Either::Taken(kept) => (
            format!("Advice no.\u{a0}{}", kept.number),
            format!(
                "{} was taken by {}, {}.",
                name.as_deref().unwrap_or("A bottle"),
                artist.name,
                studio.zone.date_and_clock(kept.at, now)
            ),
        ),
        Either::Shown(kept) => (
            "Advice that was shown".to_owned(),
            format!(
                "{} was shown to {}: {}.",
                name.as_deref().unwrap_or(if bottle.is_some() { "A bottle" } else { "Advice without a bottle" }),
                artist.name,
                when_shown(kept, &studio, now)
            ),
        ),
    };
    let names: Vec<&str> = question.iter().flat_map(names).collect();
    let spoken = |sentences: &[String]| sentences.iter().map(|text| words::spoken(text, &studio, &names)).collect();
    page(&OnePage {
        frame: house.frame(&studio, &staff.visitor, Place::Hands, title),
        lead,
        state: state(bottle),
        again,
        lines: question.as_ref().map(|question| lines(question, found.on(), &studio)).unwrap_or_default(),
        bottles: question
            .iter()
            .zip(&answer)
            .flat_map(|(question, answer)| bottles(question, answer, studio.decimal))
            .collect(),
        reasons: answer.as_ref().map(|answer| spoken(&answer.reasons)).unwrap_or_default(),
        cautions: answer.as_ref().map(|answer| spoken(&answer.cautions)).unwrap_or_default(),
        list: house.url(&format!("/advice?artist={}", artist.id)),
    })
}

/// What somebody named and sentences may hold.
fn names(question: &KeptQuestion) -> impl Iterator<Item = &str> {
    question.bottles.iter().map(|bottle| bottle.name.as_str()).chain([question.room.name.as_str()])
}

/// An advice of either kind.
enum Either {
    Taken(KeptAdvice),
    Shown(KeptShown),
}

impl Either {
    const fn on(&self) -> &RestsOn {
        match self {
            Self::Taken(kept) => &kept.on,
            Self::Shown(kept) => &kept.on,
        }
    }
}

async fn one_of_either(db: &mut crate::store::Db, id: AdviceId) -> Result<Option<Either>, Problem> {
    if let Some(taken) = store::one(db, id).await? {
        return Ok(Some(Either::Taken(taken)));
    }
    Ok(shown_store::one(db, id).await?.map(Either::Shown))
}

/// Works the answer out again from what was kept and says how it compares. Away from the threads that answer pages.
async fn again(
    house: &House,
    kept: &RestsOn,
    question: Option<KeptQuestion>,
    states: States,
) -> Result<(&'static str, String), Problem> {
    let turn = house.thinking.next().await?;
    let found = tokio::task::spawn_blocking(move || {
        let _turn = turn;
        question?.answer_again(&states)
    })
    .await
    .map_err(Problem::broken)?;
    Ok(match found {
        None => ("unknown", "What is kept of it is not enough to work it out again.".to_owned()),
        Some(again) if again == kept.answer => {
            ("fit", "Worked out again from what was kept, it gives the same answer.".to_owned())
        }
        Some(_) if kept.model != MODEL => (
            "near",
            format!(
                "It was given by version {} of the model; version {MODEL} answers otherwise from the same.",
                kept.model
            ),
        ),
        Some(_) => ("stop", "Worked out again from what was kept, it gives another answer.".to_owned()),
    })
}

fn lines(question: &KeptQuestion, kept: &RestsOn, studio: &Studio) -> Vec<Line> {
    let room = &question.room;
    let doubt = format!(
        "known to ±\u{a0}{}\u{a0}%RH and ±\u{a0}{}\u{a0}K (one standard uncertainty)",
        studio.number(room.u_humidity_pct, 1),
        studio.number(room.u_temperature_k, 1)
    );
    let liquids: Vec<&str> = Liquids::from_keys(&question.liquids).iter().map(Liquid::words).collect();
    let pick_up = question.pick_up.as_deref().and_then(PickUp::from_key).map_or("not stated", PickUp::words);
    let classes: Vec<String> = question
        .classes_s
        .iter()
        .map(|[low, high]| format!("{}–{}", studio.exact(*low, 0), studio.exact(*high, 0)))
        .collect();
    let style = Style::parse(&question.style).map(|style| capital(&style.words())).unwrap_or_default();
    let hands = match question.hands.placements {
        0 => "nobody had timed them".to_owned(),
        n => format!("{} in {}", words::count(n, "timed placement"), words::count(question.hands.sessions, "sitting")),
    };
    [
        ("Technique", format!("{style}, {} placements a set", question.placements_per_set)),
        ("Hands", hands),
        ("Air", format!("{}, {doubt}", air(question, studio))),
        ("Bead", question.bead.clone()),
        ("Pick-up", pick_up.to_owned()),
        ("Liquids", if liquids.is_empty() { "none".to_owned() } else { liquids.join(", ") }),
        (
            "Limits",
            format!(
                "disturbed {}, extra holding {} a set",
                words::share(question.limits.disturbed),
                words::minutes(question.limits.extra_hold_min)
            ),
        ),
        ("Classes", format!("{}\u{a0}s", classes.join(", "))),
        ("Model", format!("version {}", kept.model)),
    ]
    .into_iter()
    .map(|(word, value)| Line { word, value })
    .collect()
}

fn bottles<'a>(
    question: &'a KeptQuestion,
    answer: &'a Answer,
    decimal: DecimalMark,
) -> impl Iterator<Item = BottleRow> + 'a {
    question.bottles.iter().zip(&answer.bottles).map(move |(kept, judged)| {
        let (word, wrong) = word(judged.verdict);
        let t = judged.set_time_s;
        let [median, low, high] = [t.median, t.low, t.high].map(Seconds::clamped);
        BottleRow {
            name: kept.name.clone(),
            mark: mark(judged.verdict),
            state: if wrong.is_empty() { word.to_owned() } else { format!("{word}, {wrong}") },
            set_time: format!(
                "{}, likely {}",
                words::seconds_in(decimal, median),
                words::seconds_range_in(decimal, low, high)
            ),
            disturbed: words::share(judged.disturbed.mean),
            holding: words::minutes(judged.extra_hold_min_per_set),
            known: match (kept.tests, kept.tests_of_sisters) {
                (0, 0) => "from its label".to_owned(),
                (0, sisters) => format!("{} of its sisters", words::count(sisters, "test")),
                (own, 0) => words::count(own, "test"),
                (own, sisters) => format!("{}, {sisters} of its sisters", words::count(own, "test")),
            },
        }
    })
}
