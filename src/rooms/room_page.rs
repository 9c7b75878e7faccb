//! A room's page: its air now, its charts with the table behind, its newest readings, its instruments.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;

use super::air_numbers::{AirNumbers, air_numbers};
use super::band;
use super::chart::{self, Air, Chart, Point, Span, TableRow, Window, Wording};
use super::corrected::{JOINED_WITHIN, KnownInstrument, correct, load_instruments};
use super::now::{AirNow, air_now};
use super::readings::{self, KeptReading};
use super::room_form::open_room;
use super::settings::RoomSettings;
use super::written::{Quantity, TemperatureUnit};
use super::{InstrumentKind, Room, store};
use crate::base::actor::Role;
use crate::base::ids::RoomId;
use crate::base::problem::Problem;
use crate::base::text::capital;
use crate::base::time::{DAY, HOUR, Instant};
use crate::store::Db;
use crate::web::House;
use crate::web::frame::{Frame, MomentLink};
use crate::web::guard::Staff;
use crate::web::incoming::At;
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::studio::{Moment, Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/rooms/{room}", room_page)
}

struct ReadingRow {
    when: String,
    state: (&'static str, String),
    /// Why it was set aside; empty for a reading that counts.
    reason: String,
    temperature: String,
    humidity: String,
    by: String,
}

struct InstrumentRow {
    name: String,
    href: String,
    kind: &'static str,
    state: String,
}

struct ChartView {
    title: String,
    unit: &'static str,
    svg: String,
    caption: String,
    finding: String,
    rows: Vec<SummaryRow>,
}

struct SummaryRow {
    label: String,
    low: String,
    mean: String,
    high: String,
}

#[derive(Template)]
#[template(path = "rooms/room.html")]
struct RoomPage {
    frame: Frame,
    path: String,
    told: Option<Told>,
    numbers: Option<AirNumbers>,
    by: String,
    air_when: String,
    spans: Vec<MomentLink>,
    span_word: &'static str,
    charts: Vec<ChartView>,
    readings: Vec<ReadingRow>,
    aside_today: i64,
    temperature_unit: &'static str,
    instruments: Vec<InstrumentRow>,
    about: Vec<(String, String)>,
    may_change: bool,
    charts_first: bool,
}

async fn room_page(
    staff: Staff,
    State(house): State<House>,
    At(id): At<RoomId>,
    Query(asked): Query<BTreeMap<String, String>>,
) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let settings = RoomSettings::load(&mut db).await?;
    let room = open_room(store::room(&mut db, id).await?)?;
    let now = staff.visitor.now.0;
    let air = air_now(&mut db, id, &settings, now).await?;
    let devices = store::devices(&mut db, id).await?;
    let instruments = load_instruments(&mut db, id).await?;
    let span = match asked.get("span").map(String::as_str) {
        Some("week") => Span::Week,
        Some("month") => Span::Month,
        _ => Span::Day,
    };
    let charts = charts(&mut db, &room, span, air.as_ref(), &instruments, &settings, &studio, now).await?;
    let newest = readings::newest(&mut db, id, now.plus(HOUR), 12).await?;
    let aside_today = readings::count_set_aside(&mut db, id, now.plus(-DAY)).await?;
    let moment = Moment::chosen(asked.get("moment").map(String::as_str), &studio, now);
    let path = format!("/rooms/{id}");
    let mut frame = house.frame(&studio, &staff.visitor, Place::Rooms, room.name.clone());
    frame.moments = house.moments(&path, moment);
    let mut about = vec![
        ("Volume".to_owned(), format!("{}\u{a0}m³", studio.exact(room.volume.get(), 0))),
        ("Air change".to_owned(), format!("{} an hour", studio.number(room.air_changes.get(), 2))),
        ("Coldest surface".to_owned(), surface_words(&room, &studio)),
    ];
    about.extend(devices.iter().map(|device| {
        let grams = device.water.map(|water| format!("{}\u{a0}g an hour", studio.number(water.get(), 0)));
        (
            capital(device.kind.word()),
            grams.map_or_else(|| device.name.clone(), |grams| format!("{}, {grams}", device.name)),
        )
    }));
    let view = RoomPage {
        told: told(asked.get("told").map(String::as_str)),
        by: air
            .as_ref()
            .map(|air| format!("by {}. {}", air.instrument.name, air.known.check_sentence()))
            .unwrap_or_default(),
        air_when: air.as_ref().map(|air| studio.zone.date_and_clock(air.at, now)).unwrap_or_default(),
        numbers: air.as_ref().map(|air| air_numbers(air, &room, &settings, &studio, now)),
        spans: spans(&house, &path, span),
        span_word: span_word(span),
        charts,
        readings: newest.iter().map(|reading| reading_row(reading, &instruments, &settings, &studio, now)).collect(),
        aside_today,
        temperature_unit: studio.temperature_unit(),
        instruments: instruments.iter().map(|known| instrument_row(&house, known, now)).collect(),
        about,
        may_change: staff.who.role == Role::Owner,
        charts_first: moment == Moment::Closing,
        path: house.url(&path),
        frame,
    };
    page(&view)
}

/// What the page says of the form that led here.
struct Told {
    mark: &'static str,
    words: &'static str,
}

fn told(word: Option<&str>) -> Option<Told> {
    match word {
        Some("kept") => Some(Told { mark: "saved", words: "The reading is kept." }),
        Some("set-aside") => Some(Told {
            mark: "near",
            words: "The reading was set aside: it is kept apart and shown below with the reason, and not used.",
        }),
        _ => None,
    }
}

fn surface_words(room: &Room, studio: &Studio) -> String {
    match room.surface {
        Some(at) => format!(
            "{}, {}\u{a0}{}",
            room.coldest_surface,
            studio.number(studio.scale(at.get()), 1),
            studio.temperature_unit()
        ),
        None => format!("{}, not measured", room.coldest_surface),
    }
}

fn instrument_row(house: &House, known: &KnownInstrument, now: Instant) -> InstrumentRow {
    let instrument = &known.instrument;
    InstrumentRow {
        name: instrument.name.clone(),
        href: house.url(&format!("/rooms/{}/instruments/{}", instrument.room, instrument.id)),
        kind: match instrument.kind {
            InstrumentKind::Hand => "read by a person",
            InstrumentKind::Logger => "its file is read in",
            InstrumentKind::Sensor => "sends by itself",
        },
        state: super::now::known(instrument, &known.checks, now).check_sentence(),
    }
}

fn spans(house: &House, path: &str, shown: Span) -> Vec<MomentLink> {
    [(Span::Day, "Day", "day"), (Span::Week, "Week", "week"), (Span::Month, "Month", "month")]
        .map(|(span, word, slug)| MomentLink {
            word,
            href: house.url(&format!("{path}?span={slug}#charts")),
            here: span == shown,
        })
        .to_vec()
}

const fn span_word(span: Span) -> &'static str {
    match span {
        Span::Day => "today",
        Span::Week => "seven days",
        Span::Month => "thirty days",
    }
}

#[expect(clippy::too_many_arguments, reason = "a chart is drawn from all of these")]
async fn charts(
    db: &mut Db,
    room: &Room,
    span: Span,
    air: Option<&AirNow>,
    instruments: &[KnownInstrument],
    settings: &RoomSettings,
    studio: &Studio,
    now: Instant,
) -> Result<Vec<ChartView>, Problem> {
    let zone = studio.zone.inner();
    let window = Window::ending(span, studio.zone.day(now), zone).ok_or_else(|| Problem::broken("no such day"))?;
    let found = readings::between(db, room.id, Instant(window.from_us()), Instant(window.to_us())).await?;
    let corrected = correct(&found, instruments);
    let last_in_window = air.is_some_and(|air| window.holds(air.at.0));
    let doubt = air.filter(|_| last_in_window).map(|air| air.measured.doubt);
    let unit = if studio.fahrenheit { TemperatureUnit::Fahrenheit } else { TemperatureUnit::Celsius };
    let draw = |quantity: Quantity, id: &str| {
        let of = |aside: bool| -> Vec<Point> {
            corrected.iter().filter(|point| point.aside == aside).filter_map(|point| point.of(quantity)).collect()
        };
        let (kept, set_aside) = (of(false), of(true));
        let band = match quantity {
            Quantity::Humidity => (settings.humidity_band.0.get(), settings.humidity_band.1.get()),
            Quantity::Temperature => (settings.temperature_band.0.get(), settings.temperature_band.1.get()),
        };
        let drawn = Air {
            quantity,
            kept: &kept,
            set_aside: &set_aside,
            band: Some(band),
            last_doubt: doubt.map(|doubt| {
                if quantity == Quantity::Humidity { doubt.humidity.get() } else { doubt.temperature.get() }
            }),
            device_on: &[],
            joined_within: JOINED_WITHIN,
        };
        let wording = Wording { id, room: &room.name, temperature_unit: unit, decimal_mark: studio.decimal };
        chart_view(chart::draw(&window, &drawn, &wording), quantity, &wording)
    };
    Ok(vec![draw(Quantity::Humidity, "humidity"), draw(Quantity::Temperature, "temperature")])
}

fn chart_view(chart: Chart, quantity: Quantity, wording: &Wording<'_>) -> ChartView {
    let row = |row: TableRow| {
        let show = |value: Option<f64>| value.map_or_else(|| "–".to_owned(), |value| wording.number(quantity, value));
        SummaryRow {
            low: show(row.summary.map(|summary| summary.low)),
            mean: show(row.summary.map(|summary| summary.mean)),
            high: show(row.summary.map(|summary| summary.high)),
            label: row.label,
        }
    };
    ChartView {
        title: capital(quantity.word()),
        unit: wording.unit(quantity),
        svg: chart.svg,
        caption: chart.caption,
        finding: chart.finding,
        rows: chart.rows.into_iter().map(row).collect(),
    }
}

fn reading_row(
    reading: &KeptReading,
    instruments: &[KnownInstrument],
    settings: &RoomSettings,
    studio: &Studio,
    now: Instant,
) -> ReadingRow {
    let known = instruments.iter().find(|known| known.instrument.id == reading.instrument);
    let corrected = correct(std::slice::from_ref(reading), instruments);
    let (temperature, humidity) = corrected.first().map_or((None, None), |c| (c.temperature, c.humidity));
    let state = if !reading.set_aside.is_empty() {
        ("near", "set aside".to_owned())
    } else {
        let doubt = known.map(|known| super::now::known(&known.instrument, &known.checks, now).doubt(0.0));
        let off = doubt.map(|doubt| band::off(humidity, temperature, &doubt, settings)).unwrap_or_default();
        let state = band::state(&off);
        (state.mark, state.words.replace(" than the band", "").replace(" the band", ""))
    };
    ReadingRow {
        when: studio.zone.date_and_clock(reading.at, now),
        state,
        reason: reading.set_aside.clone(),
        temperature: temperature.map_or_else(|| "–".to_owned(), |t| studio.number(studio.scale(t), 1)),
        humidity: humidity.map_or_else(|| "–".to_owned(), |h| studio.number(h, 0)),
        by: known.map(|known| known.instrument.name.clone()).unwrap_or_default(),
    }
}
