//! Files as loggers and spreadsheets write them.

use jiff::tz::TimeZone;
use stillroom::rooms::logger_file::{
    Dates, DayOrder, Hints, LoggerFile, MAX_FAULTY_KEPT, OrderFrom, Question, Row, Stop, read_all, rows, text,
    understand,
};
use stillroom::rooms::written::{HumidityUnit, TemperatureUnit};

use crate::random::Random;

fn hints() -> Hints {
    Hints { zone: TimeZone::get("Europe/Berlin").unwrap(), day_order: None, temperature_unit: None }
}

fn read(file: &str) -> LoggerFile {
    read_all(file.as_bytes(), &hints()).unwrap_or_else(|stop| panic!("{stop}\n{file}"))
}

/// One good row as "instant °C %RH".
fn shown(file: &LoggerFile) -> Vec<String> {
    let at = |us| jiff::Timestamp::from_microsecond(us).unwrap();
    file.rows.iter().map(|r| format!("{} {:.1} {:.1}", at(r.at_us), r.temperature, r.humidity)).collect()
}

#[track_caller]
fn check(file: &str, expected: &[&str]) {
    let read = read(file);
    assert!(read.faulty.is_empty(), "{:?}\n{file}", read.faulty);
    assert_eq!(shown(&read), expected, "{file}");
}

/// The one row that most of these files hold: 3 April 2025, 14:05 in Berlin.
const ONE: &[&str] = &["2025-04-03T12:05:00Z 21.4 38.0"];

#[test]
fn headers_in_several_languages_are_understood() {
    check("time,temperature,humidity\n2025-04-03 14:05,21.4,38\n", ONE);
    check("\u{feff}Zeit;Temperatur [°C];rel. Luftfeuchte [%]\r\n03.04.2025 14:05;21,4;38,0\r\n", ONE);
    check("Datum;Uhrzeit;Temperatur;Luftfeuchtigkeit\n3.4.25;14:05:00;21,4;38\n", ONE);
    check("Date,Heure,Température (°C),Humidité (%)\n2025-04-03,14:05,21.4,38\n", ONE);
    check("Fecha;Hora;Temperatura;Humedad\n2025/04/03;14:05;21,4;38\n", ONE);
    check("Data;Ora;Temperatura;Umidità\n03.04.2025;14.05;21,4;38\n", ONE);
    check("Datum\tTijd\tTemperatuur\tLuchtvochtigheid\n2025-04-03\t14:05\t21,4\t38\n", ONE);
    check("Tid;Temperatur;Luftfuktighet\n2025-04-03 14:05;21,4;38\n", ONE);
    check("Dato;Tidspunkt;Temperatur;Luftfugtighed\n2025-04-03;14:05;21,4;38\n", ONE);
    check("Czas;Temperatura;Wilgotność\n2025-04-03 14:05;21,4;38\n", ONE);
    check("Päivä;Aika;Lämpötila;Ilmankosteus\n3.4.2025;14.05;21,4;38\n", ONE);
    check("Čas;Teplota;Vlhkost\n2025-04-03 14:05;21,4;38\n", ONE);
    check("timestamp,temp_c,rh\n1743681900,21.4,38\n", ONE);
    check("timestamp,temp_c,rh\n1743681900000,21.4,38\n", ONE);
}

#[test]
fn serial_numbers_before_the_header_and_columns_beside_are_passed_over() {
    let file = "Logger 7, serial 1234\nInterval: 10 min\n\n\
                No.,Date,Time,Temperature(°C),Dew point(°C),Min humidity,Humidity(%RH),Battery\n\
                1,2025-04-03,14:05,21.4,6.5,30,38,97\n";
    check(file, ONE);
    assert_eq!(read(file).understood.header_line, 4);
    assert_eq!(read(file).rows[0].line, 5);
}

#[test]
fn quotes_units_in_cells_and_trailing_separators_do_no_harm() {
    check("\"Time\",\"Temp\",\"RH\"\n\"2025-04-03 14:05\",\"21,4\",\"38\"\n", ONE);
    check("Time,Temp,RH\n2025-04-03 14:05,21.4 °C,38 %\n", ONE);
    check("Time;Temp, °C;RH, %;\n2025-04-03 14:05;21,4;38;\n", ONE);
    check("Time|Temp|RH\n2025-04-03 14:05|21.4|38\n", ONE);
    check("Time,Temp,RH\n\n2025-04-03T14:05:00,21.4,38", ONE);
}

#[test]
fn a_column_name_may_run_over_two_lines() {
    let file = "Logger \"7\nTime,\"Temperature\n(°C)\",\"RH\n%\"\n2025-04-03 14:05,21.4,38\n";
    check(file, ONE);
    assert_eq!((read(file).understood.header_line, read(file).rows[0].line), (2, 5));
    assert_eq!(read(file).understood.names, ["Time", "Temperature (°C)", "RH %"]);
}

#[test]
fn other_encodings_are_read() {
    let file = "Zeit;Temperatur °C;Feuchte\n03.04.2025 14:05;21,4;38\n";
    let latin: Vec<u8> = file.chars().map(|c| u8::try_from(c).unwrap()).collect();
    assert_eq!(shown(&read_all(&latin, &hints()).unwrap()), ONE);
    let wide: Vec<u8> = [0xff, 0xfe].into_iter().chain(file.encode_utf16().flat_map(u16::to_le_bytes)).collect();
    assert_eq!(shown(&read_all(&wide, &hints()).unwrap()), ONE);
}

#[test]
fn fahrenheit_is_taken_from_header_or_cell_and_asked_for_when_it_can_only_be_guessed() {
    check("time,temperature (°F),humidity\n2025-04-03 14:05,70.52,38\n", ONE);
    check("time,temp_f,humidity\n2025-04-03 14:05,70.52,38\n", ONE);
    check("time,temp,humidity\n2025-04-03 14:05,70.52 °F,38\n", ONE);
    let silent = "time,temp,humidity\n2025-04-03 14:05,70.52,38\n";
    let stop = read_all(silent.as_bytes(), &hints()).unwrap_err();
    assert_eq!(stop, Stop::Ask(Question::TemperatureUnit("70.52".to_owned())));
    let said = Hints { temperature_unit: Some(TemperatureUnit::Fahrenheit), ..hints() };
    assert_eq!(shown(&read_all(silent.as_bytes(), &said).unwrap()), ONE);
    let assumed = read("time,temp,humidity\n2025-04-03 14:05,21.4,38\n").understood;
    assert!(!assumed.temperature_unit_said && assumed.sentences()[2].contains("as nothing else is said"));
}

#[test]
fn a_humidity_that_never_passes_one_is_a_fraction() {
    let file = read("time,temp,humidity\n2025-04-03 14:05,21.4,0.38\n");
    assert_eq!(file.understood.humidity_unit, HumidityUnit::Fraction);
    assert_eq!(shown(&file), ONE);
}

#[test]
fn day_and_month_are_told_apart_by_the_dates_or_asked_for() {
    let by_number = "time,temp,rh\n3/4/2025 14:05,21.4,38\n13/4/2025 14:05,21.4,38\n";
    let found = read(by_number);
    assert_eq!(found.understood.dates, Dates::YearLast(DayOrder::DayFirst));
    assert_eq!(found.understood.order_from, OrderFrom::Data);
    assert_eq!(shown(&found)[0], ONE[0]);

    let by_rows = "time,temp,rh\n4/3/2025 2:05 PM,21.4,38\n4/4/2025 2:05 PM,21.4,38\n";
    assert_eq!(shown(&read(by_rows))[0], ONE[0]);

    let open = "time,temp,rh\n04/03/2025 14:05,21.4,38\n";
    let stop = read_all(open.as_bytes(), &hints()).unwrap_err();
    assert_eq!(stop, Stop::Ask(Question::DayOrder("04/03/2025 14:05".to_owned())));
    let said = Hints { day_order: Some(DayOrder::MonthFirst), ..hints() };
    let told = read_all(open.as_bytes(), &said).unwrap();
    assert_eq!((told.understood.order_from, shown(&told)), (OrderFrom::Asked, vec![ONE[0].to_owned()]));
}

#[test]
fn a_zone_in_the_header_or_the_cell_comes_before_the_studios() {
    check("Time (UTC),Temp,RH\n2025-04-03 12:05,21.4,38\n", ONE);
    check("\"Date Time, GMT+01:00\",Temp,RH\n2025-04-03 13:05,21.4,38\n", ONE);
    check("time,temp,rh\n2025-04-03T12:05:00Z,21.4,38\n", ONE);
    check("time,temp,rh\n2025-04-03 06:05:00-06:00,21.4,38\n", ONE);
}

#[test]
fn a_time_the_clocks_skipped_is_faulty_and_one_that_came_twice_is_its_first_pass() {
    let file = read(
        "time,temp,rh\n2025-03-30 01:30,21,38\n2025-03-30 02:30,21,38\n2025-03-30 03:30,21,38\n2025-10-26 02:30,21,38\n",
    );
    assert_eq!(
        shown(&file),
        ["2025-03-30T00:30:00Z 21.0 38.0", "2025-03-30T01:30:00Z 21.0 38.0", "2025-10-26T00:30:00Z 21.0 38.0"]
    );
    assert_eq!(file.repeated_hour, 1);
    assert!(file.notes()[0].starts_with("1 row in the hour that came twice"), "{:?}", file.notes());
    assert_eq!((file.faulty[0].line, file.faulty[0].text.as_str()), (3, "2025-03-30 02:30,21,38"));
    assert_eq!(file.faulty[0].reason, "02:30 on 30 Mar 2025 did not exist there: the clocks went forward over it.");
}

#[test]
fn faulty_rows_are_named_by_line_and_reason_and_good_rows_are_kept() {
    let file = read(
        "time,temp,rh\n\
         2025-04-03 14:05,21.4,38\n\
         Logger switched off\n\
         2025-04-03 14:15,,38\n\
         2025-04-03 14:25,21.4,--\n\
         2025-04-31 14:35,21.4,38\n\
         2025-04-03,21.4,38\n\
         2025-04-03 14:45,21,4,38,0\n\
         \"2025-04-03 14:55,21.4,38\n\
         2025-04-03 15:05,21.4,38\n",
    );
    assert_eq!(file.rows.iter().map(|r| r.line).collect::<Vec<_>>(), [2, 10]);
    let told: Vec<(u64, &str)> = file.faulty.iter().map(|f| (f.line, f.reason.as_str())).collect();
    assert_eq!(
        told,
        [
            (3, "\"Logger switched off\" is not a date with a time."),
            (4, "The temperature is missing."),
            (5, "The humidity \"--\" is not a number."),
            (6, "\"2025-04-31 14:35\" is no day of the calendar."),
            (7, "\"2025-04-03\" has no time of day."),
            (8, "It has 5 columns, the header names 3. Decimal commas need quotation marks, or another separator."),
            (9, "A quotation mark is opened and not closed on this line."),
        ]
    );
    assert_eq!(file.faulty_count, 7);
}

#[test]
fn a_file_that_is_none_is_refused_with_what_to_do() {
    let stop = |file: &str| read_all(file.as_bytes(), &hints()).unwrap_err();
    assert_eq!(stop(""), Stop::Empty);
    assert_eq!(stop("\u{feff}\n \n"), Stop::Empty);
    assert_eq!(stop("2025-04-03 14:05,21.4,38\n"), Stop::NoHeader);
    assert_eq!(stop("time,temperature\n2025-04-03 14:05,21.4\n"), Stop::NoColumn("humidity"));
    assert_eq!(stop("time,humidity\n2025-04-03 14:05,38\n"), Stop::NoColumn("temperature"));
    assert_eq!(stop("no,temperature,humidity\n1,21.4,38\n"), Stop::NoColumn("time"));
    assert_eq!(stop("date,temperature,humidity\n2025-04-03,21.4,38\n"), Stop::NoTimeOfDay);
    for bad in [Stop::Empty, Stop::TooLong, Stop::NoHeader, Stop::NoColumn("time"), Stop::NoTimeOfDay, Stop::GivenUp] {
        assert!(bad.to_string().contains("Nothing was added."), "{bad}");
    }
}

#[test]
fn a_header_without_rows_is_an_empty_list_not_an_error() {
    let file = read("time,temperature,humidity\n");
    assert!(file.rows.is_empty() && file.faulty.is_empty() && file.understood.rows == 0);
}

#[test]
fn the_preview_says_what_was_understood() {
    let told = read("Datum;Uhrzeit;Temperatur °C;Feuchte\n3.4.2025;14:05;21,4;38\n").understood.sentences();
    assert_eq!(
        told,
        [
            "Columns stand apart by \";\"; line 1 names them.",
            "Time from \"Datum\" and \"Uhrzeit\", day before month, in the studio’s time (Europe/Berlin).",
            "Temperature from \"Temperatur °C\", in °C.",
            "Humidity from \"Feuchte\".",
        ]
    );
}

#[test]
fn progress_runs_from_nothing_to_all() {
    let file = "time,temp,rh\n2025-04-03 14:05,21.4,38\n2025-04-03 14:15,21.4,38\n";
    let whole = text(file.as_bytes()).unwrap();
    let understood = understand(&whole, &hints()).unwrap();
    let mut rows = rows(&whole, &understood);
    let mut seen = vec![rows.progress()];
    while let Some(Row::Good(_)) = rows.next() {
        seen.push(rows.progress());
    }
    assert!((seen[0], seen[2]) == (0.0, 1.0) && seen[1] > 0.0 && seen[1] < 1.0, "{seen:?}");
}

#[test]
fn no_more_faulty_rows_are_kept_than_a_page_can_show_but_all_are_counted() {
    let mut file = String::from("time,temp,rh\n2025-04-03 14:05,21.4,38\n");
    file.push_str(&"nonsense\n".repeat(MAX_FAULTY_KEPT + 5));
    let read = read(&file);
    assert_eq!((read.faulty.len(), read.faulty_count), (MAX_FAULTY_KEPT, MAX_FAULTY_KEPT as u64 + 5));
    assert_eq!(read.notes(), ["5 rows more that could not be read, not listed."]);
}

/// A hundred thousand rows; the time is printed, not asserted, as it depends on the machine and the build.
#[test]
fn a_hundred_thousand_rows_are_read() {
    let mut file = String::from("Date;Time;Temperature;Humidity\n");
    for day in 0..70 {
        let date =
            jiff::civil::date(2025, 4, 1).saturating_add(jiff::Span::new().days(day)).strftime("%d/%m/%Y").to_string();
        for minute in 0..1440 {
            file.push_str(&format!("{date};{:02}:{:02}:00;21,4;38,2\n", minute / 60, minute % 60));
        }
    }
    let started = std::time::Instant::now();
    let read = read(&file);
    eprintln!("100,800 rows ({} kB) read in {:?}", file.len() / 1024, started.elapsed());
    assert_eq!((read.rows.len(), read.faulty_count), (100_800, 0));
}

/// Good files with bytes changed, cut, doubled or swapped, and plain bytes: an answer each time, never a panic.
#[test]
fn three_thousand_broken_files_are_answered_without_a_panic() {
    let good: [&[u8]; 4] = [
        "Datum;Uhrzeit;Temperatur °C;Feuchte\n3.4.2025;14:05;21,4;38\n4.4.2025;14:05;21,4;38\n".as_bytes(),
        b"time,temp_f,rh\r\n\"4/3/2025 2:05 PM\",70.5,38\r\n\"13/3/2025 2:05 PM\",70.5,38\r\n",
        b"\"Date Time, GMT+01:00\",Temp,RH\n2025-03-30 02:30,21.4,38\n2025-10-26 02:30,21.4,0.38\n",
        b"timestamp\ttemp\thumidity\n1743681900\t21.4\t38\n1743681900000\t21.4\t38\n",
    ];
    let mut random = Random(7);
    let (mut rows, mut faulty, mut stops) = (0, 0, 0);
    for round in 0..3_000 {
        let which = random.below(good.len());
        let bytes = match round % 8 {
            0 => (0..random.below(200)).map(|_| random.byte()).collect(),
            _ => random.broken(good[which]),
        };
        match read_all(&bytes, &hints()) {
            Ok(file) => {
                rows += file.rows.len();
                faulty += file.faulty.len();
                assert!(file.rows.iter().all(|row| row.temperature.is_finite() && row.humidity.is_finite()));
                assert!(!file.understood.sentences().is_empty());
            }
            Err(stop) => {
                stops += 1;
                assert!(!stop.to_string().is_empty());
            }
        }
    }
    assert!(rows > 1_000 && faulty > 100 && stops > 300, "{rows} rows, {faulty} faulty, {stops} refused");
}
