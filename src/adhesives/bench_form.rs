//! What the bench sends: choices remembered from the last test, seconds, air; checked into a sitting and a test.

use serde::Deserialize;

use super::bench::{BenchTest, Found, Sitting, TestAir};
use super::bottle::Bottle;
use super::here::{ReadAir, TYPED};
use super::set_time::TestPiece;
use super::{Air, Bead, Conditions, Liquid, Liquids, PickUp, words};
use crate::base::ids::{BenchTestId, PersonId, SittingId};
use crate::base::problem::{FieldNote, Problem};
use crate::base::time::Instant;
use crate::base::units::{RelHumidity, Seconds};
use crate::rooms::Room;
use crate::web::checks::{Notes, choice_field, note_fields, number_field};
use crate::web::form::FieldView;
use crate::web::studio::Studio;

/// The liquids that can be tried on the bench; mist is for finished bonds and enters no set time.
const ON_THE_BENCH: [Liquid; 4] = [Liquid::Cleanser, Liquid::AlcoholPrimer, Liquid::PhPrimer, Liquid::Accelerator];

const SHAKEN: [&str; 5] = ["0", "15", "30", "60", "120"];
const DROP: [&str; 6] = ["0", "5", "10", "15", "20", "30"];
const NUDGES: [&str; 4] = ["0.2", "0.5", "1", "2"];

#[derive(Deserialize, Default, Clone)]
#[serde(default)]
pub(super) struct TypedTest {
    /// The room the air was filled in from; empty where the bottle stands in none.
    pub(super) room: String,
    pub(super) temperature: String,
    pub(super) humidity: String,
    /// What the page had filled in: unchanged means "as the room's newest reading says".
    pub(super) shown_temperature: String,
    pub(super) shown_humidity: String,
    piece: String,
    shaken: String,
    drop: String,
    nudge: String,
    bead: String,
    pick_up: String,
    cleanser: String,
    alcohol_primer: String,
    ph_primer: String,
    accelerator: String,
    /// When the device timed it, ms since 1970; empty without scripts.
    pub(super) at: String,
    /// Seconds until it no longer moved.
    pub(super) seconds: String,
    /// Seconds between pick-up and contact.
    pub(super) delay: String,
    /// "set", "held" or "popped".
    #[serde(rename = "do")]
    done: String,
}

/// What goes with a test besides its seconds, in entries of the page.
pub(super) struct BenchFields {
    pub(super) seconds: FieldView,
    pub(super) delay: FieldView,
    pub(super) with: Vec<FieldView>,
    pub(super) liquids: Vec<FieldView>,
    pub(super) air: Vec<FieldView>,
}

impl BenchFields {
    /// Every field, in the order of the page.
    pub(super) fn all(&self) -> impl Iterator<Item = &FieldView> {
        [&self.seconds, &self.delay].into_iter().chain(&self.with).chain(&self.liquids).chain(&self.air)
    }
}

impl TypedTest {
    /// As the last test was made: the same again takes no choice.
    pub(super) fn like(last: Option<(&BenchTest, &Sitting)>) -> Self {
        let figure = |value: Option<f64>| value.map(|value| format!("{value}")).unwrap_or_default();
        let Some((test, sitting)) = last else {
            return Self {
                piece: TestPiece::default().key().to_owned(),
                bead: Bead::default().word().to_owned(),
                ..Self::default()
            };
        };
        let mut typed = Self {
            piece: test.piece.key().to_owned(),
            shaken: figure(sitting.shaken.map(Seconds::get)),
            drop: figure(test.drop_minutes),
            nudge: match test.found {
                Found::Set { nudge_every, .. } => figure(nudge_every.map(Seconds::get)),
                Found::Open { .. } => String::new(),
            },
            pick_up: test.pick_up.map_or("", PickUp::key).to_owned(),
            ..Self::default()
        };
        typed.choose(test.conditions.bead, test.conditions.liquids);
        typed
    }

    /// With this bead and these liquids, as the next test asks for.
    pub(super) fn choose(&mut self, bead: Bead, liquids: Liquids) {
        bead.word().clone_into(&mut self.bead);
        for liquid in ON_THE_BENCH {
            let word = if liquids.has(liquid) { "yes" } else { "" };
            word.clone_into(self.liquid_mut(liquid));
        }
    }

    /// With the air of the room as read.
    pub(super) fn fill_air(&mut self, studio: &Studio, room: Option<&Room>, read: Option<&ReadAir>) {
        self.room = room.map(|room| room.id.to_string()).unwrap_or_default();
        if let Some(read) = read {
            self.temperature = studio.temperature(read.air.temperature);
            self.humidity = studio.number(read.air.humidity.get(), 1);
            self.shown_temperature.clone_from(&self.temperature);
            self.shown_humidity.clone_from(&self.humidity);
        }
    }

    fn liquid_mut(&mut self, liquid: Liquid) -> &mut String {
        match liquid {
            Liquid::Cleanser => &mut self.cleanser,
            Liquid::AlcoholPrimer => &mut self.alcohol_primer,
            Liquid::PhPrimer => &mut self.ph_primer,
            Liquid::Accelerator | Liquid::Mist => &mut self.accelerator,
        }
    }

    fn liquid(&self, liquid: Liquid) -> &str {
        match liquid {
            Liquid::Cleanser => &self.cleanser,
            Liquid::AlcoholPrimer => &self.alcohol_primer,
            Liquid::PhPrimer => &self.ph_primer,
            Liquid::Accelerator => &self.accelerator,
            Liquid::Mist => "",
        }
    }

    fn liquids(&self) -> Liquids {
        ON_THE_BENCH.into_iter().filter(|liquid| self.liquid(*liquid) == "yes").collect()
    }

    /// The test, and the sitting it would begin if none goes on.
    pub(super) fn check(
        &self,
        studio: &Studio,
        bottle: &Bottle,
        (room, read): (Option<&Room>, Option<&ReadAir>),
        person: PersonId,
        now: Instant,
    ) -> Result<(Sitting, BenchTest), Problem> {
        let mut notes = Notes::said_with(studio.decimal);
        let found = self.found(&mut notes);
        let piece = notes.choice("piece", TestPiece::from_key(&self.piece));
        let shaken = one_of(&mut notes, "shaken", &self.shaken, &SHAKEN);
        let drop_minutes = one_of(&mut notes, "drop", &self.drop, &DROP);
        let bead = notes.choice("bead", Bead::from_word(&self.bead));
        let pick_up = match self.pick_up.as_str() {
            "" => Some(None),
            typed => notes.choice("pick_up", PickUp::from_key(typed)).map(Some),
        };
        let air = self.air(&mut notes, studio, read);
        let made = (|| {
            let (air, piece, shaken) = (air?, piece?, shaken?);
            let sitting = Sitting {
                id: SittingId::new(),
                bottle: bottle.id,
                room: room.map(|room| room.id),
                person: Some(person),
                piece,
                shaken: shaken.and_then(|seconds| Seconds::new(seconds).ok()),
                at: now,
            };
            let test = BenchTest {
                id: BenchTestId::new(),
                sitting: sitting.id,
                at: now,
                found: found?,
                piece,
                conditions: Conditions {
                    air: air.air,
                    bead: bead?,
                    liquids: self.liquids(),
                    days_open: bottle.days_open(now),
                },
                doubt: air.doubt,
                pick_up: pick_up?,
                drop_minutes: drop_minutes?,
                struck: false,
            };
            Some((sitting, test))
        })();
        notes.settle(made)
    }

    fn found(&self, notes: &mut Notes) -> Option<Found> {
        match self.done.as_str() {
            "held" | "popped" => {
                let delay = notes.number("delay", &self.delay, (0.1, 600.0), "s")?;
                Some(Found::Open { delay: Seconds::new(delay).ok()?, held: self.done == "held" })
            }
            _ => {
                let nudge = one_of(notes, "nudge", &self.nudge, &NUDGES);
                let seconds = notes.number("seconds", &self.seconds, (0.05, 600.0), "s")?;
                Some(Found::Set {
                    seconds: Seconds::new(seconds).ok()?,
                    nudge_every: nudge?.and_then(|every| Seconds::new(every).ok()),
                })
            }
        }
    }

    /// Left as filled in: the room's newest reading with its doubt. Typed: what was typed, doubted like an instrument that
    /// was never checked.
    fn air(&self, notes: &mut Notes, studio: &Studio, read: Option<&ReadAir>) -> Option<TestAir> {
        let untouched = !self.shown_temperature.is_empty()
            && self.temperature == self.shown_temperature
            && self.humidity == self.shown_humidity;
        if let (true, Some(read)) = (untouched, read) {
            return Some(TestAir { air: read.air, doubt: read.doubt });
        }
        let limits = (studio.scale(-20.0), studio.scale(60.0));
        let temperature = notes.number("temperature", &self.temperature, limits, studio.temperature_unit());
        let humidity = notes.number("humidity", &self.humidity, (0.1, 100.0), "%RH");
        let temperature = studio.celsius(temperature?).ok()?;
        Some(TestAir { air: Air { temperature, humidity: RelHumidity::new(humidity?).ok()? }, doubt: TYPED })
    }

    /// The fields as the page shows them.
    pub(super) fn fields(&self, studio: &Studio, notes: &[FieldNote]) -> BenchFields {
        let mut numbers = vec![
            number_field("seconds", "Seconds from contact until it no longer moved", &self.seconds),
            number_field("delay", "Seconds between pick-up and contact", &self.delay),
        ];
        let mut liquids: Vec<FieldView> = ON_THE_BENCH
            .into_iter()
            .map(|liquid| FieldView {
                name: liquid.key(),
                label: label_of(liquid),
                kind: "check",
                value: self.liquid(liquid).to_owned(),
                optional: true,
                ..FieldView::default()
            })
            .collect();
        let mut air = vec![
            number_field("temperature", &format!("Temperature, {}", studio.temperature_unit()), &self.temperature),
            number_field("humidity", "Humidity, %RH", &self.humidity),
        ];
        let mut with = self.with(studio);
        for fields in [&mut numbers, &mut with, &mut liquids, &mut air] {
            note_fields(fields, notes);
        }
        let delay = numbers.pop().unwrap_or_default();
        let seconds = numbers.pop().unwrap_or_default();
        BenchFields { seconds, delay, with, liquids, air }
    }

    fn with(&self, studio: &Studio) -> Vec<FieldView> {
        let unit = |unit: &'static str| {
            move |value: &str| {
                let number = value.parse().unwrap_or(0.0);
                format!("{}\u{a0}{unit}", words::plain(studio, number))
            }
        };
        let listed =
            |none: &str, zero: &str, values: &[&str], words: &dyn Fn(&str) -> String| -> Vec<(String, String)> {
                let mut choices = vec![(String::new(), none.to_owned())];
                choices.extend(
                    values
                        .iter()
                        .map(|value| ((*value).to_owned(), if *value == "0" { zero.to_owned() } else { words(value) })),
                );
                choices
            };
        let pieces = TestPiece::ALL.map(|piece| (piece.key().to_owned(), piece.words().to_owned()));
        let beads = Bead::ALL.map(|bead| (bead.word().to_owned(), bead.word().to_owned()));
        let pick_ups = [(String::new(), "not noted".to_owned())]
            .into_iter()
            .chain(PickUp::ALL.map(|pick_up| (pick_up.key().to_owned(), pick_up.words().to_owned())));
        vec![
            choice_field("radio", "bead", "Bead", &self.bead, beads),
            choice_field("radio", "pick_up", "Pick-up", &self.pick_up, pick_ups),
            choice_field("radio", "piece", "Test piece", &self.piece, pieces),
            choice_field(
                "radio",
                "drop",
                "Age of the drop",
                &self.drop,
                listed("not noted", "fresh", &DROP, &unit("min")),
            ),
            choice_field(
                "radio",
                "shaken",
                "Shaken",
                &self.shaken,
                listed("not noted", "not shaken", &SHAKEN, &unit("s")),
            ),
            choice_field(
                "radio",
                "nudge",
                "Nudged",
                &self.nudge,
                listed("all the time", "", &NUDGES, &|value| format!("every {}", unit("s")(value))),
            ),
        ]
    }
}

/// With a capital, but for the pH, which has its own.
fn label_of(liquid: Liquid) -> String {
    match liquid {
        Liquid::PhPrimer => liquid.words().to_owned(),
        _ => crate::base::text::capital(liquid.words()),
    }
}

/// One of the choices as a number; nothing chosen is `Some(None)`.
fn one_of(notes: &mut Notes, field: &'static str, typed: &str, choices: &[&str]) -> Option<Option<f64>> {
    if typed.is_empty() {
        return Some(None);
    }
    notes.choice(field, choices.contains(&typed).then(|| typed.parse().ok()).flatten()).map(Some)
}
