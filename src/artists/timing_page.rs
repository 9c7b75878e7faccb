//! Timing placements, four ways: taps, a video, typed numbers, pasted rows. For the artist herself and the owner.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;
use serde::Deserialize;

use super::about::{About, Bed, TypedAbout, keep};
use super::entry::{self, RATES, Timed, Unit};
use super::{BottlesAt, Source};
use crate::base::ids::ArtistId;
use crate::base::problem::{FieldNote, Problem};
use crate::web::House;
use crate::web::checks::{Notes, note_fields, number_field};
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
    let show = move |way: Source| {
        move |staff: Staff, State(house): State<House>, At(id): At<ArtistId>, Query(asked): Asked| async move {
            let bed = Bed::load(&house, &staff, id, Some(bottles)).await?;
            let about = TypedAbout::fresh(&bed, asked.get("style").map(String::as_str));
            let marked = TypedMarks { about, source: way.word().to_owned(), ..TypedMarks::default() };
            page(&view(&house, &staff, &bed, way, &marked, &[], new_form_key()))
        }
    };
    let record = move |staff: Staff, State(house): State<House>, At(id): At<ArtistId>, form: Form<TypedMarks>| {
        record(staff, house, id, form, bottles)
    };
    Routes::new()
        .get("/hands/{artist}/timing", show(Source::Taps))
        .get("/hands/{artist}/timing/video", show(Source::Video))
        .post("/hands/{artist}/timing", record)
}

/// What the page of taps and that of a video send.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct TypedMarks {
    #[serde(flatten)]
    about: TypedAbout,
    source: String,
    rate: String,
    marks: String,
}

/// About the session, how it was taken with its uncertainty, and the placements.
type Checked = (About, (Source, Option<f64>), Vec<Timed>);

impl TypedMarks {
    fn way(&self) -> Source {
        if self.source == Source::Video.word() { Source::Video } else { Source::Taps }
    }

    fn check(&self, bed: &Bed) -> Result<Checked, Problem> {
        let mut notes = Notes::said_with(bed.studio.decimal);
        let about = self.about.check(bed, &mut notes);
        let how = match self.way() {
            Source::Video => notes
                .number("rate", &self.rate, RATES, "frames a second")
                .map(|rate| (Source::Video, Unit::Frames(rate).uncertainty_s())),
            _ => Some((Source::Taps, Some(super::hands::TAPPING_S))),
        };
        let marks = entry::marks(&self.marks).map_err(|bad| notes.add("marks", bad.sentence())).ok();
        notes.settle((|| Some((about?, how?, marks?)))())
    }
}

/// A way to time, as a link.
pub(super) struct Way {
    pub(super) word: &'static str,
    pub(super) href: String,
    pub(super) here: bool,
}

/// The four ways, keeping the style.
pub(super) fn ways(house: &House, artist: ArtistId, style: &str, here: Source) -> Vec<Way> {
    [
        (Source::Taps, "Taps", ""),
        (Source::Video, "Video", "/video"),
        (Source::Typed, "Typing", "/typed"),
        (Source::Rows, "Rows", "/rows"),
    ]
    .into_iter()
    .map(|(way, word, path)| Way {
        word,
        href: house.url(&format!("/hands/{artist}/timing{path}?style={style}")),
        here: way == here,
    })
    .collect()
}

#[derive(Template)]
#[template(path = "hands/marks.html")]
struct MarksPage {
    frame: Frame,
    key: String,
    action: String,
    ways: Vec<Way>,
    /// The video's frame rate; without it the marks are taps.
    rate: Option<FieldView>,
    source: &'static str,
    /// The studio's decimal sign, for what the marks say.
    decimal: &'static str,
    /// Style, room, adhesive.
    fields: Vec<FieldView>,
    marks: FieldView,
    at: String,
    mistakes: Vec<Mistake>,
    /// Where the seconds can be typed instead.
    typed: String,
    back: String,
}

fn view(
    house: &House,
    staff: &Staff,
    bed: &Bed,
    way: Source,
    marked: &TypedMarks,
    notes: &[FieldNote],
    key: String,
) -> MarksPage {
    let artist = &bed.artist;
    let style = &marked.about.style;
    let mut extra = vec![
        FieldView { name: "marks", label: "Marks".to_owned(), value: marked.marks.clone(), ..FieldView::default() },
        number_field("rate", "Frames a second", &marked.rate)
            .hinted("As the camera says. Phones often film at a rate that varies: set it to a fixed one, or the seconds are off."),
    ];
    note_fields(&mut extra, notes);
    let fields = marked.about.fields(bed, notes);
    let all = mistakes(extra.iter().chain(&fields));
    let rate = extra.pop().filter(|_| way == Source::Video);
    MarksPage {
        frame: house.frame(&bed.studio, &staff.visitor, Place::Hands, format!("{}, timing", artist.name)),
        key,
        action: house.url(&format!("/hands/{}/timing", artist.id)),
        ways: ways(house, artist.id, style, way),
        rate,
        source: way.word(),
        decimal: bed.studio.decimal.sign(),
        fields,
        marks: extra.pop().unwrap_or_default(),
        at: marked.about.at.clone(),
        mistakes: all,
        typed: house.url(&format!("/hands/{}/timing/typed?style={style}", artist.id)),
        back: house.url(&format!("/hands/{}?style={style}", artist.id)),
    }
}

async fn record(
    staff: Staff,
    house: House,
    id: ArtistId,
    form: Form<TypedMarks>,
    bottles: BottlesAt,
) -> Result<Response, Problem> {
    let bed = Bed::load(&house, &staff, id, Some(bottles)).await?;
    match form.typed.check(&bed) {
        Ok((about, how, timed)) => {
            let kept = keep(&house, &form.key, id, about, how, &timed, bottles).await?;
            Ok(answer(&house, &kept))
        }
        Err(Problem::Mistakes(notes)) => {
            let key = form.key.again();
            let view = view(&house, &staff, &bed, form.typed.way(), &form.typed, &notes, key);
            page_again(&view)
        }
        Err(other) => Err(other),
    }
}
