//! A reaction is recorded, for those who treat. Nothing is chosen beforehand: where, how bad, since when and who treated her is said.

use axum::extract::State;
use axum::response::Response;

use super::lot_store::exposures_of;
use super::reaction::{Details, EYES, LOOK_BACK, SEVERITIES, SYMPTOMS, WHOM, is_acute, known_symptoms};
use super::reaction_store::{Reaction, add_reaction, tell};
use super::seen::{Names, client_for, must_treat};
use super::standing::Bench;
use super::test_form::chosen_liquids;
use super::test_store::Met;
use super::typed::{
    Caution, FormPage, MoreNotes, Typed, checks_field, done_field, kept_field, notes_of, time_field, wall_instant,
    words_field,
};
use super::visit_page::artist_of;
use super::wet::Wet;
use crate::base::ids::{ClientId, ReactionId};
use crate::base::problem::Problem;
use crate::base::time::{DAY, Instant};
use crate::clients::Client;
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, choice_field};
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/door/clients/{client}/reactions/new", reaction_form)
        .post("/door/clients/{client}/reactions", add)
}

/// Sent where nobody knows who treated her, or another studio did: it is said, and never follows from a field left as it was.
const NOBODY: &str = "none";

/// How far back a reaction may lie.
const OLDEST: i64 = 3650 * DAY;

/// Said while a reaction waits on a device.
const WAITS: &str = "Nobody else sees it until then: tell them. Nothing with adhesive is placed on her.";

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
    let noticed = wall_instant(typed.get("noticed"), &opened.studio.zone).unwrap_or(now);
    let before = opened.met_before(noticed);
    let last = match before.iter().map(|(_, at)| *at).max() {
        Some(at) => format!("The last one recorded here: {}. ", opened.studio.zone.date_and_clock(at, now)),
        None => String::new(),
    };
    let met: Vec<String> = before
        .iter()
        .map(|(met, at)| format!("{} ({})", opened.bench.met_words(met), opened.studio.zone.date(*at, now)))
        .collect();
    let met = if met.is_empty() {
        "No meeting with a product is recorded in the eight weeks before it.".to_owned()
    } else {
        format!("Recorded with it from the eight weeks before it was noticed: {}.", met.join("; "))
    };
    let nobody = [("", "choose who, or that it is not known"), (NOBODY, "not known, or another studio")].map(own);
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
            choice_field("select", "artist", "Who treated her", typed.get("artist"), nobody.into_iter().chain(opened.names.at_the_bed())),
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
    let artist = match typed.get("artist") {
        "" => notes.choice("artist", None),
        NOBODY => Some(None),
        id => artist_of(&mut notes, id, &opened.names),
    };
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
            let at = form.typed.pressed(now);
            let kept = house
                .store
                .write(&form.key, move |tx| {
                    let (house, new, details, whom) = (inner.clone(), new.clone(), details.clone(), whom.clone());
                    Box::pin(async move {
                        add_reaction(tx, house.store.keys(), &new, &details).await?;
                        for whom in &whom {
                            tell(tx, house.store.keys(), &new.id.to_string(), whom, at).await?;
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
            page_again(&view)
        }
    }
}
