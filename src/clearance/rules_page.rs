//! The rules of clearance: the owner's page, each rule with its reason.

use axum::extract::State;
use axum::response::Response;

use super::rules::{DAYS, FIX_DAYS, MayOverride, PLACED, Rules, SITE_LETTERS, WAIT_HOURS, WORDS};
use super::typed::{Caution, FormPage, MoreNotes, Typed, refused, tick_field};
use crate::base::problem::Problem;
use crate::clients::minors::AgeRule;
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, choice_field, number_field, text_field};
use crate::web::form::FieldView;
use crate::web::guard::Owner;
use crate::web::incoming::{Form, new_form_key};
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::stood::{STOOD, still_stands, stood_field};
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/office/clearance", show).post("/office/clearance", keep)
}

async fn show(owner: Owner, State(house): State<House>) -> Result<Response, Problem> {
    let (studio, typed) = load(&house).await?;
    page(&view(&house, &owner, &studio, &typed))
}

async fn load(house: &House) -> Result<(Studio, Typed), Problem> {
    let mut db = house.store.read().await?;
    Ok((Studio::load(&mut db).await?, typed_of(&Rules::load(&mut db).await?)))
}

fn typed_of(rules: &Rules) -> Typed {
    let yes = |value: bool| if value { "yes".to_owned() } else { String::new() };
    Typed::of([
        ("needed", yes(rules.needed)),
        ("wait_hours", rules.wait_hours.to_string()),
        ("valid_days", rules.valid_days.to_string()),
        ("largest_gap_days", rules.largest_gap_days.to_string()),
        ("on_product", yes(rules.on_product)),
        ("on_family", yes(rules.on_family)),
        ("on_health", yes(rules.on_health)),
        ("on_reaction", yes(rules.on_reaction)),
        ("liquids_too", yes(rules.liquids_too)),
        ("answers_needed", yes(rules.answers_needed)),
        ("may_override", rules.may_override.word().to_owned()),
        ("usual_site", rules.usual_site.clone()),
        ("usual_number", rules.usual_number.to_string()),
        ("fix_days", rules.fix_days.to_string()),
    ])
    .marked()
}

fn view(house: &House, owner: &Owner, studio: &Studio, typed: &Typed) -> FormPage {
    let field = |words: &super::rules::RuleWords| -> FieldView {
        let value = typed.get(words.field);
        let field = match words.field {
            "wait_hours" | "valid_days" | "largest_gap_days" | "usual_number" | "fix_days" => {
                number_field(words.field, words.label, value).short()
            }
            "usual_site" => text_field(words.field, words.label, value),
            "may_override" => {
                let who = MayOverride::ALL.map(|may| (may.word().to_owned(), may.words().to_owned()));
                choice_field("radio", words.field, words.label, value, who)
            }
            _ => tick_field(words.field, words.label, value == "yes"),
        };
        field.hinted(words.why)
    };
    FormPage {
        frame: house.frame(studio, &owner.visitor, Place::Office, "Rules of clearance"),
        key: new_form_key(),
        action: house.url("/office/clearance"),
        word: "Rules",
        small: "who may be treated when",
        lead: vec![
            "What has no setting and can never be passed over: a reaction or doubtful result, an answer “do not treat now”, “medical advice first” without an answer, a wait not over, a declined test, a minor without guardian. The ages stand with the settings of clients.".to_owned(),
        ],
        caution: Some(Caution {
            heading: "A patch test is weak",
            sentences: vec![
                "In nine people who became allergic to a cyanoacrylate that surgeons use on skin, the first meeting ever showed after 34 days on average (27 to 44), a later one after 5.6 days (4 to 8). A test one or two days before a first set cannot find them (Asai et al., Contact Dermatitis 2021).",
                "Medical patch tests are read on day 2, on day 3 or 4, and about day 7; one reading on day 2 misses late reactions (Johansen et al., Contact Dermatitis 2015). A test here is weaker than those.",
                "The maker’s instructions, local rules, the insurer and medical advice come before these settings.",
            ],
        }),
        fields: WORDS.iter().map(field).chain([stood_field(typed.get(STOOD))]).collect(),
        mistakes: Vec::new(),
        button: "Keep the rules",
        back: (house.url("/office"), "Back to Office"),
    }
}

fn check(typed: &Typed) -> Result<Rules, Problem> {
    let mut notes = Notes::default();
    let wait_hours = notes.whole("wait_hours", typed.get("wait_hours"), WAIT_HOURS, "hours");
    let valid_days = notes.whole("valid_days", typed.get("valid_days"), DAYS, "days");
    let largest_gap_days = notes.whole("largest_gap_days", typed.get("largest_gap_days"), DAYS, "days");
    let may_override = notes.choice("may_override", MayOverride::from_word(typed.get("may_override")));
    let usual_site = notes.line("usual_site", typed.get("usual_site"), SITE_LETTERS);
    let usual_number = notes.whole("usual_number", typed.get("usual_number"), PLACED, "");
    let fix_days = notes.whole("fix_days", typed.get("fix_days"), FIX_DAYS, "days");
    let yes = |name: &str| typed.is_ticked(name);
    notes.settle((|| {
        Some(Rules {
            needed: yes("needed"),
            wait_hours: wait_hours?,
            valid_days: valid_days?,
            largest_gap_days: largest_gap_days?,
            on_product: yes("on_product"),
            on_family: yes("on_family"),
            on_health: yes("on_health"),
            on_reaction: yes("on_reaction"),
            liquids_too: yes("liquids_too"),
            answers_needed: yes("answers_needed"),
            may_override: may_override?,
            fix_days: fix_days?,
            usual_site: usual_site?,
            usual_number: usual_number?,
            // Set with the clients, and not kept here.
            ages: AgeRule::default(),
        })
    })())
}

async fn keep(owner: Owner, State(house): State<House>, form: Form<Typed>) -> Result<Response, Problem> {
    let kept = match check(&form.typed) {
        Ok(rules) => {
            let seen = form.typed.get(STOOD).to_owned();
            let kept = house.store.write(&form.key, move |tx| {
                let (rules, seen) = (rules.clone(), seen.clone());
                Box::pin(async move {
                    let standing = typed_of(&Rules::load(tx.db()).await?).standing();
                    still_stands(&seen, &standing, &typed_of(&rules).standing())?;
                    rules.keep(tx).await?;
                    tx.raise(super::DOOR);
                    tx.audit("change clearance rules", "", "").await?;
                    Ok(Kept::see("/office/clearance"))
                })
            });
            kept.await
        }
        Err(problem) => Err(problem),
    };
    let problem = match kept {
        Ok(kept) => return Ok(answer(&house, &kept)),
        Err(problem) => problem,
    };
    let (studio, now) = load(&house).await?;
    refused(problem, &form.typed, &now, form.key.form, |typed| view(&house, &owner, &studio, typed))
}
