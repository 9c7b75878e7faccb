//! Fitting a room's air change and moisture capacity from a stretch of its own readings, as the plan page shows it.

use jiff::civil::DateTime;

use super::corrected::{correct, load_instruments};
use super::plan::fit::{self, Fit, Stretch};
use super::plan_page::PlanAsked;
use super::plan_store::{Situation, air_of, mean_outside};
use super::plan_words as words;
use super::{DeviceKind, Room, readings};
use crate::base::problem::Problem;
use crate::base::time::{DAY, HOUR, Instant};
use crate::base::units::GramsPerHour;
use crate::base::zone::Zone;
use crate::store::Db;
use crate::web::checks::{Notes, choice_field, note_fields, text_field};
use crate::web::form::FieldView;
use crate::web::studio::Studio;

/// A longer stretch was not without a change.
const LONGEST: i64 = 3 * DAY;

/// The stretch asked for, as typed.
#[derive(Debug, Clone, Default)]
pub(super) struct FitAsked {
    pub(super) from: String,
    pub(super) to: String,
    /// "off" or "on".
    pub(super) devices: String,
}

impl FitAsked {
    pub(super) fn of(asked: &PlanAsked) -> Self {
        let typed = |name: &str| asked.get(name).cloned().unwrap_or_default();
        Self { from: typed("fit_from"), to: typed("fit_to"), devices: typed("fit_devices") }
    }

    fn is_empty(&self) -> bool {
        self.from.is_empty() && self.to.is_empty() && self.devices.is_empty()
    }
}

/// The block of the page: the fields, and what came of them.
pub(super) struct FitView {
    pub(super) fields: Vec<FieldView>,
    /// What the readings tell, or why they tell nothing.
    pub(super) said: String,
    /// True when there is something to accept.
    pub(super) found: bool,
    pub(super) asked: FitAsked,
}

/// A stretch that was fitted.
pub(super) struct Fitted {
    pub(super) fit: Fit,
    readings: usize,
    from: Instant,
    to: Instant,
}

/// Why there is no fit: notes beside the fields, or a sentence.
pub(super) enum NoFit {
    Typed(Notes),
    Says(String),
}

impl FitView {
    pub(super) async fn load(
        db: &mut Db,
        asked: &FitAsked,
        room: &Room,
        situation: &Situation,
        studio: &Studio,
    ) -> Result<Self, Problem> {
        let mut fields = vec![
            FieldView { kind: "datetime-local", ..text_field("fit_from", "From", &asked.from) },
            FieldView { kind: "datetime-local", ..text_field("fit_to", "To", &asked.to) },
            choice_field(
                "radio",
                "fit_devices",
                "All that time, humidifiers and dehumidifiers were",
                &asked.devices,
                [("off", "off"), ("on", "the humidifiers on, without a break")]
                    .map(|(a, b)| (a.to_owned(), b.to_owned())),
            ),
        ];
        let (mut said, mut found) = (String::new(), false);
        if !asked.is_empty() {
            match fitted(db, asked, room, situation, studio).await? {
                Ok(fitted) => {
                    said = fitted.words(studio);
                    found = true;
                }
                Err(NoFit::Typed(notes)) => note_fields(&mut fields, notes.all()),
                Err(NoFit::Says(sentence)) => said = sentence,
            }
        }
        Ok(Self { fields, said, found, asked: asked.clone() })
    }
}

impl Fitted {
    fn words(&self, studio: &Studio) -> String {
        let when = format!(
            "{} {} to {}",
            studio.zone.date(self.from, self.to),
            studio.zone.clock(self.from),
            studio.zone.clock(self.to)
        );
        words::fitted(&self.fit, self.readings, &when, studio)
    }
}

/// Fits the stretch asked for; worked out anew when it is accepted, so that no number comes from a form.
pub(super) async fn fitted(
    db: &mut Db,
    asked: &FitAsked,
    room: &Room,
    situation: &Situation,
    studio: &Studio,
) -> Result<Result<Fitted, NoFit>, Problem> {
    let (from, to) = match span_of(asked, &studio.zone) {
        Ok(span) => span,
        Err(notes) => return Ok(Err(NoFit::Typed(notes))),
    };
    let Some(source) = source_of(asked, situation) else {
        return Ok(Err(NoFit::Says(
            "A dehumidifier takes less as the air dries, so with one running nothing can be fitted. Choose a stretch with \
             everything off."
                .to_owned(),
        )));
    };
    let Some(outside) = mean_outside(db, from, to).await? else {
        return Ok(Err(NoFit::Says("The air outside is not known for that time.".to_owned())));
    };
    let found = readings::between(db, room.id, from, to.plus(1)).await?;
    let corrected = correct(&found, &load_instruments(db, room.id).await?);
    #[expect(clippy::cast_precision_loss, reason = "microseconds of three days")]
    let points: Vec<(f64, f64)> = corrected
        .iter()
        .filter(|point| !point.aside)
        .filter_map(|point| Some((Instant(point.at).since(from) as f64 / HOUR as f64, air_of(point)?.density())))
        .collect();
    let stretch = Stretch { outside, source, volume: room.volume, air_changes: room.air_changes, readings: points };
    Ok(match fit::fit(&stretch) {
        Ok(fit) => Ok(Fitted { fit, readings: stretch.readings.len(), from, to }),
        Err(why) => Err(NoFit::Says(words::unfit(&why, studio))),
    })
}

/// What the devices gave all the while; none when that is not known.
fn source_of(asked: &FitAsked, situation: &Situation) -> Option<f64> {
    if asked.devices != "on" {
        return Some(0.0);
    }
    if situation.devices.iter().any(|(device, _)| device.kind == DeviceKind::Dehumidifier) {
        return None;
    }
    let given = situation.devices.iter().filter(|(device, _)| device.kind == DeviceKind::Humidifier);
    Some(given.filter_map(|(device, _)| device.water).map(GramsPerHour::get).sum())
}

fn span_of(asked: &FitAsked, zone: &Zone) -> Result<(Instant, Instant), Notes> {
    let mut notes = Notes::default();
    let (from, to) =
        (instant(&mut notes, "fit_from", &asked.from, zone), instant(&mut notes, "fit_to", &asked.to, zone));
    if !matches!(asked.devices.as_str(), "off" | "on") {
        notes.add("fit_devices", "Choose one of these.");
    }
    if let (Some(from), Some(to)) = (from, to) {
        if to <= from {
            notes.add("fit_to", "This must be later than the beginning.");
        } else if to.since(from) > LONGEST {
            notes.add("fit_to", "At most three days: over more, something changes.");
        }
    }
    match (from, to) {
        (Some(from), Some(to)) if notes.all().is_empty() => Ok((from, to)),
        _ => Err(notes),
    }
}

fn instant(notes: &mut Notes, field: &'static str, typed: &str, zone: &Zone) -> Option<Instant> {
    let read = typed.trim().parse::<DateTime>().ok().and_then(|wall| zone.inner().to_timestamp(wall).ok());
    if read.is_none() {
        notes.add(field, "Give a day and a time.");
    }
    read.map(Instant::from_timestamp)
}
