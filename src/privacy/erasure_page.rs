//! Erasure: what may go goes, what must stay is named with its reason and its date.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::{kept_by, store};
use crate::base::ids::ClientId;
use crate::base::problem::{FieldNote, Problem};
use crate::base::time::Instant;
use crate::clients::ClientSettings;
use crate::clients::typed::noted;
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, choice_field, text_field};
use crate::web::form::{FieldView, Mistake};
use crate::web::frame::Frame;
use crate::web::guard::{Staff, with_passphrase};
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/door/clients/{client}/erasure", show)
        .post("/door/clients/{client}/erasure", erase)
        .get("/door/erased/{client}", erased)
}

#[derive(Template)]
#[template(path = "privacy/erasure.html")]
struct ErasurePage {
    frame: Frame,
    key: String,
    action: String,
    back: String,
    keep_years: u32,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
}

#[derive(Deserialize, Default)]
#[serde(default)]
struct TypedErasure {
    treated: String,
    last_day: String,
}

impl TypedErasure {
    /// The last test or treatment; `Some(None)` where there never was one.
    fn check(&self, studio: &Studio, now: Instant) -> Result<Option<Instant>, Problem> {
        let mut notes = Notes::default();
        let treated =
            notes.choice("treated", matches!(self.treated.as_str(), "yes" | "no").then_some(self.treated == "yes"));
        let last = if treated == Some(true) {
            let day = self.last_day.trim().parse::<jiff::civil::Date>().ok();
            let day = day.filter(|day| *day <= studio.zone.day(now) && day.year() > 1990);
            if day.is_none() {
                notes.add("last_day", "Type the day of the last test or treatment, for instance 2025-11-30.");
            }
            day.map(|day| Some(studio.zone.start_of(day)))
        } else {
            Some(None)
        };
        notes.settle(treated.and(last))
    }

    fn fields(&self) -> Vec<FieldView> {
        let ways = [("no", "no, never"), ("yes", "yes")];
        vec![
            choice_field(
                "radio",
                "treated",
                "Was a patch test or a treatment ever done here?",
                &self.treated,
                ways.map(|(value, words)| (value.to_owned(), words.to_owned())),
            ),
            text_field("last_day", "The last one was on", &self.last_day)
                .hinted("Year, month, day: 2025-11-30. Only where there was one.")
                .short()
                .or_empty(),
        ]
    }
}

async fn show(staff: Staff, State(house): State<House>, At(id): At<ClientId>) -> Result<Response, Problem> {
    with_passphrase(&staff.visitor)?;
    let view = view(&house, &staff, id, &TypedErasure::default(), &[], new_form_key()).await?;
    page(&view)
}

async fn view(
    house: &House,
    staff: &Staff,
    id: ClientId,
    typed: &TypedErasure,
    notes: &[FieldNote],
    key: String,
) -> Result<ErasurePage, Problem> {
    let mut db = house.store.read().await?;
    let client = kept_by(&mut db, staff, id).await?;
    let studio = Studio::load(&mut db).await?;
    let (fields, mistakes) = noted(typed.fields(), notes);
    let path = house.url(&format!("/door/clients/{id}"));
    Ok(ErasurePage {
        frame: house.frame(&studio, &staff.visitor, Place::Door, format!("{}: erasure", client.name)),
        key,
        action: format!("{path}/erasure"),
        back: path,
        keep_years: ClientSettings::load(&mut db).await?.keep_years,
        fields,
        mistakes,
    })
}

async fn erase(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ClientId>,
    form: Form<TypedErasure>,
) -> Result<Response, Problem> {
    with_passphrase(&staff.visitor)?;
    let studio = {
        let mut db = house.store.read().await?;
        kept_by(&mut db, &staff, id).await?;
        Studio::load(&mut db).await?
    };
    let treated = match form.typed.check(&studio, staff.visitor.now.0) {
        Ok(treated) => treated,
        Err(Problem::Mistakes(notes)) => {
            let key = form.key.again();
            let view = view(&house, &staff, id, &form.typed, &notes, key).await?;
            return page_again(&view);
        }
        Err(other) => return Err(other),
    };
    let keeping = house.clone();
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let house = keeping.clone();
            Box::pin(async move {
                store::erase(tx, house.store.keys(), id, treated).await?;
                Ok(Kept::see(format!("/door/erased/{id}")))
            })
        })
        .await?;
    if let Err(cause) = store::scrub(&house).await {
        tracing::warn!(%cause, "the database's file was not tidied after an erasure; the clock does it");
    }
    Ok(answer(&house, &kept))
}

#[derive(Template)]
#[template(path = "privacy/erased.html")]
struct ErasedPage {
    frame: Frame,
    when: String,
    stays: Vec<(String, String, String)>,
    /// Where her keeper opens it.
    file: Option<String>,
}

/// What became of an erased record; without a name, since none is left.
async fn erased(staff: Staff, State(house): State<House>, At(id): At<ClientId>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let client = crate::clients::client(&mut db, id)
        .await?
        .filter(|client| crate::clients::may_see(client, &staff.who))
        .ok_or(Problem::NotHere("client"))?;
    let at = client.erased.ok_or(Problem::NotHere("client"))?;
    let studio = Studio::load(&mut db).await?;
    let now = staff.visitor.now.0;
    let stays = store::rest(&mut db, id).await?;
    let keeper = super::erased_kept_by(&mut db, &staff, id).await.is_ok() && !stays.is_empty();
    let stays = stays.into_iter().map(|(what, reason, until)| (what, reason, studio.zone.date(until, now)));
    page(&ErasedPage {
        frame: house.frame(&studio, &staff.visitor, Place::Door, "Erased"),
        when: studio.zone.date_and_clock(at, now),
        stays: stays.collect(),
        file: keeper.then(|| house.url(&format!("/door/erased/{id}/file"))),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_treatment_needs_its_day_and_none_needs_nothing() {
        let now = Instant::from_timestamp("2026-02-18T09:12:00Z".parse().unwrap());
        let check = |treated: &str, day: &str| {
            TypedErasure { treated: treated.into(), last_day: day.into() }.check(&Studio::default(), now)
        };
        assert_eq!(check("no", "").unwrap(), None);
        assert!(check("yes", "2025-11-30").unwrap().is_some());
        for (treated, day) in
            [("", ""), ("yes", ""), ("yes", "30.11.2025"), ("yes", "2026-02-19"), ("yes", "1900-01-01")]
        {
            assert!(check(treated, day).is_err(), "{treated} {day}");
        }
    }
}
