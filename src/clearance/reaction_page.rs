//! A reaction's page: looked at again after 24 hours, 48 hours, 7 and 30 days; who was told; when it is over. For those who treat.

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use super::lot_page::put_right;
use super::lot_store::exposures_of;
use super::reaction::{EYES, FOLLOW_UPS, LOOK_BACK, SEVERITIES, SYMPTOMS, words_of};
use super::reaction_store::{
    FollowUp, Reaction, close_reaction, details, do_follow_up, follow_up_words, follow_ups_of, reaction, tell,
};
use super::seen::{Names, client_for, must_treat, note_look};
use super::standing::Bench;
use super::told::{chosen_whom, nobody_chosen, told_rows, whom_field};
use super::typed::{MoreNotes, TELL_THEM, Typed, notes_of, words_field};
use super::words;
use crate::adhesives;
use crate::base::ids::{FollowUpId, ReactionId};
use crate::base::problem::{FieldNote, Problem};
use crate::base::time::Instant;
use crate::clients::Client;
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, note_fields};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/door/reactions/{reaction}", show)
        .post("/door/reactions/{reaction}/follow-ups/{follow_up}", follow)
        .post("/door/reactions/{reaction}/told", tell_somebody)
        .post("/door/reactions/{reaction}/over", over)
}

#[derive(Template)]
#[template(path = "clearance/reaction.html")]
struct ReactionPage {
    frame: Frame,
    key: String,
    path: String,
    back: String,
    lead: String,
    acute: bool,
    facts: Vec<(&'static str, String)>,
    looks: Vec<LookRow>,
    field: FieldView,
    mistakes: Vec<Mistake>,
    told: Vec<(String, String)>,
    whom: FieldView,
    over: bool,
    /// What is said while an entry waits on the device.
    meanwhile: &'static str,
}

struct LookRow {
    name: &'static str,
    due: String,
    mark: &'static str,
    state: String,
    words: String,
    action: String,
}

struct OpenReaction {
    studio: Studio,
    client: Client,
    reaction: Reaction,
}

async fn open_reaction(house: &House, staff: &Staff, id: ReactionId) -> Result<OpenReaction, Problem> {
    must_treat(&staff.who)?;
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let reaction = reaction(&mut db, id).await?.ok_or(Problem::NotHere("reaction"))?;
    let client = client_for(&mut db, reaction.client, &staff.who, staff.visitor.now.0).await.map_err(|problem| {
        if matches!(problem, Problem::NotHere(_)) { Problem::NotHere("reaction") } else { problem }
    })?;
    Ok(OpenReaction { studio, client, reaction })
}

async fn show(staff: Staff, State(house): State<House>, At(id): At<ReactionId>) -> Result<Response, Problem> {
    let opened = open_reaction(&house, &staff, id).await?;
    note_look(&house, &staff.who, "see reaction", opened.client.id).await?;
    page(&reaction_view(&house, &staff, &opened, "", &[], new_form_key()).await?)
}

async fn reaction_view(
    house: &House,
    staff: &Staff,
    opened: &OpenReaction,
    typed: &str,
    notes: &[FieldNote],
    key: String,
) -> Result<ReactionPage, Problem> {
    let now = staff.visitor.now.0;
    let (reaction, zone) = (&opened.reaction, &opened.studio.zone);
    let mut db = house.store.read().await?;
    let facts = facts(&mut db, house, opened, now).await?;
    let path = house.url(&format!("/door/reactions/{}", reaction.id));
    let mut looks = Vec::new();
    for (look, (_, name)) in follow_ups_of(&mut db, reaction.id).await?.iter().zip(FOLLOW_UPS) {
        let words = follow_up_words(&mut db, house.store.keys(), look).await?;
        let (mark, state) = match look.done {
            Some(done) => ("fit", format!("done {}", zone.date_and_clock(done, now))),
            None if look.due < now => ("stop", words::left(look.due, now)),
            None => ("near", format!("due {}", words::left(look.due, now))),
        };
        looks.push(LookRow {
            name,
            due: zone.date_and_clock(look.due, now),
            mark,
            state,
            words,
            action: if look.done.is_none() { format!("{path}/follow-ups/{}", look.id) } else { String::new() },
        });
    }
    let look = words_field("words", "How is she now", typed)
        .hinted("What she says and what you see. Better, the same, worse; who was asked.");
    let mut fields = [look, whom_field()];
    note_fields(&mut fields, notes);
    let mistakes = mistakes(&fields);
    let [field, whom] = fields;
    Ok(ReactionPage {
        frame: house.frame(
            &opened.studio,
            &staff.visitor,
            Place::Door,
            format!("A reaction of {}", opened.client.short),
        ),
        key,
        path,
        back: house.url(&format!("/door/clients/{}/clearance", opened.client.id)),
        lead: format!("Noticed {}.", zone.date_and_clock(reaction.noticed, now)),
        acute: reaction.acute && reaction.closed.is_none(),
        facts,
        looks,
        field,
        mistakes,
        told: told_rows(&mut db, zone, &reaction.id.to_string(), now).await?,
        whom,
        over: reaction.closed.is_some(),
        meanwhile: TELL_THEM,
    })
}

/// What was met before it in words, with the lot that a bottle turned out to bear: that one is the one to stop.
async fn met_as_it_is(
    db: &mut crate::store::Db,
    bench: &Bench,
    reaction: &Reaction,
    now: Instant,
) -> Result<Vec<String>, Problem> {
    let before = exposures_of(db, reaction.client, reaction.noticed.plus(-LOOK_BACK), reaction.noticed).await?;
    let mut words = Vec::new();
    for met in &reaction.products {
        let corrected = adhesives::corrected_lots(db, met.product).await?;
        // Newest first. The earliest one: a bottle that bore it and was put right since may have been any of them.
        let first = before.iter().rfind(|own| own.met == *met).map(|own| own.at);
        let right = first.map(|at| put_right(&corrected, &met.lot, at, &bench.zone, now)).unwrap_or_default();
        let own = bench.met_words(met);
        words.push(if right.is_empty() { own } else { format!("{own} as written down, {right}") });
    }
    Ok(words)
}

async fn facts(
    db: &mut crate::store::Db,
    house: &House,
    opened: &OpenReaction,
    now: Instant,
) -> Result<Vec<(&'static str, String)>, Problem> {
    let (reaction, zone) = (&opened.reaction, &opened.studio.zone);
    let (bench, names) = (Bench::load(db, zone).await?, Names::load(db).await?);
    let Some(kept) = details(db, house.store.keys(), reaction).await? else {
        return Ok(vec![("Details", "erased with her key".to_owned())]);
    };
    let symptoms: Vec<&str> = SYMPTOMS
        .iter()
        .filter(|(key, ..)| kept.symptoms.iter().any(|own| own == key))
        .map(|(_, words, _)| *words)
        .collect();
    let onset = reaction.exposed.map_or_else(
        || "not known".to_owned(),
        |at| format!("{} after the last meeting recorded with it", words::span(reaction.noticed.since(at))),
    );
    let met = met_as_it_is(db, &bench, reaction, now).await?;
    let liquids: Vec<&str> = reaction.liquids.iter().map(|wet| wet.word()).collect();
    let or_none = |text: String| if text.is_empty() { "nothing written".to_owned() } else { text };
    Ok(vec![
        ("Client", opened.client.name.clone()),
        ("Noticed", zone.date_and_clock(reaction.noticed, now)),
        ("What", symptoms.join(", ")),
        ("Where", words_of(&EYES, &kept.eyes).to_owned()),
        ("How bad", words_of(&SEVERITIES, &kept.severity).to_owned()),
        ("Onset", onset),
        (
            "Products and lots",
            if met.is_empty() { "none recorded in the eight weeks before".to_owned() } else { met.join("; ") },
        ),
        ("Liquids", or_none(liquids.join(", "))),
        ("Removers and liquids by name", or_none(kept.liquids)),
        ("Treated by", reaction.artist.map_or_else(|| "not known".to_owned(), |artist| names.of(artist))),
        ("In words", or_none(kept.words)),
        ("First aid", or_none(kept.first_aid)),
    ])
}

async fn follow(
    staff: Staff,
    State(house): State<House>,
    At((id, look)): At<(ReactionId, FollowUpId)>,
    form: Form<Typed>,
) -> Result<Response, Problem> {
    let opened = open_reaction(&house, &staff, id).await?;
    let due: FollowUp = {
        let mut db = house.store.read().await?;
        let all = follow_ups_of(&mut db, id).await?;
        all.into_iter().find(|own| own.id == look).ok_or(Problem::NotHere("follow-up"))?
    };
    let mut notes = Notes::default();
    let words = notes.words("words", form.typed.get("words"), 2000);
    match notes.settle(words) {
        Ok(words) => {
            let (inner, at) = (house.clone(), form.typed.pressed(staff.visitor.now.0));
            let kept = house
                .store
                .write(&form.key, move |tx| {
                    let (house, due, words) = (inner.clone(), due.clone(), words.clone());
                    Box::pin(async move {
                        do_follow_up(tx, house.store.keys(), &due, &words, at).await?;
                        Ok(Kept::see(format!("/door/reactions/{id}")))
                    })
                })
                .await?;
            Ok(answer(&house, &kept))
        }
        Err(problem) => {
            let notes = notes_of(problem)?;
            let key = form.key.again();
            let view = reaction_view(&house, &staff, &opened, form.typed.get("words"), &notes, key).await?;
            page_again(&view)
        }
    }
}

async fn tell_somebody(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ReactionId>,
    form: Form<Typed>,
) -> Result<Response, Problem> {
    let opened = open_reaction(&house, &staff, id).await?;
    let Some(whom) = chosen_whom(&form.typed) else {
        let key = form.key.again();
        let view = reaction_view(&house, &staff, &opened, "", &[nobody_chosen()], key).await?;
        return page_again(&view);
    };
    let (inner, at) = (house.clone(), form.typed.pressed(staff.visitor.now.0));
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let (house, whom) = (inner.clone(), whom.clone());
            Box::pin(async move {
                tell(tx, house.store.keys(), &id.to_string(), &whom, at).await?;
                Ok(Kept::see(format!("/door/reactions/{id}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

async fn over(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ReactionId>,
    form: Form<Typed>,
) -> Result<Response, Problem> {
    open_reaction(&house, &staff, id).await?;
    let at = form.typed.pressed(staff.visitor.now.0);
    let kept = house
        .store
        .write(&form.key, move |tx| {
            Box::pin(async move {
                close_reaction(tx, id, at).await?;
                Ok(Kept::see(format!("/door/reactions/{id}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}
