//! A room's page: its air now, its charts with the table behind, its newest readings, its instruments.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;

use super::chart::{self, Air, Chart, Point, Span, TableRow, Window, Wording};
use super::list_page::{AirWords, words};
use super::now::{AirNow, Corrections, air_now};
use super::readings::{self, KeptReading};
use super::room_form::open_room;
use super::settings::RoomSettings;
use super::written::{Quantity, TemperatureUnit};
use super::{Check, Instrument, InstrumentKind, Room, store};
use crate::base::actor::Role;
use crate::base::ids::{InstrumentId, RoomId};
use crate::base::problem::Problem;
use crate::base::text::capital;
use crate::base::time::{DAY, HOUR, Instant};
use crate::base::units::RelHumidity;
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
    temperature: String,
    humidity: String,
    by: String,
    aside: bool,
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

/// The numbers under the sentence, each with what it is compared with.
struct Numbers {
    air: AirWords,
    lead: String,
    temperature_against: String,
    humidity_against: String,
    dew_against: String,
    density: String,
    density_against: String,
    wet_bulb: String,
}

#[derive(Template)]
#[template(path = "rooms/room.html")]
struct RoomPage {
    frame: Frame,
    path: String,
    told: Option<Told>,
    numbers: Option<Numbers>,
    by: String,
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
        ("Volume".to_owned(), format!("{}\u{a0}m³", studio.number(room.volume_m3, 0))),
        ("Air change".to_owned(), format!("{} an hour", studio.number(room.air_changes_per_hour, 2))),
        ("Coldest surface".to_owned(), surface_words(&room, &studio)),
    ];
    about.extend(devices.iter().map(|device| {
        let grams = device.grams_per_hour.map(|grams| format!("{}\u{a0}g an hour", studio.number(grams, 0)));
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
        numbers: air.as_ref().map(|air| numbers(air, &room, &settings, &studio, now)),
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
    match room.surface_c {
        Some(c) => format!(
            "{}, {}\u{a0}{}",
            room.coldest_surface,
            studio.number(studio.scale(c), 1),
            studio.temperature_unit()
        ),
        None => format!("{}, not measured", room.coldest_surface),
    }
}

/// An instrument with its checks.
struct KnownInstrument {
    instrument: Instrument,
    checks: Vec<Check>,
}

async fn load_instruments(db: &mut Db, room: RoomId) -> Result<Vec<KnownInstrument>, Problem> {
    let mut known = Vec::new();
    for instrument in store::instruments(db, room).await? {
        let checks = store::checks(db, instrument.id).await?;
        known.push(KnownInstrument { instrument, checks });
    }
    Ok(known)
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

fn numbers(air: &AirNow, room: &Room, settings: &RoomSettings, studio: &Studio, now: Instant) -> Numbers {
    let unit = studio.temperature_unit();
    let degrees = |celsius: f64| studio.number(studio.scale(celsius), 1);
    let doubt_h = studio.number(super::instrument::LIKELY * air.measured.doubt.humidity, 0);
    let doubt_t =
        super::instrument::LIKELY * air.measured.doubt.temperature * if studio.fahrenheit { 1.8 } else { 1.0 };
    let shown = air.shown_humidity.get();
    let corrected = air.measured.humidity.humidity.get();
    let mut humidity_against = format!(
        "the studio’s band is {}–{}; likely within {doubt_h} either way",
        studio.number(settings.humidity_band.0.get(), 0),
        studio.number(settings.humidity_band.1.get(), 0)
    );
    if (shown - corrected).abs() >= 0.05 {
        humidity_against.push_str(&format!("; shown as {}, corrected by its check", studio.number(shown, 1)));
    }
    if air.measured.humidity.outside_checked_range {
        humidity_against.push_str("; outside the range of its checks");
    }
    let dew = air.derived.dew.celsius();
    let dew_against = match room.surface_c {
        Some(surface) if dew >= surface => {
            format!("{} is at {}\u{a0}{unit}: water settles on it", room.coldest_surface, degrees(surface))
        }
        Some(surface) => format!("{} is at {}\u{a0}{unit}: dry", room.coldest_surface, degrees(surface)),
        None => "below this a surface is wet".to_owned(),
    };
    let low = super::air::vapour_density(air.measured.temperature, settings.humidity_band.0);
    let state = air.band_state(settings);
    Numbers {
        lead: format!("{} is {}.", room.name, state.words.replace("stale; was", "not known now; it was")),
        air: words(air, settings, studio, now),
        temperature_against: format!(
            "the studio’s band is {}–{}; likely within {} either way",
            degrees(settings.temperature_band.0.get()),
            degrees(settings.temperature_band.1.get()),
            studio.number(doubt_t, 1)
        ),
        humidity_against,
        dew_against,
        density: studio.number(air.derived.vapour_density.get(), 1),
        density_against: format!("{} at the lower end of the band", studio.number(low.get(), 1)),
        wet_bulb: degrees(air.derived.wet_bulb),
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

/// Readings further apart than this are not joined by a line.
const JOINED_WITHIN: i64 = 35 * crate::base::time::MINUTE;

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
            last_doubt: doubt
                .map(|doubt| if quantity == Quantity::Humidity { doubt.humidity } else { doubt.temperature }),
            device_on: &[],
            joined_within: JOINED_WITHIN,
        };
        let wording = Wording { id, room: &room.name, temperature_unit: unit, decimal_mark: studio.decimal };
        chart_view(chart::draw(&window, &drawn, &wording), quantity, &wording)
    };
    Ok(vec![draw(Quantity::Humidity, "humidity"), draw(Quantity::Temperature, "temperature")])
}

/// A reading after correction.
struct Corrected {
    at: i64,
    temperature: Option<f64>,
    humidity: Option<f64>,
    aside: bool,
}

impl Corrected {
    fn of(&self, quantity: Quantity) -> Option<Point> {
        let value = match quantity {
            Quantity::Humidity => self.humidity,
            Quantity::Temperature => self.temperature,
        };
        value.map(|value| (self.at, value))
    }
}

/// Each reading by the checks that had been made of its instrument up to then; those set aside stay as they came.
fn correct(found: &[KeptReading], instruments: &[KnownInstrument]) -> Vec<Corrected> {
    let checks: BTreeMap<InstrumentId, &[Check]> =
        instruments.iter().map(|known| (known.instrument.id, known.checks.as_slice())).collect();
    let mut last: Option<(InstrumentId, usize, Corrections)> = None;
    let mut out = Vec::with_capacity(found.len());
    for reading in found {
        let aside = !reading.set_aside.is_empty();
        let own = checks.get(&reading.instrument).copied().unwrap_or_default();
        if aside || own.is_empty() {
            out.push(Corrected {
                at: reading.at.0,
                temperature: reading.temperature,
                humidity: reading.humidity,
                aside,
            });
            continue;
        }
        // The correction changes only when another check comes into force: a month of readings needs it worked out a few times.
        let in_force = own.iter().filter(|check| check.at <= reading.at).count();
        let correction = match last {
            Some((instrument, count, correction)) if instrument == reading.instrument && count == in_force => {
                correction
            }
            _ => Corrections::of(own, reading.at),
        };
        last = Some((reading.instrument, in_force, correction));
        let humidity = reading
            .humidity
            .and_then(|h| RelHumidity::new(h).ok())
            .map(|h| correction.humidity.apply(h).humidity.get());
        let temperature = reading.temperature.map(|t| t + correction.kelvins);
        out.push(Corrected { at: reading.at.0, temperature, humidity, aside });
    }
    out
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
    let aside = !reading.set_aside.is_empty();
    let state = if aside {
        ("near", format!("set aside: {}", reading.set_aside))
    } else {
        match humidity {
            Some(h) if h < settings.humidity_band.0.get() => ("stop", "below".to_owned()),
            Some(h) if h > settings.humidity_band.1.get() => ("stop", "above".to_owned()),
            _ => ("fit", "inside".to_owned()),
        }
    };
    ReadingRow {
        when: studio.zone.date_and_clock(reading.at, now),
        state,
        temperature: temperature.map_or_else(|| "–".to_owned(), |t| studio.number(studio.scale(t), 1)),
        humidity: humidity.map_or_else(|| "–".to_owned(), |h| studio.number(h, 0)),
        by: known.map(|known| known.instrument.name.clone()).unwrap_or_default(),
        aside,
    }
}
