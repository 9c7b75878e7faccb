//! Timings pasted as rows: read first and shown with the faulty rows named, then the good ones kept.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;
use serde::Deserialize;

use super::about::{About, Bed, TypedAbout, keep};
use super::entry::{self, Fault, RowsRead, Timed, Unit};
use super::timing_page::{Way, ways};
use super::typed_page::{SECONDS, unit, unit_fields};
use super::words::bare;
use super::{BottlesAt, Source};
use crate::base::ids::ArtistId;
use crate::base::problem::{FieldNote, Problem};
use crate::base::text::{self, count};
use crate::web::House;
use crate::web::checks::{Notes, note_fields};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

/// Most characters of pasted rows: far more than a session's.
const PASTED_MOST: usize = 60_000;
/// Faulty rows named on the page; more are counted.
const FAULTS_SHOWN: usize = 50;
/// Good rows shown.
const GOOD_SHOWN: usize = 10;

pub(super) fn routes(bottles: BottlesAt) -> Routes {
    type Asked = Query<BTreeMap<String, String>>;
    let show = move |staff: Staff, State(house): State<House>, At(id): At<ArtistId>, Query(asked): Asked| async move {
        let bed = Bed::load(&house, &staff, id, Some(bottles)).await?;
        let about = TypedAbout::fresh(&bed, asked.get("style").map(String::as_str));
        let typed = TypedRows { about, unit: SECONDS.to_owned(), ..TypedRows::default() };
        page(&view(&house, &staff, &bed, &typed, None, &[], new_form_key()))
    };
    let record = move |staff: Staff, State(house): State<House>, At(id): At<ArtistId>, form: Form<TypedRows>| {
        record(staff, house, id, form, bottles)
    };
    Routes::new().get("/hands/{artist}/timing/rows", show).post("/hands/{artist}/timing/rows", record)
}

#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct TypedRows {
    #[serde(flatten)]
    about: TypedAbout,
    unit: String,
    rate: String,
    rows: String,
    /// "keep" for keeping; anything else reads and shows.
    #[serde(rename = "do")]
    act: String,
}

/// What was understood, when everything could be.
struct Checked {
    about: About,
    unit: Unit,
    read: RowsRead,
}

impl TypedRows {
    fn check(&self, bed: &Bed) -> Result<Checked, Problem> {
        let mut notes = Notes::said_with(bed.studio.decimal);
        let about = self.about.check(bed, &mut notes);
        let unit = unit(&mut notes, &self.unit, &self.rate);
        let rows = text::paragraphs(&self.rows, PASTED_MOST).map_err(|bad| notes.add("rows", bad.to_string())).ok();
        let read = rows.zip(unit).map(|(rows, unit)| entry::rows(&rows, unit, bed.studio.decimal));
        if let Some(read) = read.as_ref().filter(|read| read.good.is_empty()) {
            notes.add("rows", no_good_row(read));
        }
        notes.settle((|| Some(Checked { about: about?, unit: unit?, read: read? }))())
    }
}

fn no_good_row(read: &RowsRead) -> String {
    match read.faults.first() {
        Some(fault) => format!("No row could be read. Line {}: {}", fault.line, fault.why),
        None => "Paste at least one row: travel and settle, or three instants.".to_owned(),
    }
}

/// What was read, as shown before it is kept.
struct Preview {
    lead: String,
    /// Line, travel, settle.
    good: Vec<(usize, String, String)>,
    more_good: usize,
    faults: Vec<Fault>,
    more_faults: usize,
    /// "Keep 28 placements".
    button: String,
}

#[derive(Template)]
#[template(path = "hands/rows.html")]
struct RowsPage {
    frame: Frame,
    key: String,
    action: String,
    ways: Vec<Way>,
    preview: Option<Preview>,
    pasted: FieldView,
    unit: [FieldView; 2],
    fields: Vec<FieldView>,
    at: String,
    mistakes: Vec<Mistake>,
    back: String,
}

fn view(
    house: &House,
    staff: &Staff,
    bed: &Bed,
    typed: &TypedRows,
    read: Option<&RowsRead>,
    notes: &[FieldNote],
    key: String,
) -> RowsPage {
    let mut unit = unit_fields(&typed.unit, &typed.rate);
    note_fields(&mut unit, notes);
    let pasted = FieldView {
        name: "rows",
        label: "Rows".to_owned(),
        hint: Some(
            "One placement a line: travel and settle, or the three instants picked up, touches, still. Cells apart by semicolon, tab, space or comma; a first line of words is a head."
                .to_owned(),
        ),
        value: typed.rows.clone(),
        kind: "textarea",
        autocomplete: "off",
        error: notes.iter().find(|note| note.field == "rows").map(|note| note.sentence.clone()),
        ..FieldView::default()
    };
    let fields = typed.about.fields(bed, notes);
    let artist = &bed.artist;
    RowsPage {
        frame: house.frame(&bed.studio, &staff.visitor, Place::Hands, format!("{}, timing", artist.name)),
        key,
        action: house.url(&format!("/hands/{}/timing/rows", artist.id)),
        ways: ways(house, artist.id, &typed.about.style, Source::Rows),
        preview: read.map(|read| preview(read, &bed.studio)),
        mistakes: mistakes(std::iter::once(&pasted).chain(&unit).chain(&fields)),
        pasted,
        unit,
        fields,
        at: typed.about.at.clone(),
        back: house.url(&format!("/hands/{}?style={}", artist.id, typed.about.style)),
    }
}

fn preview(read: &RowsRead, studio: &Studio) -> Preview {
    let (good, faults) = (read.good.len(), read.faults.len());
    let lead = if faults == 0 {
        format!("Read: {}. Every row is good.", count(good, "placement"))
    } else {
        format!("Read: {}. Left out: {}, named below.", count(good, "placement"), count(faults, "row"))
    };
    let said = |timed: &Timed| (bare(timed.travel, studio.decimal), bare(timed.settle, studio.decimal));
    let shown = read.good.iter().take(GOOD_SHOWN).map(|row| {
        let (travel, settle) = said(&row.timed);
        (row.line, travel, settle)
    });
    Preview {
        lead,
        good: shown.collect(),
        more_good: good.saturating_sub(GOOD_SHOWN),
        faults: read.faults.iter().take(FAULTS_SHOWN).cloned().collect(),
        more_faults: faults.saturating_sub(FAULTS_SHOWN),
        button: format!("Keep {}", count(good, "placement")),
    }
}

async fn record(
    staff: Staff,
    house: House,
    id: ArtistId,
    form: Form<TypedRows>,
    bottles: BottlesAt,
) -> Result<Response, Problem> {
    let bed = Bed::load(&house, &staff, id, Some(bottles)).await?;
    let key = form.key.again();
    match form.typed.check(&bed) {
        Ok(Checked { about, unit, read }) if form.typed.act == "keep" => {
            let timed: Vec<Timed> = read.good.iter().map(|row| row.timed).collect();
            let how = (Source::Rows, unit.uncertainty_s());
            let kept = keep(&house, &form.key, id, about, how, &timed, bottles).await?;
            Ok(answer(&house, &kept))
        }
        Ok(checked) => page(&view(&house, &staff, &bed, &form.typed, Some(&checked.read), &[], key)),
        Err(Problem::Mistakes(notes)) => page_again(&view(&house, &staff, &bed, &form.typed, None, &notes, key)),
        Err(other) => Err(other),
    }
}
