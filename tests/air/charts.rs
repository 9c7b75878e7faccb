//! Pictures of real-looking months and of awkward ones.

use jiff::civil::{Date, date};
use jiff::tz::TimeZone;
use stillroom::base::number::DecimalMark;
use stillroom::demo::air::{DemoRoom, device_on, readings};
use stillroom::rooms::chart::{Air, Chart, Point, Span, Window, Wording, draw, spark};
use stillroom::rooms::plausible::{Arrived, judge};
use stillroom::rooms::written::{Quantity, TemperatureUnit};

const MINUTE: i64 = 60_000_000;
const HOUR: i64 = 60 * MINUTE;

fn zone() -> TimeZone {
    TimeZone::get("Europe/Berlin").unwrap()
}

fn wording() -> Wording<'static> {
    Wording {
        id: "air-gable-rh",
        room: "Gable",
        temperature_unit: TemperatureUnit::Celsius,
        decimal_mark: DecimalMark::Point,
    }
}

fn air<'a>(quantity: Quantity, kept: &'a [Point], set_aside: &'a [Point]) -> Air<'a> {
    let band = match quantity {
        Quantity::Humidity => (35.0, 55.0),
        Quantity::Temperature => (20.0, 24.0),
    };
    Air {
        quantity,
        kept,
        set_aside,
        band: Some(band),
        last_doubt: Some(2.5),
        device_on: &[],
        joined_within: 30 * MINUTE,
    }
}

/// The demo room's readings up to an instant, believed and set aside.
fn demo(room: DemoRoom, from: i64, to: i64, quantity: Quantity) -> (Vec<Point>, Vec<Point>) {
    let (mut kept, mut aside, mut before) = (Vec::new(), Vec::new(), None);
    for r in readings(room, &zone(), from, to) {
        let value = if quantity == Quantity::Humidity { r.humidity } else { r.temperature };
        let arrived = Arrived { at_us: r.at_us, temperature: r.temperature, humidity: r.humidity };
        match judge(&arrived, before.as_ref(), i64::MAX) {
            Ok(reading) => {
                before = Some(reading);
                kept.push((r.at_us, value));
            }
            Err(_) => aside.push((r.at_us, value)),
        }
    }
    (kept, aside)
}

/// What every picture has to keep to.
#[track_caller]
fn sound(chart: &Chart) {
    let svg = &chart.svg;
    assert!(svg.len() <= 12 * 1024, "{} bytes", svg.len());
    for wanted in ["role=\"img\"", "<title id=", "<desc id=", "viewBox=\"0 0 366 ", "class=\"ax\"", "class=\"grid\""] {
        assert!(svg.contains(wanted), "{wanted} is missing");
    }
    for unwanted in ["style", "fill=", "stroke=", "NaN", "inf", "font"] {
        assert!(!svg.contains(unwanted), "{unwanted} has no place here");
    }
    assert!(svg.contains(&chart.finding.replace('\'', "&#39;")), "the description is the finding");
    well_formed(svg);
}

/// Every tag is closed in its order; attributes are quoted. Enough of XML for what is made here.
#[track_caller]
fn well_formed(svg: &str) {
    let mut open: Vec<&str> = Vec::new();
    for piece in svg.split('<').skip(1) {
        let (tag, text) = piece.split_once('>').expect("a tag ends");
        assert!(!text.contains('>') && !tag.contains('\n'));
        assert_eq!(tag.matches('"').count() % 2, 0, "{tag}");
        let name = tag.trim_start_matches('/').split([' ', '/']).next().unwrap();
        if tag.starts_with('/') {
            assert_eq!(open.pop(), Some(name));
        } else if !tag.ends_with('/') {
            open.push(name);
        }
    }
    assert!(open.is_empty(), "{open:?}");
}

#[test]
fn a_year_of_days_weeks_and_months_makes_sound_small_pictures() {
    let mut largest = 0;
    for room in DemoRoom::ALL {
        for (quantity, span) in [Quantity::Humidity, Quantity::Temperature]
            .into_iter()
            .flat_map(|q| [Span::Day, Span::Week, Span::Month].map(|s| (q, s)))
        {
            for step in 0..12 {
                let last: Date = date(2025, 1, 31).saturating_add(jiff::Span::new().days(step * 31));
                let window = Window::ending(span, last, &zone()).unwrap();
                let (kept, aside) = demo(room, window.from_us(), window.to_us(), quantity);
                let on = device_on(room, &zone(), window.from_us(), window.to_us());
                let air = Air { device_on: &on, ..air(quantity, &kept, &aside) };
                let chart = draw(&window, &air, &wording());
                sound(&chart);
                largest = largest.max(chart.svg.len());
                keep_to_look_at(room, quantity, span, step, &chart);
            }
        }
    }
    eprintln!("largest picture {largest} bytes");
}

/// With STILLROOM_PICTURES=folder the pictures are kept there to be looked at.
fn keep_to_look_at(room: DemoRoom, quantity: Quantity, span: Span, step: i32, chart: &Chart) {
    if let Ok(folder) = std::env::var("STILLROOM_PICTURES") {
        let name = format!("{folder}/{}-{quantity:?}-{span:?}-{step}", room.name());
        std::fs::write(format!("{name}.svg"), &chart.svg).unwrap();
        std::fs::write(format!("{name}.txt"), format!("{}\n{}\n", chart.finding, chart.caption)).unwrap();
    }
}

#[test]
fn the_worst_readings_still_make_a_small_picture() {
    let window = Window::ending(Span::Month, date(2025, 6, 30), &zone()).unwrap();
    // One reading a minute that swings over the whole scale, with a gap after every third; and as many set aside.
    let wild = |at: i64| (at, if at / MINUTE % 2 == 0 { 3.3 } else { 97.7 });
    let minutes = (window.from_us()..window.to_us()).step_by(60_000_000);
    let kept: Vec<Point> = minutes.clone().map(wild).collect();
    let aside: Vec<Point> = minutes.map(|at| (at, (at / MINUTE % 140) as f64)).collect();
    let on: Vec<(i64, i64)> =
        (0..700).map(|n| (window.from_us() + n * HOUR, window.from_us() + n * HOUR + HOUR / 2)).collect();
    let worst = Air { device_on: &on, ..air(Quantity::Humidity, &kept, &aside) };
    let chart = draw(&window, &worst, &wording());
    eprintln!("worst picture {} bytes", chart.svg.len());
    sound(&chart);
    let sparse: Vec<Point> = kept.iter().copied().step_by(70).collect();
    sound(&draw(&window, &Air { kept: &sparse, ..worst }, &wording()));
}

#[test]
fn values_that_are_no_numbers_or_off_every_scale_do_not_spoil_the_picture() {
    let window = Window::ending(Span::Day, date(2025, 6, 30), &zone()).unwrap();
    let at = |hours: i64| window.from_us() + hours * HOUR;
    let kept = [(at(1), 40.0), (at(2), f64::NAN), (at(3), 42.0)];
    let aside = [(at(4), 1e300), (at(5), f64::NEG_INFINITY), (at(6), -40.0)];
    let chart = draw(&window, &air(Quantity::Humidity, &kept, &aside), &wording());
    sound(&chart);
    assert_eq!(chart.rows.iter().map(|row| row.count).sum::<usize>(), 2);
}

#[test]
fn the_finding_is_how_long_the_air_was_outside_the_band() {
    let window = Window::ending(Span::Day, date(2025, 6, 30), &zone()).unwrap();
    let at = |minutes: i64| window.from_us() + minutes * MINUTE;
    let told = |values: &[f64]| {
        let kept: Vec<Point> = values.iter().enumerate().map(|(n, v)| (at(30 * n as i64), *v)).collect();
        draw(&window, &Air { last_doubt: None, ..air(Quantity::Humidity, &kept, &[]) }, &wording()).finding
    };
    let text = |s: &str| s.replace('~', "\u{a0}");
    assert_eq!(
        told(&[40.0, 41.0, 44.0]),
        text("Humidity stayed inside the band of 35–55~%RH, from 40 to 44~%RH. Last, at 01:00: 44~%RH.")
    );
    assert_eq!(
        told(&[31.0, 34.0, 36.0]),
        text(
            "Humidity was below the band of 35–55~%RH all the time, and ran from 31 to 36~%RH. Last, at 01:00: 36~%RH."
        )
    );
    assert_eq!(
        told(&[60.0, 56.0, 57.0, 58.0, 30.0, 36.0, 36.0]),
        text(
            "Humidity was above the band of 35–55~%RH for 2~h of 3~h, and ran from 30 to 60~%RH. Last, at 03:00: 36~%RH."
        )
    );
    assert_eq!(told(&[]), "No readings of humidity here.");
}

#[test]
fn the_last_readings_doubt_is_eight_times_in_ten() {
    let window = Window::ending(Span::Day, date(2025, 6, 30), &zone()).unwrap();
    let kept = [(window.from_us() + HOUR, 40.0)];
    let chart = draw(&window, &air(Quantity::Humidity, &kept, &[]), &wording());
    assert!(chart.finding.ends_with("Last, at 01:00: 40\u{a0}%RH, likely 37–43\u{a0}%RH."), "{}", chart.finding);
    assert!(chart.svg.contains("class=\"doubt\"") && chart.svg.contains("class=\"now\""));
}

#[test]
fn days_when_clocks_change_have_23_and_25_rows_and_say_so() {
    for (day, hours, said) in [(date(2025, 3, 30), 23, "23 hours"), (date(2025, 10, 26), 25, "25 hours")] {
        let window = Window::ending(Span::Day, day, &zone()).unwrap();
        let (kept, aside) = demo(DemoRoom::Lantern, window.from_us(), window.to_us(), Quantity::Humidity);
        let chart = draw(&window, &air(Quantity::Humidity, &kept, &aside), &wording());
        assert_eq!(chart.rows.len(), hours);
        assert!(chart.caption.contains(said), "{}", chart.caption);
        let labels: Vec<&str> = chart.rows.iter().map(|row| row.label.as_str()).collect();
        if hours == 25 {
            assert_eq!(labels[1..5], ["01:00", "02:00, first", "02:00, again", "03:00"]);
        } else {
            assert_eq!(labels[1..3], ["01:00", "03:00"]);
        }
    }
}

#[test]
fn the_table_holds_what_the_picture_holds() {
    let window = Window::ending(Span::Week, date(2025, 6, 30), &zone()).unwrap();
    let (kept, aside) = demo(DemoRoom::Gable, window.from_us(), window.to_us(), Quantity::Humidity);
    let chart = draw(&window, &air(Quantity::Humidity, &kept, &aside), &wording());
    assert_eq!(chart.rows.iter().map(|row| row.count).sum::<usize>(), kept.len());
    assert_eq!(chart.rows.iter().map(|row| row.set_aside).sum::<usize>(), aside.len());
    let monday = &chart.rows[6];
    assert_eq!(monday.label, "Mon 30 Jun");
    let summary = monday.summary.unwrap();
    assert!(summary.low <= summary.mean && summary.mean <= summary.high);
}

#[test]
fn fahrenheit_and_a_decimal_comma_reach_every_word() {
    let window = Window::ending(Span::Day, date(2025, 6, 30), &zone()).unwrap();
    let kept = [(window.from_us() + HOUR, 21.5), (window.from_us() + 2 * HOUR, 22.0)];
    let american =
        Wording { temperature_unit: TemperatureUnit::Fahrenheit, decimal_mark: DecimalMark::Comma, ..wording() };
    let chart = draw(&window, &Air { last_doubt: Some(0.5), ..air(Quantity::Temperature, &kept, &[]) }, &american);
    sound(&chart);
    assert!(chart.finding.contains("68,0–75,2\u{a0}°F") && chart.finding.contains("71,6\u{a0}°F"), "{}", chart.finding);
    assert!(!chart.finding.contains("°C") && !chart.svg.contains("°C"));
}

#[test]
fn every_number_of_a_picture_has_the_minus_sign_of_the_pages() {
    let window = Window::ending(Span::Day, date(2025, 1, 31), &zone()).unwrap();
    let kept = [(window.from_us() + HOUR, -3.5), (window.from_us() + 2 * HOUR, -0.04)];
    let chart = draw(&window, &Air { band: None, ..air(Quantity::Temperature, &kept, &[]) }, &wording());
    sound(&chart);
    assert!(chart.finding.contains("from −3.5 to 0.0\u{a0}°C"), "{}", chart.finding);
    let words: Vec<&str> =
        chart.svg.split('>').filter_map(|piece| piece.split_once("</text").map(|(text, _)| text)).collect();
    assert!(words.iter().any(|text| text.contains(", axis from −")), "{words:?}");
    assert!(!words.iter().any(|text| text.contains('-')), "{words:?}");
}

#[test]
fn a_rooms_name_cannot_break_out_of_the_picture() {
    let window = Window::ending(Span::Day, date(2025, 6, 30), &zone()).unwrap();
    let hostile = Wording { room: "<script>\"&'", ..wording() };
    let chart = draw(&window, &air(Quantity::Humidity, &[], &[]), &hostile);
    sound(&chart);
    assert!(!chart.svg.contains("<script>"));
}

#[test]
fn a_spark_shows_the_last_24_hours_only() {
    let now = 1_751_328_000_000_000;
    let kept: Vec<Point> = (0..600).map(|n| (now - n * 10 * MINUTE, 40.0)).rev().collect();
    let drawn = spark(&air(Quantity::Humidity, &kept, &[]), now);
    well_formed(&drawn);
    assert!(drawn.len() < 2 * 1024 && drawn.contains("class=\"band\"") && drawn.contains("class=\"now\""), "{drawn}");
    let x: f64 = drawn.split("cx=\"").nth(1).unwrap().split('"').next().unwrap().parse().unwrap();
    assert!((x - 240.0).abs() < 0.1, "the last reading stands at the right: {x}");
    well_formed(&spark(&air(Quantity::Humidity, &[], &[]), now));
}
