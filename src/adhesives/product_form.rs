//! A product is added or changed: what its label and its maker say. The owner's pages, since rules hang on them.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::product::{Family, Product, Stated, allowed_from_key, allowed_key};
use super::set_time::Climate;
use super::shelf_page::class_words;
use super::{bench_store, store, words};
use crate::base::ids::ProductId;
use crate::base::problem::{FieldNote, Problem};
use crate::base::text;
use crate::base::units::{Celsius, RelHumidity, Seconds};
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, choice_field, note_fields, number_field, text_field};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Owner;
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/shelf/products/new", new_page)
        .post("/shelf/products", add)
        .get("/shelf/products/{product}/edit", edit_page)
        .post("/shelf/products/{product}/edit", change)
}

// Browsers leave out radio buttons of which none is chosen.
#[derive(Deserialize, Default)]
#[serde(default)]
struct TypedProduct {
    name: String,
    label_low: String,
    label_high: String,
    temperature_low: String,
    temperature_high: String,
    humidity_low: String,
    humidity_high: String,
    family: String,
    colour: String,
    opened_life: String,
    storage: String,
    accelerator: String,
    seen: String,
}

#[derive(Template)]
#[template(path = "adhesives/form.html")]
pub(super) struct FormPage {
    pub(super) frame: Frame,
    pub(super) key: String,
    pub(super) action: String,
    pub(super) word: &'static str,
    pub(super) small: String,
    pub(super) lead: String,
    pub(super) fields: Vec<FieldView>,
    pub(super) mistakes: Vec<Mistake>,
    pub(super) button: &'static str,
    pub(super) back: String,
    /// What a device calls what it keeps of this form; empty for a form that is sent with a network only.
    pub(super) kept: &'static str,
}

impl FormPage {
    /// Whether it is written over what stands there, so that it says what stood there.
    fn is_over(&self) -> bool {
        self.fields.iter().any(|field| field.name == SEEN)
    }
}

/// The hidden field of a form that says what stood there when it was opened.
const SEEN: &str = "seen";

/// The field for what stood there.
pub(super) fn seen_field(mark: &str) -> FieldView {
    FieldView { kind: "hidden", ..text_field(SEEN, "", mark) }
}

/// Names what a form showed when it was opened, by the fields as they would be typed.
pub(super) fn mark(house: &House, shown: &[(&'static str, String)]) -> String {
    let shown: Vec<&[u8]> = shown.iter().map(|(_, value)| value.as_bytes()).collect();
    house.store.keys().digest("shelf as shown", &shown)
}

/// What stands there now where it differs from what was typed, beside its field.
pub(super) fn changed_meanwhile(now: &[(&'static str, String)], typed: &[(&'static str, String)]) -> Problem {
    let differs = now.iter().zip(typed).filter(|((_, now), (_, typed))| now.trim() != typed.trim());
    let mut notes = Notes::default();
    for ((field, now), _) in differs {
        let now = if now.trim().is_empty() { "nothing".to_owned() } else { format!("“{}”", now.trim()) };
        notes.add(
            field,
            format!("This was changed while the page was open, and holds {now} now. Look, and keep what is right."),
        );
    }
    if let (true, Some((first, _))) = (notes.all().is_empty(), now.first()) {
        notes.add(first, "This was changed while the page was open. Look, and keep it again.");
    }
    Problem::Mistakes(notes.all().to_vec())
}

impl TypedProduct {
    fn of(product: &Product, studio: &Studio) -> Self {
        let (low, high) = product.label.columns();
        let figure = |value: Option<f64>| value.map(|value| words::plain(studio, value)).unwrap_or_default();
        let climate = |pick: fn(&Climate) -> f64| product.climate.as_ref().map(pick);
        let degrees = |pick| climate(pick).map(|c| studio.number(studio.scale(c), 1)).unwrap_or_default();
        Self {
            name: product.name.clone(),
            label_low: figure(low),
            label_high: figure(high),
            temperature_low: degrees(|climate| climate.temperature.0.get()),
            temperature_high: degrees(|climate| climate.temperature.1.get()),
            humidity_low: figure(climate(|climate| climate.humidity.0.get())),
            humidity_high: figure(climate(|climate| climate.humidity.1.get())),
            family: product.family.key().to_owned(),
            colour: product.colour.clone(),
            opened_life: product.opened_life_days.map(|days| days.to_string()).unwrap_or_default(),
            storage: product.storage.clone(),
            accelerator: allowed_key(product.accelerator).to_owned(),
            seen: String::new(),
        }
    }

    /// Everything that is typed, under its names.
    fn pairs(&self) -> [(&'static str, String); 12] {
        [
            ("name", self.name.clone()),
            ("label_low", self.label_low.clone()),
            ("label_high", self.label_high.clone()),
            ("temperature_low", self.temperature_low.clone()),
            ("temperature_high", self.temperature_high.clone()),
            ("humidity_low", self.humidity_low.clone()),
            ("humidity_high", self.humidity_high.clone()),
            ("family", self.family.clone()),
            ("colour", self.colour.clone()),
            ("opened_life", self.opened_life.clone()),
            ("storage", self.storage.clone()),
            ("accelerator", self.accelerator.clone()),
        ]
    }

    fn check(&self, id: ProductId, studio: &Studio) -> Result<Product, Problem> {
        let mut notes = Notes::said_with(studio.decimal);
        let name = notes.line("name", &self.name, 60);
        let label = self.label(&mut notes);
        let climate = self.climate(&mut notes, studio);
        let family = notes.choice("family", Family::from_key(&self.family));
        let colour = optional_line(&mut notes, "colour", &self.colour, 40);
        let life = notes.optional_number("opened_life", &self.opened_life, (1.0, 1000.0), "days");
        let storage = optional_line(&mut notes, "storage", &self.storage, 200);
        let accelerator = notes.choice("accelerator", allowed_from_key(&self.accelerator));
        let product = (|| {
            Some(Product {
                id,
                name: name?,
                label: label?,
                climate: climate?,
                family: family?,
                colour: colour?,
                opened_life_days: life?.map(whole_days),
                storage: storage?,
                accelerator: accelerator?,
                stopped: None,
            })
        })();
        notes.settle(product)
    }

    /// Two figures, one, or none.
    fn label(&self, notes: &mut Notes) -> Option<Stated> {
        let limits = (0.05, 600.0);
        let low = notes.optional_number("label_low", &self.label_low, limits, "s")?;
        let high = notes.optional_number("label_high", &self.label_high, limits, "s")?;
        let seconds = |value: f64| Seconds::new(value).ok();
        match (low, high) {
            (None, None) => Some(Stated::NotStated),
            (Some(low), None) => seconds(low).map(Stated::Figure),
            (Some(low), Some(high)) if low <= high => {
                seconds(low).zip(seconds(high)).map(|(l, h)| Stated::Window(l, h))
            }
            (Some(_), Some(_)) => {
                notes.add("label_high", "The second figure is the slower one. Turn the two round.");
                None
            }
            (None, Some(_)) => {
                notes.add("label_low", "Where the label has one figure only, it goes here.");
                None
            }
        }
    }

    /// All four, or none: half a climate says too little to reckon with.
    fn climate(&self, notes: &mut Notes, studio: &Studio) -> Option<Option<Climate>> {
        let degrees = (studio.scale(-20.0), studio.scale(60.0));
        let unit = studio.temperature_unit();
        let low_c = notes.optional_number("temperature_low", &self.temperature_low, degrees, unit);
        let high_c = notes.optional_number("temperature_high", &self.temperature_high, degrees, unit);
        let low_pct = notes.optional_number("humidity_low", &self.humidity_low, (1.0, 100.0), "%RH");
        let high_pct = notes.optional_number("humidity_high", &self.humidity_high, (1.0, 100.0), "%RH");
        let (low_c, high_c, low_pct, high_pct) = (low_c?, high_c?, low_pct?, high_pct?);
        let fields = [
            ("temperature_low", low_c),
            ("temperature_high", high_c),
            ("humidity_low", low_pct),
            ("humidity_high", high_pct),
        ];
        if fields.iter().all(|(_, value)| value.is_none()) {
            return Some(None);
        }
        let mut whole = true;
        for (field, value) in fields {
            if value.is_none() {
                notes.add(field, "Fill in all four, or leave all four empty.");
                whole = false;
            }
        }
        for (field, low, high) in [("temperature_high", low_c, high_c), ("humidity_high", low_pct, high_pct)] {
            if low.zip(high).is_some_and(|(low, high)| low > high) {
                notes.add(field, "This is the upper end. Turn the two round.");
                whole = false;
            }
        }
        if !whole {
            return None;
        }
        let celsius = |value: Option<f64>| studio.celsius(value?).ok();
        let percent = |value: Option<f64>| RelHumidity::new(value?).ok();
        let temperature: (Celsius, Celsius) = (celsius(low_c)?, celsius(high_c)?);
        Some(Some(Climate { temperature, humidity: (percent(low_pct)?, percent(high_pct)?) }))
    }

    fn fields(&self, studio: &Studio, classes: &str, notes: &[FieldNote]) -> Vec<FieldView> {
        let families = Family::ALL.map(|family| (family.key().to_owned(), family.words().to_owned()));
        let allowed = [("yes", "yes"), ("no", "no"), ("not_known", "not known")]
            .map(|(key, words)| (key.to_owned(), words.to_owned()));
        let unit = studio.temperature_unit();
        let maker = "The climate the maker prints. All four, or none.";
        let mut fields = vec![
            text_field("name", "Name on the label", &self.name),
            number_field("label_low", "Seconds on the label", &self.label_low)
                .hinted(format!("The quicker figure, or the only one; empty where none is stated. {classes}"))
                .or_empty(),
            number_field("label_high", "up to, seconds", &self.label_high)
                .hinted("Empty where the label has one figure only.")
                .or_empty(),
            number_field("temperature_low", &format!("Maker’s temperature from, {unit}"), &self.temperature_low)
                .hinted(maker)
                .or_empty(),
            number_field("temperature_high", &format!("Maker’s temperature to, {unit}"), &self.temperature_high).or_empty(),
            number_field("humidity_low", "Maker’s humidity from, %RH", &self.humidity_low).or_empty(),
            number_field("humidity_high", "Maker’s humidity to, %RH", &self.humidity_high).or_empty(),
            choice_field("radio", "family", "What it is made of", &self.family, families).hinted(
                "From the data sheet. Tested products of one family lend a new one what air, bead and liquids do.",
            ),
            text_field("colour", "Colour", &self.colour).or_empty(),
            number_field("opened_life", "Opened life, days", &self.opened_life)
                .hinted("How long the maker lets a bottle be used once it is opened. Empty where nothing is said: then only the printed date counts.")
                .or_empty(),
            text_field("storage", "How it is kept", &self.storage)
                .hinted("Upright, cool, dry, how long it rests at room temperature before use: as the maker says.")
                .or_empty(),
            choice_field(
                "radio",
                "accelerator",
                "Does its maker allow an accelerator on natural lashes?",
                &self.accelerator,
                allowed,
            )
            .hinted("Unless the maker says yes, an accelerator goes on the strip only."),
        ];
        note_fields(&mut fields, notes);
        fields
    }
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "checked to be 1 to 1000")]
fn whole_days(days: f64) -> u32 {
    days.round().clamp(1.0, 1000.0) as u32
}

/// One line that may stay empty.
pub(super) fn optional_line(notes: &mut Notes, field: &'static str, typed: &str, most: usize) -> Option<String> {
    match text::line(typed, most) {
        Ok(line) => Some(line),
        Err(text::BadText::Empty) => Some(String::new()),
        Err(bad) => {
            notes.add(field, bad.to_string());
            None
        }
    }
}

async fn classes_hint(house: &House) -> Result<(Studio, String), Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let classes: Vec<String> = store::classes(&mut db).await?.iter().map(|class| class_words(&studio, class)).collect();
    let hint = format!("The studio’s classes: {}.", classes.join(", "));
    Ok((studio, hint))
}

async fn new_page(owner: Owner, State(house): State<House>) -> Result<Response, Problem> {
    let (studio, classes) = classes_hint(&house).await?;
    let typed = TypedProduct {
        family: Family::NotStated.key().to_owned(),
        accelerator: allowed_key(None).to_owned(),
        ..TypedProduct::default()
    };
    page(&new_view(&house, &owner, &studio, typed.fields(&studio, &classes, &[]), new_form_key()))
}

fn new_view(house: &House, owner: &Owner, studio: &Studio, fields: Vec<FieldView>, key: String) -> FormPage {
    FormPage {
        frame: house.frame(studio, &owner.visitor, Place::Shelf, "A new product"),
        key,
        action: house.url("/shelf/products"),
        word: "Product",
        small: "as it is sold".to_owned(),
        lead: String::new(),
        mistakes: mistakes(&fields),
        fields,
        button: "Add the product",
        back: house.url("/shelf"),
        kept: "product",
    }
}

async fn add(owner: Owner, State(house): State<House>, form: Form<TypedProduct>) -> Result<Response, Problem> {
    let (studio, classes) = classes_hint(&house).await?;
    let result = match form.typed.check(ProductId::new(), &studio) {
        Ok(product) => {
            house
                .store
                .write(&form.key, move |tx| {
                    let product = product.clone();
                    Box::pin(async move {
                        store::add_product(tx, &product).await?;
                        // The next step with a new product is its first bottle.
                        Ok(Kept::see(format!("/shelf/bottles/new?product={}", product.id)))
                    })
                })
                .await
        }
        Err(problem) => Err(problem),
    };
    match result {
        Err(Problem::Mistakes(notes)) => {
            let key = form.key.again();
            let fields = form.typed.fields(&studio, &classes, &notes);
            page_again(&new_view(&house, &owner, &studio, fields, key))
        }
        other => Ok(answer(&house, &other?)),
    }
}

async fn edit_page(owner: Owner, State(house): State<House>, At(id): At<ProductId>) -> Result<Response, Problem> {
    let (studio, classes) = classes_hint(&house).await?;
    let product = load(&house, id).await?;
    let typed = TypedProduct::of(&product, &studio);
    let mut fields = typed.fields(&studio, &classes, &[]);
    fields.push(seen_field(&mark(&house, &typed.pairs())));
    page(&edit_view(&house, &owner, &studio, &product, fields, new_form_key()))
}

async fn load(house: &House, id: ProductId) -> Result<Product, Problem> {
    let mut db = house.store.read().await?;
    store::product(&mut db, id).await?.ok_or(Problem::NotHere("product"))
}

fn edit_view(
    house: &House,
    owner: &Owner,
    studio: &Studio,
    product: &Product,
    fields: Vec<FieldView>,
    key: String,
) -> FormPage {
    FormPage {
        frame: house.frame(studio, &owner.visitor, Place::Shelf, format!("{}: the product", product.name)),
        key,
        action: house.url(&format!("/shelf/products/{}/edit", product.id)),
        word: "Product",
        small: if product.stopped.is_some() { "stopped".to_owned() } else { "as it is sold".to_owned() },
        lead: "A change counts for every bottle of it, also for what was learned: the tests stay, what was assumed before them is made anew.".to_owned(),
        mistakes: mistakes(&fields),
        fields,
        button: "Keep the changes",
        back: house.url("/shelf"),
        kept: "product",
    }
}

async fn change(
    owner: Owner,
    State(house): State<House>,
    At(id): At<ProductId>,
    form: Form<TypedProduct>,
) -> Result<Response, Problem> {
    let (studio, classes) = classes_hint(&house).await?;
    let product = load(&house, id).await?;
    let stands = TypedProduct::of(&product, &studio);
    let now_shown = mark(&house, &stands.pairs());
    let checked = form.typed.check(id, &studio).and_then(|changed| {
        let is_still = form.typed.seen.is_empty() || form.typed.seen == now_shown;
        if is_still { Ok(changed) } else { Err(changed_meanwhile(&stands.pairs(), &form.typed.pairs())) }
    });
    let result = match checked {
        Ok(product) => {
            house
                .store
                .write(&form.key, move |tx| {
                    let product = product.clone();
                    Box::pin(async move {
                        store::change_product(tx, &product).await?;
                        bench_store::refresh_product(tx, id).await?;
                        Ok(Kept::see("/shelf"))
                    })
                })
                .await
        }
        Err(problem) => Err(problem),
    };
    match result {
        Err(Problem::Mistakes(notes)) => {
            let key = form.key.again();
            let mut fields = form.typed.fields(&studio, &classes, &notes);
            fields.push(seen_field(&now_shown));
            page_again(&edit_view(&house, &owner, &studio, &product, fields, key))
        }
        other => Ok(answer(&house, &other?)),
    }
}
