//! What a room's plan rests on, as a form: moisture capacity, coldest surface, how quickly the room warms and cools.

use serde::{Deserialize, Serialize};

use super::plan::Capacity;
use super::plan_store::Planning;
use crate::base::problem::Problem;
use crate::web::checks::{Notes, merged, number_field, text_field};
use crate::web::form::FieldView;
use crate::web::studio::Studio;

/// The form as typed.
#[derive(Clone, Serialize, Deserialize, Default)]
pub(super) struct TypedRest {
    capacity_low: String,
    capacity_best: String,
    capacity_high: String,
    surface_factor: String,
    warms: String,
    cools: String,
    /// The fields as the page showed them, as JSON: what this person did not touch is not written.
    #[serde(default, skip_serializing)]
    shown: String,
}

impl TypedRest {
    /// As it is kept.
    pub(super) fn of(planning: &Planning, studio: &Studio) -> Self {
        let degrees = |kelvins: f64| studio.number(if studio.fahrenheit { kelvins * 1.8 } else { kelvins }, 1);
        let typed = Self {
            capacity_low: studio.number(planning.capacity.low, 1),
            capacity_best: studio.number(planning.capacity.best, 1),
            capacity_high: studio.number(planning.capacity.high, 1),
            surface_factor: studio.number(planning.surface_factor, 2),
            warms: degrees(planning.warms_k_per_hour),
            cools: degrees(planning.cools_k_per_hour),
            shown: String::new(),
        };
        Self { shown: serde_json::to_string(&typed).unwrap_or_default(), ..typed }
    }

    /// Its fields.
    pub(super) fn fields(&self, studio: &Studio) -> Vec<FieldView> {
        let degrees = if studio.fahrenheit { "°F" } else { "K" };
        vec![
            number_field("capacity_best", "Moisture capacity", &self.capacity_best).hinted(
                "How many times the water its air holds the room holds in all: walls, textiles, paper. 10 where nothing is known.",
            ),
            number_field("capacity_low", "Moisture capacity, at the least", &self.capacity_low).hinted("5 where nothing is known."),
            number_field("capacity_high", "Moisture capacity, at the most", &self.capacity_high)
                .hinted("20 where nothing is known."),
            number_field("surface_factor", "Coldest surface, share of the way from outside to inside", &self.surface_factor)
                .hinted(format!(
                    "{} for glazing where nothing is known. Not used where its temperature was measured.",
                    studio.number(0.6, 1)
                )),
            number_field("warms", &format!("The room warms by, {degrees} an hour"), &self.warms).hinted("As you have seen it."),
            number_field("cools", &format!("The room cools by, {degrees} an hour"), &self.cools),
            FieldView { kind: "hidden", ..text_field("shown", "", &self.shown) },
        ]
    }

    /// What was typed, laid over what is kept now: what this person did not touch stays as it is. Fields that both changed
    /// get a note.
    pub(super) fn over(&self, now: &Planning, studio: &Studio) -> (Self, Notes) {
        let now = Self::of(now, studio);
        let shown: Self = serde_json::from_str(&self.shown).unwrap_or_else(|_| now.clone());
        let mut notes = Notes::default();
        let mut field = |name, of: fn(&Self) -> &String| merged(&mut notes, name, of(&shown), of(&now), of(self));
        let over = Self {
            capacity_low: field("capacity_low", |t| &t.capacity_low),
            capacity_best: field("capacity_best", |t| &t.capacity_best),
            capacity_high: field("capacity_high", |t| &t.capacity_high),
            surface_factor: field("surface_factor", |t| &t.surface_factor),
            warms: field("warms", |t| &t.warms),
            cools: field("cools", |t| &t.cools),
            shown: now.shown.clone(),
        };
        (over, notes)
    }

    /// The plan as changed.
    pub(super) fn change(&self, now: &Planning, studio: &Studio) -> Result<Planning, Problem> {
        let (over, notes) = self.over(now, studio);
        match notes.all() {
            [] => over.check(now, studio),
            all => Err(Problem::Mistakes(all.to_vec())),
        }
    }

    fn check(&self, before: &Planning, studio: &Studio) -> Result<Planning, Problem> {
        let mut notes = Notes::said_with(studio.decimal);
        let best = notes.number("capacity_best", &self.capacity_best, (1.0, 100.0), "");
        let low = notes.number("capacity_low", &self.capacity_low, (1.0, 100.0), "");
        let high = notes.number("capacity_high", &self.capacity_high, (1.0, 100.0), "");
        if let (Some(low), Some(best), Some(high)) = (low, best, high) {
            if low > best {
                notes.add("capacity_low", "This must not be above the capacity itself.");
            }
            if high < best {
                notes.add("capacity_high", "This must not be below the capacity itself.");
            }
        }
        let factor = notes.number("surface_factor", &self.surface_factor, (0.0, 1.0), "");
        let scale = if studio.fahrenheit { 1.8 } else { 1.0 };
        let unit = if studio.fahrenheit { "°F an hour" } else { "K an hour" };
        let warms = notes.number("warms", &self.warms, (0.1, 30.0), unit).map(|typed| typed / scale);
        let cools = notes.number("cools", &self.cools, (0.1, 30.0), unit).map(|typed| typed / scale);
        let shown = Self::of(before, studio);
        let untouched = self.capacity_low == shown.capacity_low
            && self.capacity_best == shown.capacity_best
            && self.capacity_high == shown.capacity_high;
        // As shown is as it was, without the rounding of the page.
        let own = |text: &str, shown: &str, kept: f64, typed: f64| if text == shown { kept } else { typed };
        let planning = (|| {
            let typed = Capacity { low: low?, best: best?, high: high? };
            Some(Planning {
                // What was not touched stays as it was fitted, unrounded; what was typed is an estimate.
                capacity: if untouched { before.capacity } else { typed },
                fitted: before.fitted.filter(|_| untouched),
                air_changes_measured: before.air_changes_measured,
                surface_factor: own(&self.surface_factor, &shown.surface_factor, before.surface_factor, factor?),
                warms_k_per_hour: own(&self.warms, &shown.warms, before.warms_k_per_hour, warms?),
                cools_k_per_hour: own(&self.cools, &shown.cools, before.cools_k_per_hour, cools?),
            })
        })();
        notes.settle(planning)
    }
}
