//! A reaction is recorded, looked at again after 24 hours, 48 hours, 7 and 30 days; who was told; when it is over. For those who
//! treat.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;

use super::lot_store::exposures_of;
use super::reaction::{
    Details, EYES, FOLLOW_UPS, LOOK_BACK, SEVERITIES, SYMPTOMS, WHOM, is_acute, known_symptoms, words_of,
};
use super::reaction_store::{
    FollowUp, Reaction, add_reaction, close_reaction, details, do_follow_up, follow_up_words, follow_ups_of, reaction,
    tell, tell_at, told,
};
use super::seen::{Names, client_for, must_treat, note_look};
use super::standing::Bench;
use super::test_form::chosen_liquids;
use super::test_store::Met;
use super::typed::{
    Caution, DONE, FormPage, MoreNotes, Typed, checks_field, done_field, kept_field, notes_of, time_field, words_field,
};
use super::visit_page::artist_of;
use super::wet::Wet;
use super::words;
use crate::base::ids::{ClientId, FollowUpId, ReactionId};
use crate::base::problem::{FieldNote, Problem};
use crate::base::time::{DAY, Instant};
use crate::clients::Client;
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, choice_field, done_at, note_fields};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, Nothing, new_form_key};
use crate::web::problems::{page, page_with};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/door/clients/{client}/reactions/new", reaction_form)
        .post("/door/clients/{client}/reactions", add)
        .get("/door/reactions/{reaction}", show)
        .post("/door/reactions/{reaction}/follow-ups/{follow_up}", follow)
        .post("/door/reactions/{reaction}/told", tell_somebody)
        .post("/door/reactions/{reaction}/over", over)
}

/// How far back a reaction may lie.
const OLDEST: i64 = 3650 * DAY;

/// Said while a reaction waits on a device.
const WAITS: &str = "Nobody else sees it until then: tell them. Nothing with adhesive is placed on her.";

// ---- recording -----------------------------------------------------------------------------------------------------

struct Opened {
    studio: Studio,
    client: Client,
    names: Names,
    bench: Bench,
    /// Products and lots she met in the last ten years, with when, newest first.
    met: Vec<(Met, Instant)>,
}

impl Opened {
    /// Products and lots of the eight weeks before an instant, each with when it was met last.
    fn met_before(&self, noticed: Instant) -> Vec<(Met, Instant)> {
        let mut met: Vec<(Met, Instant)> = Vec::new();
        for (one, at) in &self.met {
            let within = *at <= noticed && *at > noticed.plus(-LOOK_BACK);
            if within && met.iter().all(|(known, _)| known != one) {
                met.push((one.clone(), *at));
            }
        }
        met
    }
}

async fn open(house: &House, staff: &Staff, id: ClientId) -> Result<Opened, Problem> {
    must_treat(&staff.who)?;
    let now = staff.visitor.now.0;
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let client = client_for(&mut db, id, &staff.who, now).await?;
    let exposures = exposures_of(&mut db, id, now.plus(-OLDEST), now).await?;
    let met = exposures.into_iter().map(|exposure| (exposure.met, exposure.at)).collect();
    let (names, bench) = (Names::load(&mut db).await?, Bench::load(&mut db, &studio.zone).await?);
    Ok(Opened { studio, client, names, bench, met })
}

async fn reaction_form(staff: Staff, State(house): State<House>, At(id): At<ClientId>) -> Result<Response, Problem> {
    let opened = open(&house, &staff, id).await?;
    // Nothing is chosen beforehand: where, how bad and since when is what she says, and a form filled in already would say it for her.
    page(&form_view(&house, &staff, &opened, &Typed::default()))
}

fn form_view(house: &House, staff: &Staff, opened: &Opened, typed: &Typed) -> FormPage {
    let own = |(key, words): (&str, &str)| (key.to_owned(), words.to_owned());
    let symptoms = SYMPTOMS.map(|(key, words, acute)| {
        (key.to_owned(), if acute { format!("{words} (medical help first)") } else { words.to_owned() })
    });
    let now = staff.visitor.now.0;
    let noticed = super::typed::wall_instant(typed.get("noticed"), &opened.studio.zone).unwrap_or(now);
    let before = opened.met_before(noticed);
    let last = match before.iter().map(|(_, at)| *at).max() {
        Some(at) => format!("The last one recorded here: {}. ", opened.studio.zone.date_and_clock(at, now)),
        None => String::new(),
    };
    let met: Vec<String> = before
        .iter()
        .map(|(met, at)| format!("{} ({})", met_words(met, &opened.bench), opened.studio.zone.date(*at, now)))
        .collect();
    let met = if met.is_empty() {
        "No meeting with a product is recorded in the eight weeks before it.".to_owned()
    } else {
        format!("Recorded with it from the eight weeks before it was noticed: {}.", met.join("; "))
    };
    let nobody = std::iter::once((String::new(), "not known, or another studio".to_owned()));
    FormPage {
        frame: house.frame(&opened.studio, &staff.visitor, Place::Door, format!("A reaction of {}", opened.client.short)),
        key: new_form_key(),
        action: house.url(&format!("/door/clients/{}/reactions", opened.client.id)),
        word: "Reaction",
        small: "facts only",
        lead: vec![
            "It holds every adhesive for her from now on. Time, another adhesive or a patch test without a reaction lift nothing.".to_owned(),
            met,
        ],
        caution: Some(Caution {
            heading: "Pain, swelling, changed vision or trouble breathing: medical help first",
            sentences: vec!["Stop, give first aid, call. No remover. The record can wait."],
        }),
        fields: vec![
            checks_field("symptom", "What was noticed", &typed.all("symptom"), symptoms),
            choice_field("radio", "eyes", "Where", typed.get("eyes"), EYES.map(own)),
            choice_field("radio", "severity", "How bad", typed.get("severity"), SEVERITIES.map(own)),
            time_field("noticed", "First noticed", typed.get("noticed")),
            time_field("exposed", "Last meeting with the adhesive before it", typed.get("exposed"))
                .hinted(format!("{last}After a first meeting it showed after about a month, after a second within days. Empty where nobody knows."))
                .or_empty(),
            choice_field("select", "artist", "Who treated her", typed.get("artist"), nobody.chain(opened.names.at_the_bed())),
            words_field("words", "In words", typed.get("words")).hinted("What she says, what you see. No guesses at causes.").or_empty(),
            words_field("first_aid", "First aid given", typed.get("first_aid")).or_empty(),
            checks_field("liquid", "Liquids used before it", &typed.all("liquid"), Wet::choices())
                .hinted("Each one ticked is held for her as well. No doctor’s statement lifts that.")
                .or_empty(),
            words_field("liquids", "Removers and liquids by name", typed.get("liquids")).or_empty(),
            checks_field("whom", "Who was told", &typed.all("whom"), WHOM.map(own)).or_empty(),
            // On the device it is called no more than that: the word alone would tell of somebody's health.
            kept_field("record", WAITS),
            done_field(),
        ],
        mistakes: Vec::new(),
        button: "Keep the reaction",
        back: (house.url(&format!("/door/clients/{}/clearance", opened.client.id)), "Back to her clearance"),
    }
}

fn met_words(met: &Met, bench: &Bench) -> String {
    let lot = if met.lot.is_empty() { "no lot printed".to_owned() } else { format!("lot {}", met.lot) };
    format!("{}, {lot}", bench.name(Some(met.product)))
}

fn check(typed: &Typed, opened: &Opened, now: Instant) -> Result<(Reaction, Details, Vec<String>), Problem> {
    let mut notes = Notes::default();
    let zone = &opened.studio.zone;
    let chosen = typed.all("symptom");
    let symptoms = known_symptoms(&chosen);
    if symptoms.is_empty() || symptoms.len() != chosen.len() {
        notes.add("symptom", "Choose at least one of these.");
    }
    let known = |list: &[(&str, &str)], key: &str| list.iter().any(|(own, _)| *own == key).then(|| key.to_owned());
    let eyes = notes.choice("eyes", known(&EYES, typed.get("eyes")));
    let severity = notes.choice("severity", known(&SEVERITIES, typed.get("severity")));
    let noticed = notes.instant("noticed", typed.get("noticed"), zone, (now.plus(-OLDEST), now));
    let exposed = if typed.get("exposed").trim().is_empty() {
        Some(None)
    } else {
        notes.instant("exposed", typed.get("exposed"), zone, (now.plus(-OLDEST), now)).map(Some)
    };
    if let (Some(noticed), Some(Some(exposed))) = (noticed, exposed)
        && exposed > noticed
    {
        notes.add("exposed", "This is after the reaction was noticed.");
    }
    let artist = artist_of(&mut notes, typed.get("artist"), &opened.names);
    let words = notes.may_be_words("words", typed.get("words"), 4000);
    let first_aid = notes.may_be_words("first_aid", typed.get("first_aid"), 2000);
    let liquids = notes.may_be_words("liquids", typed.get("liquids"), 500);
    let wet = chosen_liquids(&mut notes, typed);
    let whom: Vec<Option<String>> = typed.all("whom").into_iter().map(|key| known(&WHOM, key)).collect();
    let whom = notes.choice("whom", whom.into_iter().collect::<Option<Vec<_>>>());
    notes.settle((|| {
        let reaction = Reaction {
            id: ReactionId::new(),
            client: opened.client.id,
            noticed: noticed?,
            exposed: exposed?,
            acute: is_acute(&symptoms),
            artist: artist?,
            closed: None,
            products: opened.met_before(noticed?).into_iter().map(|(met, _)| met).collect(),
            liquids: wet?,
        };
        let details = Details {
            symptoms,
            eyes: eyes?,
            severity: severity?,
            words: words?,
            first_aid: first_aid?,
            liquids: liquids?,
        };
        Some((reaction, details, whom?))
    })())
}

async fn add(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ClientId>,
    form: Form<Typed>,
) -> Result<Response, Problem> {
    let opened = open(&house, &staff, id).await?;
    match check(&form.typed, &opened, staff.visitor.now.0) {
        Ok((new, details, whom)) => {
            let inner = house.clone();
            // They were told when it was entered, also where it waited on a device since.
            let now = staff.visitor.now.0;
            let at = done_at(form.typed.get(DONE), now).min(now);
            let kept = house
                .store
                .write(&form.key, move |tx| {
                    let (house, new, details, whom) = (inner.clone(), new.clone(), details.clone(), whom.clone());
                    Box::pin(async move {
                        add_reaction(tx, house.store.keys(), &new, &details).await?;
                        for whom in &whom {
                            tell_at(tx, &new.id.to_string(), whom, at).await?;
                        }
                        Ok(Kept::see(format!("/door/reactions/{}", new.id)))
                    })
                })
                .await?;
            Ok(answer(&house, &kept))
        }
        Err(problem) => {
            let notes = notes_of(problem)?;
            let view = form_view(&house, &staff, &opened, &form.typed).again(&notes, form.key.form);
            page_with(StatusCode::UNPROCESSABLE_ENTITY, &view)
        }
    }
}

// ---- its page ------------------------------------------------------------------------------------------------------

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
    let told = told(&mut db, &reaction.id.to_string()).await?;
    let told =
        told.iter().map(|(whom, at)| (words_of(&WHOM, whom).to_owned(), zone.date_and_clock(*at, now))).collect();
    let mut fields = [words_field("words", "How is she now", typed)
        .hinted("What she says and what you see. Better, the same, worse; who was asked.")];
    note_fields(&mut fields, notes);
    let own = |(key, words): (&str, &str)| (key.to_owned(), words.to_owned());
    let mistakes = mistakes(&fields);
    let [field] = fields;
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
        told,
        whom: choice_field("select", "whom", "Whom", "", WHOM.map(own)),
        over: reaction.closed.is_some(),
    })
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
    let met: Vec<String> = reaction.products.iter().map(|met| met_words(met, &bench)).collect();
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
            let inner = house.clone();
            let kept = house
                .store
                .write(&form.key, move |tx| {
                    let (house, due, words) = (inner.clone(), due.clone(), words.clone());
                    Box::pin(async move {
                        do_follow_up(tx, house.store.keys(), &due, &words).await?;
                        Ok(Kept::see(format!("/door/reactions/{id}")))
                    })
                })
                .await?;
            Ok(answer(&house, &kept))
        }
        Err(problem) => {
            let notes = notes_of(problem)?;
            let key = form.key.form.unwrap_or_default();
            let view = reaction_view(&house, &staff, &opened, form.typed.get("words"), &notes, key).await?;
            page_with(StatusCode::UNPROCESSABLE_ENTITY, &view)
        }
    }
}

async fn tell_somebody(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ReactionId>,
    form: Form<Typed>,
) -> Result<Response, Problem> {
    open_reaction(&house, &staff, id).await?;
    let whom = form.typed.get("whom").to_owned();
    if !WHOM.iter().any(|(key, _)| *key == whom) {
        return Err(Problem::mistake("whom", "Choose one of these."));
    }
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let whom = whom.clone();
            Box::pin(async move {
                tell(tx, &id.to_string(), &whom).await?;
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
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    open_reaction(&house, &staff, id).await?;
    let kept = house
        .store
        .write(&form.key, move |tx| {
            Box::pin(async move {
                close_reaction(tx, id).await?;
                Ok(Kept::see(format!("/door/reactions/{id}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}
