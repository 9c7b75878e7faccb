//! Advice that was shown for work, noted once its page has been answered; what counts as that is said in `mod.rs`.
//!
//! A page does not wait for it: working the question out as text takes milliseconds, and the write its turn. Only where so much waits
//! already that there is no place for it in the line, the page notes it itself before it is answered. A note that fails is tried again,
//! three times at most (`src/web/later.rs`). A house that is told to stop notes what waits first; one that is killed forgets what waited.

use std::sync::Arc;

use tokio::task::spawn_blocking;

use super::for_work::{MODEL, for_work};
use super::judge::{Subject, Verdict};
use super::kept::{About, KeptQuestion, States, Whole};
use super::shown_store::{self, NewShown};
use crate::base::ids::{ArtistId, BottleId, RoomId};
use crate::base::problem::Problem;
use crate::base::time::{DAY, Instant, MINUTE};
use crate::store::{FormKey, Kept};
use crate::web::House;

/// Showings of one question within this time are one: a reload, or a page that looked again by itself.
const ONE_SHOWING: i64 = MINUTE;
/// How long it is kept, from when it was first shown.
const KEPT: i64 = 90 * DAY;

/// An advice as it was shown.
#[derive(Debug, Clone)]
pub struct Shown {
    /// When.
    pub at: Instant,
    /// Whose hands, who is also who read it.
    pub artist: ArtistId,
    /// Where.
    pub room: RoomId,
    /// What it was about.
    pub about: About,
    /// Everything the answer depends on.
    pub question: Whole,
    /// What the page answered; `None` for a tile, which says less than is kept: then it is worked out.
    pub answer: Option<Answered>,
}

/// What a page answered.
#[derive(Debug, Clone)]
pub struct Answered {
    /// The bottle it proposed, by its place, and its verdict; none where none may be used.
    pub bottle: Option<(usize, Verdict)>,
    /// The machine form.
    pub text: String,
}

/// Leaves it to be noted after the page, or notes it now where the line is full. A page is answered as well, whatever becomes of the note.
pub async fn leave(house: &House, shown: Shown) {
    let given_back = house.later.leave_once("note an advice that was shown", shown, Shown::repeats, note);
    if let Some(todo) = given_back {
        todo.attempt(house, false).await;
    }
}

impl Shown {
    /// True where `note` would find that another, noted first, was the same showing.
    fn repeats(&self, first: &Self) -> bool {
        first.at > self.at.plus(-ONE_SHOWING)
            && self.about.is_as(&first.about)
            && self.question.asks_as(&first.question)
    }
}

/// Notes one showing: a new row for a new question, else one more of the row that is there, at most once a minute.
async fn note(house: House, shown: Arc<Shown>) -> Result<(), Problem> {
    let own = Arc::clone(&shown);
    let (question, states, fingerprint) = spawn_blocking(move || written(&own)).await.map_err(Problem::broken)??;
    let mut db = house.store.read().await?;
    let known = shown_store::last_shown(&mut db, &fingerprint).await?;
    drop(db);
    let since = shown.at.plus(-ONE_SHOWING);
    match known {
        Some(last) if last > since => Ok(()),
        Some(_) => {
            let at = shown.at;
            let key = FormKey::house();
            let write = house.store.write(&key, move |tx| {
                let fingerprint = fingerprint.clone();
                Box::pin(async move {
                    shown_store::again(tx, &fingerprint, at, since).await?;
                    tx.record_tells_itself();
                    Ok(Kept::see(""))
                })
            });
            write.await.map(|_| ())
        }
        None => {
            let new = Arc::new(new_row(&house, &shown, question, states, fingerprint).await?);
            let key = FormKey::house();
            let write = house.store.write(&key, move |tx| {
                let new = Arc::clone(&new);
                Box::pin(async move {
                    shown_store::keep(tx, &new, since).await?;
                    tx.record_tells_itself();
                    Ok(Kept::see(""))
                })
            });
            write.await.map(|_| ())
        }
    }
}

fn written(shown: &Shown) -> Result<(KeptQuestion, States, String), Problem> {
    let (question, states) =
        KeptQuestion::of(&shown.question.question(), shown.about.clone()).map_err(Problem::broken)?;
    let fingerprint = question.fingerprint(MODEL).map_err(Problem::broken)?;
    Ok((question, states, fingerprint))
}

async fn new_row(
    house: &House,
    shown: &Arc<Shown>,
    question: KeptQuestion,
    states: States,
    fingerprint: String,
) -> Result<NewShown, Problem> {
    let answer = match &shown.answer {
        Some(answer) => answer.clone(),
        None => {
            let (turn, own) = (house.thinking.when_free().await?, Arc::clone(shown));
            let worked_out = spawn_blocking(move || {
                let _turn = turn;
                work_out(&own)
            });
            worked_out.await.map_err(Problem::broken)??
        }
    };
    let bottle = answer.bottle.and_then(|(place, verdict)| {
        let id: BottleId = shown.about.bottles.get(place)?.parse().ok()?;
        Some((id, verdict))
    });
    Ok(NewShown {
        at: shown.at,
        artist: shown.artist,
        room: shown.room,
        style: shown.about.style.clone(),
        bottle,
        fingerprint,
        question,
        states,
        answer: answer.text,
    })
}

fn work_out(shown: &Shown) -> Result<Answered, Problem> {
    let about = &shown.about;
    let work = for_work(&shown.question.question(), about.wanted, about.near, about.read_at.is_some());
    let bottle = match work.judged.base {
        Subject::Bottle(b) => Some((b, work.judged.bottles[b].verdict)),
        Subject::Class(_) => None,
    };
    let text = serde_json::to_string(&work.answer).map_err(Problem::broken)?;
    Ok(Answered { bottle: bottle.filter(|(_, verdict)| *verdict != Verdict::NotForToday), text })
}

/// Forgets what was first shown longer ago than it is kept, and what was known then that no other advice names. Run by the clock.
///
/// # Errors
/// As every write.
pub async fn forget_shown(house: &House) -> Result<(), Problem> {
    let key = FormKey::house();
    let write = house.store.write(&key, |tx| {
        Box::pin(async move {
            let before = tx.now.0.plus(-KEPT);
            shown_store::forget(tx, before).await?;
            tx.record_tells_itself();
            Ok(Kept::see(""))
        })
    });
    write.await.map(|_| ())
}
