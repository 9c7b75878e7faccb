//! The invented rooms behave like rooms.

use jiff::tz::TimeZone;
use stillroom::demo::air::{DemoReading, DemoRoom, device_on, readings};
use stillroom::rooms::plausible::{Arrived, Reading, judge};

const DAY: i64 = 86_400_000_000;
/// 1 July 2025.
const FROM: i64 = 1_751_328_000_000_000;

fn zone() -> TimeZone {
    TimeZone::get("Europe/London").unwrap()
}

fn days(room: DemoRoom, from: i64, days: i64) -> Vec<DemoReading> {
    readings(room, &zone(), from, from + days * DAY)
}

/// What the studio would believe, and how many it sets aside.
fn judged(readings: &[DemoReading]) -> (Vec<Reading>, usize) {
    let mut kept: Vec<Reading> = Vec::new();
    for r in readings {
        let arrived = Arrived { at_us: r.at_us, temperature: r.temperature, humidity: r.humidity };
        if let Ok(reading) = judge(&arrived, kept.last(), i64::MAX) {
            kept.push(reading);
        }
    }
    let aside = readings.len() - kept.len();
    (kept, aside)
}

fn mean(values: impl Iterator<Item = f64> + Clone) -> f64 {
    values.clone().sum::<f64>() / values.count() as f64
}

#[test]
fn two_spans_agree_where_they_overlap() {
    let long = days(DemoRoom::Gable, FROM, 30);
    let short = readings(DemoRoom::Gable, &zone(), FROM + 3 * DAY + 1, FROM + 4 * DAY);
    let overlap: Vec<_> = long.iter().filter(|r| (FROM + 3 * DAY + 1..FROM + 4 * DAY).contains(&r.at_us)).collect();
    assert!(short.len() > 100 && short.iter().eq(overlap));
}

#[test]
fn every_room_is_itself_all_year() {
    let mut found = Vec::new();
    for room in DemoRoom::ALL {
        let (kept, aside) = judged(&days(room, FROM - 180 * DAY, 365));
        let humidity = mean(kept.iter().map(|r| r.humidity.get()));
        let temperature = mean(kept.iter().map(|r| r.temperature.get()));
        let mut sorted: Vec<f64> = kept.iter().map(|r| r.humidity.get()).collect();
        sorted.sort_by(f64::total_cmp);
        let (low, high) = (sorted[sorted.len() / 20], sorted[sorted.len() * 19 / 20]);
        eprintln!(
            "{}: {temperature:.1} °C, {humidity:.1} %RH, 9 in 10 within {low:.0}–{high:.0}, {aside} aside of {}",
            room.name(),
            kept.len()
        );
        assert!((40..250).contains(&aside), "{}: {aside} set aside", room.name());
        assert!((46_000..52_560).contains(&kept.len()), "{}: {} kept", room.name(), kept.len());
        found.push((temperature, humidity));
    }
    let [gable, lantern, cellar] = found[..] else { panic!("three rooms") };
    assert!(gable.1 + 4.0 < lantern.1 && lantern.1 + 8.0 < cellar.1, "dry, middling, damp: {found:?}");
    assert!(cellar.0 + 1.5 < gable.0 && cellar.0 + 1.5 < lantern.0, "the cellar is cool: {found:?}");
}

#[test]
fn winter_is_drier_than_summer_and_nights_are_cooler_than_days() {
    let humidity = |from| mean(judged(&days(DemoRoom::Gable, from, 28)).0.iter().map(|r| r.humidity.get()));
    assert!(humidity(FROM) > humidity(FROM + 200 * DAY) + 5.0);
    let (kept, _) = judged(&days(DemoRoom::Lantern, FROM, 28));
    let at = |hours: std::ops::Range<i64>| {
        mean(kept.iter().filter(|r| hours.contains(&(r.at_us % DAY / 3_600_000_000))).map(|r| r.temperature.get()))
    };
    assert!(at(11..16) > at(0..4) + 1.5);
}

#[test]
fn the_humidifier_shows_in_the_air() {
    let winter = FROM + 200 * DAY;
    let periods = device_on(DemoRoom::Gable, &zone(), winter, winter + 60 * DAY);
    assert!((15..60).contains(&periods.len()), "{} periods", periods.len());
    let (kept, _) = judged(&days(DemoRoom::Gable, winter, 60));
    let near = |at: i64| kept.iter().min_by_key(|r| (r.at_us - at).abs()).unwrap().humidity.get();
    let rises: Vec<f64> = periods.iter().map(|(from, to)| near(*to) - near(*from)).collect();
    let higher = rises.iter().filter(|rise| **rise > 3.0).count();
    assert!(higher * 10 > rises.len() * 7, "{higher} of {} periods raised the humidity: {rises:?}", rises.len());
    assert!(device_on(DemoRoom::Lantern, &zone(), winter, winter + 60 * DAY).is_empty());
}

#[test]
fn there_are_outages_of_some_hours() {
    let all = days(DemoRoom::Cellar, FROM, 180);
    let gaps: Vec<i64> =
        all.windows(2).map(|p| (p[1].at_us - p[0].at_us) / 3_600_000_000).filter(|h| *h >= 2).collect();
    assert!((1..12).contains(&gaps.len()) && gaps.iter().all(|h| *h <= 9), "{gaps:?}");
}
