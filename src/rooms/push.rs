//! The body of an HTTP push from a sensor: a flat object, an array of such, or a bare number, read as the sensor's own
//! mapping says. Finds readings or names what is wrong with an item; whether a reading is believed is
//! [`super::plausible`]'s matter.

use jiff::Timestamp;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::rooms::written::{self, HumidityUnit, Quantity, Suffix, TemperatureUnit};

/// The longest body taken, bytes. A day of minutes as an array of flat objects fits.
pub const MAX_BODY_BYTES: usize = 256 * 1024;
/// The longest array taken.
pub const MAX_ITEMS: usize = 2_000;
/// The longest field path taken, bytes.
pub const MAX_PATH_BYTES: usize = 200;

/// Where in a sensor's object the numbers stand, and in which unit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Mapping {
    /// Field of the temperature; dots go inwards ("data.temperature", "sensors.0.value").
    pub temperature_field: String,
    /// In what the temperature is written.
    pub temperature_unit: TemperatureUnit,
    /// Field of the humidity; dots go inwards.
    pub humidity_field: String,
    /// In what the humidity is written.
    pub humidity_unit: HumidityUnit,
    /// Field of the instant: RFC 3339, or seconds or milliseconds since 1970. Without it, or where it is missing in an
    /// item, the instant of arrival counts. Only one temperature and one humidity of a body can do without.
    pub time_field: Option<String>,
    /// What a body that is one bare number means; `None` refuses such bodies.
    pub bare_number: Option<Quantity>,
}

impl Default for Mapping {
    fn default() -> Mapping {
        Mapping {
            temperature_field: "temperature".to_owned(),
            temperature_unit: TemperatureUnit::Celsius,
            humidity_field: "humidity".to_owned(),
            humidity_unit: HumidityUnit::Percent,
            time_field: None,
            bare_number: None,
        }
    }
}

/// One item of a body, in °C and %RH, not yet judged. At least one of the two numbers is there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PushedReading {
    /// Which item of the body, from 1.
    pub item: usize,
    /// The instant, µs since 1970, UTC: the sensor's own, or that of arrival.
    pub at_us: i64,
    /// °C, where the item holds a temperature.
    pub temperature: Option<f64>,
    /// %RH, where the item holds a humidity.
    pub humidity: Option<f64>,
}

/// An item that could not be read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// Which item of the body, from 1.
    pub item: usize,
    /// One sentence naming the field.
    pub what: String,
}

impl std::fmt::Display for Fault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "item {}: {}", self.item, self.what)
    }
}

/// What a body held.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Parsed {
    /// The items that could be read, in their order.
    pub readings: Vec<PushedReading>,
    /// The items that could not.
    pub faults: Vec<Fault>,
    /// Whether an item brought a `time` and the mapping names no field of the time: it was not looked at.
    pub time_unread: bool,
}

/// Why a body is refused as a whole.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Refused {
    /// Nothing in it.
    Empty,
    /// Longer than [`MAX_BODY_BYTES`].
    TooLong,
    /// More items than [`MAX_ITEMS`]. Holds how many.
    TooManyItems(usize),
    /// Neither JSON nor a number. Holds line and column of the first wrong character.
    NotJson(usize, usize),
    /// A bare number from a sensor that is not set up for one.
    BareNumber,
    /// `true`, `null`, or a text that is no number.
    NothingReadable,
}

impl std::fmt::Display for Refused {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Refused::Empty => f.write_str("the body is empty"),
            Refused::TooLong => write!(f, "the body is longer than {} kB", MAX_BODY_BYTES / 1024),
            Refused::TooManyItems(n) => write!(f, "the array holds {n} items, at most {MAX_ITEMS} are taken at once"),
            Refused::NotJson(line, column) => write!(f, "not JSON, line {line}, column {column}"),
            Refused::BareNumber => {
                f.write_str("a bare number, but this sensor is not set to send temperature or humidity alone")
            }
            Refused::NothingReadable => f.write_str("neither an object, an array of objects, nor a number"),
        }
    }
}

impl std::error::Error for Refused {}

/// Reads a body. `now_us` is the instant of arrival, µs since 1970.
///
/// ```
/// use stillroom::rooms::push::{Mapping, parse};
///
/// let body = br#"[{"temperature": 21.0, "humidity": "38,5"}, {"temperature": "warm"}]"#;
/// let parsed = parse(body, &Mapping::default(), 1_760_000_000_000_000)?;
/// assert_eq!(parsed.readings[0].humidity, Some(38.5));
/// assert_eq!(parsed.faults[0].to_string(), "item 2: field \"temperature\" holds \"warm\", which is not a number");
/// # Ok::<(), stillroom::rooms::push::Refused>(())
/// ```
///
/// # Errors
/// [`Refused`] when nothing in the body can be taken; faults of single items are in the answer.
pub fn parse(body: &[u8], mapping: &Mapping, now_us: i64) -> Result<Parsed, Refused> {
    if body.len() > MAX_BODY_BYTES {
        return Err(Refused::TooLong);
    }
    let body = body.strip_prefix(b"\xef\xbb\xbf").unwrap_or(body).trim_ascii();
    if body.is_empty() {
        return Err(Refused::Empty);
    }
    match value(body)? {
        Value::Array(items) if items.len() > MAX_ITEMS => Err(Refused::TooManyItems(items.len())),
        Value::Array(items) => Ok(items_of(&items, mapping, now_us)),
        object @ Value::Object(_) => Ok(items_of(&[object], mapping, now_us)),
        Value::Null | Value::Bool(_) => Err(Refused::NothingReadable),
        bare => bare_number(&bare, mapping, now_us),
    }
}

fn items_of(items: &[Value], mapping: &Mapping, now_us: i64) -> Parsed {
    // An empty field may be meant, where a sensor's clock is wrong: so a time is told of and not guessed at.
    let brings_time = |item: &Value| item.get("time").is_some_and(|time| !time.is_null());
    let time_unread = mapping.time_field.is_none() && items.iter().any(brings_time);
    Parsed { time_unread, ..collect(items.iter().map(|item| item_of(item, mapping)), now_us) }
}

/// JSON, or a plain-text number such as `27,3 °C`, which comes out as a JSON text.
fn value(body: &[u8]) -> Result<Value, Refused> {
    let wrong = match serde_json::from_slice(body) {
        Ok(value) => return Ok(value),
        Err(wrong) => Refused::NotJson(wrong.line(), wrong.column()),
    };
    match std::str::from_utf8(body) {
        Ok(text) if written::number(text).is_some() => Ok(Value::String(text.to_owned())),
        _ => Err(wrong),
    }
}

fn bare_number(bare: &Value, mapping: &Mapping, now_us: i64) -> Result<Parsed, Refused> {
    if bare.as_str().is_some_and(|text| written::number(text).is_none()) {
        return Err(Refused::NothingReadable);
    }
    let quantity = mapping.bare_number.ok_or(Refused::BareNumber)?;
    let read = match quantity {
        Quantity::Temperature => temperature(bare, mapping).map(|t| Item { temperature: Some(t), ..Item::default() }),
        Quantity::Humidity => humidity(bare, mapping).map(|h| Item { humidity: Some(h), ..Item::default() }),
    };
    Ok(collect(std::iter::once(read.map_err(|holds| format!("the body {holds}"))), now_us))
}

/// What an item says.
#[derive(Default)]
struct Item {
    time: Option<i64>,
    temperature: Option<f64>,
    humidity: Option<f64>,
}

fn collect(items: impl Iterator<Item = Result<Item, String>>, now_us: i64) -> Parsed {
    let mut parsed = Parsed::default();
    let mut untimed = Untimed::default();
    for (index, read) in items.enumerate() {
        let item = index + 1;
        match read.and_then(|read| untimed.unless_brought_before(item, read)) {
            Ok(Item { time, temperature, humidity }) => {
                parsed.readings.push(PushedReading { item, at_us: time.unwrap_or(now_us), temperature, humidity });
            }
            Err(what) => parsed.faults.push(Fault { item, what }),
        }
    }
    parsed
}

/// Which items brought a quantity without a time. They all arrive at one instant, which holds one of each: a second one
/// would pass for the first one sent again.
#[derive(Default)]
struct Untimed {
    temperature: Option<usize>,
    humidity: Option<usize>,
}

impl Untimed {
    fn unless_brought_before(&mut self, item: usize, read: Item) -> Result<Item, String> {
        if read.time.is_some() {
            return Ok(read);
        }
        let before = [(read.temperature, self.temperature), (read.humidity, self.humidity)];
        if let Some(first) = before.into_iter().find_map(|(now, before)| now.and(before)) {
            return Err(format!("no time, so it cannot be told apart from item {first}"));
        }
        self.temperature = self.temperature.or(read.temperature.and(Some(item)));
        self.humidity = self.humidity.or(read.humidity.and(Some(item)));
        Ok(read)
    }
}

fn item_of(item: &Value, mapping: &Mapping) -> Result<Item, String> {
    if !item.is_object() {
        return Err("is not an object with named fields".to_owned());
    }
    let temperature = field(item, &mapping.temperature_field, |value| temperature(value, mapping))?;
    let humidity = field(item, &mapping.humidity_field, |value| humidity(value, mapping))?;
    if temperature.is_none() && humidity.is_none() {
        return Err(format!(
            "holds neither \"{}\" nor \"{}\"",
            written::excerpt(&mapping.temperature_field),
            written::excerpt(&mapping.humidity_field)
        ));
    }

    let time = match &mapping.time_field {
        Some(path) => field(item, path, instant)?,
        None => None,
    };
    Ok(Item { time, temperature, humidity })
}

/// What stands at a path, read; nothing where it is missing or null; a fault that names the path.
fn field<T>(item: &Value, path: &str, read: impl Fn(&Value) -> Result<T, String>) -> Result<Option<T>, String> {
    let value = find(item, path).filter(|value| !value.is_null());
    value.map(read).transpose().map_err(|holds| format!("field \"{}\" {holds}", written::excerpt(path)))
}

/// The value at a dotted path. A name that itself holds dots comes before going inwards.
fn find<'v>(from: &'v Value, path: &str) -> Option<&'v Value> {
    if path.is_empty() || path.len() > MAX_PATH_BYTES {
        return None;
    }
    let inward = |value: &'v Value| {
        let (first, rest) = path.split_once('.')?;
        let inner = match value {
            Value::Array(items) => items.get(first.parse::<usize>().ok()?),
            other => other.get(first),
        };
        find(inner?, rest)
    };
    let whole = match from {
        Value::Array(items) => path.parse::<usize>().ok().and_then(|index| items.get(index)),
        other => other.get(path),
    };
    whole.or_else(|| inward(from))
}

fn temperature(value: &Value, mapping: &Mapping) -> Result<f64, String> {
    let written = numeric(value)?;
    match written.suffix {
        None => {}
        Some(Suffix::Temperature(unit)) if unit == mapping.temperature_unit => {}
        Some(other) => return Err(disagrees(value, other, mapping.temperature_unit.symbol())),
    }
    finite(mapping.temperature_unit.to_celsius(written.value), value)
}

fn humidity(value: &Value, mapping: &Mapping) -> Result<f64, String> {
    let written = numeric(value)?;
    match (written.suffix, mapping.humidity_unit) {
        (None, _) | (Some(Suffix::Percent), HumidityUnit::Percent) => {}
        (Some(other), HumidityUnit::Percent) => return Err(disagrees(value, other, "%RH")),
        (Some(other), HumidityUnit::Fraction) => return Err(disagrees(value, other, "a fraction of 1")),
    }
    finite(mapping.humidity_unit.to_percent(written.value), value)
}

fn numeric(value: &Value) -> Result<written::Written, String> {
    let read = match value {
        Value::Number(number) => number.as_f64().map(|value| written::Written { value, suffix: None }),
        Value::String(text) => written::number(text),
        _ => None,
    };
    read.ok_or_else(|| not_a_number(value))
}

fn finite(number: f64, value: &Value) -> Result<f64, String> {
    if number.is_finite() { Ok(number) } else { Err(not_a_number(value)) }
}

fn not_a_number(value: &Value) -> String {
    format!("holds {}, which is not a number", shown(value))
}

fn disagrees(value: &Value, written: Suffix, set: &str) -> String {
    format!("holds {}, written in {}, but this sensor is set to {set}", shown(value), written.symbol())
}

/// The value as a sentence can repeat it: texts in quotes, nothing longer than a line.
fn shown(value: &Value) -> String {
    match value {
        Value::String(text) => format!("\"{}\"", written::excerpt(text)),
        Value::Object(_) => "an object".to_owned(),
        Value::Array(_) => "an array".to_owned(),
        plain => written::excerpt(&plain.to_string()),
    }
}

/// RFC 3339, or seconds or milliseconds since 1970 (as a number or as text), as µs since 1970.
fn instant(value: &Value) -> Result<i64, String> {
    let read = match value {
        Value::Number(number) => number.as_f64().and_then(since_1970),
        Value::String(text) => match written::number(text) {
            Some(written) if written.suffix.is_none() => since_1970(written.value),
            _ => text.trim().parse::<Timestamp>().ok().map(Timestamp::as_microsecond),
        },
        _ => None,
    };
    read.ok_or_else(|| {
        format!(
            "holds {}, which is neither RFC 3339 with its zone nor seconds or milliseconds since 1970",
            shown(value)
        )
    })
}

/// Below 10¹¹ seconds are meant (until the year 5138), below 10¹⁴ milliseconds (from March 1973 on).
fn since_1970(number: f64) -> Option<i64> {
    let microseconds = match number {
        n if (0.0..1e11).contains(&n) => n * 1e6,
        n if (1e11..1e14).contains(&n) => n * 1e3,
        _ => return None,
    };
    Timestamp::from_microsecond(microseconds.round() as i64).ok().map(Timestamp::as_microsecond)
}
