//! The wordings: listed for all, changed by the owner. Those signed before keep theirs.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use serde::Deserialize;

use super::texts::NOT_CONFIRMED;
use super::{Purpose, store};
use crate::base::actor::Role;
use crate::base::problem::{FieldNote, Problem};
use crate::base::text;
use crate::clients::typed::{FormPage, noted};
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::text_field;
use crate::web::form::FieldView;
use crate::web::frame::Frame;
use crate::web::guard::{Owner, Staff};
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_again, page_with};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::stood::{mark_of, still_stands, stood_field};
use crate::web::studio::{Place, Studio};

pub(in crate::clients) fn routes() -> Routes {
    Routes::new()
        .get("/door/consents", list)
        .get("/door/consents/{purpose}", edit)
        .post("/door/consents/{purpose}", change)
}

struct TextRow {
    word: &'static str,
    about: String,
    edit: Option<String>,
    blank: String,
}

#[derive(Template)]
#[template(path = "clients/consents_list.html")]
struct ListPage {
    frame: Frame,
    confirm: &'static str,
    rows: Vec<TextRow>,
}

async fn list(staff: Staff, State(house): State<House>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let is_owner = staff.who.role == Role::Owner;
    let mut rows = Vec::new();
    for purpose in Purpose::ALL {
        let (version, body) = store::text(&mut db, purpose).await?;
        let first: String = body.lines().next().unwrap_or_default().chars().take(120).collect();
        let path = format!("/door/consents/{}", purpose.word());
        rows.push(TextRow {
            word: purpose.words(),
            about: format!("version {version}: {first} …"),
            edit: is_owner.then(|| house.url(&path)),
            blank: house.url(&format!("{path}/blank")),
        });
    }
    let frame = house.frame(&studio, &staff.visitor, Place::Door, "The consents");
    page(&ListPage { frame, confirm: NOT_CONFIRMED, rows })
}

#[derive(Deserialize, Default)]
#[serde(default)]
struct TypedText {
    body: String,
    stood: String,
}

impl TypedText {
    /// As it is kept, for a form to begin with.
    fn of(body: String) -> Self {
        Self { stood: mark_of(&body), body }
    }
}

fn view(
    house: &House,
    owner: &Owner,
    studio: &Studio,
    purpose: Purpose,
    typed: &TypedText,
    notes: &[FieldNote],
    key: String,
) -> FormPage {
    let field = FieldView { kind: "textarea", ..text_field("body", "The wording", &typed.body) }
        .hinted("What is done, what can go wrong, what else there is, that she may stop and withdraw. Nobody signs a right away: such words do not hold, and many insurers end cover over them.");
    let (fields, mistakes) = noted(vec![field, stood_field(&typed.stood)], notes);
    FormPage {
        frame: house.frame(studio, &owner.visitor, Place::Door, format!("Consent: {}", purpose.words())),
        key,
        action: house.url(&format!("/door/consents/{}", purpose.word())),
        word: "The wording",
        small: "signed ones keep theirs",
        lead: NOT_CONFIRMED.to_owned(),
        fields,
        mistakes,
        button: "Keep the wording",
        back: Some((house.url("/door/consents"), "Leave it as it was".to_owned())),
    }
}

async fn edit(owner: Owner, State(house): State<House>, At(purpose): At<Purpose>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let (_, body) = store::text(&mut db, purpose).await?;
    page(&view(&house, &owner, &studio, purpose, &TypedText::of(body), &[], new_form_key()))
}

/// Words by which somebody would sign a right away.
const WAIVERS: [&str; 6] = ["waive", "waiver", "hold harmless", "indemnify", "at my own risk", "no liability"];

/// The wording as it is kept, or what is wrong with it.
fn check(typed: &str) -> Result<String, Problem> {
    let body = text::paragraphs(typed, 6000).map_err(|bad| Problem::mistake("body", bad.to_string()))?;
    if body.chars().count() < 40 {
        return Err(Problem::mistake("body", "Write what is agreed to, in whole sentences."));
    }
    let folded = text::fold(&body);
    match WAIVERS.iter().find(|word| folded.contains(*word)) {
        Some(word) => Err(Problem::mistake(
            "body",
            format!("“{word}” reads as signing a right away. Say instead what can happen and what is done about it."),
        )),
        None => Ok(body),
    }
}

async fn change(
    owner: Owner,
    State(house): State<House>,
    At(purpose): At<Purpose>,
    form: Form<TypedText>,
) -> Result<Response, Problem> {
    let key = form.key.again();
    let load = async || {
        let mut db = house.store.read().await?;
        let (studio, (_, body)) = (Studio::load(&mut db).await?, store::text(&mut db, purpose).await?);
        Ok::<_, Problem>((studio, TypedText::of(body)))
    };
    let body = match check(&form.typed.body) {
        Ok(body) => body,
        Err(Problem::Mistakes(notes)) => {
            let (studio, _) = load().await?;
            let view = view(&house, &owner, &studio, purpose, &form.typed, &notes, key);
            return page_again(&view);
        }
        Err(other) => return Err(other),
    };
    let (by, seen) = (owner.who.id, form.typed.stood.clone());
    let kept = house.store.write(&form.key, move |tx| {
        let (body, seen) = (body.clone(), seen.clone());
        Box::pin(async move {
            let (_, standing) = store::text(tx.db(), purpose).await?;
            still_stands(&seen, &standing, &body)?;
            store::keep_text(tx, by, purpose, &body).await?;
            Ok(Kept::see("/door/consents"))
        })
    });
    match kept.await {
        Ok(kept) => Ok(answer(&house, &kept)),
        Err(Problem::Clash(..)) => {
            let (studio, now) = load().await?;
            let typed = TypedText { stood: now.stood.clone(), body: form.typed.body };
            let now = view(&house, &owner, &studio, purpose, &now, &[], String::new());
            let view = view(&house, &owner, &studio, purpose, &typed, &[], key).beside(&now);
            page_with(StatusCode::CONFLICT, &view)
        }
        Err(problem) => Err(problem),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clients::consents::texts::starting;

    #[test]
    fn the_starting_wordings_pass_their_own_check_and_a_waiver_does_not() {
        for purpose in Purpose::ALL {
            assert_eq!(check(&starting(purpose)).unwrap(), starting(purpose));
        }
        for words in [
            "I waive every claim that I have or may have.",
            "Everything is done AT MY OWN RISK, whatever happens to me.",
        ] {
            assert!(check(words).is_err(), "{words}");
        }
        assert!(check("too short").is_err());
    }
}
