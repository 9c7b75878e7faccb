//! Ages, how long answers hold, keeping time: the owner's page.

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use serde::Deserialize;

use super::minors::AgeRule;
use super::settings::ClientSettings;
use super::typed::{FormPage, noted};
use crate::base::problem::{FieldNote, Problem};
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, number_field};
use crate::web::guard::Owner;
use crate::web::incoming::{Form, new_form_key};
use crate::web::problems::{page, page_again, page_with};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::stood::{mark_of, still_stands, stood_field};
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/door/ages", show).post("/door/ages", keep)
}

#[derive(Deserialize, Default)]
#[serde(default)]
struct TypedSettings {
    refused_below: String,
    guardian_below: String,
    answers_days: String,
    keep_years: String,
    keep_minor_until: String,
    stood: String,
}

impl TypedSettings {
    fn of(settings: &ClientSettings) -> Self {
        let own = Self {
            refused_below: settings.ages.refused_below.to_string(),
            guardian_below: settings.ages.guardian_below.to_string(),
            answers_days: settings.answers_days.to_string(),
            keep_years: settings.keep_years.to_string(),
            keep_minor_until: settings.keep_minor_until.to_string(),
            stood: String::new(),
        };
        Self { stood: mark_of(&own.standing()), ..own }
    }

    /// All of it, for its mark.
    fn standing(&self) -> String {
        let Self { refused_below, guardian_below, answers_days, keep_years, keep_minor_until, stood: _ } = self;
        format!("{refused_below} {guardian_below} {answers_days} {keep_years} {keep_minor_until}")
    }

    fn check(&self) -> Result<ClientSettings, Problem> {
        let mut notes = Notes::default();
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "whole numbers up to 1095")]
        let mut whole =
            |field, typed: &str, limits, unit| notes.number(field, typed, limits, unit).map(|n| n.round() as u32);
        let refused = whole("refused_below", &self.refused_below, (0.0, 30.0), "years");
        let guardian = whole("guardian_below", &self.guardian_below, (0.0, 30.0), "years");
        let answers = whole("answers_days", &self.answers_days, (1.0, 1095.0), "days");
        let keep = whole("keep_years", &self.keep_years, (1.0, 30.0), "years");
        let minor = whole("keep_minor_until", &self.keep_minor_until, (18.0, 30.0), "years");
        if refused.zip(guardian).is_some_and(|(refused, guardian)| guardian < refused) {
            notes.add("guardian_below", "This age cannot lie below the one under which nobody is treated.");
        }
        let age = |years: u32| i16::try_from(years).ok();
        let settings = (|| {
            Some(ClientSettings {
                ages: AgeRule { refused_below: age(refused?)?, guardian_below: age(guardian?)? },
                answers_days: answers?,
                keep_years: keep?,
                keep_minor_until: minor?,
            })
        })();
        notes.settle(settings)
    }
}

fn view(
    house: &House,
    owner: &Owner,
    studio: &Studio,
    typed: &TypedSettings,
    notes: &[FieldNote],
    key: String,
) -> FormPage {
    let fields = vec![
        number_field("refused_below", "Nobody is treated below, years", &typed.refused_below)
            .hinted("16 is common practice; local law and the insurer come first."),
        number_field("guardian_below", "With a guardian below, years", &typed.guardian_below)
            .hinted("Present, signs and answers. Judged on the day of the test and on the day of the appointment."),
        number_field("answers_days", "The consultation is asked anew after, days", &typed.answers_days)
            .hinted("“Anything changed?” is asked at each visit besides."),
        number_field("keep_years", "Keeping time after the last test or treatment, years", &typed.keep_years)
            .hinted("Consents and consultations. Three, seven and fifteen years are all advised: the insurer’s wording decides. For who was erased before, the dates she was told stay."),
        number_field("keep_minor_until", "Who was a minor then: kept at least until the age of", &typed.keep_minor_until)
            .hinted("The later of the two dates counts. Claims of a child begin to lapse only when she is of age."),
        stood_field(&typed.stood),
    ];
    let (fields, mistakes) = noted(fields, notes);
    FormPage {
        frame: house.frame(studio, &owner.visitor, Place::Door, "Ages and keeping time"),
        key,
        action: house.url("/door/ages"),
        word: "The rules",
        small: "of this studio",
        lead: String::new(),
        fields,
        mistakes,
        button: "Keep the rules",
        back: Some((house.url("/door/clients"), "Leave them as they were".to_owned())),
    }
}

async fn load(house: &House) -> Result<(Studio, TypedSettings), Problem> {
    let mut db = house.store.read().await?;
    Ok((Studio::load(&mut db).await?, TypedSettings::of(&ClientSettings::load(&mut db).await?)))
}

async fn show(owner: Owner, State(house): State<House>) -> Result<Response, Problem> {
    let (studio, typed) = load(&house).await?;
    page(&view(&house, &owner, &studio, &typed, &[], new_form_key()))
}

async fn keep(owner: Owner, State(house): State<House>, form: Form<TypedSettings>) -> Result<Response, Problem> {
    let key = form.key.again();
    let settings = match form.typed.check() {
        Ok(settings) => settings,
        Err(Problem::Mistakes(notes)) => {
            let (studio, _) = load(&house).await?;
            let view = view(&house, &owner, &studio, &form.typed, &notes, key);
            return page_again(&view);
        }
        Err(other) => return Err(other),
    };
    let seen = form.typed.stood.clone();
    let kept = house.store.write(&form.key, move |tx| {
        let seen = seen.clone();
        Box::pin(async move {
            let standing = TypedSettings::of(&ClientSettings::load(tx.db()).await?).standing();
            still_stands(&seen, &standing, &TypedSettings::of(&settings).standing())?;
            settings.keep(tx).await?;
            tx.audit("change ages and keeping time", "", "").await?;
            Ok(Kept::see("/door/clients"))
        })
    });
    match kept.await {
        Ok(kept) => Ok(answer(&house, &kept)),
        Err(Problem::Clash(..)) => {
            let (studio, now) = load(&house).await?;
            let typed = TypedSettings { stood: now.stood.clone(), ..form.typed };
            let now = view(&house, &owner, &studio, &now, &[], String::new());
            let view = view(&house, &owner, &studio, &typed, &[], key).beside(&now);
            page_with(StatusCode::CONFLICT, &view)
        }
        Err(problem) => Err(problem),
    }
}
