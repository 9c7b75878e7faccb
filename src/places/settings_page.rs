//! The settings on one page. Each part owns its own; this page reads them, checks what was typed, and hands each part its share.

use askama::Template;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use iso_currency::Currency;
use serde::Deserialize;

use crate::advice::settings::AdviceSettings;
use crate::base::number::DecimalMark;
use crate::base::problem::{FieldNote, Problem};
use crate::base::units::{Celsius, RelHumidity};
use crate::base::zone::Zone;
use crate::clearance;
use crate::rooms::RoomSettings;
use crate::store::{Db, Kept};
use crate::web::House;
use crate::web::checks::{Notes, choice_field, note_fields, number_field, text_field};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Owner;
use crate::web::incoming::{Form, new_form_key};
use crate::web::problems::{page, page_again, page_with};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::stood::{mark_of, stand_beside, still_stands, stood_field};
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/office/settings", settings_page).post("/office/settings", keep)
}

#[derive(Deserialize, Default)]
#[serde(default)]
struct TypedSettings {
    name: String,
    zone: String,
    currency: String,
    temperature: String,
    decimal: String,
    stale_minutes: String,
    humidity_low: String,
    humidity_high: String,
    temperature_low: String,
    temperature_high: String,
    disturbed_in_100: String,
    extra_hold_min: String,
    stood: String,
}

#[derive(Template)]
#[template(path = "places/settings.html")]
struct SettingsPage {
    frame: Frame,
    key: String,
    studio: Vec<FieldView>,
    stale: FieldView,
    bands: Vec<Band>,
    advice: Vec<FieldView>,
    mistakes: Vec<Mistake>,
}

/// The two ends of a band, side by side.
struct Band {
    /// "Humidity, %RH".
    word: String,
    hint: &'static str,
    ends: [FieldView; 2],
}

type All = (Studio, RoomSettings, AdviceSettings);

async fn load(house: &House) -> Result<All, Problem> {
    let mut db = house.store.read().await?;
    load_from(&mut db).await
}

async fn load_from(db: &mut Db) -> Result<All, Problem> {
    Ok((Studio::load(db).await?, RoomSettings::load(db).await?, AdviceSettings::load(db).await?))
}

async fn settings_page(owner: Owner, State(house): State<House>) -> Result<Response, Problem> {
    let all = load(&house).await?;
    page(&view(&house, &owner, &all.0, &TypedSettings::of(&all), &[], new_form_key()))
}

impl TypedSettings {
    fn of((studio, rooms, advice): &All) -> Self {
        let degrees = |celsius: Celsius| studio.number(studio.scale(celsius.get()), 1);
        let own = Self {
            name: studio.name.clone(),
            zone: studio.zone.name().to_owned(),
            currency: studio.currency.clone(),
            temperature: if studio.fahrenheit { "fahrenheit" } else { "celsius" }.to_owned(),
            decimal: studio.decimal.word().to_owned(),
            stale_minutes: rooms.stale_minutes.to_string(),
            humidity_low: studio.number(rooms.humidity_band.0.get(), 0),
            humidity_high: studio.number(rooms.humidity_band.1.get(), 0),
            temperature_low: degrees(rooms.temperature_band.0),
            temperature_high: degrees(rooms.temperature_band.1),
            disturbed_in_100: studio.number(advice.disturbed_in_100, 1),
            extra_hold_min: studio.number(advice.extra_hold_min, 1),
            stood: String::new(),
        };
        Self { stood: mark_of(&own.standing()), ..own }
    }

    /// All of it, for its mark.
    fn standing(&self) -> String {
        let studio = [&self.name, &self.zone, &self.currency, &self.temperature, &self.decimal, &self.stale_minutes];
        let bands = [&self.humidity_low, &self.humidity_high, &self.temperature_low, &self.temperature_high];
        let advice = [&self.disturbed_in_100, &self.extra_hold_min];
        studio.into_iter().chain(bands).chain(advice).map(|text| format!("{text}\n")).collect()
    }

    /// `before` says on which scale the band's temperatures were shown and typed.
    fn check(&self, before: &Studio) -> Result<All, Problem> {
        let mut notes = Notes::said_with(before.decimal);
        let studio = self.check_studio(&mut notes);
        let stale = notes.number("stale_minutes", &self.stale_minutes, (1.0, 1440.0), "minutes");
        let low = notes.number("humidity_low", &self.humidity_low, (5.0, 90.0), "%RH");
        let high = notes.number("humidity_high", &self.humidity_high, (10.0, 95.0), "%RH");
        if low.zip(high).is_some_and(|(low, high)| low >= high) {
            notes.add("humidity_high", "The upper end of the band must lie above the lower.");
        }
        let limits = (before.scale(5.0), before.scale(40.0));
        let mut degrees = |field, typed: &str| {
            let value = notes.number(field, typed, limits, before.temperature_unit());
            value.and_then(|value| before.celsius(value).ok())
        };
        let cold = degrees("temperature_low", &self.temperature_low);
        let warm = degrees("temperature_high", &self.temperature_high);
        if cold.zip(warm).is_some_and(|(cold, warm)| cold >= warm) {
            notes.add("temperature_high", "The upper end of the band must lie above the lower.");
        }
        let disturbed = notes.number("disturbed_in_100", &self.disturbed_in_100, (1.0, 50.0), "in 100");
        let holding = notes.number("extra_hold_min", &self.extra_hold_min, (1.0, 120.0), "minutes");
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "1 to 1440 minutes")]
        let all = (|| {
            let rooms = RoomSettings {
                stale_minutes: stale?.round() as u32,
                humidity_band: (RelHumidity::clamped(low?), RelHumidity::clamped(high?)),
                temperature_band: (cold?, warm?),
            };
            Some((studio?, rooms, AdviceSettings { disturbed_in_100: disturbed?, extra_hold_min: holding? }))
        })();
        notes.settle(all)
    }

    fn check_studio(&self, notes: &mut Notes) -> Option<Studio> {
        let name = notes.line("name", &self.name, 80);
        let zone = Zone::named(self.zone.trim());
        if zone.is_none() {
            notes.add("zone", "Type a time zone by its name, for instance Europe/Lisbon.");
        }
        let currency = self.currency.trim().to_uppercase();
        // Metals and test codes have three letters as well, and no decimals.
        if Currency::from_code(&currency).and_then(Currency::exponent).is_none() {
            notes.add("currency", "Type the three letters of a currency as ISO 4217 lists it, for instance EUR.");
        }
        let decimal = notes.choice("decimal", DecimalMark::from_word(&self.decimal));
        let known = matches!(self.temperature.as_str(), "celsius" | "fahrenheit");
        notes.choice("temperature", known.then_some(()))?;
        Some(Studio {
            name: name?,
            zone: zone?,
            currency,
            fahrenheit: self.temperature == "fahrenheit",
            decimal: decimal?,
            invented: false,
        })
    }
}

fn view(
    house: &House,
    owner: &Owner,
    now: &Studio,
    typed: &TypedSettings,
    notes: &[FieldNote],
    key: String,
) -> SettingsPage {
    let unit = now.temperature_unit();
    let choices = |pairs: [(&str, &str); 2]| pairs.map(|(value, words)| (value.to_owned(), words.to_owned()));
    let mut studio = vec![
        text_field("name", "The studio’s name", &typed.name),
        text_field("zone", "Time zone", &typed.zone)
            .hinted("By its name in the time zone database, for instance Europe/Lisbon."),
        text_field("currency", "Currency", &typed.currency).hinted("Three letters after ISO 4217.").short(),
        choice_field(
            "radio",
            "temperature",
            "Temperatures",
            &typed.temperature,
            choices([("celsius", "°C"), ("fahrenheit", "°F")]),
        ),
        choice_field(
            "radio",
            "decimal",
            "Decimal sign",
            &typed.decimal,
            choices([("point", "point: 21.5"), ("comma", "comma: 21,5")]),
        )
        .hinted("For what pages print. Both are read."),
    ];
    let mut stale = [number_field("stale_minutes", "A reading is stale after, minutes", &typed.stale_minutes)
        .hinted("Older air is still shown, said to be old, and doubted more.")];
    let mut bands = vec![
        Band {
            word: "Humidity, %RH".to_owned(),
            hint: "Above 60 %RH mould becomes likelier on cold walls and glass.",
            ends: [
                number_field("humidity_low", "from", &typed.humidity_low),
                number_field("humidity_high", "to", &typed.humidity_high),
            ],
        },
        Band {
            word: format!("Temperature, {unit}"),
            hint: "A client lies still: not under 20 °C (68 °F).",
            ends: [
                number_field("temperature_low", "from", &typed.temperature_low),
                number_field("temperature_high", "to", &typed.temperature_high),
            ],
        },
    ];
    let mut advice = vec![
        number_field("disturbed_in_100", "Placements disturbed, in 100", &typed.disturbed_in_100)
            .hinted("Still being moved after the adhesive began to set."),
        number_field("extra_hold_min", "Extra holding, minutes a set", &typed.extra_hold_min)
            .hinted("Holding still because the adhesive is slower than the hands."),
        stood_field(&typed.stood),
    ];
    for fields in
        [&mut studio[..], &mut stale, &mut advice].into_iter().chain(bands.iter_mut().map(|band| &mut band.ends[..]))
    {
        note_fields(fields, notes);
    }
    let [stale] = stale;
    SettingsPage {
        frame: house.frame(now, &owner.visitor, Place::Office, "Settings"),
        key,
        mistakes: Vec::new(),
        studio,
        stale,
        bands,
        advice,
    }
    .summed_up()
}

impl SettingsPage {
    /// With the summary of what is wrong, in the order of the page.
    fn summed_up(mut self) -> Self {
        let of_bands = self.bands.iter().flat_map(|band| mistakes(&band.ends).into_iter().map(|one| band.named(one)));
        let all = mistakes(self.studio.iter().chain([&self.stale])).into_iter().chain(of_bands);
        self.mistakes = all.chain(mistakes(&self.advice)).collect();
        self
    }

    /// With what stands there now beside each field where that is not what was typed.
    fn beside(mut self, now: &Self) -> Self {
        stand_beside(&mut self.studio, &now.studio);
        stand_beside(std::slice::from_mut(&mut self.stale), std::slice::from_ref(&now.stale));
        for (band, now) in self.bands.iter_mut().zip(&now.bands) {
            stand_beside(&mut band.ends, &now.ends);
        }
        stand_beside(&mut self.advice, &now.advice);
        self.summed_up()
    }
}

impl Band {
    /// In the summary "to" alone would not say of which band.
    fn named(&self, mistake: Mistake) -> Mistake {
        Mistake { label: format!("{}, {}", self.word, mistake.label), ..mistake }
    }
}

/// Amounts are kept without the currency they were given back in: while there are any, it stays.
async fn currency_may_become(db: &mut Db, before: &Studio, after: &Studio) -> Result<(), Problem> {
    if clearance::reads_alike(&before.currency, &after.currency) || !clearance::keeps_amounts(db).await? {
        return Ok(());
    }
    Err(Problem::mistake(
        "currency",
        format!(
            "Refunds are kept here in {0}; in {1} they would read as other amounts. The currency stays {0}.",
            before.currency, after.currency
        ),
    ))
}

async fn keep(owner: Owner, State(house): State<House>, form: Form<TypedSettings>) -> Result<Response, Problem> {
    let key = form.key.again();
    let before = load(&house).await?.0;
    let kept = match form.typed.check(&before) {
        Ok(all) => {
            let seen = form.typed.stood.clone();
            let kept = house.store.write(&form.key, move |tx| {
                let (all, seen) = (all.clone(), seen.clone());
                Box::pin(async move {
                    let stands = load_from(tx.db()).await?;
                    still_stands(&seen, &TypedSettings::of(&stands).standing(), &TypedSettings::of(&all).standing())?;
                    let (studio, rooms, advice) = all;
                    currency_may_become(tx.db(), &stands.0, &studio).await?;
                    studio.keep(tx).await?;
                    rooms.keep(tx).await?;
                    advice.keep(tx).await?;
                    tx.audit("change settings", "", "").await?;
                    Ok(Kept::see("/office"))
                })
            });
            kept.await
        }
        Err(problem) => Err(problem),
    };
    match kept {
        Ok(kept) => Ok(answer(&house, &kept)),
        Err(Problem::Mistakes(notes)) => {
            let view = view(&house, &owner, &before, &form.typed, &notes, key);
            page_again(&view)
        }
        Err(Problem::Clash(..)) => {
            let all = load(&house).await?;
            let now = TypedSettings::of(&all);
            let typed = TypedSettings { stood: now.stood.clone(), ..form.typed };
            let now = view(&house, &owner, &all.0, &now, &[], String::new());
            let view = view(&house, &owner, &all.0, &typed, &[], key).beside(&now);
            page_with(StatusCode::CONFLICT, &view)
        }
        Err(problem) => Err(problem),
    }
}
