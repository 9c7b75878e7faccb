//! Bodies as sensors and their go-betweens really send them, and bodies nobody should send.

use stillroom::rooms::push::{MAX_BODY_BYTES, MAX_ITEMS, Mapping, Parsed, Refused, parse};
use stillroom::rooms::written::{HumidityUnit, Quantity, TemperatureUnit};

use crate::random::Random;

const NOW: i64 = 1_760_000_000_000_000;

fn mapping(change: impl FnOnce(&mut Mapping)) -> Mapping {
    let mut mapping = Mapping::default();
    change(&mut mapping);
    mapping
}

fn plain() -> Mapping {
    Mapping::default()
}

fn timed() -> Mapping {
    mapping(|m| m.time_field = Some("time".to_owned()))
}

fn bare(quantity: Quantity) -> Mapping {
    mapping(|m| m.bare_number = Some(quantity))
}

/// What is expected of one item: instant in µs, °C, %RH.
type Expected = (i64, Option<f64>, Option<f64>);

#[track_caller]
fn close(found: Option<f64>, expected: Option<f64>, body: &str) {
    match (found, expected) {
        (Some(f), Some(e)) => assert!((f - e).abs() < 1e-9, "{body}: {f}, expected {e}"),
        (f, e) => assert_eq!(f, e, "{body}"),
    }
}

#[track_caller]
fn check(body: &str, mapping: &Mapping, expected: &[Expected]) {
    let Parsed { readings, faults, .. } = parse(body.as_bytes(), mapping, NOW).unwrap();
    assert!(faults.is_empty(), "{body}: {faults:?}");
    assert_eq!(readings.len(), expected.len(), "{body}");
    for (index, (found, (at, temperature, humidity))) in readings.iter().zip(expected).enumerate() {
        assert_eq!((found.item, found.at_us), (index + 1, *at), "{body}");
        close(found.temperature, *temperature, body);
        close(found.humidity, *humidity, body);
    }
}

#[track_caller]
fn faulty(body: &str, mapping: &Mapping, sentence: &str) {
    let Parsed { readings, faults, .. } = parse(body.as_bytes(), mapping, NOW).unwrap();
    assert!(readings.is_empty(), "{body}: {readings:?}");
    assert_eq!(faults.len(), 1, "{body}");
    assert_eq!(faults[0].to_string(), sentence, "{body}");
}

#[track_caller]
fn refused(body: &[u8], mapping: &Mapping, why: &Refused) {
    assert_eq!(parse(body, mapping, NOW).as_ref(), Err(why), "{}", String::from_utf8_lossy(body));
}

#[test]
fn flat_objects_are_read_with_numbers_however_written() {
    let both = [(NOW, Some(27.34), Some(44.72))];
    check(r#"{"temperature": 27.34, "humidity": 44.72}"#, &plain(), &both);
    check(r#"{"battery":97,"linkquality":120,"humidity":44.72,"temperature":27.34,"voltage":3000}"#, &plain(), &both);
    check(r#"{"temperature": "27.34", "humidity": "44.72"}"#, &plain(), &both);
    check(r#"{"temperature": "27,34", "humidity": "44,72"}"#, &plain(), &both);
    check(r#"{"temperature": "27.34 °C", "humidity": "44.72 %"}"#, &plain(), &both);
    check("\u{feff}{\"temperature\":27.34,\"humidity\":44.72}\n", &plain(), &both);
    check(r#"{"temperature": 2734e-2, "humidity": 4.472e1}"#, &plain(), &both);
    check(r#"{"temperature": -4, "humidity": 80}"#, &plain(), &[(NOW, Some(-4.0), Some(80.0))]);
    check(r#"{"temperature": 999, "humidity": -1}"#, &plain(), &[(NOW, Some(999.0), Some(-1.0))]);
}

#[test]
fn one_half_alone_is_a_reading_with_a_gap() {
    check(r#"{"temperature": 21}"#, &plain(), &[(NOW, Some(21.0), None)]);
    check(r#"{"temperature": null, "humidity": 40}"#, &plain(), &[(NOW, None, Some(40.0))]);
}

#[test]
fn arrays_hold_several_and_an_empty_one_none() {
    let second = 1_750_000_000_000_000;
    let two = [(second, Some(21.0), Some(40.0)), (NOW, Some(21.5), Some(41.0))];
    let body = r#"[{"temperature":21,"humidity":40,"time":1750000000},{"temperature":21.5,"humidity":41}]"#;
    check(body, &timed(), &two);
    check("[]", &plain(), &[]);
}

#[test]
fn bare_numbers_are_what_the_sensor_is_set_to() {
    check("21.5", &bare(Quantity::Temperature), &[(NOW, Some(21.5), None)]);
    check("\"21,5\"", &bare(Quantity::Temperature), &[(NOW, Some(21.5), None)]);
    check("21,5\r\n", &bare(Quantity::Temperature), &[(NOW, Some(21.5), None)]);
    check(" 40.2 %RH ", &bare(Quantity::Humidity), &[(NOW, None, Some(40.2))]);
}

#[test]
fn fields_inside_others_are_found_by_dots() {
    let inside = |t: &str, h: &str| {
        mapping(|m| {
            m.temperature_field = t.to_owned();
            m.humidity_field = h.to_owned();
        })
    };
    let both = [(NOW, Some(21.0), Some(40.0))];
    let envelope = r#"{"specversion":"1.0","type":"air","data":{"t":21,"h":40}}"#;
    check(envelope, &inside("data.t", "data.h"), &both);
    check(r#"{"sensors":[{"value":21},{"value":40}]}"#, &inside("sensors.0.value", "sensors.1.value"), &both);
    check(r#"{"air.t":21,"air":{"h":40}}"#, &inside("air.t", "air.h"), &both);
    check(r#"{"a":{"b.t":21,"b.h":"40 %"}}"#, &inside("a.b.t", "a.b.h"), &both);
    faulty(r#"{"a":21}"#, &inside("a.b", "a.0"), "item 1: holds neither \"a.b\" nor \"a.0\"");
}

#[test]
fn units_are_turned_into_celsius_and_per_cent() {
    let american = mapping(|m| {
        m.temperature_unit = TemperatureUnit::Fahrenheit;
        m.humidity_unit = HumidityUnit::Fraction;
    });
    check(r#"{"temperature": 69.8, "humidity": 0.4}"#, &american, &[(NOW, Some(21.0), Some(40.0))]);
    check(r#"{"temperature": "69.8 °F", "humidity": ".4"}"#, &american, &[(NOW, Some(21.0), Some(40.0))]);
}

#[test]
fn times_are_read_as_written_and_a_missing_one_is_now() {
    let at = |time: &str| format!(r#"{{"temperature":21,"humidity":40,"time":{time}}}"#);
    let second = 1_750_000_000_000_000;
    let one = |at_us| [(at_us, Some(21.0), Some(40.0))];
    check(&at("\"2025-06-15T15:06:40Z\""), &timed(), &one(second));
    check(&at("\"2025-06-15T17:06:40+02:00\""), &timed(), &one(second));
    check(&at("\"2025-06-15 15:06:40.25Z\""), &timed(), &one(second + 250_000));
    check(&at("1750000000"), &timed(), &one(second));
    check(&at("1750000000.5"), &timed(), &one(second + 500_000));
    check(&at("1750000000123"), &timed(), &one(second + 123_000));
    check(&at("\"1750000000\""), &timed(), &one(second));
    check(&at("null"), &timed(), &one(NOW));
    check(r#"{"temperature":21,"humidity":40}"#, &timed(), &one(NOW));
    check(&at("\"2025-06-15T15:06:40Z\""), &plain(), &one(NOW));
}

#[test]
fn a_faulty_item_is_named_with_its_field() {
    let neither = "item 1: holds neither \"temperature\" nor \"humidity\"";
    faulty(r#"{"temp": 21, "hum": 40}"#, &plain(), neither);
    faulty("{}", &plain(), neither);
    faulty("[21.5]", &plain(), "item 1: is not an object with named fields");
    faulty("[[]]", &plain(), "item 1: is not an object with named fields");
    let not = |holds: &str| format!("item 1: field \"temperature\" holds {holds}, which is not a number");
    faulty(r#"{"temperature": "unavailable"}"#, &plain(), &not("\"unavailable\""));
    faulty(r#"{"temperature": true}"#, &plain(), &not("true"));
    faulty(r#"{"temperature": {"value": 21}}"#, &plain(), &not("an object"));
    faulty(r#"{"temperature": "1,234.5"}"#, &plain(), &not("\"1,234.5\""));
    faulty(r#"{"temperature": "NaN"}"#, &plain(), &not("\"NaN\""));
    let other = "item 1: field \"temperature\" holds \"70 °F\", written in °F, but this sensor is set to °C";
    faulty(r#"{"temperature": "70 °F"}"#, &plain(), other);
    for time in ["\"2025-06-15T15:06:40\"", "\"yesterday\"", "-5", "1e15", "[]", "\"\""] {
        let body = format!(r#"{{"temperature":21,"time":{time}}}"#);
        let Parsed { faults, .. } = parse(body.as_bytes(), &timed(), NOW).unwrap();
        assert!(faults[0].what.starts_with("field \"time\" holds"), "{time}: {faults:?}");
    }
}

#[test]
fn good_items_beside_faulty_ones_are_kept_with_their_place() {
    let body = br#"[{"temperature":21},{"temperature":"-"},{"humidity":41}]"#;
    let Parsed { readings, faults, .. } = parse(body, &plain(), NOW).unwrap();
    assert_eq!(readings.iter().map(|r| r.item).collect::<Vec<_>>(), [1, 3]);
    assert_eq!(faults.iter().map(|f| f.item).collect::<Vec<_>>(), [2]);
}

#[test]
fn a_body_that_holds_nothing_is_refused_with_a_reason() {
    refused(b"", &plain(), &Refused::Empty);
    refused(b" \r\n", &plain(), &Refused::Empty);
    refused(b"null", &plain(), &Refused::NothingReadable);
    refused(b"true", &plain(), &Refused::NothingReadable);
    refused(b"\"on\"", &plain(), &Refused::NothingReadable);
    refused(b"21.5", &plain(), &Refused::BareNumber);
    refused(b"{\n\"temperature\": NaN}", &plain(), &Refused::NotJson(2, 16));
    refused(b"temperature=21&humidity=40", &plain(), &Refused::NotJson(1, 2));
    refused(b"\xff\xfe", &plain(), &Refused::NotJson(1, 1));
    refused(b"1e999", &bare(Quantity::Temperature), &Refused::NotJson(1, 5));
    refused(&vec![b' '; MAX_BODY_BYTES + 1], &plain(), &Refused::TooLong);
    let many = format!("[{}1]", "1,".repeat(MAX_ITEMS));
    refused(many.as_bytes(), &plain(), &Refused::TooManyItems(MAX_ITEMS + 1));
    let deep = "[".repeat(100_000);
    assert!(matches!(parse(deep.as_bytes(), &plain(), NOW), Err(Refused::NotJson(1, _))));
}

#[test]
fn items_without_a_time_that_cannot_be_told_apart_are_faults_and_not_repeats() {
    let told = |body: &str, mapping: &Mapping| {
        let Parsed { readings, faults, .. } = parse(body.as_bytes(), mapping, NOW).unwrap();
        let kept: Vec<usize> = readings.iter().map(|reading| reading.item).collect();
        (kept, faults.iter().map(ToString::to_string).collect::<Vec<_>>())
    };
    let apart =
        |item: usize, first: usize| format!("item {item}: no time, so it cannot be told apart from item {first}");
    let three = r#"[{"temperature":21,"humidity":40},{"humidity":41},{"temperature":22,"humidity":42}]"#;
    assert_eq!(told(three, &plain()), (vec![1], vec![apart(2, 1), apart(3, 1)]));
    let halves = r#"[{"temperature":21},{"humidity":40},{"humidity":41}]"#;
    assert_eq!(told(halves, &plain()), (vec![1, 2], vec![apart(3, 2)]));
    // A fault brings nothing, and a time of its own tells an item apart.
    let mixed = r#"[{"temperature":"-"},{"temperature":21},{"temperature":22,"time":1750000000},{"temperature":23}]"#;
    assert_eq!(told(mixed, &timed()).0, [2, 3]);
    assert_eq!(told(mixed, &timed()).1[1], apart(4, 2));
}

#[test]
fn a_pair_of_halves_without_a_time_is_one_reading() {
    let pair = [(NOW, Some(21.0), None), (NOW, None, Some(40.0))];
    check(r#"[{"temperature":21},{"humidity":40}]"#, &plain(), &pair);
}

/// Ten thousand bodies: good ones with bytes changed, cut, doubled or swapped; pieces of JSON thrown together; bytes.
#[test]
fn ten_thousand_broken_bodies_are_answered_without_a_panic() {
    let good: [&[u8]; 5] = [
        br#"{"temperature": 27.34, "humidity": 44.72, "time": "2025-06-15T15:06:40Z"}"#,
        br#"[{"temperature":21,"humidity":40},{"temperature":"21,5 \u00b0C","humidity":"41 %"}]"#,
        br#"{"a":{"b":[{"temperature":1},{"humidity":2}]},"time":1750000000123}"#,
        "−27,3 °C".as_bytes(),
        b"1e308",
    ];
    let pieces: [&[u8]; 16] = [
        b"{",
        b"}",
        b"[",
        b"]",
        b",",
        b":",
        b"\"temperature\"",
        b"\"humidity\"",
        b"\"time\"",
        b"null",
        b"1e308",
        b"-",
        b"21,5",
        b"\"\\ud800\"",
        b"\xc3",
        b"99999999999999999999",
    ];
    let mappings = [
        timed(),
        bare(Quantity::Humidity),
        mapping(|m| {
            m.temperature_field = "a.b.0.temperature".to_owned();
            m.humidity_field = "a..b".to_owned();
            m.temperature_unit = TemperatureUnit::Fahrenheit;
            m.humidity_unit = HumidityUnit::Fraction;
        }),
    ];
    let mut random = Random(20_250_615);
    let (mut read, mut faulted, mut refusals) = (0, 0, 0);
    for round in 0..10_000 {
        let body = match round % 3 {
            0 => {
                let which = random.below(good.len());
                random.broken(good[which])
            }
            1 => (0..random.below(30)).flat_map(|_| pieces[random.below(pieces.len())].to_vec()).collect(),
            _ => (0..random.below(60)).map(|_| random.byte()).collect(),
        };
        match parse(&body, &mappings[round % mappings.len()], NOW) {
            Ok(parsed) => {
                read += usize::from(!parsed.readings.is_empty());
                faulted += usize::from(!parsed.faults.is_empty());
                for r in parsed.readings {
                    assert!(r.temperature.is_none_or(f64::is_finite) && r.humidity.is_none_or(f64::is_finite));
                    assert!(r.temperature.is_some() || r.humidity.is_some());
                }
                assert!(parsed.faults.iter().all(|fault| fault.what.len() < 300));
            }
            Err(why) => {
                refusals += 1;
                assert!(!why.to_string().is_empty());
            }
        }
    }
    // The stream must reach every kind of answer, or it tests nothing.
    assert!(read > 100 && faulted > 100 && refusals > 1000, "{read} read, {faulted} with faults, {refusals} refused");
}
