//! The owner's choices about cards.

use axum::extract::State;
use axum::response::Response;

use super::settings::{CardSettings, lines, steps};
use super::typed_zone::ZONES;
use crate::base::problem::Problem;
use crate::clearance::typed::{FormPage, MoreNotes as _, Typed, refused, words_field};
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, number_field};
use crate::web::guard::Owner;
use crate::web::incoming::{Form, new_form_key};
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::stood::{STOOD, still_stands, stood_field};
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/cards/settings", show).post("/cards/settings", keep)
}

fn view(house: &House, owner: &Owner, studio: &Studio, typed: &Typed) -> FormPage {
    let get = |name| typed.get(name);
    FormPage {
        frame: house.frame(studio, &owner.visitor, Place::Office, "Settings of cards"),
        key: new_form_key(),
        action: house.url("/cards/settings"),
        word: "Cards",
        small: "for everybody",
        lead: vec!["A card that is open keeps the steps it was opened with.".to_owned()],
        caution: None,
        fields: vec![
            number_field("drop_minutes", "Minutes until a fresh drop is due", get("drop_minutes")),
            words_field("curls", "Curls, from the flattest to the strongest", get("curls"))
                .hinted("One a line; makers’ angles differ."),
            number_field("zones", "Zones of each lid on a lash map", get("zones")),
            number_field("per_strip", "Extensions on a full strip", get("per_strip")),
            words_field("steps", "Aftercare steps before she leaves", get("steps"))
                .hinted("One a line: minutes to wait, a space, what to do.")
                .or_empty(),
            words_field("aftercare", "Aftercare in words", get("aftercare"))
                .hinted("One sentence a line; printed and read out.")
                .or_empty(),
            words_field("hygiene", "Ticked at closing", get("hygiene"))
                .hinted("One a line; nothing for no list.")
                .or_empty(),
            stood_field(get(STOOD)),
        ],
        mistakes: Vec::new(),
        button: "Keep these settings",
        back: (house.url("/cards"), "Back to the cards"),
    }
}

fn typed_of(own: &CardSettings) -> Typed {
    Typed::of([
        ("drop_minutes", own.drop_minutes.to_string()),
        ("curls", own.curls.join("\n")),
        ("zones", own.zones.to_string()),
        ("per_strip", own.per_strip.to_string()),
        ("steps", own.steps_text()),
        ("aftercare", own.aftercare.join("\n")),
        ("hygiene", own.hygiene.join("\n")),
    ])
    .marked()
}

async fn load(house: &House) -> Result<(Studio, Typed), Problem> {
    let mut db = house.store.read().await?;
    Ok((Studio::load(&mut db).await?, typed_of(&CardSettings::load(&mut db).await?)))
}

async fn show(owner: Owner, State(house): State<House>) -> Result<Response, Problem> {
    let (studio, typed) = load(&house).await?;
    page(&view(&house, &owner, &studio, &typed))
}

fn check(typed: &Typed) -> Result<CardSettings, Problem> {
    let mut notes = Notes::default();
    let drop_minutes = notes.whole("drop_minutes", typed.get("drop_minutes"), (5, 60), "min");
    let zones = notes.whole("zones", typed.get("zones"), ZONES, "");
    let per_strip = notes.whole("per_strip", typed.get("per_strip"), (1, 200), "");
    let curls = notes.words("curls", typed.get("curls"), 300).map(|text| lines(&text));
    if curls.as_ref().is_some_and(|curls| curls.iter().any(|curl| curl.contains(char::is_whitespace))) {
        notes.add("curls", "A curl is one word, one a line.");
    }
    let typed_steps = notes.may_be_words("steps", typed.get("steps"), 3000);
    let steps = typed_steps.and_then(|text| steps(&text).map_err(|sentence| notes.add("steps", sentence)).ok());
    let aftercare = notes.may_be_words("aftercare", typed.get("aftercare"), 3000).map(|text| lines(&text));
    let hygiene = notes.may_be_words("hygiene", typed.get("hygiene"), 2000).map(|text| lines(&text));
    let settings = (|| {
        Some(CardSettings {
            drop_minutes: drop_minutes?,
            curls: curls?,
            zones: zones?,
            per_strip: per_strip?,
            steps: steps?,
            aftercare: aftercare?,
            hygiene: hygiene?,
        })
    })();
    notes.settle(settings)
}

async fn keep(owner: Owner, State(house): State<House>, form: Form<Typed>) -> Result<Response, Problem> {
    let kept = match check(&form.typed) {
        Ok(settings) => {
            let seen = form.typed.get(STOOD).to_owned();
            let kept = house.store.write(&form.key, move |tx| {
                let (settings, seen) = (settings.clone(), seen.clone());
                Box::pin(async move {
                    let standing = typed_of(&CardSettings::load(tx.db()).await?).standing();
                    still_stands(&seen, &standing, &typed_of(&settings).standing())?;
                    settings.keep(tx).await?;
                    Ok(Kept::see("/cards/settings"))
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
