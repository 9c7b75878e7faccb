//! Timings typed in: a table of travel and settle, in seconds or as counts of frames.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;
use serde::Deserialize;

use super::about::{About, Bed, TypedAbout, keep};
use super::entry::{self, RATES, Timed, Unit};
use super::timing_page::{Way, ways};
use super::{BottlesAt, Source};
use crate::base::ids::ArtistId;
use crate::base::problem::{FieldNote, Problem};
use crate::web::House;
use crate::web::checks::{Notes, choice_field, note_fields, number_field};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::Place;

pub(super) fn routes(bottles: BottlesAt) -> Routes {
    type Asked = Query<BTreeMap<String, String>>;
    let show = move |staff: Staff, State(house): State<House>, At(id): At<ArtistId>, Query(asked): Asked| async move {
        let bed = Bed::load(&house, &staff, id, Some(bottles)).await?;
        let about = TypedAbout::fresh(&bed, asked.get("style").map(String::as_str));
        let typed = TypedTable { about, unit: SECONDS.to_owned(), ..TypedTable::default() };
        page(&view(&house, &staff, &bed, &typed, &[], new_form_key()))
    };
    let record = move |staff: Staff, State(house): State<House>, At(id): At<ArtistId>, form: Form<TypedTable>| {
        record(staff, house, id, form, bottles)
    };
    Routes::new().get("/hands/{artist}/timing/typed", show).post("/hands/{artist}/timing/typed", record)
}

/// Rows of the table, by the names of their two fields.
const ROWS: [(&str, &str); 12] = [
    ("travel1", "settle1"),
    ("travel2", "settle2"),
    ("travel3", "settle3"),
    ("travel4", "settle4"),
    ("travel5", "settle5"),
    ("travel6", "settle6"),
    ("travel7", "settle7"),
    ("travel8", "settle8"),
    ("travel9", "settle9"),
    ("travel10", "settle10"),
    ("travel11", "settle11"),
    ("travel12", "settle12"),
];

pub(super) const SECONDS: &str = "seconds";
pub(super) const FRAMES: &str = "frames";

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct TypedTable {
    #[serde(flatten)]
    about: TypedAbout,
    unit: String,
    rate: String,
    /// Travel and settle of each row.
    #[serde(flatten)]
    cells: BTreeMap<String, String>,
}

/// The unit that was chosen, with its rate where it has one.
pub(super) fn unit(notes: &mut Notes, unit: &str, rate: &str) -> Option<Unit> {
    match unit {
        FRAMES => notes.number("rate", rate, RATES, "frames a second").map(Unit::Frames),
        SECONDS => Some(Unit::Seconds),
        _ => notes.choice("unit", None),
    }
}

/// The fields of the unit.
pub(super) fn unit_fields(unit: &str, rate: &str) -> [FieldView; 2] {
    let units =
        [(SECONDS, "Seconds"), (FRAMES, "Frames of a video")].map(|(value, word)| (value.to_owned(), word.to_owned()));
    [
        choice_field("radio", "unit", "Written in", unit, units),
        number_field("rate", "Frames a second", rate)
            .hinted("Only for frames. The rate must be fixed: with one that varies the seconds are off.")
            .or_empty(),
    ]
}

impl TypedTable {
    fn cell(&self, name: &str) -> &str {
        self.cells.get(name).map_or("", String::as_str)
    }

    fn check(&self, bed: &Bed) -> Result<(About, Unit, Vec<Timed>), Problem> {
        let mut notes = Notes::said_with(bed.studio.decimal);
        let about = self.about.check(bed, &mut notes);
        let unit = unit(&mut notes, &self.unit, &self.rate);
        let mut timed = Vec::new();
        let mut good = true;
        for (travel, settle) in ROWS {
            if self.cell(travel).trim().is_empty() && self.cell(settle).trim().is_empty() {
                continue;
            }
            match entry::typed(self.cell(travel), self.cell(settle), unit.unwrap_or(Unit::Seconds), bed.studio.decimal)
            {
                Ok(one) => timed.push(one),
                // Without a rate, nobody knows whether frames are believable.
                Err(_) if unit.is_none() => good = false,
                Err(wrong) => {
                    good = false;
                    for (name, sentence) in [travel, settle].into_iter().zip(wrong) {
                        sentence.into_iter().for_each(|sentence| notes.add(name, sentence));
                    }
                }
            }
        }
        if timed.is_empty() && good {
            notes.add(ROWS[0].0, "Type at least one placement: its travel and its settle.");
        }
        notes.settle((|| Some((about?, unit?, timed)))())
    }
}

/// A row of the table as shown.
struct Cells {
    n: usize,
    travel: FieldView,
    settle: FieldView,
}

#[derive(Template)]
#[template(path = "hands/typed.html")]
struct TypedPage {
    frame: Frame,
    key: String,
    action: String,
    ways: Vec<Way>,
    unit: [FieldView; 2],
    rows: Vec<Cells>,
    fields: Vec<FieldView>,
    at: String,
    mistakes: Vec<Mistake>,
    back: String,
}

fn view(house: &House, staff: &Staff, bed: &Bed, typed: &TypedTable, notes: &[FieldNote], key: String) -> TypedPage {
    let mut unit = unit_fields(&typed.unit, &typed.rate);
    note_fields(&mut unit, notes);
    let cell = |name: &'static str, what: &str, n: usize| {
        let field = number_field(name, &format!("{what} of placement {n}"), typed.cell(name)).or_empty();
        let error = notes.iter().find(|note| note.field == name).map(|note| note.sentence.clone());
        FieldView { error, ..field }
    };
    let rows: Vec<Cells> = (1..)
        .zip(ROWS)
        .map(|(n, (travel, settle))| Cells { n, travel: cell(travel, "Travel", n), settle: cell(settle, "Settle", n) })
        .collect();
    let fields = typed.about.fields(bed, notes);
    let artist = &bed.artist;
    TypedPage {
        frame: house.frame(&bed.studio, &staff.visitor, Place::Hands, format!("{}, timing", artist.name)),
        key,
        action: house.url(&format!("/hands/{}/timing/typed", artist.id)),
        ways: ways(house, artist.id, &typed.about.style, Source::Typed),
        mistakes: mistakes(unit.iter().chain(rows.iter().flat_map(|row| [&row.travel, &row.settle])).chain(&fields)),
        unit,
        rows,
        fields,
        at: typed.about.at.clone(),
        back: house.url(&format!("/hands/{}?style={}", artist.id, typed.about.style)),
    }
}

async fn record(
    staff: Staff,
    house: House,
    id: ArtistId,
    form: Form<TypedTable>,
    bottles: BottlesAt,
) -> Result<Response, Problem> {
    let bed = Bed::load(&house, &staff, id, Some(bottles)).await?;
    match form.typed.check(&bed) {
        Ok((about, unit, timed)) => {
            let how = (Source::Typed, unit.uncertainty_s());
            let kept = keep(&house, &form.key, id, about, how, &timed, bottles).await?;
            Ok(answer(&house, &kept))
        }
        Err(Problem::Mistakes(notes)) => {
            let key = form.key.again();
            page_again(&view(&house, &staff, &bed, &form.typed, &notes, key))
        }
        Err(other) => Err(other),
    }
}
