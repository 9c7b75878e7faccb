//! What the map shows, where its words stand, and what is said of it.

use super::words::kind_at;
use super::*;
use crate::adhesives::set_time::{Label, Scatter};
use crate::adhesives::{Air, AirDoubt, Bead, Liquids};
use crate::advice::band::{Suitability, working_band};
use crate::advice::draw::labels::Place;
use crate::advice::judge::{CureClass, Limits, Question, RoomNow, ShelfBottle, Verdict, Work};
use crate::artists::Technique;
use crate::artists::hands::{Hands, Timing};
use crate::base::chart::Px;
use crate::base::units::{HumidityDoubt, Seconds, TemperatureDoubt};

fn doubt(humidity: f64, temperature: f64) -> Doubt {
    Doubt { humidity: HumidityDoubt::clamped(humidity), temperature: TemperatureDoubt::clamped(temperature) }
}

fn s(value: f64) -> Seconds {
    Seconds::new(value).unwrap()
}

fn spot(t: f64, h: f64) -> Spot {
    Spot { temperature: Celsius::clamped(t), humidity: RelHumidity::clamped(h) }
}

/// The band of an adhesive labelled with these seconds for quick, steady hands.
fn band(label: (f64, f64)) -> Band {
    let timings: Vec<Timing> = (0..90)
        .map(|i| Timing {
            session: 1 + i / 30,
            travel: s(1.4 + 0.01 * f64::from(i % 13)),
            settle: s(0.7 + 0.02 * f64::from(i % 11)),
        })
        .collect();
    let hands = Hands::from_timings(&timings);
    let label = Label::window(s(label.0), s(label.1), None).unwrap();
    let bottles = [ShelfBottle::from_tests("Heath".into(), Some(&label), &[], &[], 5.0)];
    let any_adhesive = Scatter::of_any_adhesive();
    let classes = [CureClass::new(s(1.0), s(2.0)).unwrap()];
    let air = Air { temperature: Celsius::clamped(22.0), humidity: RelHumidity::clamped(45.0) };
    let q = Question {
        hands: &hands,
        room: RoomNow { air, doubt: AirDoubt::NONE },
        work: Work {
            technique: Technique::Classic,
            placements_per_set: 140,
            bead: Bead::Medium,
            pick_up: None,
            liquids: Liquids::NONE,
        },
        classes: &classes,
        any_adhesive: &any_adhesive,
        bottles: &bottles,
        not_today: &[],
        daily: None,
        limits: Limits::default(),
    };
    working_band(&q, 0, Verdict::Fits)
}

fn map<'a>(band: &'a Band, guards: &'a [GuardLine<'a>], trail: &'a [Spot]) -> Map<'a> {
    Map {
        id: "band",
        bottle: "Heath",
        band,
        reading: Some(Reading { spot: spot(21.6, 29.0), doubt: doubt(3.0, 0.5) }),
        trail,
        guards,
        aim: Some(spot(21.6, 36.0)),
        fahrenheit: false,
        mark: DecimalMark::Point,
    }
}

/// Boxes of every text, widths by the same measure as the labels.
fn boxes(svg: &str) -> Vec<(String, Place)> {
    svg.split("<text")
        .skip(1)
        .map(|rest| {
            let of = |name: &str| -> f64 {
                rest.split(&format!(" {name}=\"")).nth(1).unwrap().split('"').next().unwrap().parse().unwrap()
            };
            let words = rest.split('>').nth(1).unwrap().split('<').next().unwrap().to_owned();
            let wide = words.chars().count() as f64 * 7.3;
            let anchor = rest.split('>').next().unwrap();
            let left = match anchor {
                a if a.contains("middle") => of("x") - wide / 2.0,
                a if a.contains("\"end\"") => of("x") - wide,
                _ => of("x"),
            };
            (words, Place { left, right: left + wide, top: of("y") - 11.0, foot: of("y") + 3.0 })
        })
        .collect()
}

#[test]
fn no_two_words_lie_over_each_other_and_all_stay_in_the_picture() {
    let guard: Vec<Spot> = (15..=30).map(|t| spot(f64::from(t), 90.0 - 2.0 * f64::from(t))).collect();
    let guards = [GuardLine { words: "glass wet past here", points: &guard }];
    for label in [(0.5, 1.0), (1.0, 2.0), (2.0, 3.0), (5.0, 8.0)] {
        let band = band(label);
        let drawn = draw(&map(&band, &guards, &[]));
        let boxes = boxes(&drawn.svg);
        assert!(boxes.iter().any(|(words, _)| words == "now"));
        for (i, (words, a)) in boxes.iter().enumerate() {
            assert!(a.left >= 0.0 && a.right <= WIDTH && a.foot <= HEIGHT, "{words} leaves the picture at {label:?}");
            for (other, b) in &boxes[i + 1..] {
                let apart = a.right <= b.left || b.right <= a.left || a.foot <= b.top || b.foot <= a.top;
                assert!(apart, "{words} lies over {other} at {label:?}");
            }
        }
    }
}

#[test]
fn words_stand_where_they_are_true() {
    let kinds = [
        ("too slow", Suitability::TooSlow),
        ("too quick", Suitability::TooQuick),
        ("likely suits", Suitability::Likely),
        ("may suit", Suitability::May),
    ];
    let mut standing = std::collections::BTreeSet::new();
    for label in [(0.3, 0.5), (1.0, 2.0), (2.0, 3.0), (5.0, 8.0)] {
        let band = band(label);
        for (words, place) in boxes(&draw(&map(&band, &[], &[])).svg) {
            let Some((word, kind)) = kinds.iter().find(|(word, _)| *word == words) else { continue };
            let centre = (f64::midpoint(place.left, place.right), f64::midpoint(place.top, place.foot));
            assert_eq!(kind_at(&band, centre), *kind, "{word} at {label:?}");
            standing.insert(*word);
        }
    }
    assert_eq!(standing.len(), 4, "only {standing:?}");
}

#[test]
fn a_year_of_trail_still_weighs_less_than_twelve_kilobytes() {
    let band = band((1.0, 2.0));
    let trail: Vec<Spot> = (0..5000).map(|i| spot(18.0 + f64::from(i % 80) / 10.0, 30.0 + f64::from(i % 37))).collect();
    let svg = draw(&map(&band, &[], &trail)).svg;
    assert!(svg.len() <= 12_000, "{}", svg.len());
    assert!(svg.contains("class=\"dots\"") && !svg.contains("style="));
}

#[test]
fn the_table_agrees_with_the_map_and_an_edge_of_the_map_is_no_edge_of_the_band() {
    let band = band((1.0, 2.0));
    let drawn = draw(&map(&band, &[], &[]));
    assert_eq!(drawn.rows.len(), 4);
    let row = band.rows().into_iter().find(|row| (row.temperature.get() - 22.0).abs() < 0.1).unwrap();
    let (low, high) = row.likely.unwrap();
    let of_22 = &drawn.rows[2];
    assert_eq!(of_22.temperature, "22\u{a0}°C");
    for end in [low.get(), high.get()].into_iter().filter(|end| (20.5..79.5).contains(end)) {
        assert!(of_22.likely.contains(&format!("{end:.0}")), "{} {end}", of_22.likely);
    }
    if high.get() >= 80.0 {
        assert!(of_22.likely.ends_with("and above"), "{}", of_22.likely);
    }
}

#[test]
fn the_finding_says_on_which_side_of_the_band_the_room_is() {
    let band = band((2.0, 3.0));
    let with = |h: f64| {
        let reading = Some(Reading { spot: spot(22.0, h), doubt: doubt(2.0, 0.3) });
        draw(&Map { reading, ..map(&band, &[], &[]) }).finding
    };
    let row = band.rows().into_iter().find(|row| (row.temperature.get() - 22.0).abs() < 0.1).unwrap();
    let (low, high) = row.likely.unwrap();
    let (low, high) = (low.get(), high.get());
    assert!(with(low - 1.0).ends_with("drier than the band."), "{}", with(low - 1.0));
    assert!(with(high + 1.0).ends_with("damper than the band."), "{}", with(high + 1.0));
    assert!(with(f64::midpoint(low, high)).ends_with("inside it."));
    assert!(draw(&Map { reading: None, ..map(&band, &[], &[]) }).finding.contains("has not been read"));
}

#[test]
fn a_reading_off_the_map_stays_in_the_picture() {
    let band = band((1.0, 2.0));
    let reading = Some(Reading { spot: spot(38.0, 96.0), doubt: doubt(5.0, 1.0) });
    let svg = draw(&Map { reading, ..map(&band, &[], &[]) }).svg;
    assert!(svg.contains(&format!("class=\"cross\" d=\"M{} {}", Px(RIGHT - 7.0), Px(TOP))));
}
