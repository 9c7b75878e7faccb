//! Finding the header: the separator, the line that names the columns, what each column holds, and in which unit.

use jiff::tz::TimeZone;

use super::dates::{self, Cell, OrderEvidence};
use super::records::Records;
#[cfg(test)]
use super::records::steps;
use super::{Dates, DayOrder, Hints, OrderFrom, Question, Stop, TimeColumns, Understood};
use crate::base::text::fold;
use crate::rooms::written::{self, HumidityUnit, Quantity, Suffix, TemperatureUnit};

/// The separators looked for; where two would do, the earlier one is taken.
const SEPARATORS: [u8; 4] = *b"\t;,|";

/// A header stands within this many records; loggers put serial numbers and settings before it.
const HEADER_WITHIN: usize = 60;

/// Rows below a header that are tried to see whether it is one.
const TRIED_ROWS: usize = 20;

/// Above this, °C, half of a file's temperatures are no room's: they are in °F, or the file is about something else.
const NO_ROOMS_MEDIAN: f64 = 45.0;

/// Values looked at for units.
const SAMPLED: usize = 5_000;

/// Columns kept that may hold date or time. More would make every row as long as the header.
const MOST_TIMES: usize = 8;

pub(super) fn understand(text: &str, hints: &Hints, give_up: &dyn Fn() -> bool) -> Result<Understood, Stop> {
    let best = SEPARATORS.iter().filter_map(|&separator| find(text, separator)).fold(None, better);
    let Some(found) = best else { return Err(nothing_found(text)) };
    let looked = look_through(text, &found, give_up)?;
    let (dates, order_from) = order(&looked, hints)?;
    let (temperature_unit, temperature_unit_said) = temperature_unit(&found, &looked, hints)?;
    let fraction = looked.humidities.iter().all(|h| (0.0..=1.0).contains(h)) && !looked.humidities.is_empty();
    let named_zone = named_zone(&found);
    Ok(Understood {
        separator: char::from(found.separator),
        header_line: found.line,
        time: time_columns(&found, text)?,
        temperature: found.temperature,
        humidity: found.humidity,
        temperature_unit,
        temperature_unit_said,
        humidity_unit: if fraction { HumidityUnit::Fraction } else { HumidityUnit::Percent },
        dates,
        order_from,
        zone_from_file: named_zone.is_some(),
        zone: named_zone.unwrap_or_else(|| hints.zone.clone()),
        rows: looked.rows,
        body: found.body,
        names: found.names,
    })
}

/// A header under one separator.
struct Header {
    separator: u8,
    line: u64,
    names: Vec<String>,
    /// Columns that may hold date or time, in their order.
    times: Vec<usize>,
    temperature: usize,
    humidity: usize,
    body: (usize, u64),
    /// How many of the first rows below it can be read.
    fitting: usize,
}

fn better(best: Option<Header>, next: Header) -> Option<Header> {
    match best {
        Some(best) if best.fitting >= next.fitting => Some(best),
        _ => Some(next),
    }
}

fn find(text: &str, separator: u8) -> Option<Header> {
    let mut records = Records::new(text, separator, 0);
    for _ in 0..HEADER_WITHIN {
        let place = records.next_header()?;
        if place.unclosed {
            continue;
        }
        let roles = Roles::of(&records.cells);
        if let (false, Some(temperature), Some(humidity)) = (roles.times.is_empty(), roles.temperature, roles.humidity)
        {
            let mut header = Header {
                separator,
                line: place.line,
                names: records.cells.iter().map(on_one_line).collect(),
                times: roles.times,
                temperature,
                humidity,
                body: (records.position(), records.lines()),
                fitting: 0,
            };
            header.fitting = fitting(text, &header);
            return Some(header);
        }
    }
    None
}

fn on_one_line(name: &str) -> String {
    name.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// How many of the rows that follow have a date or time and two numbers where the header says.
fn fitting(text: &str, header: &Header) -> usize {
    let mut records = Records::new(&text[header.body.0..], header.separator, 0);
    let mut fitting = 0;
    for _ in 0..TRIED_ROWS {
        if records.next().is_none() {
            break;
        }
        let cells = &records.cells;
        let is_number = |column: usize| cells.get(column).is_some_and(|cell| written::number(cell).is_some());
        let is_time = |&column: &usize| !matches!(dates::cell(cells.get(column).unwrap_or_default()), Cell::Other);
        let fits = header.times.iter().any(is_time) && is_number(header.temperature) && is_number(header.humidity);
        fitting += usize::from(fits && cells.len() <= header.names.len() + 1);
    }
    fitting
}

/// Which column plays which part.
#[derive(Default)]
struct Roles {
    times: Vec<usize>,
    temperature: Option<usize>,
    humidity: Option<usize>,
}

impl Roles {
    fn of(names: &csv::StringRecord) -> Roles {
        let mut roles = Roles::default();
        for (column, name) in names.iter().enumerate() {
            match role(name) {
                Some(Role::Of(Quantity::Temperature)) => roles.temperature = roles.temperature.or(Some(column)),
                Some(Role::Of(Quantity::Humidity)) => roles.humidity = roles.humidity.or(Some(column)),
                Some(Role::Time) if roles.times.len() < MOST_TIMES => roles.times.push(column),
                Some(Role::Time) | None => {}
            }
        }
        roles
    }
}

enum Role {
    Of(Quantity),
    Time,
}

/// Words by which a humidity is known, as parts of a word, without accents.
const HUMIDITY_PARTS: [&str; 12] =
    ["humid", "humed", "umidi", "umida", "feucht", "vocht", "fukt", "fugt", "wilgot", "kosteus", "vlhkost", "paratart"];
/// The same as whole words.
const HUMIDITY_WORDS: [&str; 6] = ["rh", "hum", "rf", "hr", "ur", "nem"];
/// Words by which a temperature is known, as parts of a word.
const TEMPERATURE_PARTS: [&str; 7] =
    ["temp", "lampotila", "teplota", "homerseklet", "sicaklik", "celsius", "fahrenheit"];
/// Words by which date or time are known, as the beginning of a word.
const TIME_BEGINNINGS: [&str; 18] = [
    "time",
    "date",
    "zeit",
    "datum",
    "uhrzeit",
    "heure",
    "horodat",
    "fecha",
    "orario",
    "tijd",
    "tidspunkt",
    "tidpunkt",
    "dato",
    "godzina",
    "paiva",
    "kellonaika",
    "created",
    "recorded",
];
/// The same as whole words.
const TIME_WORDS: [&str; 12] =
    ["hora", "data", "ora", "tid", "czas", "aika", "pvm", "cas", "ido", "tarih", "saat", "utc"];
/// Parts of words that make a column something else: dew points, absolute humidity, limits.
const OTHER_PARTS: [&str; 10] =
    ["dew", "taupunkt", "rosee", "rocio", "rugiada", "orvalho", "dauw", "absol", "alarm", "limit"];
/// The same as whole words.
const OTHER_WORDS: [&str; 10] = ["min", "max", "minimum", "maximum", "high", "low", "abs", "vpd", "setpoint", "target"];

fn role(name: &str) -> Option<Role> {
    // One list serves several spellings.
    let folded = fold(name);
    let words: Vec<&str> = words(&folded);
    let has_part = |parts: &[&str]| parts.iter().any(|part| folded.contains(part));
    let has_word = |listed: &[&str]| words.iter().any(|word| listed.contains(word));
    if has_part(&OTHER_PARTS) || has_word(&OTHER_WORDS) {
        None
    } else if has_part(&HUMIDITY_PARTS) || has_word(&HUMIDITY_WORDS) {
        Some(Role::Of(Quantity::Humidity))
    } else if has_part(&TEMPERATURE_PARTS) || unit_alone(&folded) {
        Some(Role::Of(Quantity::Temperature))
    } else if has_word(&TIME_WORDS) || words.iter().any(|w| TIME_BEGINNINGS.iter().any(|begins| w.starts_with(begins)))
    {
        Some(Role::Time)
    } else {
        None
    }
}

fn words(folded: &str) -> Vec<&str> {
    folded.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty()).collect()
}

fn unit_alone(folded: &str) -> bool {
    matches!(folded.trim(), "°c" | "°f")
}

fn nothing_found(text: &str) -> Stop {
    let mut nearest = Stop::NoHeader;
    for separator in SEPARATORS {
        let mut records = Records::new(text, separator, 0);
        for _ in 0..HEADER_WITHIN {
            let Some(place) = records.next_header() else { break };
            if place.unclosed {
                continue;
            }
            let roles = Roles::of(&records.cells);
            match (roles.times.is_empty(), roles.temperature, roles.humidity) {
                (false, Some(_), None) => nearest = Stop::NoColumn("humidity"),
                (false, None, Some(_)) => nearest = Stop::NoColumn("temperature"),
                (true, Some(_), Some(_)) => nearest = Stop::NoColumn("time"),
                _ => {}
            }
        }
    }
    nearest
}

/// What the rows tell that the header does not.
#[derive(Default)]
struct Looked {
    rows: u64,
    /// Dates whose form shows by itself, and the last such form.
    clear: Option<Dates>,
    since_1970: bool,
    order: OrderEvidence,
    /// A date that could be read both ways.
    unclear_date: Option<String>,
    suffix: Option<TemperatureUnit>,
    temperatures: Vec<f64>,
    warm_cell: Option<String>,
    humidities: Vec<f64>,
}

fn look_through(text: &str, header: &Header, give_up: &dyn Fn() -> bool) -> Result<Looked, Stop> {
    let mut looked = Looked::default();
    let mut records = Records::new(&text[header.body.0..], header.separator, 0);
    while let Some(place) = records.next() {
        if give_up() {
            return Err(Stop::GivenUp);
        }
        looked.rows += 1;
        if place.unclosed {
            continue;
        }
        #[cfg(test)]
        steps::add(header.times.len());
        for cell in header.times.iter().filter_map(|&column| records.cells.get(column)) {
            looked.date(cell);
        }
        if looked.humidities.len() < SAMPLED {
            looked.numbers(records.cells.get(header.temperature), records.cells.get(header.humidity));
        }
    }
    Ok(looked)
}

impl Looked {
    fn date(&mut self, cell: &str) {
        match dates::cell(cell) {
            Cell::Date(parts, _) => match parts.form() {
                Some(form) => self.clear = Some(form),
                None => {
                    self.order.add(parts);
                    self.unclear_date.get_or_insert_with(|| cell.trim().to_owned());
                }
            },
            Cell::Since1970(_) => self.since_1970 = true,
            Cell::Time | Cell::Other => {}
        }
    }

    fn numbers(&mut self, temperature: Option<&str>, humidity: Option<&str>) {
        if let Some(number) = temperature.and_then(written::number) {
            if let Some(Suffix::Temperature(unit)) = number.suffix {
                self.suffix = Some(unit);
            }
            if number.value > NO_ROOMS_MEDIAN && self.warm_cell.is_none() {
                self.warm_cell = temperature.map(|cell| cell.trim().to_owned());
            }
            self.temperatures.push(number.value);
        }
        if let Some(number) = humidity.and_then(written::number) {
            // "0.4 %" is less than one per cent, not a fraction.
            self.humidities.push(if number.suffix.is_some() { number.value + 2.0 } else { number.value });
        }
    }

    fn median_temperature(&self) -> f64 {
        let mut sorted = self.temperatures.clone();
        sorted.sort_by(f64::total_cmp);
        sorted.get(sorted.len() / 2).copied().unwrap_or(0.0)
    }
}

fn order(looked: &Looked, hints: &Hints) -> Result<(Dates, OrderFrom), Stop> {
    match (&looked.unclear_date, looked.clear) {
        (None, Some(form)) => Ok((form, OrderFrom::Form)),
        (None, None) if looked.since_1970 => Ok((Dates::Since1970, OrderFrom::Form)),
        (None, None) => Ok((Dates::YearFirst, OrderFrom::Form)),
        (Some(example), _) => match (hints.day_order, looked.order.order()) {
            (Some(said), _) => Ok((Dates::YearLast(said), OrderFrom::Asked)),
            (None, Some(shown)) => Ok((Dates::YearLast(shown), OrderFrom::Data)),
            (None, None) => Err(Stop::Ask(Question::DayOrder(example.clone()))),
        },
    }
}

fn temperature_unit(header: &Header, looked: &Looked, hints: &Hints) -> Result<(TemperatureUnit, bool), Stop> {
    let named = unit_in(&header.names[header.temperature]);
    match named.or(looked.suffix).or(hints.temperature_unit) {
        Some(unit) => Ok((unit, true)),
        None if looked.median_temperature() > NO_ROOMS_MEDIAN => {
            Err(Stop::Ask(Question::TemperatureUnit(looked.warm_cell.clone().unwrap_or_default())))
        }
        None => Ok((TemperatureUnit::Celsius, false)),
    }
}

/// The unit a temperature's column names: "Temperature (°F)", "temp_c", "Celsius".
fn unit_in(name: &str) -> Option<TemperatureUnit> {
    let folded = fold(name);
    let words = words(&folded);
    let has = |listed: &[&str]| words.iter().any(|word| listed.contains(word));
    if has(&["f", "fahrenheit", "degf"]) {
        Some(TemperatureUnit::Fahrenheit)
    } else if has(&["c", "celsius", "degc"]) {
        Some(TemperatureUnit::Celsius)
    } else {
        None
    }
}

/// The zone that a time column names: "Time (UTC)", "Date Time, GMT+02:00".
fn named_zone(header: &Header) -> Option<TimeZone> {
    header.times.iter().find_map(|&column| {
        let folded = fold(&header.names[column]);
        let from = ["utc", "gmt"].iter().find_map(|word| folded.find(word))?;
        let zone: String = folded[from..].chars().take_while(|c| c.is_alphanumeric() || "+-−: ".contains(*c)).collect();
        // "UTC time" names a zone and goes on.
        let offset = dates::offset(&zone).or_else(|| dates::offset(&folded[from..from + 3]))?;
        Some(TimeZone::fixed(offset))
    })
}

/// One column with both, or a date and a time of day apart, as the first row that tells shows.
fn time_columns(header: &Header, text: &str) -> Result<TimeColumns, Stop> {
    let mut records = Records::new(&text[header.body.0..], header.separator, 0);
    let mut dates_alone = false;
    for _ in 0..TRIED_ROWS {
        if records.next().is_none() {
            break;
        }
        let (mut date, mut time) = (None, None);
        for &column in &header.times {
            match dates::cell(records.cells.get(column).unwrap_or_default()) {
                Cell::Date(_, "") => date = date.or(Some(column)),
                Cell::Date(..) | Cell::Since1970(_) => return Ok(TimeColumns::One(column)),
                Cell::Time => time = time.or(Some(column)),
                Cell::Other => {}
            }
        }
        match (date, time) {
            (Some(date), Some(time)) => return Ok(TimeColumns::Two { date, time }),
            (Some(_), None) => dates_alone = true,
            _ => {}
        }
    }
    if dates_alone { Err(Stop::NoTimeOfDay) } else { Ok(TimeColumns::One(header.times[0])) }
}

impl Dates {
    /// The order to read unclear dates in.
    pub(super) const fn or_day_first(self) -> Dates {
        match self {
            Dates::YearLast(order) => Dates::YearLast(order),
            Dates::YearFirst | Dates::Since1970 => Dates::YearLast(DayOrder::DayFirst),
        }
    }
}
